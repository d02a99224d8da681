"""Depths that can be read and are hardly meant: of rows that are no damage, and shares of 1 read as per cent."""

import numpy as np
import pytest

from tests.campaign.listing.making import csv_file, mapping, only_fault, read, refused, row
from wrapcalc.campaign.listing.columns import DAMAGE, KINDS
from wrapcalc.campaign.listing.read import read_blocks
from wrapcalc.campaign.screening.noted import Noted


@pytest.mark.parametrize("kind", [k for k in KINDS if k not in DAMAGE])
def test_a_depth_in_a_row_that_is_no_anomaly_is_a_fault(tmp_path, kind):
    fault = only_fault(csv_file(tmp_path, row(), row(Type=kind.upper(), Depth="85")), mapping(tmp_path))
    assert (fault.row, fault.column) == (3, "Depth")
    assert fault.found.startswith(f"a depth of '85' in a row that is '{kind.upper()}', ")
    assert "the word of a damage" in fault.allowed and "words of columns.kind" in fault.mend


@pytest.mark.parametrize(("kind", "depth"), [*((k, "85") for k in DAMAGE), ("girth weld", ""), ("repair", "0")])
def test_damage_with_a_depth_and_other_rows_without_are_read(tmp_path, kind, depth):
    block = read(csv_file(tmp_path, row(), row(Type=kind, Depth=depth)), mapping(tmp_path))
    assert block.row.tolist() == [2, 3] and not block.faults


def test_a_depth_in_mm_counts_too(tmp_path):
    how = mapping(tmp_path, depth='{ column = "Depth", unit = "mm" }')
    assert "a depth of '3.2'" in only_fault(csv_file(tmp_path, row(), row(Type="bend", Depth="3.2")), how).found


@pytest.mark.parametrize("size", [2, 65_536])
def test_a_word_that_stands_for_damage_is_told_once_with_its_count(tmp_path, size):
    words = 'words = { "ML ext" = "external metal loss", "ML int" = "marker", "V" = "valve" }'
    how = mapping(tmp_path, kind=f'{{ column = "Type", {words} }}')
    rows = [row(), *[row(Type="ML int")] * 7, row(Type="V", Depth="3")]
    noted = Noted()
    blocks = list(read_blocks(csv_file(tmp_path, *rows), how, size, noted))
    assert sum(len(b.faults) for b in blocks) == 8
    assert [t.partition(" and is")[0] for t in noted.texts] == [
        "7 rows (rows 3, 4, 5, 6, 7 and more): 'ML int' states a depth", "1 row (row 10): 'V' states a depth"]


@pytest.mark.parametrize("size", [1, 65_536])
def test_per_cent_that_is_nowhere_above_1_is_refused(tmp_path, size):
    path = csv_file(tmp_path, row(Depth="0.32"), row(Depth=""), row(Depth="0.85"), row(Depth="0.1"))
    said = refused(lambda: read_blocks(path, mapping(tmp_path), size))
    assert "columns.depth.unit: found '% of nominal wall', but none of 3 depths is above 1 %" in said
    assert "0.85, is in row 4" in said and 'write unit = "share of nominal wall"' in said
    assert said.startswith("mapping.toml, line ")


@pytest.mark.parametrize("wall", ["nominal", "measured"])
def test_shares_of_1_are_read_where_the_mapping_says_so(tmp_path, wall):
    how = mapping(tmp_path, depth=f'{{ column = "Depth", unit = "share of {wall} wall" }}')
    block = read(csv_file(tmp_path, row(Depth="0.32"), row(Depth="1"), row(Depth="32"), row(Depth="32 %")), how)
    np.testing.assert_array_equal(block.columns["depth_share"], [0.32, 1.0])
    assert [(f.row, f.allowed) for f in block.faults] == [
        (4, f"a number from 0 to 1, share of {wall} wall"), (5, f"a number from 0 to 1, share of {wall} wall")]


def test_single_depths_below_1_per_cent_are_noted_with_their_rows(tmp_path):
    noted = Noted()
    path = csv_file(tmp_path, row(), row(Depth="0.32"), row(Depth="1"), row(Depth="0"), row(Depth="0.999"))
    list(read_blocks(path, mapping(tmp_path), 65_536, noted))
    assert len(noted.texts) == 1
    assert noted.texts[0].startswith("2 rows (rows 3, 6): a depth of less than 1 % of the wall")


@pytest.mark.parametrize("depth", [None, '{ column = "Depth", unit = "mm" }'])
def test_a_listing_without_shares_is_not_held_against_them(tmp_path, depth):
    block = read(csv_file(tmp_path, row(Depth="0.5")), mapping(tmp_path, depth=depth))
    assert block.row.tolist() == [2]

"""Clocks that can be read and are hardly meant: a spreadsheet's shares of a day read as decimal hours."""

import numpy as np
import pytest

from tests.campaign.listing.making import HEADINGS, csv_file, mapping, read, refused, row
from wrapcalc.campaign.listing.columns import COLUMNS
from wrapcalc.campaign.listing.look import look
from wrapcalc.campaign.listing.read import read_blocks
from wrapcalc.campaign.listing.unit_words import agrees, unit_of

HOURS = '{ column = "Clock", unit = "decimal hours" }'


@pytest.mark.parametrize("size", [1, 65_536])
def test_decimal_hours_that_nowhere_reach_1_are_refused(tmp_path, size):
    path = csv_file(tmp_path, row(Clock="0.1875"), row(Clock=""), row(Clock="0.5"), row(Clock="0"))
    said = refused(lambda: read_blocks(path, mapping(tmp_path, clock=HOURS), size))
    assert said.startswith("mapping.toml, line ")
    assert ("columns.clock.unit: found 'decimal hours', but none of 3 clocks reaches 1 (the greatest is 0.5): all "
            "would lie between 12:00 and 1:00; allowed: hours, such as 4.5 for 4:30") in said
    assert 'write unit = "share of a day" if 0.1875 means 4:30' in said


def test_each_column_of_clocks_is_looked_at_by_itself(tmp_path):
    head = [*HEADINGS, "Seam"]
    how = mapping(tmp_path, clock=HOURS, seam_clock='{ column = "Seam", unit = "decimal hours" }')
    path = csv_file(tmp_path, [*row(Clock="4.5"), "0.25"], head=head)
    said = refused(lambda: read_blocks(path, how))
    assert "columns.seam_clock.unit" in said and "columns.clock.unit" not in said


@pytest.mark.parametrize("cells", [("0.5", "1"), ("0", "0"), ("", ""), ("12.5", "0.2")])
def test_decimal_hours_that_may_be_meant_are_read(tmp_path, cells):
    block = read(csv_file(tmp_path, *(row(Clock=c) for c in cells)), mapping(tmp_path, clock=HOURS))
    assert not block.faults and len(block.row) == 2


def test_a_clock_out_of_bounds_does_not_hide_that_no_other_reaches_1(tmp_path):
    path = csv_file(tmp_path, row(Clock="0.25"), row(Clock="99"))
    assert "none of 1 clocks reaches 1" in refused(lambda: read_blocks(path, mapping(tmp_path, clock=HOURS)))


def test_shares_of_a_day_are_the_hours_that_a_spreadsheet_shows(tmp_path):
    """Independent: minutes of the clock over the 1440 of a day."""
    minutes = np.arange(0, 780, 7)
    path = csv_file(tmp_path, *(row(Clock=f"{m / 1440:.9f}") for m in minutes.tolist()))
    block = read(path, mapping(tmp_path, clock='{ column = "Clock", unit = "share of a day" }'))
    assert not block.faults
    apart = np.abs(block.columns["clock"] - minutes / 60 % 12)
    assert np.minimum(apart, 12 - apart).max() < 1e-6


@pytest.mark.parametrize("heading", ["O'clock", "O'clock [h:mm]", "Clock [hours]"])
def test_a_look_at_such_numbers_proposes_shares_of_a_day(tmp_path, heading):
    path = tmp_path / "listing.csv"
    path.write_text(f"Feature ID,Feature type,Log distance [m],{heading}\n1,Valve,1.5,0.1875\n2,Valve,2.5,0.25\n")
    found = look(path)
    assert 'unit = "choose: share of a day / decimal hours / degrees"' in found.toml
    assert any("0.1875 for 4:30?" in d for d in found.doubts)


def test_a_look_at_hours_proposes_hours_or_degrees(tmp_path):
    path = tmp_path / "listing.csv"
    path.write_text("Feature ID,Feature type,Log distance [m],O'clock\n1,Valve,1.5,4.5\n2,Valve,2.5,0.25\n")
    assert 'unit = "choose: decimal hours / degrees"' in look(path).toml


def test_what_headings_call_it():
    assert {unit_of(t, COLUMNS["clock"]) for t in ("fraction of a day", "Share of a day")} == {"share of a day"}
    assert agrees("h:mm", "share of a day") and agrees("clock", "share of a day")
    assert not agrees("h:mm", "decimal hours") and not agrees("degrees", "share of a day")

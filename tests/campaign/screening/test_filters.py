"""Filters: what a comparison may be, what it keeps, and one clear message for what it may not be."""

import numpy as np
import pytest

from wrapcalc.campaign.screening.filters import read_filter
from wrapcalc.campaign.tables.tables import CODE, NUMBER, TEXT, WHOLE, Column
from wrapcalc.errors import CaseFaults

COLUMNS = (
    Column("rank", WHOLE), Column("feature_id", TEXT), Column("kind", CODE, words=("", "metal loss", "dent and gouge")),
    Column("depth", NUMBER, "mm"), Column("safe pressure", NUMBER, "MPa"), Column("repair factor", NUMBER),
    Column("deadline days", NUMBER, "d"), Column("clock", NUMBER, "h"), Column("remaining life", NUMBER, "y"),
    Column("growth rate", NUMBER, "mm/y"), Column("comment", TEXT))
BLOCK = {
    "rank": np.array([1, 2, 3, 4]), "feature_id": np.array(["A1", "A2", "B and C", "-4"], object),
    "kind": np.array([1, 2, -1, 1]), "depth": np.array([4.0, np.nan, 5.08, 3.99]),
    "safe pressure": np.array([7.0, 8.2, np.nan, 9.0]), "repair factor": np.array([1.2, 1.0, np.nan, 0.6]),
    "deadline days": np.array([0.0, 365.0, np.inf, np.nan]), "clock": np.array([0.0, 3.5, 6.0, 11.9]),
    "remaining life": np.array([1.0, 2.0, 3.0, 4.0]), "growth rate": np.array([0.1, 0.2, 0.3, 0.4]),
    "comment": np.array(["", "near a crew's hut", "x", ""], object)}


def kept(text: str) -> list[int]:
    return (np.flatnonzero(read_filter(text, COLUMNS).mask(BLOCK, 4)) + 1).tolist()


@pytest.mark.parametrize("text, rows", [
    ("", [1, 2, 3, 4]),
    ("depth >= 4 mm", [1, 3]),
    ("depth >= 0.2 in", [3]),  # 0.2 in is 5.08 mm exactly: published (the inch is 25.4 mm)
    ("depth != 4 mm", [3, 4]),
    ("safe_pressure < 82 bar", [1]),
    ("safe pressure [MPa] <= 8.2 MPa", [1, 2]),
    ("Safe Pressure = 8.2 MPa and rank = 2", [2]),
    ("repair factor > 100 %", [1]),
    ("repair factor > 0.6", [1, 2]),
    ("deadline days <= 365 d", [1, 2]),
    ("deadline days < 8760 h", [1]),
    ("deadline days > 365 d", [3]),
    ("clock > 3 h and clock < 7 h", [2, 3]),
    ("remaining life < 30 months", [1, 2]),
    ("growth rate >= 0.3 mm/y", [3, 4]),
    ("kind = metal loss", [1, 4]),
    ("kind != 'dent and gouge'", [1, 3, 4]),
    ('kind = "dent and gouge" and depth > 0 mm', []),
    ('feature_id = "B and C"', [3]),
    ("feature_id = '-4'", [4]),
    ('comment = "near a crew\'s hut" and rank >= 2', [2]),
    ('comment = ""', [1, 4]),
])
def test_a_filter_keeps_the_rows_that_meet_every_comparison(text, rows):
    assert kept(text) == rows


@pytest.mark.parametrize("text, found, mend", [
    ("depht > 4 mm", "the column 'depht'", "did you mean 'depth'?"),
    ("weather = 'wet'", "the column 'weather'", "name a column of the ranked table"),
    ("depth > 4", "'4', which has no unit", "add the unit"),
    ("depth > 4 MPa", "'4 MPa'", "MPa measures a gauge pressure"),
    ("depth > '4 mm'", "the text '4 mm'", "leave out the quotation marks"),
    ("depth > 4,5 mm", "'4,5 mm'", "decimal point"),
    ("kind = 'metal los'", "'metal los'", "did you mean 'metal loss'?"),
    ("kind = 'crater'", "'crater'", "choose a word of the column 'kind'"),
    ("kind > 'dent'", "'>' beside the column 'kind'", "compare a column of numbers"),
    ("depth == 4 mm", "'=='", "write ="),
    ("depth =< 4 mm", "'=<'", "write <="),
    ("depth", "'depth'", "write NAME"),
    ("depth > 4 mm or depth < 2 mm", "'depth > 4 mm or depth < 2 mm'", "write NAME"),
    ("rank > 1 and", "nothing beside an 'and'", "write NAME"),
    ("rank > 1.5", "'1.5'", "whole number"),
    ("rank > many", "'many'", "write it like rank > 3"),
    ("repair factor > 1 MPa", "'1 MPa'", "write it like repair factor > 0.5"),
    ("repair factor > nan", "'nan'", "finite number"),
    ("__import__('os').system('true') = 1", "'__import__", "write NAME"),
    ("x" * 3000, "3000 characters", "shorten it"),
])
def test_a_filter_that_is_none_is_one_clear_fault(text, found, mend):
    with pytest.raises(CaseFaults) as e:
        read_filter(text, COLUMNS)
    message = str(e.value)
    assert message.startswith("the command: --where: found ") and found in message and mend in message
    assert len(e.value.faults) == 1


def test_all_faults_of_a_filter_are_told_together():
    with pytest.raises(CaseFaults) as e:
        read_filter("depht > 4 mm and depth > 4 and rank >= 1", COLUMNS)
    assert [f.found for f in e.value.faults] == ["the column 'depht'", "'4', which has no unit"]

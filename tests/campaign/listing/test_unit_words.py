"""Units as headings say them: brackets anywhere, words at the end, marks and dots; and words that are none."""

import pytest

from tests.campaign.listing.making import HEADINGS, csv_file, mapping, read, refused, row
from wrapcalc.campaign.listing.columns import COLUMNS
from wrapcalc.campaign.listing.read import read_blocks
from wrapcalc.campaign.listing.unit_words import agrees, said_in, unit_of


@pytest.mark.parametrize(("heading", "column", "unit"), [
    ("Depth mm", "depth", "mm"), ("Length (in.)", "length", "in"), ("Length_in", "length", "in"),
    ("Log distance ft", "log_distance", "ft"), ("Depth (mm) peak", "depth", "mm"), ("Depth mm peak", "depth", "mm"),
    ("Depth, mm", "depth", "mm"), ("Length/mm", "length", "mm"), ("LengthMm", "length", "mm"), ("Width: mm", "width",
                                                                                                "mm"),
    ("Log dist m.", "log_distance", "m"), ("Depth %", "depth", "%"), ("Depth%", "depth", "%"), ("Depth % WT", "depth",
                                                                                              "%"),
    ("Depth % of nominal", "depth", "% of nominal wall"), ("Depth [% of measured wall]", "depth", "% of measured wall"),
    ("Seam deg", "seam_clock", "degrees"), ("Depth [m]", "depth", "m"), ("Length [%]", "length", "%"),
    ("Length (FEET)", "length", "ft"), ("Wall, inches", "nominal_wall", "in")])
def test_a_heading_says_its_unit(heading, column, unit):
    assert [u for _, u in said_in(heading, COLUMNS[column])] == [unit]


@pytest.mark.parametrize(("heading", "column"), [
    ("Depth", "depth"), ("From U/S weld", "from_upstream_weld"), ("O'clock", "clock"), ("Orientation o'clock", "clock"),
    ("t nom", "nominal_wall"), ("Wall (nom)", "nominal_wall"), ("Length in joint", "length"), ("In", "length"),
    ("Length (see note)", "length"), ("Distance in M. section A", "log_distance")])
def test_a_heading_that_says_no_unit_says_none(heading, column):
    assert said_in(heading, COLUMNS[column]) == []


def test_two_brackets_that_differ_are_both_said():
    assert said_in("Log distance [m] (ft)", COLUMNS["log_distance"]) == [("m", "m"), ("ft", "ft")]


@pytest.mark.parametrize(("read_", "declared", "ok"), [
    ("%", "% of nominal wall", True), ("%", "share of measured wall", True), ("% of nominal wall", "% of measured wall",
                                                                            False),
    ("% of measured wall", "share of measured wall", True), ("mm", "% of nominal wall", False), ("mm", "mm", True)])
def test_what_was_found_is_held_against_what_is_declared(read_, declared, ok):
    assert agrees(read_, declared) is ok


def test_a_dot_behind_a_unit_does_not_count():
    assert unit_of("[in.]", COLUMNS["length"]) == "in" and unit_of("deg.", COLUMNS["clock"]) == "degrees"


@pytest.mark.parametrize(("heading", "ours", "declared"), [
    ("Depth mm", "depth", "% of nominal wall"), ("Length (in.)", "length", "mm"), ("Length_in", "length", "mm"),
    ("Log distance ft", "log_distance", "m"), ("Depth (mm) peak", "depth", "% of nominal wall"),
    ("Depth [m]", "depth", "mm")])
def test_a_unit_anywhere_in_a_heading_is_held_against_the_mapping(tmp_path, heading, ours, declared):
    theirs = {"depth": "Depth", "length": "Length", "log_distance": "Log"}[ours]
    how = mapping(tmp_path, **{ours: f'{{ column = "{heading}", unit = "{declared}" }}'})
    path = csv_file(tmp_path, row(), head=[heading if h == theirs else h for h in HEADINGS])
    said = refused(read_blocks, path, how)
    assert said.startswith("mapping.toml, line ") and len(said.splitlines()) == 1
    assert f"columns.{ours}.unit: found '{declared}', but the heading of '{heading}' says " in said


def test_a_unit_that_agrees_is_no_fault(tmp_path):
    how = mapping(tmp_path, depth='{ column = "Depth peak % WT", unit = "% of nominal wall" }')
    path = csv_file(tmp_path, row(), head=["Depth peak % WT" if h == "Depth" else h for h in HEADINGS])
    assert read(path, how).row.tolist() == [2]

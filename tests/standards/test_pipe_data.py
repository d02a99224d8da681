"""Grades and sizes of line pipe: the tables against second routes, and what is found or refused."""

from __future__ import annotations

import itertools
import tomllib
from importlib import resources

import pytest
from fluids.piping import nearest_pipe, schedule_lookup
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc import units
from wrapcalc.fields import FieldFault
from wrapcalc.standards.documents import DOCUMENTS
from wrapcalc.standards.pipe_data import Grade, Size, grade, grades, preferred_walls, size, sizes

API_2000, API_2018, ISO = "API 5L 2000 edition", "API 5L 2018 edition", "ISO 3183"


def mpa(written: str) -> float:
    return units.to_base(*units.parse(written, "stress"), "stress")


def mm(written: str) -> float:
    return units.to_base(*units.parse(written, "length"), "length")


def table(name: str) -> dict:
    return tomllib.loads(resources.files("wrapcalc.standards").joinpath("pipe", name).read_text(encoding="utf-8"))


def faults(read, text) -> FieldFault:
    with pytest.raises(FieldFault) as caught:
        read(text)
    f = caught.value
    assert all(part and part.isprintable() for part in (f.found, f.allowed, f.mend))
    return f


# -- the grades ---------------------------------------------------------------------------------------------------
def test_every_grade_is_sound():
    assert len(grades()) == len({g.written for g in grades()}) == 11 + 14 + 14 + 14
    for g in grades():
        assert g.document_id in DOCUMENTS and g.status in ("seen", "from memory") and g.clause
        assert 170 <= mpa(g.smys) < mpa(g.smts) <= 920
        assert g.smys.endswith("MPa" if g.name.startswith("L") else "psi")


@pytest.mark.parametrize("edition", [API_2000, API_2018, ISO])
@pytest.mark.parametrize("kind", ["ABX", "L"])
def test_a_higher_grade_is_never_weaker(edition, kind):
    """Names in their own order: A25, A, B, then X or L by number."""
    def place(name: str) -> tuple[int, int]:
        return ("A25", "A", "B").index(name) if name in ("A25", "A", "B") else 3, int(name[1:] or 0)

    row = sorted((g for g in grades() if g.edition == edition and g.name[0] in kind), key=lambda g: place(g.name))
    for low, high in itertools.pairwise(row):
        assert mpa(low.smys) < mpa(high.smys)
        assert mpa(low.smts) <= mpa(high.smts)


def test_pounds_and_megapascals_of_one_grade_agree():
    """Printed MPa of the 2000 edition are the psi rounded; those of 2018 are the L grade's.

    In 2018 the psi are the MPa converted and rounded, within 0.2 %.
    """
    for block in table("api_5l.toml")["grade"]:
        for s in block["strengths"]:
            for written, listed in zip((s["smys"], s["smts"]), s.get("listed_mpa", ()), strict=False):
                if block["edition"] == API_2000:
                    assert abs(mpa(written) - listed) <= 0.51
                else:
                    assert mpa(written) == pytest.approx(listed, rel=2e-3)
    listed = {tuple(s["listed_mpa"]): s["name"] for b in table("api_5l.toml")["grade"] if b["edition"] == API_2018
              for s in b["strengths"] if "listed_mpa" in s}
    metric = {(round(mpa(g.smys)), round(mpa(g.smts))): g.name for g in grades() if g.edition == ISO}
    assert listed.keys() == metric.keys()
    assert (listed[360, 460], metric[360, 460]) == ("X52", "L360")


def test_the_name_of_an_x_grade_is_its_yield_strength():
    """X52 yields at 52 ksi, in 2018 at that converted to 5 MPa and back; L360 at 360 MPa."""
    for g in grades():
        if g.name[0] in "XL":
            strength, unit = g.smys.split()
            number = int(g.name[1:]) * (1000 if g.name[0] == "X" else 1)
            assert unit == ("psi" if g.name[0] == "X" else "MPa")
            if g.edition == API_2000 or unit == "MPa":
                assert int(strength) == number
            else:
                assert number < int(strength) <= number + 700


@pytest.mark.parametrize(("text", "smys", "smts", "edition", "status"), [
    ("X52, API 5L 2000 edition", "52000 psi", "66000 psi", API_2000, "seen"),
    ("X52, API 5L:2000", "52000 psi", "66000 psi", API_2000, "seen"),
    ("x52,  api 5l : 2000", "52000 psi", "66000 psi", API_2000, "seen"),
    ("API 5L Grade X52 42nd edition", "52000 psi", "66000 psi", API_2000, "seen"),
    ("X52, API 5L 46th edition", "52200 psi", "66700 psi", API_2018, "seen"),
    ("B, API 5L 2000 edition", "35000 psi", "60000 psi", API_2000, "seen"),
    ("B, API 5L:2018", "35500 psi", "60200 psi", API_2018, "from memory"),
    ("A25, API 5L:2000", "25000 psi", "45000 psi", API_2000, "seen"),
    ("A, API 5L:2000", "30000 psi", "48000 psi", API_2000, "seen"),
    ("L360, ISO 3183", "360 MPa", "460 MPa", ISO, "seen"),
    ("L360, API 5L 2018 edition", "360 MPa", "460 MPa", API_2018, "seen"),
    ("L210, ISO 3183", "210 MPa", "335 MPa", ISO, "from memory"),
])
def test_a_grade_is_found_by_name_and_edition(text, smys, smts, edition, status):
    g = grade(text)
    assert (g.smys, g.smts, g.edition, g.status) == (smys, smts, edition, status)
    assert g.document_id == ("API 5L:2000" if edition == API_2000 else "API 5L:2018")


@pytest.mark.parametrize("g", grades(), ids=lambda g: g.written)
def test_every_grade_is_found_by_its_own_text(g):
    assert grade(g.written) == g
    assert isinstance(g, Grade)


BOTH = ("X52, API 5L 2000 edition (smys 52000 psi, smts 66000 psi); "
        "X52, API 5L 2018 edition (smys 52200 psi, smts 66700 psi)")


@pytest.mark.parametrize(("text", "found", "allowed", "mend"), [
    ("X52", "'X52', which names no edition", BOTH, "changed between editions"),
    ("API 5L X52", "'API 5L X52', which names no edition", BOTH, "changed between editions"),
    ("X52, 2000 edition", "which names no edition", BOTH, "changed between editions"),
    ("L360, API 5L", "names no edition", "L360, ISO 3183 (smys 360 MPa", "add the edition"),
    ("X52, API 5L 2012 edition", "'API 5L 2012 edition', an edition that we do not have", BOTH, "state smys and smts"),
    ("X52, API 5L 43rd edition", "an edition that we do not have", BOTH, "only if the pipe was made to it"),
    ("L360, ISO 3183:2019", "'ISO 3183:2019', an edition that we do not have", "L360, ISO 3183 (", "state smys"),
    ("X52, ISO 3183", "X52, which is not in our table of ISO 3183", BOTH, "check grade and edition"),
    ("X100, API 5L:2000", "X100, which is not in our table of API 5L 2000 edition", "X70, X80; or X100, API 5L 2018",
     "check grade and edition"),
    ("L360, API 5L:2000", "L360, which is not in our table", "L360, ISO 3183", "check grade and edition"),
    ("X53, API 5L:2000", "'X53, API 5L:2000'", "B, L175", "If it is none of them, state smys"),
    ("X52M, API 5L:2018", "'X52M, API 5L:2018'", "X52, X56", "did you mean 'X52'?"),
    ("steel", "'steel'", "A, A25, B", "If it is none of them"),
    ("X52 or X60, API 5L:2000", "which names 2 grades", "one grade", "keep the one"),
    ("X52, API 5L 2000 edition PSL 2", "'API 5L 2000 edition PSL 2' beside the grade X52", BOTH, "write it like"),
    ("X52, DNV 2000", "'DNV 2000' beside the grade X52", BOTH, "write it like"),
    ("", "nothing", "a grade and its edition", 'write "X52'),
    (52, "'52'", "quotation marks", "quotation marks"),
    ("X52,\x00API 5L:2000", "'X52,", "without control characters", "remove"),
])
def test_grades_that_are_refused(text, found, allowed, mend):
    f = faults(grade, text)
    assert found in f.found and allowed in f.allowed and mend in f.mend


# -- the sizes ----------------------------------------------------------------------------------------------------
#: Walls in inches by schedule, as ordered: recalled apart from our metric table (from memory).
INCHES = {
    "Sch 5": {4: .083, 5: .109, 6: .109, 8: .109, 10: .134, 12: .156, 14: .156, 16: .165, 18: .165, 20: .188, 22: .188,
              24: .218, 30: .250},
    "Sch 10": {4: .120, 5: .134, 6: .134, 8: .148, 10: .165, 12: .180, 14: .250, 16: .250, 18: .250, 20: .250,
               22: .250, 24: .250, 26: .312, 28: .312, 30: .312, 32: .312, 34: .312, 36: .312},
    "Sch 20": {8: .250, 10: .250, 12: .250, 14: .312, 16: .312, 18: .312, 20: .375, 22: .375, 24: .375, 26: .5, 28: .5,
               30: .5, 32: .5, 34: .5, 36: .5},
    "Sch 30": {4: .188, 8: .277, 10: .307, 12: .330, 14: .375, 16: .375, 18: .438, 20: .5, 22: .5, 24: .562, 28: .625,
               30: .625, 32: .625, 34: .625, 36: .625},
    "Sch 40": {4: .237, 5: .258, 6: .280, 8: .322, 10: .365, 12: .406, 14: .438, 16: .5, 18: .562, 20: .594, 24: .688,
               32: .688, 34: .688, 36: .750},
    "Sch 60": {8: .406, 10: .5, 12: .562, 14: .594, 16: .656, 18: .750, 20: .812, 22: .875, 24: .969},
    "Sch 80": {4: .337, 5: .375, 6: .432, 8: .5, 10: .594, 12: .688, 14: .750, 16: .844, 18: .938, 20: 1.031,
               22: 1.125, 24: 1.219},
    "Sch 100": {8: .594, 10: .719, 12: .844, 14: .938, 16: 1.031, 18: 1.156, 20: 1.281, 22: 1.375, 24: 1.531},
    "Sch 120": {4: .438, 5: .5, 6: .562, 8: .719, 10: .844, 12: 1., 14: 1.094, 16: 1.219, 18: 1.375, 20: 1.5,
                22: 1.625, 24: 1.812},
    "Sch 140": {8: .812, 10: 1., 12: 1.125, 14: 1.25, 16: 1.438, 18: 1.562, 20: 1.75, 22: 1.875, 24: 2.062},
    "Sch 160": {4: .531, 5: .625, 6: .719, 8: .906, 10: 1.125, 12: 1.312, 14: 1.406, 16: 1.594, 18: 1.781, 20: 1.969,
                22: 2.125, 24: 2.344},
    "STD": {4: .237, 5: .258, 6: .280, 8: .322, 10: .365},
    "XS": {4: .337, 5: .375, 6: .432},
    "XXS": {4: .674, 5: .750, 6: .864, 8: .875, 10: 1., 12: 1.},
}
NPS = sorted({s.nps for s in sizes()})
INCHES["STD"] |= dict.fromkeys(NPS[5:], 0.375)
INCHES["XS"] |= dict.fromkeys(NPS[3:], 0.5)


def wall_of(nps: int, schedule: str) -> float:
    return next(mm(s.wall) for s in sizes() if (s.nps, s.schedule) == (nps, schedule))


def test_walls_are_the_recalled_inches_rounded_to_a_hundredth_of_a_millimetre():
    assert {(s.nps, s.schedule) for s in sizes()} == {(n, k) for k, row in INCHES.items() for n in row}
    for s in sizes():
        assert abs(mm(s.wall) - INCHES[s.schedule][s.nps] * 25.4) <= 0.0051, s.written


def test_walls_agree_with_a_general_library():
    """Its transcription may go back to the one that ours does: this finds slips of ours, not of the source."""
    for word in INCHES:
        nps, bore, outside, wall = schedule_lookup[word.removeprefix("Sch ")]
        theirs = {int(n): (o, w, i) for n, i, o, w in zip(nps, bore, outside, wall, strict=True) if n >= 4}
        ours = {s.nps: s for s in sizes() if s.schedule == word}
        assert theirs.keys() == ours.keys()
        for n, (o, w, i) in theirs.items():
            assert mm(ours[n].wall) == pytest.approx(w) and w == pytest.approx((o - i) / 2, abs=0.0051)
            assert mm(ours[n].outside_diameter) == pytest.approx(o, abs=0.52)
    nps, bore, outside, wall = nearest_pipe(NPS=20, schedule="STD")
    assert (mm(size("NPS 20 STD").outside_diameter), mm(size("NPS 20 STD").wall)) == (
        pytest.approx(outside * 1e3), pytest.approx(wall * 1e3))


def test_exact_inches_agree_with_the_listed_metric_diameter():
    """To 0.1 mm up to NPS 16; from NPS 18 the listed ones are whole millimetres."""
    for s in table("asme_b36_10m.toml")["size"]:
        exact = mm(s["outside_diameter"])
        assert abs(exact - s["listed_mm"]) <= (0.051 if s["nps"] <= 16 else 0.51)
        if s["nps"] >= 14:
            assert exact == pytest.approx(s["nps"] * 25.4)
        else:
            assert exact > s["nps"] * 25.4


def test_walls_grow_with_the_schedule_and_with_the_size():
    for n in NPS:
        row = [mm(s.wall) for s in sizes() if s.nps == n and s.schedule.startswith("Sch")]
        assert row == sorted(set(row))
        assert wall_of(n, "STD") < wall_of(n, "XS")
    for k in INCHES:
        column = [mm(s.wall) for s in sizes() if s.schedule == k]
        assert column == sorted(column)


def test_std_is_schedule_40_and_xs_schedule_80_in_the_small_sizes():
    for n in NPS:
        if n <= 24 and n != 22:
            assert (wall_of(n, "STD") == wall_of(n, "Sch 40")) == (n <= 10)
            assert (wall_of(n, "XS") == wall_of(n, "Sch 80")) == (n <= 8)
        if n >= 12:
            assert (wall_of(n, "STD"), wall_of(n, "XS")) == (9.53, 12.7)


def test_preferred_walls_are_inches_rounded():
    walls = [(float(i), m) for i, m in preferred_walls().items()]
    assert walls == sorted(walls) and len(walls) == 22
    for inches, listed in walls:
        assert abs(inches * 25.4 - listed) <= 0.0051


@pytest.mark.parametrize(("text", "outside", "wall", "schedule"), [
    ("NPS 20 STD", "20 in", "9.53 mm", "STD"),
    ("NPS 12 Sch 40", "12.75 in", "10.31 mm", "Sch 40"),
    ("nps12, sch40", "12.75 in", "10.31 mm", "Sch 40"),
    ("NPS 10 schedule 40", "10.75 in", "9.27 mm", "Sch 40"),
    ("NPS 24 XS", "24 in", "12.7 mm", "XS"),
    ("NPS 8 sch. xxs", "8.625 in", "22.23 mm", "XXS"),
    ("NPS 20 0.375 in", "20 in", "0.375 in", ""),
    ("NPS 6 .25 in", "6.625 in", "0.250 in", ""),
])
def test_a_size_is_found_by_name(text, outside, wall, schedule):
    s = size(text)
    assert isinstance(s, Size)
    assert (s.outside_diameter, s.wall, s.schedule, s.status) == (outside, wall, schedule, "from memory")
    assert s.document_id in DOCUMENTS and s.clause
    assert s.document_id.startswith("ASME B36.10M" if schedule else "API 5L")


def test_every_size_is_found_by_its_own_text():
    assert all(size(s.written) == s for s in sizes())
    for wall in preferred_walls():
        assert size(size(f"NPS 16 {wall} in").written) == size(f"NPS 16 {wall} in")


@pytest.mark.parametrize(("found", "source"), [
    (grade("X52, API 5L:2000"), "API 5L:2000, tensile requirements, X52"),
    (grade("L360, API 5L:2018"), "API 5L:2018, tensile requirements, L360"),
    (grade("L360, ISO 3183"), "ISO 3183 as API 5L:2018, tensile requirements, L360"),
    (size("NPS 12 Sch 40"), "ASME B36.10M-2018, table of dimensions, NPS 12 Sch 40"),
    (size("NPS 20 .375 in"), "API 5L:2000, preferred walls, NPS 20 0.375 in"),
])
def test_the_source_names_document_place_and_item(found, source):
    assert found.source == source


ALL_OF_40 = "STD, XS"


@pytest.mark.parametrize(("text", "found", "allowed", "mend"), [
    ("NPS 21 STD", "NPS 21", "NPS 4, 5, 6", "the nearest are NPS 20 and NPS 22"),
    ("NPS 3 STD", "NPS 3", "NPS 4, 5, 6", "the nearest is NPS 4;"),
    ("NPS 60 XS", "NPS 60", "46, 48", "the nearest is NPS 48;"),
    ("NPS 00020 XS", "NPS 00020", "NPS 4, 5", "state diameter and wall"),
    ("NPS 12 Sch 90", "NPS 12 Sch 90", "Sch 5, Sch 10, Sch 20, Sch 30, Sch 40, STD, Sch 60, Sch 80, XS, Sch 100",
     "the nearest are Sch 80 and Sch 100"),
    ("NPS 22 Sch 40", "NPS 22 Sch 40", "Sch 30, STD", "the nearest are Sch 30 and Sch 60"),
    ("NPS 40 Sch 20", "NPS 40 Sch 20", ALL_OF_40, "the pipe's own specification; otherwise state the wall"),
    ("NPS 16 XXS", "NPS 16 XXS", "Sch 160", "the pipe's own specification"),
    ("NPS 12 40", "'40' after NPS 12", "Sch 40", 'did you mean "NPS 12 Sch 40"?'),
    ("NPS 12", "NPS 12 alone", "Sch 40", 'write it like "NPS 12 STD"'),
    ("NPS 20 9.53 mm", "'9.53 mm' after NPS 20", "a preferred wall in inches", "write it like"),
    ("NPS 20 0.38 in", "the wall 0.38 in", "0.375, 0.406", "the nearest: 0.375 in and 0.406 in"),
    ("NPS 20 3 in", "the wall 3 in", "1.000 in", "the nearest: 1.000 in"),
    ("20 in STD", "'20 in STD'", "NPS, a whole number", 'write "NPS 20 STD"'),
    ("NPS 2.5 STD", "'NPS 2.5 STD'", "NPS, a whole number", "state diameter and wall"),
    ("", "nothing", "a size and its schedule", 'write "NPS 20 STD"'),
    (20, "'20'", "quotation marks", "quotation marks"),
])
def test_sizes_that_are_refused(text, found, allowed, mend):
    f = faults(size, text)
    assert found in f.found and allowed in f.allowed and mend in f.mend


WORDS = st.lists(st.sampled_from(["X52", "B", "API 5L", "2000", "edition", "ISO 3183", "grade", "NPS", "20", "STD",
                                  "Sch", "0.375 in", ",", ":", "46th"]) | st.text(max_size=4), max_size=6).map(" ".join)


@settings(deadline=None, max_examples=150, derandomize=True)
@given(WORDS)
def test_any_text_is_found_or_refused_with_a_reason(text):
    for read in (grade, size):
        try:
            assert read(text).status in ("seen", "from memory")
        except FieldFault as f:
            assert all(part and part.isprintable() for part in (f.found, f.allowed, f.mend))

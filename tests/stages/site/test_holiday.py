"""Voltage of the holiday test: by the named standard alone, nothing outside its table."""

import pytest

from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages.site.holiday import holiday

WHO = 'by = "A. Reviewer"\non = 2026-09-30\ncopy = "copy 14"\n'


@pytest.fixture
def voltage(judge):
    def run(standard, thickness, file="HB-07.toml", **fields):
        o = judge(file, work__holiday_standard=standard, work__coating_thickness=thickness, **fields)
        with recording(Recorder(o.bundle.case.display)) as rec:
            rec.stage = "I"
            return holiday(o.bundle), rec
    return run


def verdicts(rec):
    return [(c.kind, c.verdict) for c in rec.items if hasattr(c, "verdict")]


@pytest.mark.parametrize(("standard", "thickness", "low", "high"), [
    ("NACE SP0274", "20 mil", 5590, 5590), ("NACE SP0274", "40 mil", 7906, 7906),  # seen: a detector's manual
    ("NACE SP0274", "60 mil", 9682, 9682), ("NACE SP0274", "2 mm", 11092, 11092),
    ("NACE SP0490-2007", "16 mil", 2000, 2400),  # seen: a regulator's answer, 125 to 150 V for each mil
    ("NACE SP0188-2006", "8 mil", 1500, 1500), ("NACE SP0188-2006", "11 mil", 1500, 1500),  # from memory, each edge
    ("NACE SP0188-2006", "12 mil", 2000, 2000), ("NACE SP0188-2006", "20 mil", 2400, 2400),
    ("NACE SP0188-2006", "40 mil", 3000, 3000), ("NACE SP0188-2006", "41 mil", 4000, 4000),
    ("NACE SP0188-2006", "80 mil", 6000, 6000), ("NACE SP0188-2006", "81 mil", 10000, 10000),
    ("NACE SP0188-2006", "125 mil", 10000, 10000), ("NACE SP0188-2006", "1.0 mm", 3000, 3000),
    ("ASTM G62-87", "40 mil", 3320, 3320), ("ASTM G62-87", "41 mil", 8004, 8004)])  # from memory
@pytest.mark.parametrize("file", ["HB-07.toml", "HB-15.toml"])
def test_rows(voltage, standard, thickness, low, high, file):
    h, rec = voltage(standard, thickness, file)
    assert (h.lowest.magnitude, h.highest.magnitude) == (pytest.approx(low, abs=1), pytest.approx(high, abs=1))
    assert h.standard == standard and not h.reason and h.lowest.unit == "V"
    assert all(v == "met" for k, v in verdicts(rec) if k == "scope")
    assert {rec.place_of[i.id] for i in rec.items} == {("I", "Holiday test")}


@pytest.mark.parametrize(("standard", "thickness", "words"), [
    ("NACE SP0274", "19 mil", "at least"), ("NACE SP0274", "20 mm", "at most"),
    ("NACE SP0490-2007", "9 mil", "at least"), ("NACE SP0490-2007", "31 mil", "at most"),
    ("NACE SP0188-2006", "7.9 mil", "at least"), ("NACE SP0188-2006", "126 mil", "at most"),
    ("ASTM G62-87", "9 mil", "at least")])
def test_outside_there_is_no_voltage(voltage, standard, thickness, words):
    h, rec = voltage(standard, thickness)
    assert h.lowest is None and h.highest is None and h.air is None
    assert f"is outside {standard}, {words}" in h.reason and "name a standard that covers it" in h.reason
    assert ("scope", "outside scope") in verdicts(rec)
    assert not [i for i in rec.items if hasattr(i, "result") or hasattr(i, "results")], "nothing is worked out"


def test_above_the_apparatus_the_voltage_is_struck(voltage):
    h, rec = voltage("ASTM G62-87", "7 mm")
    assert h.lowest is None and "above the highest voltage of ASTM G62-87" in h.reason
    assert [i.struck for i in rec.items if hasattr(i, "struck")] == [h.reason]


def test_without_a_standard_there_is_no_default(voltage):
    h, rec = voltage(None, "40 mil")
    assert h.lowest is None and h.thickness.to("thou") == pytest.approx(40)
    assert "differ by a factor of 2.4" in h.reason and "work.holiday_standard" in h.reason
    assert verdicts(rec) == [("information", "no data")] and rec.items[0].note == h.reason


def test_a_case_that_says_nothing_of_a_coating(judge):
    o = judge("HB-34.toml")
    with recording(Recorder("SI")) as rec:
        rec.stage = "I"
        h = holiday(o.bundle)
    assert (h.standard, h.coating, h.thickness, h.lowest) == (None, None, None, None)
    assert verdicts(rec) == [("information", "no data")]


def test_between_two_rows_the_row_above_holds(voltage):
    h, rec = voltage("NACE SP0188-2006", "11.5 mil")
    assert h.lowest.magnitude == 2000
    assert any("lies between two rows" in a["text"] for a in rec.assumptions)


def test_rows_that_an_overlay_turns_round_give_no_voltage(voltage):
    h, rec = voltage("NACE SP0188-2006", "30 mil", documents={"overlay": "mine.toml"}, files={
        "mine.toml": f'[[value]]\nitem = "NACE SP0188-2006/holiday_row_4_to"\nvalue = "20 mil"\n{WHO}'})
    assert h.lowest is None and "correct the overlay" in h.reason
    assert verdicts(rec) == [("information", "no data")]


def test_a_row_that_an_overlay_changes_is_taken(voltage):
    h, _ = voltage("NACE SP0188-2006", "30 mil", documents={"overlay": "mine.toml"}, files={
        "mine.toml": f'[[value]]\nitem = "NACE SP0188-2006/holiday_row_4_voltage"\nvalue = "3.2 kV"\n{WHO}'})
    assert h.lowest.magnitude == pytest.approx(3200)


@pytest.mark.parametrize(("standard", "thickness", "words"), [
    ("NACE SP0274", "20 mil", "burn sound coating"),  # independent: 5590 V on 0.508 mm, 10 kV/mm would be 5080 V
    ("ASTM G62-87", "40 mil", "pass over a pinhole"),  # independent: 3320 V, air of 1.016 mm at 4 kV/mm is 4064 V
    ("NACE SP0274", "40 mil", None)])
def test_the_strength_of_air_and_film_is_information(voltage, standard, thickness, words):
    h, rec = voltage(standard, thickness)
    assert h.lowest is not None, "a bound never takes the voltage of the standard away"
    assert h.film.magnitude == pytest.approx(2.5 * h.air.magnitude)
    assert [w for w in rec.warnings if words and words in w["text"]] == rec.warnings
    assert len(rec.warnings) == (1 if words else 0)


def test_what_the_engineer_has_to_know(voltage):
    h, rec = voltage("NACE SP0490-2007", "16 mil")
    assert any("fusion-bonded epoxy alone" in w["text"] and "two-part epoxy" in w["text"] for w in rec.warnings)
    assert any("false ground" in c for c in h.cautions) and any("insulation" in c for c in h.cautions)
    for standard, edition in (("NACE SP0188-2006", "January 2024"), ("ASTM G62-87", "2023")):
        _, rec = voltage(standard, "30 mil")
        assert any(edition in a["text"] for a in rec.assumptions)

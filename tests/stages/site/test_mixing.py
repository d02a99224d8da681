"""Mixing on a plan: both ends of the day, the dosing table for the site, whole packs, every warning, blank fields."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest
import tomlkit

from wrapcalc.case import load_bundle
from wrapcalc.checks import Check
from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages.site.mixing import READING, TRAYS, mixing

#: Units and packs that these tests stand on, whatever layout and waste the examples come to: widths in mm, and of
#: the order kg and packs.
WIDTHS = {"HB-07.toml": (170.0, 260.0, 170.0), "HB-15.toml": (560.0,)}
MASSES = {"HB-07.toml": {"adhesive": (2.624, 2), "filler": (1.99, 3)}, "HB-15.toml": {"adhesive": (4.235, 2)}}


def pinned(o, file: str):
    """Design and order of an outcome with these units and masses."""
    d, lines = o.design, list(o.order)
    if file in WIDTHS:
        repairs = tuple(replace(r, layout=replace(r.layout, widths=WIDTHS[file])) for r in d.extent.repairs)
        d = replace(d, extent=replace(d.extent, repairs=repairs))
        lines = [x if x.kind not in MASSES[file] else replace(
            x, quantity=replace(x.quantity, magnitude=MASSES[file][x.kind][0]),
            packs=replace(x.packs, magnitude=float(MASSES[file][x.kind][1]))) for x in lines]
    return d, lines


@pytest.fixture
def mixed(judge, example):
    """mixed(case, sheet={material: fields}, order=change, ...) runs an example and its mixing stage."""
    def run(file: str = "HB-07.toml", sheet=None, order=None, **fields):
        files = {}
        if sheet:
            shipped = load_bundle(example / file)
            data = tomlkit.parse(shipped.files[f"{shipped.system.system.id}.toml"].decode()).unwrap()
            for material, changed in sheet.items():
                next(m for m in data["mix"] if m["material"] == material).update(changed)
            files["own.toml"] = tomlkit.dumps(data)
            fields |= {"design__system": "own.toml"}
        o = judge(file, files=files, **fields)
        assert o.order
        design, lines = pinned(o, file)
        lines = lines if order is None else order(lines)
        with recording(Recorder(o.bundle.case.display)) as rec:
            rec.stage = "I"
            batches = mixing(o.bundle, design, lines)
        return SimpleNamespace(by={b.material: b for b in batches}, rec=rec, outcome=o,
                               warnings=[w["text"] for w in rec.warnings])
    return run


def warned(m, start: str) -> str:
    found = [w for w in m.warnings if w.startswith(start)]
    assert len(found) == 1, m.warnings
    return found[0]


def check(m, title: str) -> Check:
    found = [i for i in m.rec.items if isinstance(i, Check) and i.title.startswith(title)]
    assert len(found) == 1, [i.title for i in m.rec.items if isinstance(i, Check)]
    return found[0]


# -- both ends of the plan ----------------------------------------------------------------------------------------
def test_highest_of_air_and_steel_at_both_ends(mixed):
    """HB-07: air 9 to 19 °C, steel 15.5 to 18 °C. Independent: 2.8 % and 2.5667 % of 1.95 kg, by hand."""
    b = mixed().by["adhesive"]
    assert [g.magnitude for g in b.governing] == [15.5, 19]
    assert b.low.hardener.to("g") == pytest.approx(1950 * 0.028)
    assert b.high.hardener.to("g") == pytest.approx(1950 * (0.029 - 0.006 * 5 / 9))
    assert (b.low.resin, b.packs.magnitude) == (b.resin, 1)
    assert b.rule == "highest of air and steel" and "75 s after each" in b.stages and b.laid_with == "filler"


@pytest.mark.parametrize(("rule", "ends"), [
    ("lowest of air and steel", [9, 18]), ("air", [9, 19]), ("steel", [15.5, 18]),
    ("coldest steel until cured", [15.5, 15.5])])
def test_each_rule_at_both_ends(mixed, rule, ends):
    b = mixed(sheet={"adhesive": {"governing_temperature": rule}}).by["adhesive"]
    assert [g.magnitude for g in b.governing] == ends
    if ends[0] == ends[1]:
        assert b.low is b.high


def test_a_dose_that_is_the_same_at_both_ends_is_worked_out_once(mixed):
    m = mixed()
    titles = [i.title for i in m.rec.items]
    assert m.by["end seal"].low.hardener == m.by["end seal"].high.hardener
    assert sum(t.startswith("Hardener for one batch of end seal") for t in titles) == 1
    assert m.by["end seal"].high.governing.magnitude == 18


def test_outside_the_table_at_one_end_only_that_end_is_refused(mixed):
    m = mixed(work__air_high="49 °C")
    b = m.by["adhesive"]
    assert b.low is not None and b.high is None and b.governing[1] is None and b.pot_life is None
    assert "ends at 48 °C" in warned(m, "Dose of the adhesive: highest of air and steel, hottest plan, 49 °C")
    assert check(m, "Working window").verdict == "no data"


def test_cold_air_and_steel_are_refused_not_dosed_up(mixed):
    m = mixed(work__air_low="2 °C", work__steel_low="6 °C")
    assert m.by["adhesive"].low is None and m.by["adhesive"].high is not None
    assert any("does not mend the cold" in c for c in m.by["adhesive"].cautions)
    assert not any("does not mend the cold" in c for c in m.by["filler"].cautions), "a mass for one pack"
    assert all(TRAYS in b.cautions for b in m.by.values())


# -- the table for the site ---------------------------------------------------------------------------------------
def test_rows_of_points_with_whole_degrees_around_the_plan(mixed):
    rows = mixed().by["adhesive"].rows
    assert [r.temperature for r in rows] == ["7 °C", "14 °C", "15 °C", "16 °C", "17 °C", "18 °C", "19 °C", "23 °C",
                                             "34 °C", "48 °C"]
    assert [r.added for r in rows].count(False) == 5
    at = {r.temperature: r for r in rows}
    assert at["17 °C"].hardener.to("g") == pytest.approx(52.65)
    assert at["17 °C"].shown == ("17 °C", "2.7 %", "1.95 kg", "52.6 g", "2.003 kg", "1.68 L")
    for r in rows:
        assert r.mixed.magnitude == pytest.approx(1.95 + r.hardener.magnitude)
        assert r.volume.magnitude == pytest.approx(1.95 / 1.2 + r.hardener.magnitude / 1.04)
        assert r.hardener.origin.kind == "procedure"


def test_a_wide_plan_gets_wider_steps_and_none_outside_the_table(mixed):
    rows = mixed(work__air_low="5 °C", work__steel_low="8 °C", work__air_high="30 °C").by["adhesive"].rows
    added = [r.low for r in rows if r.added]
    assert added == [8, 10, 12, 16, 18, 20, 22, 24, 26, 28, 30], "14 °C is a row of the sheet"
    assert [r.low for r in rows] == sorted(r.low for r in rows)


def test_bands_and_a_fixed_dose_get_no_rows_between(mixed):
    m = mixed()
    assert [r.temperature for r in m.by["filler"].rows] == ["7 °C to below 16 °C", "16 °C to below 27 °C",
                                                            "27 °C to 48 °C"]
    assert [r.shown[1] for r in m.by["filler"].rows] == ["21 g", "15 g", "10 g"]
    assert [r.temperature for r in m.by["end seal"].rows] == ["7 °C to 48 °C"]
    assert m.by["filler"].reading == READING["bands"] and m.by["adhesive"].reading == READING["points"]


def test_a_us_page_has_whole_degrees_fahrenheit_pounds_and_ounces(mixed):
    m = mixed("HB-15.toml")
    rows = m.by["filler"].rows
    assert [r.temperature for r in rows] == ["48.2 °F", "62 °F", "66.2 °F", "107.6 °F"]
    assert rows[1].added and rows[1].shown[1:] == ("3.41 %", "1.279 lb", "0.722 oz", "1.324 lb", "0.101 gal")
    assert [r.temperature for r in m.by["adhesive"].rows] == ["48.2 °F to 107.6 °F"]


# -- whole packs --------------------------------------------------------------------------------------------------
def test_a_part_of_a_pack_is_weighed_never_divided_by_eye(mixed):
    m = mixed()
    text = warned(m, "The amounts to mix are not whole packs")
    assert "never divides by eye" in text and m.by["filler"].part in text
    assert m.by["adhesive"].part == "", "each of its clocks begins a batch of its own"
    assert "of hardener at 19 °C" in text


def test_whole_packs_are_not_warned_of(mixed):
    def whole(lines):
        return [x if x.packs is None else replace(x, quantity=replace(
            x.quantity, magnitude=x.packs.magnitude * x.pack.magnitude)) for x in lines]
    m = mixed(order=whole)
    assert all(b.part == "" for b in m.by.values())
    assert not any("not whole packs" in w for w in m.warnings)


def test_more_packs_in_a_batch(mixed):
    one, two = mixed().by["filler"], mixed(work__packs_per_batch=2).by["filler"]
    assert two.resin.magnitude == 2 * one.resin.magnitude
    assert two.low.hardener.magnitude == pytest.approx(2 * one.low.hardener.magnitude)
    assert (one.batches.magnitude, two.batches.magnitude) == (3, 2)


def test_every_unit_begins_a_batch_of_its_own_and_a_short_order_is_told(mixed):
    m = mixed()
    text = warned(m, "The order of adhesive makes 2 batches, but 3 are begun")
    assert "3 units, 1 laid from one batch, 1 whole pack in each" in text
    assert m.by["adhesive"].batches.magnitude == 3
    together = mixed(work__units_per_batch=3)
    assert together.by["adhesive"].batches.magnitude == 2
    assert not any(w.startswith("The order of adhesive") for w in together.warnings)


def test_a_unit_that_needs_two_batches_is_told_and_both_are_mixed_on_one_clock(mixed):
    """HB-15: one band of 4.2 kg of resin, batches of 3.2 kg; two times 4.5 min and primer of 3 min make 12 min."""
    m = mixed("HB-15.toml")
    assert "2 batches are mixed for them, on one clock" in warned(m, "One batch of adhesive does not suffice")
    assert m.by["adhesive"].window.mixing.to("minute") == pytest.approx(12)
    assert m.by["adhesive"].batches.magnitude == 2


def test_without_an_order_there_is_no_number_of_batches(mixed):
    m = mixed(order=lambda lines: ())
    assert all(b.batches is None and b.part == "" for b in m.by.values())
    assert m.by["adhesive"].needed is not None


def test_parts_that_do_not_make_the_stated_pack_are_asked_about(mixed):
    good = mixed()
    assert check(good, "Parts of one pack of adhesive").met
    assert not any("do not make that" in w for w in good.warnings)
    bad = mixed(sheet={"filler": {"resin_in_pack": "0.66 kg"}})
    assert check(bad, "Parts of one pack of filler").verdict == "not met"
    assert "Ask the supplier which is right" in warned(
        bad, "One pack of filler is stated as 750 g, but 660 g of resin and 15 g of hardener at a middle dose")


def test_a_batch_heavier_than_the_pot_life_refers_to_is_not_met(mixed):
    m = mixed(work__packs_per_batch=2)
    assert check(m, "Mass of one batch of adhesive").verdict == "not met"
    text = warned(m, "A batch of adhesive weighs")
    assert "its pot life refers to 2.2 kg" in text and "the real one is shorter" in text and TRAYS in text
    assert "flat trays" in TRAYS and "split it" in TRAYS
    assert check(mixed(), "Mass of one batch of adhesive").met


def test_the_heavier_end_of_the_plan_is_compared_and_of_a_blank_plan_the_heaviest_row(mixed):
    """HB-07: 1.789 kg at 15.5 °C, 1.785 kg at 19 °C; the row of 7 °C makes 1.799 kg."""
    between = {"adhesive": {"pot_life_mass": "1.787 kg"}}
    assert check(mixed(sheet=between), "Mass of one batch of adhesive").verdict == "not met"
    blank = mixed("HB-34.toml", sheet={"adhesive": {"pot_life_mass": "1.795 kg"}})
    assert check(blank, "Mass of one batch of adhesive").verdict == "not met"


# -- air and steel ------------------------------------------------------------------------------------------------
def test_air_and_steel_in_different_rows_are_warned_of(mixed):
    text = warned(mixed(), "Air (9 °C to 19 °C) and steel (15.5 °C to 18 °C) may lie in different rows")
    assert "adhesive (highest of air and steel governs), filler (highest of air and steel governs)" in text
    assert "end seal" not in text, "one dose for all"
    assert "Measure both before each batch" in text


def test_air_and_steel_in_one_row_are_not(mixed):
    m = mixed(work__air_low="17 °C")
    assert "adhesive" not in "".join(w for w in m.warnings if w.startswith("Air")), m.warnings
    assert not any(w.startswith("Air") for w in mixed(work__air_low="17 °C", work__steel_low="16 °C").warnings)


# -- blank --------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("file", ["HB-34.toml", "HB-42.toml", "HB-46.toml", "HB-51.toml"])
def test_a_case_that_says_nothing_of_the_work_gets_tables_and_no_guess(mixed, file):
    m = mixed(file)
    for b in m.by.values():
        assert b.governing == (None, None) and b.low is None and b.high is None and b.pot_life is None
        assert b.rows and not any(r.added for r in b.rows) and b.batches.magnitude >= 1
        assert {c.verdict for c in b.checks if c.kind == "scope"} == {"no data"}
    assert check(m, "Working window").verdict == "no data"
    assert not any(w.startswith(("Air", "The working window")) for w in m.warnings)
    texts = [a["text"] for a in m.rec.assumptions]
    assert "One batch is one whole pack: the case states no number." in texts
    assert "One unit is laid from one batch: the case states no number." in texts


def test_steps_stand_under_their_topics(mixed):
    m = mixed()
    topics = [m.rec.place_of[i.id] for i in m.rec.items]
    assert set(topics) == {("I", "Mixing"), ("I", "Working window")}
    assert topics == sorted(topics), "mixing first, then the window"

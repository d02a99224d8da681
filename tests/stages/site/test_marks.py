"""Marks on the pipe: sides from the weld, starts around it, and where each wrap ends."""

import json
import math

import pytest
import tomlkit

from wrapcalc import record_materials
from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages.site import starts as start_stage
from wrapcalc.stages.site.marks import marks, tape_text
from wrapcalc.systems import shipped_systems


def mark(outcome):
    """(marks, recorder) of an outcome, in a recorder of their own."""
    with recording(Recorder(outcome.bundle.case.display)) as rec:
        rec.stage = "I"
        return marks(outcome.bundle, outcome.design), rec


def titled(found, words):
    return [c for c in found.checks if words in c.title]


def placed(**rules):
    """The fields of a case whose sleeve has these rules for its placement."""
    data = tomlkit.parse(shipped_systems()["example-sleeve"].read_text("utf-8")).unwrap()
    data["placement"] |= rules
    return {"files": {"mine.toml": tomlkit.dumps(data)}, "design__system": "mine.toml"}


@pytest.fixture
def sleeve(judge):
    return lambda **fields: mark(judge("HB-07.toml", **fields))


# -- along the pipe ------------------------------------------------------------------------------------------------
def test_sides_lie_about_the_middle_of_the_set(judge):
    o = judge("HB-07.toml")
    found, _ = mark(o)
    (r,), (given,) = found.repairs, o.design.extent.repairs
    middle = 4190 + 236 / 2 + given.centre + given.shift
    assert found.reference == "girth weld 1180" and found.from_weld and found.notes == ()
    assert r.middle.magnitude == pytest.approx(middle)
    widths = given.layout.widths
    assert [u.width.magnitude for u in r.units] == list(widths)
    sides = [middle - sum(widths) / 2 + sum(widths[:k]) for k in range(len(widths) + 1)]
    assert [u.upstream.magnitude for u in r.units] == pytest.approx(sides[:-1])
    assert [u.downstream.magnitude for u in r.units] == pytest.approx(sides[1:])
    half = given.overall.magnitude / 2
    assert (r.upstream_edge.magnitude, r.downstream_edge.magnitude) == pytest.approx((middle - half, middle + half))
    assert r.downstream_steel.magnitude - r.upstream_steel.magnitude == pytest.approx(2 * half + 120)
    assert r.units[0].upstream.magnitude - r.upstream_edge.magnitude == pytest.approx(o.design.extent.end.magnitude)


def test_bands_lap_and_their_tapers_lie_inside(judge):
    o = judge("HB-15.toml", defect__length="30 in", defect__clear_upstream="20 ft", defect__clear_downstream="16 ft",
              location__from_downstream_weld="16 ft")
    found, _ = mark(o)
    (r,), (given,) = found.repairs, o.design.extent.repairs
    assert len(r.units) == len(given.layout.widths) > 1
    lap = o.bundle.system.value("lay_up.band_overlap").magnitude
    assert r.units[0].lap is None
    for before, after in zip(r.units, r.units[1:], strict=False):
        assert before.downstream.magnitude - after.upstream.magnitude == pytest.approx(lap)
        assert after.lap.magnitude == lap
    assert r.units[0].upstream.magnitude == pytest.approx(r.upstream_edge.magnitude)
    assert r.units[-1].downstream.magnitude == pytest.approx(r.downstream_edge.magnitude)


def test_every_position_is_a_recorded_step(sleeve):
    found, rec = sleeve()
    for r in found.repairs:
        values = [r.middle, r.upstream_edge, r.downstream_edge, r.upstream_steel, r.downstream_steel]
        for v in values + [x for u in r.units for x in (u.upstream, u.downstream, u.start)]:
            assert v.origin.kind in ("step", "procedure") and rec.get(v.origin.ref.partition("/")[0]) is not None


def test_without_the_distance_from_the_weld_positions_are_from_the_damage_and_that_is_said(sleeve):
    found, _ = sleeve(location__from_upstream_weld=None, keep_out=None)
    assert found.reference == "the middle of the damage" and not found.from_weld
    check, = titled(found, "from a girth weld")
    assert check.verdict == "no data" and "location.from_upstream_weld" in check.note
    assert any("from the middle of the damage" in n for n in found.notes)
    (r,) = found.repairs
    assert r.middle.magnitude == pytest.approx(0, abs=200)


def test_a_weld_without_a_number_is_still_named(sleeve):
    assert sleeve(location__upstream_weld=None)[0].reference == "the girth weld upstream"


@pytest.mark.parametrize("name", ["HB-34", "HB-42", "HB-46", "HB-51"])
def test_cases_that_state_nothing_of_the_site_have_marks_with_blanks(judge, name):
    found, _ = mark(judge(f"{name}.toml"))
    assert not found.from_weld and found.repairs and found.ends and titled(found, "girth weld")


@pytest.mark.parametrize("name", ["HB-07", "HB-15", "HB-34", "HB-51"])
def test_marks_agree_with_the_layout(judge, name):
    """The first side is where the layout starts, from the middle of all damage."""
    o = judge(f"{name}.toml")
    found, _ = mark(o)
    damage = o.bundle.case.get("location.from_upstream_weld")
    zero = 0.0 if damage is None else damage.base + o.bundle.case.get("defect.length").base / 2
    for marked, given in zip(found.repairs, o.design.extent.repairs, strict=True):
        assert marked.units[0].upstream.magnitude == pytest.approx(zero + given.layout.start, abs=1e-6)


def test_sets_that_are_moved_off_the_middle_are_marked_there(judge):
    import dataclasses
    o = judge("HB-07.toml")
    (r,) = o.design.extent.repairs
    moved = dataclasses.replace(o.design.extent, repairs=(dataclasses.replace(r, centre=300.0, shift=-40.0),))
    with recording(Recorder()) as rec:
        rec.stage = "I"
        found = marks(o.bundle, dataclasses.replace(o.design, extent=moved))
    assert found.repairs[0].middle.magnitude == pytest.approx(4190 + 118 + 260)


# -- around the pipe -----------------------------------------------------------------------------------------------
def hours(clock):
    h, m = clock.split(":")
    return int(h) % 12 + int(m) / 60


def apart(a, b):
    """Hours between two clocks, the shorter way."""
    return min((a - b) % 12, (b - a) % 12)


def test_starts_keep_every_rule_of_the_sheet(sleeve):
    found, _ = sleeve()
    around = math.pi * 406.4
    (r,) = found.repairs
    assert all(c.met for c in r.places.checks) and len(r.places.checks) == 3 and r.places.missed == ()
    for u in r.units:
        assert apart(hours(u.clock), 10.75) / 12 * around >= 70
        assert apart(hours(u.clock), 5 + 1 / 3) / 12 * around >= 110
        assert apart(hours(u.clock), 0) <= 3, "the crew reaches the upper half"
        assert u.start.magnitude == pytest.approx(hours(u.clock) / 12 * around)
    for a, b in zip(r.units, r.units[1:], strict=False):
        assert apart(hours(a.clock), hours(b.clock)) / 12 * around >= 160


def test_units_side_by_side_and_one_over_the_other_take_turns(judge):
    found, _ = mark(judge("HB-51.toml"))
    (r,) = found.repairs
    clock = {(u.number, u.tier): u.clock for u in r.units}
    assert len(clock) == 4
    for n, t in clock:
        for other in ((n + 1, t), (n, t + 1)):
            assert other not in clock or clock[other] != clock[n, t]


def test_deepest_metal_is_that_of_the_grid(sleeve):
    """Row 66 mm of 0 to 154 mm, half a row each way; the middle of the grid, 77 mm, lies at 5:20."""
    _, rec = sleeve()
    found = next(i for i in rec.items if i.title.startswith("Starts of the units"))
    assert "deepest reading about 5:14, 22 mm wide" in dict(found.details)["deepest metal"]


def test_without_a_grid_the_whole_defect_is_kept_off(sleeve):
    _, rec = sleeve(defect__grid=None)
    found = next(i for i in rec.items if i.title.startswith("Starts of the units"))
    assert "the whole defect as stated about 5:20, 154 mm wide" in dict(found.details)["deepest metal"]


def test_pits_are_placed_by_their_own_clock(judge):
    _, rec = mark(judge("HB-34.toml"))
    found = next(i for i in rec.items if i.title.startswith("Starts of the units"))
    assert "deepest pit about" in dict(found.details)["deepest metal"]


def test_an_unknown_seam_is_no_data_and_has_to_be_found_first(sleeve):
    found, _ = sleeve(pipe__seam_clock=None)
    check, = titled(found, "off the seam")
    assert check.verdict == "no data" and "find the seam first" in check.note
    assert any(n.startswith("Find the seam first") for n in found.notes)
    assert titled(found, "deepest metal")[0].met


def test_an_unknown_clock_of_the_defect_is_no_data(judge):
    o = judge("HB-07.toml")
    case = o.bundle.case.model_copy(update={"defect": o.bundle.case.defect.model_copy(update={"clock": None})})
    object.__setattr__(o.bundle, "case", case)
    found, _ = mark(o)
    assert titled(found, "deepest metal")[0].verdict == "no data"
    assert any(n.startswith("Find the deepest metal first") for n in found.notes)


def test_a_seamless_pipe_has_no_rule_for_a_seam(sleeve):
    found, _ = sleeve(pipe__joint_type="seamless", pipe__seam_clock=None)
    assert titled(found, "off the seam") == [] and found.notes == ()


def test_where_no_start_meets_all_rules_the_missed_one_is_named(sleeve):
    found, _ = sleeve(**placed(start_off_deepest="900 mm"))
    missed = [c for c in found.checks if c.verdict == "not met"]
    assert missed and all(any(c.title.lower() in n for n in found.notes) for c in missed)
    assert any("no start meets all rules" in n.lower() for n in found.notes)


def test_starts_leave_the_upper_half_only_where_they_must_and_say_so(sleeve):
    """Seam at 12:00 and 330 mm off it: on 1277 mm round, nothing above springline is left."""
    found, rec = sleeve(pipe__seam_clock="12:00", defect__clock="12:00", **placed(start_off_seam="330 mm"))
    assert all(c.met for c in found.checks)
    assert all(apart(hours(u.clock), 0) > 3 for u in found.repairs[0].units)
    assert any("start below" in a["text"] for a in rec.assumptions)


def test_a_repair_over_a_girth_weld_keeps_off_the_seam_of_the_next_joint(judge):
    o = judge("HB-07.toml")
    for crossed, clocks in ((("upstream",), {"10:45", "1:20"}), (("downstream",), {"10:45", "2:40"})):
        got = start_stage.seam_arcs(o.bundle, math.pi * 406.4, crossed)
        assert {w.partition(" ")[0] for w in got.words} == clocks and got.unknown == ""
    o = judge("HB-07.toml", joint=None)
    assert "of the joint upstream" in start_stage.seam_arcs(o.bundle, 1276.0, ("upstream",)).unknown


# -- the wrap end --------------------------------------------------------------------------------------------------
def test_wrap_end_layer_by_layer(sleeve):
    """independent: the made length is laid turn by turn on each circumference of the table."""
    found, _ = sleeve()
    (end,) = found.ends
    made = sum(math.pi * (406.4 + 2 * k * 1.37 + 2 * 0.22 + 1.15) for k in range(11))
    assert end.made.magnitude == pytest.approx(made) and end.at_nominal.magnitude == pytest.approx(0, abs=1e-9)
    for row in end.rows:
        need = sum(row.circumference + math.pi * (2 * k * 1.37 + 2 * 0.22 + 1.15) for k in range(11))
        assert row.length == pytest.approx(need) and row.beyond == pytest.approx(made - need)
        assert row.within == (abs(row.beyond) <= 45)
    assert {r.within for r in end.rows} == {True, False} and not end.rows[0].within and not end.rows[-1].within
    assert end.most.magnitude - end.nominal.magnitude == pytest.approx(45 / 11)
    assert end.nominal.magnitude - end.least.magnitude == pytest.approx(45 / 11)


def test_the_rule_for_the_tape_gives_the_rows(sleeve):
    """The numbers of the printed rule, typed."""
    (end,) = sleeve()[0].ends
    words = end.rule.split(";")[0].partition("=")[2]
    made, layers, growth = (float(p.split()[0]) for p in words.replace("× U", "").split("−"))
    for row in end.rows:
        assert made - layers * row.circumference - growth == pytest.approx(row.beyond, abs=0.11)


def test_cloth_is_cut_longer_and_only_too_short_is_outside(judge):
    o = judge("HB-15.toml")
    (end,) = mark(o)[0].ends
    n = int(o.design.laid.count.magnitude)
    allowance = o.bundle.system.value("lay_up.cutting_allowance").magnitude
    need = sum(math.pi * (406.4 + (2 * k + 1) * 0.66) for k in range(n))
    assert end.made.magnitude == pytest.approx(need + allowance)
    assert end.at_nominal.magnitude == pytest.approx(allowance)
    assert end.least is None
    assert end.most.magnitude == pytest.approx(math.pi * 406.4 + allowance / n), "never short: a layer would lack there"
    assert end.rows[0].within and not end.rows[-1].within
    for row in end.rows:
        assert row.within == (row.beyond >= -1e-9)


def test_the_second_sleeve_lies_on_the_first(judge):
    first, second = mark(judge("HB-51.toml"))[0].ends
    assert second.nominal.magnitude - first.nominal.magnitude == pytest.approx(2 * math.pi * 11 * 1.37)
    assert (first.tier, second.tier) == (1, 2)


@pytest.mark.parametrize(("display", "step"), [("SI", 1.0), ("US", 25.4)])
def test_tapes_are_round_numbers_of_what_is_printed(judge, display, step):
    o = judge("HB-07.toml", case={"id": "HB-07", "title": "t", "line": "l", "joint": "j", "prepared_by": "E. Example",
                                  "display": display, "paper": "A4"})
    (end,) = mark(o)[0].ends
    for a, b in zip(end.rows, end.rows[1:], strict=False):
        jump = (b.circumference - a.circumference) / step
        mantissa = jump / 10 ** math.floor(math.log10(jump) + 1e-9)
        assert any(mantissa == pytest.approx(k) for k in (1, 2, 5))
        assert a.circumference / step / jump == pytest.approx(round(a.circumference / step / jump))


def test_lengths_as_a_tape_is_read():
    assert tape_text(11866.04, "SI") == "11866 mm" and tape_text(53.19, "SI") == "53.2 mm"
    assert tape_text(254.1, "US") == "10 in" and tape_text(-12.7, "US") == "−0.5 in"


# -- as data -------------------------------------------------------------------------------------------------------
def as_data(value):
    return None if value is None else {"magnitude": value.magnitude, "unit": value.unit, "shown": value.show()}


def test_marks_as_data_keep_the_millimetres(sleeve):
    found, _ = sleeve(location__from_upstream_weld="10.19 m", location__joint_length="17.866 m",
                      location__from_downstream_weld="7.44 m", keep_out=None)
    out = json.loads(json.dumps(record_materials.marks(found, as_data, "SI"), allow_nan=False))
    (r,) = out["repairs"]
    assert r["middle"]["shown"] == tape_text(found.repairs[0].middle.magnitude, "SI")
    assert [u["clock"] for u in r["units"]] == [u.clock for u in found.repairs[0].units]
    assert len(out["ends"][0]["rows"]) == len(found.ends[0].rows) and out["if_not_met"]
    assert out["checks"] == [c.id for c in found.checks]
    assert record_materials.marks(None, as_data, "SI") is None


def test_marks_in_us_units(judge):
    found, _ = mark(judge("HB-15.toml"))
    out = record_materials.marks(found, as_data, "US")
    assert out["ends"][0]["rows"][0]["circumference"]["shown"].endswith(" in")
    assert all(r["middle"]["shown"].endswith(" in") for r in out["repairs"])
    assert " in" in out["ends"][0]["rule"] and " mm" not in out["ends"][0]["rule"]

"""The layout of the units in a whole job: stock, keep-outs, objectives, and what is said when there is no room."""

import pytest
import tomlkit

from wrapcalc.case import load_bundle
from wrapcalc.errors import CaseFaults
from wrapcalc.stages.job import NO_DATA, WRAP, run


@pytest.fixture
def laid(example):
    """laid(table__key=value, lists={"keep_out": [...]}) runs HB-07 with these changes."""
    def change(file="HB-07.toml", lists=None, **fields):
        data = tomlkit.parse((example / file).read_text("utf-8")).unwrap()
        for dotted, value in fields.items():
            table, key = dotted.split("__")
            data.setdefault(table, {})[key] = value
        data |= lists or {}
        path = example / "changed.toml"
        path.write_text(tomlkit.dumps(data), "utf-8")
        return run(load_bundle(path))
    return change


def of(outcome):
    (repair,) = outcome.design.extent.repairs
    return repair


def details(outcome):
    return dict(next(i for i in outcome.recorder.items if i.title == "Units side by side").details)


def lead(start, end, rule, what="test lead"):
    """A stretch of pipe, in m from girth weld 1180; the middle of the damage lies at 4.19 + 0.118 m."""
    return {"keep_out": [{"what": what, "start": f"{start} m", "end": f"{end} m", "rule": rule}]}


def test_joints_keep_the_side_tolerance_off_the_damage(laid):
    """246 mm of damage with its allowance, and 7 mm: the joint lies 130 mm from the middle, the set 10 mm off it."""
    repair = of(laid())
    assert repair.layout.widths == (410, 170)
    assert repair.layout.joints == (pytest.approx(130),) and repair.shift == pytest.approx(10)
    assert repair.layout.off_joints == pytest.approx(260)


def test_both_overlaps_are_whole_wherever_the_set_lies(laid):
    """Independent: sides of the cover against the damage and the overlap, by hand."""
    for o in (laid(), laid(layout__first="symmetry"), laid(lists=lead(4.67, 4.7, "no part"))):
        r = of(o)
        half, overlap = r.length.magnitude / 2, o.design.extent.overlap.magnitude
        low, high = r.layout.middle - r.layout.cover.magnitude / 2, r.layout.middle + r.layout.cover.magnitude / 2
        assert o.decision.word == WRAP
        assert low <= -half - overlap + 1e-6 and high >= half + overlap - 1e-6


def test_a_stretch_is_kept_out_of_and_moves_the_set(laid):
    """Footprint of the set: 580 mm and two ends of 45.2 mm."""
    o = laid(lists=lead(4.64, 4.7, "no part"))
    r = of(o)
    edge = 4640 - 4190 - 118
    assert r.layout.middle + r.overall.magnitude / 2 <= edge and r.shift < 0
    check = next(i for i in o.recorder.items if i.title == "Repair clear of test lead")
    assert check.met and check.kind == "scope"
    assert any("off the middle of the damage, upstream" in a["text"] for a in o.recorder.assumptions)


@pytest.mark.parametrize(("rule", "start", "end"), [("no part", 4.45, 4.5), ("no end", 4.55, 4.9),
                                                    ("no part", 4.2, 4.3)])
def test_no_room_is_insufficient_data_that_names_the_stretch(laid, rule, start, end):
    o = laid(lists=lead(start, end, rule))
    if rule == "no end":  # a longer set may cross it or end before it: whatever is found obeys the rule
        r = of(o)
        edges = [r.layout.middle + s * r.overall.magnitude / 2 + 4308 for s in (-1, 1)]
        assert o.decision.word == WRAP and not any(start * 1e3 <= x <= end * 1e3 for x in edges)
        return
    assert o.decision.word == NO_DATA and o.order == () and o.site is None
    assert any("Repair clear of test lead" in reason for reason in o.decision.reasons)
    assert "no room" in details(o)


@pytest.mark.parametrize("clear", ["217.2 mm", "215.123456 mm", "216.000007 mm", "214.9999949 mm",
                                   "208.7654321987654321 mm", "8.123456789 in"])
def test_a_set_that_lies_against_its_limit_is_accepted_whatever_its_last_digit(laid, clear):
    """Independent: the room that is asked for, from the place of the set: half of its footprint, its middle, and the
    distance from a weld, 25 mm."""
    o = laid(defect__clear_downstream=clear)
    r, check = of(o), o.design.extent.clear[1]
    assert r.layout.fits and r.shift < 0 and o.decision.word == WRAP
    really = r.layout.middle + r.overall.magnitude / 2 - 236 / 2 + 25
    assert check.met and check.provided.magnitude == pytest.approx(really, abs=6e-6)
    assert check.limit.magnitude - 1e-5 <= check.provided.magnitude <= check.limit.magnitude


def test_a_set_that_really_lies_beyond_its_limit_is_never_accepted(laid):
    """Independent: half the damage with its allowance, overlap, end and 25 mm, less half of what was measured."""
    e = laid().design.extent
    tight = 246 / 2 + e.overlap.magnitude + e.end.magnitude + 25 - 236 / 2
    for clear, decision in ((tight + 1e-6, WRAP), (tight - 2e-5, NO_DATA), (tight - 1e-3, NO_DATA)):
        o = laid(defect__clear_downstream=f"{clear:.6f} mm")
        assert o.decision.word == decision and of(o).layout.fits == (decision == WRAP)


@pytest.mark.parametrize("neighbour", ["355.123456 mm", "354.9999949 mm", "14.123456789 in"])
def test_a_set_that_lies_at_the_least_gap_from_the_next_repair_is_accepted(laid, neighbour):
    o = laid(defect__neighbour_downstream=neighbour)
    gap = next(c for c in o.design.extent.clear if c.title.startswith("Gap to the full thickness"))
    assert of(o).shift < 0 and gap.met and o.decision.word == WRAP
    assert gap.limit.magnitude <= gap.provided.magnitude <= gap.limit.magnitude + 1e-5


@pytest.mark.parametrize(("less", "word"), [(0, WRAP), (1e-6, WRAP), (2e-5, NO_DATA)])
def test_a_set_held_on_both_sides_is_accepted_where_it_fits(laid, less, word):
    """Widths of one size, so that the set has one place: 2 x 410 mm, two ends, centred; independent: by hand."""
    end = laid().design.extent.end.magnitude
    clear = f"{round((820 - 236) / 2 + end + 25, 6) - less:.7f} mm"
    o = laid(defect__clear_upstream=clear, defect__clear_downstream=clear, layout__from_stock="yes",
             lists={"stock": [unit(410, 2, "A")]})
    assert o.decision.word == word
    assert of(o).shift == pytest.approx(0, abs=2e-6) if word == WRAP else not of(o).layout.fits


def test_a_joint_stays_out_of_its_stretch(laid):
    o = laid(lists=lead(4.43, 4.46, "no joint", "seam of a patch"))
    assert o.decision.word == WRAP
    assert not any(122 <= x <= 152 for x in of(o).layout.joints)


def test_the_objectives_of_the_case_decide(laid):
    fewest = of(laid(layout__first="fewest units")).layout.widths
    even = of(laid(layout__first="symmetry", layout__second="least waste")).layout.widths
    assert len(fewest) == 2 and even == (170, 260, 170) and of(laid(
        layout__first="symmetry", layout__second="least waste")).shift == 0


def test_what_others_cost_stands_beside_the_choice(laid):
    found = details(laid())
    assert "90 mm more cover beyond the need" in found["next choice 1"]
    assert "1 more units" in found["next choice 3"] or "units" in found["next choice 3"]


def unit(width, count, batch, expiry="2027-06-30"):
    return {"item": "unit", "width": f"{width} mm", "diameter": "406.4 mm", "count": count, "batch": batch,
            "expiry": expiry}


def test_only_stock_that_is_there_and_in_date_is_laid(laid):
    o = laid(layout__from_stock="yes", lists={"stock": [
        unit(170, 4, "A"), unit(410, 3, "B", "2026-09-30"), unit(410, 3, "C") | {"system": "another"},
        unit(410, 3, "D") | {"layers": 4}]})
    assert of(o).layout.widths == (170, 170, 170)


def test_a_stock_that_is_too_small_is_told_and_the_set_is_ordered(laid):
    o = laid(layout__from_stock="yes", lists={"stock": [unit(170, 1, "A")]})
    assert o.decision.word == WRAP and of(o).layout.widths == (410, 170)
    told = [w["text"] for w in o.recorder.warnings if "stock is too small" in w["text"]]
    assert told == ["The stock is too small: it covers 170 mm of 484.4 mm. The set below has to be ordered."]


def test_the_older_of_two_batches_decides_only_where_the_case_asks(laid):
    stock = {"stock": [unit(410, 2, "OLD", "2026-12-31"), unit(260, 2, "NEW", "2027-12-31"),
                       unit(170, 2, "LATE", "2028-12-31")]}
    older = laid(layout__first="oldest stock", layout__second="fewest units", lists=stock)
    assert of(older).layout.widths == (410, 410) and of(laid(lists=stock)).layout.widths == (410, 170)


PLAN = {"work__planned_start": "2026-10-06T08:00+01:00", "work__blast_time": "4 h", "work__application_time": "3 h"}


def shelf_says(o):
    """Units of the shelf -> whether the stock against the order takes them."""
    return {b.batch: b.usable for b in o.site.materials.shelf if b.item == "unit"}


@pytest.mark.parametrize(("row", "why"), [
    ({"expiry": "2026-10-07"}, "in date on the day of the start, not at the release"),
    ({"storage_limit": "25 °C", "excursion_temperature": "45 °C", "excursion_time": "70 d"}, "its life was consumed")])
def test_what_the_kit_list_leaves_on_the_shelf_is_not_laid(laid, row, why):
    """Both ask the same: a set that rests on units which nobody may take is no set."""
    stock = [unit(170, 4, "A"), unit(410, 3, "B") | {"expiry": "2026-12-31"} | row]
    o = laid(layout__from_stock="yes", lists={"stock": stock}, **PLAN)
    assert shelf_says(o) == {"A": True, "B": False}, why
    assert of(o).layout.widths == (170, 170, 170), why


def test_the_oldest_is_what_is_good_for_the_shortest_time_not_what_the_label_says(laid):
    """70 d at 20 °C above the limit, four times as fast: 280 d off the label of 2028-01-31."""
    warm = unit(410, 2, "WARM", "2028-01-31") | {"storage_limit": "25 °C", "excursion_temperature": "45 °C",
                                                 "excursion_time": "70 d"}
    stock = {"stock": [warm, unit(260, 2, "COOL", "2027-12-31"), unit(170, 2, "LATE", "2028-12-31")]}
    o = laid(layout__first="oldest stock", layout__second="fewest units", lists=stock, **PLAN)
    assert of(o).layout.widths == (410, 410)


def test_a_set_from_stock_without_a_plan_says_that_nobody_knows_its_date(laid):
    told = "The set of units rests on stock of which nobody knows whether it is in date when the wrap is released"
    stock = {"stock": [unit(170, 4, "A")], "work": {}}
    assert any(w["text"].startswith(told) for w in laid(layout__from_stock="yes", lists=stock).recorder.warnings)
    assert not any(w["text"].startswith(told) for w in laid(
        layout__from_stock="yes", lists={"stock": stock["stock"]}, **PLAN).recorder.warnings)

@pytest.mark.parametrize(("change", "field", "found", "allowed"), [
    (lead(4.5, 4.4, "no part"), "keep_out.0.start", "'4.5 m'", "at most end = 4.4 m"),
    ({"keep_out": [{"what": "lead", "start": "4 m", "rule": "no part"}]}, "keep_out.0.end", "nothing",
     "what, start, end, rule of each [[keep_out]]"),
    ({"stock": [unit(260, 2, "A"), unit(260, 2, "A")]}, "stock.1.batch", "'A' again", "one row for each"),
    ({"stock": [{"item": "unit", "count": 2, "batch": "A", "expiry": "2027-01-01"}]}, "stock.0.width", "nothing",
     "the width of each unit"),
    ({"layout": {"first": "symmetry", "second": "symmetry"}}, "layout.second", "'symmetry' again", "once"),
    ({"layout": {"second": "symmetry"}}, "layout.second", "'symmetry'", "first before second"),
    ({"layout": {"from_stock": "yes"}, "stock": []}, "layout.from_stock", "'yes'", "[[stock]] with units"),
])
def test_bad_rows_are_told(laid, change, field, found, allowed):
    with pytest.raises(CaseFaults) as caught:
        laid(lists=change)
    fault = next(f for f in caught.value.faults if f.field == field)
    assert fault.found == found and allowed in fault.allowed and fault.mend and fault.line

"""Materials for the site: layers, blasting, spares, the shelf at the planned date, consumables, tools."""

import json
import math
from datetime import date

import pytest
from scipy.stats import binom

from wrapcalc import record_materials
from wrapcalc.errors import CalculationError
from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages.site import materials as stage
from wrapcalc.stages.site.materials import materials

UNIT = {"item": "unit", "width": "170 mm", "diameter": "406.4 mm", "count": 3, "batch": "S-1", "expiry": "2027-06-30"}
PLAN = {"work__planned_start": "2026-10-06T07:00+01:00", "work__blast_time": "2.5 h", "work__application_time": "2 h"}
GLUE = {"item": "adhesive", "count": 9, "batch": "A-1", "expiry": "2027-06-30"}


def gather(outcome, batch_count=None):
    """(materials, recorder) of an outcome, in a recorder of their own."""
    with recording(Recorder(outcome.bundle.case.display)) as rec:
        rec.stage = "I"
        return materials(outcome.bundle, outcome.design, outcome.order, batch_count), rec


@pytest.fixture
def site(judge):
    return lambda file="HB-07.toml", **fields: gather(judge(file, **fields))


def titled(found, words):
    return [c for c in found.checks if words in c.title]


def of(found, kind):
    return [i for i in found.items if i.line.kind == kind]


# -- layers, steel, coating ----------------------------------------------------------------------------------------
def test_adhesive_by_layer_adds_up_to_the_order(judge):
    o = judge("HB-51.toml")
    found, _ = gather(o)
    assert len(found.layers) == 22
    order = of(found, "adhesive")[0].line.quantity.magnitude
    waste = o.bundle.case.value("takeoff.adhesive_waste").magnitude
    assert math.fsum(found.layers) * (1 + waste) == pytest.approx(order)
    assert found.of_layers.magnitude == pytest.approx(sum(found.layers))
    assert list(found.layers) == sorted(found.layers)


def test_resin_by_layer_is_that_of_the_order_without_its_cutting_allowance(judge):
    o = judge("HB-15.toml")
    found, _ = gather(o)
    waste = o.bundle.case.value("takeoff.adhesive_waste").magnitude
    length = sum(math.pi * (406.4 + (2 * k + 1) * 0.66) for k in range(len(found.layers)))
    allowance = o.bundle.system.value("lay_up.cutting_allowance").magnitude
    order = of(found, "adhesive")[0].line.quantity.magnitude
    assert math.fsum(found.layers) * (1 + waste) == pytest.approx(order * length / (length + allowance))


def test_layers_that_do_not_add_up_stop_the_calculation(judge, monkeypatch):
    o = judge("HB-07.toml")
    monkeypatch.setattr(stage.site, "bond_line_volume", type("", (), {"core": staticmethod(lambda **_: 1.0)}))
    with pytest.raises(CalculationError, match="by layer adds up to"):
        gather(o)


def test_steel_and_coating(judge):
    o = judge("HB-07.toml")
    found, _ = gather(o)
    overall, high = (v.magnitude for v in (o.design.extent.repairs[0].overall, o.design.extent.build_up))
    steel = math.pi * 406.4 * (overall + 120)
    assert found.prepared.magnitude == pytest.approx(steel, rel=1e-9)
    assert found.abrasive.magnitude == pytest.approx(steel * 1e-6 * 34)
    assert found.coated.magnitude == pytest.approx(math.pi * ((406.4 + 2 * high) * overall + 406.4 * (120 + 600)))


def test_without_a_tie_in_the_coating_ends_with_the_steel_and_that_is_said(site):
    whole, _ = site()
    found, rec = site(excavation__coating_tie_in=None)
    assert whole.coated.magnitude - found.coated.magnitude == pytest.approx(math.pi * 406.4 * 600)
    assert any("coating_tie_in is not stated" in a["text"] for a in rec.assumptions)


# -- spares --------------------------------------------------------------------------------------------------------
def test_spares_by_scipy(site):
    found, _ = site(takeoff__spoil_share="12 %", takeoff__spare_confidence="99 %")
    for item in found.items:
        s, n = int(item.spares.magnitude), item.line.pieces
        assert binom.cdf(s, n + s, 0.12) >= 0.99 and (s == 0 or binom.cdf(s - 1, n + s - 1, 0.12) < 0.99)
    assert any(i.spares.magnitude > 0 for i in found.items)


@pytest.mark.parametrize("missing", ["spoil_share", "spare_confidence"])
def test_without_a_share_no_spares_are_counted_and_that_is_said(site, missing):
    found, _ = site(**{f"takeoff__{missing}": None})
    assert all(i.spares is None for i in found.items)
    assert any(n == f"No spares are counted: takeoff.{missing} not stated." for n in found.notes)


# -- the shelf -----------------------------------------------------------------------------------------------------
def test_stock_is_used_oldest_first_and_what_is_lacking_is_counted(site):
    rows = [GLUE | {"count": 1, "batch": "new", "expiry": "2028-01-01"},
            GLUE | {"count": 1, "batch": "old", "expiry": "2027-01-01"}, UNIT]
    found, _ = site(stock=rows, takeoff__spoil_share=None)
    glue, = of(found, "adhesive")
    assert glue.line.pieces == 2 and glue.cover.take == (("old", 1), ("new", 1)) and glue.cover.lacking == 0
    assert titled(found, "On the shelf: Adhesive")[0].met
    filler, = of(found, "filler")
    assert filler.cover.usable == 0 and filler.cover.lacking == filler.line.pieces
    check, = titled(found, "On the shelf: Filler")
    assert check.verdict == "not met" and check.note == f"{filler.line.pieces} to get" and check.kind == "information"


def test_spares_are_to_be_got_but_are_not_lacking_of_the_order(site):
    found, _ = site(stock=[GLUE | {"count": 2}], takeoff__spoil_share="20 %")
    glue, = of(found, "adhesive")
    assert glue.cover.lacking == 0 and glue.cover.to_get == int(glue.spares.magnitude) > 0


def test_units_of_another_width_or_diameter_are_not_taken(site):
    found, _ = site(stock=[UNIT | {"width": "180 mm"}, UNIT | {"diameter": "508 mm", "batch": "S-2"},
                           UNIT | {"diameter": "16 in", "batch": "S-3", "width": "6.693 in"}])
    narrow = next(i for i in of(found, "unit") if i.line.width == 170)
    assert [b for b, _ in narrow.cover.take] == ["S-3"] and narrow.cover.usable == 3


@pytest.mark.parametrize(("row", "why"), [
    (GLUE | {"system": "another"}, "it is of system another, the case is of example-sleeve"),
    (GLUE | {"pack": "1 kg"}, "its packs are of 1 kg, those of the sheet of 2.0 kg"),
    (UNIT | {"layers": 4}, "its units have 4 layers, those of the sheet 11"),
    (GLUE | {"item": "end seal", "pack": "1.1 lb"}, "its packs are of 1.1 lb, those of the sheet of 0.55 kg")])
def test_stock_of_another_system_layers_or_pack_is_told_and_never_counted(site, row, why):
    found, rec = site(stock=[row])
    told = f"On the shelf: {row['item']}, batch {row['batch']}, is not counted: {why}."
    assert told in [w["text"] for w in rec.warnings] and not titled(found, "In date")
    assert all(i.cover is None for i in found.items)
    assert "None of the stock is of this system: all of the order is to be got." in found.notes


def test_stock_that_says_it_is_of_this_sheet_is_counted(site):
    found, _ = site(stock=[GLUE | {"system": "Example-Sleeve", "pack": "4.4 lb"}, UNIT | {"layers": 11}], **PLAN)
    assert [of(found, kind)[0].cover.usable for kind in ("adhesive",)] == [9] and len(titled(found, "In date")) == 2


@pytest.mark.parametrize(("expiry", "verdict"), [("2026-10-09", "met"), ("2026-10-08", "not met"),
                                                 ("2026-10-06", "not met"), ("2020-01-01", "not met")])
def test_a_batch_must_be_in_date_until_release_with_a_day_left(site, expiry, verdict):
    """Start 6 October 07:00, 2.5 h and 2 h of work, 36 h of cure: released 7 October 23:30."""
    found, _ = site(stock=[GLUE | {"expiry": expiry}], **PLAN)
    check, = titled(found, "In date")
    assert check.verdict == verdict and "batch A-1" in check.title and expiry in check.note and check.kind == "gate"
    hours = (date.fromisoformat(expiry) - date(2026, 10, 7)).days * 24 - 23.5
    assert check.provided.magnitude == pytest.approx(hours)
    glue, = of(found, "adhesive")
    assert glue.cover.usable == (9 if verdict == "met" else 0)


@pytest.mark.parametrize(("warm", "days", "lost"), [("35 °C", "10 d", 20), ("45 °C", "10 d", 40),
                                                       ("95 °F", "240 h", 20)])
def test_warm_storage_brings_the_expiry_forward(site, warm, days, lost):
    """By hand: twice as fast for each 10 °C above 25 °C."""
    found, rec = site(stock=[GLUE | {"storage_limit": "25 °C", "excursion_temperature": warm, "excursion_time": days}])
    (b,) = found.shelf
    assert b.consumed.magnitude == pytest.approx(24 * lost, rel=1e-6)
    assert (b.expiry - b.good_until).days in (lost, lost + 1)
    assert any("taken off the labelled day" in a["text"] for a in rec.assumptions)


def test_warm_storage_can_use_a_batch_up(site):
    warm = {"storage_limit": "25 °C", "excursion_temperature": "45 °C", "excursion_time": "80 d"}
    found, _ = site(stock=[GLUE | warm])
    assert titled(found, "In date")[0].verdict == "not met" and of(found, "adhesive")[0].cover.lacking == 2


def test_a_storage_limit_alone_takes_nothing(site):
    found, _ = site(stock=[GLUE | {"storage_limit": "25 °C"}])
    assert found.shelf[0].consumed is None and found.shelf[0].good_until == found.shelf[0].expiry


def test_without_a_planned_start_nothing_is_known_of_the_shelf(site):
    found, _ = site(work__planned_start=None, work__forecast=None)
    assert [c.verdict for c in titled(found, "Stock in date")] == ["no data"]
    for name in ("Adhesive", "Filler"):
        check, = titled(found, f"On the shelf: {name}")
        assert check.verdict == "no data" and "planned_start" in check.note
    assert titled(found, "On the shelf: End seal")[0].provided.magnitude == 0
    assert titled(found, "certificate")[0].verdict == "no data"
    assert all(b.left is None and b.usable is None for b in found.shelf)


def test_without_stock_there_is_no_check_of_it(site):
    found, _ = site(stock=None)
    assert found.shelf == () and titled(found, "On the shelf") == [] and titled(found, "In date") == []
    assert all(i.cover is None for i in found.items) and any("No stock is stated" in n for n in found.notes)


def test_rolls_of_cloth_cannot_be_counted(site):
    found, _ = site("HB-15.toml")
    check, = titled(found, "On the shelf: Cloth")
    assert check.verdict == "no data" and "length of cloth" in check.note


def test_times_of_the_work_that_are_not_stated_are_not_counted_and_that_is_said(site):
    whole, _ = site(**PLAN)
    found, rec = site(**PLAN | {"work__blast_time": None})
    assert found.shelf[0].left.magnitude - whole.shelf[0].left.magnitude == pytest.approx(2.5)
    assert any("work.blast_time is not stated" in a["text"] for a in rec.assumptions)


# -- the installer -------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("ends", "verdict"), [("2026-10-07", "met"), ("2026-10-06", "not met"),
                                               ("2026-10-05", "not met"), (None, "no data")])
def test_a_certificate_must_outlast_the_day_of_the_work(site, ends, verdict):
    found, _ = site(work__qualified_until=ends, **PLAN)
    check, = titled(found, "certificate")
    assert check.verdict == verdict
    assert ("WI-204" in check.note) == (ends is not None)
    if ends is None:
        assert "work.qualified_until is not stated" in check.note


# -- to tick -------------------------------------------------------------------------------------------------------
def test_consumables_are_counted_for_what_they_are_per(judge):
    o = judge("HB-07.toml")
    found, rec = gather(o, batch_count=5)
    units = len(o.design.extent.repairs[0].layout.widths)
    have = {t.item: t.count for t in found.consumables}
    assert have["rollers for the adhesive"] == 3 * units and have["salt test cells"] == 2
    assert have["mixing cups with lids, one kept as a sample"] == 2 * 5
    assert [t.item for t in found.tools] == [t.item for t in o.bundle.system.tool] and all(t.count is None
                                                                                         for t in found.tools)
    assert not any("One batch" in a["text"] for a in rec.assumptions)


def test_batches_without_a_number_are_whole_packs(site):
    found, rec = site(work__packs_per_batch=None)
    packs = [i.line.pieces for i in found.items if i.line.packs is not None]
    assert found.batch_count == sum(packs) and any("One batch is mixed" in a["text"] for a in rec.assumptions)
    two, _ = site(work__packs_per_batch=2)
    packed = [i.line for i in two.items if i.line.packs is not None]
    assert two.batch_count == sum(math.ceil(line.packs.magnitude / 2) for line in packed)
    assert all(line.pieces == line.packs.magnitude for line in packed), "spares are counted on what is ordered"


@pytest.mark.parametrize("name", ["HB-34", "HB-42", "HB-46", "HB-51"])
def test_cases_that_state_nothing_of_the_site_have_blanks(site, name):
    found, _ = site(f"{name}.toml")
    assert found.items and found.tools and found.consumables and found.abrasive.magnitude > 0
    assert {c.verdict for c in found.checks} == {"no data"}


# -- as data -------------------------------------------------------------------------------------------------------
def as_data(display):
    return lambda v: None if v is None else {"magnitude": v.magnitude, "unit": v.unit, "shown": v.show(display)}


@pytest.mark.parametrize(("file", "display", "mass"), [("HB-07.toml", "SI", "kg"), ("HB-15.toml", "US", "lb"),
                                                       ("HB-51.toml", "SI", "kg")])
def test_materials_as_data(site, file, display, mass):
    found, _ = site(file)
    out = json.loads(json.dumps(record_materials.materials(found, as_data(display), display), allow_nan=False))
    assert [i["item"] for i in out["items"]] == [i.line.item for i in found.items]
    assert all(x["shown"].endswith(mass) for x in out["layers"]) and len(out["layers"]) == len(found.layers)
    assert out["prepared"]["unit"] == "m**2" and out["prepared"]["magnitude"] == pytest.approx(
        found.prepared.magnitude * 1e-6)
    assert out["prepared"]["shown"].endswith({"SI": "m²", "US": "ft²"}[display])
    assert len(out["shelf"]) == len(found.shelf) and len(out["tools"]) == len(found.tools)
    assert record_materials.materials(None, as_data(display), display) is None

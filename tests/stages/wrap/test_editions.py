"""Editions as data: what is known runs, what is not known waits and says so, and an overlay supplies it."""

from __future__ import annotations

import pytest

from wrapcalc.stages.job import NO_DATA, WRAP
from wrapcalc.standards import tables

WHO = 'by = "A. Reviewer"\non = 2026-11-20\ncopy = "company library, copy 3"\n'
KNOWN = ("ISO 24817:2017", "ISO 24817:2015", "ASME PCC-2-2018", "ASME PCC-2-2011")
#: Entries that a design of metal loss in straight pipe of HB-07 needs of each.
ISO_2006 = {"equations": 1, "glass_transition_margin": '"20 degC"', "minimum_remaining_wall": '"1 mm"',
            "minimum_layers": 2, "minimum_overlap": '"50 mm"', "cycles_without_factor": 7000,
            "stiff_axial_share": 0.5, "strain_axial_soft_20_y": '"0.10 %"', "long_term_factor_20_y": 0.5}


def overlay(document: str, values: dict) -> str:
    return "".join(f'[[value]]\nitem = "{document}/{n}"\nvalue = {v}\n{WHO}' for n, v in values.items())


@pytest.mark.parametrize("edition", KNOWN)
def test_an_edition_that_is_known_designs(judge, edition):
    o = judge(design__standard=edition)
    assert o.decision.word == WRAP
    used = {k for k in (str(v.origin) for i in o.recorder.items for v in getattr(i, "inputs", {}).values())
            if k.startswith("table:")}
    assert any(k.startswith(f"table:{edition}/") for k in used)
    other = {k.split(":", 1)[1] for k in used if k.split(":", 1)[1].rpartition("/")[0] in set(KNOWN) - {edition}}
    assert other <= {"ASME PCC-2-2018/bond_length_factor", "ISO 24817:2017/hardness_share"}, "and it is told"
    assert ("ISO 24817:2017/hardness_share" in other) == any("whatever edition" in a["text"]
                                                             for a in o.recorder.assumptions)
    said = [a["text"] for a in o.recorder.assumptions if "design equations of" in a["text"]]
    assert bool(said) == (edition != "ISO 24817:2017")


@pytest.mark.parametrize("edition", ["ISO/TS 24817:2006", "ASME PCC-2-2022"])
def test_where_our_knowledge_ends_the_value_waits_and_the_page_says_so(judge, edition):
    o = judge(design__standard=edition)
    assert o.decision.word == NO_DATA and o.design is None and o.order == ()
    assert f"a value of {edition} is not known to us" in o.decision.sentence
    assert f"({edition}/equations)" in o.decision.sentence and "licensed copy" in o.decision.sentence
    assert "hold at most 6.48 MPa" in o.decision.sentence


def test_an_overlay_supplies_what_is_not_known(judge):
    """The table of the 2006 specification is a table: 38 °C below the limit is the row of 20 °C, 0.75 (from memory)."""
    given = {"files": {"mine.toml": overlay("ISO/TS 24817:2006", ISO_2006)}, "documents__overlay": "mine.toml"}
    o = judge(design__standard="ISO/TS 24817:2006", **given)
    assert o.decision.word == WRAP, o.decision.sentence
    factor = next(i for i in o.recorder.items if getattr(i, "formula", None) is not None
                  and i.formula.name == "temperature_factor_by_table")
    margin = factor.inputs["x"].magnitude
    rows = {0: 0.70, 20: 0.75, 40: 0.85, 50: 0.90, 60: 1.00}
    assert factor.result.magnitude == rows[max(r for r in rows if r <= margin)]
    assert o.design.allowed.base_hoop.magnitude == pytest.approx(0.0025)


def test_each_missing_value_is_named_in_turn(judge):
    """One value is left out: the page names that one."""
    for name in ("glass_transition_margin", "minimum_overlap"):
        rest = {k: v for k, v in ISO_2006.items() if k != name}
        o = judge(design__standard="ISO/TS 24817:2006", documents__overlay="mine.toml",
                  files={"mine.toml": overlay("ISO/TS 24817:2006", rest)})
        assert o.decision.word == NO_DATA and f"/{name})" in o.decision.sentence


def test_a_route_for_information_does_not_stop_the_case(judge):
    """The long-term factor is asked for by a route that is not of record."""
    rest = {k: v for k, v in ISO_2006.items() if k != "long_term_factor_20_y"}
    o = judge("HB-15.toml", design__standard="ISO/TS 24817:2006", documents__overlay="mine.toml",
              files={"mine.toml": overlay("ISO/TS 24817:2006", rest)})
    assert o.decision.word == WRAP
    beside = next(r for r in o.design.routes if r.key == "long-term strength")
    assert beside.required is None and "not known to us" in beside.reason


def test_a_component_of_an_edition_without_its_factor_waits(judge):
    o = judge("HB-46.toml", design__standard="ASME PCC-2-2018", design__design_method="laminate strain",
              service__inside_repair="bend")
    assert o.decision.word == NO_DATA and "/component_factor_bend)" in o.decision.sentence


def test_short_lives_of_2006_have_less_strain_than_those_of_2017():
    """Both from memory, as two recollections: the lower is that of 2006."""
    known = tables.load()
    for years in (2, 10, 20):
        old, new = (known.value(d, f"strain_hoop_{years}_y").magnitude for d in ("ISO/TS 24817:2006", "ISO 24817:2017"))
        assert old <= new and (old == new) == (years == 20)


@pytest.mark.parametrize(("fields", "met"), [
    ({}, {"Repair design pressure": False, "Hottest service": True, "Coldest service": True}),
    ({"service__service_temperature": "50 °C"}, {"Hottest service": False}),
    ({"service__service_temperature": "49.9 °C"}, {"Hottest service": True})])
def test_the_split_of_risk_is_told_by_pressure_and_both_temperatures(judge, fields, met):
    """ASME PCC-2-2018, 401-1.2.2 (seen): from 150 psi, from 50 °C, down from -20 °C; it decides nothing here."""
    o = judge(design__standard="ASME PCC-2-2018", **fields)
    found = {c.title.removesuffix(", split of high and low risk"): c for c in o.recorder.items
             if getattr(c, "title", "").endswith("split of high and low risk")}
    assert len(found) == 3 and all(c.kind == "information" for c in found.values())
    assert {n: found[n].met for n in met} == met

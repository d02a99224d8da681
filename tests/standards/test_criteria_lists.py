"""The shipped lists of repair criteria: complete, and every paragraph on both sides of its limit.

Limits and paragraphs are those of 49 CFR 192.714, 192.933 (copy current to 17 September 2026) and 195.452 (copy of
2026), written here a second time by hand; the plain functions in SECOND are a second reading of the same lists.
"""

import random

import pytest

from tests.helpers.criteria import (
    A_BIT,
    BOTTOM,
    CRACK,
    DENT,
    LOSS,
    PASSED,
    SEAM,
    SMALL,
    SOUND,
    TOP,
    draw,
    finding,
    firing,
)
from wrapcalc.errors import UnknownItem
from wrapcalc.formula import STATUSES
from wrapcalc.standards import criteria as c

HCA, OTHER, LIQUID, WRAP = c.GAS_HCA, c.GAS_OTHER, c.LIQUID_HCA, c.WRAP
LATER = {HCA: "1 year", OTHER: "2 years"}


def dent_sizes(share, mm):
    """(facts deep enough, facts at the limit) for large and for small pipe; the other measure is misleading."""
    return [({"dent_over_diameter": share + A_BIT}, {"dent_over_diameter": share}),
            ({"dent_over_diameter": share + A_BIT, "dent_depth_in_mm": 0.1}, {"dent_over_diameter": share,
                                                                              "dent_depth_in_mm": 99.0}),
            (SMALL | {"dent_depth_in_mm": mm + A_BIT}, {"dent_depth_in_mm": mm, "dent_over_diameter": 0.5})]


def by_class(ratio, base, below=True):
    """Facts on both sides of 1.39 or 1.50, whichever the class asks for."""
    for where, limit in (({"class_location": "1"}, 1.39), ({"class_location": "2", "uprated_class_1": "yes"}, 1.39),
                         ({"class_location": "2", "uprated_class_1": "no"}, 1.50), ({"class_location": "3"}, 1.50),
                         ({"class_location": "4", "uprated_class_1": "yes"}, 1.50)):
        under, at = {ratio: limit - A_BIT}, {ratio: limit}
        yield base | where | (under if below else at), (at if below else under)


def gas_cases():
    """(paragraph, facts that fire, what is changed so that it does not)."""
    yield "(d)(1)(i)", LOSS | {"failure_ratio": 1.1}, {"failure_ratio": 1.1 + A_BIT}
    yield "(d)(1)(i)", LOSS | {"failure_ratio": 1.1}, {"metal_loss": "no"}
    riser = {"dent_stress_riser": "yes"}
    for change in ({"dent_position": "bottom"}, PASSED, {"dent_stress_riser": "no"}, {"dent": "no"}):
        yield "(d)(1)(ii)", TOP | riser, change
    yield "(d)(1)(iii)", LOSS | {"depth_over_nominal": 0.80 + A_BIT}, {"depth_over_nominal": 0.80}
    for seam in ("direct current", "low-frequency electric resistance", "flash"):
        facts = SEAM | {"seam_type": seam, "seam_failure_ratio": 1.25 - A_BIT}
        yield "(d)(1)(iv)", facts, {"seam_failure_ratio": 1.25}
        yield "(d)(1)(iv)", facts, {"seam_type": "high-frequency electric resistance"}
    low_joint = SEAM | {"seam_type": "other", "joint_factor": 0.8}
    yield "(d)(1)(iv)", low_joint | {"seam_failure_ratio": 1.2}, {"joint_factor": 1.0}
    yield "(d)(1)(iv)", low_joint | {"seam_failure_ratio": 1.2}, {"seam_corrosion_preferential": "no"}
    yield "(d)(1)(v)(A)", CRACK | {"crack_depth_over_wall": 0.50 + A_BIT}, {"crack_depth_over_wall": 0.50}
    yield "(d)(1)(v)(B)", CRACK | {"crack_beyond_tool": "yes"}, {"crack_beyond_tool": "no"}
    yield "(d)(1)(vi)", {"judgement_immediate": "yes"}, {"judgement_immediate": "no"}
    for deep, at in dent_sizes(0.06, 12.7):
        yield "(d)(2)(i)", TOP | deep, at
        yield "(d)(2)(i)", TOP | deep, {"dent_position": "bottom"}
        yield "(d)(2)(i)", TOP | deep, PASSED
        yield "(d)(3)(i)", BOTTOM | deep | PASSED, at
        yield "(d)(3)(i)", BOTTOM | deep | PASSED, {"dent_strain_passed": "no"}
        yield "(d)(3)(ii)", TOP | deep | PASSED, at
        yield "(d)(3)(ii)", TOP | deep | PASSED, {"dent_position": "bottom"}
    for deep, at in dent_sizes(0.02, 6.35):
        weld = DENT | {"dent_at_weld": "yes"} | deep
        for change in (at, PASSED, {"dent_at_weld": "no"}):
            yield "(d)(2)(ii)", weld, change
        for change in (at, {"dent_strain_passed": "no"}, {"dent_at_weld": "no"}):
            yield "(d)(3)(iii)", weld | PASSED, change
    for change in (PASSED, {"dent_position": "top"}, {"dent_stress_riser": "no"}):
        yield "(d)(2)(iii)", BOTTOM | riser, change
    for where in (TOP, BOTTOM):
        yield "(d)(3)(iv)", where | riser | PASSED, {"dent_strain_passed": "no"}
        yield "(d)(3)(iv)", where | riser | PASSED, {"dent_stress_riser": "no"}
    scheduled = "(d)(2)(iv), class 2 to 4"
    for place, limit in (("2", 1.39), ("3", 1.50), ("4", 1.50)):
        facts = LOSS | {"class_location": place, "failure_ratio": limit - A_BIT}
        yield scheduled, facts, {"failure_ratio": limit}
        yield scheduled, facts, {"class_location": "1"}
    one = LOSS | {"class_location": "1", "failure_ratio": 1.1 + A_BIT}
    yield "(d)(2)(iv), class 1", one, {"failure_ratio": 1.1}
    yield "(d)(2)(iv), class 1", one, {"class_location": "2"}
    for place in ("crossing", "widespread_circumferential", "girth_weld_affected"):
        for facts, change in by_class("failure_ratio", LOSS | {place: "yes"}):
            yield "(d)(2)(v)", facts, change
            yield "(d)(2)(v)", facts, {place: "no"}
    for seam in ({"seam_type": "direct current"}, {"seam_type": "low-frequency electric resistance"},
                 {"seam_type": "high-frequency electric resistance"}, {"seam_type": "flash"},
                 {"seam_type": "other", "joint_factor": 0.99}):
        for below, paragraph in ((True, "(d)(2)(vi)"), (False, "(d)(3)(v)")):
            for facts, change in by_class("seam_failure_ratio", SEAM | seam, below):
                yield paragraph, facts, change
                yield paragraph, facts, {"seam_type": "submerged arc", "joint_factor": 1.0}
    for below, paragraph in ((True, "(d)(2)(vii)"), (False, "(d)(3)(vi)")):
        for facts, change in by_class("crack_failure_ratio", CRACK, below):
            yield paragraph, facts, change
            yield paragraph, facts, {"crack": "no"}


def liquid_cases():
    yield "(i)(A)", LOSS | {"depth_over_nominal": 0.80 + A_BIT}, {"depth_over_nominal": 0.80}
    yield "(i)(B)", LOSS | {"failure_ratio": 1.0 - A_BIT}, {"failure_ratio": 1.0}
    yield "(i)(C)", TOP | {"dent_stress_riser": "yes"}, {"dent_stress_riser": "no"}
    yield "(i)(C)", TOP | {"dent_stress_riser": "yes"}, {"dent_position": "bottom"}
    for pipe in ({}, SMALL):
        yield "(i)(D)", TOP | pipe | {"dent_over_diameter": 0.06 + A_BIT}, {"dent_over_diameter": 0.06}
        yield "(iii)(C)", BOTTOM | pipe | {"dent_over_diameter": 0.06 + A_BIT}, {"dent_over_diameter": 0.06}
    yield "(i)(D)", TOP | {"dent_over_diameter": 0.07}, {"dent_position": "bottom"}
    yield "(i)(E)", {"judgement_immediate": "yes"}, {"judgement_immediate": "no"}
    for deep, at in dent_sizes(0.03, 6.35):
        yield "(ii)(A)", TOP | deep, at
        yield "(ii)(A)", TOP | deep, {"dent_position": "bottom"}
    yield "(ii)(B)", BOTTOM | {"dent_stress_riser": "yes"}, {"dent_position": "top"}
    yield "(ii)(B)", BOTTOM | {"dent_stress_riser": "yes"}, {"dent_stress_riser": "no"}
    for deep, at in dent_sizes(0.02, 6.35):
        yield "(iii)(A)", BOTTOM | {"dent_at_weld": "yes"} | deep, at
        yield "(iii)(A)", TOP | {"dent_at_weld": "yes"} | deep, {"dent_at_weld": "no"}
        yield "(iii)(B)", TOP | deep, at
        yield "(iii)(B)", TOP | deep, {"dent_position": "bottom"}
    yield "(iii)(C)", BOTTOM | {"dent_over_diameter": 0.07}, {"dent_position": "top"}
    yield "(iii)(D)", LOSS | {"operating_ratio": 1.0 - A_BIT}, {"operating_ratio": 1.0}
    deep = LOSS | {"depth_over_nominal": 0.50 + A_BIT}
    general = {"general_corrosion": "yes"} | deep
    yield "(iii)(E)", general, {"depth_over_nominal": 0.50}
    for place in ("crossing", "widespread_circumferential", "girth_weld_affected"):
        yield "(iii)(F)", deep | {place: "yes"}, {"depth_over_nominal": 0.50}
        yield "(iii)(F)", deep | {place: "yes"}, {place: "no"}
    yield "(iii)(G)", CRACK, {"crack": "no"}
    for seam in ("seam_corrosion_along", "seam_corrosion_preferential"):
        yield "(iii)(H)", {seam: "yes"}, {seam: "no"}
    yield "(iii)(I)", {"gouge": "yes", "gouge_over_nominal": 0.125 + A_BIT}, {"gouge_over_nominal": 0.125}
    yield "(iii)(I)", {"gouge": "yes", "gouge_over_nominal": 0.2}, {"gouge": "no"}


def wrap_cases():
    yield "crack", CRACK, {"crack": "no"}
    yield "dent with stress riser", DENT | {"dent_stress_riser": "yes"}, {"dent_stress_riser": "no"}
    yield "plain dent without assessment", DENT, PASSED
    yield "plain dent with assessment", DENT | PASSED, {"dent_strain_passed": "no"}
    yield "plain dent with assessment", DENT | PASSED, {"dent_stress_riser": "yes"}
    yield "preferential seam corrosion", SEAM, {"seam_corrosion_preferential": "no"}
    yield "corrosion along the seam", {"seam_corrosion_along": "yes"}, {"seam_corrosion_along": "no"}
    yield "leak on a transmission line", {"leak": "yes"}, {"transmission_line": "no"}
    yield "leak elsewhere", {"leak": "yes", "transmission_line": "no"}, {"transmission_line": "yes"}
    for depth in ("depth_over_wall", "depth_over_nominal"):
        yield "depth now", {depth: 0.80 + A_BIT}, {depth: 0.80}
    yield "depth at end of life", {"depth_over_wall_end_of_life": 0.80 + A_BIT}, {"depth_over_wall_end_of_life": 0.80}
    active = {"internal_corrosion": "active"}
    yield "internal corrosion of unknown rate", active, {"growth_rate_known": "yes"}
    yield "internal corrosion of unknown rate", active, {"internal_corrosion": "none"}
    yield "internal corrosion of known rate", active | {"growth_rate_known": "yes"}, {"growth_rate_known": "no"}
    yield "internal corrosion not examined", {"internal_corrosion": "unknown"}, {"internal_corrosion": "none"}
    for mark, name in (("gouge", "gouge"), ("arc_burn", "arc burn")):
        yield f"{name} not ground", {mark: "yes"}, {"gouge_ground": "yes"}
        smooth = "gouge ground smooth" if mark == "gouge" else "arc burn ground"
        yield smooth, {mark: "yes", "gouge_ground": "yes"}, {"gouge_ground": "no"}


def judgement_cases():
    yield "judgement", {"judgement_immediate": "yes"}, {"judgement_immediate": "no"}


CASES = [(rule, *case) for rule, cases in (
    (HCA, gas_cases), (OTHER, gas_cases), (LIQUID, liquid_cases), (WRAP, wrap_cases),
    (c.JUDGEMENT, judgement_cases)) for case in cases()]


# -- what ships ---------------------------------------------------------------------------------------------------
GAS_PARAGRAPHS = {
    "immediate": ["(d)(1)(i)", "(d)(1)(ii)", "(d)(1)(iii)", "(d)(1)(iv)", "(d)(1)(v)(A)", "(d)(1)(v)(B)",
                  "(d)(1)(vi)"],
    "later": ["(d)(2)(i)", "(d)(2)(ii)", "(d)(2)(iii)", "(d)(2)(iv), class 2 to 4", "(d)(2)(v)", "(d)(2)(vi)",
              "(d)(2)(vii)"],
    "by schedule": ["(d)(2)(iv), class 1"],
    "monitored": [f"(d)(3)({n})" for n in ("i", "ii", "iii", "iv", "v", "vi")],
}
LIQUID_PARAGRAPHS = {"immediate": [f"(i)({n})" for n in "ABCDE"], "60 days": [f"(ii)({n})" for n in "AB"],
                     "180 days": [f"(iii)({n})" for n in "ABCDEFGHI"]}
WRAP_PARAGRAPHS = {
    "excluded": ["crack", "dent with stress riser", "plain dent without assessment", "preferential seam corrosion",
                 "leak on a transmission line", "depth now", "depth at end of life",
                 "internal corrosion of unknown rate", "gouge not ground", "arc burn not ground"],
    "extra care": ["plain dent with assessment", "corrosion along the seam", "leak elsewhere",
                   "internal corrosion of known rate", "internal corrosion not examined", "gouge ground smooth",
                   "arc burn ground"]}


@pytest.mark.parametrize(("rule", "expected"), [
    (HCA, GAS_PARAGRAPHS), (OTHER, GAS_PARAGRAPHS), (LIQUID, LIQUID_PARAGRAPHS), (WRAP, WRAP_PARAGRAPHS)])
def test_each_list_is_complete_and_has_its_deadlines(rule, expected):
    found: dict[str, list[str]] = {}
    for one in c.load(rule).criteria:
        found.setdefault(one.deadline.name, []).append(one.paragraph)
    assert found == {LATER[rule] if name == "later" else name: paragraphs for name, paragraphs in expected.items()}


def test_every_shipped_list_says_what_it_rests_on_and_to_check_again():
    assert set(c.shipped()) == {HCA, OTHER, LIQUID, WRAP, c.JUDGEMENT}
    for rule in c.shipped():
        loaded = c.load(rule)
        assert loaded.rule == rule and loaded.title and loaded.recheck
        assert loaded.status == ("common practice" if rule in (WRAP, c.JUDGEMENT) else "seen")
        for one in loaded.criteria:
            assert one.status in STATUSES and one.status != "verified" and one.text and one.text[0].isupper()
            assert one.deadline.words in one.advice and one.citation in one.advice
            assert one.text_as_of == loaded.text_as_of in one.advice
            assert not {"must", "shall"} & set((one.text + " " + one.advice).split()), "advice, not an order"
    assert c.load(HCA).text_as_of == "2026-09-17" and "90 FR 21715" in c.load(HCA).recheck


def test_advice_reads_as_one_sentence():
    by = {x.paragraph: x.advice for rule in (HCA, LIQUID) for x in c.load(rule).criteria}
    assert by["(d)(1)(iii)"] == ("49 CFR 192.933(d)(1)(iii) asks for immediate repair, the pressure reduced or the "
                                 "line shut down until then (text as of 2026-09-17)")
    assert by["(iii)(D)"] == ("49 CFR 195.452(h)(4)(iii)(D) asks for repair within 180 days of discovery "
                              "(text as of 2026)")
    assert by["(d)(2)(iv), class 1"].startswith("49 CFR 192.933(d)(2)(iv) asks for repair by the response schedule of "
                                                "ASME B31.8S")


def test_days_of_each_deadline():
    days = {x.deadline.name: x.deadline.days for rule in c.shipped() for x in c.load(rule).criteria}
    assert days == {"immediate": 0, "60 days": 60, "180 days": 180, "1 year": 365, "2 years": 730, "by schedule": None,
                    "monitored": None, "excluded": None, "extra care": None}


def test_an_unknown_rule_names_the_nearest():
    with pytest.raises(UnknownItem, match=r"Did you mean '49 CFR 192\.933'"):
        c.load("49 CFR 192.93")


def test_the_digest_follows_what_is_judged(monkeypatch):
    assert len(c.shipped_digest()) == 64 and c.shipped_digest() == c.shipped_digest()
    before = c.shipped_digest()
    shorter = {rule: c.load(rule) for rule in c.shipped() if rule != WRAP}
    monkeypatch.setattr(c, "shipped", lambda: tuple(shorter))
    assert c.shipped_digest.__wrapped__() != before


def test_words_of_the_seam_are_those_of_the_case():
    from wrapcalc.case.model import SEAMS
    assert set(c.FACTS["seam_type"].words) == set(SEAMS)


# -- each paragraph on both sides of its limit ------------------------------------------------------------------------
def test_every_paragraph_is_tried_on_both_sides():
    assert {(rule, paragraph) for rule, paragraph, *_ in CASES} == {
        (rule, x.paragraph) for rule in c.shipped() for x in c.load(rule).criteria}


@pytest.mark.parametrize("rule", [HCA, OTHER, LIQUID, WRAP, c.JUDGEMENT])
def test_each_paragraph_fires_at_its_limit_and_not_beyond(rule):
    for _, paragraph, facts, change in (x for x in CASES if x[0] == rule):
        on = finding(rule, paragraph, SOUND | facts)
        assert on.verdict == c.FIRES and on.because, (paragraph, facts, on)
        off = finding(rule, paragraph, SOUND | facts | change)
        assert off.verdict == c.DOES_NOT_FIRE and off.because and not off.missing, (paragraph, facts | change, off)


@pytest.mark.parametrize("rule", [HCA, OTHER, LIQUID, WRAP])
def test_without_its_subject_no_paragraph_fires(rule):
    """The first fact of each case is the dent, the metal loss, the crack ... that the paragraph is about."""
    for _, paragraph, facts, _ in (x for x in CASES if x[0] == rule):
        subject, stated = next(iter(facts.items()))
        if isinstance(stated, str):
            none = {"active": "none", "unknown": "none"}.get(stated, "no")
            assert finding(rule, paragraph, SOUND | facts | {subject: none}).verdict == c.DOES_NOT_FIRE, paragraph


@pytest.mark.parametrize("rule", [HCA, OTHER, LIQUID, WRAP])
def test_nothing_fires_on_sound_pipe_and_nothing_is_left_open(rule):
    assert {f.verdict for f in c.evaluate(c.load(rule), SOUND)} == {c.DOES_NOT_FIRE}


def _reading(kind):
    """A list read a second time, as plain functions of the facts."""
    def low(f, ratio):
        uprated = f["class_location"] == "1" or (f["class_location"] == "2" and f["uprated_class_1"] == "yes")
        return f[ratio] < (1.39 if uprated else 1.50)

    def deep(f, share, mm):
        return f["dent_depth_in_mm"] > mm if f["small_pipe"] == "yes" else f["dent_over_diameter"] > share

    def is_(f, *names):
        return all(f[n] == "yes" for n in names)

    def seam(f, *more):
        weak = f["seam_type"] in ("direct current", "low-frequency electric resistance", "flash", *more)
        return is_(f, "seam_corrosion_preferential") and (weak or f["joint_factor"] < 1)

    if kind == "wrap":
        inside = "internal_corrosion"
        return {
            "crack": lambda f: is_(f, "crack"),
            "dent with stress riser": lambda f: is_(f, "dent", "dent_stress_riser"),
            "plain dent without assessment": lambda f: is_(f, "dent") and not is_(f, "dent_strain_passed"),
            "plain dent with assessment": lambda f: (is_(f, "dent", "dent_strain_passed")
                                                     and not is_(f, "dent_stress_riser")),
            "preferential seam corrosion": lambda f: is_(f, "seam_corrosion_preferential"),
            "corrosion along the seam": lambda f: is_(f, "seam_corrosion_along"),
            "leak on a transmission line": lambda f: is_(f, "leak", "transmission_line"),
            "leak elsewhere": lambda f: is_(f, "leak") and not is_(f, "transmission_line"),
            "depth now": lambda f: max(f["depth_over_wall"], f["depth_over_nominal"]) > 0.8,
            "depth at end of life": lambda f: f["depth_over_wall_end_of_life"] > 0.8,
            "internal corrosion of unknown rate": lambda f: f[inside] == "active" and not is_(f, "growth_rate_known"),
            "internal corrosion of known rate": lambda f: f[inside] == "active" and is_(f, "growth_rate_known"),
            "internal corrosion not examined": lambda f: f[inside] == "unknown",
            "gouge not ground": lambda f: is_(f, "gouge") and not is_(f, "gouge_ground"),
            "gouge ground smooth": lambda f: is_(f, "gouge", "gouge_ground"),
            "arc burn not ground": lambda f: is_(f, "arc_burn") and not is_(f, "gouge_ground"),
            "arc burn ground": lambda f: is_(f, "arc_burn", "gouge_ground"),
        }
    hf = "high-frequency electric resistance"
    special = ("crossing", "widespread_circumferential", "girth_weld_affected")
    if kind == "liquid":
        return {
            "(i)(A)": lambda f: is_(f, "metal_loss") and f["depth_over_nominal"] > 0.8,
            "(i)(B)": lambda f: is_(f, "metal_loss") and f["failure_ratio"] < 1,
            "(i)(C)": lambda f: is_(f, "dent", "dent_stress_riser") and f["dent_position"] == "top",
            "(i)(D)": lambda f: is_(f, "dent") and f["dent_position"] == "top" and f["dent_over_diameter"] > 0.06,
            "(i)(E)": lambda f: is_(f, "judgement_immediate"),
            "(ii)(A)": lambda f: is_(f, "dent") and f["dent_position"] == "top" and deep(f, 0.03, 25.4 / 4),
            "(ii)(B)": lambda f: is_(f, "dent", "dent_stress_riser") and f["dent_position"] != "top",
            "(iii)(A)": lambda f: is_(f, "dent", "dent_at_weld") and deep(f, 0.02, 25.4 / 4),
            "(iii)(B)": lambda f: is_(f, "dent") and f["dent_position"] == "top" and deep(f, 0.02, 25.4 / 4),
            "(iii)(C)": lambda f: is_(f, "dent") and f["dent_position"] != "top" and f["dent_over_diameter"] > 0.06,
            "(iii)(D)": lambda f: is_(f, "metal_loss") and f["operating_ratio"] < 1,
            "(iii)(E)": lambda f: is_(f, "general_corrosion") and f["depth_over_nominal"] > 0.5,
            "(iii)(F)": lambda f: (is_(f, "metal_loss") and f["depth_over_nominal"] > 0.5
                                   and any(is_(f, s) for s in special)),
            "(iii)(G)": lambda f: is_(f, "crack"),
            "(iii)(H)": lambda f: is_(f, "seam_corrosion_along") or is_(f, "seam_corrosion_preferential"),
            "(iii)(I)": lambda f: is_(f, "gouge") and f["gouge_over_nominal"] > 0.125,
        }
    return {
        "(d)(1)(i)": lambda f: is_(f, "metal_loss") and not f["failure_ratio"] > 1.1,
        "(d)(1)(ii)": lambda f: (is_(f, "dent", "dent_stress_riser") and f["dent_position"] == "top"
                                 and not is_(f, "dent_strain_passed")),
        "(d)(1)(iii)": lambda f: is_(f, "metal_loss") and f["depth_over_nominal"] > 0.8,
        "(d)(1)(iv)": lambda f: seam(f) and f["seam_failure_ratio"] < 1.25,
        "(d)(1)(v)(A)": lambda f: is_(f, "crack") and f["crack_depth_over_wall"] > 0.5,
        "(d)(1)(v)(B)": lambda f: is_(f, "crack", "crack_beyond_tool"),
        "(d)(1)(vi)": lambda f: is_(f, "judgement_immediate"),
        "(d)(2)(i)": lambda f: (is_(f, "dent") and f["dent_position"] == "top" and deep(f, 0.06, 25.4 / 2)
                                and not is_(f, "dent_strain_passed")),
        "(d)(2)(ii)": lambda f: (is_(f, "dent", "dent_at_weld") and deep(f, 0.02, 25.4 / 4)
                                 and not is_(f, "dent_strain_passed")),
        "(d)(2)(iii)": lambda f: (is_(f, "dent", "dent_stress_riser") and f["dent_position"] == "bottom"
                                  and not is_(f, "dent_strain_passed")),
        "(d)(2)(iv), class 2 to 4": lambda f: is_(f, "metal_loss") and f["failure_ratio"] < {
            "1": 0, "2": 1.39, "3": 1.5, "4": 1.5}[f["class_location"]],
        "(d)(2)(iv), class 1": lambda f: (is_(f, "metal_loss") and f["class_location"] == "1"
                                          and f["failure_ratio"] > 1.1),
        "(d)(2)(v)": lambda f: is_(f, "metal_loss") and any(is_(f, s) for s in special) and low(f, "failure_ratio"),
        "(d)(2)(vi)": lambda f: seam(f, hf) and low(f, "seam_failure_ratio"),
        "(d)(2)(vii)": lambda f: is_(f, "crack") and low(f, "crack_failure_ratio"),
        "(d)(3)(i)": lambda f: (is_(f, "dent", "dent_strain_passed") and f["dent_position"] == "bottom"
                                and deep(f, 0.06, 25.4 / 2)),
        "(d)(3)(ii)": lambda f: (is_(f, "dent", "dent_strain_passed") and f["dent_position"] == "top"
                                 and deep(f, 0.06, 25.4 / 2)),
        "(d)(3)(iii)": lambda f: is_(f, "dent", "dent_strain_passed", "dent_at_weld") and deep(f, 0.02, 25.4 / 4),
        "(d)(3)(iv)": lambda f: is_(f, "dent", "dent_strain_passed", "dent_stress_riser"),
        "(d)(3)(v)": lambda f: seam(f, hf) and not low(f, "seam_failure_ratio"),
        "(d)(3)(vi)": lambda f: is_(f, "crack") and not low(f, "crack_failure_ratio"),
    }


SECOND = {HCA: _reading("gas"), LIQUID: _reading("liquid"), WRAP: _reading("wrap")}


@pytest.mark.parametrize("rule", SECOND)
def test_a_second_reading_of_the_list_agrees(rule):
    """independent: the lists as plain functions, on 1200 random sets of facts at and around the limits."""
    pick, met = random.Random(rule), set()
    for _ in range(1200):
        facts = draw(pick)
        assert firing(rule, facts) == {p for p, holds in SECOND[rule].items() if holds(facts)}, facts
        met |= firing(rule, facts)
    assert met == set(SECOND[rule])


# -- gas and liquid differ --------------------------------------------------------------------------------------------
def test_the_immediate_line_of_metal_loss_is_1_1_for_gas_and_1_0_for_liquid():
    between = SOUND | LOSS | {"failure_ratio": 1.05, "operating_ratio": 0.8}
    assert "(d)(1)(i)" in firing(HCA, between) and "(d)(1)(i)" in firing(OTHER, between)
    assert firing(LIQUID, between) == {"(iii)(D)"}
    assert "(i)(B)" in firing(LIQUID, between | {"failure_ratio": 0.99})


def test_a_plain_deep_top_dent_is_immediate_for_liquid_and_scheduled_for_gas():
    dent = SOUND | TOP | {"dent_over_diameter": 0.07}
    for rule in (HCA, OTHER):
        lead = c.leading(c.evaluate(c.load(rule), dent))
        assert (lead.criterion.paragraph, lead.criterion.deadline.name) == ("(d)(2)(i)", LATER[rule])
    assert c.leading(c.evaluate(c.load(LIQUID), dent)).criterion.paragraph == "(i)(D)"


def test_a_dent_assessment_lifts_gas_criteria_and_none_of_liquid():
    dent = SOUND | TOP | {"dent_over_diameter": 0.07, "dent_stress_riser": "yes", "dent_at_weld": "yes"}
    assert firing(HCA, dent | PASSED) == {"(d)(3)(ii)", "(d)(3)(iii)", "(d)(3)(iv)"}
    assert firing(LIQUID, dent | PASSED) == firing(LIQUID, dent) >= {"(i)(C)", "(i)(D)", "(ii)(A)", "(iii)(A)"}


def test_only_liquid_has_a_limit_for_gouges():
    gouge = SOUND | {"gouge": "yes", "gouge_over_nominal": 0.3}
    assert firing(LIQUID, gouge) == {"(iii)(I)"} and not firing(HCA, gouge) and not firing(OTHER, gouge)


def test_the_two_gas_lists_differ_in_the_later_deadline_alone():
    for a, b in zip(c.load(HCA).criteria, c.load(OTHER).criteria, strict=True):
        assert (a.paragraph, a.text, a.when, a.any_of, a.unless) == (b.paragraph, b.text, b.when, b.any_of, b.unless)
        assert (a.deadline == b.deadline) == (a.deadline.name != "1 year")


def test_a_crack_is_not_judged_by_the_strength_of_the_metal_loss_beside_it():
    facts = SOUND | LOSS | CRACK | {"failure_ratio": 3.0, "crack_failure_ratio": None}
    assert finding(HCA, "(d)(2)(vii)", facts).missing == ("crack_failure_ratio",)
    assert finding(HCA, "(d)(3)(vi)", facts).verdict == c.NO_DATA

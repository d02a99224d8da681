"""The working window: one clock for what is laid wet together, the share asked for, and what to change."""

from __future__ import annotations

import math

import pytest
from scipy.optimize import brentq

from tests.stages.site.test_mixing import check, mixed, warned  # noqa: F401
from wrapcalc.stages.site.dosing import pot_life_table
from wrapcalc.stages.site.working_window import together


def remedies(m) -> tuple[dict, dict]:
    p = next(i for i in m.rec.items if i.title == "What would fit the working window")
    return {n: v.magnitude for n, v in p.results.items()}, dict(p.details)


def test_time_needed_and_allowed(mixed):  # noqa: F811
    """HB-07, independent: 3.5 + 3 min of mixing, 11 layers on 406.4 mm at 1.7 m/min, 7 min; 70 % of 37 min."""
    w = mixed().by["adhesive"].window
    length = sum(math.pi * (406.4 + 2 * (0.22 + 1.37 * k) + 1.15) for k in range(11)) / 1000
    assert w.needed.to("minute") == pytest.approx(6.5 + length / 1.7 + 7)
    assert w.allowed.to("minute") == pytest.approx(0.7 * 37) and w.check.met
    assert w.margin.to("minute") == pytest.approx(25.9 - w.needed.to("minute"))
    assert w.remedies == ()


def test_the_field_example():
    """Independent, worked out before: 4 min, 15.52 m at 1.5 m/min, 5 min; 17.2 min at 31 °C: 4.6 m would fit."""
    needed, allowed = 4 + 15.52 / 1.5 + 5, 0.7 * 17.2
    assert needed == pytest.approx(19.3, abs=0.05) and allowed == pytest.approx(12.0, abs=0.1)
    assert (allowed - 9) * 1.5 == pytest.approx(4.6, abs=0.1)


def test_materials_laid_wet_together_have_one_clock(mixed):  # noqa: F811
    m = mixed()
    glue, filler, seal = (m.by[n].window for n in ("adhesive", "filler", "end seal"))
    assert glue is filler and glue.materials == ("adhesive", "filler") and seal.materials == ("end seal",)
    assert glue.pot_life.to("minute") == pytest.approx(37), "the filler's; the adhesive alone would have 51"
    assert "one clock for both" in glue.words and "the shorter pot life governs and all mixing counts" in glue.words
    assert "used up within 25.9 min" in glue.words
    assert any("the time to spread the filler is not stated" in a["text"] for a in m.rec.assumptions)


def test_a_link_that_one_of_the_two_states_is_enough(mixed):  # noqa: F811
    bundle = mixed("HB-15.toml").outcome.bundle
    assert together(bundle, "primer") == together(bundle, "adhesive") == ("adhesive", "primer")
    assert together(bundle, "filler") == ("filler",)


def test_three_materials_on_one_clock(mixed):  # noqa: F811
    m = mixed(sheet={"end seal": {"laid_with": "filler"}})
    w = m.by["end seal"].window
    assert w is m.by["adhesive"].window and w.mixing.to("minute") == pytest.approx(3.5 + 3 + 3)
    assert w.words.startswith("Adhesive and filler and end seal are laid wet together: one clock for all, from the "
                              "first contact of hardener and resin in any of them")


def test_materials_laid_alone_each_have_their_clock(mixed):  # noqa: F811
    alone = {"adhesive": {"laid_with": "alone"}, "filler": {"laid_with": "alone"}}
    m = mixed(sheet=alone)
    assert m.by["adhesive"].pot_life.to("minute") > m.by["filler"].pot_life.to("minute")
    assert m.by["filler"].needed is None and m.by["filler"].allowed.to("minute") == pytest.approx(25.9)
    assert m.by["adhesive"].window.mixing.to("minute") == pytest.approx(3.5)
    assert not any("time to spread" in a["text"] for a in m.rec.assumptions)


def test_the_share_has_no_default(mixed):  # noqa: F811
    m = mixed(work__window_share=None)
    assert check(m, "Working window").verdict == "no data" and m.by["adhesive"].allowed is None
    assert m.by["adhesive"].pot_life is not None and "no share of it is stated" in m.by["adhesive"].window.words


@pytest.mark.parametrize("field", ["work__wrap_speed", "work__consolidate_time", "work__air_high", "work__steel_high"])
def test_what_is_not_stated_is_no_data(mixed, field):  # noqa: F811
    assert check(mixed(**{field: None}), "Working window").verdict == "no data"


def test_more_units_from_one_batch_take_longer(mixed):  # noqa: F811
    one, two = mixed(), mixed(work__units_per_batch=2)
    a, b = (m.by["adhesive"].needed.to("minute") for m in (one, two))
    assert b - a == pytest.approx(a - 6.5), "one more length and consolidation: 1.88 kg are one batch"
    assert check(two, "Working window").verdict == "not met"


# -- what to change -----------------------------------------------------------------------------------------------
def test_each_remedy_would_just_fit(mixed):  # noqa: F811
    m = mixed(work__wrap_speed="1.1 m/min")
    text = warned(m, "The working window is too short: 26.7 min are needed, 25.9 min are allowed")
    results, told = remedies(m)
    w = m.by["adhesive"].window
    rest = 25.9 - 6.5 - 7
    assert results["length that fits"] == pytest.approx(rest * 1.1)
    length = (w.needed.to("minute") - 13.5) * 1.1
    assert results["speed needed"] * 60 == pytest.approx(length / rest)
    assert results["share needed"] == pytest.approx(w.needed.to("minute") / 37)
    assert results["warmest, filler"] == 16, "the band that ends there has 54 min"
    assert told["temperature"] == "mixed and laid with highest of air and steel below 16 °C"
    assert w.remedies == tuple(told.values()) and all(r in text for r in w.remedies)
    again = mixed(work__wrap_speed=f"{results['speed needed'] * 60 * 1.0001} m/min")
    assert check(again, "Working window").met


def test_the_warmest_of_points_against_a_root_finder(mixed):  # noqa: F811
    alone = {"laid_with": "alone"}
    m = mixed(work__wrap_speed="0.5 m/min", sheet={"adhesive": alone, "filler": alone})
    w, (results, told) = m.by["adhesive"].window, remedies(m)
    table = pot_life_table(m.outcome.bundle.system.mix[0])
    want = brentq(lambda t: 0.7 * table.at(t) - w.needed.to("hour"), 7, 48)
    assert results["warmest, adhesive"] == pytest.approx(want, abs=1e-6)
    assert "highest of air and steel at most" in told["temperature"]


def test_when_mixing_and_consolidating_alone_take_too_long(mixed):  # noqa: F811
    m = mixed(work__consolidate_time="40 min")
    results, told = remedies(m)
    assert "length that fits" not in results and "speed needed" not in results
    assert "mixing and consolidating alone take longer" in told["length and speed"]
    assert "no temperature of its table gives the filler enough pot life" in told["temperature"]
    assert "more than all of it" in told["share of the pot life"]


def test_remedies_on_a_us_page(mixed):  # noqa: F811
    m = mixed("HB-15.toml", work__wrap_speed="1.2 ft/min")
    _, told = remedies(m)
    assert " ft of wrap on one clock" in told["longest wrap on one clock"] and "ft/min" in told["speed"]
    assert "°F" in told["temperature"] and "°C" not in told["temperature"]
    warned(m, "The working window is too short")

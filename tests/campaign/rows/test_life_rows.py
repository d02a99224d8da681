"""Growth on arrays: what is due is what the search finds, searches are those of the single case, nothing shrinks."""

import math

import numpy as np
import pytest

from tests.helpers.single_cases import PLANT, arrays, run, written
from wrapcalc.campaign.rows import reasons
from wrapcalc.campaign.rows.life_rows import LifeRows, Records
from wrapcalc.campaign.rows.method_rows import Sizes, answers, failure_of_record, governing, line_of
from wrapcalc.campaign.rows.rounding import Rounded, Unrounded
from wrapcalc.campaign.rows.strength import REASONS, Screener
from wrapcalc.searches.inversions import largest_passing

STATED = {"growth__basis": "stated", "growth__rate": "0.25 mm/y", "growth__basis_reason": "test"}
TWO = {"growth__basis": "two measurements", "growth__earlier_date": "2019-06-02", "growth__measured_date": "2026-05-14",
       "growth__earlier_depth": "2.4 mm", "growth__basis_reason": "test"}
LINES = {"lowest": {}, "1991": {"assessment__method": "original 1991", "assessment__method_reason": "test"},
         "tensile": {"assessment__method": "DNV-RP-F101", "assessment__method_reason": "test"},
         "class 1, listed": {"service__class_location": "1", "service__high_consequence_area": "yes"}, "plant": PLANT}
COUNT = 300


def worked(fields: dict, how, seed: int = 3):
    """The parts of a life of many rows that a method governs."""
    bundle = written(fields)
    line, pick = line_of(bundle), np.random.default_rng(seed)
    wall = pick.uniform(8, 8.6, COUNT)
    measured = pick.uniform(2.4, 6.0, COUNT)
    length = np.exp(pick.uniform(2, 6, COUNT))
    s = Sizes(wall, measured + 0.2, length + 10, (measured + 0.2) / wall, np.full(COUNT, 50.0))
    records = Records(bundle, line)
    life = LifeRows(bundle, line, records)
    with np.errstate(all="ignore"):
        found = answers(line, s, how)
        safe, code = governing(line, found, COUNT, how)
    assert (code > 0).sum() > COUNT / 3
    return life, life.grown(s, measured, length, how), found, safe, failure_of_record(line, found, code), code > 0


@pytest.mark.parametrize("more", LINES.values(), ids=LINES)
@pytest.mark.parametrize("rate", ["0.05 mm/y", "0.4 mm/y", "1.5 mm/y"])
def test_what_is_due_without_the_search_is_due_with_it(more, rate):
    life, grown, found, safe, failure, governed = worked(STATED | more | {"growth__rate": rate}, Unrounded())
    with np.errstate(all="ignore"):
        quick = life.due(grown, found, safe, failure, Unrounded())
        exact = life.due(grown, found, safe, failure, Rounded())
        full = life.lives(grown, life.variant(found), safe, failure, Unrounded())
    assert (quick == full.due)[governed].all() and (exact == full.due)[governed].all()
    assert (full.look <= full.life / 2 + 1e-12)[governed].all()


@pytest.mark.parametrize("more", LINES.values(), ids=LINES)
def test_the_search_of_all_rows_is_the_search_of_each(more):
    """Independent: second route, `largest_passing` on the same function, row by row."""
    life, grown, found, _, _, governed = worked(STATED | more, Rounded())
    variant = life.variant(found)
    target = np.full(COUNT, life._records.target)
    with np.errstate(all="ignore"):
        times, fails = life._search(grown, "failure", variant, target)
    s, function = grown.sizes, life._records.over("failure", variant)
    for i in np.flatnonzero(governed)[:40]:
        def later(T: float, i: int = i) -> float:
            row = np.array([i])
            return float(function(s.depth[row] + grown.rate[row] * T, s.length[row], s.wall[row], row)[0])

        alone = largest_passing(later, float(target[i]), 0.0, float(grown.to_depth[i]))
        assert fails[i] == (alone.failing is not None)
        if alone.passing is None:
            assert times[i] == 0
        elif alone.failing is None:
            assert math.isinf(times[i])
        else:
            assert times[i] == pytest.approx(alone.passing, abs=2e-9)


def test_nothing_is_worked_out_where_no_growth_is_stated():
    row = {"depth": 3.0, "length": 60.0, "width": 50.0, "clock": 3.0, "sound_wall": 8.6, "internal": 0}
    found = Screener(written({}), life=True).judge(arrays([row]))
    assert all(np.isnan(found[n]).all() for n in ("growth_rate", "remaining_life", "next_look"))
    found = Screener(written({}), chance=True).judge(arrays([row]))
    assert np.isnan(found["probability"]).all(), "no sizing tolerance is stated either"


@pytest.mark.parametrize(("tolerance", "rate"), [(None, 0.5 / (2538 / 365.25)), ("0.2 mm", 0.5 / (2538 / 365.25)),
                                                 ("0.6 mm", 0.076)])
def test_two_measurements_that_may_agree_prove_no_standstill(tolerance, rate):
    """As the single case; the difference of 0.5 mm is inside the tolerance 0.6 mm times root 2 of a difference, but
    its rate of 0.072 mm a year is below the lowest of the table, 3 mil a year (from memory)."""
    fields = TWO | ({} if tolerance is None else {"uncertainty__depth_tolerance": tolerance,
                                                  "uncertainty__depth_confidence": "80 %"})
    row = {"depth": 2.9, "length": 60.0, "width": 50.0, "clock": 3.0, "sound_wall": 8.6, "internal": 0}
    found = Screener(written(fields), life=True).judge(arrays([row]))
    assert found["growth_rate"][0] == pytest.approx(run(fields, row).life.rate.magnitude, rel=1e-11)
    assert found["growth_rate"][0] == pytest.approx(rate, rel=5e-3)


def test_loss_that_would_have_grown_back_is_refused():
    rows = [{"depth": d, "length": 60.0, "width": 50.0, "clock": 3.0, "sound_wall": 8.6, "internal": 0}
            for d in (2.3, 2.4, 2.5)]
    found = Screener(written(TWO), life=True).judge(arrays(rows))
    assert [int(r) == reasons.SHRUNK for r in found["reason"]] == [True, False, False]
    assert "loss does not grow back" in REASONS[found["reason"][0]] and math.isnan(found["growth_rate"][0])
    assert math.isfinite(found["remaining_life"][1])

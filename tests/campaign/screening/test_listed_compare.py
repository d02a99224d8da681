"""Repair factors of a listing beside ours: counts, the median, and loss that is read too small."""

import numpy as np
import pytest

from wrapcalc.campaign.screening.listed_compare import ListedCompare

D = 406.4


def compared(listed, ours, depth=np.nan, length=np.nan, wall=8.0, cut=10**9, diameter=D):
    """A comparison of these rows, in windows of `cut`."""
    out = ListedCompare(diameter)
    n = len(listed)
    rows = {"row": np.arange(2, n + 2), "listed_repair_factor": np.asarray(listed, float),
            "depth": np.broadcast_to(depth, n), "length": np.broadcast_to(length, n),
            "nominal_wall": np.broadcast_to(wall, n)}
    for k in range(0, n, cut):
        out.add({m: v[k:k + cut] for m, v in rows.items()}, {"repair_factor": np.asarray(ours, float)[k:k + cut]})
    return out


@pytest.mark.parametrize("cut", [1, 2, 100])
def test_rows_are_counted_by_how_far_ours_is_off(cut):
    listed = [1.0, 1.0, 1.0, 1.0, 1.0, np.nan, 0.0, 1.0]
    ours = [1.0, 1.05, 1.2, 0.99, 0.9, 2.0, 1.0, np.nan]
    found = compared(listed, ours, cut=cut)
    assert (found.rows, found.higher, found.lower) == (5, 1, 1)
    assert found.median == pytest.approx(1.0, rel=1.2e-3)
    assert found.told == (
        "Repair factors of 5 rows beside those of the listing: ours is higher by more than 10 % in 1, lower by more "
        "than 2 % in 1; ours over the listed one has the median 1.",
        "1 row (row 6): our repair factor is lower than that of the listing by more than 2 %: see why before ours is "
        "relied on.")


def test_the_median_is_that_of_numpy():
    """Independent: numpy.median of the ratios."""
    ratio = np.exp(np.random.default_rng(3).normal(0.3, 0.2, 5001))
    assert compared(np.ones(5001), ratio, cut=700).median == pytest.approx(np.median(ratio), rel=1.2e-3)


def test_nothing_is_told_where_the_listing_states_no_factor():
    assert compared([np.nan] * 3, [1.0] * 3).told == ()
    out = ListedCompare(D)
    out.add({"row": np.arange(2)}, {"repair_factor": np.ones(2)})
    out.add({"row": np.arange(2), "listed_repair_factor": np.ones(2)}, {})
    assert out.told == ()


@pytest.mark.parametrize(("ratio", "far"), [(0.9, True), (1.0, False), (1.44, False), (2.5, False), (3.0, True)])
def test_a_median_that_no_design_factor_explains_is_said_to_be_far(ratio, far):
    assert ("That is far for a whole listing" in compared(np.ones(9), np.full(9, ratio)).told[0]) is far


# -- loss that is read too small ----------------------------------------------------------------------------------
def run(count=400, seed=5):
    """Sizes in mm, and the factor of a run by the 0.85 dL form with a spread of 3 %. Independent of the package."""
    rng = np.random.default_rng(seed)
    wall = rng.choice([7.92, 8.74, 10.31], count)
    depth = np.clip(rng.exponential(0.18, count), 0.03, 0.75) * wall
    length = np.clip(rng.lognormal(3.5, 0.8, count), 5, 2000)
    z = length**2 / (D * wall)
    M = np.where(z <= 50, np.sqrt(np.maximum(1 + 0.6275 * z - 0.003375 * z * z, 1)), 0.032 * z + 3.3)
    left = (1 - 0.85 * depth / wall) / (1 - 0.85 * depth / wall / M)
    return depth, length, wall, 5 / wall / left * np.exp(rng.normal(0, 0.01, count))


@pytest.mark.parametrize(("depth_by", "length_by", "small"), [
    (1, 1, False), (0.0254 * 100 / 8, 1, True), (0.01, 1, True), (1, 0.0254, True), (1, 0.1, True),
    (1.2, 1, False), (1, 10, False), (1, 25.4, False)])
def test_depth_or_length_in_too_small_a_unit_shows_in_the_slope(depth_by, length_by, small):
    depth, length, wall, listed = run()
    found = compared(listed, 1.4 * listed, depth * depth_by, length * length_by, wall)
    assert any("the loss is probably read too small" in t for t in found.told) is small
    if depth_by == length_by == 1:
        slope, error = found.slope
        assert slope == pytest.approx(1.0, abs=4 * error) and error < 0.1


@pytest.mark.parametrize("method", ["0.67 dL", "single defect", "capped"])
def test_a_run_that_reckons_by_another_method_is_no_alarm(method):
    depth, length, wall, _ = run()
    s, z = depth / wall, length**2 / (D * wall)
    left = {"0.67 dL": np.where(z <= 20, (1 - s / 1.5) / (1 - s / 1.5 / np.sqrt(1 + 0.8 * z)), 1 - s),
            "single defect": (1 - s) / (1 - s / np.sqrt(1 + 0.31 * z))}
    left["capped"] = np.minimum(left["0.67 dL"], 0.91)
    found = compared(5 / wall / left[method], 7 / wall, depth, length, wall)
    assert not any("too small" in t for t in found.told)


def test_few_rows_sizes_that_are_all_the_same_or_no_diameter_show_no_slope():
    depth, length, wall, listed = run(25)
    assert np.isnan(compared(listed, listed, depth * 0.1, length, wall).slope[0])
    depth, length, wall, listed = run()
    assert np.isnan(compared(listed, listed, 2.0, 50.0, 8.0).slope[0])
    assert np.isnan(compared(listed, listed, depth * 0.1, length, wall, diameter=None).slope[0])

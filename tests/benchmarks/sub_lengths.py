"""Speed of the effective-area search and of formulas on arrays, as ratios against baselines of the same run.

    python tests/benchmarks/sub_lengths.py

Numpy's loops used here run on one core. Both baselines are checked against our answer before they are timed.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))
from run import interleaved, report

from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.searches.sub_lengths import weakest_pressures, weakest_sub_length
from wrapcalc.units import Quantity

D, T, FLOW = 609.6, 9.525, 428.0


def profiles(m: int, n: int, length: float) -> tuple[np.ndarray, np.ndarray]:
    """m invented profiles of n irregular stations over about `length` mm, depths up to 0.8 of the wall."""
    rng = np.random.default_rng(7)
    X = np.cumsum(rng.uniform(0.2, 1.8, (m, n)), axis=1)
    X *= length * rng.uniform(0.7, 1.3, (m, 1)) / X[:, -1:]
    depth = 0.8 * T * rng.uniform(size=(m, n))
    depth[:, [0, -1]] = 0
    return X, depth


def plain_loop(X: list[list[float]], depth: list[list[float]]) -> list[float]:
    """Plain Python: two loops over the stations, areas from prefix sums."""
    out = []
    for x, d in zip(X, depth, strict=True):
        total = [0.0]
        for k in range(1, len(x)):
            total.append(total[-1] + 0.5 * (d[k] + d[k - 1]) * (x[k] - x[k - 1]))
        lowest = math.inf
        for i in range(len(x) - 1):
            for j in range(i + 1, len(x)):
                length = x[j] - x[i]
                z = length * length / (D * T)
                M = math.sqrt(1 + 0.6275 * z - 0.003375 * z * z) if z <= 50 else 0.032 * z + 3.3
                a = (total[j] - total[i]) / (length * T)
                share = (1 - a) / (1 - a / M)
                if share < lowest:
                    lowest = share
        out.append(2 * T / D * FLOW * lowest)
    return out


def all_pairs(X: np.ndarray, depth: np.ndarray, first: np.ndarray, last: np.ndarray) -> np.ndarray:
    """NumPy on all pairs of all rows at once, pair indices given; areas from prefix sums."""
    area = np.zeros_like(X)
    np.cumsum(0.5 * (depth[:, 1:] + depth[:, :-1]) * np.diff(X, axis=1), axis=1, out=area[:, 1:])
    length = X[:, last] - X[:, first]
    a = (area[:, last] - area[:, first]) / (length * T)
    z = length * length / (D * T)
    M = np.where(z <= 50, np.sqrt(np.abs(1 + 0.6275 * z - 0.003375 * z * z)), 0.032 * z + 3.3)
    return 2 * T / D * FLOW * ((1 - a) / (1 - a / M)).min(axis=1)


def seconds(run: Callable[[], object]) -> float:
    start = time.perf_counter()
    run()
    return time.perf_counter() - start


def many_profiles(m: int = 10_000, n: int = 50, subset: int = 300) -> None:
    first, last = np.triu_indices(n, 1)
    for length, words in ((350.0, "z up to 36"), (900.0, "z up to 236")):
        X, depth = profiles(m, n, length)
        some = X[:subset].tolist(), depth[:subset].tolist()
        ours = weakest_pressures(X, depth, D, T, FLOW)[0]
        np.testing.assert_allclose(plain_loop(*some), ours[:subset], rtol=1e-11)
        np.testing.assert_allclose(all_pairs(X, depth, first, last), ours, rtol=1e-11)

        def row_by_row(X=X, depth=depth) -> None:
            for r in range(m):
                all_pairs(X[r:r + 1], depth[r:r + 1], first, last)

        t = interleaved(
            5, ours=lambda X=X, depth=depth: seconds(lambda: weakest_pressures(X, depth, D, T, FLOW)),
            plain=lambda some=some: seconds(lambda: plain_loop(*some)) * m / subset,
            pairs=lambda X=X, depth=depth: seconds(lambda: all_pairs(X, depth, first, last)),
            rows=lambda row_by_row=row_by_row: seconds(row_by_row))
        what = f"{m} profiles of {n} stations, {words}"
        report(f"plain Python over ours, {what}", t["plain"] / t["ours"], "target: at least 15",
               f"{t['plain']:.2f} s (scaled from {subset}), {t['ours']:.3f} s")
        report(f"NumPy on all pairs at once over ours, {what}", t["pairs"] / t["ours"], "target: at least 1.5",
               f"{t['pairs']:.2f} s, {t['ours']:.3f} s")
        report(f"NumPy on all pairs, profile by profile, over ours, {what}", t["rows"] / t["ours"],
               "no target", f"{t['rows']:.2f} s, {t['ours']:.3f} s")


def one_long_profile(n: int = 1000) -> None:
    X, depth = profiles(1, n, 2000.0)
    x, d = X[0].tolist(), depth[0].tolist()
    t = interleaved(3, ours=lambda: seconds(lambda: weakest_sub_length(X[0], depth[0], D, T, FLOW)),
                    plain=lambda: seconds(lambda: plain_loop([x], [d])))
    report(f"plain Python over ours, one profile of {n} stations", t["plain"] / t["ours"],
           "target: ours under 0.5 s", f"{t['plain']:.2f} s, {t['ours']:.3f} s")


def formulas_on_arrays(rows: int = 1_000_000) -> None:
    """The 0.85 dL chain, four formulas with units at the door, against one bare expression."""
    rng = np.random.default_rng(3)
    d, L = rng.uniform(0.5, 7.5, rows), rng.uniform(10, 900, rows)
    q_d, q_L, q_D, q_t, q_flow = (Quantity(v, u) for v, u in (
        (d, "mm"), (L, "mm"), (D, "mm"), (T, "mm"), (FLOW, "MPa")))

    def with_units() -> np.ndarray:
        M = strength.bulging_factor_085dl(strength.length_parameter(q_L, q_D, q_t))
        return strength.failure_pressure(strength.failure_stress_085dl(q_flow, q_d, q_t, M), q_t, q_D).magnitude

    def arrays_only() -> np.ndarray:
        M = strength.bulging_factor_085dl.array(strength.length_parameter.array(L, D, T))
        return strength.failure_pressure.array(strength.failure_stress_085dl.array(FLOW, d, T, M), T, D)

    def bare() -> np.ndarray:
        z = L ** 2 / (D * T)
        M = np.where(z <= 50, np.sqrt(np.maximum(1 + 0.6275 * z - 0.003375 * z ** 2, 0)), 0.032 * z + 3.3)
        return 2 * (FLOW * (1 - 0.85 * d / T) / (1 - 0.85 * d / (T * M))) * T / D

    np.testing.assert_allclose(with_units(), bare(), rtol=1e-12)
    t = interleaved(9, units=lambda: seconds(with_units), arrays=lambda: seconds(arrays_only),
                    bare=lambda: seconds(bare))
    report(f"formulas with units over bare NumPy, 0.85 dL form on {rows} rows", t["units"] / t["bare"],
           "target: at most 1.3", f"{t['units'] * 1e3:.0f} ms, {t['bare'] * 1e3:.0f} ms")
    report("the same without units at the door", t["arrays"] / t["bare"], "no target", f"{t['arrays'] * 1e3:.0f} ms")


def main() -> None:
    many_profiles()
    one_long_profile()
    formulas_on_arrays()


if __name__ == "__main__":
    main()

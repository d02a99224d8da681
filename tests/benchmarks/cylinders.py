"""Speed of a stack of thick cylinders, elastic and with yield of the steel, as ratios against baselines of one run.

    python tests/benchmarks/cylinders.py

Targets are about twice what was measured when they were set: they tell of a slowdown.
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

from wrapcalc.searches.cylinders import Layer, Stack, stacked

#: Calls timed together: one elastic stack is too short for the clock.
MANY = 100
INNER, OUTER = 80.65, 84.15


def pipe(yields: float = math.inf) -> list[Layer]:
    """Steel, filler and wrap, the last two bonded later; sizes are invented. yields: of the steel, MPa."""
    return [Layer.isotropic("steel", INNER, OUTER, 207e3, 0.3, yields=yields),
            Layer.isotropic("filler", OUTER, OUTER + 2, 2000.0, 0.35, later=True),
            Layer("wrap", OUTER + 2, OUTER + 8, radial=5e3, hoop=24e3, axial=18e3, hoop_axial=0.15, hoop_radial=0.3,
                  axial_radial=0.28, later=True)]


def elastic() -> Stack:
    return stacked(pipe(), 9.0, pressure_before=4.0)


def plastic() -> Stack:
    return stacked(pipe(300.0), 30.0, force=0.0, pressure_before=5.0)


def seconds(run: Callable[[], object], times: int = 1) -> float:
    """Mean of one call."""
    start = time.perf_counter()
    for _ in range(times):
        run()
    return (time.perf_counter() - start) / times


def main() -> None:
    assert elastic().yielded == 0 and plastic().yielded > 0.99
    size = 2 * len(pipe()) + 1  # unknowns of the closed solution: two factors a layer and the axial strain
    rng = np.random.default_rng(11)
    matrix, right = rng.uniform(-1, 1, (size, size)) + size * np.eye(size), rng.uniform(-1, 1, size)
    t = interleaved(9, solve=lambda: seconds(lambda: np.linalg.solve(matrix, right), MANY),
                    elastic=lambda: seconds(elastic, MANY), plastic=lambda: seconds(plastic, 3))
    report(f"elastic stack of three layers, bonded under pressure, over one numpy.linalg.solve of {size} unknowns",
           t["elastic"] / t["solve"], "target: at most 300", f"{t['elastic'] * 1e3:.2f} ms, {t['solve'] * 1e6:.0f} us")
    report("the same with steel that yields over a hundred elastic ones", t["plastic"] / (100 * t["elastic"]),
           "target: at most 0.5", f"{t['plastic'] * 1e3:.1f} ms, {t['elastic'] * 1e5:.0f} ms")


if __name__ == "__main__":
    main()

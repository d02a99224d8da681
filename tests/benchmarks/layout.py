"""Speed of the exact search of layouts of units, as ratios against a baseline of the same run.

    python tests/benchmarks/layout.py

Two uses: a stock of thirty pieces of which a few are laid, and damage so long that about thirty lie side by side. Each
with widths that share a step and with widths that do not, with five keep-outs, and with each objective first.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
from run import interleaved, report

from wrapcalc.searches.unit_layout import OBJECTIVES, KeepOut, Problem, Unit, best

#: Invented widths in mm: all multiples of 50 mm; none of any.
WIDTHS = {"widths of one step": (100.0, 150.0, 200.0, 250.0, 300.0, 450.0),
          "odd widths": (103.7, 151.3, 207.9, 253.1, 311.7, 449.3)}


def short(widths: tuple[float, ...]) -> Problem:
    """Thirty pieces in stock, at most eight laid."""
    keep_outs = (KeepOut(-800, -750, "no part"), KeepOut(900, 950, "no part"), KeepOut(-600, -550, "no end"),
                 KeepOut(100, 150, "no joint"), KeepOut(-300, -280, "no joint"))
    return Problem((-500, 500), tuple(Unit(w, 5, i) for i, w in enumerate(widths)), -3, True, 0, 20, 8, keep_outs,
                   (10.0, -200.0), (-150, 150))


def long(widths: tuple[float, ...]) -> Problem:
    """Thirty-three in stock, 25 to 33 laid."""
    keep_outs = (KeepOut(-4000, -3900, "no part"), KeepOut(3900, 4000, "no part"), KeepOut(-3740, -3720, "no end"),
                 KeepOut(-1000, -950, "no joint"), KeepOut(800, 850, "no joint"))
    return Problem((-3650, 3640), tuple(Unit(w, 5 + i % 2, i) for i, w in enumerate(widths)), -3, True, 0, 20, 33,
                   keep_outs, (10.0, -200.0, 1500.0), (-3150, 3150))


def seconds(problem: Problem) -> float:
    start = time.perf_counter()
    found = best(problem)
    spent = time.perf_counter() - start
    assert found.layout is not None and found.exact and found.alternatives_exact
    return spent


def squares() -> float:
    start = time.perf_counter()
    sum(i * i for i in range(1_000_000))
    return time.perf_counter() - start


def main() -> None:
    for words, ask in (("short damage", short), ("long damage", long)):
        for name, widths in WIDTHS.items():
            problem = ask(widths)
            seconds(problem)
            runs = {o: partial(seconds, replace(problem, objectives=(o,))) for o in OBJECTIVES}
            t = interleaved(3, squares=squares, **runs)
            slowest = max(OBJECTIVES, key=t.__getitem__)
            found = best(problem)
            assert found.layout is not None
            report(f"{words}, {name}, {len(found.layout.widths)} units, over a million squares",
                   t[OBJECTIVES[0]] / t["squares"], "target: the search at most 500 ms",
                   f"{t[OBJECTIVES[0]] * 1e3:.0f} ms; slowest with first {slowest!r}: {t[slowest] * 1e3:.0f} ms")


if __name__ == "__main__":
    main()

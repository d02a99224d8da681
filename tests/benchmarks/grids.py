"""Speed of a grid of a million readings, as ratios against np.loadtxt of the same file. Not a test: machines are noisy.

    python tests/benchmarks/grids.py
"""

from __future__ import annotations

import io
import statistics
import time
from collections.abc import Callable

import numpy as np

from wrapcalc.case.grid import read_grid
from wrapcalc.searches.clusters import boxes_of_grid, clusters, interaction_rule, profile_of_cluster

SIZE = 1000
DIAMETER, WALL = 610.0, 9.53


def scan(unit: str, noisy: bool) -> bytes:
    """A grid of 1,000 x 1,000 readings at 1 mm with 150 pits; noisy: every third reading shows a little loss too."""
    random = np.random.default_rng(20)
    x = np.arange(SIZE)
    depth = np.zeros((SIZE, SIZE))
    for _ in range(150):
        row, column = random.integers(20, SIZE - 20, 2)
        radius, deep = random.uniform(3, 15), random.uniform(0.5, 5)
        part = (slice(row - 16, row + 17), slice(column - 16, column + 17))
        square = (x[part[0]][:, None] - row) ** 2 + (x[part[1]][None] - column) ** 2
        depth[part] = np.maximum(depth[part], deep * np.maximum(1 - square / radius ** 2, 0))
    if noisy:
        depth[1:-1, 1:-1] += random.choice([0, 0, 0.05], (SIZE - 2, SIZE - 2))
    factor = 1 if unit == "mm" else 25.4
    lines = [f"{unit}," + ",".join(f"{v / factor:.6g}" for v in x)]
    for y, row in zip(x, depth, strict=True):
        lines.append(f"{y / factor:.6g}," + ",".join(f"{v / factor:.4g}" for v in row))
    return ("\n".join(lines) + "\n").encode()


def seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def measured(what: str, raw: bytes, unit: str) -> None:
    around, rule = np.pi * DIAMETER, interaction_rule("own", DIAMETER, WALL, 5.0, 5.0)
    text = raw.decode().replace(f"{unit},", "0,", 1)
    grid = read_grid(raw, "scan.csv")
    boxes = boxes_of_grid(grid.axial, grid.around, grid.depth)
    found = clusters(boxes, rule, around)
    works: dict[str, Callable[[], object]] = {
        "np.loadtxt": lambda: np.loadtxt(io.StringIO(text), delimiter=","),
        "read": lambda: read_grid(raw, "scan.csv"),
        "boxes": lambda: boxes_of_grid(grid.axial, grid.around, grid.depth),
        "clusters": lambda: clusters(boxes, rule, around),
        "profiles": lambda: [profile_of_cluster(grid.axial, grid.around, grid.depth, c) for c in found],
    }
    times: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(5):
        for name, work in works.items():
            times[name].append(seconds(work))
    middle = {name: statistics.median(t) for name, t in times.items()}
    base = middle.pop("np.loadtxt")
    print(f"{SIZE} x {SIZE}, {what}: {len(raw) / 1e6:.1f} MB, {len(boxes)} boxes, {len(found)} clusters; np.loadtxt "
          f"{base * 1e3:.0f} ms")
    for name, t in middle.items():
        print(f"  {name} over np.loadtxt: {t / base:.2f}   {t * 1e3:.0f} ms")
    total = sum(middle.values())
    print(f"  all over np.loadtxt: {total / base:.2f} (target: at most 2 s)   {total * 1e3:.0f} ms", flush=True)


if __name__ == "__main__":
    measured("mm", scan("mm", False), "mm")
    measured("in", scan("in", False), "in")
    measured("noise in every third reading", scan("mm", True), "mm")

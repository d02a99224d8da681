"""Speed and memory of a screening, as ratios against baselines of the same run. Not a test: machines are noisy.

    python tests/benchmarks/screening.py                kernels, whole, memory
    python tests/benchmarks/screening.py kernels        some of them
    python tests/benchmarks/screening.py memory 5       at so many million rows

kernels: the screener of a gas line on a million rows against the same outputs written down in bare NumPy. whole: a
listing of a million rows from CSV to the ranked table, with joints, neighbours and first-pass wraps, against
pandas.read_csv and to_parquet of the same file. memory: peak of a process of its own, by rows.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from run import interleaved, report

ROWS = 1_000_000
D, NOMINAL, MAOP, SMYS, SMTS, FACTOR = 406.4, 8.74, 8.6, 360.0, 460.0, 0.6
LEVEL_1 = (1.001, -0.014195, 0.2909, -0.09642, 0.02089, -0.003054, 2.957e-4, -1.8462e-5, 7.1553e-7, -1.5631e-8,
           1.4656e-10)
_ONE = """import resource, sys, time
from pathlib import Path
from wrapcalc.campaign.screening.screen import screen
start = time.perf_counter()
screen(Path(sys.argv[1]) / "listing.csv", Path(sys.argv[1]) / "mapping.toml", Path(sys.argv[2]))
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000, time.perf_counter() - start)"""


def sizes() -> dict[str, np.ndarray]:
    random = np.random.default_rng(9)
    depth = np.clip(random.exponential(1.2, ROWS), 0.1, 8.0)
    return {"depth": depth, "length": np.clip(random.lognormal(3.5, 0.8, ROWS), 5, 3000),
            "width": np.clip(random.lognormal(3.3, 0.7, ROWS), 5, 1200), "clock": random.uniform(0, 12, ROWS),
            "sound_wall": np.clip(random.normal(NOMINAL, 0.15, ROWS), 8.05, 9.4),
            "internal": (random.random(ROWS) < 0.3).astype(np.uint8)}


def bare(r: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """What the screener gives for this line, in bare NumPy: five forms, axial section, criteria, word."""
    t = np.minimum(NOMINAL, r["sound_wall"]) - 0.1
    d, L = r["depth"] + 0.2, r["length"] + 10
    share, z, safety = d / t, L * L / (D * t), 1 / FACTOR
    deep = share > 0.8
    s = np.where(deep, 0.5, share)
    M = np.sqrt(1 + 0.8 * z)
    flow = 1.1 * SMYS
    original = 2 * t / D * np.where(z <= 20, flow * (1 - 2 / 3 * s) / (1 - 2 / 3 * s / M), flow * (1 - s))
    M = np.where(z <= 50, np.sqrt(np.maximum(1 + 0.6275 * z - 0.003375 * z * z, 1)), 0.032 * z + 3.3)
    modified = 2 * t / D * (SMYS + 68.95) * (1 - 0.85 * s) / (1 - 0.85 * s / M)
    Q = np.sqrt(1 + 0.31 * z)
    single = 2 * t * SMTS / (D - t) * (1 - s) / (1 - s / Q)
    A = 0.893 * L / np.sqrt(D * t)
    P = np.maximum(MAOP, 2 * SMYS * t * FACTOR / D)
    left = 1 - s
    span = np.minimum(1.285 * L / np.sqrt((D - 2 * t) * t), 20)
    bulging = np.polyval(LEVEL_1[::-1], span)
    strength = left / (1 - (1 - left) / bulging)
    old = np.where(A <= 4, np.minimum(1.1 * P * (1 - 2 / 3 * s) / (1 - 2 / 3 * s / np.sqrt(A * A + 1)), P),
                   1.1 * P * (1 - s))
    safe = [np.where(share <= 0.1, np.inf, old), original / safety, modified / safety, 0.9 * FACTOR * single,
            P * np.minimum(strength / 0.9, 1)]
    lowest = np.minimum(np.minimum(safe[0], safe[1]), safe[2])
    code = np.where(lowest == safe[0], 1, np.where(lowest == safe[1], 2, 3)).astype(np.uint8)
    failure = np.minimum(original, modified)
    theta = np.minimum(r["width"], np.pi * D) / D
    area = np.pi * (D - t) * t - theta * (D - s * t) * s * t
    axial = np.where(np.pi / 4 * D * D * MAOP / area <= 0.9 * SMYS, 1, 2).astype(np.uint8)
    ratio = failure / MAOP
    immediate, soon = (d / NOMINAL > 0.8) | (ratio <= 1.1), (d / NOMINAL > 0.5) & (ratio <= 1.39)
    criterion = np.where(immediate, 0, np.where(soon, 1, -1)).astype(np.int16)
    days = np.where(immediate, 0.0, np.where(soon, 365.0, np.inf))
    fit = (lowest >= MAOP) & (axial == 1) & (criterion < 0)
    word = np.where(deep, 3, np.where(fit, 0, 2)).astype(np.uint8)
    reason = np.where(deep, 10, np.where(fit, 1, np.where(lowest < MAOP, 5, 8))).astype(np.uint8)
    scope = [np.where(deep, np.uint8(1), np.uint8(0)) for _ in range(5)]
    nothing = [np.where(deep, np.nan, x) for x in (*safe, original, modified, single, lowest, failure)]
    out = dict(enumerate([*scope, *nothing, t, d, L, share, MAOP / nothing[8], np.where(deep, np.uint8(0), code), axial,
                          criterion, days, word, reason]))
    return {"safe_pressure": nothing[8], "governing": np.where(deep, 0, code)} | {str(k): v for k, v in out.items()}


def kernels() -> None:
    from tests.helpers.single_cases import written
    from wrapcalc.campaign.rows.strength import Screener
    screener, rows = Screener(written({})), sizes()
    ours, plain = screener.judge(rows), bare(rows)
    assert np.allclose(ours["safe_pressure"], plain["safe_pressure"], rtol=1e-3, equal_nan=True)

    def timed(work) -> float:
        start = time.perf_counter()
        work(rows)
        return time.perf_counter() - start

    t = interleaved(7, ours=lambda: timed(screener.judge), bare=lambda: timed(bare))
    report(f"screener over bare NumPy, {ROWS} rows", t["ours"] / t["bare"], "target: at most 1.5",
           f"{t['ours']:.2f} s, {t['bare']:.2f} s")


def whole() -> None:
    import pandas

    from wrapcalc.campaign.example.listing import write_listing
    from wrapcalc.campaign.screening.screen import screen
    root = Path(tempfile.mkdtemp())
    try:
        write_listing(root / "l", ROWS, 3)
        listing = root / "l" / "listing.csv"

        def ours() -> float:
            shutil.rmtree(root / "out", ignore_errors=True)
            start = time.perf_counter()
            screen(listing, root / "l" / "mapping.toml", root / "out")
            return time.perf_counter() - start

        def plain() -> float:
            start = time.perf_counter()
            pandas.read_csv(listing, low_memory=False).astype({"Depth": str, "O'clock": str}).to_parquet(
                root / "plain.parquet")
            return time.perf_counter() - start

        plain()
        t = interleaved(3, ours=ours, plain=plain)
        report(f"CSV to ranked Parquet over pandas.read_csv and to_parquet, {ROWS} rows", t["ours"] / t["plain"],
               "target: at most 4", f"{t['ours']:.1f} s, {t['plain']:.1f} s")
    finally:
        shutil.rmtree(root)


def memory(*millions: float) -> None:
    from wrapcalc.campaign.example.listing import write_listing
    for count in millions or (0.5, 2):
        root = Path(tempfile.mkdtemp())
        try:
            write_listing(root / "l", int(count * 1e6), 3)
            made = subprocess.run([sys.executable, "-c", _ONE, str(root / "l"), str(root / "out")], check=True,
                                  capture_output=True, text=True)
            peak, seconds = map(float, made.stdout.split())
            report(f"peak memory in GB at {count:g} million rows", peak / 1000, "target: below 2 at 5 million",
                   f"{peak:.0f} MB, {seconds:.0f} s")
        finally:
            shutil.rmtree(root)


if __name__ == "__main__":
    words = sys.argv[1:]
    chosen = [w for w in words if w.isalpha()] or ["kernels", "whole", "memory"]
    for name in chosen:
        if name == "memory":
            memory(*(float(w) for w in words if not w.isalpha()))
        else:
            {"kernels": kernels, "whole": whole}[name]()

"""The chain of the wrap design on 100,000 rows against the same chain in bare NumPy; one design with all beside it."""

from __future__ import annotations

import time
from importlib import resources
from pathlib import Path

import numpy as np
from run import interleaved, report

ROWS = 100_000


def rows() -> dict[str, np.ndarray | float | tuple]:
    """Invented pipes of one system: D 200 to 900 mm, some of them needing no wrap at all."""
    rng = np.random.default_rng(1)
    D, t = rng.uniform(200, 900, ROWS), rng.uniform(6, 14, ROWS)
    s = 0.6 * 360.0
    p = 2 * s * t / D * rng.uniform(0.7, 1.0, ROWS)
    return {"D": D, "p": p, "p_s": p * rng.uniform(0.6, 1.05, ROWS), "p_live": 0.2 * p,
            "t_s": t * rng.uniform(0.3, 0.8, ROWS), "s": s, "S_y": 360.0, "E_s": 207e3, "alpha_s": 11.7e-6,
            "E_c": 27_400.0, "E_a": 9_000.0, "nu": 0.17, "alpha_c": 13e-6, "alpha_a": 20e-6, "T_m": 72.0,
            "T_hot": rng.uniform(20, 60, ROWS), "T_cold": 0.0, "T_i": 15.0, "f_T": (), "f_c": 1.0, "eps_0": 0.0025,
            "eps_a0": 0.001, "eps_t0": 0.0025, "p_t": 0.0, "F_shared": 0.0, "p_a": np.inf, "p_al": 0.0, "along": (),
            "F_relief": 0.0, "p_out": 0.0, "SF_out": 1.0, "f_lt": 1.0, "s_lt": 1.0, "f_m": 1.0}


def bare(x: dict, route: str) -> np.ndarray:
    """The same chain as one would write it by hand."""
    strains = []
    for T in (x["T_hot"], x["T_cold"]):
        m = np.maximum(x["T_m"] - T, 0.0)
        f = np.minimum(1.0, 6e-5 * m ** 2 + 0.001 * m + 0.7014)
        strains.append(x["f_c"] * f * x["eps_0"] - np.abs(T - x["T_i"]) * abs(x["alpha_s"] - x["alpha_c"]))
    hoop = np.where(x["T_hot"] <= x["T_m"], np.minimum(*strains), 0.0)
    if route == "load sharing":
        t = np.maximum(0, x["D"] / (2 * x["s"]) * (x["E_s"] / x["E_c"]) * (x["p"] - x["p_s"]))
        t = np.where(x["p_live"] < x["p_s"], t * x["p_s"] / (x["p_s"] - x["p_live"]), np.inf)
    else:
        t = np.maximum(0, x["p"] * x["D"] / (2 * x["E_c"]) / np.where(hoop > 0, hoop, 1.0))
    t = np.where(hoop > 0, t, np.inf)
    return np.where(np.isfinite(t), np.maximum(2, np.ceil(np.where(np.isfinite(t), t, 1.0) / 0.66 - 1e-9)), np.inf)


def on_arrays() -> None:
    from wrapcalc.stages.wrap import wrap_kernel
    x = rows()
    for route in ("load sharing", "laminate strain"):
        def ours(route: str = route) -> float:
            start = time.perf_counter()
            wrap_kernel.layers(wrap_kernel.required(route, x), 0.66, 2.0)
            return time.perf_counter() - start

        def plain(route: str = route) -> float:
            start = time.perf_counter()
            bare(x, route)
            return time.perf_counter() - start

        counts = wrap_kernel.layers(wrap_kernel.required(route, x), 0.66, 2.0)
        assert np.array_equal(counts, bare(x, route)), "the two chains must count the same layers"
        t = interleaved(15, ours=ours, plain=plain)
        report(f"{ROWS:,} designs by {route} over bare NumPy", t["ours"] / t["plain"], "target: at most 3",
               f"{t['ours'] * 1e3:.0f} ms, {t['plain'] * 1e3:.0f} ms")


def one_design() -> None:
    from wrapcalc.case import load_bundle
    from wrapcalc.stages.job import run
    with resources.as_file(resources.files("wrapcalc.example")) as folder:
        for case in ("HB-15", "HB-42"):
            bundle = load_bundle(Path(folder) / f"{case}.toml")

            def whole(bundle=bundle) -> float:
                start = time.perf_counter()
                run(bundle)
                return time.perf_counter() - start

            def squares() -> float:
                start = time.perf_counter()
                sum(i * i for i in range(1_000_000))
                return time.perf_counter() - start

            whole()
            t = interleaved(11, whole=whole, squares=squares)
            report(f"{case} with envelope, sensitivity and second opinion over a million squares",
                   t["whole"] / t["squares"], "target: the case at most 200 ms",
                   f"{t['whole'] * 1e3:.0f} ms, {t['squares'] * 1e3:.0f} ms")


if __name__ == "__main__":
    on_arrays()
    one_design()

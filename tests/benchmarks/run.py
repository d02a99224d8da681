"""Speed, as ratios against a baseline measured in the same run. Not a test: machines are shared and noisy.

    python tests/benchmarks/run.py            all
    python tests/benchmarks/run.py help one   some: help, one, many; sub_lengths, grids, cylinders, wrap_design,
                                              layout, weather, closeout and screening beside this file: profiles and
                                              formulas on arrays, scans, stacks of thick cylinders, designs on arrays,
                                              sets of units, a year of forecast, a close-out with its PDF, a million
                                              rows of a listing
"""

from __future__ import annotations

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from importlib import resources
from pathlib import Path

BIN = Path(sys.executable).parent
ENV = {**os.environ, "PYTHONDONTWRITEBYTECODE": ""}


def command(*words: str, cwd: Path | None = None) -> float:
    start = time.perf_counter()
    subprocess.run(words, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=cwd, env=ENV)
    return time.perf_counter() - start


def interleaved(repeats: int, **runs) -> dict[str, float]:
    """Median seconds of each, run in turn so that a busy moment hits all of them."""
    times: dict[str, list[float]] = {name: [] for name in runs}
    for _ in range(repeats):
        for name, run in runs.items():
            times[name].append(run())
    return {name: statistics.median(t) for name, t in times.items()}


def report(what: str, ratio: float, target: str, detail: str) -> None:
    print(f"{what}: {ratio:.2f} ({target})   {detail}", flush=True)


def help_time() -> None:
    tool = str(BIN / "wrapcalc")
    command(tool, "--help")
    t = interleaved(15, nothing=lambda: command(sys.executable, "-c", "pass"), tool=lambda: command(tool, "--help"))
    report("wrapcalc --help over python -c pass", t["tool"] / t["nothing"], "target: at most 8",
           f"{t['tool'] * 1e3:.0f} ms, {t['nothing'] * 1e3:.0f} ms")


def one_case() -> None:
    from wrapcalc import record
    from wrapcalc.case import load_bundle
    from wrapcalc.stages.job import run
    with resources.as_file(resources.files("wrapcalc.example")) as folder:
        path = Path(folder) / "HB-07.toml"

        def whole() -> float:
            start = time.perf_counter()
            record.build(run(load_bundle(path)))
            return time.perf_counter() - start

        def baseline() -> float:
            start = time.perf_counter()
            sum(i * i for i in range(1_000_000))
            return time.perf_counter() - start

        whole()
        t = interleaved(15, whole=whole, baseline=baseline)
    report("one case without files over a loop of a million squares", t["whole"] / t["baseline"],
           "target: the case at most 50 ms", f"{t['whole'] * 1e3:.0f} ms, {t['baseline'] * 1e3:.0f} ms")


def many_packages(count: int = 16) -> None:
    from wrapcalc.package.build import template
    root = Path(tempfile.mkdtemp())
    try:
        cases = root / "cases"
        cases.mkdir()
        with resources.as_file(resources.files("wrapcalc.example")) as folder:
            text = (Path(folder) / "HB-07.toml").read_text(encoding="utf-8")
            shutil.copy(Path(folder) / "HB-07-grid.csv", cases)
        for n in range(count):
            depth = f'depth = {{ value = "{3.9 + n / 100:.2f} mm"'
            (cases / f"B-{n:02d}.toml").write_text(text.replace('id = "HB-07"', f'id = "B-{n:02d}"').replace(
                'depth = { value = "3.9 mm"', depth), encoding="utf-8")
        start = time.perf_counter()
        plain = 3
        for n in range(plain):
            command(str(BIN / "papermill"), str(template()), f"{n}.ipynb", "-p", "case_file",
                    str(cases / f"B-{n:02d}.toml"), cwd=root)
            command(str(BIN / "jupyter"), "nbconvert", "--to", "html", f"{n}.ipynb", cwd=root)
        stock = (time.perf_counter() - start) / plain
        for workers in (1, 2):
            start = time.perf_counter()
            command(str(BIN / "wrapcalc"), "package", str(cases), "--out", str(root / f"out{workers}"), "-j",
                    str(workers))
            ours = (time.perf_counter() - start) / count
            report(f"papermill + nbconvert over one package of {count}, -j {workers}", stock / ours,
                   "target: at least 5", f"{stock:.2f} s, {ours:.2f} s a case")
    finally:
        shutil.rmtree(root)


if __name__ == "__main__":
    beside = ("sub_lengths", "grids", "cylinders", "wrap_design", "layout", "weather", "closeout", "screening",
              "campaign", "what_if")
    chosen = sys.argv[1:] or ["help", "one", "many", *beside]
    for name, run_it in (("help", help_time), ("one", one_case), ("many", many_packages)):
        if name in chosen:
            run_it()
    for name in beside:
        if name in chosen:
            subprocess.run([sys.executable, str(Path(__file__).with_name(f"{name}.py"))], check=True)

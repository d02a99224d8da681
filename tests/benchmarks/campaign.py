"""Speed of the packages of a campaign, as ratios against a baseline of the same run.

    python tests/benchmarks/campaign.py         100 packages
    python tests/benchmarks/campaign.py 24      so many

Each is a wrap with a depth grid and a forecast: notebook, HTML and PDF of package, dig sheet, site sheet and kit list.
By two worker processes, against the bare notebook by papermill, then jupyter nbconvert --to html, one after the other.
Then the same campaign once more, where all is finished.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from importlib import resources
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from run import BIN, command, report

from tests.helpers import campaign as helper
from wrapcalc.campaign.cases import sources
from wrapcalc.campaign.run import CampaignRun, run_campaign
from wrapcalc.package.build import template

BESIDE = ("HB-07-grid.csv", "HB-07-forecast.csv")
PLAIN, WORKERS = 4, 2


class WrapCases(helper.FakeCases):
    """Copies of the example with a grid, each with a depth of its own."""

    def __init__(self, plan, measured, allowed=None):
        with resources.as_file(resources.files("wrapcalc.example")) as example:
            self.text = (Path(example) / "HB-07.toml").read_text(encoding="utf-8")
            self.beside = {name: (Path(example) / name).read_bytes() for name in BESIDE}

    def files(self, chosen):
        depth = f'depth = {{ value = "{3.9 + int(chosen.lead["row"]) / 1000:.3f} mm"'
        text = self.text.replace('id = "HB-07"', f'id = "{chosen.case_id}"')
        return self.beside | {f"{chosen.case_id}.toml": text.replace('depth = { value = "3.9 mm"', depth).encode()}, []


def timed(path: Path, out: Path, workers: int) -> tuple[CampaignRun, float]:
    start = time.perf_counter()
    done = run_campaign(path, out, workers=workers, fail=lambda line: print(line, file=sys.stderr))
    return done, time.perf_counter() - start


def plain(cases: list[Path], root: Path) -> float:
    """Seconds for a case the usual way."""
    start = time.perf_counter()
    for n, case in enumerate(cases):
        command(str(BIN / "papermill"), str(template()), f"{n}.ipynb", "-p", "case_file", str(case), cwd=root)
        command(str(BIN / "jupyter"), "nbconvert", "--to", "html", f"{n}.ipynb", cwd=root)
    return (time.perf_counter() - start) / len(cases)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    sources.screen, sources.Cases = helper.fake_screen, WrapCases  # type: ignore[assignment, misc]
    root = Path(tempfile.mkdtemp())
    try:
        path, out = helper.campaign(root, count), root / "out"
        done, spent = timed(path, out, WORKERS)
        assert not done.failures and {p.decision for p in done.packaged} == {"wrap"}
        cases = sorted((out / "cases").glob("*.toml"))
        stock = plain(cases[::max(1, count // PLAIN)][:PLAIN], root)
        report(f"papermill + nbconvert over one package of a campaign of {count}, {WORKERS} workers",
               stock / (spent / count), "target: at least 8", f"{stock:.2f} s, {spent / count:.2f} s a case")
        again, seconds = timed(path, out, WORKERS)
        assert again.kept == count
        report(f"papermill + nbconvert over one finished package, {count} finished", stock / (seconds / count),
               "target: at least 300", f"{stock:.2f} s, {seconds / count * 1e3:.1f} ms a case")
    finally:
        shutil.rmtree(root)


if __name__ == "__main__":
    main()

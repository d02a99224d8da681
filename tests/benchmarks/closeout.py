"""Close-out of one repair with its PDF, over one run of the same case in the same process.

    python tests/benchmarks/closeout.py
"""

from __future__ import annotations

import datetime
import json
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from importlib import resources
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.helpers.closeout import Sound, looked
from wrapcalc.case import load_bundle
from wrapcalc.package import digests
from wrapcalc.package.build import make_package
from wrapcalc.package.closeout import closeout_package
from wrapcalc.stages.job import run

_COLD = ("import datetime, sys; from pathlib import Path; from wrapcalc.package.closeout import closeout_package; "
         "closeout_package(Path(sys.argv[1]), Path(sys.argv[2]), now=datetime.datetime.fromisoformat(sys.argv[3]))")


def main(repeats: int = 5) -> None:
    """Print the ratio, and the seconds of a warm and of a new process."""
    root = Path(tempfile.mkdtemp())
    try:
        with resources.as_file(resources.files("wrapcalc.example")) as source:
            shutil.copytree(source, root / "example", ignore=shutil.ignore_patterns("__*"))
        case = root / "example" / "HB-07.toml"
        (root / "out").mkdir()
        result = make_package(case, root / "out")
        assert result.state == "written", result.message
        looked(root / "out", "HB-07-r1")
        package, outcome = root / "out" / "HB-07-r1", run(load_bundle(case))
        made = datetime.datetime.fromisoformat(json.loads((package / "run.json").read_bytes())["finished_utc"])
        sound = Sound(outcome, "HB-07-r1", digests.read_manifest(package)["record_sha256"],
                      made + datetime.timedelta(hours=30))
        readings, now = root / "readings.csv", made + datetime.timedelta(days=9)
        readings.write_bytes(sound.csv())

        def close() -> None:
            closeout_package(package, readings, now=now)

        def cold() -> None:
            subprocess.run([sys.executable, "-c", _COLD, str(package), str(readings), now.isoformat()], check=True)

        times: dict[str, list[float]] = {"close": [], "cold": [], "run": []}
        for _ in range(repeats + 1):
            for name, what in (("close", close), ("cold", cold), ("run", lambda: run(load_bundle(case)))):
                shutil.rmtree(root / "out" / "closeout", ignore_errors=True)
                start = time.perf_counter()
                what()
                times[name].append(time.perf_counter() - start)
        t = {name: statistics.median(x[1:]) for name, x in times.items()}
        print(f"close-out with PDF over one run of the case: {t['close'] / t['run']:.2f} (target: below 2 s)   "
              f"{t['close']:.2f} s, {t['run']:.2f} s; as a new process {t['cold']:.2f} s, imports in it")
    finally:
        shutil.rmtree(root)


if __name__ == "__main__":
    main()

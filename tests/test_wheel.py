"""The wheel, installed alone into an empty environment, runs the example."""

import shutil
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_the_wheel_runs_the_example_in_an_empty_environment(tmp_path):
    source = tmp_path / "source"
    source.mkdir()
    for name in ("wrapcalc", "workbooks"):
        shutil.copytree(ROOT / name, source / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, source)
    subprocess.run([sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(tmp_path), str(source)],
                   check=True, capture_output=True)
    wheel = next(tmp_path.glob("*.whl"))
    venv.create(tmp_path / "env", with_pip=True)
    scripts = tmp_path / "env" / ("Scripts" if sys.platform == "win32" else "bin")
    subprocess.run([scripts / "python", "-m", "pip", "install", "-q", f"{wheel}[report]"], check=True,
                   capture_output=True)

    def tool(*words) -> str:
        return subprocess.run([scripts / "wrapcalc", *words], check=True, capture_output=True, text=True, cwd=tmp_path,
                              encoding="utf-8").stdout

    tool("example", "mine")
    assert "11 written" in tool("package", "mine", "--out", "out")
    assert "every check the same" in tool("verify", str(Path("out") / "HB-15-r1"))
    assert "case.toml: pipe.nominal_wall" in tool("explain", str(Path("out") / "HB-02-r1"), "A1")

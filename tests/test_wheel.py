"""The wheel, installed alone into an empty environment, runs the example."""

import shutil
import subprocess
import sys
import venv
import zipfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
#: The folder of `wrapcalc lab`, without starting JupyterLab, which this environment has not.
LAB = "from pathlib import Path; from wrapcalc.package.starters import write_lab; write_lab(Path('lab'))"


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
    with zipfile.ZipFile(wheel) as inside:
        names = set(inside.namelist())
    for name in ("wrapcalc", "workbooks"):
        for file in (source / name).rglob("*"):
            where = file.relative_to(source).as_posix()
            assert file.is_dir() or (where if name == "wrapcalc" else f"wrapcalc/{where}") in names, where
    venv.create(tmp_path / "env", with_pip=True)
    scripts = tmp_path / "env" / ("Scripts" if sys.platform == "win32" else "bin")
    subprocess.run([scripts / "python", "-m", "pip", "install", "-q", f"{wheel}[report]"], check=True,
                   capture_output=True)

    def tool(*words) -> str:
        return subprocess.run([scripts / "wrapcalc", *words], check=True, capture_output=True, text=True, cwd=tmp_path,
                              encoding="utf-8").stdout

    tool("example", "mine")
    subprocess.run([scripts / "python", "-c", LAB], check=True, cwd=tmp_path)
    assert {p.name for p in (source / "workbooks").iterdir()} <= {p.name for p in (tmp_path / "lab").iterdir()}
    assert "11 written" in tool("package", "mine", "--out", "out")
    assert "every check the same" in tool("verify", str(Path("out") / "HB-15-r1"))
    assert "case.toml: pipe.nominal_wall" in tool("explain", str(Path("out") / "HB-02-r1"), "A1")

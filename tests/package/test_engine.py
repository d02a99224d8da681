"""The in-process engine against a real kernel, and that nothing stays behind."""

from __future__ import annotations

import json
import logging
import os
import random
import subprocess
import sys
import warnings
from pathlib import Path

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

from wrapcalc.errors import NotebookFailed
from wrapcalc.package.engine import run_notebook

PLOT = """import matplotlib.pyplot as plt
fig, ax = plt.subplots(figsize=(2, 1.5))
ax.plot([0, 1, 4]); ax.set_title("d/t")"""

CELLS = [
    "print('case', case)\nimport sys\nprint('warn', file=sys.stderr)\nprint('more')",
    "depth = 2.5\ndepth * factor",
    "from IPython.display import HTML, display, clear_output, update_display\nHTML('<b>bold</b>')",
    "display({'text/plain': 'x', 'text/latex': '$x$'}, raw=True, metadata={'k': 1})\n_",
    PLOT,
    "fig",
    "_ = display('first', display_id='a')\nupdate_display('second', display_id='a')",
    "print('gone'); clear_output(); print('stays')",
    "import warnings\nwarnings.warn('careful')\nwarnings.warn('old', DeprecationWarning)",
    "[1, 2, 3];",
    "Out, In[2], __name__, get_ipython().__class__.__mro__[-1]",
    "import pandas as pd\npd.DataFrame({'d': [1.0, 2.5]})",
    "class Broken:\n    def __repr__(self): raise ValueError('no repr')\n1",
    "def inner(x):\n    return 1 / x\ninner(0)",
    "print('never')",
]


def write(folder: Path, sources: list[str], name: str = "t.ipynb") -> Path:
    tags = {"tags": ["parameters"]}
    parameters = new_code_cell("case = 'none'\nfactor = 1", id="parameters", metadata=tags)
    rest = [new_code_cell(source, id=f"c{i}") for i, source in enumerate(sources)]
    kernelspec = {"name": "python3", "display_name": "Python 3", "language": "python"}
    cells = [new_markdown_cell("# Title", id="title"), parameters, *rest]
    notebook = new_notebook(cells=cells, metadata={"kernelspec": kernelspec})
    path = folder / name
    nbformat.write(notebook, path)
    return path


def run(folder: Path, sources: list[str], **parameters) -> list:
    """The outputs of each code cell: the parameters, the parameters given (if any), then `sources`."""
    template, out = write(folder, sources), folder / "out.ipynb"
    run_notebook(template, out, parameters, cwd=folder)
    return [c.get("outputs") for c in nbformat.read(out, as_version=4).cells if c.cell_type == "code"]


def test_outputs_equal_those_of_a_kernel(tmp_path):
    """Text, streams, HTML, PNG bytes, frames, replaced and cleared displays, the error with its traceback."""
    template = write(tmp_path, CELLS)
    texts = []
    for isolated in (True, False, False):  # the second run in this process must not differ from the first
        out = tmp_path / "out.ipynb"
        with pytest.raises(NotebookFailed, match="ZeroDivisionError: division by zero"):
            run_notebook(template, out, {"case": "A1", "factor": 2}, cwd=tmp_path, isolated=isolated)
        texts.append(out.read_text())
    kernel, first, _ = (json.loads(t)["cells"] for t in texts)
    assert [c["source"] for c in first] == [c["source"] for c in kernel]
    for ours, theirs in zip(first, kernel, strict=True):
        assert ours == theirs
    assert texts[0] == texts[1] == texts[2]  # the whole files, metadata and ids included
    outputs = [o for c in first for o in c.get("outputs", [])]
    png = [o["data"]["image/png"] for o in outputs if "image/png" in o.get("data", {})]
    assert len(png) == 2 and all(p.startswith("iVBOR") for p in png)
    assert {o["output_type"] for o in outputs} == {"stream", "display_data", "execute_result", "error"}


def test_two_runs_give_the_same_bytes(tmp_path):
    cells = ["import warnings\nprint(case)\nwarnings.warn('careful')", "1 + 1"]
    template = write(tmp_path, cells)
    other = tmp_path / "other {folder}"
    other.mkdir()
    outs = []
    for folder in (tmp_path, other):
        out = folder / "run.ipynb"
        run_notebook(template, out, {"case": "A1"}, cwd=folder)
        outs.append(out.read_bytes())
    assert outs[0] == outs[1]
    assert str(tmp_path).encode() not in outs[0]
    assert b"papermill" not in outs[0] and b"ipykernel" not in outs[0]
    notebook = nbformat.reads(outs[0].decode(), as_version=4)
    nbformat.validate(notebook)
    assert "<cell>:3: UserWarning: careful" in "".join(o.get("text", "") for o in notebook.cells[3].outputs)


LEAKY = """
import builtins, decimal, io, logging, os, random, sys, warnings
import matplotlib, matplotlib.pyplot as plt, numpy as np, pandas as pd
leaked_name = 1
plt.figure(); matplotlib.rcParams["font.size"] = 33; plt.style.use("dark_background")
warnings.simplefilter("error"); os.environ["WRAPCALC_LEAK"] = "1"; os.environ.pop("PATH", None)
os.chdir("/"); sys.path.append("/leak"); sys.argv.append("leak"); sys.stdout = io.StringIO()
sys.displayhook = print; sys.excepthook = print; builtins.leaked_builtin = 1
logging.basicConfig(level=1, force=True); logging.disable(50); random.seed(1); np.random.seed(1)
pd.set_option("display.precision", 1)
decimal.getcontext().prec = 3; np.set_printoptions(precision=1); np.seterr(all="raise")
get_ipython().display_formatter.formatters["text/plain"].for_type(int, lambda o, p, c: p.text("leak"))
get_ipython().events.register("pre_run_cell", lambda *a: print("leak"))
%config InlineBackend.figure_formats = ["svg"]
"a last value"
"""


def process_state() -> dict:
    import builtins
    import decimal

    import matplotlib
    import numpy as np
    import pandas as pd
    from IPython.core.interactiveshell import InteractiveShell
    from matplotlib._pylab_helpers import Gcf

    return {
        "main": sys.modules["__main__"],
        "streams": (sys.stdin, sys.stdout, sys.stderr, sys.displayhook, sys.excepthook, hasattr(sys, "ps1")),
        "path": (list(sys.path), list(sys.argv), os.getcwd(), dict(os.environ)),
        "warnings": list(warnings.filters),
        "builtins": sorted(vars(builtins)),
        "logging": (
            list(logging.getLogger().handlers),
            logging.getLogger().level,
            logging.root.manager.disable,
        ),
        "random": (random.getstate(), np.random.get_state()[1].tolist(), decimal.getcontext().prec),
        "options": (str(np.get_printoptions()), np.geterr(), pd.get_option("display.precision")),
        "plots": (dict(dict.items(matplotlib.rcParams)), dict(Gcf.figs)),
        "shell": InteractiveShell._instance,
    }


@pytest.fixture
def own_figure():
    """A caller with settings and an open figure of its own, which must survive."""
    import matplotlib
    import matplotlib.pyplot as plt

    with matplotlib.rc_context({"font.size": 7}):
        figure = plt.figure()
        yield figure
        plt.close(figure)


def test_nothing_is_left_in_the_process(tmp_path, own_figure):
    before = process_state()
    run(tmp_path, [LEAKY])
    after = process_state()
    for name, value in before.items():
        assert after[name] == value, name


def test_nothing_passes_from_notebook_to_notebook(tmp_path, own_figure):
    look = """import matplotlib, os, sys, warnings, decimal, numpy as np, pandas as pd
print("leaked_name" in globals(), "leaked_builtin" in dir(__builtins__), "WRAPCALC_LEAK" in os.environ)
print("PATH" in os.environ, "/leak" in sys.path, "leak" in sys.argv, os.getcwd() == "/")
print(_ == "", Out, len(In), [f[0] for f in warnings.filters][:1])
print(matplotlib.rcParams["font.size"], matplotlib.pyplot.get_fignums())
print(np.get_printoptions()["precision"], np.geterr()["over"], pd.get_option("display.precision"))
print(decimal.getcontext().prec)"""
    plain = run(tmp_path, [look, "7", PLOT])
    run(tmp_path, [LEAKY, "1"])
    again = run(tmp_path, [look, "7", PLOT])
    assert again == plain
    assert plain[1][0].text.splitlines()[0] == "False False False"
    assert plain[2][0].data["text/plain"] == "7"
    assert "image/png" in plain[3][-1].data


def test_the_callers_settings_do_not_reach_the_notebook(tmp_path):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        outputs = run(tmp_path, ["import warnings\nwarnings.warn('only a warning')\nprint('on')"])
    first_lines = [o.text.splitlines()[0] for o in outputs[1]]
    assert first_lines == ["on", "<cell>:2: UserWarning: only a warning"]


def test_a_notebook_can_run_a_notebook(tmp_path):
    """The shell, the figures and the figure format of the outer one are set aside and come back."""
    inner = tmp_path / "inner"
    inner.mkdir()
    write(inner, [PLOT])
    outer = """%config InlineBackend.figure_formats = ["svg"]
import matplotlib.pyplot as plt
from pathlib import Path
from wrapcalc.package.engine import run_notebook
kept = plt.figure(figsize=(1, 1)); plt.plot([1, 2])
inner = Path("inner")
run_notebook(inner / "t.ipynb", inner / "o.ipynb", {}, cwd=inner)
print(plt.get_fignums())"""
    outputs = run(tmp_path, [outer, PLOT])
    shown = nbformat.read(inner / "o.ipynb", as_version=4).cells[2].outputs
    assert "image/png" in shown[-1].data and "image/svg+xml" not in shown[-1].data
    assert outputs[1][0].text == "[1]\n" and "image/svg+xml" in outputs[1][1].data
    assert "image/svg+xml" in outputs[2][-1].data and "image/png" not in outputs[2][-1].data


def test_a_failing_notebook_leaves_nothing_either(tmp_path):
    before = process_state()
    with pytest.raises(NotebookFailed):
        run(tmp_path, [LEAKY + "\nraise RuntimeError('x')"])
    assert process_state() == before


def test_the_error_names_cell_line_and_reason_without_traceback(tmp_path):
    with pytest.raises(NotebookFailed) as caught:
        run(tmp_path, ["a = 1", "\nb = a +\\\n  undefined\n"])
    # cells 1 and 2 are the parameters as written and as given
    assert str(caught.value) == "t.ipynb, cell 3 (b = a +\\): NameError: name 'undefined' is not defined"
    assert "Traceback" not in str(caught.value)


def test_papermill_reports_the_error_itself(tmp_path):
    """The engine, used through papermill directly, fails as the stock engine does."""
    import papermill
    from papermill.exceptions import PapermillExecutionError

    run(tmp_path, ["1"])  # registers the engine
    template = write(tmp_path, ["raise KeyError('k')", "print('never')"])
    found = []
    for engine in ("inprocess", None):
        with pytest.raises(PapermillExecutionError) as caught:
            papermill.execute_notebook(
                template, tmp_path / "o.ipynb", engine_name=engine, progress_bar=False, cwd=tmp_path
            )
        error = caught.value
        found.append(
            (error.cell_index, error.exec_count, error.source, error.ename, error.evalue, error.traceback)
        )
    assert found[0] == found[1]


def test_syntax_error_fails_the_run(tmp_path):
    with pytest.raises(NotebookFailed, match="SyntaxError"):
        run(tmp_path, ["x = = 1"])


@pytest.mark.parametrize(
    "cell", ["raise KeyboardInterrupt", "import signal\nsignal.raise_signal(signal.SIGINT)"]
)
def test_keyboard_interrupt_stops_the_run(tmp_path, cell):
    before = process_state()
    marker = tmp_path / "marker"
    with pytest.raises(KeyboardInterrupt):
        run(tmp_path, [cell, "open('marker', 'w')"])
    assert not marker.exists() and not (tmp_path / "out.ipynb").exists()
    assert process_state() == before


def test_leaving_early_is_a_failure(tmp_path):
    with pytest.raises(NotebookFailed, match="stopped before its end; not run: print"):
        run(tmp_path, ["import sys\nsys.exit(0)", "print('never')"])


def test_input_does_not_wait(tmp_path):
    with pytest.raises(NotebookFailed, match="EOFError"):
        run(tmp_path, ["input('depth? ')"])


def test_unknown_and_absolute_parameters_are_refused(tmp_path):
    with pytest.raises(NotebookFailed, match="no parameter facotr; it declares case, factor"):
        run(tmp_path, ["1"], facotr=2)
    with pytest.raises(ValueError, match="absolute path"):
        run(tmp_path, ["1"], case=str(tmp_path))


def test_the_users_ipython_folder_is_not_touched(tmp_path, monkeypatch):
    home = tmp_path / "home"
    startup = home / ".ipython" / "profile_default" / "startup"
    startup.mkdir(parents=True)
    (startup / "00.py").write_text("from_startup = 1")
    setting = "get_config().InteractiveShell.ast_node_interactivity = 'all'"
    (startup.parent / "ipython_config.py").write_text(setting)
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.setenv("IPYTHONDIR", str(home / ".ipython"))
    before = sorted(p for p in home.rglob("*"))
    outputs = run(tmp_path, ["'from_startup' in globals()\n'last'", "%history"])
    assert [o.data["text/plain"] for o in outputs[1]] == ["'last'"]
    assert sorted(p for p in home.rglob("*")) == before


@pytest.mark.parametrize("first", ["import papermill", "import wrapcalc.package.engine"])
def test_papermill_finds_the_engine_by_its_entry_point(tmp_path, first):
    """In either order of import, though each needs the other."""
    information = tmp_path / "site" / "made_up-1.0.dist-info"
    information.mkdir(parents=True)
    (information / "METADATA").write_text("Metadata-Version: 2.1\nName: made-up\nVersion: 1.0\n")
    entry = "[papermill.engine]\ninprocess = wrapcalc.package.engine:InProcessEngine\n"
    (information / "entry_points.txt").write_text(entry)
    code = (
        f"import sys; sys.modules['rfc3987_syntax'] = None;"
        f"sys.path.append({str(tmp_path / 'site')!r}); {first};"
        "from papermill.engines import papermill_engines;"
        "from wrapcalc.package.engine import InProcessEngine;"
        "assert papermill_engines.get_engine('inprocess') is InProcessEngine"
    )
    subprocess.run([sys.executable, "-c", code], check=True, cwd=Path(__file__).parents[2])

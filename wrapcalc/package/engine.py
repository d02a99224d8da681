"""Run a parameterized notebook: by default in the calling process, or with a kernel of its own.

The in-process engine gives the outputs that a kernel gives, some ten times sooner. papermill finds it by the
entry point "inprocess"; `run_notebook` registers it where the entry point is not installed.
"""

from __future__ import annotations

import re
import sys
from functools import lru_cache
from pathlib import Path
from typing import Any

# jsonschema imports this package where it is installed (JupyterLab pulls it in), and it builds a grammar at
# import: 0.7 s for checks of web addresses that no notebook needs. Blocked before the first import of
# nbformat.
sys.modules.setdefault("rfc3987_syntax", None)  # type: ignore[arg-type]

import nbformat  # noqa: E402

from wrapcalc.errors import NotebookFailed  # noqa: E402
from wrapcalc.package.notebook_shell import fresh_shell, run_cell  # noqa: E402

ENGINE_NAME = "inprocess"
_LANGUAGE_INFO = {"name": "python", "file_extension": ".py", "mimetype": "text/x-python"}
# Where a warning says it arose: a kernel's temporary file with its process number, or our name of the cell.
_CELL_FILE = re.compile(r"\S*[/\\]ipykernel_\d+[/\\]\d+\.py|\[cell\]/\d+\.py")


@lru_cache(1)
def _engine_class() -> type:
    """Made on demand: papermill loads its entry points, so this module, while being imported itself."""
    from papermill.engines import Engine

    class InProcessEngine(Engine):
        """papermill engine that runs the cells in the calling process, each notebook with a new namespace."""

        @classmethod
        def execute_managed_notebook(cls, nb_man: Any, kernel_name: str, **kwargs: Any) -> None:
            """Run all cells up to the first that fails; papermill then raises PapermillExecutionError."""
            with fresh_shell() as shell:
                for index, cell in enumerate(nb_man.nb.cells):
                    if cell.cell_type != "code" or not cell.source.strip():
                        continue
                    nb_man.cell_start(cell, index)
                    good = False
                    try:
                        good = run_cell(shell, cell)
                    finally:
                        if not good:
                            nb_man.cell_exception(cell, index)
                        nb_man.cell_complete(cell, index)
                    if not good:
                        break

    InProcessEngine.__module__, InProcessEngine.__qualname__ = __name__, "InProcessEngine"
    return InProcessEngine


def __getattr__(name: str) -> Any:
    if name == "InProcessEngine":
        return _engine_class()
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def run_notebook(
    template: Path, output: Path, parameters: dict[str, Any], *, cwd: Path, isolated: bool = False
) -> None:
    """Run the notebook `template` with `parameters` in the folder `cwd`; write it with outputs to `output`.

    isolated: with a kernel of its own (papermill's stock engine) instead of in the calling process.
    The file is the same, byte for byte, on every run: no times, no paths, no random ids. Strings that are
    absolute paths are therefore refused as parameters (ValueError); give them relative to `cwd`.
    Raises NotebookFailed, naming the cell, when a cell fails (`output` then shows how far it came), when the
    run stopped early, or when the notebook has no such parameter.
    """
    import papermill
    from papermill.engines import papermill_engines
    from papermill.exceptions import PapermillExecutionError

    for name, value in parameters.items():
        if isinstance(value, str | Path) and Path(value).is_absolute():
            raise ValueError(f"parameter {name} is an absolute path, which must not be stored in a notebook")
    notebook = nbformat.read(template, as_version=4)
    _check_parameters(notebook, template.name, parameters)
    # Before 4.5 cells had no ids; reading then makes up random ones.
    given_ids = {cell["id"] for cell in notebook.cells} if notebook.nbformat_minor >= 5 else set()
    papermill_engines.register(ENGINE_NAME, _engine_class())  # for where the entry point is not installed
    source, target = template.resolve(), output.resolve()
    try:
        papermill.execute_notebook(
            _unformatted(source),
            _unformatted(target),
            parameters,
            engine_name=None if isolated else ENGINE_NAME,
            kernel_name="python3",
            language="python",
            progress_bar=False,
            request_save_on_cell_execute=False,
            cwd=str(cwd.resolve()),
        )
    except PapermillExecutionError as error:
        _settle(target, given_ids)
        raise NotebookFailed(_failure(template.name, error)) from None
    _settle(target, given_ids)
    _check_complete(target, template.name)


def _unformatted(path: Path) -> str:
    """papermill puts parameters into braces in a path: escape those that are part of a name."""
    return str(path).replace("{", "{{").replace("}", "}}")


def _check_parameters(notebook: Any, name: str, parameters: dict[str, Any]) -> None:
    """Refuse parameters that the notebook does not declare: papermill warns, and they have no effect."""
    from papermill.translators import PythonTranslator

    declared = {
        parameter.name
        for cell in notebook.cells
        if "parameters" in cell.metadata.get("tags", [])
        for parameter in PythonTranslator.inspect(cell)
    }
    unknown = ", ".join(sorted(set(parameters) - declared))
    if unknown:
        known = ", ".join(sorted(declared)) or "none"
        raise NotebookFailed(f"{name} has no parameter {unknown}; it declares {known}")


def _failure(name: str, error: Any) -> str:
    first_line = next((line for line in error.source.splitlines() if line.strip()), "")
    reason = f"{error.ename}: {error.evalue}" if error.evalue else error.ename
    return f"{name}, cell {error.exec_count} ({first_line.strip()}): {reason}"


def _check_complete(path: Path, name: str) -> None:
    """A notebook that leaves early by SystemExit counts as good with papermill; here it does not."""
    for cell in nbformat.read(path, as_version=4).cells:
        if cell.cell_type == "code" and cell.source.strip() and cell.execution_count is None:
            raise NotebookFailed(
                f"{name} stopped before its end; not run: {cell.source.strip().splitlines()[0]}"
            )


def _settle(path: Path, given_ids: set[str]) -> None:
    """Rewrite an executed notebook without anything that differs from run to run, and check that it is
    valid."""
    notebook = nbformat.read(path, as_version=4)
    notebook.metadata.pop("papermill", None)
    notebook.metadata.pop("widgets", None)
    notebook.metadata["language_info"] = nbformat.from_dict(_LANGUAGE_INFO)
    for index, cell in enumerate(notebook.cells):
        if cell.get("id") not in given_ids:
            cell["id"] = _free_id(f"added-{index}", given_ids)
        for name in ("papermill", "execution"):
            cell.metadata.pop(name, None)
        if cell.cell_type == "code":
            cell.outputs = _merged(cell.outputs)
    nbformat.validate(notebook)
    path.write_text(nbformat.writes(notebook) + "\n", encoding="utf-8", newline="\n")


def _free_id(wanted: str, taken: set[str]) -> str:
    while wanted in taken:
        wanted += "-"
    return wanted


def _merged(outputs: list[Any]) -> list[Any]:
    """Text between two other outputs as at most one piece of stdout and one of stderr.

    A kernel buffers the two apart and cuts them by the clock, so that their order there says nothing.
    """
    merged: list[Any] = []
    streams: dict[str, Any] = {}
    for output in outputs:
        if output.output_type != "stream":
            merged += [streams[name] for name in sorted(streams, reverse=True)]  # stdout, then stderr
            streams = {}
            merged.append(output)
            continue
        output.text = _CELL_FILE.sub("<cell>", output.text)
        if output.name in streams:
            streams[output.name].text += output.text
        else:
            streams[output.name] = output
    return merged + [streams[name] for name in sorted(streams, reverse=True)]

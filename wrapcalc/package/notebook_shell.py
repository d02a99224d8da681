"""An IPython shell without a kernel: runs cells in the calling process and stores what a front end would
store."""

from __future__ import annotations

import atexit
import base64
import io
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from typing import Any

import nbformat
from IPython.core.compilerop import CachingCompiler
from IPython.core.displayhook import DisplayHook
from IPython.core.displaypub import DisplayPublisher
from IPython.core.interactiveshell import InteractiveShell
from nbformat.v4 import new_output
from traitlets import Type
from traitlets.config import Config

from wrapcalc.package.process_state import CELL_FOLDER, INLINE_BACKEND, process_state_kept


class _Outputs:
    """What the running cell has put out so far: the part of a notebook front end that stores messages."""

    def __init__(self) -> None:
        self.cell: list[Any] = []
        self._clear_before_next = False
        self._by_display_id: dict[str, list[Any]] = {}

    def start_cell(self) -> list[Any]:
        self.cell, self._clear_before_next = [], False
        return self.cell

    def add(self, output: Any, display_id: str | None = None) -> None:
        if self._clear_before_next:
            self.clear(wait=False)
        if display_id is not None:
            self._by_display_id.setdefault(display_id, []).append(output)
        self.cell.append(output)

    def stream(self, name: str, text: str) -> None:
        if self._clear_before_next:
            self.clear(wait=False)
        last = self.cell[-1] if self.cell else None
        if last is not None and last.output_type == "stream" and last.name == name:
            last.text += text
        else:
            self.cell.append(new_output("stream", name=name, text=text))

    def update(self, display_id: str | None, data: dict[str, Any], metadata: dict[str, Any]) -> None:
        for output in self._by_display_id.get(display_id or "", []):
            output.data, output.metadata = nbformat.from_dict(data), nbformat.from_dict(metadata)

    def clear(self, wait: bool) -> None:
        self._clear_before_next = wait
        if not wait:
            self.cell.clear()


def _as_text(data: dict[str, Any]) -> dict[str, Any]:
    """A mime bundle as a notebook stores it: images in base64."""
    return {k: base64.b64encode(v).decode("ascii") if isinstance(v, bytes) else v for k, v in data.items()}


class _Publisher(DisplayPublisher):
    def publish(self, data, metadata=None, *, transient=None, update=False, **kwargs) -> None:  # type: ignore[override]
        self._validate_data(data, metadata)
        bundle, notes = _as_text(data), dict(metadata or {})
        display_id = (transient or {}).get("display_id")
        if display_id is not None or update:
            self.shell.outputs.update(display_id, bundle, notes)
        if not update:
            self.shell.outputs.add(new_output("display_data", data=bundle, metadata=notes), display_id)

    def clear_output(self, wait: bool = False) -> None:
        self.shell.outputs.clear(wait)


class _Hook(DisplayHook):
    def write_output_prompt(self) -> None:
        pass  # the number stands in the output itself

    def write_format_data(self, format_dict, md_dict=None) -> None:
        count = self.prompt_count
        self.shell.outputs.add(
            new_output(
                "execute_result", data=_as_text(format_dict), metadata=md_dict or {}, execution_count=count
            )
        )

    def finish_displayhook(self) -> None:
        self._is_active = False


class _Stream(io.TextIOBase):
    """sys.stdout or sys.stderr of the running cell."""

    encoding = "UTF-8"  # type: ignore[assignment]

    def __init__(self, name: str, outputs: _Outputs):
        self._name, self._outputs = name, outputs

    def writable(self) -> bool:
        return True

    def write(self, text: str) -> int:
        if not isinstance(text, str):
            raise TypeError(f"write() argument must be str, not {type(text).__name__}")
        if text:
            self._outputs.stream(self._name, text)
        return len(text)


class _Compiler(CachingCompiler):
    """Names a cell's code like a file that is not there, as a kernel does; tracebacks then look the same."""

    def get_code_name(self, raw_code: str, transformed_code: str, number: int) -> str:
        return f"{CELL_FOLDER}/{number}.py"


@lru_cache(1)
def _empty_ipython_folder() -> tempfile.TemporaryDirectory[str]:
    """Stands in for the user's IPython folder, so that nothing of theirs is read or written; gone at exit."""
    return tempfile.TemporaryDirectory(prefix="wrapcalc-ipython-")


class Shell(InteractiveShell):
    """An IPython shell without terminal, history file, profile or prompts; one for each notebook."""

    def __init__(self, **kwargs: Any):
        self.outputs = _Outputs()
        config = Config()
        config.HistoryManager.enabled = False
        super().__init__(
            ipython_dir=_empty_ipython_folder().name,
            config=config,
            display_pub_class=_Publisher,
            displayhook_class=_Hook,
            **kwargs,
        )

    def init_virtualenv(self) -> None:
        pass  # would look for another environment and change sys.path

    def enable_gui(self, gui: Any = None) -> None:
        pass

    def ask_exit(self) -> None:
        raise SystemExit(0)

    def _showtraceback(self, etype: type, evalue: BaseException, stb: list[str]) -> None:
        self.outputs.add(new_output("error", ename=etype.__name__, evalue=str(evalue), traceback=list(stb)))

    compiler_class = Type(_Compiler)
    system = InteractiveShell.system_piped


@contextmanager
def fresh_shell() -> Iterator[Shell]:
    """A new shell as the one that get_ipython() and display() find; afterwards the caller's again, if any."""
    former = InteractiveShell._instance
    with process_state_kept():
        shell = Shell()
        InteractiveShell._instance = shell
        try:
            sys.stdin = io.StringIO()  # input() fails at once instead of waiting for a terminal
            sys.stdout, sys.stderr = _Stream("stdout", shell.outputs), _Stream("stderr", shell.outputs)
            inline: Any = sys.modules.get("matplotlib_inline.backend_inline")
            if inline:  # else it sets itself up when the notebook imports it
                from IPython.core.pylabtools import activate_matplotlib

                activate_matplotlib(INLINE_BACKEND)
                inline.configure_inline_support(shell, INLINE_BACKEND)
            yield shell
        finally:
            InteractiveShell._instance = former
            atexit.unregister(shell.atexit_operations)  # would keep the notebook's variables alive until exit


def run_cell(shell: Shell, cell: Any) -> bool:
    """Run one code cell and store its outputs; whether the notebook may go on.

    KeyboardInterrupt is raised, not stored as an output.
    """
    cell.outputs = shell.outputs.start_cell()
    cell.execution_count = shell.execution_count
    result = shell.run_cell(cell.source, store_history=True, cell_id=cell.get("id"))
    error = result.error_before_exec or result.error_in_exec
    if isinstance(error, KeyboardInterrupt):
        raise KeyboardInterrupt from None  # IPython makes an output of it; here it must stop the run
    # As nbclient: a cell with this tag may fail. An error while an output was formatted fails the cell, too.
    failed = error is not None or any(o.output_type == "error" for o in cell.outputs)
    return not failed or "raises-exception" in cell.metadata.get("tags", [])

"""The what-if bench: move what matters, see at once what becomes of decision, layers and order. Never a package.

`inputs` says what may be moved, `changed` makes the case of it by the readers of every case, `answers` runs it.
`pinned` keeps variants in a file, `saving` writes one as a case of its own. `bench` holds all together, `pages` prints,
and only `view` has widgets.
"""

from __future__ import annotations

from wrapcalc.errors import WrapcalcError
from wrapcalc.workbook import calm
from wrapcalc.workbook.named import named
from wrapcalc.workbook.shown import Shown

__all__ = ["what_if"]


def what_if(case_file: str) -> calm.View | Shown:
    """The bench of one case file. What cannot be opened is one calm message with every fault."""
    try:
        from wrapcalc.workbook.bench.bench import Bench
        from wrapcalc.workbook.bench.view import BenchView
    except ImportError as e:
        text = f"the bench needs {e.name}, which is not installed"
        return Shown(calm.page(calm.message("Fault", text, 'To mend it: pip install "wrapcalc[report,lab]".')), text)
    try:
        return BenchView(Bench.open(named("case_file", case_file, "example/HB-07.toml")))
    except WrapcalcError as e:
        return Shown(calm.page(calm.messages(e)), str(e))

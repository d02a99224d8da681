"""The review notebook: a package verified first, then walked through step by step; what is said stands beside it."""

from __future__ import annotations

from pathlib import Path

from wrapcalc.errors import CaseFaults, WrapcalcError
from wrapcalc.workbook import calm
from wrapcalc.workbook.named import named
from wrapcalc.workbook.shown import Shown

#: What drawing a record may raise that somebody changed: it may be anything.
_ODD = (LookupError, TypeError, ValueError, AttributeError, RecursionError)


def review(package_folder: str) -> calm.View | Shown:
    """Open a package for review. What cannot be opened gives one message in place of the view."""
    from jinja2 import TemplateError
    try:
        folder = named("package_folder", package_folder, "example/packages/HB-07-r1")
    except CaseFaults as e:
        return Shown(calm.page(calm.messages(e)), str(e))
    if not folder.is_dir():
        return _one("Note", f"{package_folder}: there is no such package.", "Name the folder of a package. To make "
                    "that of the example, in a terminal: wrapcalc package example/HB-07.toml --out example/packages")
    try:
        return _opened(folder)
    except WrapcalcError as e:
        return _one("Fault", str(e))
    except (*_ODD, TemplateError) as e:
        found = _not_verified(folder)
        if not found:
            return _one("Fault", f"this is a defect of wrapcalc ({type(e).__name__}: {e}); nothing was changed",
                        "Please report it.")
        return _one("Fault", f"{package_folder}: this package does not verify ({found[0]}) and cannot be shown.",
                    "Restore it, or run the case again.")


def _not_verified(folder: Path) -> list[str]:
    """What is wrong with a package that cannot be shown; empty when it verifies."""
    from wrapcalc.package.verify import verify
    found = verify(folder)
    return [*found.problems, *found.differences]


def _opened(folder: Path) -> calm.View | Shown:
    """The package on the desk of a reviewer. An installation without widgets shows what stands in files."""
    from wrapcalc.workbook.reviewer.model import Desk
    from wrapcalc.workbook.reviewer.pages import still
    desk = Desk(folder)
    shown = still(desk)
    try:
        from wrapcalc.workbook.reviewer.view import ReviewView
    except ImportError:
        return shown
    return ReviewView(desk)


def _one(kind: calm.Kind, text: str, mend: str = "") -> Shown:
    return Shown(calm.page(calm.message(kind, text, mend)), f"{kind}: {text} {mend}".strip())

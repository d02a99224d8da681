"""Field data in the notebook: what was found in the ditch, and what was read while the wrap was laid."""

from __future__ import annotations

from collections.abc import Callable

from wrapcalc.errors import CaseFaults, WrapcalcError
from wrapcalc.workbook import calm
from wrapcalc.workbook.on_site.opened import opened
from wrapcalc.workbook.shown import Shown

__all__ = ["as_found", "close_out"]


def as_found(package_folder: str, field_folder: str = "") -> calm.View | Shown:
    """The as-found sheet of a package, kept as as_found.toml in the user's folder (field/NAME unless named)."""
    def view() -> calm.View:
        from wrapcalc.workbook.on_site.sheet import FoundSheet
        from wrapcalc.workbook.on_site.view_found import FoundView
        return FoundView(FoundSheet(opened(package_folder, field_folder, "check")))
    return _or_message(view)


def close_out(package_folder: str, field_folder: str = "") -> calm.View | Shown:
    """The readings of a repair, kept as readings.csv in the user's folder (field/NAME unless named)."""
    def view() -> calm.View:
        from wrapcalc.workbook.on_site.book import ReadingsBook
        from wrapcalc.workbook.on_site.view_close import CloseView
        return CloseView(ReadingsBook(opened(package_folder, field_folder, "close out")))
    return _or_message(view)


def _or_message(view: Callable[[], calm.View]) -> calm.View | Shown:
    """The view, or one calm message that says why there is none."""
    try:
        return view()
    except CaseFaults as e:
        page, text = calm.messages(e), str(e)
    except WrapcalcError as e:
        page, text = calm.message("Note", str(e)), str(e)
    except OSError as e:
        text = f"{e.filename or 'the package'}: cannot be read ({e.strerror or e})"
        page = calm.message("Fault", text)
    return Shown(calm.page(page), text)

"""The case form: make or edit a case without typing TOML.

`draft` holds the file in work, `disk` reads and writes it, `toml_text` changes its text, `checked` asks the readers,
`questions` says what is asked, `pasted` and `measured` take depth grids, `shelf` shows systems and editions, `outcome`
what the saved file gives; none of them knows a widget. `view*` are the widgets, and no more.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from wrapcalc.errors import WrapcalcError
from wrapcalc.workbook import calm
from wrapcalc.workbook.named import named
from wrapcalc.workbook.shown import Shown

if TYPE_CHECKING:
    from wrapcalc.workbook.form.view import CaseForm

__all__ = ["NotOpened", "case_form"]


class NotOpened(Shown):
    """The message of a case file that the form cannot open."""

    def outcome(self) -> Shown:
        """There is none: the message stands above."""
        return Shown("", "")


def case_form(case_file: str | os.PathLike[str]) -> CaseForm | NotOpened:
    """The form of a case file, or of a new case where there is none yet; one message where it cannot be opened."""
    from wrapcalc.workbook.form.draft import Draft
    try:
        draft = Draft.open(named("case_file", case_file, "example/HB-07.toml"))
    except WrapcalcError as e:
        return NotOpened(calm.page(calm.messages(e)), str(e))
    from wrapcalc.workbook.form.view import CaseForm
    return CaseForm(draft)

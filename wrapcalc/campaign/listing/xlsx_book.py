"""A workbook opened for reading: its sheets of cells, and which of them is the listing."""

from __future__ import annotations

import warnings
from collections.abc import Mapping as Named
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from wrapcalc import units
from wrapcalc.campaign.listing.chunks import number_text, whole
from wrapcalc.campaign.listing.number_formats import Shown, shown_by
from wrapcalc.errors import CaseFaults, Fault

if TYPE_CHECKING:
    from wrapcalc.campaign.listing.mapping import Mapping

FORM, AGAIN = "an XLSX workbook", "save it as .xlsx, or as CSV (UTF-8)"
_MOST_NAMED = 12


@dataclass(frozen=True, slots=True)
class ShownNumber:
    """A number that its format shows as something else."""

    number: float
    how: Shown

    def __str__(self) -> str:
        return number_text(self.number)


def open_book(file: Any, name: str, *, kept: bool) -> Any:
    """The workbook. kept: formulas as the values that were kept. Raises CaseFaults for one that is not sound."""
    try:
        from openpyxl.reader.excel import ExcelReader
    except ImportError:
        raise whole(name, "an XLSX workbook, which this installation cannot read", "CSV",
                    "save the sheet as CSV (UTF-8), or install openpyxl") from None

    class Reader(ExcelReader):
        def read_chartsheet(self, sheet: Any, rel: Any) -> None:
            """A sheet that is a chart has no rows."""

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about styles and validations that are not read
            reader = Reader(file, read_only=True, data_only=kept, keep_links=False)
            reader.read()
            return reader.wb
    except Exception:  # openpyxl raises errors of many kinds for a workbook that is not sound
        raise whole(name, "a workbook that cannot be read", FORM, AGAIN) from None


def visible(book: Any) -> list[Any]:
    """Sheets of cells that a reader of the workbook sees."""
    return [w for w in book.worksheets if w.sheet_state == "visible"]


def listing_sheet(book: Any, mapping: Mapping, name: str) -> Any:
    """The sheet that the mapping names, or the only one that is visible. Raises CaseFaults."""
    wanted, seen = str(mapping.listing.sheet or ""), visible(book)
    if wanted:
        found = [w for w in book.worksheets if " ".join(w.title.split()) == wanted]
        said, mend = units.shown(wanted), "correct the name"
    else:
        found, mend = seen, 'write sheet = "..." under [listing]'
        said = f"nothing, but {len(seen)} sheets that are not hidden" if seen else "nothing, but hidden sheets only"
    if len(found) != 1:
        among = [w.title for w in (seen or book.worksheets)]
        more = " and others" if len(among) > _MOST_NAMED else ""
        raise CaseFaults([Fault(mapping.file, "listing.sheet", said, f"a sheet of {name}: " + ", ".join(
            map(units.shown, among[:_MOST_NAMED])) + more, mend, mapping.line_of("listing.sheet"))])
    return found[0]


def styles_shown(book: Any) -> dict[int, Shown]:
    """What the number formats of the workbook do, by the number of the style; those that do nothing are left out."""
    from openpyxl.styles.numbers import BUILTIN_FORMATS
    from openpyxl.styles.numbers import BUILTIN_FORMATS_MAX_SIZE as FIRST
    own = book._number_formats
    out = {}
    for style, about in enumerate(book._cell_styles):
        k = about.numFmtId
        text = BUILTIN_FORMATS.get(k, "General") if k < FIRST else own[k - FIRST] if k - FIRST < len(own) else "General"
        if not (shown := shown_by(text)).plain:
            out[style] = shown
    return out


def values_shown(row: Sequence[Any], styles: Named[int, Shown]) -> Sequence[Any]:
    """Values of the cells of a row; without styles it is a row of values already."""
    return [_value(c, styles) for c in row] if styles else row


def _value(cell: Any, styles: Named[int, Shown]) -> Any:
    value = cell.value
    if isinstance(value, (int, float)) and not isinstance(value, bool) and cell._style_id in styles:
        return ShownNumber(value, styles[cell._style_id])
    return value

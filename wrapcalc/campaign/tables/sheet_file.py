"""A workbook with one sheet, written row by row: the least that is a valid XLSX, without a time of its own in it.

Numbers are numbers, texts are texts in their cells; the heading is bold and stays in view, and every column can be
filtered.
"""

from __future__ import annotations

import zipfile
from collections.abc import Sequence
from html import escape
from typing import TYPE_CHECKING, Any

from wrapcalc.errors import PackageError

if TYPE_CHECKING:
    import pyarrow as pa

    from wrapcalc.campaign.tables.tables import Column

_HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_PARTS = {
    "[Content_Types].xml":
        f'<Types xmlns="{_PACKAGE}/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="xml" ContentType="application/xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{_TYPE}.sheet.main+xml"/>'
        f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{_TYPE}.worksheet+xml"/>'
        f'<Override PartName="/xl/styles.xml" ContentType="{_TYPE}.styles+xml"/></Types>',
    "_rels/.rels":
        f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="rId1" Type="{_REL}/officeDocument" '
        'Target="xl/workbook.xml"/></Relationships>',
    "xl/workbook.xml":
        f'<workbook xmlns="{_MAIN}" xmlns:r="{_REL}"><sheets><sheet name="Table" sheetId="1" r:id="rId1"/></sheets>'
        "</workbook>",
    "xl/_rels/workbook.xml.rels":
        f'<Relationships xmlns="{_PACKAGE}/relationships">'
        f'<Relationship Id="rId1" Type="{_REL}/worksheet" Target="worksheets/sheet1.xml"/>'
        f'<Relationship Id="rId2" Type="{_REL}/styles" Target="styles.xml"/></Relationships>',
    "xl/styles.xml":
        f'<styleSheet xmlns="{_MAIN}"><fonts count="2"><font><sz val="11"/><name val="Calibri"/></font>'
        '<font><b/><sz val="11"/><name val="Calibri"/></font></fonts>'
        '<fills count="2"><fill><patternFill patternType="none"/></fill><fill><patternFill patternType="gray125"/>'
        "</fill></fills><borders count=\"1\"><border><left/><right/><top/><bottom/><diagonal/></border></borders>"
        '<cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/></cellStyleXfs>'
        '<cellXfs count="2"><xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0"/>'
        '<xf numFmtId="0" fontId="1" fillId="0" borderId="0" xfId="0" applyFont="1"/></cellXfs>'
        '<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles></styleSheet>',
}
_OPEN = '<c t="inlineStr"><is><t xml:space="preserve">'
_CLOSE = "</t></is></c>"
#: Characters that XML does not know; and what a spreadsheet would read as the code of one.
_NOT_XML, _CODED = "[\x00-\x08\x0b-\x1f\ufffe\uffff]", "_(x[0-9A-Fa-f]{4}_)"


class XlsxTable:
    """XLSX: one sheet "Table". Raises PackageError for a text that is longer than a cell may hold."""

    def __init__(self, file: Any, columns: Sequence[Column]):
        self._columns, self._rows = columns, 1
        self._zip = zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=1)
        for name, text in _PARTS.items():
            self._zip.writestr(_part(name), _HEAD + text)
        self._sheet = self._zip.open(_part("xl/worksheets/sheet1.xml"), "w", force_zip64=True)
        heads = "".join(f'<c s="1"{_OPEN[2:]}{escape(c.heading, quote=False)}{_CLOSE}' for c in columns)
        self._sheet.write((
            f'{_HEAD}<worksheet xmlns="{_MAIN}"><sheetViews><sheetView workbookViewId="0"><pane ySplit="1" '
            'topLeftCell="A2" activePane="bottomLeft" state="frozen"/></sheetView></sheetViews><sheetFormatPr '
            f'defaultRowHeight="15"/><cols><col min="1" max="{len(columns)}" width="16" customWidth="1"/></cols>'
            f"<sheetData><row>{heads}</row>").encode())

    def write(self, part: pa.RecordBatch) -> None:
        """Append rows."""
        import pyarrow as pa
        import pyarrow.compute as pc

        from wrapcalc.campaign.tables.tables import refuse_rows, worded
        refuse_rows(self._rows - 1 + part.num_rows, "xlsx")
        cells = [_cells(c.heading, v) for c, v in
                 zip(self._columns, worded(self._columns, part, safe=True), strict=True)]
        rows = pc.binary_join_element_wise("<row>", *cells, "</row>", "")
        self._rows += part.num_rows
        for first in range(0, part.num_rows, 4096):
            some = rows.slice(first, 4096)
            self._sheet.write(pc.binary_join(pa.ListArray.from_arrays([0, len(some)], some), "")[0].as_py().encode())

    def close(self) -> None:
        """Write the end of the sheet and of the file."""
        last = f"{_letters(len(self._columns))}{self._rows}"
        self._sheet.write(f'</sheetData><autoFilter ref="A1:{last}"/></worksheet>'.encode())
        self._sheet.close()
        self._zip.close()


def _part(name: str) -> zipfile.ZipInfo:
    about = zipfile.ZipInfo(name)  # 1980, the first year of the format: no time of ours
    about.compress_type = zipfile.ZIP_DEFLATED
    return about


def _letters(number: int) -> str:
    """1 -> A, 27 -> AA."""
    out = ""
    while number:
        number, rest = divmod(number - 1, 26)
        out = chr(65 + rest) + out
    return out


def _cells(heading: str, values: pa.Array) -> pa.Array:
    """Each value as the XML of its cell."""
    import pyarrow as pa
    import pyarrow.compute as pc

    from wrapcalc.campaign.tables.tables import CELL_TEXT
    if values.type != pa.string():
        whole = pc.binary_join_element_wise("<c><v>", values.cast(pa.string()), "</v></c>", "")
        return pc.fill_null(whole, "<c/>")
    values = pc.fill_null(values, "")
    longest = pc.max(pc.utf8_length(values)).as_py() or 0
    if longest > CELL_TEXT:
        raise PackageError(f"column '{heading}': a text of {longest} characters; a cell of XLSX holds {CELL_TEXT}. "
                           "Choose Parquet or CSV (--format parquet, --format csv)")
    for pattern, instead in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;")):
        values = pc.replace_substring(values, pattern, instead)
    values = pc.replace_substring_regex(values, _NOT_XML, "\ufffd")
    values = pc.replace_substring_regex(values, _CODED, r"_x005F_\1")
    whole = pc.binary_join_element_wise(_OPEN, values, _CLOSE, "")
    return pc.if_else(pc.equal(values, ""), "<c/>", whole)

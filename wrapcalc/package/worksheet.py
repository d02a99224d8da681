"""The worksheet of one document: what we know of it unverified, to tick off against a licensed copy.

It is printed as HTML and PDF for the desk, and as CSV to fill in; `worksheet_read` turns the filled CSV into marks
of an overlay.
"""

from __future__ import annotations

import csv
import io
import json
import os
import re
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from markupsafe import Markup

from wrapcalc import __version__, units
from wrapcalc.errors import CaseFaults, PackageError, UnknownItem
from wrapcalc.formula import Formula, registry, symbol_tex
from wrapcalc.reading import read_bytes, shown_name
from wrapcalc.standards import tables
from wrapcalc.standards.documents import ISO_24817, document
from wrapcalc.standards.tables import Entry, Tables

#: Columns that we print, and those that are filled in; together the head of the CSV.
PRINTED = ("what", "item", "title", "our clause", "our value", "unit kind", "status", "expression", "used by packages")
FILLED = ("agrees", "value in the copy", "checked by", "date", "which copy", "clause in the copy or remark")
COLUMNS = PRINTED + FILLED
#: What stands for the value of an entry that we do not know.
FILL_IN = "not known: fill in"
#: The entry by which an edition says that its equations are those of EQUATIONS_OF.
EQUATIONS, EQUATIONS_OF = "equations", ISO_24817.id
#: What a spreadsheet would take for a formula, with as many apostrophes before it as there are.
_RUNS = re.compile(r"'*[=+\-@\t\r\n]")
#: Records of big campaigns hold whole depth grids.
_MOST_BYTES = 100_000_000
_MOST_NAMED = 8


@dataclass(frozen=True)
class Row:
    """One value or formula to compare. what: "value" or "formula"; ours: the value as written, blank for a formula.

    expression: what runs, blank for a value; maths: the same as LaTeX with its symbol; takes: titles of the values
    that packages fed into the formula.
    """

    what: str
    item: str
    title: str
    clause: str
    ours: str
    unit_kind: str
    status: str
    expression: str = ""
    used_by: tuple[str, ...] = ()
    maths: str = ""
    notes: str = ""
    takes: tuple[str, ...] = ()

    def cells(self) -> list[str]:
        """The row of the CSV, its columns to fill in blank."""
        return [self.what, self.item, self.title, self.clause, self.ours, self.unit_kind, self.status, self.expression,
                ", ".join(self.used_by), *("" for _ in FILLED)]


@dataclass
class Uses:
    """Which packages used what. takes: formula -> keys of the entries it took directly; notes: what was skipped."""

    packages: int = 0
    values: dict[str, list[str]] = field(default_factory=dict)
    formulas: dict[str, list[str]] = field(default_factory=dict)
    takes: dict[str, list[str]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


def write_worksheet(edition: str, out: Path, *, packages: Path | None = None,
                    overlay: Path | None = None) -> list[str]:
    """Write the worksheet of a document as HTML, PDF and CSV into the folder `out`; lines for the user.

    packages: a folder of packages, to say which of them used what. overlay: items that it marks are left out.
    Raises UnknownItem for a document that we do not have, PackageError rather than overwrite a file, CaseFaults for
    a faulty overlay.
    """
    from wrapcalc.package.build import prepare_output
    from wrapcalc.package.pdf import html_to_pdf
    marked = tables.load(overlay)
    listed(edition)
    uses = used_in(packages) if packages else Uses()
    found = rows(edition, marked, uses)
    if not found:
        raise PackageError(f"{edition}: {overlay} marks every value and formula of it; nothing is left to list")
    names = [out / f"{stem(edition)}.{kind}" for kind in ("html", "pdf", "csv")]
    prepare_output(out)
    if there := [p.name for p in names if p.exists()]:
        raise PackageError(f"{out}: {', '.join(there)} {'is' if len(there) == 1 else 'are'} there already, perhaps "
                           "filled in; name another --out folder, or move it away: nothing is overwritten")
    html = worksheet_html(edition, found, uses, looked=packages is not None, alike=_alike(found))
    try:
        with tempfile.TemporaryDirectory(prefix=".worksheet-", dir=out) as aside:
            made = [Path(aside) / p.name for p in names]
            made[0].write_text(html, encoding="utf-8", newline="\n")
            html_to_pdf(html, made[1])
            # With a byte order mark: without one Excel takes UTF-8 for the code page of the machine.
            made[2].write_text(csv_text(found), encoding="utf-8-sig", newline="")
            for made_here, name in zip(made, names, strict=True):
                os.rename(made_here, name)
    except OSError as e:
        raise PackageError(f"{out}: cannot write here ({e.strerror or e}); choose another --out folder") from None
    formulas = sum(r.what == "formula" for r in found)
    return [*(f"note: {n}" for n in uses.notes), *(f"wrote {p}" for p in names),
            f"{counted(len(found) - formulas, 'value')} and {counted(formulas, 'formula')} of {edition} to compare "
            "with a licensed copy",
            f"next: fill in {names[2]}, then: wrapcalc worksheet --read {names[2]} --overlay verified.toml"]


def counted(n: int, what: str) -> str:
    """'1 value', '2 values'."""
    return f"{n} {what}{'' if n == 1 else 's'}"


def stem(edition: str) -> str:
    """Name of the files of a worksheet, without its ending."""
    return "worksheet-" + re.sub(r"[^A-Za-z0-9.]+", "-", edition).strip("-")


def listed(edition: str) -> None:
    """Raises UnknownItem when we have no value and no formula of this document, with the nearest that we have."""
    have = {e.document for e in tables.shipped().values()} | {f.source.id for f in registry().values()}
    if edition not in have:
        near = units.close(edition, have)
        raise UnknownItem("document with values or formulas of ours", edition, [near or ", ".join(sorted(have))])


def rows(edition: str, marked: Tables, uses: Uses) -> list[Row]:
    """Every value and formula of the document that is not verified, values first, each in order of its clause."""
    values = [_value_row(e, uses) for e in marked.entries.values() if e.document == edition and e.mark is None]
    formulas = [_formula_row(f, uses, marked) for f in registry().values()
                if f.source.id == edition and marked.formula_status(f)[1] is None]
    return [*sorted(values, key=_by_clause), *sorted(formulas, key=_by_clause)]


def _alike(found: Sequence[Row]) -> list[Row]:
    """The formulas of another edition that must be at hand to say whether the equations of this one are alike."""
    if not any(r.what == "value" and r.item.endswith(f"/{EQUATIONS}") for r in found):
        return []
    return [r for r in rows(EQUATIONS_OF, tables.load(), Uses()) if r.what == "formula"]


def _by_clause(row: Row) -> list[tuple[int, str]]:
    """7.5.9 before 7.5.10."""
    return [(int(p), "") if p.isdigit() else (-1, p) for p in re.findall(r"\d+|[^\d.]+", row.clause)]


def _value_row(e: Entry, uses: Uses) -> Row:
    kind = units.KINDS[e.kind]
    return Row("value", e.key, e.title, e.clause, FILL_IN if e.waits else e.written,
               f"{e.kind} ({', '.join(kind.units) or kind.note})", e.status,
               used_by=tuple(uses.values.get(e.key, ())))


def _formula_row(f: Formula, uses: Uses, marked: Tables) -> Row:
    kinds = ", ".join(f"{n}: {units.label(u) or 'no unit'}" for n, u in {"result": f.unit, **f.units}.items())
    return Row("formula", f.name, f.title, f.clause, "", kinds, f.status, f.text,
               tuple(uses.formulas.get(f.name, ())), f"{symbol_tex(f.symbol)} = {f.tex()}", f.notes,
               tuple(marked.entries[k].title for k in uses.takes.get(f.name, ()) if k in marked.entries))


# -- which packages used what -------------------------------------------------------------------------------------
def used_in(folder: Path) -> Uses:
    """What the packages below a folder used, from their record.json alone. Raises PackageError for no folder.

    A package that cannot be read is skipped with a note.
    """
    if not folder.is_dir():
        raise PackageError(f"{folder}: there is no such folder; --packages wants a folder of packages")
    out = Uses()
    for path in sorted(folder.rglob("record.json")):
        name = path.parent.relative_to(folder).as_posix()
        name = units.printable(folder.resolve().name if name == "." else name)
        if any(part.startswith(".building-") for part in path.parts):
            continue
        try:
            record = json.loads(read_bytes(path, shown_name(path), most=_MOST_BYTES))
            values = [e["key"] for e in record["table_entries"]]
            formulas = [f["name"] for f in record["formulas"]]
            takes = [(i["formula"], x["origin"]["ref"]) for i in record["items"] if i["type"] == "step"
                     for x in i["inputs"] if x["origin"]["kind"] == "table"]
        except (CaseFaults, ValueError, RecursionError, KeyError, TypeError):
            out.notes.append(f"{name}: its record.json cannot be read; skipped")
            continue
        out.packages += 1
        for into, names in ((out.values, values), (out.formulas, formulas)):
            for key in dict.fromkeys(names):
                into.setdefault(str(key), []).append(name)
        for formula, key in takes:
            if key not in (known := out.takes.setdefault(str(formula), [])):
                known.append(key)
    if not out.packages:
        out.notes.append(f"{folder}: no package that can be read is below this folder")
    return out


# -- CSV ----------------------------------------------------------------------------------------------------------
def csv_text(found: Sequence[Row]) -> str:
    """The worksheet as CSV (RFC 4180). Cells that a spreadsheet could run are defused with an apostrophe."""
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(COLUMNS)
    writer.writerows([defused(c) for c in row.cells()] for row in found)
    return buffer.getvalue()


def defused(cell: str) -> str:
    """A cell that no spreadsheet runs; `restored` gives back any cell exactly."""
    return "'" + cell if _RUNS.match(cell) else cell


def restored(cell: str) -> str:
    """A cell as it was before `defused`."""
    return cell[1:] if cell[:1] == "'" and _RUNS.match(cell) else cell


# -- HTML ---------------------------------------------------------------------------------------------------------
def worksheet_html(edition: str, found: Sequence[Row], uses: Uses, *, looked: bool,
                   alike: Sequence[Row] = ()) -> str:
    """The worksheet as one page that stands alone, for the screen and for print.

    looked: packages were looked at. alike: formulas of EQUATIONS_OF, printed to be compared with those of the edition.
    """
    from wrapcalc.package.glyphs import share_glyphs
    from wrapcalc.package.report import environment
    html = environment().get_template("worksheet.html").render(
        document=document(edition), version=__version__, counted=counted,
        alike=[_shown(r) for r in alike], alike_of=EQUATIONS_OF,
        values=[_shown(r, n) for n, r in enumerate(found, 2) if r.what == "value"],
        formulas=[_shown(r, n) for n, r in enumerate(found, 2) if r.what == "formula"],
        fill_in=FILL_IN, looked=looked, packages=uses.packages, notes=[_with_glyphs(n) for n in uses.notes],
        csv_name=f"{stem(edition)}.csv")
    return share_glyphs(html)


def _shown(row: Row, number: int = 0) -> dict[str, Any]:
    """A row as it is printed: degrees as a sign, and few of many packages. number: its row in the CSV."""
    from wrapcalc.render.fragments import maths
    beyond = len(row.used_by) - _MOST_NAMED
    return {n: getattr(row, n) for n in ("item", "title", "clause", "unit_kind", "status", "expression", "notes",
                                         "takes")} | {
        "number": number, "ours": row.ours.replace("deg", "°"), "maths": Markup(maths(row.maths)) if row.maths else "",
        "used": [_with_glyphs(n) for n in row.used_by[:_MOST_NAMED]], "beyond": max(beyond, 0)}


def _with_glyphs(name: str) -> str:
    """A name of a folder with what the fonts lack spelled out: it must not stop the printing of the rest."""
    if max(map(ord, name), default=0) < 256:
        return name
    from wrapcalc.package.pdf import printable_characters
    return "".join(c if ord(c) in printable_characters() else c.encode("unicode_escape").decode() for c in name)

"""The order as tables: one row for each line, and one for each line and site. Quantities have their unit above them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from wrapcalc.campaign.order.order import Order, OrderLine, SiteNeed
from wrapcalc.campaign.report.site_record import column_unit, in_display, joined, shown
from wrapcalc.campaign.tables.tables import NUMBER, TEXT, Column, batch, open_table

Row = dict[str, Any]
NOT_PLANNED = "not planned"


def order_columns(display: str) -> tuple[Column, ...]:
    """Columns of the order, in the units of `display`."""
    length, mass, area = (column_unit(u, display) for u in ("mm", "kg", "m**2"))
    return (Column("kind", TEXT), Column("item", TEXT), Column("system", TEXT), Column("width", NUMBER, length),
            Column("outside diameter", NUMBER, length), Column("pack", NUMBER, mass),
            Column("needed mass", NUMBER, mass), Column("needed area", NUMBER, area),
            Column("needed pieces", NUMBER), Column("spares", NUMBER),
            Column("spares if each site had its own", NUMBER), Column("from stock", NUMBER),
            Column("lacking without spares", NUMBER), Column("to get", NUMBER), Column("to get mass", NUMBER, mass),
            Column("to get area", NUMBER, area), Column("needed by", TEXT), Column("batches", TEXT),
            Column("sites", TEXT), Column("notes", TEXT))


def order_rows(order: Order) -> list[Row]:
    """One row for each line, by the names of `order_columns`. What is counted (units, packs, bands, consumables) is in
    pieces; what is weighed or measured has its unit in the heading."""
    return [_line(line, order.display) for line in order.lines]


def site_columns(display: str) -> tuple[Column, ...]:
    """Columns of what each site needs."""
    length, mass, area = (column_unit(u, display) for u in ("mm", "kg", "m**2"))
    return (Column("site", TEXT), Column("package", TEXT), Column("planned", TEXT), Column("in date until", TEXT),
            Column("kind", TEXT), Column("item", TEXT), Column("width", NUMBER, length),
            Column("outside diameter", NUMBER, length), Column("needed mass", NUMBER, mass),
            Column("needed area", NUMBER, area), Column("needed pieces", NUMBER), Column("from stock", NUMBER),
            Column("lacking", NUMBER), Column("batches", TEXT), Column("record", TEXT))


def site_rows(order: Order) -> list[Row]:
    """One row for each line and site."""
    return [_site(line, s, order.display) for line in order.lines for s in line.sites]


def _number(x: float | None) -> float:
    return float("nan") if x is None else float(x)


def _amounts(line: OrderLine, quantity: float | None, pieces: int | None, display: str) -> Row:
    """Mass, area and pieces of a quantity of the unit of the line; consumables are counted in pieces."""
    return {"needed mass": in_display(quantity if line.unit == "kg" else None, "kg", display),
            "needed area": in_display(quantity if line.unit == "m**2" else None, "m**2", display),
            "needed pieces": _number(quantity if line.unit == "" else pieces)}


def _sizes(line: OrderLine, display: str) -> Row:
    return {"width": in_display(line.key.width, "mm", display),
            "outside diameter": in_display(line.key.diameter, "mm", display)}


def _line(line: OrderLine, display: str) -> Row:
    k, rest = line.key, line.to_get_quantity
    taken: dict[str, int] = {}
    for t in (*(t for s in line.sites for t in s.taken), *line.spares_taken):
        taken[t.batch] = taken.get(t.batch, 0) + t.pieces
    return {"kind": k.kind, "item": line.label(display), "system": k.system, "pack": in_display(k.pack, "kg", display),
            **_sizes(line, display), **_amounts(line, line.quantity, line.pieces, display),
            "spares": _number(line.spares), "spares if each site had its own": _number(line.spares_apart),
            "from stock": _number(line.from_stock), "lacking without spares": _number(line.lacking),
            "to get": _number(rest if line.unit == "" and line.to_get is None else line.to_get),
            "to get mass": in_display(rest if line.unit == "kg" else None, "kg", display),
            "to get area": in_display(rest if line.unit == "m**2" else None, "m**2", display),
            "needed by": _needed_by(line),
            "batches": joined([f"{n} of batch {b}" for b, n in taken.items()]),
            "sites": joined([site_words(line, s, display) for s in line.sites]), "notes": joined(line.notes)}


def _needed_by(line: OrderLine) -> str:
    if line.needed_by is not None:
        return line.needed_by.isoformat()
    return NOT_PLANNED if line.to_get or line.to_get_quantity else ""


def site_words(line: OrderLine, s: SiteNeed, display: str) -> str:
    """What one site needs and where its package says so: "HB-07: 2.536 kg, 2 packs (T3, T4)"."""
    amount = shown(s.quantity, line.unit, display) or "not stated"
    if s.packs is not None:
        amount += f", {s.packs} pack{'' if s.packs == 1 else 's'}"
    return f"{s.case_id}: {amount}" + (f" ({', '.join(s.refs)})" if s.refs else "")


def _site(line: OrderLine, s: SiteNeed, display: str) -> Row:
    return {"site": s.case_id, "package": s.package, "planned": s.planned.isoformat() if s.planned else "",
            "in date until": s.needed_until.isoformat() if s.needed_until else "", "kind": line.key.kind,
            "item": line.label(display), **_sizes(line, display), **_amounts(line, s.quantity, s.pieces, display),
            "from stock": _number(None if s.lacking is None else sum(t.pieces for t in s.taken)),
            "lacking": _number(s.lacking), "batches": joined([f"{t.pieces} of batch {t.batch}" for t in s.taken]),
            "record": ", ".join(s.refs)}


def write_rows(path: Path, columns: Sequence[Column], rows: Sequence[Row], format: str = "csv") -> None:
    """A small table as a file. format: csv, xlsx or parquet."""
    block = {c.name: np.array([r[c.name] for r in rows], dtype={TEXT: object, NUMBER: float}.get(c.kind, int))
             for c in columns}
    with open_table(path, columns, format, len(rows)) as table:
        if rows:
            table.write(batch(columns, block))


def write_order(path: Path, order: Order, format: str = "csv") -> None:
    """The order as a file, one row for each line."""
    write_rows(path, order_columns(order.display), order_rows(order), format)


def write_sites(path: Path, order: Order, format: str = "csv") -> None:
    """What each site needs as a file."""
    write_rows(path, site_columns(order.display), site_rows(order), format)

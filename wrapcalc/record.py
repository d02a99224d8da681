"""The record of one run as plain data: the one truth from which every page is made.

Same inputs, same bytes. Nothing in it depends on the time, the machine or the revision of the package. The
layout of the data is versioned by `SCHEMA`; a reader refuses a newer one.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from itertools import groupby
from typing import TYPE_CHECKING, Any

from wrapcalc import __version__, expression, units
from wrapcalc.case.model import GAS, LEAK, LOSSES, PLANT
from wrapcalc.checks import Check
from wrapcalc.fields import Given, lookup, walk
from wrapcalc.formula import Printed, Step, symbol_tex
from wrapcalc.record_assessment import parts
from wrapcalc.record_design import parts as design_parts
from wrapcalc.record_design import routes, wrap_geometry
from wrapcalc.record_site import part as site_part
from wrapcalc.record_site import table_refs
from wrapcalc.recorder import Procedure
from wrapcalc.standards import criteria, pipe_data, tables
from wrapcalc.values import Value

if TYPE_CHECKING:
    from wrapcalc.stages.job import Outcome

SCHEMA = 1
#: Rows and columns of a depth grid that the record keeps; the file itself stands beside it in the package.
_MOST_DRAWN = 200


def to_bytes(record: dict[str, Any]) -> bytes:
    """The record as the bytes of record.json. Raises ValueError for NaN."""
    return (json.dumps(record, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()


def digest(record: dict[str, Any]) -> str:
    """SHA-256 of record.json."""
    return hashlib.sha256(to_bytes(record)).hexdigest()


def build(outcome: Outcome) -> dict[str, Any]:
    """Everything a page, an explanation or a later verification needs."""
    bundle, rec = outcome.bundle, outcome.recorder
    case, system = bundle.case, rec.system
    items = [item_data(i, rec.place_of[i.id], outcome) for i in rec.items]
    used = _used(items)
    for key in table_refs(outcome):
        used["table"].setdefault(key, [])
    return {
        "schema": SCHEMA,
        "tool": {"name": "wrapcalc", "version": __version__},
        "case": {n: getattr(case.case, n) for n in ("id", "title", "line", "joint", "prepared_by")}
        | {"display": case.display, "paper": case.case.paper or "A4"},
        "decision": {"word": outcome.decision.word, "sentence": outcome.decision.sentence,
                     "reasons": list(outcome.decision.reasons), "missing": list(outcome.missing),
                     "interim_limit": value_data(outcome.decision.interim_limit, system),
                     "beside": value_data(outcome.decision.beside, system)},
        "headline": _headline(outcome),
        "inputs": [_input(outcome, dotted, info) for dotted, info in _fields(case)],
        "system": _system(outcome),
        "items": items,
        **parts(outcome, lambda v: value_data(v, system)),
        **design_parts(outcome, lambda v: value_data(v, system)),
        "routes": routes(outcome, lambda v: value_data(v, system)),
        "site": site_part(outcome, lambda v: value_data(v, system)),
        "geometry": _geometry(outcome),
        "order": [{"item": line.item, "quantity": value_data(line.quantity, system),
                   "packs": value_data(line.packs, system), "pack": _pack(outcome, line.pack), "basis": line.basis}
                  for line in outcome.order],
        "assumptions": rec.assumptions,
        "warnings": rec.warnings,
        "table_entries": _entries(outcome, used["table"]),
        "formulas": _formulas(outcome, items),
        "documents": _documents(outcome, items, used["table"]),
        "tables_sha256": _tables_digest(),
        "files": {n: hashlib.sha256(b).hexdigest() for n, b in sorted(bundle.files.items())},
    }


def _tables_digest() -> str:
    """SHA-256 over every shipped table, of factors, of pipe sizes and grades, and of repair criteria."""
    return hashlib.sha256("".join((tables.shipped_digest(), pipe_data.shipped_digest(), criteria.shipped_digest()))
                          .encode()).hexdigest()


def value_data(v: Value | None, system: str, significant: int = 4) -> dict[str, Any] | None:
    """A value for reading and for machines. shown: number and unit; magnitude and unit: what was calculated."""
    if v is None:
        return None
    return {"magnitude": v.magnitude, "unit": v.unit, "shown": v.show(system, significant), "name": v.name,
            "origin": {"kind": v.origin.kind, "ref": v.origin.ref}}


def _pack(outcome: Outcome, pack: Value | None) -> dict[str, Any] | None:
    """A pack as the supplier labels it: crews look for that, not for its conversion."""
    out = value_data(pack, outcome.recorder.system)
    if out is not None and pack is not None and outcome.bundle.system is not None:
        out["shown"] = lookup(outcome.bundle.system, pack.origin.ref.partition("/")[2]).written
    return out


def item_data(item: Step | Procedure | Check, place: tuple[str, str], outcome: Outcome) -> dict[str, Any]:
    system = outcome.recorder.system
    at = {"stage": place[0], "topic": place[1]}
    if isinstance(item, Step):
        return {"type": "step"} | at | _step(item, outcome)
    if isinstance(item, Procedure):
        return {"type": "procedure"} | at | {"id": item.id, "title": item.title, "method": item.method,
                "citation": item.citation, "status": item.status, "struck": item.struck,
                "inputs": [value_data(v, system) | {"name": n} for n, v in item.inputs.items()],  # type: ignore[operator]
                "results": [{"name": n} | value_data(v, system, 5) | {"also": _readable(v, system)}  # type: ignore[operator]
                            for n, v in item.results.items()],
                "details": [list(d) for d in item.details]}
    share = item.utilisation
    return {"type": "check"} | at | {"id": item.id, "title": item.title, "kind": item.kind,
            "verdict": item.verdict, "citation": item.citation, "status": item.status, "sense": item.sense,
            "provided": value_data(item.provided, system), "limit": value_data(item.limit, system), "found": item.found,
            "wanted": item.wanted, "utilisation": share,
            "utilisation_shown": None if share is None else f"{share:.2f}", "note": item.note}


def _step(step: Step, outcome: Outcome) -> dict[str, Any]:
    f, p, system = step.formula, step.printed, outcome.recorder.system
    status, mark = outcome.bundle.tables.formula_status(f)
    typed = {n: float(t) for n, t in p.inputs.items()}
    return {
        "id": step.id, "title": step.title, "notes": f.notes, "formula": f.name, "module": f.module, "line": f.line,
        "citation": f.citation, "status": status, "mark": str(mark) if mark else "", "struck": step.struck,
        "symbol": symbol_tex(f.symbol), "tex": f.tex(), "text": f.text,
        "tex_numbers": numbers_tex(step),
        "tex_conditions": [expression.to_tex(c, lambda n: _leaf(p, n))
                           for c in expression.conditions(f.body, typed)],
        "text_numbers": expression.to_text(expression.taken_branch(f.body, typed), lambda n: _typed(p.inputs[n])),
        "printed": p.result, "printed_unit": p.result_unit, "unit_label": units.label(p.result_unit),
        "tex_result": _with_unit(p.result, p.result_unit)[0], "also": _readable(step.result, system),
        "sensitive": p.sensitive, "unit_bound": f.unit_bound,
        "inputs": [{"symbol": n, "tex": symbol_tex(n), "printed": p.inputs[n], "printed_unit": p.input_units[n],
                    "unit_label": units.label(p.input_units[n]), "name": v.name, "magnitude": v.to(f.units[n]),
                    "unit": f.units[n], "origin": {"kind": v.origin.kind, "ref": v.origin.ref}}
                   for n, v in step.inputs.items()],
        "result": {"magnitude": step.result.magnitude, "unit": step.result.unit},
    }


def numbers_tex(step: Step) -> str:
    """The right-hand side with its numbers and units; of branches, the one that was taken."""
    p, f = step.printed, step.formula
    body = expression.taken_branch(f.body, {n: float(t) for n, t in p.inputs.items()})
    return expression.to_tex(body, lambda n: _leaf(p, n))


def _leaf(p: Printed, name: str) -> tuple[str, int]:
    return _with_unit(p.inputs[name], p.input_units[name])


_UNIT_TEX = {"²": "^{2}", "³": "^{3}", "⁴": "^{4}", "°C": r"^{\circ}\mathrm{C}", "°F": r"^{\circ}\mathrm{F}"}


def _with_unit(number: str, unit: str) -> tuple[str, int]:
    """A printed number with its unit as LaTeX; with a unit it binds like a product."""
    text, binding = expression.number_tex(float(number), number)
    label = units.label(unit)
    if not label:
        return text, binding
    if label.startswith("1/"):
        tex = r"\frac{1}{" + _UNIT_TEX[label[2:]] + "}"
        return rf"{text}\,{tex}", min(binding, 2)
    if label in _UNIT_TEX:
        tex = _UNIT_TEX[label]
    else:
        tex = rf"\mathrm{{{label}}}".replace("·", r" \cdot ")
        for mark in "²³⁴":
            tex = tex.replace(mark + "}", "}" + _UNIT_TEX[mark]).replace(mark, _UNIT_TEX[mark])
    return rf"{text}\,{tex}", min(binding, 2)


def _typed(number: str) -> str:
    return f"({number})" if number.startswith("-") else number


def _readable(v: Value, system: str) -> str:
    """A second form of a result whose coherent unit is too small to read: mm³ also in L."""
    shown_in = units.display_unit(v.unit, system)
    other = units.READABLE.get(shown_in)
    # Below that the second form is no easier to read than the first.
    return "" if other is None or abs(v.to(other)) < 0.05 else units.show(v.to(other), other, significant=4)


def _fields(sheet: Any) -> Iterator[tuple[str, Any]]:
    """Every field of a case or a system sheet in its order; of a list of tables, row by row."""
    for table, group in groupby(walk(type(sheet)), key=lambda f: f[0].partition(".")[0]):
        fields, rows = list(group), getattr(sheet, table)
        if table == "schema_version":
            continue
        if isinstance(rows, tuple):
            keys = [(name.partition(".")[2], info) for name, info in fields]
            yield from ((f"{table}.{i}.{key}", info) for i in range(len(rows)) for key, info in keys)
        else:
            yield from fields


def _input(outcome: Outcome, name: str, info: Any) -> dict[str, Any]:
    given = lookup(outcome.bundle.case, name)
    extra = info.json_schema_extra
    out = {"field": name, "question": info.description, "need": extra["need"], "answered": given is not None,
           "applies": _applies(outcome, extra["need"]),
           "written": "", "shown": "", "source": "", "source_kind": "", "magnitude": None, "unit": ""}
    if isinstance(given, Given):
        kind = units.KINDS[given.kind]
        out |= {"written": given.written, "source": given.source, "source_kind": given.source_kind,
                "shown": units.show(given.base, kind.base, system=outcome.recorder.system, significant=5),
                "magnitude": given.base, "unit": kind.base}
        if kind.name in ("percentage", "strain"):
            out["shown"] = given.written
        if kind.name == "gauge pressure":
            out["shown"] += " gauge"
    elif given is not None:
        out |= {"written": str(given), "shown": str(given), "source": getattr(given, "source", ""),
                "source_kind": getattr(given, "source_kind", "")}
    return out


def _applies(outcome: Outcome, need: str) -> bool:
    """Whether the question arises at all: class of a liquid line, primer of a system without one, and so on."""
    case, sheet = outcome.bundle.case, outcome.bundle.system
    if need == "gas":
        return case.service.service == GAS
    if need in ("plant", "plant strength"):
        return case.service.service == PLANT and (need == "plant" or case.defect.kind in LOSSES)
    if need == "leak":
        return case.defect.kind == LEAK and case.service.service == PLANT
    if need == "loss":
        return case.defect.kind in LOSSES
    if need in ("dent", "gouge", "crack"):
        return case.defect.kind == need
    if sheet is None:
        return True
    return {"lay-up": not sheet.is_sleeve, "primer": sheet.primer.used == "yes"}.get(need, True)


def _system(outcome: Outcome) -> dict[str, Any] | None:
    sheet = outcome.bundle.system
    if sheet is None or (outcome.design is None and outcome.dig is None):
        return None
    rows = []
    for dotted, info in _fields(sheet):
        given = lookup(sheet, dotted)
        if dotted.startswith("evidence") or given in (None, ()):
            continue
        shown = ", ".join(_of_sheet(g, outcome) for g in (given if isinstance(given, tuple) else (given,)))
        rows.append({"field": dotted, "question": info.description, "shown": shown})
    return {"id": sheet.system.id, "name": sheet.system.name, "type": sheet.system.system_type,
            "sheet": sheet.system.sheet, "rows": rows,
            "evidence": [{"covers": e.covers, "reference": e.reference} for e in sheet.evidence]}


def _of_sheet(given: Any, outcome: Outcome) -> str:
    """A field of the system sheet for reading; in a US package, what the sheet itself says stands behind it."""
    if not isinstance(given, Given):
        return str(given)
    kind = units.KINDS[given.kind]
    if kind.name in ("duration", "percentage") or given.unit in ("minute", "second", "day", "um"):
        return given.written
    us = outcome.recorder.system if kind.base in units.US_TWIN else "SI"
    shown = units.show(given.base, kind.base, system=us, significant=5 if us == "SI" else 4)
    if us == "US" and kind.units and given.unit != units.US_TWIN[kind.base] and shown != given.written:
        shown += f" (sheet: {given.written})"
    return shown


def _headline(outcome: Outcome) -> list[dict[str, Any]]:
    """The few numbers of the cover, each with the step it comes from."""
    a, d, system = outcome.assessment, outcome.design, outcome.recorder.system
    until = {"wrap": "Interim pressure limit, until the repair is accepted",
             "reduce pressure and monitor": "Interim pressure limit, until the MAOP is lowered"}.get(
                 outcome.decision.word, "Interim pressure limit, until it is repaired")
    rows: list[tuple[str, Value | None]] = []
    if a is not None:
        rows += [("Depth with allowance over wall", a.greatest_share), ("Governing safe pressure", a.governing),
                 ("Repair factor, MAOP over governing safe pressure", a.repair_factor)]
    if outcome.life is not None:
        without = " without a repair" if outcome.decision.word in ("wrap", "other repair needed") else ""
        rows.append((f"Remaining life{without}", outcome.life.life))
        if not without:
            rows.append(("Time to the next look at most, from the measurement", outcome.life.interval))
    if outcome.chance is not None:
        rows += [("Probability that depth exceeds its limit now", outcome.chance.by_depth),
                 ("Probability that the failure pressure is below its target now", outcome.chance.by_pressure)]
    if outcome.decision.interim_limit is not None:
        rows.append((until, outcome.decision.interim_limit))
    if outcome.decision.beside is not None:
        rows.append(("Pressure while people are beside the pipe", outcome.decision.beside))
    if d is not None and outcome.order:
        rows += [("Repair design pressure", d.pressure), ("Layers", d.layers), ("Wrap thickness", d.wrap_thickness)]
        for r in d.extent.repairs:
            of = f", repair {r.label}" if len(d.extent.repairs) > 1 else ""
            rows += [("Full-thickness length required" + of, r.full), ("Overall length" + of, r.overall)]
    return [{"label": label, "value": _legible(label, value_data(v, system))} for label, v in rows if v is not None]


def _legible(label: str, value: dict[str, Any] | None) -> dict[str, Any] | None:
    """A headline number as it means something: no probability of 10⁻²⁶, no life beyond what is looked at."""
    if value and label.startswith("Probability") and value["magnitude"] < 1e-6:
        value["shown"] = "below 10⁻⁶"
    if value and label.startswith("Remaining life") and value["magnitude"] > 60:
        value["shown"] = "more than 60 y"
    return value


def _limit_share(outcome: Outcome) -> float | None:
    """Depth limit over the wall used: the limit holds on the thinner of nominal and used wall."""
    a = outcome.assessment
    if a is None:
        return None
    thin = min(a.wall.magnitude, outcome.bundle.case.get("pipe.nominal_wall").base)
    return units.steady(a.depth_check.limit.to("") * thin / a.wall.magnitude)


def _geometry(outcome: Outcome) -> dict[str, Any]:
    """What the drawings need, in mm: defect as measured, grid, units, lengths."""
    case, a, d, grid = outcome.bundle.case, outcome.assessment, outcome.design, outcome.bundle.grid
    out: dict[str, Any] = {"outside_diameter": _base(case, "pipe.outside_diameter"),
                           "defect_length": a.extent.magnitude if a else _base(case, "defect.length"),
                           "defect_width": _base(case, "defect.width"), "defect_clock": case.defect.clock,
                           "seam_clock": case.pipe.seam_clock, "clear_upstream": _base(case, "defect.clear_upstream"),
                           "clear_downstream": _base(case, "defect.clear_downstream"),
                           "wall": a.wall.magnitude if a else None,
                           "depth_limit_share": _limit_share(outcome),
                           "grid": None, "wrap": None}
    if grid is not None:
        shown, notes = grid.thinned(_MOST_DRAWN, _MOST_DRAWN), list(grid.notes)
        row, column = shown.deepest_at
        if shown is not grid:
            notes.append(f"Drawn and recorded as {len(shown.around)} × {len(shown.axial)} readings, each the "
                         f"greatest of its block; the calculation took all {len(grid.around)} × {len(grid.axial)} of "
                         "the grid.")
        out["grid"] = {**{k: getattr(shown, k).tolist() for k in ("axial", "around", "depth", "profile")},
                       "deepest": [float(shown.axial[column]), float(shown.around[row])], "notes": notes,
                       "file": case.defect.grid}
    if d is not None and d.extent is not None and all(r.overall is not None for r in d.extent.repairs):
        out["wrap"] = wrap_geometry(outcome.bundle, d)
    return out


def _base(case: Any, field: str) -> float | None:
    given = lookup(case, field)
    return None if given is None else given.base


def _origins(item: dict[str, Any]) -> list[dict[str, str]]:
    if item["type"] == "check":
        return [item[k]["origin"] for k in ("provided", "limit") if item[k]]
    return [i["origin"] for i in item["inputs"]]


def _used(items: list[dict[str, Any]]) -> dict[str, dict[str, list[str]]]:
    """origin kind -> reference -> items that use it."""
    out: dict[str, dict[str, list[str]]] = {}
    for item in items:
        for o in _origins(item):
            refs = out.setdefault(o["kind"], {}).setdefault(o["ref"], [])
            if item["id"] not in refs:
                refs.append(item["id"])
    out.setdefault("table", {})
    return out


def _entries(outcome: Outcome, used: dict[str, list[str]]) -> list[dict[str, Any]]:
    out = []
    for key, ids in used.items():
        e = outcome.bundle.tables.entries[key]
        out.append({"key": key, "title": e.title, "written": e.written.replace("deg", "°"), "citation": e.citation,
                    "status": e.status, "mark": str(e.mark) if e.mark else "", "used_in": ids})
    return out


def _formulas(outcome: Outcome, items: list[dict[str, Any]]) -> list[dict[str, Any]]:
    out: dict[str, dict[str, Any]] = {}
    titles = {s.formula.name: s.formula.title for s in outcome.recorder.items if isinstance(s, Step)}
    for i in items:
        if i["type"] == "step":
            row = out.setdefault(i["formula"], {"name": i["formula"], "title": titles[i["formula"]],
                                                "citation": i["citation"],
                                                "status": i["status"], "mark": i["mark"], "text": i["text"],
                                                "used_in": []})
            row["used_in"].append(i["id"])
    return list(out.values())


def _documents(outcome: Outcome, items: list[dict[str, Any]], used: dict[str, list[str]]) -> list[dict[str, str]]:
    from wrapcalc.standards.documents import DOCUMENTS
    cited = {i["citation"] for i in items} | {k.partition("/")[0] for k in used}
    return [{"id": d.id, "title": d.title, "note": d.note} for d in DOCUMENTS.values()
            if any(c == d.id or c.startswith(d.id + ",") for c in cited)]



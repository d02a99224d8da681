"""From a printed number back to the fields it rests on, as text for a terminal."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from typing import Any

from wrapcalc import record as records
from wrapcalc.errors import PackageError, UnknownItem, nearest
from wrapcalc.package.digests import read_manifest


def read_record(folder: Path) -> dict[str, Any]:
    """The record of a package. Raises PackageError when it is missing, damaged or of a newer schema."""
    read_manifest(folder)
    path = folder / "record.json"
    try:
        record = json.loads(path.read_bytes())
    except FileNotFoundError:
        raise PackageError(f"{path}: missing; the package was damaged") from None
    except (ValueError, RecursionError):
        raise PackageError(f"{path}: cannot be read; the package was damaged") from None
    if not isinstance(record, dict) or record.get("schema") != records.SCHEMA:
        raise PackageError(f"{path}: schema {record.get('schema')!r} is not the {records.SCHEMA} that this version "
                           "reads; use the version that wrote it" if isinstance(record, dict) else
                           f"{path}: not a record")
    return record


def explain(record: dict[str, Any], wanted: str, guards: dict[str, list[str]]) -> str:
    """The step, its formula and sources, and everything below it down to the case. Raises UnknownItem."""
    items = {i["id"]: i for i in record["items"]}
    key = next((k for k in items if k.lower() == wanted.strip().lower()), None)
    if key is None:
        near = nearest(wanted.strip().upper(), items)
        raise UnknownItem("step, procedure or check", wanted, items if near else [_ranges(list(items))])
    lines: list[str] = []
    _show(record, items, key, 0, lines, set(), guards)
    return "\n".join(lines)


def _ranges(ids: list[str]) -> str:
    """A1 to A37, C1 to C38, and so on."""
    last: dict[str, int] = {}
    for key in ids:
        last[key[0]] = max(last.get(key[0], 0), int(key[1:]))
    return ", ".join(f"{letter}1 to {letter}{n}" for letter, n in last.items())


def _show(record, items, key: str, depth: int, lines: list[str], seen: set[str], guards) -> None:
    pad = "    " * depth
    item = items[key]
    if key in seen:
        lines.append(f"{pad}{key}  {item['title']} (shown above)")
        return
    seen.add(key)
    status = item["status"] + ("" if item["status"] in ("verified", "seen", "derived", "system sheet") else
                               ", unverified" if item["status"] == "from memory" else "")
    if item["type"] == "step":
        _step(item, pad, status, lines, guards)
    elif item["type"] == "procedure":
        lines.append(f"{pad}{key}  {item['title']} [{item['citation']}; {status}]")
        lines.append(f"{pad}    method: {item['method']}")
        lines += [f"{pad}    {r['name']} = {r['shown']}" for r in item["results"]]
        lines += [f"{pad}    {a}: {b}" for a, b in item["details"]]
    else:
        provided, limit = item["provided"], item["limit"]
        what = (f"{provided['shown']} {item['sense']} {limit['shown']}" if provided and limit else
                f"found {item['found']}, wanted {item['wanted']}")
        share = f", utilisation {item['utilisation_shown']}" if item["utilisation_shown"] else ""
        lines.append(f"{pad}{key}  {item['title']}: {what}: {item['verdict']}{share} [{item['citation']}; {status}]")
    covering = [c for c in record["items"] if c["type"] == "check" and c["id"] != key
                and any(c[s] and c[s]["origin"]["ref"].partition("/")[0] == key for s in ("provided", "limit"))]
    lines += [f"{pad}    covered by {c['id']} {c['title']}: {c['verdict']}" for c in covering]
    for source in _inputs(item):
        _origin(record, items, source, depth + 1, lines, seen, guards)


def _step(item, pad: str, status: str, lines: list[str], guards) -> None:
    unit = f" {item['unit_label']}" if item["unit_label"] else ""
    also = f" ({item['also']})" if item["also"] else ""
    lines.append(f"{pad}{item['id']}  {item['title']} = {item['printed']}{unit}{also}")
    if item["struck"]:
        lines.append(f"{pad}    STRUCK, nothing is derived from it: {item['struck']}")
    lines.append(f"{pad}    = {item['text']}")
    lines.append(f"{pad}    = {item['text_numbers']}   (values in "
                 + ", ".join(f"{i['symbol']}: {i['unit_label'] or 'no unit'}" for i in item["inputs"]) + ")")
    lines.append(f"{pad}    {item['citation']}; {status}" + (f"; {item['mark']}" if item["mark"] else ""))
    lines.append(f"{pad}    {item['module']}, line {item['line']}: {item['formula']}")
    found = guards.get(item["formula"], [])
    if found:
        counts = Counter(g.partition(":")[0] for g in found)
        first = next((g for g in found if not g.startswith("regression")), found[0])
        lines.append(f"{pad}    guarded by " + ", ".join(f"{n} {kind}" for kind, n in counts.items()) + f": {first}"
                     + (" and others" if len(found) > 1 else ""))


def _inputs(item) -> list[dict[str, Any]]:
    if item["type"] == "check":
        return [{"name": item[s]["name"], "shown": item[s]["shown"], "origin": item[s]["origin"]}
                for s in ("provided", "limit") if item[s]]
    if item["type"] == "procedure":
        return item["inputs"]
    return [{"name": f"{i['symbol']}: {i['name']}", "origin": i["origin"],
             "shown": f"{i['printed']} {i['unit_label']}".strip()} for i in item["inputs"]]


def _origin(record, items, source: dict[str, Any], depth: int, lines: list[str], seen: set[str], guards) -> None:
    pad, kind, ref = "    " * depth, source["origin"]["kind"], source["origin"]["ref"]
    if kind in ("step", "procedure"):
        _show(record, items, ref.partition("/")[0], depth, lines, seen, guards)
        return
    if kind == "case":
        row = next(i for i in record["inputs"] if i["field"] == ref)
        told = ", ".join(t for t in (row["source_kind"], row["source"]) if t) or "no source stated"
        lines.append(f"{pad}{source['name']} = {row['written']}   case.toml: {ref}   ({told})")
    elif kind == "table":
        row = next(e for e in record["table_entries"] if e["key"] == ref)
        mark = f"; {row['mark']}" if row["mark"] else "" if row["status"] != "from memory" else ", unverified"
        lines.append(f"{pad}{source['name']} = {row['written']}   {row['citation']}   ({row['status']}{mark})")
    else:
        lines.append(f"{pad}{source['name']} = {source['shown']}   system sheet: {ref}")

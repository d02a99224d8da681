"""What differs between two records of one case: inputs first, then files, then results."""

from __future__ import annotations

from typing import Any


def changes(before: dict[str, Any], after: dict[str, Any]) -> list[dict[str, str]]:
    """Rows of {what, before, after}, in the order of the record; empty when nothing that is printed differs."""
    rows: list[dict[str, str]] = []

    def add(what: str, a: object, b: object) -> None:
        if a != b:
            rows.append({"what": what, "before": str(a), "after": str(b)})

    add("tool version", before["tool"]["version"], after["tool"]["version"])
    add("case", before["case"]["title"] or "", after["case"]["title"] or "")
    old, new = ({i["field"]: _stated(i) for i in r["inputs"]} for r in (before, after))
    for name in dict.fromkeys([*old, *new]):
        add(f"input {name}", old.get(name, "(none)"), new.get(name, "(none)"))
    for name in dict.fromkeys([*before["files"], *after["files"]]):
        if name != "case.toml":
            add(f"file {name}", before["files"].get(name, "(none)")[:12], after["files"].get(name, "(none)")[:12])
    add("shipped tables", before["tables_sha256"][:12], after["tables_sha256"][:12])
    old, new = ({e["key"]: f"{e['written']} ({e['status']})" for e in r["table_entries"]} for r in (before, after))
    for key in dict.fromkeys([*old, *new]):
        add(f"value {key}", old.get(key, "(not used)"), new.get(key, "(not used)"))
    add("decision", before["decision"]["word"], after["decision"]["word"])
    old, new = ({h["label"]: h["value"]["shown"] for h in r["headline"]} for r in (before, after))
    for label in dict.fromkeys([*old, *new]):
        add(label, old.get(label, "(none)"), new.get(label, "(none)"))
    old, new = (_verdicts(r) for r in (before, after))
    for label in dict.fromkeys([*old, *new]):
        add(f"check {label}", old.get(label, "(none)"), new.get(label, "(none)"))
    return rows


def _stated(row: dict[str, Any]) -> str:
    if not row["answered"]:
        return "(unanswered)"
    source = ", ".join(t for t in (row["source_kind"], row["source"]) if t)
    return row["written"] + (f" [{source}]" if source else "")


def _verdicts(record: dict[str, Any]) -> dict[str, str]:
    out: dict[str, str] = {}
    for i in record["items"]:
        if i["type"] == "check":
            limit = i["limit"]["shown"] if i["limit"] else i["wanted"]
            out[f"{i['title']} ({i['sense']} {limit})".replace("( ", "(")] = i["verdict"]
    return out

"""The blank as-found sheet of one package: every question, with what the package supposes and where it ends."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from wrapcalc import units
from wrapcalc.case import Bundle
from wrapcalc.case.as_found import DIGEST_SIGNS, AsFound
from wrapcalc.case.as_found_case import FIELDS
from wrapcalc.case.model import LEAK
from wrapcalc.fields import Given, choices, walk
from wrapcalc.stages.wrap.chain import DEPTH, LENGTH, OPENING, WALL, WIDTH

_HEAD = """\
# What was found in the ditch, for package {name}. Fill it in on site. A blank is "not measured": then nobody starts.
# Quantities are a number and a unit in quotation marks, with a decimal point: "8.2 mm". Clocks face downstream.
# Then: wrapcalc as-found {name} as_found.toml
"""
_BOX = {"defect.depth": DEPTH, "defect.length": LENGTH, "defect.width": WIDTH, "defect.leak_size": OPENING,
        "pipe.sound_wall": WALL}
_MORE = {"joint.length": "location.joint_length", "pipe.outside_diameter": "pipe.outside_diameter"}


def blank_form(record: dict[str, Any], bundle: Bundle, *, revision: int, digest: str) -> str:
    """as-found-form.toml of a package: package and digest (of the record) filled in, every other answer blank.

    Behind each question stands what the package supposes ("issued"), and the stop rule of the crew where there is one.
    """
    name = f"{record['case']['id']}-r{revision}"
    known = {"as_found.package": name, "as_found.digest": digest[:DIGEST_SIGNS]}
    out, table = [_HEAD.format(name=name).rstrip()], None
    for field, info in walk(AsFound):
        section, _, key = field.partition(".")
        if section == "neighbour":
            if table != section:
                out += _neighbours(bundle)
            table = section
            continue
        if _not_asked(field, bundle):
            continue
        if section != table:
            table = section
            out.append(f"\n[{section}]")
        value = "[]" if key == "sound_wall" else json.dumps(known.get(field, ""), ensure_ascii=False)
        line = f"{key} = {value}"
        out.append(f"{line:<28}# {'; '.join(_words(field, info, record, bundle))}")
    return "\n".join(out) + "\n"


def _not_asked(field: str, bundle: Bundle) -> bool:
    leak = bundle.case.defect.kind == LEAK
    return field == "defect.leak_size" and not leak


def _words(field: str, info: Any, record: dict[str, Any], bundle: Bundle) -> Iterator[str]:
    words, issued, filled = choices(info), _issued(field, bundle), field in ("as_found.package", "as_found.digest")
    yield info.description
    if words:
        yield "one of: " + ", ".join(f'"{w}"' for w in words)
    elif not issued and not filled:  # beside an issued value an example would be taken for one
        yield f"such as {info.json_schema_extra['example']}"
    if issued:
        yield f"issued: {issued}"
    side = next((s for s in (record["bears"] or {"box": []})["box"] if s["input"] == _BOX.get(field)), None)
    if side is not None:
        yield f"stop rule: {side['bound']} {side['edge']['shown']}"
    if field in ("lamination.scanned_from", "lamination.scanned_to") and (ends := _ends(record, bundle)):
        yield (f"before {ends[0]}" if field.endswith("from") else f"beyond {ends[1]}") + ", the end of the repair"
    if field == "service.pressure_now" and record["decision"]["beside"]:
        yield f"while people are beside it at most {record['decision']['beside']['shown']} gauge"


def _issued(field: str, bundle: Bundle) -> str:
    of_case = next((c for c, sheet in FIELDS.items() if sheet == field and c != "features.crack"), _MORE.get(field))
    given = bundle.case.get(of_case) if of_case else None
    return given.written if isinstance(given, Given) else str(given or "").replace("\n", " ")


def _ends(record: dict[str, Any], bundle: Bundle) -> tuple[str, str] | None:
    """Ends of the repair from the upstream girth weld."""
    wrap, edge, length = record["geometry"]["wrap"], bundle.case.get("location.from_upstream_weld"), bundle.case.get(
        "defect.length")
    if wrap is None or edge is None or length is None:
        return None
    middle = edge.base + length.base / 2
    at = (min(r["middle"] - r["overall"] / 2 for r in wrap["repairs"]),
          max(r["middle"] + r["overall"] / 2 for r in wrap["repairs"]))
    low, high = (units.show((middle + x) / 1000, "m", system=bundle.case.display) for x in at)
    return low, high


def _neighbours(bundle: Bundle) -> list[str]:
    """A row for each joint that the listing has, outward; without a listing, one on each side."""
    out = ["\n# Joints beside it, outward from the joint with the defect: the nearest on each side at least."]
    rows = [(str(j.side), str(j.number or ""), j.length.written if j.length else "", str(j.seam_clock or ""))
            for j in bundle.case.joint] or [("upstream", "", "", ""), ("downstream", "", "", "")]
    for side, number, length, seam in rows:
        out += ["[[neighbour]]", f'side = "{side}"', f"number = {json.dumps(number, ensure_ascii=False)}",
                _line("length", "Its length, weld to weld", length),
                _line("seam_clock", "Clock position of its seam", seam)]
    return out


def _line(key: str, question: str, issued: str) -> str:
    return f'{key + " = " + chr(34) * 2:<28}# {question}' + (f"; listed: {issued}" if issued else "")

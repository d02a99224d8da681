"""The dig sheet: two pages for the people in the ditch, from the record alone, with blanks for what they find."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from markupsafe import Markup

from wrapcalc.package.pdf import page_count
from wrapcalc.package.report import IDENTITIES, WARNING, Approval, environment
from wrapcalc.render.display import Shown, hours
from wrapcalc.render.figures._joints import MOST, joint_strip

#: What the sheet says of the pipe: label, field of the case.
_FACTS = (("Line", "case.line"), ("Section", "location.section"), ("Diameter", "pipe.outside_diameter"),
          ("Nominal wall", "pipe.nominal_wall"), ("Steel", "pipe.grade"), ("Seam", "pipe.joint_type"),
          ("Product", "service.product"), ("Most allowed", "service.maop"))
#: Rows of the place that take the whole width; whom to call stands where it is needed.
_LONG, _CALL = ("Clock", "Reference point", "Latitude, longitude"), "Call"
#: Lines of needs and cautions beside which the sketch has its full height.
_LINES = 7
PAGES = 2
#: Heights of a row to write in, mm: the first that holds on two pages is taken; with the last all lines stand closer.
ROWS = (7.4, 6.6, 6.0, 5.2)


def dig_sheet_html(record: Mapping[str, Any], *, revision: int, digest: str, approval: Approval | None = None
                   ) -> str:
    """The dig sheet of a record as one HTML page that stands alone; `html_to_pdf` makes two pages of it.

    The record has its dig in record["site"]["dig"]. approval: names and date in place of the warning. digest: SHA-256
    of the record, shortened at the foot. Rows to write in are as high as two pages allow. The same
    arguments give the same text.
    """
    page, found = environment().get_template("dig_sheet.html"), _found(record, revision, digest, approval)
    for rows in ROWS:
        html = page.render(rows=rows, **found)
        if page_count(html) == PAGES:
            break
    return html


def _found(record: Mapping[str, Any], revision: int, digest: str, approval: Approval | None) -> dict[str, Any]:
    """What the sheet is made of."""
    dig = record["site"]["dig"]
    given = {i["field"]: i["shown"] for i in record["inputs"]}
    facts = [{"label": label, "shown": given.get(field) or "", "note": "", "struck": ""} for label, field in _FACTS]
    if facts[-1]["shown"]:
        facts[-1]["shown"] = facts[-1]["shown"].removesuffix(" gauge") + " (MAOP), gauge"
    return dict(
        r=record,
        dig=dig,
        revision=revision,
        digest=digest,
        approval=approval,
        heading=approval.heading if approval else WARNING,
        identities=IDENTITIES,
        given=given,
        long_rows=[row for row in dig["where"] if row["label"] in _LONG],
        short_rows=_two_by_two([row for row in dig["where"] if row["label"] not in (*_LONG, _CALL)]),
        facts=_two_by_two(facts),
        trench_pairs=_two_by_two(dig["trench"][:-1]),
        alike=dig["alike"],
        joints=_near(dig["joints"]),
        sources="; ".join(dict.fromkeys(row["note"] for row in dig["size"][1:] if row["note"])),
        limits=(record["bears"] or {"box": []})["box"],
        figure=Markup(_figure(record, dig, given)),
        sketch=Markup(_sketch(_sketch_rows(record, dig))),
    )


def _two_by_two(rows: Sequence[Any]) -> list[tuple[Any, Any]]:
    """Rows in pairs, side by side; the last stands alone where they are odd."""
    return [(rows[i], rows[i + 1] if i + 1 < len(rows) else None) for i in range(0, len(rows), 2)]


def _near(joints: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """The joint to be dug and as many neighbours as the drawing shows; an empty line on a side that lists none."""
    at = next(i for i, j in enumerate(joints) if j["side"] == "this joint")
    found = list(joints[max(0, at - MOST):at + MOST + 1])  # fmt: skip
    empty = {"number": "", "length": None, "seam_clock": "", "apart": "not listed"}
    if at == 0:
        found.insert(0, empty | {"side": "upstream"})
    if at == len(joints) - 1:
        found.append(empty | {"side": "downstream"})
    return found


def _figure(record: Mapping[str, Any], dig: Mapping[str, Any], given: Mapping[str, str]) -> str:
    """The strip of joints; nothing where the length of a joint is not stated."""
    if any(j["length"] is None for j in dig["joints"]):
        return ""
    size = Shown(record, "m")

    def there(value: Mapping[str, Any]) -> float:
        return size(value["magnitude"] / (1000 if value["unit"] == "mm" else 1))

    here = dig["distances"][0]
    clock = given.get("defect.clock", "")
    return joint_strip(
        joints=[{"number": j["number"], "length": there(j["length"]), "this": j["side"] == "this joint",
                 "seam": hours(j["seam_clock"]) if j["seam_clock"] else None} for j in dig["joints"]],
        welds=(given.get("location.upstream_weld", ""), given.get("location.downstream_weld", "")),
        defect=None if here["downstream_edge"] is None or here["upstream_edge"] is None
        else (there(here["upstream_edge"]), there(here["downstream_edge"])),
        clock=hours(clock) if clock else None,
        marker="",
        length_unit=size.label,
        title=f"Case {record['case']['id']}: the joint and its neighbours",
    )  # fmt: skip


def _sketch_rows(record: Mapping[str, Any], dig: Mapping[str, Any]) -> int:
    """Rows of the sketch that the second page has room for; none where they would be too few to draw on."""
    lines = sum(math.ceil(len(text) / 82) for text in (*dig["needs"], *dig["alike"][:2], *dig["cautions"]))
    rows = (6 if record["case"]["paper"] == "Letter" else 10) - math.ceil(max(0, lines - _LINES) * 1.25)
    return rows if rows >= 4 else 0


def _sketch(rows: int) -> str:
    """An empty grid to draw on, the clock along its side."""
    if not rows:
        return ""
    foot, right = 2 + 4 * rows, 14 + 6 * 29
    lines = [f"M{x} 2V{foot}" for x in range(14, right + 1, 6)] + [f"M14 {2 + 4 * k}H{right}" for k in range(rows + 1)]
    words = "".join(f'<text x="0" y="{2 + 4 * k + 1.4:g}" font-size="3.9" font-family="DejaVu Sans">{hour}</text>'
                    for k, hour in ((0, "12:00"), (rows / 2, "6:00"), (rows, "12:00")))  # fmt: skip
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {right + 1} {foot + 2}" width="{right + 1}mm" '
            f'height="{foot + 2}mm" role="img" aria-label="Empty grid for a sketch"><path d="{"".join(lines)}" '
            f'fill="none" stroke="#8c8c8c" stroke-width="0.2"/>{words}</svg>')  # fmt: skip

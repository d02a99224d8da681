"""The questions of an as-found sheet, as the package's own form asks them: what is predicted, and where the crew stops.

The form is sealed with the package and was made from its record; what stands behind each question there is shown beside
the field here, so that paper and page never say different things.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from wrapcalc.case.as_found import AsFound
from wrapcalc.fields import choices, walk

#: Headings of the sheet, in the words of those who fill it in.
TITLES = {"as_found": "Who looked, and when", "joint": "The joint with the defect", "neighbour": "Joints beside it",
          "coating": "Old coating", "crack": "Search for cracks", "lamination": "Scan for laminations",
          "pipe": "Pipe", "defect": "Defect", "service": "Pressure and steel now"}
#: Filled in by the package; nobody types them.
FIXED = ("as_found.package", "as_found.digest")
_LEADS = (("issued: ", "predicted"), ("listed: ", "predicted"), ("stop rule: ", "stop"), ("such as ", "example"),
          ("one of: ", ""))


@dataclass(frozen=True)
class Question:
    """One field. predicted: what the package supposes; stop: up to where its design holds; more: what else is said."""

    field: str
    title: str
    label: str
    predicted: str = ""
    stop: str = ""
    more: str = ""
    example: str = ""
    choices: tuple[str, ...] = ()

    @property
    def asked(self) -> str:
        """The question with how its answer is written: a number and its unit, or a word."""
        unit = re.fullmatch(r'\[?"?[-+\d.]+ ([^\s"]+)"?(?:, .*)?', self.predicted or self.example)
        if unit is None or self.choices:
            return self.label
        several = ", readings parted by ;" if self.example.startswith("[") else ""
        return f"{self.label} (with unit: {unit[1]}{several})"

    @property
    def beside(self) -> str:
        """What stands beside the field, in words."""
        return "; ".join(filter(None, (
            f"predicted {self.predicted}" if self.predicted else "",
            f"stop {_beyond(self.stop)}" if self.stop else "", self.more)))


def _beyond(stop: str) -> str:
    for lead, word in (("at most ", "beyond "), ("at least ", "below ")):
        if stop.startswith(lead):
            return word + stop.removeprefix(lead)
    return f"unless {stop}"


def questions(form: Any, sheet: Any) -> list[Question]:
    """Every question, in the order of the sheet. form: the package's form, sheet: the user's, both parsed by tomlkit.

    Joints beside it are those of the sheet; their predictions are found by side and number.
    """
    out: list[Question] = []
    for name, info in walk(AsFound):
        table, _, key = name.partition(".")
        if table == "neighbour":
            if key == "side":  # the first of each row: all of a row stand together
                out += _neighbours(form, sheet)
            continue
        inside = form.get(table, {})
        if key in inside:
            out.append(_question(name, info, TITLES[table], _comment(inside, key)))
        elif key in sheet.get(table, {}):  # not asked for this package, but stated
            out.append(_question(name, info, TITLES[table], ""))
    return out


def _neighbours(form: Any, sheet: Any) -> Iterator[Question]:
    fields = {n.rpartition(".")[2]: i for n, i in walk(AsFound) if n.startswith("neighbour.")}
    listed = {(str(r.get("side", "")), str(r.get("number", ""))): r for r in form.get("neighbour", ())}
    rows = sheet.get("neighbour", ())
    for i, row in enumerate(rows if isinstance(rows, list) else ()):
        if not isinstance(row, dict):
            continue
        place = (str(row.get("side", "")), str(row.get("number", "")))
        form_row = listed.get(place, {})
        label = f"Joint {place[1] or 'without a number'}, {place[0] or 'side not stated'}"
        for key, info in fields.items():
            if key in ("side", "number") and form_row:
                continue  # as listed: nobody types them
            q = _question(f"neighbour.{i}.{key}", info, TITLES["neighbour"], _comment(form_row, key))
            yield Question(q.field, q.title, f"{label}: {q.label[0].lower()}{q.label[1:]}", q.predicted, q.stop, q.more,
                           q.example, q.choices)


def _comment(table: Any, key: str) -> str:
    item = table.get(key)
    return "" if item is None else str(item.trivia.comment).removeprefix("#").strip()


def _question(field: str, info: Any, title: str, comment: str) -> Question:
    said = {"predicted": "", "stop": "", "example": "", "more": ""}
    same = comment.startswith(info.description + "; ")
    rest = comment.removeprefix(info.description) if same else comment.partition("; ")[2]
    for part in filter(None, (p.strip() for p in re.split(r"; ", rest))):
        for lead, where in _LEADS:
            if part.startswith(lead):
                if where:
                    said[where] = part.removeprefix(lead)
                break
        else:
            said["more"] = "; ".join(filter(None, (said["more"], part)))
    example = said["example"].strip('"') or str(info.json_schema_extra["example"]).strip('"')
    return Question(field, title, info.description, said["predicted"], said["stop"], said["more"], example,
                    choices(info))

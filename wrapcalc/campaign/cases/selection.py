"""Which rows are dug, and why; which are left although they ask for something, and why."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from wrapcalc.campaign.cases.undecided import Deepest
from wrapcalc.campaign.cases.under_known import at_known, off_plan, told_off_plan, under
from wrapcalc.campaign.model import REPAIRS, RULES, Campaign, Plan, row_of
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.fields import RESERVED_NAME
from wrapcalc.reading import line_numbers, shown_name

Blocks = Callable[[], Iterable[Mapping[str, np.ndarray]]]
NO_DATA = "insufficient data"
#: So many features are named in one line.
_NAMED = 20
_HEADING = re.compile(r"(.+?)\s*(?:\[.*\])?")


@dataclass(frozen=True)
class Chosen:
    """One repair: the rows that a rule takes, the first of the ranking first; those that the repair takes in; and why
    each is dug."""

    case_id: str
    rows: tuple[Mapping[str, Any], ...]
    why: tuple[str, ...]

    @property
    def lead(self) -> Mapping[str, Any]:
        """The first row of the ranking that a rule takes."""
        return self.rows[0]


@dataclass(frozen=True)
class LeftOut:
    """A row that is not dug though it asks for a repair, has a deadline, or is not as planned under a known repair."""

    row: Mapping[str, Any]
    reason: str


@dataclass
class Selection:
    """What is dug and what is left, both in the order of the ranking.

    undecided: disposition "insufficient data" that no rule takes: how many, by the reason of the screening;
    undecided_deepest: those of them that are named, the deepest first. rule: in words. told: what the reader should
    know of how it was chosen.
    """

    rule: str
    chosen: list[Chosen] = field(default_factory=list)
    left: list[LeftOut] = field(default_factory=list)
    undecided: dict[str, int] = field(default_factory=dict)
    undecided_deepest: list[dict[str, Any]] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    rows: int = 0

    @property
    def undecided_not_named(self) -> int:
        """How many more there are than are named."""
        return sum(self.undecided.values()) - len(self.undecided_deepest)


def ranked_blocks(path: Path) -> Iterator[dict[str, np.ndarray]]:
    """The ranked table block by block: heading without its unit -> array, in the order of the ranking."""
    import pyarrow.parquet as parquet
    with parquet.ParquetFile(path) as file:
        for batch in file.iter_batches(65_536):
            yield {plain_heading(n): _array(batch.column(i)) for i, n in enumerate(batch.schema.names)}


def plain_heading(heading: str) -> str:
    """"safe pressure [MPa]" -> "safe_pressure"."""
    m = _HEADING.fullmatch(heading.strip())
    return (m[1] if m else heading).replace(" ", "_")


def _array(column: Any) -> np.ndarray:
    import pyarrow as pa
    kind = column.type
    if pa.types.is_dictionary(kind):
        column, kind = column.cast(kind.value_type), kind.value_type
    if pa.types.is_floating(kind):
        return column.to_numpy(zero_copy_only=False)
    values = column.to_numpy(zero_copy_only=False)
    if values.dtype == object:
        values = np.array(["" if v is None else v for v in values.tolist()], dtype=object)
    return values


def select(blocks: Blocks, plan: Plan, as_measured: Mapping[int, Mapping[str, Any]] | None = None) -> Selection:
    """What is dug and what is left.

    blocks: gives the ranked rows from the first to the last, as often as it is called. A row that is under repair is
    never dug again, but is told where its depth goes ahead of what the repair was designed for; a feature that
    [[leave]] names is not dug unless it acts with one that is. Raises CaseFaults for a feature in [[add]] or [[leave]]
    that the ranking does not hold, or whose id several ranked rows have and whose row is not stated.

    as_measured: what `measured_rows.as_measured` judges by row number. The rules look at a measured row twice, as
    listed and as measured, and what either reading asks for is done.
    """
    sheet = plan.sheet
    out = Selection(_rule(sheet))
    adds, leaves = ({(x.id, row_of(x)): x for x in rows} for rows in (sheet.add, sheet.leave))
    by_name = sorted({str(i) for i, _ in (*adds, *leaves)})
    picked: list[tuple[int, dict[str, Any], list[str]]] = []
    waiting: list[tuple[int, dict[str, Any], str]] = []
    seen: dict[str, list[int]] = {}
    place, undecided, deepest = 0, Counter[str](), Deepest()
    for block in blocks():
        rules = [*_matches(block, sheet), *_as_measured(block, as_measured or {}, sheet)]
        ids = block["feature_id"]
        taken = np.any([mask for _, mask in rules], axis=0)
        named = np.isin(ids.astype(object), by_name) if by_name else np.zeros(len(ids), bool)
        asks = np.isin(block["disposition"], REPAIRS) | np.isfinite(_floats(block, "deadline_days", np.inf))
        asks |= _asked_as_measured(block, as_measured or {})
        lacking = (block["disposition"] == NO_DATA) & ~taken & ~asks & ~named
        if lacking.any():
            deepest.add(block, np.flatnonzero(lacking), place)
            undecided.update(map(str, block["reason"][lacking]) if "reason" in block else [""] * int(lacking.sum()))
        for i in np.flatnonzero(taken | named | asks | off_plan(block)).tolist():
            row, feature = _row(block, i), str(ids[i])
            why = [text for text, mask in rules if mask[i]]
            if named[i]:
                seen.setdefault(feature, []).append(int(row["row"]))
            added, left = (of.get((feature, int(row["row"])), of.get((feature, None))) for of in (adds, leaves))
            if added is not None:
                why.insert(0, f"added: {added.reason}")
            if row.get("under_repair"):
                waiting.append((place + i, row, under(row, plan.display)))
            elif left is not None:
                waiting.append((place + i, row, f"left by {left.by}: {left.reason}"))
            elif why:
                picked.append((place + i, row, why))
            else:
                waiting.append((place + i, row, "no rule of the selection takes it"))
        place += len(ids)
    out.rows, out.undecided = place, dict(sorted(undecided.items()))
    out.told += told_off_plan([row for _, row, _ in waiting])
    _refuse_unknown(plan, seen)
    _join(out, sheet, picked, waiting, blocks, as_measured or {})
    out.told += at_known([r for c in out.chosen for r in c.rows])
    out.undecided_deepest = deepest.named({r["row"] for c in out.chosen for r in c.rows})
    return out


def _asked_as_measured(block: Mapping[str, np.ndarray], found: Mapping[int, Mapping[str, Any]]) -> np.ndarray:
    """Rows that ask for a repair, or have a deadline, by what was measured of them."""
    asking = [n for n, m in found.items() if m["disposition"] in REPAIRS or _days(m) < np.inf]
    return np.isin(block["row"], asking)


def _days(row: Mapping[str, Any]) -> float:
    days = float(row.get("deadline_days", np.inf))
    return np.inf if np.isnan(days) else days


def _urgency(at: int, row: Mapping[str, Any], found: Mapping[int, Mapping[str, Any]]) -> tuple[float, float, int]:
    """For sorting: as the ranking does, of a measured row with the nearer deadline and the greater factor of both
    readings."""
    both = [row, *([found[row["row"]]] if row["row"] in found else [])]
    factors = [float(r.get("repair_factor", np.nan)) for r in both]
    return min(map(_days, both)), -max(np.inf if np.isnan(f) else f for f in factors), at


def _as_measured(block: Mapping[str, np.ndarray], found: Mapping[int, Mapping[str, Any]], sheet: Campaign
                 ) -> list[tuple[str, np.ndarray]]:
    """The rules once more for the rows that were measured in the ditch, with what is judged of them as measured."""
    at = np.flatnonzero(np.isin(block["row"], list(found))) if found else np.empty(0, int)
    if not len(at):
        return []
    mine = [found[int(n)] for n in block["row"][at].tolist()]
    names = ("feature_id", *(n for n in ("safe_pressure", "repair_factor", "deadline_days", "depth_used", "wall")
                             if n in mine[0]))
    again = {n: np.array([m[n] for m in mine], float) for n in names[1:]} | {
        "feature_id": block["feature_id"][at], "disposition": np.array([m["disposition"] for m in mine], object)}
    rules = [(f"as measured in the ditch: {text}", mask) for text, mask in _matches(again, sheet)]
    rules.append(("measured deeper, longer or with less wall than listed; what it acts with is judged in its case",
                  np.array([m["worse"] for m in mine])))
    out = []
    for text, mask in rules:
        whole = np.zeros(len(block["row"]), bool)
        whole[at] = mask
        out.append((text, whole))
    return out


def _floats(block: Mapping[str, np.ndarray], name: str, absent: float) -> np.ndarray:
    """A column of numbers; where the screening did not give one, `absent`."""
    if name not in block:
        return np.full(len(block["feature_id"]), absent)
    values = np.asarray(block[name], dtype=float)
    return np.where(np.isnan(values), absent, values)


def _row(block: Mapping[str, np.ndarray], i: int) -> dict[str, Any]:
    return {n: v[i].item() if isinstance(v[i], np.generic) else v[i] for n, v in block.items()}


def _matches(block: Mapping[str, np.ndarray], sheet: Campaign) -> list[tuple[str, np.ndarray]]:
    """Each rule in words, and the rows of the block that meet it. A number that is missing meets none."""
    s, out = sheet.select, []
    dispositions = s.dispositions if _ruled(sheet) else REPAIRS
    for name in dispositions:
        out.append((f"disposition: {name}", block["disposition"] == name))
    if s.deadline_within is not None:
        out.append((f"deadline within {s.deadline_within.written}",
                    _floats(block, "deadline_days", np.inf) * 24 <= s.deadline_within.base))
    if s.repair_factor_above is not None:
        out.append((f"repair factor above {s.repair_factor_above.written}",
                    _floats(block, "repair_factor", -np.inf) > s.repair_factor_above.base))
    if s.safe_pressure_below is not None:
        out.append((f"safe pressure below {s.safe_pressure_below.written}",
                    _floats(block, "safe_pressure", np.inf) < s.safe_pressure_below.base))
    if s.depth_above is not None:
        depth = _floats(block, "depth_used" if "depth_used" in block else "depth", -np.inf)
        out.append((f"depth above {s.depth_above.written} of the wall",
                    depth > s.depth_above.base * _floats(block, "wall", np.inf)))
    return out


def _ruled(sheet: Campaign) -> bool:
    return any(getattr(sheet.select, r) not in (None, ()) for r in RULES)


def _rule(sheet: Campaign) -> str:
    """The rule of the selection in one sentence."""
    s = sheet.select
    parts = [f"disposition {' or '.join(s.dispositions)}"] if s.dispositions else []
    for name, words in (
            ("deadline_within", "deadline within {}"), ("repair_factor_above", "repair factor above {}"),
            ("safe_pressure_below", "safe pressure below {}"), ("depth_above", "depth above {} of the wall")):
        given = getattr(s, name)
        parts += [words.format(given.written)] if given is not None else []
    text = "; or ".join(parts) or f"disposition {' or '.join(REPAIRS)} (no rule is stated)"
    cut = f"; at most {s.most.base:g} repairs by this, the first of the ranking" if s.most is not None else ""
    return text + cut


def _refuse_unknown(plan: Plan, seen: Mapping[str, list[int]]) -> None:
    """seen: the ranked rows of each id that is named."""
    sheet, name, lines = plan.sheet, shown_name(plan.path), line_numbers(plan.raw)
    faults = []
    for table, rows in (("add", sheet.add), ("leave", sheet.leave)):
        for i, row in enumerate(rows):
            there, number = sorted(seen.get(str(row.id), [])), row_of(row)
            which = ", ".join(map(str, there[:_NAMED])) + " and more" * (len(there) > _NAMED)
            if not there:
                faults.append(Fault(name, f"{table}.{i}.id", f"'{row.id}'", "a feature of the ranked table",
                                    "look it up in ranked.parquet; a row with a fault stands in faults.csv",
                                    lines.get(f"{table}.{i}.id")))
            elif number is None and len(there) > 1:
                faults.append(Fault(name, f"{table}.{i}.id",
                                    f"'{row.id}', which {len(there)} ranked rows have: {which}", "one feature",
                                    f"state which one is meant: add row = N with its row in the listing, a [[{table}]] "
                                    "for each", lines.get(f"{table}.{i}.id")))
            elif number is not None and number not in there:
                faults.append(Fault(name, f"{table}.{i}.row", str(number), f"a ranked row of '{row.id}': {which}",
                                    "correct one of the two; a row with a fault stands in faults.csv",
                                    lines.get(f"{table}.{i}.row")))
    if faults:
        raise CaseFaults(faults)


def _join(out: Selection, sheet: Campaign, picked: list, waiting: list, blocks: Blocks,
          found: Mapping[int, Mapping[str, Any]]) -> None:
    """Rows that act as one, or whose wraps would touch, become one repair; then the most urgent ones are kept. found:
    what is judged of measured rows: one that is more urgent than the listing says moves up."""
    most = None if sheet.select.most is None else int(sheet.select.most.base)
    groups: dict[str, list] = {}
    for at, row, why in picked:
        groups.setdefault(_group(row) or f"row {row['row']}", []).append((at, row, why))
    kept, counted = {}, 0
    order = list(groups)
    if found:
        order.sort(key=lambda key: min(_urgency(at, row, found) for at, row, _ in groups[key]))
    cut: list[str] = []
    for key in order:
        members = groups[key]
        by_name = any(w.startswith("added: ") for _, _, why in members for w in why)
        if by_name or most is None or counted < most:
            counted += not by_name
            kept[key] = members
        else:
            waiting += [(at, row, f"beyond the first {most} of the ranking (select.most); it meets: {'; '.join(why)}")
                        for at, row, why in members]
            cut += [str(row["feature_id"]) for at, row, _ in members if _urgency(at, row, found)[0] <= 0]
    if cut:
        out.told.append(f"{len(cut)} features that ask for an immediate repair are beyond the first {most} "
                        f"(select.most) and have no case: {', '.join(cut[:_NAMED])}{' and more' * (len(cut) > _NAMED)}")
    _take_in(out, kept, waiting, blocks)
    names = _names([members[0][1] for members in kept.values()])
    for case_id, members in zip(names, kept.values(), strict=True):
        why = tuple(dict.fromkeys(w if len(members) == 1 else f"{row['feature_id']}: {w}"
                                  for _, row, reasons in members for w in reasons))
        out.chosen.append(Chosen(case_id, tuple(row for _, row, _ in members), why))
    out.left = [LeftOut(row, reason) for _, row, reason in sorted(waiting, key=lambda w: w[0])]


def _group(row: Mapping[str, Any]) -> str:
    return str(row.get("repair") or "")


def _take_in(out: Selection, kept: dict[str, list], waiting: list, blocks: Blocks) -> None:
    """The rows that no rule takes but that a kept repair holds; they are no longer left."""
    if not any(_group(members[0][1]) for members in kept.values()):
        return
    held = {row["row"] for members in kept.values() for _, row, _ in members}
    left = {row["row"]: reason for _, row, reason in waiting}
    place = 0
    for block in blocks():
        ours = np.isin(block["repair"].astype(str), list(kept)) & ~np.isin(block["row"], list(held))
        for i in np.flatnonzero(ours).tolist():
            row = _row(block, i)
            members = kept[_group(row)]
            lead = members[0][1]["feature_id"]
            if row.get("under_repair"):
                out.told.append(f"{row['feature_id']} is under repair {row['under_repair']} and lies where the repair "
                                f"of {lead} would be: see whether the two get in each other's way")
                continue
            reason = left.pop(row["row"], "")
            if not reason and row["disposition"] == NO_DATA:
                out.undecided[str(row.get("reason") or "")] -= 1
            if reason.startswith("left by"):
                out.told.append(f"{row['feature_id']} is {reason}; it is in the repair of {lead} all the same, with "
                                "which it acts or would touch")
            members.append((place + i, row, [f"in one repair with {lead}"]))  # after those that a rule takes
        place += len(block["row"])
    waiting[:] = [w for w in waiting if w[1]["row"] in left]
    out.undecided = {reason: n for reason, n in out.undecided.items() if n}


def _names(leads: list[Mapping[str, Any]]) -> list[str]:
    """A case id for each repair, made of the feature id: what may name a folder, no two the same in small letters."""
    out: list[str] = []
    plain = [_name(str(row["feature_id"])) or f"row-{row['row']}" for row in leads]
    often = Counter(p.casefold() for p in plain)
    for name, row in zip(plain, leads, strict=True):
        out.append(name if often[name.casefold()] == 1 else f"{name[:45]}-row-{row['row']}")
    return out


def _name(feature_id: str) -> str:
    name = re.sub(r"[^A-Za-z0-9._-]+", "-", feature_id).strip("-._")[:58].rstrip("-._")
    return f"F-{name}" if name and RESERVED_NAME.fullmatch(name) else name

"""What a reviewer asks of the steps of a record: which changed since the revision before, which govern, which rest on
memory, and where each input came from. Reads records; holds no numbers of its own."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from wrapcalc.package.report import covering
from wrapcalc.reading import line_numbers

MEMORY = "from memory"
#: Rows of changes.json that are of what was put in; all others came out.
_PUT_IN, _PUT_IN_OF = ("tool version", "case", "shipped tables"), ("input ", "file ", "value ")


# -- what changed ------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Changed:
    """What became of the steps since an earlier revision. steps: id now -> what differs, in words; was: id now -> id
    then, of every step that was there; gone: steps that are no more, id and title."""

    steps: Mapping[str, tuple[str, ...]]
    was: Mapping[str, str]
    gone: tuple[tuple[str, str], ...]


def changed_steps(before: Mapping[str, Any], after: Mapping[str, Any]) -> Changed:
    """Compare two records of one case step by step. Numbers of steps move when one is put in, so steps are met by kind,
    heading, title and formula; of several that are alike, by their order."""
    old, new = dict(_met(before["items"])), dict(_met(after["items"]))
    was = {item["id"]: old[key]["id"] for key, item in new.items() if key in old}
    steps: dict[str, tuple[str, ...]] = {}
    for key, item in new.items():
        words = ("new",) if key not in old else tuple(_differs(old[key], item))
        if words:
            steps[item["id"]] = words
    return Changed(steps, was, tuple((i["id"], i["title"]) for key, i in old.items() if key not in new))


def _met(items: Iterable[Mapping[str, Any]]) -> Iterator[tuple[tuple, Mapping[str, Any]]]:
    count: Counter[tuple] = Counter()
    for i in items:
        key = (i["type"], i["stage"], i["topic"], i["title"], i.get("formula"), i.get("sense"))
        count[key] += 1
        yield (*key, count[key]), i


def _differs(a: Mapping[str, Any], b: Mapping[str, Any]) -> Iterator[str]:
    """What is printed of a step and differs, each as it was."""
    then, now = (dict(_printed(i)) for i in (a, b))
    for name in dict.fromkeys([*then, *now]):
        if then.get(name) != now.get(name):
            yield f"{name} was {then[name] or 'not there'}" if name in then else f"{name} is new"


def _printed(i: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    if i["type"] == "check":
        for side in ("provided", "limit"):
            yield side, i[side]["shown"] if i[side] else ""
        yield "found", i["found"]
        yield "wanted", i["wanted"]
        yield "verdict", i["verdict"]
    if i["type"] == "step":
        yield "result", f"{i['printed']} {i['unit_label']}".strip()
        yield "formula", i["text"]
    if i["type"] == "procedure":
        yield from ((r["name"], r["shown"]) for r in i["results"])
        yield "method", i["method"]
    if i["type"] != "check":
        yield from ((x["name"], input_value(x)) for x in i["inputs"])
        yield "struck through", i["struck"]
    yield "clause", i["citation"]
    yield "status", i["status"]


def input_value(x: Mapping[str, Any]) -> str:
    """An input of a step or a procedure as it is printed there."""
    return x["shown"] if "shown" in x else f"{x['printed']} {x['unit_label']}".strip()


def parted(rows: Sequence[Mapping[str, str]]) -> tuple[list[Mapping[str, str]], list[Mapping[str, str]]]:
    """Rows of changes.json in two: what was put in, what came out."""
    put_in = [r for r in rows if r["what"] in _PUT_IN or r["what"].startswith(_PUT_IN_OF)]
    return put_in, [r for r in rows if r not in put_in]


# -- which steps matter most -------------------------------------------------------------------------------------
def governing(record: Mapping[str, Any]) -> set[str]:
    """Steps that the decision rests on first: what the cover prints, the method and the route of record, every check
    that is not met, and of the criteria that are met the one with the least left."""
    values = [h["value"] for h in record["headline"]] + [record["decision"][k] for k in ("interim_limit", "beside")]
    values += [x[k] for x in record["forms"] if x["governs"] for k in ("failure", "safe")]
    values += [x["required"] for x in record["routes"] if x["chosen"]]
    values += [(record["bears"] or {}).get("restored")]
    out = {step for v in values if v and (step := step_of(v["origin"]))}
    checks = [i for i in record["items"] if i["type"] == "check" and i["kind"] != "information"]
    out |= {c["id"] for c in checks if c["verdict"] != "met"}
    met = [c for c in checks if c["verdict"] == "met" and c["utilisation"] is not None]
    if met:
        out.add(max(met, key=lambda c: c["utilisation"])["id"])
    return out


def from_memory(record: Mapping[str, Any]) -> set[str]:
    """Steps whose formula, clause, or a table value in them is from memory."""
    values = {e["key"] for e in record["table_entries"] if e["status"] == MEMORY}
    return {i["id"] for i in record["items"] if i["status"] == MEMORY
            or any(o["kind"] == "table" and o["ref"] in values for o in origins(i))}


def origins(item: Mapping[str, Any]) -> list[Mapping[str, str]]:
    """Where the values of an item came from."""
    return [x["origin"] for _, x in sides(item)]


def sides(item: Mapping[str, Any]) -> list[tuple[str, Mapping[str, Any]]]:
    """The inputs of an item with their names; of a check, what is provided and its limit."""
    if item["type"] == "check":
        return [(f"{word}: {item[s]['name']}", item[s]) for s, word in (("provided", "Provided"), ("limit", "Limit"))
                if item[s]]
    return [(x["name"], x) for x in item["inputs"]]


def step_of(source: Mapping[str, str]) -> str:
    """The step or procedure that an origin names, "" for another origin."""
    return source["ref"].partition("/")[0] if source["kind"] in ("step", "procedure") else ""


# -- where a value came from -------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Source:
    """Where one input came from. place: in words; told: what stands there, and who says so; step: to jump to, or ""."""

    name: str
    value: str
    place: str
    told: str
    step: str = ""


class Sources:
    """Follows the inputs of a record back, one step at a time. folder: the package, for the lines of its own files."""

    def __init__(self, record: Mapping[str, Any], folder: Path):
        self.record, self.folder = record, folder
        self.items = {i["id"]: i for i in record["items"]}
        self._fields = {i["field"]: i for i in record["inputs"]}
        self._entries = {e["key"]: e for e in record["table_entries"]}
        self._lines: dict[str, dict[str, int]] = {}

    def of(self, item: Mapping[str, Any]) -> list[Source]:
        """The inputs of a step, each with where it came from."""
        return [self._source(name, x) for name, x in sides(item)]

    def _source(self, name: str, x: Mapping[str, Any]) -> Source:
        kind, ref = x["origin"]["kind"], x["origin"]["ref"]
        shown = input_value(x)
        if step := step_of(x["origin"]):
            found = self.items.get(step)
            return Source(name, shown, f"step {step}", found["title"] if found else "not in this record", step)
        if kind == "case":
            row = self._fields.get(ref) or {"written": "", "source": "", "source_kind": ""}
            told = ", ".join(t for t in (row["source_kind"], row["source"]) if t) or "no source stated"
            return Source(name, shown, f"{self._at('case.toml', ref)}: {ref}", f"{row['written']} ({told})")
        if kind == "table":
            row = self._entries.get(ref) or {"citation": ref, "title": "", "written": "", "status": "", "mark": ""}
            status = "from memory, unverified" if row["status"] == MEMORY else row["mark"] or row["status"]
            return Source(name, shown, row["citation"], f"{row['title']}: {row['written']} ({status})")
        sheet, _, at = ref.partition("/")
        rows = (self.record["system"] or {}).get("rows", [])
        said = next((r["question"] for r in rows if r["field"] == at), "as the sheet of the system says")
        where = self._at(self._sheets.get(sheet, ""), at) or f"system sheet {sheet}"
        return Source(name, shown, f"{where}: {at}", said)

    @cached_property
    def _sheets(self) -> dict[str, str]:
        """Name of a system -> its file in the package."""
        import tomllib
        out = {}
        for name in self.record["files"]:
            if name.endswith(".toml") and name != "case.toml":
                try:
                    data = tomllib.loads((self.folder / name).read_text(encoding="utf-8-sig"))
                    out[str(data["system"]["id"])] = name
                except (OSError, ValueError, KeyError, TypeError):
                    continue
        return out

    def _at(self, file: str, dotted: str) -> str:
        """File and line of a field; the file alone where the line is not found, or the table that holds it."""
        if not file:
            return ""
        if file not in self._lines:
            try:
                raw = (self.folder / file).read_bytes()
            except OSError:
                raw = b""
            self._lines[file] = line_numbers(raw)
        lines = self._lines[file]
        while dotted and dotted not in lines:
            dotted = dotted.rpartition(".")[0]
        return f"{file}, line {lines[dotted]}" if dotted else file

    @cached_property
    def covers(self) -> dict[str, dict[str, list[str]]]:
        """Step -> the checks on it, "direct" and "later"."""
        return covering(self.record["items"])

    @cached_property
    def used_by(self) -> dict[str, list[str]]:
        """Step -> the steps and checks that take a value from it."""
        out: dict[str, list[str]] = {}
        for i in self.record["items"]:
            for step in dict.fromkeys(s for o in origins(i) if (s := step_of(o))):
                out.setdefault(step, []).append(i["id"])
        return out


def second_opinion(record: Mapping[str, Any], item: str) -> str:
    """What the second opinion says, for a step that it compares; "" for another one."""
    found = record["opinion"]
    if not found or item not in {step_of(found[k]["origin"]) for k in ("strain", "clause", "difference")}:
        return ""
    return (f"greatest hoop strain of the wrap by thick-wall elasticity, layer by layer: {found['strain']['shown']}; "
            f"by the clause: {found['clause']['shown']}; difference over that of the clause: "
            f"{found['difference']['shown']}. It decides nothing")

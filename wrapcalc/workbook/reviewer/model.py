"""A package on the desk of a reviewer, without any widget: may it be reviewed, which steps are shown, what was said."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from wrapcalc.errors import PackageError
from wrapcalc.package import build, digests, review_steps
from wrapcalc.package.explain import read_record
from wrapcalc.package.issued import Issued
from wrapcalc.package.review import reviewable, say
from wrapcalc.package.review_before import Before, Said, before
from wrapcalc.package.review_lines import WHOLE, Query, Review, place
from wrapcalc.package.review_sheet import Sheet, counts, last_sheet, preparer, review_of, topics, write_sheet
from wrapcalc.package.verify import Verification, verify, whole
from wrapcalc.people import person_key
from wrapcalc.workbook.calm import Kind
from wrapcalc.workbook.reviewer.drafts import Drafts

ALL, NOT_LOOKED_AT, CHANGED, QUERIES = "all steps", "not looked at", "changed since the revision before", "with queries"
COMMENTED, MEMORY, GOVERNING = "with comments", "from memory", "governing"
NOT_MET, SAID = "checks not met", "said on an earlier revision"
#: What the list of steps may be narrowed to.
FILTERS = (ALL, NOT_LOOKED_AT, CHANGED, QUERIES, COMMENTED, MEMORY, GOVERNING, NOT_MET, SAID)


#: Parts of a record without which nothing can be shown.
_PARTS = {"case", "items", "decision", "inputs", "table_entries", "headline", "forms", "routes", "bears", "opinion",
          "system", "files", "warnings", "assumptions"}


@dataclass(frozen=True)
class Told:
    """A message at the head of the page."""

    kind: Kind
    text: str
    mend: str = ""


class Desk:
    """A package under review. `told`: what stands first on the page; `shut`: whether it may only be looked at."""

    def __init__(self, folder: Path):
        """Open and verify a package. Raises PackageError for what is no package, or what this version cannot read."""
        self.folder = folder
        self.manifest = digests.read_manifest(folder)
        if self.manifest.get("kind") is not None or "record_sha256" not in self.manifest:
            raise PackageError(f"{folder}: this is {self.manifest.get('kind', 'something else')}, not a calculation "
                               "package; name the folder of the package")
        self.verification: Verification = verify(folder)
        self.record: dict[str, Any] = self._readable()
        self.items = {i["id"]: i for i in self.record["items"]}
        self.name = f"{self.manifest['case']}-r{self.manifest['revision']}"
        self.digest = digests.sha256((folder / digests.MANIFEST).read_bytes())
        self.told: list[Told] = list(self._verified())
        self.of: Issued | None = None
        self.review = Review(folder, self.name, self.digest)
        self.sheet: Sheet | None = None
        self.drafts: Drafts | None = None
        if self.verification.ok:
            self._take_up()
        self.before: Before = before(folder, self.manifest, self.record)
        self.sources = review_steps.Sources(self.record, folder)

    def _readable(self) -> dict[str, Any]:
        """The record. Raises PackageError: of a newer schema, damaged beyond showing."""
        record = read_record(self.folder)
        lacking = _PARTS - record.keys()
        if lacking or not whole(record):
            found = "; ".join(self.verification.problems) or "it lacks " + ", ".join(sorted(lacking))
            raise PackageError(f"{self.folder}: this package does not verify ({found}) and cannot be shown; restore "
                               "it, or run the case again")
        return record

    def _verified(self) -> Iterator[Told]:
        found = self.verification
        for line in found.problems:
            yield Told("Fault", f"This package does not verify: {line}.")
        for line in found.differences:
            yield Told("Fault", f"This package does not verify, a new run gives something else: {line}.")
        if not found.ok:
            yield Told("Warning", "It can be looked at, but not reviewed.", "Restore the package, or run the case "
                       "again with this version, and review what comes out.")
            return
        more = f" Versions since then: {'; '.join(found.notes)}." if found.notes else ""
        yield Told("Done", f"{self.name} is verified: every byte is as it was written, and a new run gave all "
                   f"{found.steps} steps and procedures and every check the same.{more}")

    def _take_up(self) -> None:
        """Whether it may be reviewed, and what was said so far."""
        try:
            self.of = reviewable(self.folder)
        except PackageError as e:
            self.told.append(Told("Warning", f"{e}.", "It can be looked at only."))
        try:
            self.review, self.sheet = review_of(self.folder, self.name, self.digest, self.record)
        except PackageError as e:
            self.of = None
            self.told.append(Told("Fault", f"{e}.", "Until then it can be looked at only."))
        if self.of is not None:
            self._take_up_drafts()

    def _take_up_drafts(self) -> None:
        """What was typed earlier and not saved."""
        try:
            self.drafts = Drafts(place(self.folder, self.name), {WHOLE, *self.items})
        except PackageError as e:
            self.told.append(Told("Warning", f"{e}.", "What is typed and not saved is lost when the kernel ends."))
            return
        self.told += [Told("Note", f"{t[:1].upper()}{t[1:]}.") for t in self.drafts.told]

    @property
    def shut(self) -> bool:
        """Whether it may only be looked at."""
        return self.of is None

    @property
    def prepared_by(self) -> str:
        """Who prepared the case, "" where it does not say."""
        return str(self.record["case"]["prepared_by"] or "")

    # -- which steps ---------------------------------------------------------------------------------------------
    @cached_property
    def governing(self) -> set[str]:
        """Steps that the decision rests on first."""
        return review_steps.governing(self.record)

    @cached_property
    def memory(self) -> set[str]:
        """Steps with something from memory in them."""
        return review_steps.from_memory(self.record)

    @property
    def looked_at(self) -> set[str]:
        """Steps that a reviewer ticked, commented or queried."""
        return self.review.looked_at(but=preparer(self.record))

    @property
    def changed(self) -> dict[str, tuple[str, ...]]:
        """Steps that changed since the revision before, and how they were."""
        return dict(self.before.changed.steps) if self.before.changed else {}

    @property
    def headings(self) -> list[str]:
        """Headings of the job that have steps, in its order."""
        return list(dict.fromkeys(i["topic"] for i in self.record["items"]))

    def shown(self, narrowed: str = ALL, heading: str = "", keep: str | None = None) -> list[str]:
        """Ids of the steps to list, in the order of the job; the package as a whole stands before them where all are
        shown. keep: one that stays whatever the filter says, so that it does not go from under the hand."""
        wanted = self._wanted(narrowed)
        out = [i["id"] for i in self.record["items"]
               if i["id"] == keep or ((wanted is None or i["id"] in wanted) and (not heading or i["topic"] == heading))]
        whole = not heading and (narrowed == ALL or WHOLE in (wanted or ()))
        return [WHOLE, *out] if whole or keep == WHOLE else out

    def _wanted(self, narrowed: str) -> set[str] | None:
        if narrowed == ALL:
            return None
        if narrowed == NOT_LOOKED_AT:
            return set(self.items) - self.looked_at
        return {CHANGED: lambda: set(self.changed), QUERIES: lambda: {q.item for q in self.review.queries()},
                COMMENTED: lambda: {e.item for e in self.review.comments()}, MEMORY: lambda: self.memory,
                GOVERNING: lambda: self.governing, SAID: lambda: set(self.before.said),
                NOT_MET: lambda: {k for k, i in self.items.items() if i["type"] == "check" and i["verdict"] != "met"},
                }[narrowed]()

    def first(self) -> str:
        """Where a reviewer begins: the first changed step that nobody looked at, else the first such step of all."""
        looked, changed = self.looked_at, self.changed
        left = [i for i in self.items if i not in looked]
        return next((i for i in left if i in changed), left[0] if left else WHOLE)

    def after(self, listed: list[str], current: str, by: int) -> str:
        """The step so many places further on in the list; the ends of the list stand."""
        if current not in listed:
            return listed[0] if listed else current
        return listed[min(max(listed.index(current) + by, 0), len(listed) - 1)]

    def next_left(self, current: str) -> str | None:
        """The next step after this one that nobody looked at, from the top again after the last; None where none is."""
        ids, looked = list(self.items), self.looked_at
        at = ids.index(current) + 1 if current in self.items else 0
        return next((i for i in ids[at:] + ids[:at] if i not in looked), None)

    def labels(self, listed: list[str]) -> list[tuple[str, str]]:
        """The list of steps, each with its id: id, its state in words, title."""
        states: dict[str, list[str]] = {i: [] for i in (WHOLE, *self.items)}
        for q in self.review.open():
            states[q.item].append(f"Q{q.number} open")
        for word, found in (("checked", self.review.ticks().keys()), ("changed", self.changed.keys()),
                            ("comment", {e.item for e in self.review.comments()})):
            for item in found:
                states[item].append(word)
        said = {i: f" [{', '.join(words)}]" if words else "" for i, words in states.items()}
        return [(f"{i or '—'}{said[i]}  {self.title(i)}", i) for i in listed]

    def title(self, item: str) -> str:
        """What a step is called."""
        return self.items[item]["title"] if item else "The package as a whole"

    # -- what was said -------------------------------------------------------------------------------------------
    def queries(self, item: str) -> list[Query]:
        """Queries about a step."""
        return [q for q in self.review.queries() if q.item == item]

    def said_before(self, item: str) -> tuple[Said, ...]:
        """What was said of this step on an earlier revision."""
        return tuple(self.before.said.get(item, ()))

    def ticked_by(self, item: str, who: str) -> bool:
        """Whether the tick of this person stands."""
        key = person_key(who)
        return bool(key) and any(person_key(t.who) == key for t in self.review.ticks().get(item, ()))

    def say(self, who: str, act: str, item: str, text: str = "", query: int = 0) -> int:
        """Say something of a step; it is on the disk when this returns. How many lines others added meanwhile.

        Raises PackageError, with nothing written, when it may not be said or cannot be written.
        """
        if self.of is None:
            raise PackageError("this package can be looked at only; the head of the page says why")
        had = len(self.review.entries)
        self.review = say(self.of, self.record, who, act, item, text, query)
        self.sheet = last_sheet(self.review)
        added = self.review.entries[had:]
        return sum(person_key(e.who) != person_key(who) for e in added)

    def write_sheet(self) -> str:
        """Write the review sheet; where it stands, or that the last one says all. Raises PackageError."""
        if self.of is None:
            raise PackageError("this package can be looked at only; the head of the page says why")
        result = write_sheet(self.folder)
        self.review, self.sheet = review_of(self.folder, self.name, self.digest, self.record)
        word = "The last sheet says all there is" if result.state == "unchanged" else "The review sheet is written"
        return f"{word}: review/{self.name}/{result.folder.name}/review.pdf, and review.html beside it."

    def counts(self) -> dict[str, int]:
        """How far the review went."""
        return counts(self.record, self.review, but=preparer(self.record))

    def topics(self) -> list[dict[str, Any]]:
        """How far it went, heading by heading."""
        return topics(self.record, self.review)

    @cached_property
    def guards(self) -> dict[str, list[str]]:
        """Formula -> the tests that guard it."""
        return build.guards()

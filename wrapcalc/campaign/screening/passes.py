"""The three passes of a screening: read, judge along the line, write by rank."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from wrapcalc.campaign.line.line import Welds, load_line
from wrapcalc.campaign.line.windows import windows
from wrapcalc.campaign.listing.blocks import Block
from wrapcalc.campaign.listing.mapping import load_mapping
from wrapcalc.campaign.listing.read import read_blocks
from wrapcalc.campaign.rows.judging import Judge, Words
from wrapcalc.campaign.rows.lower_methods import LowerMethods
from wrapcalc.campaign.rows.other_damage import KINDS as OTHER_DAMAGE
from wrapcalc.campaign.rows.strength import DISPOSITIONS, REPAIR
from wrapcalc.campaign.screening import columns, ranking
from wrapcalc.campaign.screening.faults_file import FaultsFile
from wrapcalc.campaign.screening.filters import read_filter
from wrapcalc.campaign.screening.listed_compare import ListedCompare
from wrapcalc.campaign.screening.noted import Noted
from wrapcalc.campaign.screening.repairs import Repairs
from wrapcalc.campaign.screening.screen import FAULTS, Progress, Screening
from wrapcalc.campaign.screening.told import unchanged, write_told
from wrapcalc.campaign.tables import tables
from wrapcalc.campaign.tables.spill import Store, recut
from wrapcalc.campaign.tables.tables import CODE, TEXT, WHOLE, Column

if TYPE_CHECKING:
    import pyarrow as pa

#: Rows of a part of the table that is written, whatever the size of the blocks that are read.
WRITTEN = 131_072
#: Rows that are judged at once, whatever the size of the blocks: the last digits of a calculation on arrays may depend
#: on how they are cut.
JUDGED = 65_536
#: Bytes of rows that stay in memory in each of the two stores.
BUDGET = 64_000_000
_RANK = Column("rank", WHOLE)
_OTHER_DAMAGE = [columns.KINDS.index(k) for k in OTHER_DAMAGE]


class Passes:
    """One screening. work: folder for files on the way; made: where its files go."""

    def __init__(self, listing: Path, mapping_path: Path, work: Path, made: Path, *, format: str, where: str,
                 life: bool, chance: bool, register: Path | None, rows: int, progress: Progress):
        self.listing, self.work, self.made, self.format = listing, work, made, format
        self.asked = {"life": life, "chance": chance}
        self.where, self.rows, self.progress = where, rows, progress
        self.mapping = load_mapping(mapping_path)
        self.line = load_line(self.mapping, mapping_path.parent)
        self.mapping_path, self.register = mapping_path, register
        self.judge = Judge(self.line, **self.asked)
        self.sections = Words()
        system = self.line.system
        self.widths = () if system is None else tuple(dict.fromkeys(w.magnitude for w in system.unit_widths))
        self.repairs = Repairs(self.line, self.mapping, self.judge, work, register)
        self.out = Screening(made, made / f"ranked.{format}")
        self.kinds: Counter[str] = Counter()
        if format not in tables.FORMATS:
            raise tables.PackageError(f"there is no format '{format}'; allowed: {', '.join(tables.FORMATS)}")
        # Which texts come up is not known yet: what is wrong with the filter is told before anything is read.
        self.filter = read_filter(where, [replace(c, kind=TEXT) if c.name in self._lists else c
                                          for c in self._columns()])

    @property
    def _lists(self) -> dict[str, Words]:
        """Columns of texts that come up while rows are judged."""
        j = self.judge
        return {"reason": j.reasons, "deadline": j.deadlines, "citation": j.citations, "criterion": j.criteria,
                "exclusion": j.exclusions, "section": self.sections}

    def _judged(self) -> tuple[Column, ...]:
        return columns.judged_columns(self.judge, tuple(self.sections.texts), self.widths, **self.asked)

    def _columns(self) -> tuple[Column, ...]:
        judged = self._judged()
        return (_RANK, *judged[:8], *columns.LAST, *judged[8:])

    def run(self) -> Screening:
        """All of it. The files stand in `made`."""
        before = unchanged(self.listing)
        with FaultsFile(self.made / FAULTS, self.work) as faults:
            self._read(faults)
            tables.refuse_rows(0 if self.where else self.listed.rows, self.format, self.out.table.name)
            self._judge_all(faults)
        order = self.keys.order()
        self.repairs.finish(self.made)
        self._write(order)
        self.listed.drop()
        self.store.drop()
        self.out.faulty, self.out.under_repair = faults.rows, self.repairs.under
        self.out.joined, self.out.repairs = self.repairs.joined, self.repairs.repairs
        if unchanged(self.listing) != before:
            raise tables.PackageError(f"{self.listing.name}: was changed while it was read; run it again")
        write_told(self)
        return self.out

    # -- first pass: read ------------------------------------------------------------------------------------------
    def _read(self, faults: FaultsFile) -> None:
        """Read the listing; keep its anomalies, and what is known of the joints."""
        self.listed = Store(self.work / "listed.arrow", tables.schema(columns.LISTED), BUDGET)
        self._place: list[np.ndarray] = []
        self._same: list[np.ndarray] = []
        self.longest = self.thickest = 0.0
        self.noted = Noted()
        self.welds = Welds.collect(self._kept(read_blocks(self.listing, self.mapping, self.rows, self.noted),
                                              faults))
        self.out.others = {k: self.kinds[k] for k in columns.KINDS if self.kinds[k] and k not in columns.RANKED}

    def _kept(self, blocks: Iterator[Block], faults: FaultsFile) -> Iterator[Block]:
        for block in blocks:
            faults.add(block.faults)
            self.out.rows += len(block.row) + len({f.row for f in block.faults})
            code = _codes(block.columns["kind"])
            for k in np.flatnonzero(np.bincount(code, minlength=len(columns.KINDS))).tolist():
                self.kinds[columns.KINDS[k]] += int((code == k).sum())
            at = np.flatnonzero(np.isin(code, [columns.KINDS.index(k) for k in columns.RANKED]))
            rows = {n: block.columns[n][at] for n in columns.CONTENT} | {"row": block.row[at], "kind": code[at]}
            part = tables.batch(columns.LISTED, rows)
            self._place.append(self.line.survey(rows["log_distance"])[0])
            self._same.append(ranking.mixed(part, columns.CONTENT))
            self.longest = max(self.longest, float(np.fmax.reduce(rows["length"], initial=0.0)))
            self.repairs.unsized |= bool((np.isin(code[at], _OTHER_DAMAGE) & np.isnan(rows["length"])).any())
            for name in ("nominal_wall", "measured_wall"):
                self.thickest = max(self.thickest, float(np.fmax.reduce(rows[name], initial=0.0)))
            self.listed.add(part)
            self.progress("reading", self.out.rows)
            yield block

    # -- second pass: judge ----------------------------------------------------------------------------------------
    def _along(self) -> Iterator[pa.RecordBatch]:
        """The anomalies in the order of the line."""
        place, same = (np.concatenate(x) if x else np.empty(0) for x in (self._place, self._same))
        self._place, self._same = [], []
        a, b = place[:-1], place[1:]
        if ((a < b) | ((a == b) & (same[:-1] <= same[1:]))).all():
            return recut(self.listed.batches(), JUDGED)
        return ranking.ranked(self.listed, np.lexsort((same, place)), self.work, JUDGED)

    def _resolved(self, faults: FaultsFile) -> Iterator[dict[str, np.ndarray]]:
        for part in self._along():
            block = Block(part.column("row").to_numpy(), _arrays(part), [])
            rows, wrong = self.line.resolve(block, self.welds)
            faults.add(wrong)
            yield rows

    def _judge_all(self, faults: FaultsFile) -> None:
        """Judge every row, and keep it with its rank keys."""
        self.keys = ranking.Keys()
        self.store = Store(self.work / "judged.arrow", tables.schema(self._judged()), BUDGET)
        reach = self.repairs.reach(self.thickest)
        self.words, self.reasons, self.lower = Counter[str](), Counter[str](), LowerMethods()
        diameter = self.line.case.get("pipe.outside_diameter")
        self.compared = ListedCompare(None if diameter is None else diameter.base)
        for rows in windows(self._resolved(faults), self.repairs.place, self.longest, reach):
            self.repairs.link(rows)
            judged = self.judge(rows, rows["group"])
            self.compared.add(rows, judged)
            self.repairs.take(rows, judged, self.store.rows)
            self.lower.add(judged)
            section = {g: self.sections.code(self.line.section(g)) for g in np.unique(rows["group"]).tolist()}
            judged["section"] = np.array([section[g] for g in rows["group"].tolist()], np.int16)
            for k, n in enumerate(np.bincount(judged["disposition"], minlength=len(DISPOSITIONS)).tolist()):
                self.words[DISPOSITIONS[k]] += n
            for k, n in enumerate(np.bincount(judged["reason"]).tolist()):
                self.reasons[self.judge.reasons.texts[k]] += n
            if "wrap_feasible" in judged:  # where none was asked for there is no answer
                tried = judged["disposition"] == REPAIR
                judged["wrap_feasible"] = np.where(tried, 1 + judged["wrap_feasible"].astype(np.int16), 0)
            self._keep(rows | judged | {"kind": _codes(rows["kind"])})
            self.progress("judging", self.store.rows)
        self.out.ranked = self.store.rows
        self.out.dispositions = {w: self.words[w] for w in DISPOSITIONS}

    def _keep(self, rows: dict[str, np.ndarray]) -> None:
        judged = self._judged()
        part = tables.batch(judged, columns.block_of(judged, rows, len(rows["row"])))
        tie = ranking.mixed(part, [c.name for c in judged if c.name not in ("row", *self._lists)])
        late, factor, share, place = (part.column(n).to_numpy(zero_copy_only=False) for n in
                                      ("deadline days", "repair factor", "relative depth", "survey"))
        self.keys.add(late, factor, share, place, tie)
        self.store.add(part)

    # -- third pass: write -----------------------------------------------------------------------------------------
    def _write(self, order: np.ndarray) -> None:
        """Write the rows by rank. Texts get codes that do not depend on when they came up."""
        sorted_ = {name: words.sorted() for name, words in self._lists.items()}
        final = [replace(c, words=sorted_[c.name][0]) if c.name in sorted_ else c for c in self._columns()]
        self.columns = final
        with tables.open_table(self.out.table, final, self.format, 0 if self.where else len(order)) as table:
            for part, keep in self._ranked(order, final, sorted_):
                part = part.filter(keep) if self.where else part
                self.out.written += part.num_rows
                table.write(part)
                self.progress("writing", self.out.written)

    def _ranked(self, order: np.ndarray, final: list[Column], lists: Mapping[str, Any]) -> Iterator[Any]:
        place = 0
        for part in ranking.ranked(self.store, order, self.work, WRITTEN):
            here = order[place:place + part.num_rows]
            last = tables.batch(columns.LAST, self.repairs.last(here))
            rank = np.arange(place + 1, place + part.num_rows + 1)
            place += part.num_rows
            yield self._whole(part, last, rank, final, lists)

    def _whole(self, part: pa.RecordBatch, last: pa.RecordBatch, rank: np.ndarray, final: list[Column],
               lists: Mapping[str, Any]) -> Any:
        import pyarrow as pa
        out = []
        for c in final:
            if c.name == _RANK.name:
                out.append(pa.array(rank))
            elif c.name in last.schema.names:
                out.append(last.column(c.name))
            elif c.name in lists:
                out.append(pa.array(lists[c.name][1]).take(part.column(c.name)))
            else:
                out.append(part.column(c.name))
        whole = pa.record_batch(out, schema=tables.schema(final))
        compared = {c.name: _plain(whole.column(c.name), c, c.name in lists) for c in final
                    if c.name in self.filter.names}
        return whole, pa.array(self.filter.mask(compared, part.num_rows))


def _plain(values: Any, column: Column, spelled: bool) -> np.ndarray:
    """A column as a filter compares it: codes as numbers (-1 for none), texts that came up as texts."""
    if column.kind == CODE:
        codes = values.fill_null(-1).to_numpy()
        return np.array([*column.words, ""], dtype=object)[codes] if spelled else codes
    return values.to_numpy(zero_copy_only=False)


_CODE = {word: k for k, word in enumerate(columns.KINDS)}


def _codes(kinds: np.ndarray) -> np.ndarray:
    return np.fromiter(map(_CODE.__getitem__, kinds.tolist()), np.int16, len(kinds))


def _arrays(part: pa.RecordBatch) -> dict[str, np.ndarray]:
    """A batch of the listing as the arrays of a block."""
    out = {}
    for c, values in zip(columns.LISTED, part.columns, strict=True):
        plain = values.to_numpy(zero_copy_only=False)
        out[c.name] = np.array(columns.KINDS, dtype=object)[plain] if c.kind == CODE else plain
    return out

"""A listing screened: every row read or listed as faulty, judged, ranked and written, with totals that add up.

Three passes, none of which holds the rows in memory: the listing is read, and what stands along the line is collected;
rows are judged in the order of the line, those that act as one together; they are written in the order of the ranking.
The folder is there when all of it is done, or not at all. The same files give the same bytes, whatever the size of the
blocks; but for the numbers of the rows also whatever their order.
"""

from __future__ import annotations

import datetime
import os
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from wrapcalc.errors import PackageError

FAULTS, NEIGHBOURS, TOLD = "faults.csv", "neighbours.csv", "screening.json"
#: (what is done, rows done so far)
Progress = Callable[[str, int], None]


@dataclass
class Screening:
    """What was screened. rows: of the file below its headings = ranked + sum(others) + faulty; written: those that
    meet the filter; others: rows of each kind that is not ranked; dispositions, repairs (two rows or more that become
    one), under_repair: counts of ranked rows; told: what the reader must know."""

    folder: Path
    table: Path
    rows: int = 0
    ranked: int = 0
    written: int = 0
    faulty: int = 0
    others: dict[str, int] = field(default_factory=dict)
    dispositions: dict[str, int] = field(default_factory=dict)
    joined: int = 0
    repairs: int = 0
    under_repair: int = 0
    told: tuple[str, ...] = ()

    def lines(self) -> list[str]:
        """The totals for a terminal, and what must be known."""
        others = ", ".join(f"{n} {kind}" for kind, n in self.others.items())
        cut = "" if self.written == self.ranked else f"; {self.written} meet the filter and are written"
        out = [f"{self.rows} rows = {self.ranked} ranked + {sum(self.others.values())} that are no anomaly"
               f"{f' ({others})' if others else ''} + {self.faulty} with faults ({FAULTS}){cut}",
               *(f"  {n} {word}" for word, n in self.dispositions.items())]
        if self.joined or self.repairs:
            out.append(f"{self.joined} groups of anomalies act as one; {self.repairs} repairs hold two rows or more "
                       f"({NEIGHBOURS})")
        if self.under_repair:
            out.append(f"{self.under_repair} rows lie under a repair that is known")
        return [*out, *self.told, f"written: {self.table}"]


def screen(listing: Path, mapping_path: Path, out: Path, *, format: str = "parquet", where: str = "",
           life: bool = False, chance: bool = False, register: Path | None = None, rows: int = 65_536,
           progress: Progress | None = None, now: datetime.date | None = None) -> Screening:
    """Screen a listing into a new folder `out`.

    where: comparisons that a row must meet to be written (ranks stay those of the whole listing); life, chance: also
    remaining life and probability of exceedance; register: folder of packages of earlier repairs; rows: read at once;
    now: the day of today when not stated.
    Raises CaseFaults for faults of the mapping, its base case, the filter or the file as a whole, PackageError when the
    folder cannot be written or the format cannot hold the rows; then nothing is left.
    """
    from wrapcalc.campaign.screening.dates import refuse_future, today
    from wrapcalc.campaign.screening.passes import Passes
    _refuse(out)
    work: Path | None = None
    try:
        work = Path(tempfile.mkdtemp(prefix=f".{out.name[:80]}-", dir=out.parent))
        made = work / "made"
        made.mkdir()
        passes = Passes(listing, mapping_path, work, made, format=format, where=where, life=life, chance=chance,
                        register=register, rows=rows, progress=progress or (lambda *_: None))
        refuse_future(passes.mapping, passes.line, now or today())
        found = passes.run()
        os.rename(made, out)
    except OSError as e:
        raise PackageError(f"{out}: cannot be written ({e.strerror or e})") from None
    finally:
        if work is not None:
            shutil.rmtree(work, ignore_errors=True)
    found.folder, found.table = out, out / found.table.name
    return found


def _refuse(out: Path) -> None:
    """Raises PackageError unless a new folder can be made there."""
    try:
        if out.exists() and (not out.is_dir() or any(out.iterdir())):
            raise PackageError(f"{out}: is there already; name a new folder, or move it away")
        out.parent.mkdir(parents=True, exist_ok=True)
    except OSError as e:
        raise PackageError(f"{out}: cannot be written ({e.strerror or e})") from None

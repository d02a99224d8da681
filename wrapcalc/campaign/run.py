"""A campaign from its file to its packages: screen, select, write cases, package, and say what became of each.

Safe to be killed at any moment and started again: every file is written aside and renamed, a package that is finished
is not made again, and a second run on the same folder is refused while the first one lives.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import shutil
import tempfile
import time
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager, ExitStack, nullcontext
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from wrapcalc import __version__
from wrapcalc.campaign.cases import sources
from wrapcalc.campaign.cases.selection import Selection, ranked_blocks, select
from wrapcalc.campaign.cluster import Cluster
from wrapcalc.campaign.folder import held, put_away, write_aside
from wrapcalc.campaign.ledger import Ledger, tool
from wrapcalc.campaign.measured.carried import carried, pairs, with_allowance
from wrapcalc.campaign.measured.measured import Measured, Replaced, read_measured
from wrapcalc.campaign.measured.rows import matched
from wrapcalc.campaign.model import Plan, load_campaign
from wrapcalc.campaign.screening.screen import TOLD as SCREENED
from wrapcalc.errors import CaseFaults, Fault, PackageError, WrapcalcError
from wrapcalc.package import digests
from wrapcalc.package.build import Result, prepare_output, remove_leftovers
from wrapcalc.package.many import package_all
from wrapcalc.reading import line_numbers, shown_name
from wrapcalc.units import shown

SCHEMA = 1
#: Names in the folder of a campaign.
SCREENING, CASES, PACKAGES, TOLD = "screening", "cases", "packages", "campaign.json"
#: Base case and mapping with the bias of the run as an allowance.
BASE = "base-with-bias"
RANKED = "ranked.parquet"
_LEDGER, _WRITTEN, _MADE_FROM = "finished.jsonl", "cases.json", "screening.made-from.json"


@dataclass(frozen=True)
class Progress:
    """How far the packages are. per_minute: packages of this run; seconds_left: None while nothing is known."""

    result: Result
    finished: int
    total: int
    per_minute: float
    seconds_left: float | None


@dataclass(frozen=True)
class Packaged:
    """A repair with its package."""

    case_id: str
    package: str
    revision: int
    decision: str
    record_sha256: str


@dataclass(frozen=True)
class Failure:
    """A repair without a package, and why."""

    case_id: str
    message: str


@dataclass
class CampaignRun:
    """What became of a campaign. kept: packages that were finished before and not made again; bias_allowance: mm."""

    plan: Plan
    out: Path
    selection: Selection
    replaced: dict[str, list[tuple[str, Replaced]]] = field(default_factory=dict)
    cases: dict[str, str] = field(default_factory=dict)
    made_from: dict[str, str] = field(default_factory=dict)
    packaged: list[Packaged] = field(default_factory=list)
    failures: list[Failure] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    kept: int = 0
    bias_allowance: float = 0.0
    measured: Measured = field(default_factory=Measured)
    complete: bool = False

    @property
    def faulty_rows(self) -> int:
        """Rows of the listing that have faults and are in no ranking."""
        return int(json.loads((self.out / SCREENING / SCREENED).read_bytes())["totals"]["faulty"])


def run_campaign(path: Path, out: Path, *, workers: int = 1, scheduler: str | None = None, isolated: bool = False,
                 progress: Callable[[Progress], None] = lambda p: None,
                 fail: Callable[[str], None] = lambda line: None,
                 then: Callable[[CampaignRun], object] = lambda run: None) -> CampaignRun:
    """Run a campaign into the folder `out`, or go on with one that was stopped.

    workers: processes of this computer; scheduler: address of a dask scheduler, whose workers do the packages instead.
    progress is called as each package ends, fail with one line for each that cannot be made, then with all of them,
    while no other run may begin in the folder. Raises CaseFaults for faults of the campaign file and what it names,
    PackageError when the folder or the cluster cannot be used or another run works in the folder; KeyboardInterrupt
    passes. The folder is consistent after each: what an earlier run made of its packages is put away (`superseded`)
    before anything changes that it was made of.
    """
    plan = load_campaign(path)
    _refuse_own_packages(plan, out)
    sources.refuse_days(plan)
    measured = read_measured(plan.measured) if plan.measured else Measured()
    with ExitStack() as lock:
        with _connected(scheduler) as cluster:  # before any work: what is wrong there is told at once, leaves nothing
            prepare_output(out)
            lock.enter_context(held(out))
            remove_leftovers(out / PACKAGES)
            for leftover in out.glob(".aside-*"):
                shutil.rmtree(leftover, ignore_errors=True) if leftover.is_dir() else leftover.unlink(missing_ok=True)
            run = _run(plan, measured, out, workers, isolated and cluster is None, cluster, progress, fail)
        then(run)
        return run


def _connected(scheduler: str | None) -> AbstractContextManager[Cluster | None]:
    """The cluster of that scheduler; nothing without one."""
    return nullcontext() if scheduler is None else Cluster(scheduler)


def _refuse_own_packages(plan: Plan, out: Path) -> None:
    """What this campaign packages is not a known repair to it: its rows would be left when it runs again."""
    known = plan.known_repairs
    if known is not None and known.resolve().is_relative_to(out.resolve()):
        field_name = "campaign.known_repairs"
        raise CaseFaults([Fault(shown_name(plan.path), field_name, shown(str(plan.sheet.campaign.known_repairs)),
                                "a folder outside the one of this campaign: its own packages are no earlier repairs",
                                "name the folder of the repairs that were made before, or choose another --out folder",
                                line_numbers(plan.raw).get(field_name))])


def _run(plan: Plan, measured: Measured, out: Path, workers: int, isolated: bool, cluster: Cluster | None,
         progress: Callable[[Progress], None], fail: Callable[[str], None]) -> CampaignRun:
    made_from, more = screened(plan, measured, out)
    ranked = out / SCREENING / RANKED
    measured = matched(ranked_blocks(ranked), measured, sources.run_date(plan))
    writer = sources.Cases(plan, measured, with_allowance(plan, more, out / BASE) if more > 0 else None)
    chosen = select(lambda: ranked_blocks(ranked), plan, writer.as_measured(ranked_blocks(ranked)))
    run = CampaignRun(plan, out, chosen, made_from=made_from, measured=measured)
    run.bias_allowance = more
    run.told += writer.reaching(ranked_blocks(ranked)) if measured.rows else []
    if plan.sheet.bias.carry == "yes":
        run.told.append(f"bias of the run: {more:g} mm more allowance on every depth that was not measured in the "
                        f"ditch ({plan.sheet.bias.reason})")
    files = _case_files(run, writer, fail)
    _place(files, out)
    run.cases = {name: digests.sha256(raw) for name, raw in files.items()}
    prepare_output(out / PACKAGES)
    ledger = Ledger(out / _LEDGER, out / PACKAGES)
    todo = [out / CASES / f"{c.case_id}.toml" for c in run.selection.chosen if f"{c.case_id}.toml" in files]
    done = ledger.finished(todo)
    for case, finished in done.items():
        _keep(run, case, Result(str(case), "unchanged", finished.case_id, finished.folder), finished.manifest)
    run.kept = len(done)
    rest = [c for c in todo if c not in done]
    run.complete = not rest
    _tell(run)  # so that what stands there belongs to the cases, should the run be killed
    try:
        _package(run, rest, ledger, workers, isolated, cluster, progress, fail)
        run.complete = True
    finally:
        _tell(run)
    return run


def _package(run: CampaignRun, todo: list[Path], ledger: Ledger, workers: int, isolated: bool,
             cluster: Cluster | None, progress: Callable[[Progress], None], fail: Callable[[str], None]) -> None:
    start, packages = time.perf_counter(), run.out / PACKAGES

    def ended(result: Result, finished: int, total: int, left: float) -> None:
        case = Path(result.source)
        if result.state == "failed":
            message = result.message.replace(f"{packages}{os.sep}", "").replace(f"{run.out}{os.sep}", "")
            run.failures.append(Failure(case.stem, message))
            fail(f"{case.stem}: {_one_line(message)}")
        else:
            folder = Path(result.folder)
            ledger.note(case, folder)
            _keep(run, case, result, digests.read_manifest(folder))
        spent = time.perf_counter() - start
        progress(Progress(result, run.kept + finished, run.kept + total, 60 * finished / spent if spent else 0.0,
                          left if finished else None))

    if todo:
        package_all(todo, packages, workers=workers, isolated=isolated, done=ended,
                    elsewhere=cluster.package if cluster else None)


def _one_line(message: str) -> str:
    """The first line of a message; where that only counts faults, the first fault too."""
    first, *more = message.splitlines() or [""]
    return f"{first} {more[0]}" if more and first.endswith(":") else first


def _keep(run: CampaignRun, case: Path, result: Result, manifest: Mapping[str, Any]) -> None:
    run.packaged.append(Packaged(case.stem, Path(result.folder).name, manifest["revision"], manifest["decision"],
                                 manifest["record_sha256"]))


# -- screening ----------------------------------------------------------------------------------------------------
def screened(plan: Plan, measured: Measured, out: Path) -> tuple[dict[str, str], float]:
    """Screen the listing into out/screening, unless what is there was made of the same files.

    What it was made of, and the allowance on depth (mm) for the bias of the run, where that is carried.
    """
    asked = sources.made_from(plan)  # what decides the screening
    made_from = asked | ({"measured": measured.sha256} if measured.name else {})
    carry = plan.sheet.bias.carry == "yes"
    if carry:
        asked = made_from | {"bias": str(plan.sheet.bias.reason)}
    stamp, folder = out / _MADE_FROM, out / SCREENING
    try:
        before = json.loads(stamp.read_bytes())
        if (before["made_from"] == asked and before["tool"] == tool()
                and before["files"] == _digests(folder) and RANKED in before["files"]):
            return made_from, float(before["bias_allowance"])
    except (OSError, ValueError, KeyError, TypeError):
        pass
    aside = Path(tempfile.mkdtemp(prefix=".aside-", dir=out))
    try:
        sources.screen(plan, aside / SCREENING)
        more = 0.0
        if carry:
            found = matched(ranked_blocks(aside / SCREENING / RANKED), measured, sources.run_date(plan))
            more, _ = carried(plan, pairs(ranked_blocks(aside / SCREENING / RANKED), found))
            if more > 0:
                os.rename(aside / SCREENING, aside / "without")
                sources.screen(with_allowance(plan, more, aside / BASE), aside / SCREENING)
        put_away(out)
        if folder.exists():
            os.rename(folder, aside / "before")
        os.rename(aside / SCREENING, folder)
        write_aside(stamp, _json({"made_from": asked, "tool": tool(), "files": _digests(folder),
                                  "bias_allowance": more}))
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return made_from, more


def _digests(folder: Path) -> dict[str, str]:
    out = {}
    for path in sorted(folder.iterdir()):
        with path.open("rb") as file:
            out[path.name] = hashlib.file_digest(file, "sha256").hexdigest()
    return out


# -- cases --------------------------------------------------------------------------------------------------------
def _case_files(run: CampaignRun, writer: sources.Cases, fail: Callable[[str], None]) -> dict[str, bytes]:
    """Name in the folder of cases -> bytes: a case for each repair, and the files that cases name. Rows that make no
    case are failures."""
    out: dict[str, bytes] = {}
    for chosen in run.selection.chosen:
        try:
            files, replaced = writer.files(chosen)
        except WrapcalcError as e:
            run.failures.append(Failure(chosen.case_id, str(e)))
            fail(f"{chosen.case_id}: {_one_line(str(e))}")
            continue
        for name, raw in files.items():
            if out.setdefault(name, raw) != raw:
                raise PackageError(f"{name}: two cases name different files by this name; rename one of them")
        if replaced:
            run.replaced[chosen.case_id] = replaced
    run.told += [*run.selection.told, *writer.told()]
    return out


def _place(files: Mapping[str, bytes], out: Path) -> None:
    """Put the files of the cases in their folder, take away those that are not wanted any more.

    Raises PackageError, before anything is changed, for a file that somebody changed since we wrote it.
    """
    folder, index = out / CASES, out / _WRITTEN
    prepare_output(folder)
    try:
        written = {str(k): list(v) for k, v in json.loads(index.read_bytes()).items()}
    except (OSError, ValueError, AttributeError, TypeError):
        written = {}
    there = {p.name: digests.sha256(p.read_bytes()) for p in sorted(folder.iterdir()) if p.is_file()}
    wanted = {name: digests.sha256(raw) for name, raw in files.items()}
    for name, digest in there.items():
        if name.startswith(".aside-"):
            (folder / name).unlink()
        elif digest not in (wanted.get(name), *written.get(name, ())) and (name in wanted or name in written):
            raise PackageError(f"{folder / name}: this file was changed since the campaign wrote it. State what you "
                               "know in the base case or the field measurements, move this file away and run again")
    if any(there.get(n) != d for n, d in wanted.items()) or any(n in there and n not in wanted for n in written):
        put_away(out)
    # Both contents are ours from here on: a kill between the two must not look like somebody's change.
    write_aside(index, _json({n: sorted({*written.get(n, ()), *([wanted[n]] if n in wanted else [])})
                              for n in {*written, *wanted}}))
    for name, raw in files.items():
        if there.get(name) != wanted[name]:
            write_aside(folder / name, raw)
    for name in written:
        if name not in wanted:
            (folder / name).unlink(missing_ok=True)
    write_aside(index, _json({n: [d] for n, d in wanted.items()}))


# -- what became of it --------------------------------------------------------------------------------------------
def _tell(run: CampaignRun) -> None:
    """Write campaign.json: the same for the same inputs, however often the run was stopped; no times."""
    path, raw = run.out / TOLD, told_bytes(run)
    if not (path.is_file() and path.read_bytes() == raw):
        put_away(run.out)
        write_aside(path, raw)


def told_bytes(run: CampaignRun) -> bytes:
    """campaign.json."""
    return _json(told(run))


def told(run: CampaignRun) -> dict[str, Any]:
    """campaign.json as data."""
    c, s = run.plan.sheet.campaign, run.selection
    order = {chosen.case_id: i for i, chosen in enumerate(s.chosen)}
    wanted = {f"{p.case_id}": p for p in run.packaged}
    packaged = sorted(run.packaged, key=lambda p: order[p.case_id])
    others = sorted(p.name for p in (run.out / PACKAGES).iterdir()
                    if p.is_dir() and not p.name.startswith(".") and p.name.rpartition("-r")[0] not in order)
    return {
        "schema": SCHEMA, "wrapcalc": __version__, "complete": run.complete,
        "campaign": {"name": c.name, "prepared_by": c.prepared_by, "discovery_date": c.discovery_date,
                     "display": run.plan.display, "paper": c.paper or "A4"},
        "made_from": {"campaign": run.plan.sha256, **run.made_from},
        "ranked_rows": s.rows, "rule": s.rule, "bias_allowance_mm": run.bias_allowance, "told": run.told,
        "undecided": s.undecided, "undecided_deepest": [_plain(r) for r in s.undecided_deepest],
        "undecided_not_named": s.undecided_not_named,
        "chosen": [{"case": x.case_id, "case_sha256": run.cases.get(f"{x.case_id}.toml"), "why": list(x.why),
                    "rows": [_plain(r) for r in x.rows], "packaged": x.case_id in wanted,
                    "replaced": [{"feature_id": i, **asdict(r)} for i, r in run.replaced.get(x.case_id, ())]}
                   for x in s.chosen],
        "left": [{"reason": x.reason, "row": _plain(x.row)} for x in s.left],
        "packages": [asdict(p) for p in packaged],
        "failures": [asdict(f) for f in sorted(run.failures, key=lambda f: order[f.case_id])],
        "no_longer_chosen": others}


def _plain(row: Mapping[str, Any]) -> dict[str, Any]:
    """A row for JSON: what is not a finite number is nothing."""
    return {k: None if isinstance(v, float) and not math.isfinite(v) else v for k, v in row.items()}


def _json(data: Mapping[str, Any]) -> bytes:
    return (json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False, sort_keys=False) + "\n").encode()

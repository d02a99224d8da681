"""The commands for many anomalies: screen a listing, run a campaign. No engineering; heavy imports inside."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path


def add(command: Callable[..., argparse.ArgumentParser], workers: Callable[[str], int]) -> None:
    """Add the commands to the parser. command: makes one, as `cli` does; workers: reads their number."""
    p = command("screen", screen, "Read an inspection listing, judge every row, rank all of them; --look proposes how "
                "its columns are to be read.")
    p.add_argument("listing", metavar="LISTING", type=Path, help="CSV, XLSX or Parquet")
    p.add_argument("--look", action="store_true", help="propose a mapping and show five rows; write nothing")
    p.add_argument("--mapping", metavar="FILE", type=Path, help="what the columns are, and what line it is")
    p.add_argument("--out", metavar="DIR", type=Path, help="new folder for the ranked table and what stands beside it")
    p.add_argument("--format", choices=("parquet", "csv", "xlsx"), default="parquet", help="of the ranked table")
    p.add_argument("--where", metavar="CONDITION", default="", help="write only rows that meet it, such as "
                   "'disposition = repair and depth > 3 mm'")
    p.add_argument("--life", action="store_true", help="also remaining life and time to the next look")
    p.add_argument("--chance", action="store_true", help="also the probability of exceedance (slow)")
    p.add_argument("--register", metavar="PACKAGES", type=Path, help="folder of packages of earlier repairs")
    p.set_defaults(wrong=p.error)
    p = command("campaign", campaign, "From a listing to packages, one order and a dig list; run it again to go on.")
    p.add_argument("file", metavar="CAMPAIGN.toml", type=Path)
    p.add_argument("--out", metavar="DIR", type=Path, help="its folder (default: beside the file, named after it)")
    p.add_argument("-j", dest="workers", metavar="N", type=workers, default=1, help="worker processes (default 1)")
    p.add_argument("--scheduler", metavar="ADDRESS", help="a dask scheduler whose workers make the packages")
    p.add_argument("--isolated", action="store_true", help="run each notebook in a Jupyter kernel of its own (slow)")
    p.set_defaults(wrong=p.error)


def screen(args: argparse.Namespace) -> int:
    """Screen LISTING by its mapping into a new folder, or propose a mapping."""
    if args.look:
        if args.mapping or args.out:
            args.wrong("--look goes alone: it proposes a mapping and writes nothing")
        from wrapcalc.campaign.listing.look import look
        print("\n".join(look(args.listing).lines()))
        return 0
    if args.mapping is None or args.out is None:
        args.wrong("name the mapping and a new folder: --mapping FILE --out DIR (or --look for a proposal)")
    from wrapcalc.campaign.screening.screen import screen as run
    result = run(args.listing, args.mapping, args.out, format=args.format, where=args.where, life=args.life,
                 chance=args.chance, register=args.register, progress=_Progress())
    print("\n".join(result.lines()))
    return 1 if result.faulty else 0


class _Progress:
    """One line now and then of how far a screening is, on a terminal only."""

    def __init__(self) -> None:
        self._last = 0.0

    def __call__(self, what: str, rows: int) -> None:
        now = time.monotonic()
        if sys.stderr.isatty() and now - self._last > 1:
            self._last = now
            print(f"\r{what}: {rows} rows ", end="", file=sys.stderr, flush=True)


def campaign(args: argparse.Namespace) -> int:
    """Run a campaign, or go on with it; then order, dig list and report."""
    from wrapcalc.campaign.run import run_campaign
    out = args.out or args.file.with_suffix("")
    if args.scheduler and (args.isolated or args.workers > 1):
        args.wrong("--scheduler goes without -j and --isolated: the workers of the cluster make the packages")

    def progress(p) -> None:
        left = "" if not p.seconds_left else f"   about {_duration(p.seconds_left)} left"
        what = p.result.decision or p.result.state
        name = p.result.case_id or Path(p.result.source).stem
        print(f"[{p.finished}/{p.total}] {name}: {what}   {p.per_minute:.0f} a minute{left}", flush=True)

    told: list[str] = []

    def then(run) -> None:
        from wrapcalc.campaign.finish import finish
        told.extend(finish(run))

    try:
        run = run_campaign(args.file, out, workers=args.workers, scheduler=args.scheduler, isolated=args.isolated,
                           progress=progress, then=then,
                           fail=lambda line: print(f"FAILED: {line}", file=sys.stderr, flush=True))
    except KeyboardInterrupt:
        from wrapcalc.campaign.folder import outputs_wait
        print("\n".join(outputs_wait(out)), file=sys.stderr)
        raise
    print("\n".join(told))
    return 1 if run.failures or run.faulty_rows else 0


def _duration(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"


def example_listing(args: argparse.Namespace) -> int:
    """Write an invented listing with what belongs to it into FOLDER."""
    from wrapcalc.campaign.example.listing import write_listing
    written = write_listing(args.folder, rows=args.listing, seed=args.seed)
    print(f"wrote {written.rows} rows, {len(written.faulty)} of them with faults on purpose: "
          f"{args.folder / 'listing.csv'}")
    print(f"next: wrapcalc screen {args.folder / 'listing.csv'} --mapping {args.folder / 'mapping.toml'} "
          f"--out {args.folder / 'screening'}")
    print(f"      wrapcalc campaign {args.folder / 'campaign.toml'} -j 2")
    return 0

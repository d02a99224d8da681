"""The commands. No engineering here; heavy imports live inside the commands, so that help comes at once."""

from __future__ import annotations

import argparse
import datetime
import os
import signal
import sys
from collections.abc import Sequence
from pathlib import Path

from wrapcalc import __version__, cli_campaign

_STOPPED = "Stopped by Ctrl-C. Finished packages are whole; nothing half-written was left."


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status: 0 well, 1 faults or failures, 2 wrong use, 130 Ctrl-C."""
    before = signal.getsignal(signal.SIGINT)
    try:
        for stream in (sys.stdout, sys.stderr):
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors="replace")  # a console that lacks a sign shows "?", it never stops a run
        args = _parser().parse_args(argv)
        if args.run is not lab:  # JupyterLab asks at the first Ctrl-C and ends at the second
            _at_ctrl_c(_first_ctrl_c, before)
        # The error tree is imported late for the same reason as everything else: help must come at once.
        from wrapcalc.errors import WrapcalcError
        try:
            return args.run(args)
        except WrapcalcError as e:
            print(e, file=sys.stderr)
            return 1
        except BrokenPipeError:
            return 1
        except Exception:
            if signal.getsignal(signal.SIGINT) is not _stop_at_once:
                raise
            raise KeyboardInterrupt from None  # what a library made of a Ctrl-C in its middle
    except KeyboardInterrupt:
        _at_ctrl_c(signal.SIG_IGN, before)  # all is stopped and cleaned: another one could only disturb the exit
        print(_STOPPED, file=sys.stderr)
        return 130
    finally:
        # argv is None: the process is ours and ends now, which takes a moment. Else it is a caller's.
        _at_ctrl_c(signal.SIG_IGN if argv is None else before, before)


def _at_ctrl_c(do, before) -> None:
    """Set what Ctrl-C does, unless it was switched off from outside (a job in the background)."""
    if before not in (signal.SIG_IGN, None):
        try:
            signal.signal(signal.SIGINT, do)
        except ValueError:
            pass  # not the main thread, which alone hears of signals


def _first_ctrl_c(number, frame) -> None:
    signal.signal(signal.SIGINT, _stop_at_once)
    raise KeyboardInterrupt


def _stop_at_once(number, frame) -> None:
    """Ctrl-C again, while the first still cleans up or was swallowed by a library: clean up here and be gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    build = sys.modules.get("wrapcalc.package.build")
    if hasattr(build, "abandon"):
        build.abandon()
    os.write(2, f"{_STOPPED}\n".encode())
    os._exit(130)


def _parser() -> argparse.ArgumentParser:
    top = argparse.ArgumentParser(prog="wrapcalc", description="Assess corroded steel pipe and design bonded "
                                  "composite wraps: one calculation package per anomaly.", allow_abbrev=False)
    top.add_argument("--version", action="version", version=f"wrapcalc {__version__}")
    commands = top.add_subparsers(metavar="COMMAND", required=True)

    def command(name: str, run, text: str) -> argparse.ArgumentParser:
        p = commands.add_parser(name, help=text, description=text, allow_abbrev=False)
        p.set_defaults(run=run)
        return p

    p = command("example", example, "Write the example (an invented gas line) into a folder, for you to edit.")
    p.add_argument("folder", metavar="FOLDER", type=Path)
    p.add_argument("--listing", metavar="ROWS", type=int, help="instead: an invented inspection listing of so many "
                   "rows, with its mapping, base case, field measurements and campaign file")
    p.add_argument("--seed", metavar="N", type=int, default=1, help="with --listing: another seed, another listing")
    p.set_defaults(wrong=p.error)
    p = command("new", new, "Write a blank case, blank system sheets and the form of all that the owner must supply.")
    p.add_argument("folder", metavar="FOLDER", type=Path)
    p = command("check", check, "Show all faults of case files (or of folders of them); write nothing.")
    p.add_argument("cases", metavar="CASE", type=Path, nargs="+")
    p = command("package", package, "Make one package per case file (or per case file in a folder).")
    p.add_argument("cases", metavar="CASE", type=Path, nargs="+")
    p.add_argument("--out", metavar="DIR", type=Path, required=True, help="folder for the packages")
    p.add_argument("-j", dest="workers", metavar="N", type=_workers, default=1, help="worker processes (default 1)")
    p.add_argument("--isolated", action="store_true", help="run each notebook in a Jupyter kernel of its own (slow)")
    p = command("explain", explain, "Follow a printed number (such as A7 or C14) back to the fields of the case.")
    p.add_argument("folder", metavar="PACKAGE", type=Path)
    p.add_argument("step", metavar="STEP")
    p = command("verify", verify, "Check that no byte of a package has changed, run it again, compare step by step.")
    p.add_argument("folder", metavar="PACKAGE", type=Path)
    p = command("worksheet", worksheet, "List every unverified value and formula of a document, to compare with a "
                "licensed copy; read the ticks back into an overlay.")
    p.add_argument("edition", metavar="EDITION", nargs="*", help='the document, such as "ISO 24817:2017"')
    p.add_argument("--packages", metavar="FOLDER", type=Path, help="say which packages in this folder used what")
    p.add_argument("--out", metavar="FOLDER", type=Path, help="folder for the worksheet (default: this one)")
    p.add_argument("--read", metavar="CSV", type=Path, help="read a filled worksheet; wants --overlay")
    p.add_argument("--overlay", metavar="FILE", type=Path, help="with --read: the overlay that takes the marks, new or "
                   "existing; else: leave out what it marks")
    p.set_defaults(wrong=p.error)
    p = command("as-found", as_found, "Hold what was found at the pipe against a package: does its design still hold?")
    p.add_argument("folder", metavar="PACKAGE", type=Path)
    p.add_argument("file", metavar="FILE", type=Path, help="the filled form as_found.toml")
    p = command("approve", approve, "Approve a package: report and sheets again from its record, with names and date.")
    p.add_argument("folder", metavar="PACKAGE", type=Path)
    for who in ("author", "checker", "approver"):
        p.add_argument(f"--{who}", metavar="NAME", required=True)
    p.add_argument("--on", metavar="DATE", type=_day, help="date of approval (default today), such as 2026-11-02")
    p = command("closeout", closeout, "Hold the readings of the work against their limits, and the design against what "
                "was built.")
    p.add_argument("folder", metavar="PACKAGE", type=Path)
    p.add_argument("readings", metavar="READINGS", type=Path, help="CSV or XLSX, from the template in the package")
    p = command("register", register, "Bring the register of repairs up to date and show it, with the open pressure "
                "restrictions by section.")
    p.add_argument("folder", metavar="PACKAGES", type=Path)
    p.add_argument("--csv", metavar="FOLDER", type=Path, help="also write repairs, restrictions and what is due as CSV")
    p.add_argument("--geojson", metavar="FILE", type=Path, help="also write the repairs as GeoJSON")
    p.add_argument("--coordinates", action="store_true", help="with --geojson: write the coordinates, too")
    p.add_argument("--due", metavar="DATE", type=_day, help="list what is due, and what is overdue on this day")
    p.set_defaults(wrong=p.error)
    p = command("affected", affected, "List the packages and closed repairs that used a formula, a table value, a "
                "document, a system or a batch.")
    p.add_argument("name", metavar="NAME", nargs="+")
    p.add_argument("--packages", metavar="FOLDER", type=Path, required=True)
    cli_campaign.add(command, _workers)
    p = command("lab", lab, "Start JupyterLab on a folder with the workbooks and the example; loopback only, offline.")
    p.add_argument("folder", metavar="FOLDER", type=Path, nargs="?", default=Path("wrapcalc-lab"))
    p.add_argument("--no-browser", action="store_true", help="do not open a browser")
    p.add_argument("--port", type=int, default=8888, help="port on 127.0.0.1 (default 8888)")
    return top


def _workers(text: str) -> int:
    if not text.isdigit() or not 1 <= int(text) <= 64:
        raise argparse.ArgumentTypeError(f"found '{text[:20]}'; allowed: a whole number from 1 to 64")
    return int(text)


def _day(text: str) -> datetime.date:
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"found '{text[:20]}'; allowed: a date such as 2026-11-02") from None


def example(args: argparse.Namespace) -> int:
    """Write the example (an invented gas line) into FOLDER, for you to edit; or an invented listing."""
    if args.listing is not None:
        return cli_campaign.example_listing(args)
    from wrapcalc.package.starters import write_example
    for line in write_example(args.folder):
        print(line)
    return 0


def new(args: argparse.Namespace) -> int:
    """Write a blank case, a blank system sheet and the form of all that the owner must supply into FOLDER."""
    from wrapcalc.package.starters import write_new
    for line in write_new(args.folder):
        print(line)
    return 0


def check(args: argparse.Namespace) -> int:
    """Show all faults of the case files (or folders) CASES; write nothing."""
    from wrapcalc.case import load_bundle
    from wrapcalc.case.model import QUESTIONS
    from wrapcalc.errors import CaseFaults
    from wrapcalc.package.many import case_files, duplicates
    from wrapcalc.package.texts import unprintable
    from wrapcalc.stages.scope import missing_for_assessment, missing_for_design
    files = case_files(args.cases)
    twice, bad = duplicates(files), 0
    for path in files:
        try:
            bundle = load_bundle(path)
            faults = [str(f) for f in unprintable(bundle, path.name)] + ([twice[path]] if path in twice else [])
        except CaseFaults as e:
            faults = [str(f) for f in e.faults]
        if faults:
            bad += 1
            print(f"{path}: {len(faults)} fault{'s' if len(faults) > 1 else ''}")
            for fault in faults:
                print(f"  {fault}")
        else:
            print(f"{path}: no faults")
            for purpose, open_ in (("any decision", missing_for_assessment(bundle)),
                                   ("a wrap, should one be designed", missing_for_design(bundle))):
                if open_:
                    print(f"  not answered yet, {len(open_)} needed for {purpose}:")
                    print("\n".join(f"    {name}  {QUESTIONS[name]}" for name in open_))
    return 1 if bad else 0


def package(args: argparse.Namespace) -> int:
    """Make one package per case file (or per case file in a folder) of CASES."""
    from wrapcalc.package.build import Result, prepare_output, remove_leftovers
    from wrapcalc.package.many import case_files, package_all
    files = case_files(args.cases)
    prepare_output(args.out)
    left_over = remove_leftovers(args.out)
    if left_over:
        print(f"removed {left_over} unfinished folder{'s' if left_over > 1 else ''} of a run that was killed")
    width = len(str(len(files)))

    def done(result: Result, n: int, total: int, left: float) -> None:
        name = result.case_id or Path(result.source).name
        what = {"written": f"{result.decision} → {result.folder}", "unchanged": f"unchanged: {result.folder}",
                "failed": f"FAILED: {_first_line(result.message)}"}[result.state]
        eta = f"   about {_duration(left)} left" if n < total and left >= 1 else ""
        print(f"[{n:{width}}/{total}] {name}: {what}{eta}", flush=True)

    results = package_all(files, args.out, workers=args.workers, isolated=args.isolated, done=done)
    failed = [r for r in results if r.state == "failed"]
    for r in failed:
        print(f"\n{r.source}: {r.message}", file=sys.stderr)
    counts = {s: sum(r.state == s for r in results) for s in ("written", "unchanged", "failed")}
    print("\n" + ", ".join(f"{n} {s}" for s, n in counts.items() if n))
    return 1 if failed else 0


def _first_line(message: str) -> str:
    first, *more = message.splitlines() or [""]
    return first.rstrip(":") + " (listed below)" if more else first


def _duration(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"


def explain(args: argparse.Namespace) -> int:
    """Follow a printed number (such as A7 or C14) of PACKAGE back to the fields of the case."""
    from wrapcalc.package.build import guards
    from wrapcalc.package.explain import explain as explain_step
    from wrapcalc.package.explain import read_record
    print(explain_step(read_record(args.folder), args.step, guards()))
    return 0


def verify(args: argparse.Namespace) -> int:
    """Check that no byte of PACKAGE has changed, then run it again and compare step by step."""
    from wrapcalc.package.verify import verify as verify_package
    v = verify_package(args.folder)
    print("integrity: " + ("every byte is as it was written" if not v.problems else
                                f"{len(v.problems)} problem{'s' if len(v.problems) > 1 else ''}"))
    for line in v.problems:
        print(f"  {line}")
    found = f"{len(v.differences)} difference{'s' if len(v.differences) > 1 else ''}"
    print("recomputation: " + (found if v.differences else
                               f"all {v.steps} steps and procedures and every check the same"))
    for line in v.differences:
        print(f"  {line}")
    if v.notes:
        print("versions since then: " + "; ".join(v.notes))
    print("verified" if v.ok else "NOT VERIFIED")
    return 0 if v.ok else 1


def worksheet(args: argparse.Namespace) -> int:
    """List what is unverified of EDITION, to compare with a licensed copy; or read the ticks back into an overlay."""
    edition = " ".join(args.edition)
    if args.read is None:
        if not edition:
            args.wrong('name the document, such as "ISO 24817:2017", or a filled worksheet: --read CSV --overlay FILE')
        from wrapcalc.package.worksheet import write_worksheet
        for line in write_worksheet(edition, args.out or Path(), packages=args.packages, overlay=args.overlay):
            print(line)
        return 0
    if args.overlay is None or edition or args.packages or args.out:
        args.wrong("--read CSV goes with --overlay FILE, and with nothing else")
    from wrapcalc.package.worksheet_read import read_worksheet
    outcome = read_worksheet(args.read, args.overlay)
    for line in outcome.lines(args.overlay):
        print(line)
    for line in outcome.notices:
        print(line, file=sys.stderr)
    return 1 if outcome.notices else 0


def as_found(args: argparse.Namespace) -> int:
    """Hold what was found, FILE, against PACKAGE: the design is worked again and compared with what was issued."""
    from wrapcalc.package.as_found import as_found_package
    result = as_found_package(args.folder, args.file)
    print("\n".join(result.lines))
    return 0 if result.verdict == "the design holds" else 1


def approve(args: argparse.Namespace) -> int:
    """Approve PACKAGE: its report and sheets are made again from the same record, with names and date."""
    from wrapcalc.package.approve import approve as approve_package
    result = approve_package(args.folder, args.author, args.checker, args.approver, args.on or datetime.date.today())
    print("\n".join(result.lines))
    return 0


def closeout(args: argparse.Namespace) -> int:
    """Close PACKAGE by its READINGS: verdict, non-conformances, what is missing."""
    from wrapcalc.package.closeout import closeout_package
    result = closeout_package(args.folder, args.readings)
    print("\n".join(result.lines))
    return 0 if result.verdict.startswith("accepted") else 1


def register(args: argparse.Namespace) -> int:
    """Bring the register beside PACKAGES up to date and show it."""
    from wrapcalc import register as book
    if args.coordinates and args.geojson is None:
        args.wrong("--coordinates goes with --geojson FILE")
    changes = book.update(args.folder)
    day = args.due or datetime.date.today()
    print("\n".join([*changes.lines(), *book.lines(changes.now, day)]))
    due = book.due(changes.now, day)
    if args.due is not None:
        print("\n".join(book.due_lines(due)))
    if args.csv is not None:
        print("\n".join(f"wrote {p}" for p in book.write_csv(args.csv, changes.now, due)))
    if args.geojson is not None:
        print(f"wrote {book.write_geojson(args.geojson, args.folder, changes.now, coordinates=args.coordinates)}")
    return 0


def affected(args: argparse.Namespace) -> int:
    """List the packages and closed repairs in FOLDER that used NAME."""
    from wrapcalc import register as book
    print("\n".join(book.affected_lines(book.affected(args.packages, " ".join(args.name)))))
    return 0


def lab(args: argparse.Namespace) -> int:
    """Start JupyterLab on FOLDER with the workbooks and the example; loopback only, offline."""
    from wrapcalc.package.starters import start_lab, write_lab
    for line in write_lab(args.folder):
        print(line)
    return start_lab(args.folder, no_browser=args.no_browser, port=args.port)

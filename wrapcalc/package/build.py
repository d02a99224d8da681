"""One case to one package folder: built aside, renamed when whole, never changed afterwards."""

from __future__ import annotations

import csv
import io
import json
import os
import platform
import re
import secrets
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from wrapcalc import record as records
from wrapcalc.case import Bundle, load_bundle
from wrapcalc.errors import CalculationError, CaseFaults, PackageError, WrapcalcError
from wrapcalc.package import digests
from wrapcalc.package.changes import changes
from wrapcalc.package.texts import unprintable

TEMPLATE = "repair_package.ipynb"
#: So often a package is made anew because other runs took its revision number meanwhile.
ATTEMPTS = 10
#: A package is built in a folder that tells who builds it: process, host, random letters.
_UNFINISHED = re.compile(r"\.building-(?P<pid>\d{1,10})-(?P<host>.+)-[a-z0-9_]+")
in_hand: set[Path] = set()


@dataclass(frozen=True)
class Result:
    """What became of one case. state: "written", "unchanged" or "failed"; message: lines for the user."""

    source: str
    state: str
    case_id: str = ""
    folder: str = ""
    decision: str = ""
    message: str = ""
    seconds: float = 0.0


@dataclass(frozen=True)
class Previous:
    """The latest package of the same case in the same folder."""

    revision: int = 0
    folder: Path | None = None
    manifest: dict[str, Any] = field(default_factory=dict)


def make_package(source: Path, out: Path, *, isolated: bool = False) -> Result:
    """Package one case file. Never raises an Exception: a bad case is a Result that says why."""
    start, case_id = time.perf_counter(), ""
    try:
        bundle = load_bundle(source)
        case_id = bundle.case.id
        if faults := list(unprintable(bundle, source.name)):
            raise CaseFaults(faults)
        return _package(source, bundle, out, isolated, start)
    except CaseFaults as e:
        count = len(e.faults)
        message = f"{count} fault{'s' if count > 1 else ''}:\n{e}"
    except CalculationError as e:
        message = f"the calculation stopped: {e}"
    except WrapcalcError as e:
        message = str(e)
    except OSError as e:
        message = (f"a file could not be read or written: {e.strerror or e}"
                   + (f" ({Path(e.filename).name})" if e.filename else "") + ". Nothing half-written was left "
                   f"below {out}; make room or choose another --out folder.")
    except Exception as e:  # a defect of ours or of a library must not stop the other cases
        message = f"an unforeseen error ({type(e).__name__}: {e}); a defect of this tool, please report it"
    return Result(str(source), "failed", case_id, message=message)


def _package(source: Path, bundle: Bundle, out: Path, isolated: bool, start: float) -> Result:
    from wrapcalc.stages.job import run
    record = records.build(run(bundle))
    made_from = {"record_sha256": records.digest(record), "workbook_sha256": digests.sha256(template().read_bytes())}
    for _ in range(ATTEMPTS):
        previous = latest(out, bundle.case.id)
        if previous.folder is not None:
            problems = digests.integrity(previous.folder)
            if problems:
                raise PackageError(f"{previous.folder}: this earlier package was changed after it was written "
                                   f"({problems[0]}); move it away or restore it, then run again")
            same = all(previous.manifest.get(k) == v for k, v in made_from.items())
            if same and previous.manifest["versions"]["wrapcalc"] == digests.versions()["wrapcalc"]:
                return Result(str(source), "unchanged", bundle.case.id, str(previous.folder),
                              record["decision"]["word"], "unchanged since this revision; nothing to do",
                              time.perf_counter() - start)
        revision = previous.revision + 1
        folder = out / f"{bundle.case.id}-r{revision}"
        # Absolute, because a notebook runs with another working folder; noted before it is there, because Ctrl-C
        # can come between the two.
        aside = (out / f".building-{os.getpid()}-{host_name()}-{secrets.token_hex(4)}").absolute()
        in_hand.add(aside)
        try:
            aside.mkdir(0o700)
            _fill(aside, bundle, record, revision, previous, made_from, isolated, start)
            os.chmod(aside, 0o755)
            if put_in_place(aside, folder):
                return Result(str(source), "written", bundle.case.id, str(folder), record["decision"]["word"],
                              record["decision"]["sentence"], time.perf_counter() - start)
        finally:
            shutil.rmtree(aside, ignore_errors=True)  # not there any more when it was put in place
            in_hand.discard(aside)
        # Another run wrote this revision meanwhile. It may be just what we would write; else ours is the next
        # one. The number stands on every page, so the package is made anew.
    raise PackageError(f"{out}: other runs write revisions of {bundle.case.id} all the time; wait for them to end, "
                       "then run again")


def put_in_place(aside: Path, folder: Path) -> bool:
    """Give a whole package its name; False when another run has taken the name."""
    if folder.exists():
        return False
    try:
        os.rename(aside, folder)
    except OSError:
        if folder.exists():  # taken between the question and the renaming, which never replaces a full folder
            return False
        raise
    return True


def remove_leftovers(out: Path) -> int:
    """Remove the unfinished folders of runs that were killed; how many. Never one whose process lives or that
    belongs to another host, where nothing can be known of it."""
    return remove_unfinished(out, lambda pid: not _alive(pid))


def remove_unfinished(out: Path, owner: Callable[[int], bool]) -> int:
    """Remove the unfinished folders in `out` whose process on this host `owner` names; how many."""
    removed = 0
    for path in list(out.iterdir()) if out.is_dir() else ():
        m = _UNFINISHED.fullmatch(path.name)
        if m and m["host"] == host_name() and path.is_dir() and not path.is_symlink() and owner(int(m["pid"])):
            shutil.rmtree(path, ignore_errors=True)
            removed += not path.exists()
    return removed


def abandon() -> None:
    """Remove what this process has in hand: for a process that ends at once, past all `finally`."""
    for path in list(in_hand):
        shutil.rmtree(path, ignore_errors=True)
    shell = sys.modules.get("wrapcalc.package.notebook_shell")
    if shell is not None and shell._empty_ipython_folder.cache_info().currsize:
        shell._empty_ipython_folder().cleanup()


def host_name() -> str:
    """This host as part of a file name. Containers can share a host's name but not its process numbers: there
    the process namespace is part of it."""
    try:
        space = f".{os.stat('/proc/self/ns/pid').st_ino}"
    except OSError:
        space = ""
    return (re.sub(r"[^A-Za-z0-9.]", "_", platform.node())[:60] or "unnamed") + space


def _alive(pid: int) -> bool:
    """Whether a process of this number lives on this host; when in doubt, it does."""
    if sys.platform == "win32":  # os.kill(pid, 0) would end the process there
        import ctypes
        kernel = ctypes.WinDLL("kernel32", use_last_error=True)
        kernel.OpenProcess.restype = ctypes.c_void_p
        handle = kernel.OpenProcess(0x100000, False, pid)  # SYNCHRONIZE: the right to wait for its end
        if not handle:
            return ctypes.get_last_error() != 87  # ERROR_INVALID_PARAMETER: there is no such process
        ended = kernel.WaitForSingleObject(ctypes.c_void_p(handle), 0) == 0
        kernel.CloseHandle(ctypes.c_void_p(handle))
        return not ended
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True  # another user's, or no number that a process can have
    return True


def prepare_output(out: Path) -> None:
    """Make the output folder. Raises PackageError when it is a file or cannot be written."""
    if out.exists() and not out.is_dir():
        raise PackageError(f"{out}: this is a file; --out wants a folder")
    try:
        out.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=out):
            pass
    except OSError as e:
        raise PackageError(f"{out}: cannot write here ({e.strerror or e}); choose another --out folder") from None


def latest(out: Path, case_id: str) -> Previous:
    """The package of the highest revision of this case in `out`."""
    best = Previous()
    pattern = re.compile(re.escape(case_id) + r"-r(\d+)")
    for path in out.iterdir() if out.is_dir() else ():
        m = pattern.fullmatch(path.name)
        if m and path.is_dir() and int(m[1]) > best.revision:
            best = Previous(int(m[1]), path)
    if best.folder is None:
        return best
    return Previous(best.revision, best.folder, digests.read_manifest(best.folder))


def template(name: str = TEMPLATE) -> Path:
    """A parameterized notebook: in an installed package, or in workbooks/ of the repository."""
    for folder in (Path(__file__).parents[1] / "workbooks", Path(__file__).parents[2] / "workbooks"):
        if (folder / name).is_file():
            return folder / name
    raise PackageError(f"the notebook {name} is missing from this installation; install wrapcalc again")


def _fill(folder: Path, bundle: Bundle, record: dict[str, Any], revision: int, previous: Previous,
          made_from: dict[str, str], isolated: bool, start: float) -> None:
    from wrapcalc.package.engine import run_notebook
    from wrapcalc.package.report import report_html
    for name, raw in bundle.files.items():
        (folder / name).write_bytes(raw)
    (folder / "record.json").write_bytes(records.to_bytes(record))
    differs = None
    if previous.folder is not None:
        differs = changes(json.loads((previous.folder / "record.json").read_bytes()), record)
        write_json(folder / "changes.json", {"schema": 1, "since_revision": previous.revision, "changes": differs})
    run_notebook(template(), folder / "workbook.ipynb", {"case_file": "case.toml"}, cwd=folder, isolated=isolated)
    if made_from["record_sha256"] not in (folder / "workbook.ipynb").read_text(encoding="utf-8"):
        raise PackageError("the notebook shows another record than the package holds; a defect of this tool, please "
                           "report it")
    html = report_html(record, revision=revision, digest=made_from["record_sha256"], changes=differs,
                       guards=guards(), supersedes=previous.revision or None)
    _page(folder, "package", html, record["case"]["paper"])
    if record["site"]["dig"]:
        from wrapcalc.package.dig_sheet import dig_sheet_html
        sheet = dig_sheet_html(record, revision=revision, digest=made_from["record_sha256"])
        _page(folder, "dig-sheet", sheet, record["case"]["paper"])
    if record["decision"]["word"] == "wrap":
        from wrapcalc.package.as_found_form import blank_form
        from wrapcalc.package.readings_template import template_csv
        from wrapcalc.package.site_sheet import kit_list_html, site_sheet_html
        for name, made in (("site-sheet", site_sheet_html), ("kit-list", kit_list_html)):
            _page(folder, name, made(record, revision=revision, digest=made_from["record_sha256"]),
                  record["case"]["paper"])
        of: dict[str, Any] = {"revision": revision, "digest": made_from["record_sha256"]}
        (folder / "as-found-form.toml").write_text(blank_form(record, bundle, **of), encoding="utf-8", newline="\n")
        (folder / "readings-template.csv").write_text(template_csv(record, bundle, **of), encoding="utf-8", newline="")
    if record["order"]:
        (folder / "takeoff.csv").write_text(takeoff_csv(record), encoding="utf-8", newline="")
    (folder / "README.txt").write_text(_readme(record, revision), encoding="utf-8", newline="\n")
    write_json(folder / "run.json", {"schema": 1, "finished_utc": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()),
                                "seconds": round(time.perf_counter() - start, 3), "machine": platform.machine(),
                                "engine": "kernel" if isolated else "in process"})
    facts: dict[str, Any] = {"case": record["case"]["id"], "revision": revision,
                             "decision": record["decision"]["word"]} | made_from
    if previous.folder is not None:
        facts["previous"] = {"revision": previous.revision,
                             "manifest_sha256": digests.sha256((previous.folder / digests.MANIFEST).read_bytes())}
    digests.write_manifest(folder, facts)


def _page(folder: Path, name: str, html: str, paper: str) -> None:
    """One page as HTML and as PDF."""
    from wrapcalc.package.pdf import html_to_pdf
    (folder / f"{name}.html").write_text(html, encoding="utf-8", newline="\n")
    html_to_pdf(html, folder / f"{name}.pdf", paper=paper)  # type: ignore[arg-type]


def write_json(path: Path, data: dict[str, Any]) -> None:
    path.write_text(json.dumps(data, indent=1, ensure_ascii=False) + "\n", encoding="utf-8", newline="\n")


def guards() -> dict[str, list[str]]:
    """Formula -> reference checks that guard it, as generated by reference_checks/coverage.py."""
    from importlib import resources
    return json.loads(resources.files("wrapcalc.formulas").joinpath("guards.json").read_text(encoding="utf-8"))


def takeoff_csv(record: dict[str, Any]) -> str:
    """The order as CSV (RFC 4180). Text cells that a spreadsheet could run are defused with an apostrophe."""
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(["case", "item", "quantity", "unit", "packs", "pack size", "basis", "step"])
    for line in record["order"]:
        number, _, unit = line["quantity"]["shown"].partition(" ")
        writer.writerow([_inert(t) for t in (
            record["case"]["id"], line["item"], number, unit or "pieces",
            line["packs"]["shown"] if line["packs"] else "", line["pack"]["shown"] if line["pack"] else "",
            line["basis"], line["quantity"]["origin"]["ref"].partition("/")[0])])
    return buffer.getvalue()


def _inert(text: str) -> str:
    return "'" + text if text[:1] in ("=", "+", "-", "@", "\t") else text


def _readme(record: dict[str, Any], revision: int) -> str:
    case = record["case"]
    lines = [
        f"Calculation package {case['id']}, revision {revision}: {record['decision']['word']}",
        "NOT APPROVED: not for construction until it is checked and approved.",
        "",
        "How to read this folder without the tool that made it:",
        "package.pdf, package.html  the package; both say the same, and every number leads to its step",
        "record.json                everything in it as data (JSON, UTF-8); the pages are made from it alone",
        "dig-sheet.pdf, .html       for the dig: the right joint, the trench, blanks for what is found",
        "site-sheet.pdf, .html      two pages for the crew; only when the decision is 'wrap'",
        "kit-list.pdf, .html        what must be in the vehicle; only when the decision is 'wrap'",
        "as-found-form.toml         to be filled in at the pipe: wrapcalc as-found FOLDER FILE",
        "readings-template.csv      to be filled in during the work: wrapcalc closeout FOLDER FILE",
        "workbook.ipynb             the same calculation step by step (Jupyter notebook, JSON)",
        "case.toml                  what the engineer stated; other .toml and .csv files: what it refers to",
        "takeoff.csv                what to order; only when the decision is 'wrap'",
        "changes.json               what differs from the revision before; only from revision 2 on",
        "manifest.json              SHA-256 of every file, versions of the software",
        "manifest.sha256            SHA-256 of manifest.json (check: sha256sum -c manifest.sha256)",
        "run.json                   when and how long it ran; not part of the record",
        "",
        "With wrapcalc installed:",
        "wrapcalc explain FOLDER A7     from a step back to the fields it rests on",
        "wrapcalc verify FOLDER         are all bytes as written, and does a new run give the same numbers?",
        "",
        "This folder is never changed after it was written. A change of the case gives a new revision beside it.",
    ]
    return "\n".join(lines) + "\n"

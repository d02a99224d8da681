"""One case to one package folder: built aside, renamed when whole, never changed afterwards."""

from __future__ import annotations

import csv
import io
import json
import os
import platform
import re
import shutil
import tempfile
import time
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
    """Package one case file. Never raises a WrapcalcError: a bad case is a Result that says why."""
    start = time.perf_counter()
    try:
        bundle = load_bundle(source)
        if faults := list(unprintable(bundle, source.name)):
            raise CaseFaults(faults)
        return _package(source, bundle, out, isolated, start)
    except CaseFaults as e:
        count = len(e.faults)
        return Result(str(source), "failed", message=f"{count} fault{'s' if count > 1 else ''}:\n{e}")
    except CalculationError as e:
        return Result(str(source), "failed", message=f"the calculation stopped: {e}")
    except WrapcalcError as e:
        return Result(str(source), "failed", message=str(e))
    except OSError as e:
        return Result(str(source), "failed", message=f"a file could not be read or written: {e.strerror or e}"
                      + (f" ({Path(e.filename).name})" if e.filename else "") + ". Nothing half-written was left "
                      f"below {out}; make room or choose another --out folder.")


def _package(source: Path, bundle: Bundle, out: Path, isolated: bool, start: float) -> Result:
    from wrapcalc.stages.job import run
    record = records.build(run(bundle))
    previous = latest(out, bundle.case.id)
    made_from = {"record_sha256": records.digest(record), "workbook_sha256": digests.sha256(template().read_bytes())}
    if previous.folder is not None:
        problems = digests.integrity(previous.folder)
        if problems:
            raise PackageError(f"{previous.folder}: this earlier package was changed after it was written "
                               f"({problems[0]}); move it away or restore it, then run again")
        same = all(previous.manifest.get(k) == v for k, v in made_from.items())
        if same and previous.manifest["versions"]["wrapcalc"] == digests.versions()["wrapcalc"]:
            return Result(str(source), "unchanged", bundle.case.id, str(previous.folder), record["decision"]["word"],
                          "unchanged since this revision; nothing to do", time.perf_counter() - start)
    revision = previous.revision + 1
    folder = out / f"{bundle.case.id}-r{revision}"
    aside = Path(tempfile.mkdtemp(prefix=f".building-{bundle.case.id}-", dir=out))
    try:
        _fill(aside, bundle, record, revision, previous, made_from, isolated, start)
        os.chmod(aside, 0o755)
        if folder.exists():
            raise PackageError(f"{folder}: another run wrote this revision meanwhile; run again")
        os.rename(aside, folder)
    except BaseException:
        shutil.rmtree(aside, ignore_errors=True)
        raise
    return Result(str(source), "written", bundle.case.id, str(folder), record["decision"]["word"],
                  record["decision"]["sentence"], time.perf_counter() - start)


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


def template() -> Path:
    """The parameterized notebook: in an installed package, or in workbooks/ of the repository."""
    for folder in (Path(__file__).parents[1] / "workbooks", Path(__file__).parents[2] / "workbooks"):
        if (folder / TEMPLATE).is_file():
            return folder / TEMPLATE
    raise PackageError(f"the notebook {TEMPLATE} is missing from this installation; install wrapcalc again")


def _fill(folder: Path, bundle: Bundle, record: dict[str, Any], revision: int, previous: Previous,
          made_from: dict[str, str], isolated: bool, start: float) -> None:
    from wrapcalc.package.engine import run_notebook
    from wrapcalc.package.pdf import html_to_pdf
    from wrapcalc.package.report import report_html
    for name, raw in bundle.files.items():
        (folder / name).write_bytes(raw)
    (folder / "record.json").write_bytes(records.to_bytes(record))
    differs = None
    if previous.folder is not None:
        differs = changes(json.loads((previous.folder / "record.json").read_bytes()), record)
        _json(folder / "changes.json", {"schema": 1, "since_revision": previous.revision, "changes": differs})
    run_notebook(template(), folder / "workbook.ipynb", {"case_file": "case.toml"}, cwd=folder, isolated=isolated)
    if made_from["record_sha256"] not in (folder / "workbook.ipynb").read_text(encoding="utf-8"):
        raise PackageError("the notebook shows another record than the package holds; a defect of this tool, please "
                           "report it")
    html = report_html(record, revision=revision, digest=made_from["record_sha256"], changes=differs,
                       guards=guards())
    (folder / "package.html").write_text(html, encoding="utf-8", newline="\n")
    html_to_pdf(html, folder / "package.pdf", paper=record["case"]["paper"])
    if record["order"]:
        (folder / "takeoff.csv").write_text(takeoff_csv(record), encoding="utf-8", newline="")
    (folder / "README.txt").write_text(_readme(record, revision), encoding="utf-8", newline="\n")
    _json(folder / "run.json", {"schema": 1, "finished_utc": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()),
                                "seconds": round(time.perf_counter() - start, 3), "machine": platform.machine(),
                                "engine": "kernel" if isolated else "in process"})
    facts: dict[str, Any] = {"case": record["case"]["id"], "revision": revision,
                             "decision": record["decision"]["word"]} | made_from
    if previous.folder is not None:
        facts["previous"] = {"revision": previous.revision,
                             "manifest_sha256": digests.sha256((previous.folder / digests.MANIFEST).read_bytes())}
    digests.write_manifest(folder, facts)


def _json(path: Path, data: dict[str, Any]) -> None:
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

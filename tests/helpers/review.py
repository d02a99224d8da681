"""Packages to review, and what is said of them, for the tests of the review."""

import datetime
import json
import re
import shutil
from importlib import resources
from pathlib import Path

from wrapcalc.package.approve import approve
from wrapcalc.package.build import make_package
from wrapcalc.package.explain import read_record
from wrapcalc.package.review import reviewable, say
from wrapcalc.package.review_lines import BACK, CHECKED, CLOSED, COMMENT, QUERY, WHOLE

AUTHOR, CHECKER, OTHER, APPROVER = "E. Example", "C. Checker", "D. Second", "A. Approver"
AT = datetime.datetime(2026, 11, 2, 9, 30, 15, tzinfo=datetime.UTC)


def build(out: Path) -> None:
    """first/: HB-02 (no repair needed, quick to print) and HB-51, a wrap; second/: HB-02 again, with a deeper pit."""
    with resources.as_file(resources.files("wrapcalc.example")) as source:
        shutil.copytree(source, out / "cases", ignore=shutil.ignore_patterns("__*"))
    (out / "first").mkdir()
    _package(out, "first", "HB-02", "HB-51")
    shutil.copytree(out / "first", out / "second")
    case = out / "cases" / "HB-02.toml"
    text = case.read_text("utf-8")
    deeper = re.sub(r'(?m)^(depth = \{ value = )"[^"]+"', r'\1"1.3 mm"', text)
    assert deeper != text
    case.write_text(deeper, "utf-8")
    _package(out, "second", "HB-02")


def _package(out: Path, place: str, *names: str) -> None:
    for name in names:
        result = make_package(out / "cases" / f"{name}.toml", out / place)
        assert result.state == "written", result.message


def review_then_issue(built: Path, folder: Path) -> Path:
    """Revision 1 reviewed, then revision 2 issued beside it."""
    shutil.copytree(built / "first" / "HB-02-r1", folder / "HB-02-r1")
    speak(folder / "HB-02-r1", (CHECKER, CHECKED, "A1"), (CHECKER, CHECKED, "A2"), (CHECKER, BACK, "A2"),
          (CHECKER, QUERY, "A3", "Why 5 mm?"), (OTHER, QUERY, "A1", "Settled?"), (OTHER, CLOSED, "A1", "yes", 2),
          (OTHER, COMMENT, WHOLE, "No photographs."))
    shutil.copytree(built / "second" / "HB-02-r2", folder / "HB-02-r2")
    return folder


def opened(package):
    return reviewable(package), read_record(package)


def speak(package, *said):
    """Each: who, act, item, and what else `say` takes."""
    of, record = opened(package)
    for who, act, item, *more in said:
        review = say(of, record, who, act, item, *more, at=AT)
    return review


def lines(out, name="HB-02-r1"):
    return (out / "review" / name / "comments.jsonl").read_bytes()


def made(package) -> datetime.date:
    return datetime.date.fromisoformat(json.loads((package / "run.json").read_bytes())["finished_utc"][:10])


def approved(package, checker=CHECKER, author=AUTHOR):
    noon = datetime.datetime.combine(made(package), datetime.time(12), tzinfo=datetime.UTC)
    return approve(package, author, checker, APPROVER, made(package), now=noon)

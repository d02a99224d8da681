"""A package with everything beside it that field data need; labels and certificate end late, whenever the tests run."""

import datetime
import json
import shutil
from importlib import resources
from pathlib import Path

import pytest

from tests.helpers.as_found import HB_07, Sheet
from tests.helpers.closeout import Sound, looked
from wrapcalc.case import load_bundle
from wrapcalc.package import digests
from wrapcalc.package.build import make_package
from wrapcalc.stages.job import run
from wrapcalc.workbook.on_site.book import ReadingsBook
from wrapcalc.workbook.on_site.opened import Opened, opened
from wrapcalc.workbook.on_site.sheet import FoundSheet

_FAR = {"2026-12-20": "2099-12-31", "2027-01-31": "2099-12-31", "2027-06-30": "2099-12-31", "2027-03-15": "2099-12-31",
        'qualified_until = "2027-03-31"': 'qualified_until = "2099-12-31"'}
GRID = resources.files("wrapcalc.example").joinpath("HB-07-grid.csv").read_bytes()


@pytest.fixture(scope="session")
def built(tmp_path_factory):
    """(folder of packages with HB-07-r1, its outcome)."""
    root = tmp_path_factory.mktemp("on_site")
    with resources.as_file(resources.files("wrapcalc.example")) as source:
        shutil.copytree(source, root / "example", ignore=shutil.ignore_patterns("__*"))
    case = root / "example" / "HB-07.toml"
    text = case.read_text("utf-8")
    for a, b in _FAR.items():
        text = text.replace(a, b)
    case.write_text(text, "utf-8")
    (root / "out").mkdir()
    result = make_package(case, root / "out")
    assert result.state == "written", result.message
    return root / "out", run(load_bundle(case))


@pytest.fixture(scope="session")
def again(built):
    """The case of the package run again, once for all tests."""
    from wrapcalc.package.closeout import rerun
    from wrapcalc.package.issued import issued
    return rerun(issued(built[0] / "HB-07-r1", "check"))


class Place:
    """A copy of the package, and a folder of the user beside it."""

    def __init__(self, out: Path, outcome, again):
        self.out, self.package, self.field = out, out / "HB-07-r1", out.parent / "field"
        self.outcome, self.again = outcome, again
        told = json.loads((self.package / "run.json").read_bytes())["finished_utc"]
        self.made = datetime.datetime.fromisoformat(told)
        self.now = self.made + datetime.timedelta(days=9)
        self.sha = digests.read_manifest(self.package)["record_sha256"]

    def opened(self, what: str = "check") -> Opened:
        o = opened(str(self.package), str(self.field), what)
        o.again = self.again  # as if it had been worked already
        return o

    def sheet(self) -> FoundSheet:
        return FoundSheet(self.opened())

    def book(self) -> ReadingsBook:
        return ReadingsBook(self.opened("close out"))

    def found(self, **changes) -> Path:
        """A sheet by hand that agrees with the package, unless changed."""
        day = self.made.date().isoformat()
        s = Sheet(HB_07, self.field, digest=self.sha[:12], date=day, grid=GRID)
        for dotted, value in changes.items():
            s.put(dotted.replace("__", "."), value)
        return s.write()

    def sound(self) -> Sound:
        return Sound(self.outcome, "HB-07-r1", self.sha, self.made + datetime.timedelta(hours=30))

    def approve(self) -> None:
        """An approval and a look that says the design holds."""
        self.approve_only()
        looked(self.out, "HB-07-r1")

    def approve_only(self) -> None:
        """An approval."""
        folder = self.out / "approval" / "HB-07-r1"
        folder.mkdir(parents=True)
        digests.write_manifest(folder, {
            "kind": "approval", "package": "HB-07-r1", "approver": "A. Approver",
            "approved_on": self.made.date().isoformat(), "written_utc": f"{self.made:%Y-%m-%dT%H:%M:%SZ}",
            "package_manifest_sha256": digests.sha256((self.package / digests.MANIFEST).read_bytes())})

    def left(self) -> list[str]:
        """What stands in the user's folder."""
        return sorted(p.name for p in self.field.iterdir()) if self.field.is_dir() else []


@pytest.fixture
def place(built, again, tmp_path) -> Place:
    shutil.copytree(built[0], tmp_path / "out")
    return Place(tmp_path / "out", built[1], again)

"""A look into the ditch on disk: sealed beside its package, never over a package that is not what it was."""

import datetime
import json
import shutil
import tomllib
from importlib import resources
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.helpers.as_found import HB_07, HB_15, Sheet
from wrapcalc import record as records
from wrapcalc.case import load_bundle
from wrapcalc.case.as_found import read_as_found
from wrapcalc.errors import CaseFaults, PackageError
from wrapcalc.package import as_found as af
from wrapcalc.package import digests, pdf
from wrapcalc.package.as_found_form import blank_form
from wrapcalc.package.build import make_package
from wrapcalc.record import digest as digest_of
from wrapcalc.stages.job import run

EXAMPLE = Path(str(resources.files("wrapcalc.example")))
GRID = (EXAMPLE / "HB-07-grid.csv").read_bytes()
BASES = {"HB-07": HB_07, "HB-15": HB_15}


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    out = tmp_path_factory.mktemp("as_found") / "out"
    out.mkdir()
    for name in BASES:
        result = make_package(EXAMPLE / f"{name}.toml", out)
        assert result.state == "written", result.message
    return out


class Place:
    def __init__(self, out: Path):
        self.out = out

    def package(self, name: str = "HB-07") -> Path:
        return self.out / f"{name}-r1"

    def sheet(self, name: str = "HB-07") -> Sheet:
        told = json.loads((self.package(name) / "run.json").read_bytes())["finished_utc"]
        self.now = datetime.datetime.fromisoformat(told) + datetime.timedelta(days=1)
        manifest = digests.read_manifest(self.package(name))
        return Sheet(BASES[name], self.out.parent / "ditch", digest=manifest["record_sha256"][:12],
                     date=self.now.date().isoformat(), grid=GRID if name == "HB-07" else b"")

    def look(self, changes: dict | None = None, *, name: str = "HB-07") -> af.Result:
        s = self.sheet(name)
        for dotted, value in (changes or {}).items():
            s.put(dotted, value)
        return af.as_found_package(self.package(name), s.write(), now=self.now)


@pytest.fixture
def place(built, tmp_path):
    shutil.copytree(built, tmp_path / "out")
    return Place(tmp_path / "out")


def left(place) -> list[str]:
    folder = place.out / "as_found"
    return sorted(p.name for p in folder.iterdir()) if folder.is_dir() else []


@pytest.mark.parametrize("name", BASES)
def test_a_look_stands_sealed_beside_its_package(place, name):
    before = {p.name: p.read_bytes() for p in place.package(name).iterdir()}
    got = place.look(name=name)
    assert (got.state, got.verdict, got.folder) == ("written", af.HOLDS, place.out / "as_found" / f"{name}-r1-1")
    assert {"as_found.json", "as_found.html", "as_found.pdf", "as_found.toml", "next_case.toml", "run.json",
            "manifest.json", "manifest.sha256"} <= {p.name for p in got.folder.iterdir()}
    assert digests.integrity(got.folder) == []
    assert {p.name: p.read_bytes() for p in place.package(name).iterdir()} == before
    manifest = digests.read_manifest(got.folder)
    digest = digests.sha256((place.package(name) / digests.MANIFEST).read_bytes())
    assert (manifest["kind"], manifest["package_manifest_sha256"]) == ("as found", digest)
    data = json.loads((got.folder / "as_found.json").read_bytes())
    assert (data["verdict"], data["batches"], data["missing"], data["reasons"]) == (af.HOLDS, [], [], [])
    assert {"check", "what", "issued", "found", "verdict"} <= set(data["comparison"][0])
    assert any("not approved" in n for n in got.notes)


def test_the_register_counts_it(place):
    from wrapcalc.register.evidence import scan
    place.look()
    (e,) = [e for e in scan(place.out).evidence if e.kind == "as found"]
    assert (e.condition, e.package, e.number) == ("whole", "HB-07-r1", 1)


def test_the_same_package_and_sheet_give_the_same_bytes_anywhere(place, tmp_path):
    shutil.copytree(place.out, tmp_path / "elsewhere")
    one = place.look().folder
    two = af.as_found_package(tmp_path / "elsewhere" / "HB-07-r1", tmp_path / "ditch" / "as_found.toml",
                              now=place.now + datetime.timedelta(days=400)).folder
    for name in ("as_found.json", "as_found.html", "as_found.pdf", "next_case.toml"):
        assert (one / name).read_bytes() == (two / name).read_bytes(), name


def test_looks_are_counted_up_and_the_same_sheet_is_not_written_twice(place):
    assert place.look().folder.name == "HB-07-r1-1"
    assert place.look().state == "unchanged"
    got = place.look({"defect.depth": "3.8 mm"})
    assert (got.state, got.folder.name) == ("written", "HB-07-r1-2")


def test_page_and_pdf_say_the_verdict_and_that_it_approves_nothing(place):
    got = place.look({"defect.depth": "4.4 mm", "crack.result": "not done"})
    assert got.verdict == af.STOP
    page = (got.folder / "as_found.html").read_text("utf-8")
    text = " ".join("\n".join(p.extract_text() for p in PdfReader(got.folder / "as_found.pdf").pages).split())
    assert len(PdfReader(got.folder / "as_found.pdf").pages) <= 2
    for said in ("Stop: new revision", "Nobody goes back in before a new revision is issued", "is not an approval",
                 "penetrant test for cracks", "As issued, as found"):
        assert said in " ".join(page.split()), said
        assert said in text, said
    assert "wrapcalc package" in got.lines[-1] and any(x.startswith("  stop: ") for x in got.lines)


def test_the_case_as_found_is_packaged_as_the_next_revision(place):
    got = place.look({"defect.depth": "4.4 mm"})
    assert got.verdict == af.STOP
    result = make_package(got.next_case, place.out)
    assert (result.state, Path(result.folder).name) == ("written", "HB-07-r2"), result.message
    case = tomllib.loads((place.out / "HB-07-r2" / "case.toml").read_text("utf-8"))
    assert case["defect"]["depth"]["value"] == "4.4 mm" and (place.out / "HB-07-r2" / "found.csv").read_bytes() == GRID
    with pytest.raises(PackageError, match="superseded by revision 2"):
        place.look()


def test_a_package_that_was_changed_is_refused(place):
    (place.package() / "case.toml").write_text("tampered", "utf-8")
    with pytest.raises(PackageError, match="was changed after it was written"):
        place.look()
    assert left(place) == []


def test_what_is_no_package_or_has_another_name_is_refused(place):
    with pytest.raises(PackageError, match="not a package folder"):
        af.as_found_package(place.out, place.sheet().write())
    got = place.look()
    with pytest.raises(PackageError, match="this is as found, not a calculation package"):
        af.as_found_package(got.folder, place.sheet().write(), now=place.now)
    sheet = place.sheet().write()
    place.package().rename(place.out / "HB-07-r9")
    with pytest.raises(PackageError, match="give the folder its name back"):
        af.as_found_package(place.out / "HB-07-r9", sheet, now=place.now)


@pytest.mark.parametrize(("dotted", "value", "words"), [
    ("as_found.package", "HB-15-r1", "take the sheet of this package"),
    ("as_found.digest", "0" * 12, "the sheet was made for other numbers"),
    ("as_found.date", "2001-01-01", "not before the package was made"),
    ("as_found.date", "2099-01-01", "not in the future"),
    ("defect.grid", "nowhere.csv", "no such file"),
    ("defect.dept", "3 mm", "a key that we do not know"),
])
def test_a_bad_sheet_leaves_nothing(place, dotted, value, words):
    with pytest.raises(CaseFaults) as e:
        place.look({dotted: value})
    assert words in str(e.value) and left(place) == []


def test_an_earlier_look_that_was_changed_stops(place):
    got = place.look()
    (got.folder / "as_found.json").write_text("{}", "utf-8")
    with pytest.raises(PackageError, match="this earlier check was changed"):
        place.look({"defect.depth": "3.8 mm"})


def test_nothing_half_written_is_left(place, monkeypatch):
    def full(*args, **more):
        raise OSError(28, "No space left on device")
    monkeypatch.setattr(pdf, "html_to_pdf", full)
    with pytest.raises(PackageError, match="nothing half-written was left"):
        place.look()
    assert left(place) == []


# -- the form --------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("name", ["HB-07", "HB-15", "HB-34", "HB-42", "HB-46", "HB-51"])
def test_the_form_is_read_as_it_stands_and_asks_everything(tmp_path, name):
    bundle = load_bundle(EXAMPLE / f"{name}.toml")
    record = records.build(run(bundle))
    form = blank_form(record, bundle, revision=1, digest=digest_of(record))
    (tmp_path / "as_found.toml").write_text(form, "utf-8")
    found = read_as_found(tmp_path / "as_found.toml").found
    assert found.as_found.package == f"{name}-r1" and records.digest(record).startswith(found.as_found.digest)
    assert found.given("defect.depth") is None and found.given("as_found.date") is None


def test_the_form_says_what_was_issued_and_where_the_crew_stops():
    bundle = load_bundle(EXAMPLE / "HB-07.toml")
    record = records.build(run(bundle))
    form = blank_form(record, bundle, revision=3, digest=digest_of(record))
    (depth,) = [s["edge"]["shown"] for s in record["bears"]["box"] if s["input"] == "depth"]
    (line,) = [x for x in form.splitlines() if x.startswith("depth = ")]
    assert "issued: 3.9 mm" in line and f"stop rule: at most {depth}" in line and "such as" not in line
    assert 'package = "HB-07-r3"' in form and form.count("[[neighbour]]") == 3
    assert "listed: 12.11 m" in form and "while people are beside it at most 2 MPa gauge" in form


def test_a_blank_form_is_incomplete(place):
    bundle = load_bundle(place.package() / "case.toml")
    record = json.loads((place.package() / "record.json").read_bytes())
    form = place.out.parent / "as_found.toml"
    form.write_text(blank_form(record, bundle, revision=1, digest=digest_of(record)), "utf-8")
    got = af.as_found_package(place.package(), form)
    assert got.verdict == af.INCOMPLETE and len(got.missing) > 15

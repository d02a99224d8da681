"""A close-out on disk: sealed beside its package, never twice, never over a package that is not what it was."""

import csv
import datetime
import io
import json
import re
import shutil
from importlib import resources
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.helpers.closeout import ENGINEER, Sound, looked
from wrapcalc.case import load_bundle
from wrapcalc.case.readings import WHATS, read_readings
from wrapcalc.errors import CaseFaults, PackageError
from wrapcalc.package import closeout as co
from wrapcalc.package import digests, pdf
from wrapcalc.package.build import make_package
from wrapcalc.package.readings_template import template_csv
from wrapcalc.record import digest as digest_of
from wrapcalc.stages.job import run

UTC = datetime.UTC
_FAR = {"2026-12-20": "2099-12-31", "2027-01-31": "2099-12-31", "2027-06-30": "2099-12-31", "2027-03-15": "2099-12-31",
        'qualified_until = "2027-03-31"': 'qualified_until = "2099-12-31"'}


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """(folder of packages with HB-07-r1, its outcome); labels and certificate end late, whenever the tests run."""
    root = tmp_path_factory.mktemp("closeout")
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


@pytest.fixture
def place(built, tmp_path):
    """A copy of the package, approved, with sound readings."""
    out = tmp_path / "out"
    shutil.copytree(built[0], out)
    return Place(out, built[1])


class Place:
    def __init__(self, out: Path, outcome):
        self.out, self.package = out, out / "HB-07-r1"
        told = json.loads((self.package / "run.json").read_bytes())["finished_utc"]
        self.made = datetime.datetime.fromisoformat(told)
        self.now = self.made + datetime.timedelta(days=9)
        manifest = digests.read_manifest(self.package)
        self.sound = Sound(outcome, "HB-07-r1", manifest["record_sha256"], self.made + datetime.timedelta(hours=30))
        self.readings = out.parent / "readings.csv"
        self.approve()
        looked(out, "HB-07-r1")

    def approve(self, **more) -> None:
        folder = self.out / "approval" / "HB-07-r1"
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        digests.write_manifest(folder, {
            "kind": "approval", "package": "HB-07-r1", "approver": "A. Approver",
            "approved_on": self.made.date().isoformat(), "written_utc": f"{self.made:%Y-%m-%dT%H:%M:%SZ}",
            "package_manifest_sha256": digests.sha256((self.package / digests.MANIFEST).read_bytes())} | more)

    def close(self) -> co.Result:
        self.readings.write_bytes(self.sound.csv())
        return co.closeout_package(self.package, self.readings, now=self.now)


def left(out: Path) -> list[str]:
    folder = out / "closeout"
    return sorted(p.name for p in folder.iterdir()) if folder.is_dir() else []


def test_a_close_out_stands_sealed_beside_its_package(place):
    before = {p.name: p.read_bytes() for p in place.package.iterdir()}
    got = place.close()
    assert (got.state, got.verdict, got.folder) == ("written", "accepted", place.out / "closeout" / "HB-07-r1-1")
    assert {p.name for p in got.folder.iterdir()} == {"closeout.json", "closeout.html", "closeout.pdf", "readings.csv",
                                                      "run.json", "manifest.json", "manifest.sha256"}
    assert digests.integrity(got.folder) == []
    assert (got.folder / "readings.csv").read_bytes() == place.readings.read_bytes()
    assert {p.name: p.read_bytes() for p in place.package.iterdir()} == before
    manifest = digests.read_manifest(got.folder)
    digest = digests.sha256((place.package / digests.MANIFEST).read_bytes())
    assert manifest["kind"] == "close-out" and manifest["package_manifest_sha256"] == digest
    data = json.loads((got.folder / "closeout.json").read_bytes())
    assert {"schema", "package", "case", "revision", "closeout_revision", "package_manifest_sha256", "record_sha256",
            "verdict", "accepted_by", "closed_on", "next_inspection", "end_of_life", "batches", "nonconformances",
            "missing", "pressure_restored", "items", "readings", "supersedes", "correction_reason"} <= set(data)
    assert data["approval"] == {"by": "A. Approver", "on": place.made.date().isoformat(),
                                "written_utc": f"{place.made:%Y-%m-%dT%H:%M:%SZ}"}


def test_the_register_counts_it(place):
    from wrapcalc.register.evidence import scan
    place.close()
    (e,) = [e for e in scan(place.out).evidence if e.kind == "close-out"]
    assert (e.condition, e.word, e.by, e.package, e.number) == ("whole", "accepted", ENGINEER, "HB-07-r1", 1)
    assert e.end_of_life and e.restored == pytest.approx(8.6)  # independent: the MAOP of the case


def test_the_same_package_and_readings_give_the_same_bytes_anywhere(place, tmp_path):
    shutil.copytree(place.out, tmp_path / "elsewhere")
    one = place.close().folder
    two = co.closeout_package(tmp_path / "elsewhere" / "HB-07-r1", place.readings,
                              now=place.now + datetime.timedelta(days=400)).folder
    for name in ("closeout.json", "closeout.html", "closeout.pdf"):
        assert (one / name).read_bytes() == (two / name).read_bytes(), name


def test_page_and_pdf_say_the_verdict_what_is_not_met_and_that_names_are_typed(place):
    place.sound.set("dust rating", "3")
    place.sound.drop("soluble salt")
    place.sound.set("installer", "<b>F. Example</b>")
    got = place.close()
    assert got.verdict == "open" and any("soluble salt" in m for m in got.missing)
    assert any("HB-07-r1-N" in line for line in got.lines)
    html = (got.folder / "closeout.html").read_text("utf-8")
    assert "&lt;b&gt;F. Example&lt;/b&gt;" in html and "<b>F. Example" not in html
    pages = [" ".join(p.extract_text().split()) for p in PdfReader(got.folder / "closeout.pdf").pages]
    assert "Open" in pages[0] and "Dust rating, greatest" in pages[0] and "reading: soluble salt" in pages[0]
    assert all("Names are typed, not authenticated. Not an approval" in p for p in pages)
    assert "approves nothing" in pages[-1]


def test_a_workbook_of_readings_is_kept_as_it_was_read(place):
    import openpyxl
    place.readings.write_bytes(place.sound.csv())
    book = openpyxl.Workbook()
    for row in csv.reader(io.StringIO(place.readings.read_text("utf-8"))):
        book.active.append([c or None for c in row])
    path = place.out.parent / "readings.xlsx"
    book.save(path)
    got = co.closeout_package(place.package, path, now=place.now)
    assert got.verdict == "accepted" and (got.folder / "readings.xlsx").read_bytes() == path.read_bytes()


# -- again -------------------------------------------------------------------------------------------------------
def test_closing_twice_is_refused_and_a_correction_supersedes(place):
    place.close()
    with pytest.raises(PackageError, match="HB-07-r1 is closed already: HB-07-r1-1 says 'accepted'"):
        place.close()
    place.sound.set("dust rating", "3")
    place.sound.add("correction", "the dust tape was read again")
    got = place.close()
    data = json.loads((got.folder / "closeout.json").read_bytes())
    assert got.verdict == "rejected" and left(place.out) == ["HB-07-r1-1", "HB-07-r1-2"]
    assert data["supersedes"] == "HB-07-r1-1" and data["correction_reason"] == "the dust tape was read again"


def test_an_open_one_is_completed_but_what_was_read_is_not_changed_silently(place):
    saved = place.sound.find("soluble salt")[0]
    place.sound.drop("soluble salt")
    assert place.close().verdict == "open"
    assert place.close().state == "unchanged" and left(place.out) == ["HB-07-r1-1"]
    place.sound.rows.append(saved)
    place.sound.set("dust rating", "0")
    with pytest.raises(CaseFaults, match=r"\(dust rating\) not as it was in HB-07-r1-1"):
        place.close()
    place.sound.set("dust rating", "1")
    got = place.close()
    assert got.verdict == "accepted" and got.folder.name == "HB-07-r1-2"


def test_a_correction_of_nothing_is_refused(place):
    place.sound.add("correction", "why not")
    with pytest.raises(CaseFaults, match="there is no earlier close-out of HB-07-r1"):
        place.close()


def test_an_approval_that_comes_later_is_reason_enough_for_another(place):
    shutil.rmtree(place.out / "approval")
    assert place.close().verdict == "open"
    place.approve()
    assert place.close().verdict == "accepted"


@pytest.mark.parametrize(("spoil", "words"), [
    (lambda p: (p.out / "approval" / "HB-07-r1" / "manifest.json").write_text("{}"), "cannot be read"),
    (lambda p: p.approve(package_manifest_sha256="0" * 64), "is of other bytes than this package"),
    (lambda p: (p.out / "approval" / "HB-07-r1" / "manifest.sha256").write_text("x"), "was changed after"),
    (lambda p: p.approve(written_utc="some time"), "cannot be read"),
    (lambda p: p.approve(written_utc="2026-10-02T09:00:00"), "cannot be read"),
])
def test_an_approval_that_is_not_whole_counts_for_nothing(place, spoil, words):
    spoil(place)
    got = place.close()
    assert got.verdict == "open" and any(words in n for n in got.notes)


# -- the look into the ditch -------------------------------------------------------------------------------------
def test_the_last_look_counts_and_a_stop_rejects(place):
    looked(place.out, "HB-07-r1", number=10, verdict="stop: new revision")
    got = place.close()
    assert got.verdict == "rejected" and any("found in the ditch" in n for n in got.nonconformances)
    assert any("as_found/HB-07-r1-10 says 'stop: new revision'" in n for n in got.notes)


def test_a_look_that_comes_later_is_reason_enough_for_another_close_out(place):
    shutil.rmtree(place.out / "as_found")
    assert place.close().verdict == "open" and place.close().state == "unchanged"
    looked(place.out, "HB-07-r1")
    assert place.close().verdict == "accepted"


def test_an_approval_dated_back_is_late_and_told(place):
    place.approve(written_utc=f"{place.made + datetime.timedelta(hours=40):%Y-%m-%dT%H:%M:%SZ}")
    got = place.close()
    assert got.verdict == "rejected" and any("Package approved before the work" in n for n in got.nonconformances)
    assert "The time at which it was written counts" in (got.folder / "closeout.html").read_text("utf-8")


def test_a_look_after_the_first_mix_does_not_take_the_place_of_the_one_before(place):
    late = (place.made + datetime.timedelta(days=4)).date().isoformat()
    looked(place.out, "HB-07-r1", number=2, date=late)
    got = place.close()
    assert got.verdict == "accepted" and any("as_found/HB-07-r1-1 says" in n for n in got.notes)
    shutil.rmtree(place.out / "closeout")
    shutil.rmtree(place.out / "as_found" / "HB-07-r1-1")
    got = place.close()
    assert got.verdict == "rejected" and any("Look into the ditch before the wrap was laid" in n
                                             for n in got.nonconformances)


def test_what_was_built_is_held_against_the_damage_as_found_and_the_page_names_the_look(place):
    """The damage was found 60 mm nearer to the weld than issued: the wrap as built does not reach over it."""
    looked(place.out, "HB-07-r1", number=2, found=('"4.19 m"', '"4.13 m"'))  # the room upstream, too
    got = place.close()
    assert got.verdict == "rejected"
    assert any("Overlap from sound metal as built, upstream, damage as found" in n for n in got.nonconformances)
    text = " ".join(" ".join(p.extract_text().split()) for p in PdfReader(got.folder / "closeout.pdf").pages)
    assert "as_found/HB-07-r1-2, next_case.toml" in text


def test_a_look_whose_case_cannot_be_run_leaves_it_open(place):
    looked(place.out, "HB-07-r1", number=2, found=("[defect]", "[defect]\nno_such_field = 1"))
    got = place.close()
    assert got.verdict == "open" and any("as_found/HB-07-r1-2 cannot be run again" in m for m in got.missing)


@pytest.mark.parametrize(("spoil", "words"), [
    (lambda p, f: looked(p.out, "HB-07-r1", number=2, date=""), "cannot be read"),
    (lambda p, f: (f / "as_found.json").write_text('{"verdict": "the design holds"}'), "was changed after"),
    (lambda p, f: (f / "manifest.json").write_text("{"), "cannot be read"),
    (lambda p, f: shutil.rmtree(f), "nobody has shown"),
    (lambda p, f: looked(p.out, "HB-07-r1", number=2, package_manifest_sha256="0" * 64), "is of other bytes"),
    (lambda p, f: looked(p.out, "HB-07-r1", number=2, kind="approval"), "was changed after"),
    (lambda p, f: looked(p.out, "HB-07-r1", number=2, verdict="incomplete"), "says 'incomplete'"),
])
def test_a_look_that_is_not_whole_leaves_it_open_whatever_an_earlier_one_says(place, spoil, words):
    spoil(place, place.out / "as_found" / "HB-07-r1-1")
    got = place.close()
    assert got.verdict == "open" and any(words in m for m in got.missing), got.missing


# -- refused -----------------------------------------------------------------------------------------------------
def test_a_changed_package_is_refused(place):
    path = place.package / "record.json"
    path.write_bytes(path.read_bytes().replace(b"3.9 mm", b"3.8 mm", 1))
    with pytest.raises(PackageError, match=r"changed after it was written \(record.json"):
        place.close()
    assert left(place.out) == []


def test_a_superseded_revision_is_refused(place):
    shutil.copytree(place.package, place.out / "HB-07-r2")
    with pytest.raises(PackageError, match="revision 1 is superseded by revision 2; close out HB-07-r2"):
        place.close()


def test_a_renamed_package_a_close_out_and_a_folder_of_another_kind_are_refused(place, tmp_path):
    got = place.close()
    with pytest.raises(PackageError, match="this is close-out, not a calculation package"):
        co.closeout_package(got.folder, place.readings)
    shutil.copytree(place.package, tmp_path / "HB-09-r1")
    with pytest.raises(PackageError, match="its manifest says HB-07-r1"):
        co.closeout_package(tmp_path / "HB-09-r1", place.readings)
    with pytest.raises(PackageError, match="not a package folder"):
        co.closeout_package(tmp_path, place.readings)


@pytest.mark.parametrize(("what", "reading", "words"), [
    ("package", "HB-07-r2", "readings are of another repair or revision"),
    ("record", "sha256:0123456789ab", "readings are of another repair or revision"),
    ("record", "sha256:", "readings are of another repair or revision"),
    ("package", None, "no such row with a reading"),
])
def test_readings_of_another_repair_are_refused(place, what, reading, words):
    place.sound.drop(what) if reading is None else place.sound.set(what, reading)
    with pytest.raises(CaseFaults, match=words):
        place.close()
    assert left(place.out) == []


def test_a_changed_earlier_close_out_is_refused(place):
    path = place.close().folder / "closeout.json"
    path.write_bytes(path.read_bytes().replace(b'"accepted"', b'"open"    ', 1))
    with pytest.raises(PackageError, match="this earlier close-out was changed"):
        place.close()


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), pdf.PdfNotMade("no")])
def test_nothing_half_written_is_left(place, monkeypatch, error):
    def fail(*args, **more):
        raise error
    monkeypatch.setattr(pdf, "html_to_pdf", fail)
    with pytest.raises(PackageError):
        place.close()
    assert left(place.out) == []


def test_a_reading_that_cannot_be_printed_is_told_and_leaves_nothing(place):
    place.sound.set("tap test", "yes", remark="\u5c71")
    with pytest.raises(CaseFaults, match=r"remark: found \u5c71 \(U\+5C71\)"):
        place.close()
    assert left(place.out) == []


def test_a_record_made_by_another_version_is_noted(place, monkeypatch):
    monkeypatch.setattr(co.records, "digest", lambda record: "f" * 64)
    got = place.close()
    assert any("does not give the record of the package byte for byte" in n for n in got.notes)


# -- the template ------------------------------------------------------------------------------------------------
def test_the_template_asks_for_every_row_and_reads_back(built, tmp_path):
    record = json.loads((built[0] / "HB-07-r1" / "record.json").read_bytes())
    of = {"revision": 1, "digest": digest_of(record)}
    text = template_csv(record, built[1].bundle, **of)
    assert text == template_csv(record, built[1].bundle, **of) and text.startswith("\ufeff")
    path = tmp_path / "readings.csv"
    path.write_text(text, "utf-8", newline="")
    told = {r.what: r.text for r in read_readings(path).rows}
    digest = digests.read_manifest(built[0] / "HB-07-r1")["record_sha256"]
    assert told == {"package": "HB-07-r1", "record": f"sha256:{digest[:12]}"}
    rows = list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"))))
    assert {r["what"] for r in rows} == set(WHATS)
    assert [int(r["row"]) for r in rows] == list(range(1, len(rows) + 1))
    by = {(r["what"], r["where"]): r for r in rows}
    assert by["layers counted", "unit 2, downstream edge"]["limit"] == "at least 11; two people"
    assert by["soluble salt", "spot 1"]["limit"].startswith("at most 25 mg/m2")
    assert sum(r["what"] == "hardness" for r in rows) == 12
    assert not any(re.match(r"[=+@\t-]", c) for r in rows for c in r.values())


def test_a_long_log_is_printed_in_part_and_kept_in_full(place):
    for n in range(200):
        place.sound.add("line pressure", "1.8 MPa", time=place.sound.at(60 * 51 + 1 + n), instrument="G 7")
    got = place.close()
    html = (got.folder / "closeout.html").read_text("utf-8")
    assert "of 308 readings of line pressure are not printed" in html
    kept = json.loads((got.folder / "closeout.json").read_bytes())["readings"]
    assert sum(r["what"] == "line pressure" for r in kept) == 308

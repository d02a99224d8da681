"""An approval: only of a whole, current package, by people who may; the same record with names; never changed."""

import datetime
import json
import os
import re
import shutil
from importlib import resources

import pypdf
import pytest

from wrapcalc.errors import PackageError
from wrapcalc.package import approve as ap
from wrapcalc.package import build, digests
from wrapcalc.package.approve import approve
from wrapcalc.package.build import make_package
from wrapcalc.package.report import IDENTITIES
from wrapcalc.people import person_key
from wrapcalc.register.evidence import APPROVAL, WHOLE, scan

AUTHOR, CHECKER, APPROVER = "E. Example", "C. Checker", "A. Approver"


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    out = tmp_path_factory.mktemp("approve")
    with resources.as_file(resources.files("wrapcalc.example")) as source:
        for name in ("HB-51", "HB-02"):
            result = make_package(source / f"{name}.toml", out)
            assert result.state == "written", result.message
    return out


@pytest.fixture
def out(built, tmp_path):
    shutil.copytree(built, tmp_path / "out")
    return tmp_path / "out"


def made(package) -> datetime.date:
    return datetime.date.fromisoformat(json.loads((package / "run.json").read_bytes())["finished_utc"][:10])


def go(package, author=AUTHOR, checker=CHECKER, approver=APPROVER, on=None, now=None):
    on = on or made(package)
    return approve(package, author, checker, approver, on, now=now or noon(on))


def noon(day) -> datetime.datetime:
    return datetime.datetime(day.year, day.month, day.day, 12, tzinfo=datetime.UTC)


def left(out) -> list[str]:
    return sorted(p.name for p in out.iterdir())


# -- what is written -----------------------------------------------------------------------------------------------
def test_a_wrap_is_printed_again_with_names_and_date(out):
    package = out / "HB-51-r1"
    before = {p.name: p.read_bytes() for p in package.iterdir()}
    result = go(package)
    assert {p.name: p.read_bytes() for p in package.iterdir()} == before  # the package itself is never changed
    folder = out / "approval" / "HB-51-r1"
    assert result.folder == folder and result.decision == "wrap" and not digests.integrity(folder)
    names = {"package", "site-sheet", "kit-list"}
    assert {p.name for p in folder.iterdir()} == {f"{n}.{s}" for n in names for s in ("html", "pdf")} | {
        "approval.json", "manifest.json", "manifest.sha256"}
    on = made(package).isoformat()
    for name in names:
        text = (folder / f"{name}.html").read_text("utf-8")
        assert "NOT APPROVED" not in text and "C. Checker" in text and on in text and IDENTITIES in text
        pages = pypdf.PdfReader(folder / f"{name}.pdf").pages
        assert all("Approved" in p.extract_text() and "NOT APPROVED" not in p.extract_text() for p in pages)
    assert len(pypdf.PdfReader(folder / "site-sheet.pdf").pages) == 2
    assert left(out) == ["HB-02-r1", "HB-51-r1", "approval"]


def test_manifest_and_data_cite_the_package_and_say_what_is_unverified(out):
    package = out / "HB-51-r1"
    go(package)
    folder, on = out / "approval" / "HB-51-r1", made(package).isoformat()
    cited = digests.sha256((package / "manifest.json").read_bytes())
    record = json.loads((package / "record.json").read_bytes())
    manifest = digests.read_manifest(folder)
    facts = {"kind": "approval", "package": "HB-51-r1", "revision": 1, "package_manifest_sha256": cited,
             "author": AUTHOR, "checker": CHECKER, "approver": APPROVER, "approved_on": on}
    assert facts.items() <= manifest.items()
    data = json.loads((folder / "approval.json").read_bytes())
    assert (facts | {"schema": 1, "case": "HB-51", "notice": IDENTITIES}).items() <= data.items()
    assert data["record_sha256"] == digests.sha256((package / "record.json").read_bytes())
    count = sum(x["status"] == "from memory" for x in record["table_entries"] + record["formulas"])
    assert data["unverified"] == count > 0 and data["not_stated"] == record["site"]["not_stated"] != []


def test_the_report_says_what_is_unverified_and_not_stated(out):
    package = out / "HB-51-r1"
    result = go(package)
    text = " ".join(re.sub(r"<[^>]*>", " ", (result.folder / "package.html").read_text("utf-8")).split())
    assert f"{result.unverified} values and formulas were unverified then" in text
    assert "Not stated for the site, to be filled in before work:" in text
    assert f"Unverified: {result.unverified} values and formulas are from memory" in text
    assert any("location.contact" in n for n in result.notices)
    assert any("are from memory and not verified" in n for n in result.notices)


def test_another_decision_is_approved_without_a_site_sheet(out):
    result = go(out / "HB-02-r1")
    assert result.decision == "no repair needed"
    assert {p.stem for p in result.folder.iterdir()} == {"package", "approval", "manifest"}
    assert json.loads((result.folder / "approval.json").read_bytes())["not_stated"] == []


def test_the_register_reads_it(out):
    go(out / "HB-51-r1")
    found = [e for e in scan(out).evidence if e.kind == APPROVAL]
    assert [(e.package, e.condition, e.by, e.on) for e in found] == [
        ("HB-51-r1", WHOLE, APPROVER, made(out / "HB-51-r1").isoformat())]
    assert found[0].package_digest == digests.sha256((out / "HB-51-r1" / "manifest.json").read_bytes())


def test_two_runs_give_the_same_bytes(out, tmp_path):
    shutil.copytree(out, tmp_path / "again")
    one, other = go(out / "HB-51-r1").folder, go(tmp_path / "again" / "HB-51-r1").folder
    assert {p.name: p.read_bytes() for p in one.iterdir()} == {p.name: p.read_bytes() for p in other.iterdir()}


def test_the_lines_for_a_terminal(out):
    lines = go(out / "HB-51-r1").lines
    assert lines[0].startswith("approved: wrap → ") and lines[1].strip() == IDENTITIES
    assert lines[2].strip().startswith("unverified values and formulas: ") and lines[3].startswith("  note: ")


# -- who ------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("who", "message"), [
    ({"checker": "e.  EXAMPLE"}, "checker and author are both 'e. EXAMPLE': nobody may be checker of work of"),
    ({"approver": "E.Example"}, "approver and author are both 'E.Example'"),
    ({"author": "Someone Else", "checker": "E. Ｅxample"}, "the page cannot print U\\+FF25"),
    ({"author": "Someone Else", "checker": "e. example"}, r"checker 'e. example' prepared the case \(case"),
    ({"author": "Someone Else", "approver": " E. Example\n"}, "approver 'E. Example' prepared the case"),
    ({"author": ""}, "author: found nothing; allowed: a name of at least two letters, all of one script; write the "),
    ({"checker": " x "}, "checker: found 'x'"),
    ({"approver": "12 34"}, "approver: found '12 34'"),
    ({"approver": "A" * 61}, "61 letters; a name may have 60"),
    ({"approver": "A. Appro\u200bver"}, "characters that print nothing: U\\+200B"),
    ({"author": "Someone Else", "checker": "Example, E"}, "checker 'Example, E' prepared the case"),
    ({"author": "Someone Else", "checker": "E. Ex\u0430mple"}, "in letters of Cyrillic and Latin"),
    ({"approver": "?"}, r"approver: found '\?'"),
    ({"checker": "検査 太郎"}, "write the name in letters that it can")])
def test_nobody_approves_work_of_their_own_or_without_a_name(out, who, message):
    with pytest.raises(PackageError, match=message):
        go(out / "HB-51-r1", **who)
    assert left(out) == ["HB-02-r1", "HB-51-r1"]


@pytest.mark.parametrize(("one", "other"), [
    ("E. Example", "e.example"), ("JOSÉ", "jose\u0301"), ("Strauß", "STRAUSS"), ("ﬁeld", "Field"),
    ("A  B", " a\u00a0b ")])
def test_names_are_compared_without_case_spacing_and_form(one, other):
    assert person_key(one) == person_key(other)


def test_names_of_two_people_stay_two():
    assert person_key("A. Approver") != person_key("A. Approvers")


def test_an_author_who_did_not_prepare_the_case_is_noted(out):
    result = go(out / "HB-51-r1", author="Someone Else")
    wanted = "The author 'Someone Else' is not who prepared the case ('E. Example', case.prepared_by)."
    assert wanted in result.notices
    assert wanted in json.loads((result.folder / "approval.json").read_bytes())["notices"]


def test_one_person_as_checker_and_approver_is_noted(out):
    assert "Checker and approver are the same person." in go(out / "HB-51-r1", checker="a. approver").notices


# -- when -----------------------------------------------------------------------------------------------------------
def test_nothing_is_approved_before_it_is_made_or_dated_forward(out):
    package, day = out / "HB-51-r1", datetime.timedelta(days=1)
    with pytest.raises(PackageError, match="nothing is approved before it is there"):
        go(package, on=made(package) - 2 * day)
    with pytest.raises(PackageError, match=r"that day is still to come .* an approval is not dated forward"):
        go(package, on=made(package) + day, now=noon(made(package)))
    assert go(package, on=made(package) + day).folder.is_dir()


def test_what_is_dated_back_says_when_it_was_written(out):
    """The day is typed; the clock is not. Who reads the approval later must see both."""
    package, written = out / "HB-51-r1", noon(made(out / "HB-51-r1")) + datetime.timedelta(days=9)
    result = go(package, now=written)
    stamp = written.strftime("%Y-%m-%dT12:00:00Z")
    for name in ("manifest.json", "approval.json"):
        told = json.loads((result.folder / name).read_bytes())
        assert (told["approved_on"], told["written_utc"]) == (made(package).isoformat(), stamp)
    words = f"pproved on {made(package)}, written {written.date()} 12:00 UTC"
    assert result.notices[0] == f"Dated back: a{words}."
    assert f"A{words}, by these names; {IDENTITIES}" in (result.folder / "package.html").read_text("utf-8")
    for sheet in ("site-sheet", "kit-list"):
        for page in pypdf.PdfReader(result.folder / f"{sheet}.pdf").pages:
            text = " ".join(page.extract_text().split())
            assert f"pproved on {made(package)} by author" in text
            assert f"approval written {written.date()} 12:00 UTC; {IDENTITIES}" in text


def test_what_is_written_on_its_day_is_not_called_dated_back(out):
    assert not any("Dated back" in n for n in go(out / "HB-02-r1").notices)


def test_a_package_that_does_not_say_when_it_was_made_is_refused(out):
    package = out / "HB-51-r1"
    (package / "run.json").write_text("{}", "utf-8")
    _seal(package)
    with pytest.raises(PackageError, match=r"run\.json: it does not say when the package was made"):
        approve(package, AUTHOR, CHECKER, APPROVER, datetime.date(2026, 1, 1))


# -- what -----------------------------------------------------------------------------------------------------------
def _seal(package) -> None:
    """Write the manifest anew over changed files, as somebody could."""
    old = digests.read_manifest(package)
    for name in (digests.MANIFEST, digests.SEAL):
        (package / name).unlink()
    digests.write_manifest(package, {k: v for k, v in old.items() if k not in ("schema", "versions", "files")})


def test_a_package_that_was_changed_is_refused(out):
    (out / "HB-51-r1" / "record.json").write_bytes(b"{}")
    with pytest.raises(PackageError, match=r"was changed after it was written \(record\.json: changed"):
        go(out / "HB-51-r1")
    assert left(out) == ["HB-02-r1", "HB-51-r1"]


def test_another_record_under_a_new_seal_is_refused(out):
    package = out / "HB-51-r1"
    record = json.loads((package / "record.json").read_bytes())
    record["decision"]["beside"]["shown"] = "9 MPa"
    (package / "record.json").write_text(json.dumps(record), "utf-8")
    _seal(package)
    with pytest.raises(PackageError, match="this is not the record that the manifest names"):
        go(package)


def _new_record(package, change) -> None:
    """Another record under a manifest that names it, as somebody could write both."""
    raw = json.dumps(change(json.loads((package / "record.json").read_bytes()))).encode()
    (package / "record.json").write_bytes(raw)
    old = digests.read_manifest(package)
    for name in (digests.MANIFEST, digests.SEAL):
        (package / name).unlink()
    digests.write_manifest(package, {k: v for k, v in old.items() if k not in ("schema", "versions", "files")} | {
        "record_sha256": digests.sha256(raw)})


def _printed_otherwise(record):
    record["headline"][0]["value"]["shown"] = "99 MPa"
    return record


@pytest.mark.parametrize(("change", "message"), [
    (_printed_otherwise, "does not verify .record, part 'headline': differs. and is not approved"),
    (lambda r: r | {"case": r["case"] | {"prepared_by": None}}, "does not verify .record, part 'case': differs"),
    (lambda r: r | {"case": None}, "does not verify .record, part 'case': differs"),
    (lambda r: r | {"headline": "x"}, "does not verify .record, part 'headline': differs"),
    (lambda r: r | {"items": {"a": 1}}, r"does not verify .record\.json: the record is damaged"),
    (lambda r: r | {"items": [i | {"title": "x"} for i in r["items"]]}, "differs in title; .*; and [0-9]+ more"),
    (lambda r: [r], r"record\.json: the record is damaged; restore the package")])
def test_a_record_that_a_new_run_does_not_give_again_is_refused(out, change, message):
    _new_record(out / "HB-02-r1", change)
    with pytest.raises(PackageError, match=message):
        go(out / "HB-02-r1", author="Someone Else", checker="E. Example")
    assert left(out) == ["HB-02-r1", "HB-51-r1"]


def test_other_versions_that_give_the_same_are_noted_and_approved(out):
    package = out / "HB-02-r1"
    manifest = json.loads((package / "manifest.json").read_bytes())
    raw = json.dumps(manifest | {"versions": manifest["versions"] | {"numpy": "0.1"}}).encode()
    (package / "manifest.json").write_bytes(raw)
    (package / "manifest.sha256").write_text(f"{digests.sha256(raw)}  manifest.json\n", "utf-8")
    assert any(n.startswith("Versions changed since the package was made: numpy 0.1 → ") for n in go(package).notices)


@pytest.mark.parametrize("change", [{"schema": 99}, {"site": None}])
def test_a_record_of_another_layout_is_refused(out, change):
    package = out / "HB-51-r1"
    record = {k: v for k, v in (json.loads((package / "record.json").read_bytes()) | change).items() if v is not None}
    raw = json.dumps(record).encode()
    (package / "record.json").write_bytes(raw)
    old = digests.read_manifest(package)
    for name in (digests.MANIFEST, digests.SEAL):
        (package / name).unlink()
    digests.write_manifest(package, {k: v for k, v in old.items() if k not in ("schema", "versions", "files")} | {
        "record_sha256": digests.sha256(raw)})
    with pytest.raises(PackageError, match="written by another version of wrapcalc, with another layout"):
        go(package)


def test_a_superseded_revision_is_refused(out):
    shutil.copytree(out / "HB-51-r1", out / "HB-51-r2")
    with pytest.raises(PackageError, match="revision 1 is superseded by revision 2; approve HB-51-r2"):
        go(out / "HB-51-r1")


def test_a_folder_of_another_name_is_refused(out):
    os.rename(out / "HB-51-r1", out / "mine")
    with pytest.raises(PackageError, match="its manifest says HB-51-r1; give the folder its name back"):
        go(out / "mine")


def test_what_is_approved_is_not_approved_again(out):
    go(out / "HB-51-r1")
    before = (out / "approval" / "HB-51-r1" / "manifest.json").read_bytes()
    with pytest.raises(PackageError, match=r"HB-51-r1 is approved already .* an approval is never changed"):
        go(out / "HB-51-r1", approver="B. Other")
    assert (out / "approval" / "HB-51-r1" / "manifest.json").read_bytes() == before


def test_an_approval_is_no_package(out):
    folder = go(out / "HB-51-r1").folder
    with pytest.raises(PackageError, match="this is approval, not a calculation package; name the folder"):
        approve(folder, AUTHOR, CHECKER, APPROVER, made(out / "HB-51-r1"))


def test_a_folder_without_a_manifest_is_refused(tmp_path):
    with pytest.raises(PackageError, match="this is not a package folder"):
        approve(tmp_path, AUTHOR, CHECKER, APPROVER, datetime.date(2026, 1, 1))


# -- nothing half-written --------------------------------------------------------------------------------------------
def test_another_run_that_was_faster_keeps_its_approval(out, monkeypatch):
    def taken(aside, folder):
        folder.mkdir(parents=True)
        return False
    monkeypatch.setattr(build, "put_in_place", taken)
    with pytest.raises(PackageError, match="was approved by another run meanwhile"):
        go(out / "HB-51-r1")
    assert left(out) == ["HB-02-r1", "HB-51-r1", "approval"] and not build.in_hand


def test_a_full_disk_leaves_nothing(out, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")
    monkeypatch.setattr(ap, "_print", full)
    with pytest.raises(PackageError, match="cannot be written \\(No space left on device\\); nothing half-written"):
        go(out / "HB-51-r1")
    assert left(out) == ["HB-02-r1", "HB-51-r1"] and not build.in_hand

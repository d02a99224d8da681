"""The state of a repair follows from the evidence, in whatever order it is read; nothing seen is forgotten."""

import datetime
import random
import shutil
import sqlite3
from contextlib import closing

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wrapcalc.package import digests
from wrapcalc.register import current, evidence, history, lines, update
from wrapcalc.register.evidence import folders, scan
from wrapcalc.register.state import snapshot

DAY = datetime.date(2026, 7, 1)


def state(folder):
    return current(folder.root).repairs[0].words


def test_the_state_follows_the_evidence_step_by_step(folder):
    folder.package()
    assert state(folder) == "designed"
    folder.approve()
    assert state(folder) == "approved"
    folder.as_found()
    assert state(folder) == "as found checked"
    for number, verdict in enumerate(("open", "rejected", "accepted with deviation", "accepted"), 1):
        folder.close(number=number, verdict=verdict)
        assert state(folder) == verdict


@pytest.mark.parametrize("decision", ["no repair needed", "reduce pressure and monitor", "other repair needed",
                                      "insufficient data"])
def test_a_package_that_designs_no_wrap_is_assessed(folder, decision):
    folder.package(decision=decision, restored=None)
    assert state(folder) == "assessed"


def test_the_latest_revision_is_the_repair_and_the_earlier_ones_stay(folder):
    folder.package()
    folder.approve()
    folder.package(revision=2)
    folder.package(revision=10)
    now = current(folder.root)
    assert [(s.revision.revision, s.state, s.latest) for s in now.standings] == [
        (1, "approved", False), (2, "designed", False), (10, "designed", True)]


def test_evidence_of_other_bytes_does_not_count(folder):
    folder.package()
    folder.approve(package_manifest_sha256="0" * 64)
    now = current(folder.root)
    assert now.repairs[0].state == "designed"
    assert now.problems == ("approval/HB-07-r1: not counted: it is of other bytes than the package HB-07-r1 here",)


def test_a_check_or_close_out_without_an_approval_is_told_and_approves_nothing(folder):
    folder.package()
    folder.as_found()
    assert state(folder) == "designed"
    folder.close()
    assert current(folder.root).problems == ("as_found/HB-07-r1-1: the package HB-07-r1 is not approved",
                                             "closeout/HB-07-r1-1: the package HB-07-r1 is not approved")


@pytest.mark.parametrize(("place", "name", "message"), [
    ("closeout", "HB-07-r1", "closeout/HB-07-r1: this folder is not counted; its name is not that of a package and a "
     "number, such as HB-07-r1-1"),
    ("approval", "notes", "approval/notes: this folder is not counted; its name is not that of a package, such as "
     "HB-07-r1"),
    ("approval", "HB-07-r1", "approval/HB-07-r1: not counted: manifest.json is missing or cannot be read"),
])
def test_a_folder_of_evidence_that_cannot_be_taken_is_a_message(folder, place, name, message):
    folder.package()
    (folder.root / place / name).mkdir(parents=True)
    assert current(folder.root).problems == (message,)


def test_evidence_without_its_package_is_a_message(folder):
    folder.package()
    folder.approve()
    shutil.rmtree(folder.root / "HB-07-r1")
    assert "approval/HB-07-r1: not counted: there is no package HB-07-r1" in current(folder.root).problems


def test_a_foreign_verdict_or_kind_is_a_message(folder):
    folder.package()
    folder.approve(kind="invoice")
    folder.close(verdict="fine")
    assert current(folder.root).problems == (
        "approval/HB-07-r1: not counted: its manifest says kind 'invoice', package 'HB-07-r1'",
        "closeout/HB-07-r1-1: not counted: its verdict is 'fine'; allowed: accepted, accepted with deviation, "
        "rejected, open")


@pytest.mark.parametrize(("mend", "message"), [
    (lambda f: (f / "closeout.json").write_text("{}", encoding="utf-8"), "closeout.json: changed since it was written"),
    (lambda f: (f / "closeout.json").unlink(), "closeout.json: missing"),
    (lambda f: (f / "extra.txt").write_text("x", encoding="utf-8"), "extra.txt: was added after it was written"),
    (lambda f: (f / "manifest.sha256").unlink(), "manifest.json, or its seal manifest.sha256, was changed"),
])
def test_damaged_evidence_does_not_count(folder, mend, message):
    folder.package()
    folder.approve()
    mend(folder.close())
    now = current(folder.root)
    assert now.repairs[0].state == "approved"
    assert now.problems == (f"closeout/HB-07-r1-1: not counted: {message}",)


def test_missing_keys_leave_blanks(folder):
    folder.package(without=("case", "inputs", "system"), bears=[], disposition={"lists": 3}, life={"life": "long"})
    r = current(folder.root).repairs[0].revision
    assert (r.line, r.joint, r.section, r.system_id, r.restored) == ("", "", "", "", None)


def test_a_record_of_nothing_is_a_damaged_package_and_no_traceback(folder):
    folder.package(decision="wrap", inputs=())
    other = folder.package(case="HB-08")
    (other / "record.json").write_text("[1]", encoding="utf-8")
    for name in (digests.MANIFEST, digests.SEAL):
        (other / name).unlink()
    digests.write_manifest(other, {"case": "HB-08", "revision": 1, "decision": "wrap"})
    now = current(folder.root)
    assert [s.words for s in now.repairs] == ["designed", "damaged"]
    (problem,) = now.problems
    assert problem.startswith("HB-08-r1: damaged: ") and problem.endswith("record.json: not a record")
    assert str(folder.root) not in problem


def test_a_renamed_package_is_not_taken_for_another(folder):
    folder.package()
    (folder.root / "HB-07-r1").rename(folder.root / "HB-09-r1")
    assert current(folder.root).problems == (
        "HB-09-r1: damaged: its manifest is of HB-07 revision 1; the folder was renamed",)


def test_foreign_folders_are_ignored(folder):
    folder.package()
    for name in ("photos", "X-r1", ".building-1-h-a", "HB-07-r01"):
        (folder.root / name).mkdir()
    (folder.root / "HB-99-r1").write_text("a file", encoding="utf-8")
    now = current(folder.root)
    assert len(now.standings) == 1 and not now.problems


def test_a_damaged_package_keeps_what_was_known_of_it(folder):
    package = folder.package()
    folder.approve()
    update(folder.root, today=DAY)
    raw = (package / "record.json").read_bytes()
    (package / "record.json").write_bytes(raw.replace(b"6.48", b"7.48"))
    found = update(folder.root, today=DAY)
    (s,) = found.now.repairs
    assert (s.words, s.revision.interim, s.revision.reason) == (
        "approved, package damaged", 6.48, "record.json: changed since it was written")
    (package / "record.json").write_bytes(raw)
    update(folder.root, today=DAY)
    assert [(c.before, c.after) for c in history(folder.root)] == [
        ("", "approved"), ("approved", "approved, package damaged"), ("approved, package damaged", "approved")]


def test_a_package_that_went_away_or_was_made_anew_keeps_what_was_known_of_it(folder):
    package = folder.package()
    update(folder.root, today=DAY)
    shutil.rmtree(package)
    folder.package(case="HB-08")
    (s, _) = update(folder.root, today=DAY).now.repairs
    assert s.words == "designed, package missing" and s.revision.interim == 6.48
    folder.package(interim=7.0)
    (s, _) = update(folder.root, today=DAY).now.repairs
    assert s.words == "designed, package damaged" and s.revision.interim == 6.48
    assert s.revision.reason.startswith("it is another package than the one that the register saw")


def test_no_path_of_this_computer_is_kept(folder):
    package = folder.package()
    (package / "manifest.json").write_text("{", encoding="utf-8")
    folder.package(revision=2)
    update(folder.root, today=DAY)
    assert str(folder.root).encode() not in (folder.root / "register" / "register.sqlite").read_bytes()


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=30, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_the_order_of_reading_does_not_matter(many, seed):
    found = folders(many.root)
    random.Random(seed).shuffle(found)
    assert snapshot(scan(many.root, found)) == snapshot(scan(many.root))


def test_the_order_of_reading_leaves_no_trace_in_the_register(many, monkeypatch):
    def dump():
        update(many.root, today=DAY)
        path = many.root / "register" / "register.sqlite"
        with closing(sqlite3.connect(path)) as db:
            out = list(db.iterdump())
        path.unlink()
        return out

    first = dump()
    monkeypatch.setattr(evidence, "folders", lambda packages: folders(packages)[::-1])
    assert dump() == first


@pytest.fixture
def many(folder):
    for case in ("HB-07", "HB-08"):
        for revision in (1, 2, 11):
            folder.package(case, revision, restrictions=[("restriction 14", 6.0), ("restriction 14", 6.0)])
            folder.approve(f"{case}-r{revision}")
        folder.as_found(f"{case}-r1")
        folder.close(f"{case}-r1", 1, "accepted")
        folder.close(f"{case}-r1", 2, "rejected")
        folder.close(f"{case}-r2", 1, restored=7.0)
    return folder


def test_the_short_table_names_each_repair_once(many):
    out = lines(current(many.root), DAY)
    assert out[0].split() == ["repair", "rev", "state", "decision", "restriction", "of", "its", "own", "next", "due"]
    assert out[1].startswith("HB-07   r11  approved  wrap      6 MPa")
    assert out[3:5] == ["open pressure restrictions, by hydraulic section:", "  valve 2 to 3: at most 6 MPa gauge"]


@pytest.mark.parametrize(("verdict", "word"), [("stop: new revision", "stopped by what was found"),
                                               ("incomplete", "approved"), ("the design holds", "as found checked")])
def test_only_a_design_that_holds_counts_as_checked(folder, verdict, word):
    folder.package()
    folder.approve()
    folder.as_found(verdict=verdict)
    assert state(folder) == word


def test_the_last_look_counts_and_a_stop_counts_without_approval(folder):
    folder.package()
    folder.as_found(verdict="stop: new revision")
    assert state(folder) == "stopped by what was found"
    folder.approve()
    folder.as_found(number=2)
    assert state(folder) == "as found checked"


def test_a_look_with_another_verdict_is_damaged_evidence(folder):
    folder.package()
    folder.as_found(verdict="fine")
    assert any("its verdict is 'fine'; allowed: the design holds, stop: new revision, incomplete" in p
               for p in current(folder.root).problems)


def test_a_damaged_look_after_one_that_holds_is_no_check(folder):
    folder.package()
    folder.approve()
    folder.as_found()
    (folder.as_found(number=2, verdict="stop: new revision") / "as_found.json").write_text("{}", encoding="utf-8")
    assert state(folder) == "approved"

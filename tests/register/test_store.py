"""The file of the register: one transaction, no second writing, a message for everything that can be wrong with it."""

import datetime
import sqlite3
from contextlib import closing

import pytest

from wrapcalc.errors import PackageError
from wrapcalc.register import current, history, store, update

DAY = datetime.date(2026, 7, 1)


@pytest.fixture
def kept(folder):
    folder.package()
    update(folder.root, today=DAY)
    return folder


def path_of(folder):
    return folder.root / "register" / "register.sqlite"


def rows(folder, query):
    with closing(sqlite3.connect(path_of(folder))) as db:
        return db.execute(query).fetchall()


def refused(folder, reading=False):
    with pytest.raises(PackageError) as e:
        current(folder.root) if reading else update(folder.root, today=DAY)
    return str(e.value)


def test_the_second_run_writes_not_a_byte(kept):
    before = path_of(kept).read_bytes()
    found = update(kept.root, today=datetime.date(2027, 1, 1))
    assert path_of(kept).read_bytes() == before and found.changes == ()
    assert found.lines() == ["1 repair, 1 revision: no change since the last run"]
    assert [p.name for p in path_of(kept).parent.iterdir()] == ["register.sqlite"]


def test_two_registers_of_the_same_folders_hold_the_same(kept):
    first = rows(kept, "SELECT * FROM revisions"), rows(kept, "SELECT * FROM history")
    path_of(kept).unlink()
    update(kept.root, today=DAY)
    assert first == (rows(kept, "SELECT * FROM revisions"), rows(kept, "SELECT * FROM history"))


def test_a_change_is_told_and_kept_with_its_day_and_evidence(kept):
    kept.approve()
    found = update(kept.root, today=datetime.date(2026, 7, 9))
    assert found.lines()[0] == "HB-07 r1: designed → approved (approval/HB-07-r1)"
    last = history(kept.root)[-1]
    assert (last.before, last.after, last.seen_on) == ("designed", "approved", "2026-07-09")
    assert last.digest == kept.digest("approval/HB-07-r1")


def test_the_history_only_grows(kept):
    for verdict, number in (("open", 1), ("accepted", 2)):
        kept.close(number=number, verdict=verdict)
        update(kept.root, today=DAY)
    before = history(kept.root)
    kept.package(revision=2)
    update(kept.root, today=DAY)
    assert history(kept.root)[:-1] == before and len(before) == 3
    with closing(sqlite3.connect(path_of(kept))) as db:
        for statement in ("DELETE FROM history", "UPDATE history SET after = 'x'"):
            with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
                db.execute(statement)


def test_new_evidence_is_kept_even_where_the_state_is_the_same(kept):
    for number in (1, 2):
        kept.close(number=number)
        update(kept.root, today=DAY)
    assert [(c.before, c.after, c.because) for c in history(kept.root)[1:]] == [
        ("designed", "accepted", "closeout/HB-07-r1-1"), ("accepted", "accepted", "closeout/HB-07-r1-2")]


def test_the_view_of_repairs_has_one_row_for_each_case(kept):
    kept.package(revision=2)
    kept.package(case="HB-08", section="")
    update(kept.root, today=DAY)
    assert rows(kept, "SELECT case_id, revision, state, section FROM repairs ORDER BY case_id") == [
        ("HB-07", 2, "designed", "valve 2 to 3"), ("HB-08", 1, "designed", "line 4")]


@pytest.mark.parametrize("reading", [False, True])
def test_a_register_in_use_by_another_run_is_a_message(kept, monkeypatch, reading):
    monkeypatch.setattr(store, "WAIT", 0.05)
    with closing(sqlite3.connect(path_of(kept), isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        assert refused(kept, reading) == (f"{path_of(kept)}: the register is in use by another run; wait, then run "
                                          "again")
        other.execute("ROLLBACK")
    assert update(kept.root, today=DAY).changes == ()


def test_reading_needs_no_register_and_makes_none(folder):
    folder.package()
    assert current(folder.root).repairs[0].state == "designed" and history(folder.root) == []
    assert not path_of(folder).parent.exists()


@pytest.mark.parametrize("content", [b"not a database, but long enough to look like one" * 20])
def test_a_file_that_is_no_database_is_a_message_and_stays(folder, content):
    folder.package()
    path_of(folder).parent.mkdir()
    path_of(folder).write_bytes(content)
    assert refused(folder) == (f"{path_of(folder)}: this file is not a register of wrapcalc; move it away, then run "
                               "again")
    assert path_of(folder).read_bytes() == content


@pytest.mark.parametrize("statement", ["CREATE TABLE t (x)", "PRAGMA application_id = 7", "PRAGMA user_version = 3"])
def test_a_database_of_another_program_is_a_message_and_stays(folder, statement):
    folder.package()
    path_of(folder).parent.mkdir()
    with closing(sqlite3.connect(path_of(folder))) as db:
        db.execute(statement)
    before = path_of(folder).read_bytes()
    assert "this file is not a register of wrapcalc; move it away" in refused(folder)
    assert path_of(folder).read_bytes() == before


def test_an_empty_file_left_by_a_run_that_was_killed_is_taken(folder):
    folder.package()
    path_of(folder).parent.mkdir()
    path_of(folder).touch()
    assert current(folder.root).repairs and len(update(folder.root, today=DAY).changes) == 1


@pytest.mark.parametrize("reading", [False, True])
def test_a_newer_register_is_a_message(kept, reading):
    with closing(sqlite3.connect(path_of(kept))) as db:
        db.execute("PRAGMA user_version = 2")
    assert refused(kept, reading) == (f"{path_of(kept)}: written by a newer wrapcalc (register 2, this version reads "
                                      "1); use that version")


def test_a_damaged_register_is_a_message(kept):
    raw = bytearray(path_of(kept).read_bytes())
    for start in range(4096, len(raw), 4096):
        raw[start:start + 200] = b"\xff" * 200
    path_of(kept).write_bytes(raw)
    assert "the register is damaged; restore it from a copy, or move it away" in refused(kept)


@pytest.mark.parametrize("edit", ["stated = 'x'", "interim = 'much'", "written_on = 'Monday'", "decision = NULL",
                                  "stated = '[[1]]'"])
def test_a_row_that_was_edited_into_nonsense_is_a_message(kept, edit):
    with closing(sqlite3.connect(path_of(kept))) as db, db:
        db.execute(f"UPDATE revisions SET {edit}")
    for reading in (False, True):
        assert "the register is damaged; restore it from a copy" in refused(kept, reading)


def with_pragma(monkeypatch, statement):
    connect = store._connect

    def limited(path, **more):
        db = connect(path, **more)
        db.execute(statement)
        return db
    monkeypatch.setattr(store, "_connect", limited)


def test_a_full_disk_is_a_message_and_leaves_the_register_as_it_was(kept, monkeypatch):
    before = path_of(kept).read_bytes()
    for i in range(60):
        kept.package(case=f"HB-1{i:02}", section="s" * 500)
    with_pragma(monkeypatch, f"PRAGMA max_page_count = {len(before) // 4096}")
    assert refused(kept) == (f"{path_of(kept)}: there is no room on the disk; make room, then run again; nothing was "
                             "changed in the register")
    assert path_of(kept).read_bytes() == before


def test_a_register_that_cannot_be_written_is_a_message(kept, monkeypatch):
    kept.approve()
    before = path_of(kept).read_bytes()
    with_pragma(monkeypatch, "PRAGMA query_only = 1")  # a test as root could write into any folder
    assert "the register cannot be read or written here; make this file and its folder writable" in refused(kept)
    assert path_of(kept).read_bytes() == before


def test_a_file_in_place_of_the_folder_is_a_message(folder):
    folder.package()
    path_of(folder).parent.write_text("x", encoding="utf-8")
    assert refused(folder).startswith(f"{path_of(folder).parent}: cannot be made (")


def test_a_folder_in_place_of_the_file_is_a_message(folder):
    folder.package()
    path_of(folder).mkdir(parents=True)
    assert "the register cannot be read or written here" in refused(folder)


def test_a_fault_in_the_middle_leaves_the_register_as_it_was(kept, monkeypatch):
    before = path_of(kept).read_bytes()
    kept.approve()

    def stop(item, names):
        if isinstance(item, store.Change):  # entered last, when the other tables are written
            raise KeyboardInterrupt
        return cells(item, names)
    cells = store._of
    monkeypatch.setattr(store, "_of", stop)
    with pytest.raises(KeyboardInterrupt):
        update(kept.root, today=DAY)
    assert path_of(kept).read_bytes() == before
    assert [p.name for p in path_of(kept).parent.iterdir()] == ["register.sqlite"]


def test_a_folder_of_any_name_has_a_register(another):
    folder = another("line 4 #2 %20 é")
    folder.package()
    assert len(update(folder.root, today=DAY).changes) == 1 and len(history(folder.root)) == 1
    assert path_of(folder).is_file()


def test_what_a_terminal_cannot_show_is_spelled_out(kept):
    (kept.root / "approval" / "a\x1b[31m").mkdir(parents=True)
    told = update(kept.root, today=DAY).lines()
    assert any(line.startswith("warning: approval/a\\x1b[31m: this folder is not counted") for line in told)


def test_a_folder_without_packages_gets_no_register(tmp_path):
    with pytest.raises(PackageError, match="there are no packages in this folder; name the folder that was given to "
                       "--out"):
        update(tmp_path)
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(PackageError, match="there is no such folder; name the folder that holds the packages"):
        update(tmp_path / "nowhere")


@pytest.mark.parametrize("edit", ["number = 'x'", "kind = 'invoice'"])
def test_evidence_that_was_edited_is_told(kept, edit):
    kept.close()
    update(kept.root, today=DAY)
    with closing(sqlite3.connect(path_of(kept))) as db, db:
        db.execute(f"UPDATE evidence SET {edit}")
    assert "the register is damaged; restore it from a copy" in refused(kept)
    assert "the register is damaged; restore it from a copy" in refused(kept, reading=True)

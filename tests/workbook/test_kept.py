"""A file of the user is written whole, never over somebody else's, and what was typed outlives a kernel."""

import json
import os

import pytest

from wrapcalc.errors import PackageError
from wrapcalc.workbook.kept import ChangedOnDisk, Kept


@pytest.fixture
def path(tmp_path):
    return tmp_path / "field" / "a.csv"


def names(path):
    return sorted(p.name for p in path.parent.iterdir()) if path.parent.is_dir() else []


def test_nothing_is_on_disk_before_something_was_typed(path):
    k = Kept(path, b"blank")
    assert (k.text, k.saved, k.dirty, k.changed(), names(path)) == (b"blank", None, False, "", [])


def test_what_was_typed_outlives_the_kernel_and_is_not_the_file(path):
    Kept(path, b"blank").keep("typed µ".encode())
    again = Kept(path, b"blank")
    assert again.dirty and again.text == "typed µ".encode() and again.saved is None
    again.save(again.text)
    assert names(path) == ["a.csv"] and path.read_bytes() == "typed µ".encode() and not Kept(path, b"blank").dirty


def test_typing_back_what_is_saved_leaves_nothing_unsaved(path):
    k = Kept(path, b"blank")
    k.keep(b"other")
    k.keep(b"blank")
    assert not k.dirty and names(path) == []
    k.save(b"saved")
    k.keep(b"other")
    k.keep(b"saved")
    assert not k.dirty and names(path) == ["a.csv"]


@pytest.mark.parametrize(("before", "after", "words"), [
    (b"old", b"theirs", "was changed by somebody else since you opened it"),
    (b"old", None, "is not there any more"), (None, b"theirs", "is there by now, and was not when you began")])
def test_a_file_that_changed_on_disk_is_told_and_not_overwritten(path, before, after, words):
    path.parent.mkdir()
    if before is not None:
        path.write_bytes(before)
    k = Kept(path, b"blank")
    k.keep(b"mine")
    path.unlink(missing_ok=True)
    if after is not None:
        path.write_bytes(after)
    for one in (k, Kept(path, b"blank")):  # also when the kernel was restarted in between
        assert words in one.changed()
        with pytest.raises(ChangedOnDisk, match=f"{words}; nothing was saved"):
            one.save(b"mine")
        assert (path.read_bytes() if path.exists() else None) == after
    k.save(b"mine", over=True)
    assert path.read_bytes() == b"mine" and k.changed() == ""


def test_dropping_goes_on_from_what_is_on_disk(path):
    path.parent.mkdir()
    path.write_bytes(b"old")
    k = Kept(path, b"blank")
    k.keep(b"mine")
    path.write_bytes(b"theirs")
    k.drop()
    assert (k.text, k.dirty, k.changed(), names(path)) == (b"theirs", False, "", ["a.csv"])


def test_a_write_that_fails_leaves_the_old_file_and_nothing_else(path, monkeypatch):
    path.parent.mkdir()
    path.write_bytes(b"old")
    k = Kept(path, b"blank")

    def fails(*_):
        raise OSError(28, "No space left on device")
    monkeypatch.setattr(os, "replace", fails)
    with pytest.raises(PackageError, match=r"cannot be written \(No space left on device\); nothing half-written"):
        k.save(b"mine")
    assert path.read_bytes() == b"old" and names(path) == ["a.csv"]


def test_a_file_in_place_of_the_folder_is_one_message(tmp_path):
    (tmp_path / "field").write_text("a file where the folder should be")
    with pytest.raises(PackageError, match=r"a\.csv: cannot be read"):
        Kept(tmp_path / "field" / "a.csv", b"blank")


def test_a_refused_write_of_what_was_typed_keeps_it_in_memory(path, monkeypatch):
    k = Kept(path, b"blank")

    def refused(*_, **__):
        raise PermissionError(13, "Permission denied")
    monkeypatch.setattr("pathlib.Path.mkdir", refused)
    with pytest.raises(PackageError, match="Ask for leave to write there, or name another folder"):
        k.keep(b"mine")
    assert k.dirty and k.text == b"mine"


def test_a_write_protected_file_stays(path, monkeypatch):
    path.parent.mkdir()
    path.write_bytes(b"old")
    k = Kept(path, b"blank")
    monkeypatch.setattr(os, "access", lambda *_: False)
    with pytest.raises(PackageError, match="it is write-protected"):
        k.save(b"mine")
    assert path.read_bytes() == b"old"


@pytest.mark.parametrize("raw", ["{", "[]", "[" * 200_000, '{"text": "x"}', '{"over": 1, "text": "x"}',
                                 '{"over": "", "text": "\\ud800"}', '{"over": "", "text": 2}'])
def test_unsaved_typing_that_cannot_be_read_is_put_aside_and_told(path, raw):
    path.parent.mkdir()
    (path.parent / "a.csv.unsaved").write_text(raw)
    (path.parent / "a.csv.unsaved-damaged").write_text("an earlier one")
    k = Kept(path, b"blank")
    assert (k.text, k.dirty) == (b"blank", False)
    assert k.told() == ["what was typed and not saved earlier cannot be read: a.csv.unsaved is damaged, and stands as "
                        "a.csv.unsaved-damaged-2 now; look at it with an editor"]
    k.keep(b"mine")
    k.save(b"mine")
    assert (path.parent / "a.csv.unsaved-damaged-2").read_text() == raw
    assert (path.parent / "a.csv.unsaved-damaged").read_text() == "an earlier one"


def test_damaged_typing_that_cannot_be_renamed_is_told(path, monkeypatch):
    path.parent.mkdir()
    (path.parent / "a.csv.unsaved").write_text("{")

    def refused(*_):
        raise PermissionError(13, "Permission denied")
    monkeypatch.setattr("pathlib.Path.rename", refused)
    with pytest.raises(PackageError, match=r"cannot be renamed \(Permission denied\); look at it with an editor"):
        Kept(path, b"blank")


def test_a_folder_in_place_of_unsaved_typing_is_one_message(path):
    (path.parent / "a.csv.unsaved").mkdir(parents=True)
    with pytest.raises(PackageError, match=r"a\.csv\.unsaved: cannot be read"):
        Kept(path, b"blank")


# -- two windows --------------------------------------------------------------------------------------------------
def typed(path):
    return {p.name: json.loads(p.read_bytes())["text"] for p in path.parent.iterdir() if ".unsaved" in p.name}


def test_two_windows_never_overwrite_or_remove_what_the_other_typed(path):
    one, two = Kept(path, b"blank"), Kept(path, b"blank")
    one.keep(b"of one")
    two.keep(b"of two")
    assert typed(path) == {"a.csv.unsaved": "of one", "a.csv.unsaved-2": "of two"}
    assert "stands in a.csv.unsaved-2, and nothing of it is shown here; it is kept" in one.told()[0]
    assert "stands in a.csv.unsaved, and" in two.told()[0]
    two.keep(b"of two, more")
    one.keep(b"of one, more")
    assert typed(path) == {"a.csv.unsaved": "of one, more", "a.csv.unsaved-2": "of two, more"}
    one.save(b"of one, more")
    assert typed(path) == {"a.csv.unsaved-2": "of two, more"} and two.told() == [] != one.told()
    again = Kept(path, b"blank")  # the kernel of the second one ended
    assert again.text == b"of two, more" and "was not when you began" in again.changed() and again.told() == []
    again.drop()
    assert names(path) == ["a.csv"] and again.text == b"of one, more"


def test_a_window_that_goes_on_from_what_another_typed_takes_nothing_from_it(path):
    one = Kept(path, b"blank")
    one.keep(b"1")
    two = Kept(path, b"blank")
    assert two.text == b"1" and two.told() == []
    two.keep(b"1 2")
    one.keep(b"1 3")
    assert typed(path) == {"a.csv.unsaved": "1 2", "a.csv.unsaved-2": "1 3"}
    one.drop()
    assert typed(path) == {"a.csv.unsaved": "1 2"} and two.dirty


def test_what_was_typed_is_kept_when_another_window_removed_its_file(path):
    one = Kept(path, b"blank")
    one.keep(b"1")
    (path.parent / "a.csv.unsaved").unlink()
    one.keep(b"2")
    assert typed(path) == {"a.csv.unsaved": "2"}


def test_too_many_windows_are_one_message(path):
    path.parent.mkdir()
    k = Kept(path, b"blank")
    for n in range(1, 100):
        (path.parent / f"a.csv.unsaved{f'-{n}' if n > 1 else ''}").write_text("x")
    with pytest.raises(PackageError, match=r"too many files a\.csv\.unsaved of other windows"):
        k.keep(b"mine")
    assert k.text == b"mine"


def test_a_file_that_nobody_typed_is_refused(path):
    path.parent.mkdir()
    path.write_bytes(b"x" * 5_000_001)
    with pytest.raises(PackageError, match="what is typed here has at most 5 MB"):
        Kept(path, b"blank")

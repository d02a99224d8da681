"""verify finds every changed byte and every changed number; explain reaches the case from every number."""

import json
import shutil

import pytest

from wrapcalc.cli import main
from wrapcalc.errors import PackageError
from wrapcalc.package import digests
from wrapcalc.package.build import guards
from wrapcalc.package.explain import explain, read_record

CASES = ("HB-02", "HB-07", "HB-11", "HB-15", "HB-23")


@pytest.fixture
def copy(packages, tmp_path):
    shutil.copytree(packages / "HB-07-r1", tmp_path / "HB-07-r1")
    return tmp_path / "HB-07-r1"


@pytest.mark.parametrize("case", CASES)
def test_an_untouched_package_verifies(packages, case, capsys):
    assert main(["verify", str(packages / f"{case}-r1")]) == 0
    out = capsys.readouterr().out
    assert "every byte is as it was written" in out and "every check the same" in out


def changed(package):
    """What its digests say of a package; a manifest that cannot be read says enough."""
    try:
        return digests.integrity(package)
    except PackageError as e:
        return [str(e)]


def test_every_byte_of_every_file_counts(copy, capsys):
    for path in sorted(copy.iterdir()):
        raw = path.read_bytes()
        for position in (0, len(raw) // 2, len(raw) - 1):
            path.write_bytes(raw[:position] + bytes([raw[position] ^ 1]) + raw[position + 1:])
            assert changed(copy), f"{path.name}, byte {position}"
        assert main(["verify", str(copy)]) == 1, path.name  # the whole command, with its new run, once for each file
        path.write_bytes(raw)
    capsys.readouterr()
    assert changed(copy) == [] and main(["verify", str(copy)]) == 0


def test_added_and_missing_files_are_told(copy, capsys):
    (copy / "extra.txt").write_text("x", encoding="utf-8")
    (copy / "package.pdf").unlink()
    assert main(["verify", str(copy)]) == 1
    out = capsys.readouterr().out
    assert "extra.txt: was added" in out and "package.pdf: missing" in out


def test_a_changed_number_is_found_by_recomputation_and_named(copy, capsys):
    record = json.loads((copy / "record.json").read_text(encoding="utf-8"))
    step = next(i for i in record["items"] if i["title"] == "Depth over wall")
    step["result"]["magnitude"] *= 1.0000001
    (copy / "record.json").write_text(json.dumps(record), encoding="utf-8")
    assert main(["verify", str(copy)]) == 1
    assert f"{step['id']} Depth over wall: stored 0.48" in capsys.readouterr().out


@pytest.mark.parametrize(("name", "text", "message"), [
    ("manifest.json", "{", "the manifest cannot be read"),
    ("manifest.json", "[]", "the manifest cannot be read"),
    ("manifest.json", '{"schema": 9, "files": {}, "revision": 1}', "newer wrapcalc"),
])
def test_a_broken_manifest_is_a_message(copy, capsys, name, text, message):
    (copy / name).write_text(text, encoding="utf-8")
    assert main(["verify", str(copy)]) == 1
    assert message in capsys.readouterr().err


@pytest.mark.parametrize(("key", "value", "allowed"), [
    ("case", None, "found nothing; allowed: a text"), ("case", 7, "found 7; allowed: a text"),
    ("versions", None, "found nothing; allowed: names, each with a text"),
    ("versions", [], r"found \[\]; allowed: names"), ("versions", {"numpy": 2}, "allowed: names"),
    ("files", None, "found nothing; allowed: names"), ("files", {"case.toml": 5}, "allowed: names"),
    ("revision", True, "found True; allowed: a whole number from 1"), ("revision", 0, "found 0; allowed"),
    ("revision", "1", "found '1'; allowed"), ("revision", None, "found nothing; allowed"),
    ("previous", "x", "found 'x'; allowed: nothing, or revision and manifest_sha256 of the one before"),
    ("previous", {"revision": [1]}, "allowed: nothing, or revision"), ("record_sha256", 5, "found 5; allowed: a text"),
    ("kind", [], r"found \[\]; allowed: a text, or nothing"), ("decision", 1, "found 1; allowed: a text")])
def test_a_manifest_with_what_wrapcalc_never_writes_names_the_key(copy, key, value, allowed):
    manifest = {k: v for k, v in (json.loads((copy / "manifest.json").read_bytes()) | {key: value}).items()
                if v is not None}
    (copy / "manifest.json").write_text(json.dumps(manifest), "utf-8")
    with pytest.raises(PackageError, match=rf"manifest\.json, {key}: .*{allowed}.*The package was damaged; restore it"):
        digests.read_manifest(copy)


def _each(**change):
    return lambda r: r | {"items": [i | change for i in r["items"]]}


@pytest.mark.parametrize("change", [
    lambda r: r | {"items": [{k: v for k, v in i.items() if k != "id"} for i in r["items"]]}, _each(id=[1]),
    _each(id="A1"), _each(id=5), _each(title=None), _each(type=None), _each(result=None), _each(result={}),
    _each(formula=[]), lambda r: r | {"items": {"a": 1}}, lambda r: r | {"items": None},
    lambda r: r | {"items": ["a"]}])
def test_a_damaged_record_is_one_message(copy, capsys, change):
    record = change(json.loads((copy / "record.json").read_bytes()))
    (copy / "record.json").write_text(json.dumps(record), "utf-8")
    assert main(["verify", str(copy)]) == 1
    got = capsys.readouterr()
    assert "record.json: the record is damaged\n" in got.out and "NOT VERIFIED" in got.out and not got.err


@pytest.mark.parametrize("command", [["verify"], ["explain"]])
def test_a_folder_that_is_no_package_is_a_message(tmp_path, capsys, command):
    assert main([*command, str(tmp_path), *(["A1"] if command == ["explain"] else [])]) == 1
    assert "this is not a package folder" in capsys.readouterr().err


@pytest.mark.parametrize("case", CASES)
def test_every_item_explains_down_to_what_was_stated(packages, case):
    record = read_record(packages / f"{case}-r1")
    for item in record["items"]:
        text = explain(record, item["id"], guards())
        assert item["title"] in text and item["citation"] in text
        if item["type"] == "step":
            assert item["text_numbers"] in text and item["formula"] in text
            # every origin of the step is followed
            for i in item["inputs"]:
                assert i["origin"]["ref"].partition("/")[0] in text


def test_explain_shows_the_chain_the_source_and_the_checks(packages, capsys):
    items = read_record(packages / "HB-07-r1")["items"]
    step = next(i["id"] for i in items if i["title"] == "Depth over wall")
    check = next(i["id"] for i in items if i["title"] == "Depth with allowance over wall")
    assert main(["explain", str(packages / "HB-07-r1"), step.lower()]) == 0
    out = capsys.readouterr().out
    for part in ("Depth over wall = 0.48179", "d / t", f"covered by {check}", "mill certificate MC-2207",
                 "case.toml: pipe",
                 "guarded by"):
        assert part in out, part


def test_an_unknown_step_suggests_the_nearest(packages, capsys):
    assert main(["explain", str(packages / "HB-07-r1"), "A777"]) == 1
    assert "there is no step, procedure or check named 'A777'. Did you mean 'A77'?" in capsys.readouterr().err

"""The whole way by its commands: package, as-found, approve, close-out, register, affected."""

import datetime
import hashlib
import json
import re

import pytest

from tests.helpers.closeout import Sound, looked
from wrapcalc.case import load_bundle
from wrapcalc.cli import main
from wrapcalc.package import closeout as closing
from wrapcalc.stages.job import run


@pytest.fixture
def folder(example, tmp_path):
    """A folder with the package of HB-07; its labels and the certificate end late, whenever the tests run."""
    case = example / "HB-07.toml"
    text = case.read_text("utf-8")
    for dated in ('expiry = "20', 'qualified_until = "20'):
        text = re.sub(f'{dated}[0-9][0-9]', f'{dated}99', text)
    case.write_text(text, "utf-8")
    assert main(["package", str(case), "--out", str(tmp_path / "out")]) == 0
    return tmp_path / "out"


def said(capsys, *words):
    status = main([str(w) for w in words])
    told = capsys.readouterr()
    assert "Traceback" not in told.err
    return status, told.out + told.err


def approved(capsys, package):
    return said(capsys, "approve", package, "--author", "E. Example", "--checker", "C. Checker", "--approver",
                "A. Boss")


def test_from_a_package_to_a_closed_record(folder, capsys, tmp_path, monkeypatch):
    package = folder / "HB-07-r1"
    status, told = said(capsys, "as-found", package, package / "as-found-form.toml")
    assert status == 1 and told.startswith("incomplete → ") and "depth of the defect (defect.depth)" in told

    status, told = approved(capsys, package)
    assert status == 0 and (folder / "approval" / "HB-07-r1" / "site-sheet.pdf").is_file(), told

    looked(folder, "HB-07-r1", number=2)  # the first look was incomplete
    readings = tmp_path / "readings.csv"
    made = datetime.datetime.fromisoformat(json.loads((package / "run.json").read_bytes())["finished_utc"])
    digest = hashlib.sha256((package / "record.json").read_bytes()).hexdigest()
    sound = Sound(run(load_bundle(package / "case.toml")), "HB-07-r1", digest, made + datetime.timedelta(hours=4))
    readings.write_bytes(sound.csv())
    status, told = said(capsys, "closeout", package, readings)
    assert status == 1 and "not in the future" in told and not (folder / "closeout").exists()

    later = made + datetime.timedelta(days=9)
    whole = closing.closeout_package
    monkeypatch.setattr(closing, "closeout_package", lambda p, r: whole(p, r, now=later))
    status, told = said(capsys, "closeout", package, readings)
    assert status == 0 and told.startswith("accepted → "), told

    status, told = said(capsys, "register", folder, "--due", "2026-12-01", "--csv", tmp_path / "csv", "--geojson",
                        tmp_path / "repairs.geojson")
    assert status == 0 and "HB-07 r1: accepted" in told and (tmp_path / "csv" / "due.csv").is_file()
    assert json.loads((tmp_path / "repairs.geojson").read_bytes())["features"][0]["geometry"] is None

    status, told = said(capsys, "affected", "S-0417", "--packages", folder)
    assert status == 0 and "HB-07-r1: latest, accepted: batch S-0417" in told


@pytest.mark.parametrize(("words", "told"), [
    (("approve", "{}/nothing", "--author", "Aa", "--checker", "Bb", "--approver", "Cc"), "not a package folder"),
    (("closeout", "{}/nothing", "{}/readings.csv"), "not a package folder"),
    (("as-found", "{}/nothing", "{}/as_found.toml"), "not a package folder"),
    (("affected", "no-such-thing", "--packages", "{}"), "no-such-thing"),
])
def test_what_is_not_there_is_told(tmp_path, capsys, words, told):
    status, found = said(capsys, *(w.format(tmp_path) for w in words))
    assert status == 1 and told in found


@pytest.mark.parametrize(("words", "told"), [
    (("register", "x", "--coordinates"), "--geojson FILE"),
    (("register", "x", "--due", "soon"), "allowed: a date such as 2026-11-02"),
    (("approve", "x", "--author", "A"), "--checker"),
])
def test_wrong_use_ends_with_status_2(capsys, words, told):
    with pytest.raises(SystemExit) as caught:
        main(list(words))
    assert caught.value.code == 2 and told in capsys.readouterr().err

"""What is made of the packages never stands beside a campaign.json that it is not of; one lock from start to end."""

import json
import shutil

import pytest

from tests.helpers import campaign as helper
from wrapcalc.campaign import finish as ends
from wrapcalc.campaign import folder as folders
from wrapcalc.campaign import run as runs
from wrapcalc.campaign.cases import sources
from wrapcalc.campaign.folder import HTML, ORDER, OUTPUTS, PDF, ROLL_UP, SUPERSEDED, WORKBOOK, held, put_away
from wrapcalc.campaign.report.report import read_report
from wrapcalc.campaign.run import TOLD, run_campaign
from wrapcalc.errors import PackageError
from wrapcalc.package import build, digests
from wrapcalc.workbook.campaign import CampaignNotOpened, open_campaign


@pytest.fixture
def campaign(tmp_path, monkeypatch):
    """A campaign whose packages have a manifest only and whose report is its headline; (file, folder)."""
    def package(files, out, *, workers, isolated, done, elsewhere=None):
        for i, case in enumerate(files):
            folder = out / f"{case.stem}-r1"
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir()
            digests.write_manifest(folder, {"case": case.stem, "revision": 1, "decision": "wrap", "record_sha256": "0"})
            done(build.Result(str(case), "written", case.stem, str(folder), "wrap"), i + 1, len(files), 1.0)

    def report(folder):
        for name in (HTML, PDF):
            (folder / name).write_text(read_report(folder).about["headline"], encoding="utf-8")
    monkeypatch.setattr(sources, "screen", helper.fake_screen)
    monkeypatch.setattr(sources, "Cases", helper.FakeCases)
    monkeypatch.setattr(runs, "package_all", package)
    monkeypatch.setattr(ends, "write_report", report)
    monkeypatch.setattr(ends, "_workbook", lambda folder: (folder / WORKBOOK).write_text("{}", encoding="utf-8"))
    return helper.campaign(tmp_path, 2), tmp_path / "out"


def outputs(folder):
    return {n: (folder / n).read_bytes() for n in OUTPUTS if (folder / n).exists()}


def stop(*args, **kwargs):
    raise KeyboardInterrupt


def other_selection(path, count=3):
    """The same campaign with a row more and another one left."""
    helper.campaign(path.parent, count, '[[leave]]\nid = "M-02"\nreason = "pipe is replaced"\nby = "E. Example"\n')


@pytest.mark.parametrize("where", [(runs, "package_all"), (runs, "_place"), (ends, "write_report"),
                                   (ends, "put_in_place")])
def test_a_second_run_that_is_stopped_leaves_no_order_of_the_first_beside_its_cases(campaign, monkeypatch, where):
    path, out = campaign
    run_campaign(path, out, then=ends.finish)
    first = outputs(out)
    assert set(first) == set(OUTPUTS) and b"2 repairs chosen" in first[HTML]
    other_selection(path)
    with monkeypatch.context() as m:
        m.setattr(*where, stop)
        with pytest.raises(KeyboardInterrupt):
            run_campaign(path, out, then=ends.finish)
    assert outputs(out) == {} and outputs(out / SUPERSEDED) == first
    assert not list(out.glob(".aside-*"))
    words = r"roll-up\.json cannot be read .*; the campaign was stopped before its order, dig list and report were made"
    with pytest.raises(PackageError, match=words):
        read_report(out)
    with pytest.raises(CampaignNotOpened, match="run it again to go on"):
        open_campaign(str(out))
    assert folders.outputs_wait(out) == [f"order, dig list and report are not made; those of the run before are in "
                                         f"{out / SUPERSEDED}. Run the same command again to go on"]
    run_campaign(path, out, then=ends.finish)
    assert set(outputs(out)) == set(OUTPUTS) and not (out / SUPERSEDED).exists()
    assert "1 left with a reason" in read_report(out).about["headline"]
    assert folders.outputs_wait(out) == []


def test_outputs_stay_where_nothing_changed_and_the_run_is_stopped_before_its_end(campaign, monkeypatch):
    path, out = campaign
    run_campaign(path, out, then=ends.finish)
    first = outputs(out)
    monkeypatch.setattr(ends, "write_report", stop)
    with pytest.raises(KeyboardInterrupt):
        run_campaign(path, out, then=ends.finish)
    assert outputs(out) == first and not (out / SUPERSEDED).exists()


@pytest.mark.parametrize("moves", (1, 8, 11))
def test_a_kill_between_two_moves_is_mended_by_the_next_run(campaign, monkeypatch, moves):
    path, out = campaign
    run_campaign(path, out, then=ends.finish)
    first, real, left = outputs(out), folders.os.replace, [moves]

    def replace(a, b):
        if str(a).endswith(OUTPUTS):
            left[0] -= 1
            if left[0] < 0:
                raise KeyboardInterrupt
        real(a, b)
    with monkeypatch.context() as m:
        m.setattr(folders.os, "replace", replace)
        with pytest.raises(KeyboardInterrupt):
            run_campaign(path, out, then=ends.finish)
    assert not (out / ROLL_UP).exists()
    put_away(out)  # as the next run does where anything changes
    assert outputs(out) == {} and outputs(out / SUPERSEDED) == first, "never parts of two sets"
    run_campaign(path, out, then=ends.finish)
    assert outputs(out) == first and not (out / SUPERSEDED).exists()


def test_a_roll_up_of_another_campaign_json_is_refused(campaign):
    path, out = campaign
    run_campaign(path, out, then=ends.finish)
    old = (out / ROLL_UP).read_bytes()
    other_selection(path)
    run_campaign(path, out, then=ends.finish)
    (out / ROLL_UP).write_bytes(old)
    with pytest.raises(PackageError, match=r"roll-up\.json was made of another campaign\.json than the one beside it"):
        read_report(out)
    (out / ROLL_UP).write_text("[]", encoding="utf-8")
    with pytest.raises(PackageError, match="was made of another"):
        read_report(out)
    (out / ROLL_UP).write_text("{", encoding="utf-8")
    with pytest.raises(PackageError, match="is damaged"):
        read_report(out)


def test_no_other_run_begins_between_packages_and_report(campaign):
    path, out = campaign
    told = []

    def then(run):
        assert json.loads((out / TOLD).read_bytes())["complete"]
        with pytest.raises(PackageError, match="another run works in this folder"):
            run_campaign(path, out)
        told.extend(ends.finish(run))
    run_campaign(path, out, then=then)
    assert told[-1] == f"wrote {out / WORKBOOK}"
    with held(out):
        pass


def test_an_output_that_cannot_be_moved_is_said(campaign, monkeypatch):
    path, out = campaign
    run_campaign(path, out, then=ends.finish)
    other_selection(path)
    told, real = (out / TOLD).read_bytes(), folders.os.replace

    def replace(a, b):
        if str(a).endswith(ORDER):
            raise PermissionError(13, "Permission denied", str(a))
        real(a, b)
    monkeypatch.setattr(folders.os, "replace", replace)
    with pytest.raises(PackageError, match=r"order\.csv: cannot be moved or taken away \(Permission denied\); close"):
        run_campaign(path, out, then=ends.finish)
    assert (out / TOLD).read_bytes() == told, "nothing of it was changed before"

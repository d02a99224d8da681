"""The whole way of a campaign by its commands: invented listing, screening, packages, order, dig list, report."""

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from pypdf import PdfReader

from wrapcalc.cli import main


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("campaign") / "line"
    assert main(["example", str(made), "--listing", "600", "--seed", "7"]) == 0
    text = (made / "campaign.toml").read_text(encoding="utf-8")
    (made / "campaign.toml").write_text(text.replace("most = 6", "most = 2"), encoding="utf-8")
    return made


@pytest.fixture(scope="module")
def run(folder):
    # The listing has faults on purpose, which the exit status tells, as that of `screen` does.
    assert main(["campaign", str(folder / "campaign.toml"), "--out", str(folder / "out")]) == 1
    return folder / "out"


def test_a_screening_counts_every_row(folder, capsys):
    code = main(["screen", str(folder / "listing.csv"), "--mapping", str(folder / "mapping.toml"), "--out",
                 str(folder / "screened"), "--format", "csv"])
    said = capsys.readouterr().out
    rows, ranked, others, faulty = map(int, re.match(
        r"(\d+) rows = (\d+) ranked \+ (\d+) that are no anomaly .* \+ (\d+) with faults", said).groups())
    assert rows == 600 == ranked + others + faulty and faulty > 0
    assert code == 1, "rows that could not be read are told by the exit status, too"
    assert len((folder / "screened" / "ranked.csv").read_text(encoding="utf-8-sig").splitlines()) == ranked + 1


def test_a_campaign_leaves_packages_order_dig_list_report_and_workbook(run):
    told = json.loads((run / "campaign.json").read_text(encoding="utf-8"))
    assert told["complete"] and len(told["chosen"]) == len(told["packages"]) == 2 and not told["failures"]
    for name in ("order.csv", "order-by-site.csv", "dig-list.csv", "season.csv", "campaign.html", "campaign.pdf",
                 "campaign.ipynb", "roll-up.json"):
        assert (run / name).stat().st_size > 0, name
    assert not [p.name for p in run.iterdir() if p.name.startswith(".aside")]


def test_every_chosen_and_every_left_row_stands_in_the_report(run):
    told = json.loads((run / "campaign.json").read_text(encoding="utf-8"))
    html = (run / "campaign.html").read_text(encoding="utf-8")
    for x in told["chosen"]:
        assert f"<td>{x['case']}</td>" in html
    for x in told["left"][:50]:  # the report lists the first; all of them stand in campaign.json
        assert str(x["row"]["feature_id"]) in html
    assert "http://" not in re.sub(r'xmlns(:xlink)?="[^"]+"', "", html) and "https://" not in html
    assert "NOT APPROVED" in PdfReader(run / "campaign.pdf").pages[0].extract_text()


def test_the_workbook_shows_the_parts_of_the_report(run):
    outputs = (run / "campaign.ipynb").read_text(encoding="utf-8")
    told = json.loads((run / "campaign.json").read_text(encoding="utf-8"))
    assert told["chosen"][0]["case"] in outputs and '"output_type": "error"' not in outputs


def test_a_second_run_does_no_work_and_gives_the_same_bytes(run, folder, capsys):
    names = ("campaign.json", "roll-up.json", "order.csv", "dig-list.csv", "campaign.html", "campaign.pdf",
             "campaign.ipynb")
    before = {n: (run / n).read_bytes() for n in names}
    assert main(["campaign", str(folder / "campaign.toml"), "--out", str(run)]) == 1
    assert "(2 of them finished before)" in capsys.readouterr().out
    assert {n: (run / n).read_bytes() for n in names} == before


@pytest.mark.skipif(sys.platform == "win32", reason="sends POSIX signals")
def test_killed_in_the_screening_and_in_the_finish_it_goes_on_to_the_same_bytes(run, folder, tmp_path):
    from wrapcalc.campaign.report.report import read_report
    from wrapcalc.errors import PackageError
    out, args = tmp_path / "out", ("campaign", str(folder / "campaign.toml"), "--out", str(tmp_path / "out"))
    shutil.copytree(run, out)
    (out / "screening.made-from.json").unlink()  # so that it is screened again

    def killed(place: str) -> None:
        done = subprocess.run([sys.executable, "-m", "tests.helpers.killed", place, *args], capture_output=True,
                              text=True, timeout=200, cwd=Path(__file__).parents[1])
        assert done.returncode == -9, done.stdout + done.stderr
    killed("screening")
    assert read_report(out).about["headline"], "nothing has changed yet"
    killed("finish")
    assert (out / "order.csv").exists() and not (out / "roll-up.json").exists()
    with pytest.raises(PackageError, match="run it again to go on"):
        read_report(out)
    assert main(list(args)) == 1

    def files(of: Path) -> dict[str, bytes]:
        return {str(p.relative_to(of)): p.read_bytes() for p in sorted(of.rglob("*"))
                if p.is_file() and not p.name.startswith((".campaign", "finished.jsonl"))}  # the lock, a log
    assert files(out) == files(run)


def test_order_and_dig_list_are_in_the_units_of_the_campaign(run, folder, tmp_path):
    """The same cases and packages; only what is printed of the campaign is in US units."""
    from wrapcalc.campaign.report.roll_up import roll_up
    from wrapcalc.campaign.run import run_campaign
    text = (folder / "campaign.toml").read_text(encoding="utf-8").replace('display = "SI"', 'display = "US"')
    (folder / "us.toml").write_text(text.replace("most = 2", "most = 1"), encoding="utf-8")
    roll_up(run_campaign(folder / "us.toml", tmp_path / "us"))
    for name, unit in (("order.csv", '"width [in]"'), ("dig-list.csv", '"survey [ft]"')):
        assert unit in (tmp_path / "us" / name).read_text(encoding="utf-8-sig").splitlines()[0]
    assert '"width [mm]"' in (run / "order.csv").read_text(encoding="utf-8-sig").splitlines()[0]


def test_a_look_is_a_mapping_that_waits_for_its_doubts(folder, tmp_path, capsys):
    assert main(["screen", "--look", str(folder / "listing.csv")]) == 0
    said = capsys.readouterr().out
    assert said.count("[columns]") == 1 and "# row 6: " in said and "# DOUBT: " in said
    (tmp_path / "mapping.toml").write_text(said, encoding="utf-8")
    (tmp_path / "base.toml").write_bytes((folder / "base.toml").read_bytes())
    assert main(["screen", str(folder / "listing.csv"), "--mapping", str(tmp_path / "mapping.toml"), "--out",
                 str(tmp_path / "out")]) == 1
    told = capsys.readouterr().err
    assert "columns.depth.unit: found 'choose: " in told and not (tmp_path / "out").exists()


@pytest.mark.parametrize("words", [["screen", "x.csv"], ["screen", "x.csv", "--look", "--out", "y"],
                                   ["campaign", "c.toml", "--scheduler", "tcp://127.0.0.1:1", "-j", "2"]])
def test_wrong_use_is_told(words):
    with pytest.raises(SystemExit) as e:
        main(words)
    assert e.value.code == 2


def test_a_folder_without_a_campaign_is_told_in_the_workbook(tmp_path):
    from wrapcalc import workbook
    from wrapcalc.workbook.campaign import CampaignNotOpened
    with pytest.raises(CampaignNotOpened, match=r"campaign\.json cannot be read"):
        workbook.open_campaign(str(tmp_path))

"""What may be chosen stands there with its status; grids stand beside the case; the outcome is of the file."""

import shutil

import pytest

from wrapcalc.case.design_model import ASME_EDITIONS, ISO_EDITIONS
from wrapcalc.errors import PackageError
from wrapcalc.standards import tables
from wrapcalc.systems.sheets import shipped_systems
from wrapcalc.workbook.form import measured, shelf
from wrapcalc.workbook.form.draft import Draft
from wrapcalc.workbook.form.outcome import command, outcome, still

SLEEVE = shipped_systems()["example-sleeve"]


def test_systems_are_the_shipped_ones_and_the_sheets_beside_the_case_with_their_status(example):
    (example / "mine.toml").write_bytes(SLEEVE.read_bytes())
    (example / "half.toml").write_text('[system]\nname = "Half a sheet"\n', encoding="utf-8")
    (example / "spoilt.toml").write_text("[system\n", encoding="utf-8")
    found = {c.value: c for c in shelf.systems(example)}
    assert {*found} == {*shipped_systems(), "mine.toml", "half.toml"}
    assert "invented" in found["example-sleeve"].status and "complete" in found["mine.toml"].status
    assert "refused" in found["half.toml"].status and "Half a sheet" in found["half.toml"].label


def test_a_system_shows_its_data_its_evidence_and_that_it_is_invented(example):
    html = shelf.system_sheet("example-sleeve", example)
    for words in ("Example sleeve (invented)", "report EX-S-01", "36.5 GPa", "no product has these values"):
        assert words in html
    (example / "half.toml").write_text('[system]\nname = "x"\n', encoding="utf-8")
    assert "is refused as it stands" in shelf.system_sheet("half.toml", example)
    for nothing in ("", "gone.toml", "../HB-07.toml", "unknown"):
        assert shelf.system_sheet(nothing, example) == ""


def test_editions_show_how_much_of_each_is_known():
    entries = tables.shipped()
    found = {c.value: c.status for c in shelf.editions(entries)}
    assert [*found] == [*ISO_EDITIONS, *ASME_EDITIONS]
    for name, status in found.items():
        waiting = sum(e.waits for e in entries.values() if e.document == name)
        assert (f"{waiting} not known" in status) == (waiting > 0)
        html = shelf.edition_sheet(name, entries)
        assert ("a design that needs one stops there" in html) == (waiting > 0)
        assert all(e.clause in html for e in entries.values() if e.document == name)
    assert shelf.edition_sheet("another", entries) == ""


def test_a_grid_never_replaces_another_file(example):
    raw = (example / "HB-07-grid.csv").read_bytes()
    assert measured.write_grid(example, "HB-07", raw) == "HB-07-grid.csv", "the same bytes are the same file"
    assert measured.write_grid(example, "HB-07", b"mm,0\n") == "HB-07-grid-2.csv"
    assert (example / "HB-07-grid.csv").read_bytes() == raw
    assert measured.write_grid(example, "???", b"x") == "case-grid.csv"
    with pytest.raises(PackageError, match="cannot be written"):
        measured.write_grid(example / "gone", "A", b"x")


def test_the_grid_is_drawn_with_the_wall_and_shown_as_a_table_without_one(example):
    d = Draft.open(example / "HB-07.toml")
    assert "<svg" in measured.picture(d).html and "8 stations around × 10 along" in measured.picture(d).text
    for wall in ("nominal_wall", "sound_wall"):
        d.set(f"pipe.{wall}", "")
    picture = measured.picture(d)
    assert "<svg" not in picture.html and "<table" in picture.html and "as soon as the wall is stated" in picture.text
    d.set("defect.grid", "gone.csv")
    assert "no such file" in measured.picture(d).text
    d.set("defect.grid", "")
    assert measured.picture(d) is None


def test_the_grid_is_drawn_while_the_case_has_faults_and_in_its_own_units(example):
    d = Draft.open(example / "HB-07.toml")
    d.set("service.maop", "much")
    assert "<svg" in measured.picture(d).html and "the case has faults" in measured.picture(d).text
    d.set("case.display", "US")
    assert " in at axial" in measured.picture(d).text


def test_a_depth_that_the_case_states_is_not_told_as_a_reading_of_the_file(example):
    d = Draft.open(example / "HB-07.toml")  # the file holds 3.7 mm at its deepest, the case states 3.9 mm
    assert max(float(x) for line in (example / "HB-07-grid.csv").read_text().splitlines()[1:]
               for x in line.split(",")[1:]) == 3.7
    one = measured.picture(d)
    assert "deepest reading 3.7 mm at axial 104 mm, around 66 mm; raised to the stated 3.9 mm." in one.text
    assert "depth as used" in one.html and "measured depth" not in one.html
    for position, words in ((("90 mm", "44 mm"), "deepest reading 3.7 mm at axial 104 mm, around 66 mm; the depth at "
                             "axial 78 mm, around 44 mm is raised to the stated 3.9 mm."), (("", ""), "; raised to")):
        for field, text in zip(("deepest_axial", "deepest_around"), position, strict=True):
            d.set(f"defect.{field}", text)
        assert words in measured.picture(d).text
    d.set("defect.depth", "3.7 mm")
    assert "raised" not in measured.picture(d).text and "measured depth" in measured.picture(d).html
    d.set("defect.depth", "")
    assert "deepest reading 3.7 mm at" in measured.picture(d).text


def test_words_and_stations_of_a_grid_are_those_of_the_file_whatever_the_case_does_to_it(example):
    (example / "wall.csv").write_text("mm remaining,0,20,40,60\n0,9.53,9.53,9.53,9.53\n25,9.53,8,6.2,9.53\n"
                                      "50,9.53,9.53,9.53,9.53\n")
    d = Draft.open(example / "HB-07.toml")
    d.set("defect.grid", "wall.csv")
    text = measured.picture(d).text
    assert "wall.csv: 3 stations around × 4 along; least reading 6.2 mm; the depth there is raised to the stated " \
           "3.9 mm." in text
    d.set("service.maop", "much")
    assert "least reading 6.2 mm." in measured.picture(d).text, "and while the case has faults"
    d.set("service.maop", "6.9 MPa")
    (example / "rim.csv").write_text("mm,0,20,40\n0,0,0,0\n25,1,3.9,0\n50,0,0,0\n")
    d.set("defect.grid", "rim.csv")
    d.set("defect.grid_extension", "20 mm")
    text = measured.picture(d).text
    assert "3 stations around × 3 along; deepest reading 3.9 mm at axial 20 mm, around 25 mm." in text
    assert "A rim of sound wall was added" in text
    (example / "more.csv").write_text("mm,40,60\n0,0,0\n25,0,2\n50,0,0\n")
    d.set("defect.second_grid", "more.csv")
    assert "rim.csv and more.csv: 3 stations around × 4 along" in measured.picture(d).text


def test_the_outcome_is_that_of_the_file_on_disk(example):
    d = Draft.open(example / "HB-02.toml")
    before = outcome(d.path).text
    d.set("pipe.nominal_wall", "")
    assert outcome(d.path).text == before, "what is not saved is not in it"
    d.save()
    after = outcome(d.path)
    assert after.text != before and "Nominal wall" in after.text and "1 needed for any decision" in after.text
    d.set("pipe.nominal_wall", "nine")
    d.save()
    assert "does not read yet: 1 fault" in outcome(d.path).html
    d.set("pipe.nominal_wall", "7.1 mm")
    d.set("case.title", "漢")
    d.save()
    assert "U+6F22" in outcome(d.path).text
    assert "not saved yet" in outcome(example / "NEW.toml").text


def test_the_page_without_widgets_shows_what_stands_in_the_file_and_what_was_not_saved(example):
    d = Draft.open(example / "HB-07.toml")
    first = still(d.path)
    assert first.text == still(d.path).text and "pipe.nominal_wall = 8.74 mm [mill certificate MC-2207]" in first.text
    assert "stock.1.width = 410 mm" in first.text
    d.set("pipe.nominal_wall", "9 mm")
    assert "1 answers were typed earlier and not saved" in still(d.path).text
    assert "not saved yet" in still(example / "NEW.toml").text


def test_the_words_that_make_the_package_run(example, monkeypatch, capsys):
    import shlex

    from wrapcalc.cli import main
    folder = example.with_name("my cases")
    shutil.copytree(example, folder)
    monkeypatch.chdir(folder.parent)
    words = shlex.split(command(folder / "HB-02.toml"))
    assert words[0] == "wrapcalc" and not any(w.startswith("/") for w in words)
    assert main(words[1:]) == 0 and (folder / "packages" / "HB-02-r1").is_dir()

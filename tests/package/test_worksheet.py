"""The worksheet of an edition, and its ticks back into an overlay."""

import csv
import io
import json
import os
import re
import unicodedata
from html import unescape
from pathlib import Path

import pypdf
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wrapcalc.cli import main
from wrapcalc.errors import CaseFaults, PackageError, UnknownItem
from wrapcalc.formula import registry
from wrapcalc.package import worksheet as ws
from wrapcalc.package.worksheet_read import read_worksheet
from wrapcalc.standards import tables

ISO, OLD = "ISO 24817:2017", "ISO/TS 24817:2006"
STRAIN, CYCLES = f"{ISO}/strain_hoop_20_y", f"{ISO}/cycles_without_factor"
WAITS = f"{OLD}/strain_hoop_rare"
FORMULA = "thickness_laminate_strain"
#: Who checked what: invented.
TICK = {"agrees": "yes", "checked by": "R. Reviewer", "date": "2026-11-02", "which copy": "company copy 3"}
EDITIONS = sorted({e.document for e in tables.shipped().values()} | {f.source.id for f in registry().values()})
COMMENTED = """\
# Our marks. Keep this line.
[[value]]   # checked twice
item = "ASME B31G-2012/flow_increment"
value = "69 MPa"
by = "R. Reviewer"
on = "2026-11-01"
copy = "company copy 3"
# the last line"""


def blank(*editions: str) -> list[dict[str, str]]:
    """The rows of unfilled worksheets, as they stand in the CSV."""
    found = [r for e in editions for r in ws.rows(e, tables.load(), ws.Uses())]
    return list(csv.DictReader(io.StringIO(ws.csv_text(found), newline="")))


def save(path: Path, rows: list[dict[str, str]], *, columns=ws.COLUMNS, delimiter=",", encoding="utf-8-sig") -> Path:
    with open(path, "w", newline="", encoding=encoding) as file:
        writer = csv.DictWriter(file, columns, delimiter=delimiter)
        writer.writeheader()
        writer.writerows(rows)
    return path


def packed(text: str) -> str:
    """Without spaces, which a PDF does not keep, and without ligatures, which it draws."""
    return "".join(unicodedata.normalize("NFKC", text).split())


@pytest.fixture
def read(tmp_path):
    """Fill in rows by item, read them, and give the outcome and the overlay."""
    def run(ticks: dict[str, dict[str, str]], *, before: str | None = None, editions=(ISO, OLD), **options):
        rows = blank(*editions)
        assert ticks.keys() <= {r["item"] for r in rows}
        overlay = tmp_path / "marks.toml"
        if before is not None:
            overlay.write_bytes(before.encode())
        rows = [r | ticks.get(r["item"], {}) for r in rows]
        return read_worksheet(save(tmp_path / "filled.csv", rows, **options), overlay), overlay
    return run


def faults_of(read, ticks, **options) -> list:
    """The faults of a worksheet, which must have changed nothing."""
    with pytest.raises(CaseFaults) as caught:
        read(ticks, **options)
    return caught.value.faults


def untouched(folder: Path, before: str | None) -> bool:
    overlay = folder / "marks.toml"
    kept = not overlay.exists() if before is None else overlay.read_bytes() == before.encode()
    return kept and {p.name for p in folder.iterdir()} <= {"filled.csv", "marks.toml"}


# -- printing -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("edition", EDITIONS)
def test_every_unverified_value_and_formula_is_listed_once(edition):
    rows = blank(edition)
    values = {k: e for k, e in tables.shipped().items() if e.document == edition}
    formulas = {n: f for n, f in registry().items() if f.source.id == edition}
    assert sorted(r["item"] for r in rows) == sorted([*values, *formulas])
    for r in rows:
        if r["what"] == "value":
            e = values[r["item"]]
            assert (r["title"], r["our clause"], r["status"]) == (e.title, e.clause, e.status)
            assert ws.restored(r["our value"]) == (ws.FILL_IN if e.waits else e.written) and e.kind in r["unit kind"]
        else:
            f = formulas[r["item"]]
            assert (r["title"], r["our clause"], r["status"], ws.restored(r["expression"])) == (
                f.title, f.clause, f.status, f.text)
        assert not any(r[c] for c in ws.FILLED)


def test_what_a_mark_covers_is_left_out(read, tmp_path):
    _, overlay = read({STRAIN: TICK, FORMULA: TICK})
    left = {r.item for r in ws.rows(ISO, tables.load(overlay), ws.Uses())}
    assert {r["item"] for r in blank(ISO)} - left == {STRAIN, FORMULA}


def test_clauses_come_in_order_of_their_numbers():
    values = [tuple(map(int, r["our clause"].split("."))) for r in blank(ISO)
              if r["what"] == "value" and re.fullmatch(r"[\d.]+", r["our clause"])]
    assert (7, 5, 9) in values and (7, 5, 10) in values and values == sorted(values)


def test_html_and_pdf_hold_every_line_and_stand_alone(tmp_path, capsys):
    assert main(["worksheet", ISO, "--out", str(tmp_path)]) == 0
    assert "wrote" in capsys.readouterr().out
    assert {p.name for p in tmp_path.iterdir()} == {f"worksheet-ISO-24817-2017.{k}" for k in ("html", "pdf", "csv")}
    html = (tmp_path / "worksheet-ISO-24817-2017.html").read_text(encoding="utf-8")
    assert not re.search(r"(src|href)=|url\((?!data:)", html)
    text = " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())
    pages = pypdf.PdfReader(tmp_path / "worksheet-ISO-24817-2017.pdf").pages
    printed = packed("".join(page.extract_text() for page in pages))
    assert html.count('role="img"') == sum(f.source.id == ISO for f in registry().values())
    for r in blank(ISO):
        assert " ".join(r["title"].split()) in text and packed(r["title"]) in printed
        assert " ".join(ws.restored(r["expression"]).split()) in text
        assert packed(ws.restored(r["expression"])) in printed
    assert f"Page1of{len(pages)}" in printed and "Clauseinthecopy" in printed


def test_an_edition_that_takes_over_equations_prints_them(tmp_path):
    """Whether its equations are alike cannot be said without them."""
    html = ws.worksheet_html(OLD, found := ws.rows(OLD, tables.load(), ws.Uses()), ws.Uses(), looked=False,
                             alike=ws._alike(found))
    text = " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())
    assert f"Formulas of {ISO}" in text and registry()[FORMULA].text in text
    assert FORMULA not in {r.item for r in found}
    assert ws._alike(ws.rows("ASME B31G-2012", tables.load(), ws.Uses())) == []


def test_csv_is_rfc_4180_with_a_byte_order_mark(tmp_path):
    ws.write_worksheet("ASME B31G-2012", tmp_path)
    raw = (tmp_path / "worksheet-ASME-B31G-2012.csv").read_bytes()
    assert raw.startswith(b"\xef\xbb\xbfwhat,item,") and raw.count(b"\n") == raw.count(b"\r\n") == len(
        blank("ASME B31G-2012")) + 1


@pytest.mark.parametrize("there", ["html", "pdf", "csv"])
def test_nothing_is_overwritten(tmp_path, there, capsys):
    mine = tmp_path / f"worksheet-ASME-B31G-2012.{there}"
    mine.write_text("filled in by hand", encoding="utf-8")
    assert main(["worksheet", "ASME B31G-2012", "--out", str(tmp_path)]) == 1
    assert f"{mine.name} is there already" in capsys.readouterr().err
    assert [p.name for p in tmp_path.iterdir()] == [mine.name]
    assert mine.read_text(encoding="utf-8") == "filled in by hand"


@pytest.mark.parametrize(("words", "told"), [
    (["ISO 24817"], "Did you mean 'ISO 24817:2017'?"),
    (["iso 24817:2017"], "Did you mean 'ISO 24817:2017'?"),
    (["B31G", "2012"], "Did you mean 'ASME B31G-2012'?"),
    (["xyz"], "49 CFR 192, 49 CFR 195"),
])
def test_an_unknown_edition_is_told_with_what_we_have(tmp_path, capsys, words, told):
    assert main(["worksheet", *words, "--out", str(tmp_path / "out")]) == 1
    assert told in capsys.readouterr().err and not (tmp_path / "out").exists()
    with pytest.raises(UnknownItem):
        ws.listed("xyz")


def test_a_name_without_quotation_marks_is_taken_too(tmp_path, capsys):
    assert main(["worksheet", "ASME", "B31G-1991", "--out", str(tmp_path)]) == 0
    assert "of ASME B31G-1991 to compare" in capsys.readouterr().out


@pytest.mark.parametrize("arguments", [[], ["--read", "x.csv"], ["ISO 24817:2017", "--read", "x", "--overlay", "y"],
                                       ["--read", "x", "--overlay", "y", "--out", "z"],
                                       ["--read", "x", "--overlay", "y", "--packages", "z"], ["--overlay", "y"]])
def test_wrong_use(arguments, capsys):
    with pytest.raises(SystemExit) as stop:
        main(["worksheet", *arguments])
    assert stop.value.code == 2 and "usage: wrapcalc worksheet" in capsys.readouterr().err


# -- packages -----------------------------------------------------------------------------------------------------
def package(folder: Path, **more) -> Path:
    """The part of a record that is looked at, in the layout of record.py."""
    step = {"type": "step", "formula": FORMULA, "inputs": [{"origin": {"kind": "table", "ref": STRAIN}}]}
    record = {"table_entries": [{"key": STRAIN}], "formulas": [{"name": FORMULA}],
              "items": [step, {"type": "check"}]} | more
    folder.mkdir(parents=True)
    (folder / "record.json").write_text(json.dumps(record), encoding="utf-8")
    return folder


def test_packages_that_used_an_item_are_named(tmp_path):
    package(tmp_path / "p" / "HB-07-r1")
    package(tmp_path / "p" / "north" / "HB-15-r1", formulas=[])
    package(tmp_path / "p" / ".building-1-host-ab")
    for name, raw in (("no-json", b"{"), ("other", b"[]"), ("deep", b"[" * 9999), ("bytes", b"\xff"),
                      ("old", b'{"table_entries": [3], "formulas": [], "items": []}')):
        (tmp_path / "p" / name).mkdir()
        (tmp_path / "p" / name / "record.json").write_bytes(raw)
    uses = ws.used_in(tmp_path / "p")
    assert uses.packages == 2 and uses.values == {STRAIN: ["HB-07-r1", "north/HB-15-r1"]}
    assert uses.formulas == {FORMULA: ["HB-07-r1"]} and uses.takes == {FORMULA: [STRAIN]}
    assert [n.split(":")[0] for n in uses.notes] == ["bytes", "deep", "no-json", "old", "other"]
    rows = {r.item: r for r in ws.rows(ISO, tables.load(), uses)}
    assert rows[STRAIN].used_by == ("HB-07-r1", "north/HB-15-r1") and rows[CYCLES].used_by == ()
    assert rows[FORMULA].takes == (tables.shipped()[STRAIN].title,)
    html = ws.worksheet_html(ISO, list(rows.values()), uses, looked=True)
    assert "used by HB-07-r1, north/HB-15-r1" in re.sub(r"<[^>]+>", "", html)
    assert "bytes: its record.json cannot be read; skipped" in html


def test_a_folder_with_a_name_that_does_not_print_stops_nothing(tmp_path):
    package(tmp_path / "p" / "管-r1")
    package(tmp_path / "p" / "=cmd-r1")
    lines = ws.write_worksheet(ISO, tmp_path / "out", packages=tmp_path / "p")
    assert len(lines) == 5
    raw = (tmp_path / "out" / "worksheet-ISO-24817-2017.csv").read_text(encoding="utf-8-sig")
    assert '"\'=cmd-r1, 管-r1"' in raw


def test_no_package_folder(tmp_path, capsys):
    with pytest.raises(PackageError, match="no such folder"):
        ws.write_worksheet(ISO, tmp_path / "out", packages=tmp_path / "none")
    (tmp_path / "empty").mkdir()
    assert ws.used_in(tmp_path / "empty").notes == [f"{tmp_path / 'empty'}: no package that can be read is below "
                                                    "this folder"]


# -- cells that a spreadsheet could run ---------------------------------------------------------------------------
@given(st.text(alphabet=st.sampled_from("=+-@\t\r\n'a1 "), max_size=6) | st.text(max_size=6))
def test_no_cell_runs_and_every_cell_comes_back(text):
    cell = ws.defused(text)
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n")) and ws.restored(cell) == text


def test_a_row_that_begins_with_signs_is_defused():
    row = ws.Row("formula", "f", "=title", "-1", "", "", "", "-p * D", ("@x",))
    cells = next(csv.reader(io.StringIO(ws.csv_text([row]).splitlines()[1])))
    assert cells[:9] == ["formula", "f", "'=title", "'-1", "", "", "", "'-p * D", "'@x"]
    assert ws.restored(cells[7]) == row.expression


def test_what_is_typed_comes_back_without_the_apostrophe(read):
    outcome, overlay = read({STRAIN: TICK | {"which copy": "'=copy", "clause in the copy or remark": "'-7.5"}})
    assert 'copy = "=copy"' in overlay.read_text(encoding="utf-8") and len(outcome.ticks) == 1
    assert "# -7.5\n[[value]]" in overlay.read_text(encoding="utf-8")


# -- reading ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("edition", EDITIONS)
def test_a_worksheet_ticked_throughout_makes_everything_verified(edition, read):
    """Round trip: what prints is what marks; values that we do not know stay blank."""
    rows = [r for r in blank(edition) if r["our value"] != ws.FILL_IN]
    outcome, overlay = read({r["item"]: TICK for r in rows}, editions=[edition])
    assert len(outcome.ticks) == len(rows) and not outcome.notices and overlay.exists() == bool(rows)
    marked = tables.load(overlay if rows else None)
    for r in rows:
        if r["what"] == "value":
            entry = marked.entries[r["item"]]
            assert entry.status == "verified" and entry.mark.changed_from == ""
            assert entry.value() == tables.shipped()[r["item"]].value()
        else:
            status, mark = marked.formula_status(registry()[r["item"]])
            assert (status, str(mark)) == ("verified", "R. Reviewer, 2026-11-02, company copy 3")
    left = ws.rows(edition, marked, ws.Uses())
    assert [r.ours for r in left] == [ws.FILL_IN] * (len(blank(edition)) - len(rows))


@pytest.mark.parametrize("yes", ["yes", "YES", " Yes "])
def test_yes_in_any_letters(read, yes):
    outcome, _ = read({STRAIN: TICK | {"agrees": yes}})
    assert [t.item for t in outcome.ticks] == [STRAIN]


@pytest.mark.parametrize(("item", "typed", "written"), [  # invented values of an invented copy
    (STRAIN, "0.24 %", '"0.24 %"'), (STRAIN, "2400 microstrain", '"2400 microstrain"'), (STRAIN, "0.24%", '"0.24%"'),
    (CYCLES, "6000", "6000"), (CYCLES, "6e3", "6000"), (CYCLES, "6000.5", "6000.5"),
])
def test_another_value_replaces_ours_and_says_so(read, item, typed, written):
    _, overlay = read({item: TICK | {"agrees": "No", "value in the copy": typed}})
    assert f"value = {written}\n" in overlay.read_text(encoding="utf-8")
    entry = tables.load(overlay).entries[item]
    assert entry.mark.changed_from == tables.shipped()[item].written


@pytest.mark.parametrize("agrees", ["", "yes", "no"])
def test_a_value_that_we_do_not_know_is_filled_in(read, agrees):
    assert tables.shipped()[WAITS].waits
    _, overlay = read({WAITS: TICK | {"agrees": agrees, "value in the copy": "0.3 %"}})  # invented
    entry = tables.load(overlay).entries[WAITS]
    assert (entry.written, entry.status) == ("0.3 %", "verified")


def test_yes_with_the_same_value_in_another_unit(read):
    _, overlay = read({STRAIN: TICK | {"value in the copy": "2500 microstrain"}})
    assert tables.load(overlay).entries[STRAIN].written == tables.shipped()[STRAIN].written


def test_blank_rows_and_lone_remarks_are_passed_over(read, tmp_path):
    outcome, overlay = read({STRAIN: {"clause in the copy or remark": "look again"}})
    assert outcome.ticks == [] and outcome.blank == len(blank(ISO, OLD)) and not overlay.exists()
    assert outcome.lines(overlay)[0] == f"no new tick: nothing was written into {overlay}"


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_columns_in_any_order_separated_as_spreadsheets_do(read, delimiter):
    columns = [*reversed(ws.COLUMNS)]
    outcome, _ = read({STRAIN: TICK, FORMULA: TICK}, columns=columns, delimiter=delimiter, encoding="utf-8")
    assert {t.item for t in outcome.ticks} == {STRAIN, FORMULA}


def test_a_spreadsheet_that_adds_empty_columns_and_rows(tmp_path):
    path = save(tmp_path / "f.csv", [r | (TICK if r["item"] == STRAIN else {}) for r in blank(ISO)])
    lines = path.read_text(encoding="utf-8-sig").splitlines()
    path.write_text("\r\n".join(line + ",," for line in lines) + "\r\n,,,\r\n\r\n", encoding="utf-8")
    assert len(read_worksheet(path, tmp_path / "marks.toml").ticks) == 1


def test_the_remark_stands_above_its_mark(read):
    _, overlay = read({STRAIN: TICK | {"clause in the copy or remark": "7.5.6, table 8"}})
    assert f'# 7.5.6, table 8\n[[value]]\nitem = "{STRAIN}"\n' in overlay.read_text(encoding="utf-8")


# -- an overlay that is there -------------------------------------------------------------------------------------
@pytest.mark.parametrize("ends", ["", "\n", "\n\n"])
@pytest.mark.parametrize("line", ["\n", "\r\n"])
def test_an_overlay_keeps_its_text_and_comments(read, ends, line):
    before = (COMMENTED + ends).replace("\n", line)
    _, overlay = read({STRAIN: TICK, FORMULA: TICK}, before=before)
    raw = overlay.read_bytes()
    assert raw.startswith(before.encode()) and raw.count(b"\n") == raw.count(line.encode())
    marked = tables.load(overlay)
    assert {k for k, e in marked.entries.items() if e.mark} == {STRAIN, "ASME B31G-2012/flow_increment"}
    assert set(marked.formula_marks) == {FORMULA}


@pytest.mark.parametrize("before", ["", "\n", "\ufeff", "# nothing yet\n"])
def test_an_overlay_without_marks(read, before):
    _, overlay = read({STRAIN: TICK}, before=before)
    assert tables.load(overlay).entries[STRAIN].mark


def test_the_same_marks_again_change_nothing(read):
    ticks = {STRAIN: TICK, FORMULA: TICK, CYCLES: TICK | {"agrees": "no", "value in the copy": "6000"}}
    _, overlay = read(ticks)
    before = overlay.read_bytes(), overlay.stat().st_mtime_ns
    outcome, _ = read(ticks | {STRAIN: TICK | {"value in the copy": "2500 microstrain"}})
    assert (outcome.ticks, outcome.there) == ([], 3)
    assert (overlay.read_bytes(), overlay.stat().st_mtime_ns) == before


@pytest.mark.parametrize("other", [{"checked by": "A. Other"}, {"date": "2026-11-03"}, {"which copy": "copy 4"},
                                   {"agrees": "no", "value in the copy": "0.24 %"}])
def test_another_mark_of_a_marked_item_is_a_fault(read, tmp_path, other):
    _, overlay = read({STRAIN: TICK})
    before = overlay.read_text(encoding="utf-8")
    fault, = faults_of(read, {STRAIN: TICK | other, CYCLES: TICK})
    assert fault.found.startswith(f"'{STRAIN}', which marks.toml marks otherwise (R. Reviewer, 2026-11-02")
    assert untouched(tmp_path, before)


def test_a_faulty_overlay_is_told_and_left_alone(read, tmp_path):
    before = COMMENTED.replace("69 MPa", "690 MPa")
    fault, = faults_of(read, {STRAIN: TICK}, before=before)
    assert (fault.file, fault.field, fault.line) == ("marks.toml", "value.0.value", 4)
    assert untouched(tmp_path, before)


def test_marks_in_another_form_are_told(read, tmp_path):
    mark = '{ item = "ASME B31G-2012/flow_increment", value = "69 MPa", by = "R", on = "2026-11-01", copy = "3" }'
    before = f"value = [{mark}]\n"
    fault, = faults_of(read, {STRAIN: TICK}, before=before)
    assert fault.file == "marks.toml" and untouched(tmp_path, before)


def test_a_link_to_an_overlay_stays_a_link(tmp_path, read):
    (tmp_path / "elsewhere").mkdir()
    real = tmp_path / "elsewhere" / "real.toml"
    real.write_text(COMMENTED, encoding="utf-8")
    os.chmod(real, 0o640)
    try:
        (tmp_path / "marks.toml").symlink_to(real)
    except OSError:
        pytest.skip("no links on this machine")
    _, overlay = read({STRAIN: TICK})
    assert overlay.is_symlink() and tables.load(real).entries[STRAIN].mark and real.stat().st_mode & 0o777 == 0o640


# -- faults -------------------------------------------------------------------------------------------------------
NO = TICK | {"agrees": "no"}
FAULTS = [
    (STRAIN, TICK | {"agrees": "perhaps"}, "agrees", "'perhaps'", "yes, no"),
    (STRAIN, TICK | {"agrees": ""}, "agrees", "nothing, in a row", "yes, no"),
    (STRAIN, TICK | {"agrees": "", "value in the copy": "0.24 %"}, "agrees", "nothing, in a row", "yes, no"),
    (STRAIN, TICK | {"checked by": " "}, "checked by", "nothing", "by whom"),
    (STRAIN, TICK | {"which copy": ""}, "which copy", "nothing", "in which copy"),
    (STRAIN, TICK | {"checked by": "管"}, "checked by", "'管' (U+7BA1)", "fonts"),
    (STRAIN, TICK | {"checked by": "a\x07"}, "checked by", "'a\\x07'", "control characters"),
    (STRAIN, TICK | {"clause in the copy or remark": "x" * 2001}, "clause in the copy or remark", "2001", "2000"),
    (STRAIN, TICK | {"date": ""}, "date", "nothing", "year-month-day"),
    (STRAIN, TICK | {"date": "02.11.2026"}, "date", "'02.11.2026'", "year-month-day"),
    (STRAIN, TICK | {"date": "2026-13-01"}, "date", "'2026-13-01'", "year-month-day"),
    (STRAIN, TICK | {"date": "20261102"}, "date", "'20261102'", "year-month-day"),
    (STRAIN, TICK | {"date": "0202-11-02"}, "date", "'0202-11-02'", "1900 to 2100"),
    (STRAIN, TICK | {"value in the copy": "0.24 %"}, "agrees", "'yes' and '0.24 %'", "yes for the same"),
    (STRAIN, NO, "value in the copy", "nothing", "the value in the copy, a strain"),
    (STRAIN, NO | {"value in the copy": "0.25 %"}, "agrees", "'no' and '0.25 %'", "yes for the same"),
    (STRAIN, NO | {"value in the copy": "0,24 %"}, "value in the copy", "'0,24 %'", "a strain"),
    (STRAIN, NO | {"value in the copy": "0.24"}, "value in the copy", "'0.24', which has no unit", "a strain"),
    (STRAIN, NO | {"value in the copy": "0.24 MPa"}, "value in the copy", "'0.24 MPa'", "a strain"),
    # more than the factor of 4 that tables.py allows, and more than a share of the wall can be
    (STRAIN, NO | {"value in the copy": "1.1 %"}, "value in the copy", "'1.1 %'", "ours is 0.25 %"),
    (STRAIN, NO | {"value in the copy": "-0.25 %"}, "value in the copy", "'-0.25 %'", "ours is 0.25 %"),
    (CYCLES, NO | {"value in the copy": "6 000"}, "value in the copy", "'6 000'", "without a unit"),
    (CYCLES, NO | {"value in the copy": "6000 cycles"}, "value in the copy", "'6000 cycles'", "without a unit"),
    (CYCLES, NO | {"value in the copy": "nan"}, "value in the copy", "'nan'", "without a unit"),
    (CYCLES, NO | {"value in the copy": "70000"}, "value in the copy", "'70000'", "ours is 7000"),
    (STRAIN, TICK | {"our value": "0.26 %"}, "our value", "'0.26 %'", "0.25 %"),
    (STRAIN, TICK | {"our value": "Jan 25"}, "our value", "'Jan 25'", "0.25 %"),
    (WAITS, TICK | {"value in the copy": "0.3 %", "our value": "0.3 %"}, "our value", "'0.3 %'", "not known"),
    (WAITS, TICK, "value in the copy", "nothing", "the value in the copy"),
    (WAITS, TICK | {"value in the copy": "0.3"}, "value in the copy", "'0.3', which has no unit", "a strain"),
    (FORMULA, TICK | {"expression": "p * D"}, "expression", "'p * D'", "p * D / (2 * E_c * eps_c)"),
    (FORMULA, TICK | {"value in the copy": "p * D"}, "value in the copy", "'p * D'", "nothing for a formula"),
    (FORMULA, NO | {"checked by": ""}, "checked by", "nothing", "by whom"),
    (STRAIN, TICK | {"what": "number"}, "what", "'number'", "value, formula"),
    (STRAIN, TICK | {"item": STRAIN + "s"}, "item", f"'{STRAIN}s'", "a value of ours"),
    (FORMULA, TICK | {"item": CYCLES}, "item", f"'{CYCLES}'", "a formula of ours"),
]


@pytest.mark.parametrize("before", [None, COMMENTED])
@pytest.mark.parametrize(("item", "cells", "column", "found", "allowed"), FAULTS)
def test_one_fault_one_message_and_nothing_written(read, tmp_path, item, cells, column, found, allowed, before):
    fault, = faults_of(read, {item: cells, f"{ISO}/minimum_overlap": TICK}, before=before)
    row = next(i for i, r in enumerate(blank(ISO, OLD), 2) if r["item"] == item)
    assert (fault.file, fault.field) == ("filled.csv", f"row {row}, {column}")
    assert fault.found.startswith(found) and allowed in fault.allowed and fault.mend and str(fault).isprintable()
    assert untouched(tmp_path, before)


def test_all_faults_are_told_together(read, tmp_path):
    rows = [r["item"] for r in blank(ISO)]
    faults = faults_of(read, {item: {"agrees": "?"} for item in rows})
    for number, _ in enumerate(rows, 2):
        columns = {f.field.split(", ")[1] for f in faults if f.field.startswith(f"row {number},")}
        assert columns - {"value in the copy"} == {"agrees", "checked by", "date", "which copy"}
    assert untouched(tmp_path, None)


def test_limits_of_several_values_are_told_together(read, tmp_path):
    faults = faults_of(read, {STRAIN: NO | {"value in the copy": "9 %"}, CYCLES: NO | {"value in the copy": "1"}},
                       before=COMMENTED)
    assert {f.found for f in faults} == {"'9 %'", "'1'"} and {f.file for f in faults} == {"filled.csv"}
    assert untouched(tmp_path, COMMENTED)


def test_an_item_that_stands_there_twice(tmp_path):
    rows = [r | (TICK if r["item"] == STRAIN else {}) for r in blank(ISO)]
    with pytest.raises(CaseFaults) as caught:
        read_worksheet(save(tmp_path / "filled.csv", rows + rows[:1]), tmp_path / "marks.toml")
    fault, = caught.value.faults
    assert fault.found == f"'{rows[0]['item']}' for the second time (first in row 2)"
    assert fault.field == f"row {len(rows) + 2}, item"


@pytest.mark.parametrize(("change", "found"), [
    (lambda c: c[:-1], "no column clause in the copy or remark"),
    (lambda c: [*c, "remarks"], "the heading 'remarks'"),
    (lambda c: [*c, "Date"], "the heading 'date' for the second time"),
    (lambda c: ["agree" if x == "agrees" else x for x in c], "the heading 'agree'"),
])
def test_headings(tmp_path, change, found):
    columns = change(list(ws.COLUMNS))
    path = tmp_path / "filled.csv"
    with open(path, "w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([columns, ["value", STRAIN, *[""] * (len(columns) - 2)]])
    with pytest.raises(CaseFaults) as caught:
        read_worksheet(path, tmp_path / "marks.toml")
    assert found in [f.found for f in caught.value.faults] and untouched(tmp_path, None)


@pytest.mark.parametrize(("raw", "found"), [
    (b"", "no column what, item"), (b"\xff\xfew", "a byte that is not UTF-8"), (b'what,"item', "text that is not CSV"),
    (",".join(ws.COLUMNS).encode() + b"\r\n" + b"," * 20 + b"x\r\n", "'x' in a column without a heading"),
])
def test_what_is_no_worksheet(tmp_path, raw, found):
    (tmp_path / "filled.csv").write_bytes(raw)
    with pytest.raises(CaseFaults) as caught:
        read_worksheet(tmp_path / "filled.csv", tmp_path / "marks.toml")
    assert caught.value.faults[0].found.startswith(found) and untouched(tmp_path, None)


def test_files_that_are_not_there(tmp_path, capsys):
    assert main(["worksheet", "--read", str(tmp_path / "none.csv"), "--overlay", str(tmp_path / "m.toml")]) == 1
    assert "none.csv: the file: found no such file" in capsys.readouterr().err
    path = save(tmp_path / "filled.csv", [r | TICK for r in blank("ASME B31G-1991")])
    for overlay, told in (("none/m.toml", "cannot be written"), ("filled.csv/m.toml", "cannot be")):
        assert main(["worksheet", "--read", str(path), "--overlay", str(tmp_path / overlay)]) == 1
        assert told in capsys.readouterr().err
    assert [p.name for p in tmp_path.iterdir()] == ["filled.csv"]


# -- a formula that differs ---------------------------------------------------------------------------------------
def test_a_formula_that_differs_is_told_and_never_written(tmp_path, capsys):
    rows = [r | {STRAIN: TICK, FORMULA: NO | {"value in the copy": "p * D / (2 * E_c * eps_c) - x"}}.get(r["item"], {})
            for r in blank(ISO)]
    path, overlay = save(tmp_path / "filled.csv", rows), tmp_path / "marks.toml"
    assert main(["worksheet", "--read", str(path), "--overlay", str(overlay)]) == 1
    shown = capsys.readouterr()
    assert f"the formula {FORMULA} differs from the copy" in shown.err and "tell us" in shown.err
    assert "wrote 1 value and 0 formulas" in shown.out
    marked = tables.load(overlay)
    assert marked.entries[STRAIN].mark and not marked.formula_marks


def test_a_formula_that_was_verified_and_now_differs_is_a_fault(read, tmp_path):
    _, overlay = read({FORMULA: TICK})
    before = overlay.read_text(encoding="utf-8")
    fault, = faults_of(read, {FORMULA: NO})
    assert "marks otherwise" in fault.found and untouched(tmp_path, before)


# -- anything -----------------------------------------------------------------------------------------------------
CELL = (st.sampled_from(["yes", "no", "", "0.24 %", "6000", "2026-11-02", "R", "=1+1", "'", '"', "\\", "]]\n[["])
        | st.text(st.characters(exclude_categories=["Cs"]), max_size=8))


@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.dictionaries(st.sampled_from([STRAIN, CYCLES, FORMULA]), st.fixed_dictionaries(
    {}, optional={c: CELL for c in (*ws.FILLED, "our value", "item")}) | st.fixed_dictionaries(
    {"agrees": st.just("yes"), "checked by": CELL, "date": st.just("2026-11-02"), "which copy": CELL,
     "clause in the copy or remark": CELL})))
def test_any_cells_give_an_overlay_that_loads_or_clear_faults(read, tmp_path, ticks):
    (tmp_path / "marks.toml").unlink(missing_ok=True)
    try:
        outcome, overlay = read(ticks, editions=[ISO])
    except CaseFaults as e:
        assert e.faults and all(str(f).isprintable() and f.mend for f in e.faults) and untouched(tmp_path, None)
    else:
        marked = tables.load(overlay if outcome.ticks else None)
        assert len(outcome.ticks) == sum(e.mark is not None for e in marked.entries.values()) + len(
            marked.formula_marks)


# -- from the worksheet to the report -----------------------------------------------------------------------------
def test_ticks_reach_the_report(example, tmp_path, capsys):
    for path in example.glob("HB-*.toml"):
        if path.stem != "HB-02":
            path.unlink()
    out, case = tmp_path / "packages", example / "HB-02.toml"
    assert main(["package", str(example), "--out", str(out)]) == 0
    first = json.loads((out / "HB-02-r1" / "record.json").read_text(encoding="utf-8"))
    assert main(["worksheet", "ASME B31G-2012", "--packages", str(out), "--out", str(tmp_path)]) == 0
    sheet = tmp_path / "worksheet-ASME-B31G-2012.csv"
    with open(sheet, newline="", encoding="utf-8-sig") as file:
        rows = list(csv.DictReader(file))
    mine = {x.get("key") or x["name"] for x in (*first["table_entries"], *first["formulas"])
            if x["citation"].startswith("ASME B31G-2012")}
    assert mine and {r["item"] for r in rows if r["used by packages"] == "HB-02-r1"} == mine
    save(sheet, [r | TICK for r in rows])
    assert main(["worksheet", "--read", str(sheet), "--overlay", str(example / "marks.toml")]) == 0
    case.write_text(case.read_text(encoding="utf-8") + '\n[documents]\noverlay = "marks.toml"\n', encoding="utf-8")
    assert main(["package", str(example), "--out", str(out)]) == 0
    record = json.loads((out / "HB-02-r2" / "record.json").read_text(encoding="utf-8"))
    assert record["headline"] == first["headline"]
    for x in (*record["table_entries"], *record["formulas"]):
        if x["citation"].startswith("ASME B31G-2012"):
            assert (x["status"], x["mark"]) == ("verified", "R. Reviewer, 2026-11-02, company copy 3")
    html = (out / "HB-02-r2" / "package.html").read_text(encoding="utf-8")
    assert '<span class="wc-badge">verified</span> R. Reviewer, 2026-11-02, company copy 3' in html
    capsys.readouterr()
    assert main(["worksheet", "ASME B31G-2012", "--out", str(tmp_path / "new"), "--overlay",
                 str(example / "marks.toml")]) == 1
    assert "nothing is left to list" in capsys.readouterr().err

"""Readings in the notebook: each against its limit at once, the verdict as they come, saved as by hand."""

import datetime
import io
import json

import pytest

from wrapcalc import units
from wrapcalc.case.readings import COLUMNS, WHATS, read_readings
from wrapcalc.errors import CaseFaults, PackageError
from wrapcalc.package import closeout as co
from wrapcalc.stages.closeout.closeout import closeout
from wrapcalc.workbook.on_site import pages_close as pages
from wrapcalc.workbook.on_site.book import MET, MISSING, NOT_MET, OPTIONAL, READ, UNREAD
from wrapcalc.workbook.on_site.topics import TOPICS, answers, clause, hint, topic_of


def row_of(book, what, where=None, nth=0):
    """Index of the nth row of this kind."""
    return [i for i, e in enumerate(book.entries)
            if e.what == what and (where is None or e.cells["where"] == where)][nth]


def put(book, what, reading, where=None, nth=0, **more):
    i = row_of(book, what, where, nth)
    for column, text in ({"reading": reading} | more).items():
        book.put(i, column, text)
    return i


def loaded(place, sound=None):
    book = place.book()
    book.load((sound or place.sound()).csv(), "readings.csv")
    return book


# -- topics, clauses, hints ---------------------------------------------------------------------------------------
def test_every_reading_has_one_topic_and_a_hint_how_it_is_written():
    assert sorted(x for whats in TOPICS.values() for x in whats) == sorted(WHATS)
    for what in WHATS:
        for display in ("SI", "US"):
            unit = hint(what, display).removeprefix("with unit: ")
            assert unit in units.KINDS[WHATS[what].kind].units if "with unit" in hint(what, display) else unit
        for word in answers(what):
            assert word in ("yes", "no", "none")
    assert topic_of("soluble salt") == topic_of(" Soluble  Salt ") == "Blast" and topic_of("nonsense") in TOPICS


def test_the_clause_beside_a_reading_is_one_that_its_checks_cite(place):
    bundle = place.outcome.bundle
    read = place.field.parent / "readings.csv"
    read.write_bytes(place.sound().csv())
    readings = read_readings(read)
    c = closeout(bundle, place.outcome, readings, package="HB-07-r1", made=place.made, now=place.now, approval=None,
                 look=None)
    cited: dict[str, set[str]] = {}

    def key(r):
        return f"{r.what} {r.where}" if r.what == "dull area" else r.what

    for e in c.entered:
        for r in readings.rows:
            if r.row in e.rows:
                cited.setdefault(key(r), set()).add(e.check.citation)
    seen = set()
    for r in readings.rows:
        said = clause(r.what, r.where, bundle)
        if said and key(r) in cited:
            assert said in cited[key(r)], (r.what, r.where, said, cited[key(r)])
            seen.add(r.what)
    without = {"package", "record", "correction", "batch", "expiry", "air temperature", "resin in mix",
               "mixing started", "least wall for blasting", "blast finished", "joint gap", "accepted deviation",
               "photo"}
    assert seen == set(WHATS) - without


# -- the table ----------------------------------------------------------------------------------------------------
def test_a_blank_book_is_the_template_of_the_package_and_everything_needed_is_missing(place):
    book = place.book()
    assert book.raw == (place.package / "readings-template.csv").read_bytes() and not book.kept.dirty
    j = book.judge(place.now)
    words = {s.word for s in j.rows}
    assert words == {MISSING, OPTIONAL, READ} and j.judged.data["verdict"] == "open"
    assert [e.what for e, s in zip(book.entries, j.rows, strict=True) if s.word == READ] == ["package", "record"]
    assert "reading: soluble salt" in j.judged.data["missing"] and "Missing (" in pages.missing(j)


def test_sound_readings_are_met_and_the_verdict_is_that_of_the_command(place):
    place.approve()
    book = loaded(place)
    book.save()
    j = book.judge(place.now)
    assert {s.word for s in j.rows} <= {MET, READ, OPTIONAL} and j.judged.data["verdict"] == "accepted"
    assert not (place.out / "closeout").exists()  # nothing is written before the button
    result = book.write(place.now)
    assert (result.state, result.verdict) == ("written", "accepted")
    assert json.loads((result.folder / "closeout.json").read_bytes()) == j.judged.data
    assert (result.folder / "readings.csv").read_bytes() == book.kept.path.read_bytes()
    book = place.book()
    html = pages.verdict(book.judge(place.now), False)  # a reload gives the same page
    assert "<b>Accepted by E. Engineer.</b>" in html and "Written beside the package: closeout/HB-07-r1-1." in html
    put(book, "dust rating", "2")
    j = book.judge(place.now)
    assert j.judged is None and "is closed already" in j.why and "add a row" in pages.verdict(j, True)


def test_what_is_saved_reads_as_what_was_loaded(place):
    sound = place.sound()
    book = loaded(place, sound)
    book.save()
    rows = read_readings(book.kept.path).rows
    assert [(r.row, r.what, r.where, r.text, r.by, r.instrument, r.remark) for r in rows] == [
        (s["row"], s["what"], s["where"], s["reading"], s["by"], s["instrument"], s["remark"]) for s in sound.rows]
    head = book.kept.path.read_bytes().partition(b"\r\n")[0]
    assert head == (place.package / "readings-template.csv").read_bytes().partition(b"\r\n")[0]
    again = place.book()
    assert [e.cells for e in again.entries] == [e.cells for e in book.entries]


def test_a_workbook_gives_the_same_table_as_csv(place):
    import csv

    import openpyxl
    raw = place.sound().csv()
    book = openpyxl.Workbook()
    for row in csv.reader(io.StringIO(raw.decode())):
        book.active.append(row)
    buffer = io.BytesIO()
    book.save(buffer)
    one, two = place.book(), place.book()
    one.load(raw, "readings.csv")
    two.load(buffer.getvalue(), "readings.xlsx")
    assert [e.cells for e in one.entries] == [e.cells for e in two.entries]


def test_a_row_added_to_a_log_has_a_number_of_its_own_and_the_limit_of_the_log(place):
    book = place.book()
    i = book.add("line pressure", "")
    numbers = [e.cells["row"] for e in book.entries]
    assert len(set(numbers)) == len(numbers) and book.entries[i].limit.startswith("at most 2.0 MPa")
    assert book.entries[i].clause == "case: service.installation_pressure"


def test_rows_that_the_file_left_out_are_asked_for_after_it(place):
    sound = place.sound()
    sound.drop("soluble salt")
    book = loaded(place, sound)
    j = book.judge(place.now)
    assert [e.what for e, s in zip(book.entries, j.rows, strict=True) if s.word == MISSING] == ["soluble salt"]


# -- against the limits -------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("what", "where", "bad", "good", "title"), [
    ("line pressure", "", "2.1 MPa", "1.9 MPa", "Line pressure"),
    ("relative humidity", "while wrapping", "95 %", "60 %", "Relative humidity"),
    ("steel temperature", "while wrapping", "5 °C", "16 °C", "Steel temperature while working"),
    ("wall under blasting", "thinnest place", "4.1 mm", "4.3 mm", "Wall under blasting"),
    ("blast grade", "", "no", "yes", "Blast grade"),
    ("blast profile", "spot 1", "20 µm", "76 µm", "Blast profile, least"),
    ("blast profile", "spot 2", "200 µm", "76 µm", "Blast profile, greatest"),
    ("soluble salt", "spot 1", "26 mg/m2", "25 mg/m2", "Soluble salt"),
    ("dust rating", "spot 1", "3", "2", "Dust rating"), ("rust bloom", "", "yes", "no", "Rust bloom"),
    ("layers counted", "unit 1, upstream edge", "10", "11", "Layers of unit"),
    ("wrap end off its mark", "unit 1", "300 mm", "5 mm", "Wrap end of unit 1"),
    ("hardness", "upstream end, reading 1", "20", "78", "Hardness, least single reading"),
    ("tap test", "", "no", "yes", "Tap test"), ("dull area", "ends", "0.01 m2", "0 m2", "Nothing dull"),
    ("laminate: cracks", "", "yes", "no", "Laminate: cracks"), ("end seal", "", "no", "yes", "End seal"),
    ("coating thickness", "spot 1", "0.1 mm", "1.5 mm", "Thickness of the coating"),
    ("holidays found", "", "1", "0", "Holidays left"), ("installer", "", "N. Nobody", "F. Example", "Installer")])
def test_a_single_reading_is_held_against_its_limit_before_the_others_are_there(place, what, where, bad, good, title):
    book, time = place.book(), (place.made + datetime.timedelta(hours=2)).isoformat(timespec="minutes")
    scale = place.outcome.bundle.system.acceptance.hardness_scale
    more = {"time": time, "by": "I. Inspector", "instrument": f"T 3, {scale}"}
    i = put(book, what, bad, where, **more)
    s = book.judge(place.now).rows[i]
    assert s.word == NOT_MET and any(x.title.startswith(title) and x.found and x.wanted for x in s.said)
    assert "not met" in pages.standing(s)
    put(book, what, good, where)
    s = book.judge(place.now).rows[i]
    assert s.word == MET and any(x.title.startswith(title) for x in s.said)


def test_every_reading_beyond_the_limit_is_told_not_only_the_worst(place):
    sound = place.sound()
    for r, reading in zip(sound.find("relative humidity"), ("90 %", "95 %"), strict=False):
        r["reading"] = reading
    book = loaded(place, sound)
    j = book.judge(place.now)
    bad = [e.cells["reading"] for e, s in zip(book.entries, j.rows, strict=True) if s.word == NOT_MET
           and e.what == "relative humidity"]
    assert bad == ["90 %", "95 %"]


def test_the_log_of_the_cure_and_the_pressure_after_the_release_have_limits_of_their_own(place):
    sound = place.sound()
    sound.find("steel temperature", "cure log")[30]["reading"] = "60 °C"
    sound.find("steel temperature", "cure log")[30]["remark"] = "confirmed"
    sound.add("line pressure", "8.0 MPa", time=sound.at(60 * 52), instrument="G 7")
    place.approve()
    j = loaded(place, sound).judge(place.now)
    assert NOT_MET not in {s.word for s in j.rows} and j.judged.data["verdict"] == "accepted"


@pytest.mark.parametrize(("what", "text", "column", "words"), [
    ("dust rating", "one", "reading", "'one'"), ("soluble salt", "8 mm", "reading", "'8 mm'"),
    ("soluble salt", "8", "reading", "no unit"), ("line pressure", "2 bara", "reading", "absolute"),
    ("blast grade", "fine", "reading", "yes or no"), ("rust bloom", "no", "time", "nothing"),
    ("package", "HB-11-r1", "reading", "another repair"),
    ("record", "sha256:000000000000", "reading", "another repair")])
def test_what_cannot_be_read_is_told_at_its_row_and_there_is_no_verdict(place, what, text, column, words):
    book = place.book()
    time = (place.made + datetime.timedelta(hours=2)).isoformat()
    i = put(book, what, text, time=time if column == "reading" else "")
    j = book.judge(place.now)
    (f,) = [f for f in j.rows[i].faults if f.field == column]
    assert j.rows[i].word == UNREAD and words in f"{f.found} {f.allowed} {f.mend}" and j.judged is None
    html = pages.verdict(j, True)
    assert "no verdict yet: the rows that cannot be read" in html and "cannot be read" in pages.standing(j.rows[i])


def test_a_row_read_twice_is_told_at_the_second(place):
    sound = place.sound()
    sound.add("circumference before", "1278 mm", "unit 1", instrument="tape 2")
    book = loaded(place, sound)
    j = book.judge(place.now)
    told = [(e.cells["row"], s.faults[0].found) for e, s in zip(book.entries, j.rows, strict=True) if s.word == UNREAD]
    assert told == [(sound.rows[-1]["row"], "circumference before at unit 1 again")]


def test_many_faults_stand_each_at_its_row(place):
    book = loaded(place)
    j = book.judge(place.made + datetime.timedelta(hours=1))  # nearly all of it lies in the future
    timed = [i for i, e in enumerate(book.entries) if e.cells["time"]]
    bad = [i for i, s in enumerate(j.rows) if s.word == UNREAD]
    assert len(bad) > 100 and set(bad) <= set(timed) and j.faults == [] and j.judged is None
    assert all("not in the future" in j.rows[i].faults[0].allowed for i in bad)


# -- the verdict --------------------------------------------------------------------------------------------------
def test_a_deviation_is_accepted_by_name_and_the_page_says_who(place):
    place.approve()
    sound = place.sound()
    sound.set("dust rating", "3")
    book = loaded(place, sound)
    j = book.judge(place.now)
    assert j.judged.data["verdict"] == "rejected" and "Rejected" in pages.verdict(j, True)
    (n,) = j.judged.data["nonconformances"]
    i = row_of(book, "accepted deviation")
    for column, text in (("where", n["number"]), ("reading", n["title"]), ("by", "E. Engineer"),
                         ("remark", "tape torn")):
        book.put(i, column, text)
    j = book.judge(place.now)
    html = pages.verdict(j, True)
    assert j.judged.data["verdict"] == "accepted with deviation"
    assert "Accepted with deviation by E. Engineer; deviations by E. Engineer." in html and "tape torn" in html


def test_a_look_that_stops_rejects(place):
    from tests.helpers.closeout import looked
    place.approve_only()
    looked(place.out, "HB-07-r1", verdict="stop: new revision")
    j = loaded(place).judge(place.now)
    assert j.judged.data["verdict"] == "rejected" and 'role="alert"' in pages.verdict(j, True)


def test_an_open_close_out_that_was_written_is_told_as_such(place):
    book = place.book()
    put(book, "dust rating", "1")
    book.save()
    assert book.write(place.now).verdict == "open"
    j = place.book().judge(place.now)
    assert j.judged.closed is None and "Written beside the package: closeout/HB-07-r1-1." in pages.verdict(j, False)
    book.put(row_of(book, "dust rating"), "reading", "2")
    j = book.judge(place.now)
    assert "not as it was in HB-07-r1-1" in pages.verdict(j, True)  # what was read is not changed in silence


# -- files --------------------------------------------------------------------------------------------------------
def test_what_was_typed_outlives_the_kernel_and_is_named(place):
    put(place.book(), "dust rating", "1")
    book = place.book()
    assert book.entries[row_of(book, "dust rating")].cells["reading"] == "1" and not book.kept.path.exists()
    assert book.unsaved() == ["row 41 dust rating, spot 1: 1 (saved: blank)"]
    assert "one row is typed and not saved" in pages.unsaved(book)
    with pytest.raises(PackageError, match="readings are typed and not saved"):
        book.write(place.now)
    book.reopen()
    assert book.unsaved() == [] and place.left() == []


def test_readings_that_changed_on_disk_are_never_overwritten_in_silence(place):
    book = place.book()
    book.save()
    put(book, "dust rating", "1")
    theirs = place.sound().csv()
    book.kept.path.write_bytes(theirs)
    for call in (book.save, book.write):
        with pytest.raises(PackageError, match="was changed by somebody else since you opened it"):
            call()
    assert book.kept.path.read_bytes() == theirs and not (place.out / "closeout").exists()
    book.reopen()
    assert sum(not e.blank for e in book.entries) == len(place.sound().rows)


@pytest.mark.parametrize(("raw", "words"), [
    (b"row,what\n1,package\n", "no column 'where'"), (b"a;b\n1;2\n", "semicolons"), (b"", "empty"),
    (",".join(COLUMNS).encode() + b",colour\n1,package,,HB-07-r1,,,,,red\n", "'colour'"),
    (",".join(COLUMNS).encode() + b"\n1,package,,HB-07-r1,,,,,a,b\n", "10 cells"), (b"\xff", "not UTF-8")])
def test_a_file_that_is_no_table_of_readings_is_one_message_and_changes_nothing(place, raw, words):
    book = place.book()
    before = [dict(e.cells) for e in book.entries]
    with pytest.raises(CaseFaults, match=words):
        book.load(raw, "mine.csv")
    assert [e.cells for e in book.entries] == before and place.left() == []
    place.field.mkdir()
    (place.field / "readings.csv").write_bytes(raw)
    with pytest.raises(CaseFaults, match=words):
        place.book()


def test_a_workbook_with_merged_cells_is_told(place):
    import openpyxl
    book = openpyxl.Workbook()
    book.active.append(list(COLUMNS))
    book.active.merge_cells("A2:B2")
    buffer = io.BytesIO()
    book.save(buffer)
    with pytest.raises(CaseFaults, match="merged cells"):
        place.book().load(buffer.getvalue(), "readings.xlsx")


def test_a_package_that_was_superseded_meanwhile_is_not_closed_out(place):
    book = place.book()
    book.save()
    (place.package / "case.toml").write_bytes(b"changed")
    with pytest.raises(PackageError, match="was changed after it was written"):
        book.write(place.now)


def test_the_still_page_has_every_reading_and_escapes_what_was_typed(place):
    book = place.book()
    put(book, "installer", "<b>F. Example</b>")
    html = pages.still(book, book.judge(place.now))
    assert "<b>F. Example" not in html and html.count("<tr>") > len(book.entries)
    cells = ("blast profile, spot 1", "55 µm to 105 µm", "sheet of example-sleeve", "blank")
    assert "</td><td>".join(cells) in html


def test_judging_without_writing_is_what_the_command_runs(place):
    """The split keeps one truth: the command is the judgement and the writing of it."""
    book = loaded(place)
    book.save()
    read = read_readings(book.kept.path)
    judged = co.judge(book.opened.of, read, now=place.now)
    result = co.closeout_package(place.package, book.kept.path, now=place.now)
    assert json.loads((result.folder / "closeout.json").read_bytes()) == judged.data
    assert co.judge(book.opened.of, read, now=place.now).closed is None  # unchanged since


# -- cells that no file should hold -------------------------------------------------------------------------------
@pytest.mark.parametrize("column", ["reading", "time", "by", "instrument", "remark"])
@pytest.mark.parametrize("text", ["=cmd|' /C calc'!A0", "+Bob", "-2+3", "@SUM(A1)", "\t=1", "-2 A1+1", "+1-555",
                                  "-cmd"])
def test_what_a_spreadsheet_would_run_is_refused_at_its_cell(place, column, text):
    book = place.book()
    i = row_of(book, "photo")
    with pytest.raises(CaseFaults, match="which a spreadsheet would run as a formula") as e:
        book.put(i, column, text)
    assert (e.value.faults[0].field, e.value.faults[0].line) == (column, i + 2)
    assert book.entries[i].cells[column] == "" and not book.kept.dirty


@pytest.mark.parametrize("text", ["-2", "-2.5 °C", "+3 °C", "-40 mm", "-40mm", "-1,5 mm", "-1e3 mm", "-5 µm", "'=1"])
def test_a_number_with_a_sign_stays_as_it_is(place, text):
    book = place.book()
    i = row_of(book, "photo")
    book.put(i, "reading", text)
    book.save()
    assert place.book().entries[i].cells["reading"] == text
    assert f",{text},".encode() in book.kept.path.read_bytes() or f',"{text}",'.encode() in book.kept.path.read_bytes()


def test_a_place_and_a_loaded_file_that_a_spreadsheet_would_run_are_refused(place):
    book = place.book()
    before = [dict(e.cells) for e in book.entries]
    with pytest.raises(CaseFaults, match="would run as a formula"):
        book.add("photo", "=1")
    raw = ",".join(COLUMNS) + "\n\n1,photo,,a.jpg,,,,@SUM(A1)\n2,photo,,=b,,,,\n"
    with pytest.raises(CaseFaults, match="would run as a formula") as e:
        book.load(raw.encode(), "theirs.csv")
    assert [(f.file, f.line, f.field) for f in e.value.faults] == [("theirs.csv", 3, "remark"),
                                                                  ("theirs.csv", 4, "reading")]
    assert [e.cells for e in book.entries] == before and place.left() == []


def test_half_a_sign_is_refused_at_its_cell_and_typing_goes_on(place):
    book = place.book()
    i = row_of(book, "photo")
    with pytest.raises(CaseFaults, match=r"'\\ud800', half a sign that cannot be written"):
        book.put(i, "remark", "\ud800")
    with pytest.raises(CaseFaults, match="half a sign"):
        book.add("photo", "\ud800")
    book.put(i, "reading", "a.jpg")
    book.save()
    assert place.left() == ["readings.csv"]

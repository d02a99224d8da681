"""What is due: every date in the evidence appears once, what is past says so, what has no date comes first."""

import datetime

import pytest

from wrapcalc.register import current, due, due_lines, update

ON = datetime.date(2026, 7, 1)


def found(folder, on=ON):
    return [(d.when.isoformat() if d.when else None, d.what, d.words, d.overdue) for d in due(current(folder.root), on)]


def criterion(name, leads=True, verdict="fires"):
    return {"lists": [{"findings": [{"class": name, "leads": leads, "verdict": verdict, "citation": "49 CFR 192.933(x)"}
                                    ]}]}


def test_a_design_waits_for_its_approval(folder):
    folder.package()
    assert found(folder) == [("2026-05-01", "approval of the design", "waits since 2026-05-01", False)]
    folder.approve()
    assert found(folder) == []


@pytest.mark.parametrize(("verdict", "what"), [
    ("open", "close-out with the readings that are missing"),
    ("rejected", "what is to be done after the repair was rejected")])
def test_a_close_out_that_does_not_accept_waits(folder, verdict, what):
    folder.package()
    folder.approve()
    folder.close(verdict=verdict)
    assert found(folder) == [("2026-06-01", what, "waits since 2026-06-01", False)]


@pytest.mark.parametrize(("on", "words", "overdue"), [
    ("2027-05-31", "in 1 day", False), ("2027-06-01", "today", False), ("2027-06-02", "overdue by 1 day", True),
    ("2027-07-01", "overdue by 30 days", True)])
def test_the_next_inspection_and_the_end_of_life_of_an_accepted_repair(folder, on, words, overdue):
    folder.package()
    folder.approve()
    folder.close()
    inspection, end = found(folder, datetime.date.fromisoformat(on))
    assert inspection == ("2027-06-01", "next inspection of the repair", words, overdue)
    assert end[:2] == ("2046-06-01", "end of the life of the repair")


def test_an_accepted_repair_stays_due_for_inspection_when_a_later_revision_is_designed(folder):
    folder.package()
    folder.approve()
    folder.close()
    folder.package(revision=2)
    assert [what for _, what, _, _ in found(folder)] == [
        "approval of the design", "next inspection of the repair", "end of the life of the repair"]


@pytest.mark.parametrize(("name", "day"), [
    # 365 days a year, as the criteria count; 1 May 2026 is the day of the first package
    ("immediate", "2026-05-01"), ("60 days", "2026-06-30"), ("1 year", "2027-05-01"), ("2 years", "2028-04-30")])
def test_a_criterion_counts_from_the_first_package_at_the_latest(folder, name, day):
    folder.package(decision="other repair needed", disposition=criterion(name))
    folder.package(revision=2, decision="other repair needed", disposition=criterion(name), written="2026-09-09")
    (d,) = due(current(folder.root), ON)
    assert (d.when.isoformat(), d.note) == (day, "counted from the first package; discovery was earlier")


def test_a_criterion_counts_from_an_earlier_measurement(folder):
    folder.package(decision="other repair needed", disposition=criterion("1 year"),
                   inputs={"growth.measured_date": "2026-02-01"})
    assert found(folder) == [("2027-02-01", "repair, 49 CFR 192.933(x): within 1 year of discovery", "in 215 days",
                              False)]


@pytest.mark.parametrize("disposition", [criterion("1 year", leads=False), criterion("1 year", verdict="no data"),
                                         criterion("monitored"), criterion("by schedule")])
def test_a_criterion_that_does_not_lead_or_has_no_number_gives_no_date(folder, disposition):
    folder.package(decision="other repair needed", disposition=disposition)
    assert found(folder) == []


def test_a_criterion_without_any_day_comes_first(folder):
    folder.package(decision="other repair needed", disposition=criterion("1 year"), written="unknown")
    folder.package(case="HB-01")
    assert found(folder)[0] == (None, "repair, 49 CFR 192.933(x): within 1 year of discovery; the day of discovery is "
                                "not in the record", "date not known", False)


def test_the_date_that_the_case_states_is_due_until_the_repair_is_accepted(folder):
    folder.package(inputs={"location.due": "2026-06-20"})
    folder.approve()
    assert found(folder) == [("2026-06-20", "repair, by the date that the case states", "overdue by 11 days", True)]
    folder.close()
    assert all("repair, by" not in what for _, what, _, _ in found(folder))


LIFE = {"life": {"magnitude": 10.0, "unit": "year"}, "interval": {"magnitude": 4.0, "unit": "year"}}


def test_what_is_left_as_it_is_is_looked_at_again(folder):
    # 4 x 365.25 = 1461 days after 1 April 2026 (independent: 29 February 2028 lies between)
    folder.package(decision="no repair needed", interim=None, life=LIFE, inputs={"growth.measured_date": "2026-04-01"})
    assert found(folder) == [("2030-04-01", "next look at the defect", "in 1370 days", False)]


def test_what_is_not_repaired_yet_has_the_end_of_its_remaining_life(folder):
    folder.package(life=LIFE)
    folder.approve()
    (d,) = due(current(folder.root), ON)
    assert (d.when, d.what) == (datetime.date(2036, 4, 30), "end of the remaining life without a repair")
    assert d.note == "at the latest: counted from the package, the measurement was earlier"


def test_an_accepted_repair_has_no_end_of_life_without_a_repair(folder):
    folder.package(life=LIFE)
    folder.approve()
    folder.close()
    assert [what for _, what, _, _ in found(folder)] == [
        "next inspection of the repair", "end of the life of the repair"]


def test_a_life_longer_than_is_looked_at_gives_no_date(folder):
    folder.package(life={"life": {"magnitude": 900.0, "unit": "year"}})
    folder.approve()
    assert found(folder) == []


def test_a_life_without_any_day_comes_first(folder):
    folder.package(life=LIFE, written="")
    folder.approve()
    assert found(folder)[0][:2] == (None, "end of the remaining life without a repair; the day of the measurement is "
                                    "not in the record")


def test_a_damaged_package_is_to_be_restored(folder):
    package = folder.package()
    update(folder.root)
    (package / "record.json").unlink()
    assert found(folder)[0] == (None, "package damaged: restore it", "date not known", False)


def test_the_lines_say_overdue_in_words(folder):
    folder.package(inputs={"location.due": "2026-06-20"})
    folder.approve()
    assert due_lines(due(current(folder.root), ON)) == [
        "OVERDUE  2026-06-20  HB-07 r1  repair, by the date that the case states  overdue by 11 days"]
    assert due_lines([]) == ["nothing is due"]


def test_an_acceptance_in_doubt_is_due_and_so_is_the_inspection_of_the_wrap(folder):
    folder.package()
    folder.approve()
    folder.close()
    (folder.close(number=2, verdict="rejected") / "closeout.json").write_text("{}", encoding="utf-8")
    what = [d.what for d in due(current(folder.root), datetime.date(2026, 7, 1))]
    assert any(w.startswith("the acceptance is not proven: restore") for w in what)
    assert "next inspection of the repair" in what

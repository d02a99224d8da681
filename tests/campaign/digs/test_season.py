"""The season: sites over days, counted by hand on a calendar, and dates that are not met."""

import datetime
import json

import pytest
from hypothesis import given
from hypothesis import settings as profile
from hypothesis import strategies as st

from tests.helpers import site_packages as make
from wrapcalc.campaign.digs.dig_list import DigList, Place, dig_list
from wrapcalc.campaign.digs.dig_terms import DATED, NONE, UNDATED, UNKNOWN, Deadline, Hours, Risk
from wrapcalc.campaign.digs.season import season, season_columns, season_rows
from wrapcalc.campaign.digs.section_pressure import Section
from wrapcalc.campaign.order.order import order_list

DAY = datetime.date
NO_DEADLINE = Deadline(NONE, None, None, "none")


def by(date):
    return Deadline(DATED, None, DAY.fromisoformat(date), f"by {date}")


def place(number, case, work, cure=0.0, deadline=NO_DEADLINE, why=""):
    total = None if work is None else work + cure
    return Place(number, case, f"{case}-r1", "", None, "wrap", deadline, Risk(1.0, "no", 1),
                 Hours((), work, cure, total, why), "", Section("s", (), (), None, None, ()), 1.0, (), "", "", "", ())


def planned(*sites, **dig):
    """sites: (case, work, cure, deadline)."""
    return season(DigList(tuple(place(i, *s) for i, s in enumerate(sites, 1)), ()), make.settings(**dig))


def days(found):
    return [(b.case_id, b.crew, b.first.isoformat(), b.laid.isoformat(), b.last.isoformat()) for b in found.bars]


# -- days by hand (3 August 2026 is a Monday) ---------------------------------------------------------------------
def test_sites_follow_each_other_on_one_crew():
    found = planned(("A", 25.0), ("B", 10.0), ("C", 0.5))
    # 25 h at 10 h a day: Mon to Wed; 10 h: Thu; half an hour takes the Friday
    assert days(found) == [("A", 1, "2026-08-03", "2026-08-05", "2026-08-05"),
                           ("B", 1, "2026-08-06", "2026-08-06", "2026-08-06"),
                           ("C", 1, "2026-08-07", "2026-08-07", "2026-08-07")]


def test_a_site_begins_with_the_crew_that_is_free_first():
    found = planned(("A", 30.0), ("B", 10.0), ("C", 10.0), ("D", 10.0), crews=2)
    assert [(b.case_id, b.crew, b.first.day) for b in found.bars] == [
        ("A", 1, 3), ("B", 2, 3), ("C", 2, 4), ("D", 2, 5)]


@pytest.mark.parametrize(("work", "cure", "laid", "last"), [
    (6.0, 0.0, 3, 3), (10.0, 0.0, 3, 3), (10.5, 0.0, 4, 4),
    (6.0, 3.0, 3, 3),    # ends at hour 9 of the same day
    (6.0, 5.0, 3, 4),    # at hour 11: at night, looked at on the next morning
    (6.0, 20.0, 3, 4),   # 26 h after the morning of the 3rd: hour 2 of the 4th
    (16.0, 36.0, 4, 6),  # 6 h into the 4th, 42 h: one day and 18 h: at night, so the 6th
    (6.0, 90.0, 3, 7),   # 96 h: the morning of the 7th
    (6.0, 100.0, 3, 7)])  # 106 h: hour 10 of the 7th, the end of that day
def test_the_cure_runs_by_the_clock(work, cure, laid, last):
    (bar,) = planned(("A", work, cure)).bars
    assert (bar.laid.day, bar.last.day) == (laid, last)


def test_a_release_on_a_day_without_work_waits_for_the_next_working_day():
    (bar,) = planned(("A", 45.0, 30.0)).bars
    # Mon to Fri (5 h on Friday 7th), 35 h: one day and 11 h: Sunday 9th, so Monday
    assert (bar.laid, bar.last) == (DAY(2026, 8, 7), DAY(2026, 8, 10))


def test_weekends_and_days_off_are_skipped():
    found = planned(("A", 20.0), ("B", 10.0), start="2026-08-07", days_off=["2026-08-10", "2026-08-11"])
    assert days(found)[0][2:4] == ("2026-08-07", "2026-08-12") and days(found)[1][2] == "2026-08-13"
    assert found.days[:3] == (DAY(2026, 8, 7), DAY(2026, 8, 12), DAY(2026, 8, 13))


def test_working_days_that_nobody_stated_are_monday_to_friday_and_told():
    found = planned(("A", 60.0), working_days=None)
    assert days(found)[0][3] == "2026-08-10" and found.told == (
        "dig.working_days is not stated: Mon to Fri are taken",)
    assert days(planned(("A", 60.0), working_days=["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]))[0][3] == \
        "2026-08-08"


def test_a_start_on_a_day_off_moves_to_the_next_working_day():
    assert days(planned(("A", 1.0), start="2026-08-08"))[0][2] == "2026-08-10"


@given(st.lists(st.tuples(st.floats(0, 80), st.floats(0, 60)), min_size=1, max_size=8), st.integers(1, 3),
       st.floats(4, 12))
@profile(max_examples=60, deadline=None)
def test_no_crew_is_in_two_places_and_every_site_has_its_hours(sites, crews, in_a_day):
    """Independent: count the working days of each bar, and set each site again by looking at the bars before it."""
    found = planned(*((f"S{i}", w, c) for i, (w, c) in enumerate(sites)), crews=crews,
                    hours_per_day=f"{in_a_day:.6f} h")
    assert len(found.bars) == len(sites)
    for i, (bar, (work, cure)) in enumerate(zip(found.bars, sites, strict=True)):
        worked = sum(bar.first <= d <= bar.laid for d in found.days)
        assert (worked - 1) * in_a_day <= work + 1e-4 and work <= worked * in_a_day + 1e-4
        passed = (bar.last - bar.laid).total_seconds() / 3600
        assert passed + in_a_day + 1e-4 >= work - (worked - 1) * in_a_day + cure  # cured by the end of that day
        assert all(d.weekday() < 5 for d in (bar.first, bar.laid, bar.last))
        before = [max((b.last for b in found.bars[:i] if b.crew == c), default=None) for c in range(1, crews + 1)]
        assert before[bar.crew - 1] is None or bar.first > before[bar.crew - 1]
        gap = [d for d in found.days if before[bar.crew - 1] is None or d > before[bar.crew - 1]]
        assert bar.first == gap[0]  # no free day is left before it
        assert before[bar.crew - 1] == min(before, key=lambda d: d or DAY.min)


# -- dates that are not met ---------------------------------------------------------------------------------------
def test_every_date_that_is_not_met_is_named_with_its_days():
    found = planned(("A", 30.0, 0.0, by("2026-08-05")), ("B", 10.0, 0.0, by("2026-08-04")),
                    ("C", 20.0, 0.0, by("2026-08-08")))
    assert [(b.case_id, b.late) for b in found.bars] == [("A", 0), ("B", 2), ("C", 2)]
    assert [(m.case_id, m.days) for m in found.missed] == [("B", 2), ("C", 2)]
    assert found.missed[0].words == "B: by 2026-08-04: asked by 2026-08-04, released on 2026-08-06, 2 days late"


def test_the_cure_counts_against_the_deadline():
    (missed,) = planned(("A", 6.0, 20.0, by("2026-08-03"))).missed
    assert missed.days == 1 and missed.words.endswith("1 day late")


@pytest.mark.parametrize("deadline", [Deadline(UNDATED, 60, None, "within 60 days", True),
                                      Deadline(UNKNOWN, None, None, "not known: insufficient data", True)])
def test_a_deadline_without_a_date_is_named_as_not_known(deadline):
    (missed,) = planned(("A", 6.0, 0.0, deadline)).missed
    assert missed.days is None and missed.words == (
        f"A: {deadline.words}: nobody knows whether the release on 2026-08-03 meets it")


def test_a_site_without_hours_is_not_put_anywhere_and_its_deadline_is_named():
    found = planned(("A", None, 0.0, by("2026-09-01"), "trench: not stated"), ("B", 10.0),
                    ("C", None, 0.0, NO_DEADLINE, "fixed: not stated"))
    assert found.unplaced == (("A", "hours not stated: trench: not stated"),
                              ("C", "hours not stated: fixed: not stated"))
    assert [b.case_id for b in found.bars] == ["B"]
    assert [t for t in found.told if "no crew is held back for A, which come before" in t]  # C comes after B
    assert [m.words for m in found.missed] == [
        "A: by 2026-09-01: nobody knows whether it is met (hours not stated: trench: not stated)"]


@pytest.mark.parametrize("missing", ["start", "crews", "hours_per_day"])
def test_without_start_crews_or_hours_nothing_is_put_anywhere(missing):
    found = planned(("A", 10.0, 0.0, by("2026-09-01")), **{missing: None})
    assert found.bars == () and found.days == () and found.unplaced == (("A", f"dig.{missing} not stated"),)
    assert found.missed[0].days is None and found.chart() == {"bars": [], "days": []}


def test_a_site_that_would_never_end_is_named_and_the_others_go_on():
    found = planned(("A", 1e6), ("B", 10.0), ("C", 1.0, 1e6))
    assert [b.case_id for b in found.bars] == ["B"] and found.bars[0].first == DAY(2026, 8, 3)
    assert [why for _, why in found.unplaced] == ["it would end more than 3660 days after the start"] * 2


# -- what others take from it -------------------------------------------------------------------------------------
def test_the_chart_counts_working_days_and_draws():
    from wrapcalc.render.figures._campaign_charts import season_bars
    found = planned(("A", 30.0, 0.0, by("2026-08-09")), ("B", 20.0, 0.0, by("2026-08-07")),
                    ("C", 10.0, 0.0, by("2026-07-01")))
    chart = found.chart()
    # working days 3, 4, 5, 6, 7, 10, 11 August; a deadline on Sunday the 9th is met by Friday the 7th, place 4
    assert chart["bars"] == [("A", 0, 2, 4, "1"), ("B", 3, 4, 4, "1"), ("C", 5, 5, -1, "1")]
    assert chart["days"] == ["2026-08-03", "2026-08-04", "2026-08-05", "2026-08-06", "2026-08-07", "2026-08-10"]
    late = [due is not None and end > due for _, _, end, due, _ in chart["bars"]]
    assert late == [bool(b.late) for b in found.bars] == [False, False, True]
    assert season_bars(**chart, title="season").startswith("<svg")


def test_the_days_of_the_season_go_into_the_order(tmp_path):
    paths = [make.package(tmp_path, c) for c in "AB"]
    whole = dig_list(paths, make.settings())
    found = season(whole, make.settings())
    order = order_list(paths, [], confidence=0.9, planned=found.planned, done=found.done)
    # 16 + 20 + 1 h of work: four days from Monday; 7 h into Thursday and 30 h: hour 13 of Friday, so Monday
    assert (found.planned["A"], found.done["A"], found.bars[0].last) == (
        DAY(2026, 8, 3), DAY(2026, 8, 6), DAY(2026, 8, 10))
    assert order.lines[0].sites[0].needed_until == DAY(2026, 8, 8)  # 36 h, the longest cure, is two days
    assert order.lines[0].needed_by == DAY(2026, 8, 3)


def test_rows_and_data_are_plain():
    found = planned(("A", 10.0, 0.0, by("2026-08-01")))
    (row,) = season_rows(found)
    assert set(row) == {c.name for c in season_columns()} and row["late"] == 2
    assert json.loads(json.dumps(found.data(), allow_nan=False))["bars"][0]["last"] == "2026-08-03"

"""Cure: the plan never releases, the log does; what gives no credit is told."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest

from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages.site.curing import PLAN_ONLY, cure_age, cure_plan

START = datetime(2026, 10, 6, 12, 0, tzinfo=timezone(timedelta(hours=1)))


@pytest.fixture
def bundle(judge):
    """A case whose thermometer has no error, unless the test states one."""
    return lambda file="HB-07.toml", **fields: judge(file, **{"work__temperature_error": "0 °C"} | fields).bundle


def hourly(*temperatures: float, step: float = 1.0) -> list[tuple[datetime, float]]:
    return [(START + timedelta(hours=i * step), t) for i, t in enumerate(temperatures)]


def plan(bundle):
    with recording(Recorder(bundle.case.display)) as rec:
        rec.stage = "I"
        return cure_plan(bundle), rec


def aged(bundle, log, **kwargs):
    with recording(Recorder(bundle.case.display)) as rec:
        rec.stage = "B"
        return cure_age(bundle, log, source="readings.csv", **kwargs), rec


# -- the plan -----------------------------------------------------------------------------------------------------
def test_the_plan_is_the_time_at_the_coldest_steel_and_says_that_it_releases_nothing(bundle):
    out, rec = plan(bundle(work__steel_low="15 °C"))
    assert out.time.magnitude == 36 and [c.verdict for c in out.checks] == ["met"]
    assert out.words == PLAN_ONLY and "only steel temperatures logged on the pipe release" in PLAN_ONLY
    assert PLAN_ONLY in [a["text"] for a in rec.assumptions] and rec.topic == "Cure and release"


def test_between_two_points_the_plan_goes_by_a_straight_line(bundle):
    """The longer reading: Arrhenius' law would give less."""
    out, _ = plan(bundle(work__steel_low="17 °C"))
    assert out.time.magnitude == pytest.approx(36 - 2 / 7 * 11)


def test_the_error_of_the_thermometer_is_taken_off_the_plan_and_the_log(bundle):
    out, _ = plan(bundle(work__steel_low="17.5 °C", work__temperature_error="0.5 °C"))
    assert out.time.magnitude == pytest.approx(36 - 2 / 7 * 11)
    log, rec = aged(bundle(work__temperature_error="0.5 °C"), hourly(*[15.4] * 37))
    assert log.age.magnitude == 0 and log.cold.magnitude == 36
    assert any("0.5 °C, is taken off every logged steel temperature" in a["text"] for a in rec.assumptions)
    log, _ = aged(bundle(work__temperature_error="0.5 °C"), hourly(*[15.5] * 37))
    assert log.age.magnitude == 1


@pytest.mark.parametrize(("steel", "hours"), [("16 °C", 30), ("20.9 °C", 30), ("21 °C", 23), ("69 °F", 30),
                                              ("69.8 °F", 23), ("44 °C", 13)])
def test_a_band_holds_from_its_colder_edge(bundle, steel, hours):
    out, _ = plan(bundle("HB-15.toml", work__steel_low=steel, work__steel_high="45 °C"))
    assert out.time.magnitude == hours


def test_below_the_lowest_row_there_is_no_time_to_plan_with(bundle):
    out, rec = plan(bundle(work__steel_low="14.9 °C"))
    assert out.time is None and out.earliest == "" and out.checks[0].verdict == "outside scope"
    assert [w["text"] for w in rec.warnings] == [
        "Cure: coldest steel until release, 14.9 °C: outside the table of the sheet, which begins at 15 °C; it is not "
        "extended."]


def test_above_the_highest_row_its_time_counts_and_is_not_shortened(bundle):
    out, rec = plan(bundle(work__steel_low="52 °C", work__steel_high="55 °C"))
    assert out.time.magnitude == 8 and out.checks[0].met
    assert any("above the highest row of the cure table" in a["text"] for a in rec.assumptions)


def test_nothing_stated_is_no_data(bundle):
    out, rec = plan(bundle("HB-34.toml"))
    assert out.time is None and [c.verdict for c in out.checks] == ["no data"] and not rec.warnings


def test_the_earliest_release_follows_start_blasting_and_application(bundle):
    """09:00 + 2.5 h + 2 h + 36 h. Independent: by the clock."""
    assert plan(bundle(work__steel_low="15 °C"))[0].earliest == "2026-10-08 01:30+01:00"
    assert plan(bundle(work__blast_time=None))[0].earliest == ""


def test_a_plan_on_a_us_page(bundle):
    out, rec = plan(bundle("HB-15.toml", work__steel_low="59 °F"))
    assert out.time is None and "59 °F" in rec.warnings[0]["text"] and "begins at 60.8 °F" in rec.warnings[0]["text"]


# -- the log ------------------------------------------------------------------------------------------------------
def test_the_log_of_a_constant_row_cures_in_its_time(bundle):
    out, rec = aged(bundle(), hourly(*[15.0] * 37))
    assert out.age.magnitude == 1 and out.check.met and out.equivalent.magnitude == pytest.approx(36)
    assert out.reached == START + timedelta(hours=36) and not rec.warnings
    short, _ = aged(bundle(), hourly(*[15.0] * 36))
    assert short.check.verdict == "not met" and short.reached is None


def test_the_moment_of_release_lies_inside_its_interval_and_is_never_early(bundle):
    out, _ = aged(bundle(), hourly(*[22.0] * 60, step=0.7))
    assert out.reached == START + timedelta(hours=25)


def test_the_colder_reading_counts_between_two(bundle):
    out, _ = aged(bundle(), hourly(22.0, 15.0, 22.0))
    assert out.age.magnitude == pytest.approx(2 / 36) and "colder of two readings" in out.check.note


def test_cold_steel_gives_no_credit_and_the_hours_are_told(bundle):
    out, _ = aged(bundle(), hourly(22, 22, 14, 14, 22, 22))
    assert out.age.magnitude == pytest.approx(2 / 25) and out.cold.magnitude == 3
    assert "without credit: 3 h below the lowest row" in out.check.note


def test_a_gap_gives_no_credit_and_is_listed(bundle):
    log = hourly(22, 22, 22, 22)
    log[2:] = [(t + timedelta(minutes=1), c) for t, c in log[2:]]
    out, rec = aged(bundle(), log)
    assert out.gaps == ((log[1][0], log[2][0]),) and out.age.magnitude == pytest.approx(2 / 25)
    assert out.gap.magnitude == pytest.approx(61 / 60)
    assert rec.warnings == [{"text": "The log of the steel temperature has 1 gap longer than 1 h, without credit: "
                             "2026-10-06 13:00+01:00 to 2026-10-06 14:01+01:00.", "source": "readings.csv"}]


def test_hot_steel_gives_no_more_than_the_highest_row_and_is_flagged(bundle):
    out, rec = aged(bundle(), hourly(*[60.0] * 9))
    assert out.age.magnitude == 1 and out.hot == 9
    assert "logged at up to 60 °C, above the hottest for application of the sheet (48 °C), in 9 of 9 readings" in (
        rec.warnings[0]["text"])


def test_without_a_reading_nothing_is_filled_in(bundle):
    out, rec = aged(bundle(), [])
    assert out is None and rec.items[-1].verdict == "no data" and "does not take its place" in rec.items[-1].note


def test_the_cure_counts_from_when_the_last_unit_was_laid(bundle):
    b = bundle()
    early, rec = aged(b, hourly(*[15.0] * 40))
    late, told = aged(b, hourly(*[15.0] * 40), since=START + timedelta(hours=10))
    assert early.check.met and not late.check.met and late.age.magnitude == pytest.approx(29 / 36)
    words = "nobody stated when the last unit was laid"
    assert any(words in a["text"] for a in rec.assumptions) and not any(words in a["text"] for a in told.assumptions)


def test_readings_of_another_time_zone_are_the_same_moments(bundle):
    b, log = bundle(), hourly(15.0, 22.0, 18.0, 17.0)
    mixed = [(t.astimezone(UTC), c) if i % 2 else (t, c) for i, (t, c) in enumerate(log)]
    assert aged(b, mixed)[0].age == aged(b, log)[0].age


def test_bands_of_the_sheet_and_a_us_page(bundle):
    out, rec = aged(bundle("HB-15.toml"), hourly(*[16.0] * 31))
    assert out.age.magnitude == 1
    details = dict(next(i for i in rec.items if i.title.startswith("Cure age") and hasattr(i, "details")).details)
    assert details["coldest and warmest"] == "60.8 °F, 60.8 °F" and details["readings"] == "31"
    assert details["log"] == "readings.csv" and details["age 1 reached"] == "2026-10-07 18:00+01:00"

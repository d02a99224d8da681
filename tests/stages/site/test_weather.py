"""Climate and weather of the plan: what is worked, what is told, and what is left open."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
import tomlkit

from wrapcalc.case import load_bundle
from wrapcalc.case.forecast import read_forecast
from wrapcalc.fields import Given
from wrapcalc.formulas import climate as f
from wrapcalc.record_weather import part
from wrapcalc.recorder import Recorder, recording
from wrapcalc.searches import weather_windows as search
from wrapcalc.stages.site.weather import INSIDE, NO_DATA, OUTSIDE, weather

START = "2026-10-05T00:00+01:00"


def cure_rate(steel):
    """36 h at 15 °C and above, nothing below."""
    return np.where(steel < 15, 0.0, 1 / 36)


def csv(hours: int = 96, *, air=lambda h: 14.0, humid=lambda h: 60.0, wind=lambda h: 3.0, start: str = START,
        without: tuple[int, ...] = (), head: str = "time,air °C,humidity %,wind m/s", more=lambda h: "") -> bytes:
    at, rows = datetime.fromisoformat(start), [head]
    for h in range(hours):
        if h not in without:
            rows.append(f"{(at + timedelta(hours=h)).isoformat()},{air(h)},{humid(h)},{wind(h)}{more(h)}")
    return ("\n".join(rows) + "\n").encode()


@pytest.fixture
def plan(example):
    """plan(csv bytes or None, work={...}, sheet={...}) -> (Weather, Recorder), for HB-07 with these fields changed."""
    def run(raw: bytes | None = None, file: str = "HB-07.toml", rate=cure_rate, sheet=None, **work):
        data = tomlkit.parse((example / file).read_text("utf-8")).unwrap()
        usual = {"planned_start": "2026-10-05T09:00+01:00", "humidity": "55 %", "forecast": None}
        for name, value in (usual | work).items():
            data.setdefault("work", {}).pop(name, None)
            if value is not None:
                data["work"][name] = value
        (example / "changed.toml").write_text(tomlkit.dumps(data), "utf-8")
        bundle = load_bundle(example / "changed.toml")
        if sheet:
            surface = bundle.system.surface.model_copy(update=sheet)
            system = bundle.system.model_copy(update={"surface": surface})
            bundle = replace(bundle, system=system)
        forecast = None if raw is None else read_forecast(raw, "f.csv")
        with recording(Recorder(bundle.case.display)) as rec:
            rec.stage = "I"
            out = weather(bundle, forecast, rate)
        return out, rec
    return run


def verdict(rec: Recorder, title: str) -> str:
    check, = [i for i in rec.items if hasattr(i, "verdict") and i.title == title]
    return check.verdict


def warnings(rec: Recorder) -> str:
    return "\n".join(w["text"] for w in rec.warnings)


def assumptions(rec: Recorder) -> str:
    return "\n".join(a["text"] for a in rec.assumptions)


IN_WINDOW = "Planned start inside a window of the forecast"


# -- the plan --------------------------------------------------------------------------------------------------------

def test_the_plan_by_itself(plan):
    """19 + 0.5 °C at 55 + 3 % has its dew point at 11.02 °C (independent: psychrolib); the steel is 15.5 - 0.5 °C."""
    out, rec = plan()
    assert out.planned.dew_point.magnitude == pytest.approx(11.02, abs=0.06)
    assert out.planned.margin.magnitude == pytest.approx(15 - out.planned.dew_point.magnitude)
    assert out.planned.humidity.magnitude == pytest.approx(0.58)
    assert out.planned.at_steel.magnitude == pytest.approx(0.77, abs=0.01)
    assert {i.verdict for i in rec.items if hasattr(i, "verdict")} == {"met"}
    assert {rec.place_of[i.id][1] for i in rec.items} == {"Surface and climate"}
    assert out.verdict == NO_DATA and out.strip is None and out.found is None
    assert "warm air of the same relative humidity holds more water" in assumptions(rec)


def test_the_margin_is_after_the_errors_of_the_instruments(plan):
    """The notebook value without errors would pass: 15.5 °C is 3.6 °C above the dew point of 19 °C at 61 %."""
    _, rec = plan(humidity="61 %")
    assert verdict(rec, "Steel above the dew point, as planned") == "not met"
    _, rec = plan(humidity="61 %", temperature_error="0 °C", humidity_error="0 %")
    assert verdict(rec, "Steel above the dew point, as planned") == "met"
    _, rec = plan(humidity="83 %")
    assert verdict(rec, "Relative humidity, as planned") == "not met"


@pytest.mark.parametrize("blank", ["air_high", "humidity", "temperature_error", "humidity_error"])
def test_what_is_not_stated_is_no_data_and_no_guess(plan, blank):
    out, rec = plan(**{blank: None})
    assert out.planned.dew_point is None and out.planned.margin is None
    assert verdict(rec, "Steel above the dew point, as planned") == "no data"


def test_a_case_that_states_nothing_of_it_has_no_data(plan):
    out, rec = plan(None, "HB-42.toml", planned_start=None, humidity=None)
    assert out.planned == type(out.planned)() and not rec.warnings
    assert {i.verdict for i in rec.items} == {"no data"}


def test_steel_at_freezing_and_air_outside_the_formula_are_out_of_scope(plan):
    out, rec = plan(steel_low="0.3 °C", air_low="-3 °C", air_high="2 °C")
    assert verdict(rec, "Steel above freezing, as planned") == "outside scope" and out.planned.margin is None
    assert verdict(rec, "Steel above the dew point, as planned") == "no data"
    out, rec = plan(air_high="49.8 °C")
    assert verdict(rec, "Range of the dew point formula: air, as planned") == "outside scope"
    assert out.planned.dew_point is None
    out, rec = plan(air_low="-35 °C", air_high="-30 °C", humidity="20 %")
    assert verdict(rec, "Range of the dew point formula: dew point, as planned") == "outside scope"
    assert [i.struck for i in rec.items if getattr(i, "title", "") == "Dew point, as planned"] == \
        ["outside the range of the Magnus form"]
    out, rec = plan(steel_low="55 °C", steel_high="60 °C")
    assert out.planned.margin is not None and out.planned.at_steel is None
    assert verdict(rec, "Range of the dew point formula: steel, as planned") == "outside scope"


def test_a_lax_sheet_is_told_and_one_without_limits_gets_the_usual_ones(plan):
    lax = {"dew_margin": Given(2, "delta_degC", "2 °C", "temperature difference", "", ""),
           "humidity_max": Given(95, "percent", "95 %", "percentage", "", "")}
    _, rec = plan(sheet=lax)
    assert "asks for 2 °C as surface.dew_margin, less than the usual limit of coating work, 3 °C" in warnings(rec)
    assert "surface.humidity_max" in warnings(rec)
    _, rec = plan(sheet={"dew_margin": None, "humidity_max": None})
    assert "gives no surface.dew_margin; the usual limit of coating work holds: 3 °C" in assumptions(rec)
    assert verdict(rec, "Steel above the dew point, as planned") == "met"


def test_a_margin_is_a_difference_on_a_page_in_fahrenheit(plan):
    _, rec = plan(None, "HB-15.toml", planned_start=None, humidity="40 %")
    check, = [i for i in rec.items if hasattr(i, "verdict") and i.title == "Steel above the dew point, as planned"]
    assert check.limit.show("US") == "5.4 °F" and check.provided.unit == "delta_degC"


# -- windows ---------------------------------------------------------------------------------------------------------

def test_a_fine_week_is_one_window(plan):
    out, rec = plan(csv())
    assert out.verdict == INSIDE and verdict(rec, IN_WINDOW) == "met"
    window, = out.found.windows
    # 96 rows; 4.5 h of work and 36 h of cure leave starts 0 to 95 - 40.5.
    assert (window.latest - window.earliest) / 3600 == 54
    assert window.first_cured - window.earliest == pytest.approx(40.5 * 3600)
    assert out.window_words == ("start from 2026-10-05 00:00 +01:00 to 2026-10-07 06:00 +01:00, cured at the earliest "
                                "2026-10-06 16:30 +01:00",)
    assert not rec.warnings
    assert {rec.place_of[i.id][1] for i in rec.items} == {"Surface and climate", "Weather"}


def test_the_worst_hour_of_the_planned_work_is_worked_by_itself(plan):
    """Warm at 12 h, humid at 9 h: the dew point is that of 12 h, the humidity that of 9 h."""
    out, rec = plan(csv(air=lambda h: 18 if h == 12 else 10, humid=lambda h: 80 if h == 9 else 60))
    assert out.worst.humidity.magnitude == pytest.approx(0.83)
    assert out.worst.dew_point.magnitude == pytest.approx(11.36, abs=0.06)  # independent: psychrolib, 18.5 °C, 63 %
    assert verdict(rec, "Steel above the dew point, planned hours of the forecast") == "met"
    assert "the least steel above the dew point; and the highest humidity" in next(
        i.method for i in rec.items if getattr(i, "title", "") == "Worst hour of the planned work")


@pytest.mark.parametrize(("weather_of", "reason"), [
    ({"air": lambda h: 10, "humid": lambda h: 90 if h == 11 else 60},
     "humidity, with the error of the instrument, above 85 %, at 2026-10-05 11:00 +01:00"),
    ({"wind": lambda h: 12 if h == 10 else 3}, "wind above 11 m/s, at 2026-10-05 10:00 +01:00"),
    ({"air": lambda h: 22 if h >= 12 else 14}, "steel less than 3 °C above the dew point, at 2026-10-05 12:00 +01:00"),
    ({"hours": 45}, "the forecast ends at 2026-10-06 20:00 +01:00, before the cure is complete"),
    ({"without": (20, 21)}, "the forecast has a gap after 2026-10-05 19:00 +01:00"),
    ({"without": (12,)}, "the forecast has a gap after 2026-10-05 11:00 +01:00")])
def test_the_first_limit_that_fails_is_named_with_its_hour(plan, weather_of, reason):
    out, rec = plan(csv(**weather_of))
    assert out.verdict == OUTSIDE and out.reason == reason
    assert verdict(rec, IN_WINDOW) == "not met"
    assert f"is outside every window of the forecast: {reason}. The " in warnings(rec)


def test_rain_fails_and_is_shown(plan):
    out, _ = plan(csv(head="time,air °C,humidity %,wind m/s,rain mm", more=lambda h: ",0.4" if h == 10 else ",0"))
    assert out.reason == "rain, at 2026-10-05 10:00 +01:00"
    assert out.strip["fails"]["rain"] == [[out.strip["utc"][10]] * 2]


def test_the_next_window_is_named(plan):
    out, rec = plan(csv(humid=lambda h: 90 if h < 14 else 60))
    assert out.next_start == "2026-10-05 14:00 +01:00"
    assert "The next window begins 2026-10-05 14:00 +01:00." in warnings(rec)
    out, rec = plan(csv(humid=lambda h: 90))
    assert out.next_start == "" and "The forecast has no later window." in warnings(rec)


def test_a_start_between_two_hours_needs_both(plan):
    humid = {"air": lambda h: 10, "humid": lambda h: 90 if h < 9 else 60}
    assert plan(csv(**humid))[0].verdict == INSIDE
    out, _ = plan(csv(**humid), planned_start="2026-10-05T08:30+01:00")
    assert out.verdict == OUTSIDE and out.reason.startswith("humidity") and "08:00" in out.reason
    out, _ = plan(csv(air=lambda h: 10, humid=lambda h: 90 if h > 14 else 60),
                  planned_start="2026-10-05T10:15+01:00")
    assert out.verdict == OUTSIDE and "15:00" in out.reason  # 10:00 would fit, 11:00 not


def test_steel_below_the_cure_table_is_no_window(plan):
    """A steel column that falls to 14 °C at night; the product does not hold it."""
    raw = csv(head="time,air °C,humidity %,wind m/s,steel °C", more=lambda h: ",14" if h == 30 else ",17")
    out, rec = plan(raw, steel_held_by=None)
    assert out.reason == "the steel leaves the cure table before the cure is complete, at 2026-10-06 06:00 +01:00"
    out, rec = plan(raw)  # held by the product: the colder of the two
    assert out.verdict == OUTSIDE and "colder or hotter than the plan" in assumptions(rec)
    fine = csv(head="time,air °C,humidity %,wind m/s,steel °C", more=lambda h: ",17")
    assert plan(fine, steel_held_by="air")[0].verdict == INSIDE


def test_limits_of_application_hold_for_the_steel_of_each_hour(plan):
    head = "time,air °C,humidity %,wind m/s,steel °C"
    warm = {"humid": lambda h: 20, "head": head}
    out, _ = plan(csv(more=lambda h: ",50" if h == 11 else ",17", **warm), steel_held_by=None)
    assert out.reason == "steel above 48 °C, the limit of application, at 2026-10-05 11:00 +01:00"
    out, _ = plan(csv(more=lambda h: ",6" if h == 11 else ",17", **warm), steel_held_by=None)
    assert out.reason == "steel below 7 °C, the limit of application, at 2026-10-05 11:00 +01:00"
    out, _ = plan(csv(more=lambda h: ",0.2" if h == 11 else ",17", **warm), steel_held_by=None)
    assert out.reason == "steel below 0.01 °C, where frost forms, at 2026-10-05 11:00 +01:00"
    out, _ = plan(csv(air=lambda h: 55 if h == 11 else 14, more=lambda h: ",17", **warm), steel_held_by=None)
    assert out.reason == "outside the range of the dew point formula, at 2026-10-05 11:00 +01:00"


def test_steel_that_follows_the_air_lags_behind_it(plan):
    """Cold until 8 h; at 9 to 14 h the steel is still read as that cold; the first 6 h are not known."""
    raw = csv(air=lambda h: 8.0 if h <= 8 else 16.0)
    out, rec = plan(raw, steel_held_by="air")
    assert out.strip["steel"][8:16] == [8.0] * 7 + [16.0]
    assert "the coldest, and as hot as the hottest, air of the 6 h before. Sun" in assumptions(rec)
    out, _ = plan(raw, steel_held_by="air", planned_start="2026-10-05T02:00+01:00")
    assert out.reason == "steel not known: the hours before are not in the forecast, at 2026-10-05 02:00 +01:00"
    out, _ = plan(csv(air=lambda h: 16.0), steel_held_by="air", planned_start="2026-10-05T06:00+01:00")
    assert out.verdict == INSIDE
    known = plan(csv(air=lambda h: 16.0, without=(20,)), steel_held_by="air")[0]
    assert known.found.reason[20] == 1  # row of 21 h: the 6 h before are not whole
    assert known.found.reason[26] == search.FITS


@pytest.mark.parametrize(("blank", "named"), [
    ("blast_time", "work.blast_time"), ("application_time", "work.application_time"),
    ("temperature_error", "work.temperature_error"), ("humidity_error", "work.humidity_error"),
    ("steel_held_by", "work.steel_held_by"), ("steel_high", "work.steel_high")])
def test_without_a_number_there_are_no_windows(plan, blank, named):
    out, rec = plan(csv(), **{blank: None})
    assert out.missing == (named,) and out.found is None and out.verdict == NO_DATA
    assert verdict(rec, IN_WINDOW) == "no data"
    assert out.strip["air"] and out.strip["steel"] is None and out.strip["windows"] == []


def test_without_wind_or_a_cure_table_there_are_no_windows(plan):
    calm = csv(head="time,air °C,humidity %", wind=lambda h: "").replace(b",\n", b"\n")
    assert plan(calm)[0].missing == ("the column wind of the forecast, for work.wind_max",)
    assert plan(calm, wind_max=None)[0].verdict == INSIDE
    assert plan(csv(), rate=None)[0].missing == ("the cure table of the sheet",)


def test_a_forecast_of_other_days_is_told(plan):
    out, rec = plan(csv(), planned_start="2026-11-05T09:00+01:00")
    assert out.verdict == NO_DATA and verdict(rec, IN_WINDOW) == "no data"
    assert ("The forecast is not for the planned work: the forecast runs from 2026-10-05 00:00 +01:00 to 2026-10-08 "
            "23:00 +01:00 and does not hold the planned start.") in warnings(rec)
    assert out.strip["planned"] is None and out.found.windows


def test_another_time_zone_is_told_and_compared_in_utc(plan):
    out, rec = plan(csv(humid=lambda h: 90 if h < 9 else 60), planned_start="2026-10-05T09:00+02:00")
    assert out.verdict == OUTSIDE  # 8 h in the forecast
    assert ("stated with the offset +02:00, the forecast with +01:00: they are compared in UTC. In local time of the "
            "forecast the start is 2026-10-05 08:00 +01:00.") in warnings(rec)
    assert "offset" not in warnings(plan(csv())[1])
    assert "-03:30" in warnings(plan(csv(), planned_start="2026-10-05T04:30-03:30")[1])


def test_air_beyond_the_plan_is_told(plan):
    _, rec = plan(csv(air=lambda h: 5 if h == 10 else 14, humid=lambda h: 40))
    assert ("The forecast has air of 5 °C in the planned hours of work, beyond work.air_low = 9 °C: check the plan, "
            "and the unit of the forecast.") in warnings(rec)
    _, rec = plan(csv(air=lambda h: 25 if h == 10 else 14, humid=lambda h: 20))
    assert "air of 25 °C" in warnings(rec) and "work.air_high = 19 °C" in warnings(rec)
    assert "beyond" not in warnings(plan(csv(air=lambda h: 25 if h > 20 else 14, humid=lambda h: 20))[1])


def test_notes_of_the_forecast_are_told(plan):
    assert "Nothing is planned across a gap" in warnings(plan(csv(without=(70,)))[1])


def test_a_plan_without_humidity_rests_on_the_forecast(plan):
    out, rec = plan(csv(), humidity=None)
    assert out.planned == type(out.planned)() and out.worst.margin is not None
    assert not [i for i in rec.items if "as planned" in i.title]


# -- what the record keeps -------------------------------------------------------------------------------------------

def test_the_strip_is_plain_data_of_the_whole_forecast(plan):
    out, _ = plan(csv())
    strip = json.loads(json.dumps(out.strip))
    assert strip == out.strip and len(strip["utc"]) == 96 and strip["notes"] == []
    assert strip["humidity"][0] == 0.63 and strip["humidity_max"] == 0.85 and strip["wind_max"] == 11
    assert strip["least_steel"][0] == pytest.approx(strip["dew_point"][0] + 3.5, abs=1e-6)
    start, ends, cured = strip["planned"]
    assert (ends - start, cured - start) == (4.5 * 3600, 40.5 * 3600)
    assert strip["offsets"] == [[strip["utc"][0], 3600]]


def test_of_a_long_forecast_sixteen_days_from_the_planned_start_are_kept(plan):
    out, _ = plan(csv(40 * 24), planned_start="2026-10-20T09:30+01:00")
    utc = out.strip["utc"]
    assert datetime.fromtimestamp(utc[0], timezone(timedelta(hours=1))).isoformat() == "2026-10-20T09:00:00+01:00"
    assert (utc[-1] - utc[0]) / 86400 == pytest.approx(16, abs=0.05)
    assert out.strip["notes"] == ["The forecast is longer: 16 days from the planned start are shown."]
    assert all(w[1] >= utc[0] and w[0] <= utc[-1] for w in out.strip["windows"])
    other, _ = plan(csv(40 * 24), planned_start="2026-12-20T09:30+01:00")
    assert other.strip["notes"] == ["The forecast is longer: 16 days from its beginning are shown."]
    late, _ = plan(csv(40 * 24), planned_start="2026-11-13T22:45+01:00")
    assert len(late.strip["utc"]) >= 2


def test_the_arrays_are_the_formulas(plan):
    """The dew point of an hour in the strip is that of the steps, hour by hour."""
    out, _ = plan(csv(air=lambda h: 10 + h % 7, humid=lambda h: 40 + h % 30))
    for h in (0, 17, 60):
        gamma = f.magnus_term.core((43 + h % 30) / 100, 17.625, 243.04, 10.5 + h % 7)
        assert out.strip["dew_point"][h] == pytest.approx(f.dew_point.core(17.625, 243.04, gamma), abs=1e-6)
    assert math.isfinite(sum(out.strip["least_steel"]))
    assert datetime.fromtimestamp(out.strip["utc"][0], UTC).hour == 23


def test_the_record_holds_it_as_plain_data(plan):
    def data(value):
        return None if value is None else value.show()

    out, _ = plan(csv())
    kept = part(out, data)
    assert json.loads(json.dumps(kept)) == kept
    assert kept["verdict"] == INSIDE and len(kept["windows"]) == 1 and kept["strip"] == out.strip
    assert kept["planned"]["margin"] == out.planned.margin.show() and kept["worst"]["dew_point"]
    assert part(plan()[0], data)["worst"] is None and part(None, data) is None

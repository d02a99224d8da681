"""Forecasts: how they are read, what is refused with which words, and what is told."""

from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc.case.forecast import Forecast, moment_words, read_forecast, utc_of
from wrapcalc.errors import CaseFaults

HEAD = "time,air °C,humidity %,wind m/s\n"
GOOD = (HEAD + "2026-10-05T00:00+01:00,9.2,93,1.3\n2026-10-05T01:00+01:00,8.5,96,1.2\n"
        "2026-10-05T02:00+01:00,8,97,1.3\n")


def read(text: str) -> Forecast:
    return read_forecast(text.encode(), "f.csv")


def faults_of(text: str):
    with pytest.raises(CaseFaults) as caught:
        read(text)
    for fault in caught.value.faults:
        assert fault.file == "f.csv" and str(fault).isprintable() and fault.found and fault.allowed and fault.mend
    return caught.value.faults


def only(text: str):
    fault, = faults_of(text)
    return fault


def day(*rows: str, head: str = HEAD, start: str = "2026-10-05T00:00+01:00") -> str:
    """The cells of each hour behind its time."""
    at = datetime.fromisoformat(start)
    return head + "".join(f"{(at + timedelta(hours=k)).isoformat()},{r}\n" for k, r in enumerate(rows))


def test_a_forecast_is_read():
    f = read(GOOD)
    assert len(f) == 3 and f.air.tolist() == [9.2, 8.5, 8.0] and f.humidity.tolist() == [0.93, 0.96, 0.97]
    assert f.wind.tolist() == [1.3, 1.2, 1.3] and f.steel is None and f.rain is None and f.notes == ()
    assert datetime.fromtimestamp(int(f.utc[0]), UTC).isoformat() == "2026-10-04T23:00:00+00:00"
    assert f.offset.tolist() == [3600] * 3 and f.whole.tolist() == [True, True, False]
    assert moment_words(f.local(f.utc[2])) == "2026-10-05 02:00 +01:00"
    with pytest.raises(ValueError, match="read-only"):
        f.air[0] = 1


def test_columns_in_any_order_and_in_customary_units():
    f = read("humidity %, wind mph ,time,rain in,steel °F,air °F\n50,10,2026-10-05T00:00Z,0.1,59,50\n"
             "51,0,2026-10-05T01:00Z,0,60.8,68\n")
    assert f.air.tolist() == [10.0, 20.0] and f.steel.tolist() == [15.0, 16.0]
    assert f.wind == pytest.approx([4.4704, 0]) and f.rain == pytest.approx([2.54, 0])
    assert read("time,air °C,humidity %\n2026-10-05T00:00Z,1,50\n2026-10-05T01:00Z,2,50\n").wind is None


def test_the_example_is_read(example):
    f = read_forecast((example / "HB-07-forecast.csv").read_bytes(), "HB-07-forecast.csv")
    assert len(f) == 120 and f.whole[:-1].all() and f.notes == ()


def test_clocks_may_change_and_time_grows_in_utc():
    """The hour from 1 to 2 comes twice in local time, an hour apart in UTC."""
    f = read(HEAD + "2026-10-25T00:00+01:00,9,80,1\n2026-10-25T01:00+01:00,9,80,1\n2026-10-25T01:00+00:00,9,80,1\n"
             "2026-10-25T02:00+00:00,9,80,1\n")
    assert f.whole.tolist() == [True, True, True, False] and f.notes == ()
    assert f.offset.tolist() == [3600, 3600, 0, 0]
    assert [moment_words(f.local(t))[11:] for t in f.utc] == ["00:00 +01:00", "01:00 +01:00", "01:00 +00:00",
                                                              "02:00 +00:00"]
    assert f.offset_at(float(f.utc[0]) - 99) == 3600 and f.offset_at(float(f.utc[3]) + 99) == 0


def test_gaps_are_told():
    f = read(GOOD + "2026-10-05T04:00+01:00,8,97,1\n2026-10-05T09:00+01:00,8,97,1\n")
    assert f.whole.tolist() == [True, True, False, False, False]
    note, = f.notes
    assert note == ("The forecast has gaps: 1 hour is missing after 2026-10-05 02:00 +01:00; 4 hours are missing after "
                    "2026-10-05 04:00 +01:00. Nothing is planned across a gap.")
    text = GOOD + "".join(f"2026-10-{d:02d}T00:00+01:00,8,97,1\n" for d in range(6, 12))
    assert "3 more gaps follow" in read(text).notes[0]


@pytest.mark.parametrize(("text", "field", "line", "found", "allowed", "mend"), [
    pytest.param(HEAD, "the file", None, "0 hours", "heading and 2 to", "write", id="no rows"),
    pytest.param(GOOD.replace("air °C", "air"), "row 1, column 2", 1, "'air'", "air, then one of the units",
                 "write 'air °C'", id="no unit"),
    pytest.param(GOOD.replace("wind m/s", "wind kph"), "row 1, column 4", 1, "'wind kph'", "m/s", "write 'wind m/s'",
                 id="unknown unit"),
    pytest.param(GOOD.replace("wind m/s", "wnd m/s"), "row 1, column 4", 1, "'wnd m/s'", "wind", "did you mean 'wind'",
                 id="unknown column"),
    pytest.param(GOOD.replace("wind m/s", ""), "row 1, column 4", 1, "no heading", "wind", "name the", id="blank"),
    pytest.param(GOOD.replace("wind m/s", "air °F"), "row 1, column 4", 1, "again", "once", "remove one", id="twice"),
    pytest.param(GOOD.replace("humidity %", "rain mm"), "row 1", 1, "no column humidity", "heading such as", "add what",
                 id="no humidity"),
    pytest.param(GOOD.replace("T01:00+01:00", "T01:00"), "row 3, column 1", 3, "no time zone", "offset from UTC",
                 "add the offset", id="no offset"),
    pytest.param(GOOD.replace("2026-10-05T01:00+01:00", "05.10.2026 01:00"), "row 3, column 1", 3, "'05.10.2026 01:00'",
                 "offset from UTC", "year-month-day", id="other form of date"),
    pytest.param(GOOD.replace("2026-10-05T01:00+01:00", ""), "row 3, column 1", 3, "an empty cell", "offset", "write",
                 id="no time"),
    pytest.param(GOOD.replace("T01:00+01:00", "T01:00+15:00"), "row 3, column 1", 3, "+15:00", "at most 14 hours",
                 "correct", id="offset of a day"),
    pytest.param(GOOD.replace("T01:00", "T00:00"), "row 3, column 1", 3, "the hour of line 2 again", "each hour once",
                 "remove one", id="duplicate"),
    pytest.param(GOOD.replace("05T02:00", "04T02:00"), "row 4, column 1", 4, "before that of line 3", "grow", "sort",
                 id="disorder"),
    pytest.param(GOOD.replace("T01:00", "T00:30").replace("T02:00", "T01:30"), "row 3, column 1", 3,
                 "30 min after line 2", "hourly", "one row for each hour", id="half-hourly"),
    pytest.param(GOOD.replace("T02:00", "T06:00").replace("T01:00", "T03:00"), "row 3, column 1", 3, "3 hours after",
                 "hourly forecast", "not made up", id="three-hourly"),
    pytest.param(GOOD.replace("8.5,96", "8;5,96"), "row 3, column 2", 3, "'8;5'", "decimal point", "correct this cell",
                 id="not a number"),
    pytest.param(GOOD.replace("8.5,96", "nan,96"), "row 3, column 2", 3, "'nan'", "decimal point", "correct", id="nan"),
    pytest.param(GOOD.replace("8.5,96", ",96"), "row 3, column 2", 3, "an empty cell", "decimal point", "left out as a",
                 id="empty cell"),
    pytest.param(GOOD.replace("8.5,96", "8.5,96,1"), "row 3", 3, "5 cells", "4 cells", "decimal point", id="cells"),
    pytest.param(GOOD.replace("8.5,96", "8.5,104"), "row 3, column 3", 3, "'104' as humidity in %", "1 % to 100 %",
                 "correct the cell", id="humidity above 100 %"),
    pytest.param(GOOD.replace("8.5,96", "8.5,0"), "row 3, column 3", 3, "'0' as humidity", "1 % to 100 %", "correct",
                 id="no humidity at all"),
    pytest.param(GOOD.replace("8.5,96", "68.5,96"), "row 3, column 2", 3, "'68.5' as air in °C", "60 °C",
                 "this looks like °F", id="one hour of Fahrenheit"),
    pytest.param(GOOD.replace(",1.2\n", ",-1\n"), "row 3, column 4", 3, "'-1' as wind", "0 m/s to 90 m/s", "correct",
                 id="wind below zero")])
def test_faults_say_where_and_how_to_mend(text, field, line, found, allowed, mend):
    fault = only(text)
    assert (fault.field, fault.line) == (field, line)
    assert found in fault.found and allowed in fault.allowed and mend in fault.mend


def test_fahrenheit_in_a_celsius_column_is_refused():
    """Each cell by itself could be a hot place; a day of them could not."""
    fault = only(day(*[f"{50 + k % 5},40,1" for k in range(24)]))
    assert fault.field == "column 2" and "a mean of 51" in fault.found and "looks like °F" in fault.mend


def test_celsius_in_a_kelvin_column_is_refused():
    assert "correct" in faults_of(day("10,40,1", "11,40,1", head=HEAD.replace("°C", "K")))[0].mend


def test_cold_and_humid_air_read_too_hot_is_told():
    note, = read(day("48,60,1", "39,20,1", "44,50,1")).notes
    assert "48 °C at 60 % humidity (1 such hour)" in note and "°F headed as °C?" in note
    assert read(day("40,60,1", "45,30,1", "20,100,1")).notes == ()


def test_shares_in_a_column_of_per_cent_are_refused():
    assert "shares of 1" in only(day("9,1,1", "9,1,1")).mend
    assert only(day("9,0.95,1", "9,1,1")).found.startswith("'0.95' as humidity")


def test_many_faults_are_counted_and_all_columns_are_looked_at():
    faults = faults_of(day(*["x,y,1"] * 30))
    assert len(faults) == 21 and faults[-1].found == "40 more faults like these"
    assert {f.field for f in faults[:2]} == {"row 2, column 2", "row 2, column 3"}


def test_what_is_no_csv_is_refused():
    assert "semicolons" in only(GOOD.replace(",", ";")).found
    assert "empty" in only("").found
    fault = only(HEAD + "".join(f"{datetime.fromtimestamp(3600 * k, UTC).isoformat()},1,50,1\n"
                                for k in range(20_001)))
    assert "20001 hours" in fault.found and "keep the days" in fault.mend


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 3), st.sampled_from([-5, -4, 0, 1, 2])), min_size=2, max_size=20))
def test_any_offsets_that_grow_in_utc_are_read(steps):
    """Local times may go back; the instants are what counts."""
    at, text, instants = datetime(2026, 3, 1, tzinfo=UTC), HEAD, []
    for hours, offset in [(1, 0), (1, 0), *steps]:
        at += timedelta(hours=hours)
        instants.append(at.timestamp())
        text += at.astimezone(timezone(timedelta(hours=offset))).isoformat() + ",5,60,2\n"
    f = read(text)
    assert f.utc.tolist() == instants
    assert (np.diff(f.utc) > 3600).sum() == sum(hours > 1 for hours, _ in steps)


def test_a_moment_of_the_case_in_utc():
    assert utc_of("1970-01-01T02:00+01:00") == (3600.0, 3600)
    assert utc_of("1970-01-01T02:00-05:30") == (27000.0, -19800)
    assert moment_words(datetime.fromisoformat("2026-10-06T07:00-05:30")) == "2026-10-06 07:00 -05:30"


def test_a_number_too_great_to_be_converted_is_out_of_bounds_and_nothing_else_is_said():
    """Warnings are errors here: an overflow must not print one."""
    text = day("9,90,1e308", "9,90,1").replace("wind m/s", "wind mph")
    faults = faults_of(text) + faults_of(day("1e308,90,1", "9,90,1").replace("air °C", "air °F")) + faults_of(
        day("9,90,1e999", "9,90,1"))
    assert [f.found.partition(" as ")[0] for f in faults] == ["'1e308'", "'1e308'", "'1e999'"]

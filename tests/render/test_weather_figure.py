"""The strip chart of a forecast: legible from two to sixteen days, same bytes, nothing invented."""

import json
import math
from datetime import UTC, datetime
from itertools import pairwise

import pytest

from tests.render import test_figures as others
from tests.render.test_figures import assert_legible, described
from wrapcalc.render.figures import _sheet
from wrapcalc.render.figures._weather import _Clock, weather
from wrapcalc.render.weather_drawings import weather as from_record

written = others.written  # the fixture that collects every text a figure places
HOUR, START = 3600, 1_791_154_800  # 2026-10-05 00:00 at +01:00


def chart(days: float = 5.0, *, begin: int = START, gap: tuple[int, int] = (0, 0), **changes: object) -> dict:
    hours = [k for k in range(int(days * 24) + 1) if not gap[0] <= k < gap[1]]
    utc = [begin + HOUR * k for k in hours]
    swing = [math.sin((k - 9) / 12 * math.pi) for k in hours]
    return {
        "utc": utc,
        "offsets": [[begin, 3600]],
        "strips": [
            ["temperature", "°C", [["steel, lagging behind the air", [12 + 4 * s for s in swing]],
                                   ["air", [12 + 5 * s for s in swing]],
                                   ["dew point, with errors", [9 + s for s in swing]],
                                   ["least steel for the work", [12.5 + s for s in swing]]], [],
             [[utc[2], utc[5]], [utc[20], utc[20]]]],
            ["relative humidity", "%", [["humidity, with error", [75 - 20 * s for s in swing]]], [["limit", 85.0]],
             [[utc[0], utc[6]]]],
            ["wind", "m/s", [["wind", [4 + 3 * s for s in swing]]], [["limit", 11.0]], []],
        ],
        "windows": [[utc[9], utc[14], utc[9] + 40.5 * HOUR, utc[14] + 40.5 * HOUR],
                    [utc[33], utc[38], utc[33] + 40.5 * HOUR, utc[38] + 40.5 * HOUR]],
        "planned": [utc[9], utc[9] + 4.5 * HOUR, utc[9] + 40.5 * HOUR],
        "notes": [],
        "title": "Weather",
    } | changes


CASES = {
    "two days": chart(2),
    "five days": chart(5),
    "eight days": chart(8),
    "ten days and a bit": chart(10.6, begin=START + 5 * HOUR),
    "sixteen days": chart(16),
    "sixteen days over new year": chart(16, begin=START + 80 * 24 * HOUR),
    "clocks change": chart(6, offsets=[[START, 3600], [START + 50 * HOUR, 0]]),
    "half an hour beside the hour": chart(5, offsets=[[START, 19800]]),
    "a gap": chart(6, gap=(50, 70)),
    "no window and no end of work": chart(4, windows=[], planned=[START + 30 * HOUR, None, None]),
    "no plan": chart(4, planned=None),
    "start at the right edge": chart(16, planned=[START + 383 * HOUR, START + 388 * HOUR, None]),
    "rain, and a long note": chart(9, rain=[[START, START + 3 * HOUR], [START + 90 * HOUR, START + 90 * HOUR]],
                                   notes=["The forecast is longer: 16 days from the planned start are shown."]),
    "one level line": chart(3, strips=[["wind", "m/s", [["wind", [4.0] * 73]], [], []]]),
}


@pytest.mark.parametrize("name", CASES)
def test_no_text_overlaps_or_is_cut_off(name, written):
    weather(**CASES[name])
    assert_legible(written)


@pytest.mark.parametrize("days", range(2, 17))
def test_days_and_hours_are_legible_for_every_length(days, written):
    weather(**chart(days, begin=START + 37 * HOUR))
    assert_legible(written)
    said = [text for text, *_ in written]
    assert sum(text.split()[0].isdigit() or text[:3] in ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
               for text in said) >= days - 1


@pytest.mark.parametrize("name", CASES)
def test_same_bytes_again_and_nothing_leaves_the_drawing(name):
    svg = weather(**CASES[name])
    assert svg == weather(**CASES[name])
    assert "nan" not in svg.lower().replace("dominant", "") and "inf" not in svg.split("<g ")[1].lower()


def test_key_words_are_drawn(written):
    weather(**CASES["five days"])
    said = " | ".join(text for text, *_ in written)
    for words in ("planned start, Mon 5 Oct 09:00", "starts that fit", "planned work and cure (hatched)", "limit: 85 %",
                  "limit: 11 m/s", "temperature (°C)", "local time of the forecast, October 2026", "Hatched: hours",
                  "Tue 6 Oct", "06"):
        assert words in said


def test_what_is_not_there_is_said(written):
    weather(**CASES["no window and no end of work"])
    weather(**CASES["a gap"])
    weather(**CASES["rain, and a long note"])
    said = " | ".join(text for text, *_ in written)
    for words in ("no start fits", "planned start", "Lines are broken where the forecast has gaps.", "rain",
                  "16 days from the planned start"):
        assert words in said


def test_what_goes_beyond_is_said(written):
    weather(**chart(2, planned=[START + 30 * HOUR, START + 34 * HOUR, START + 70 * HOUR]))
    assert "The planned cure goes on beyond the drawing." in [text for text, *_ in written]
    weather(**chart(2, windows=[[START, START + 99 * HOUR, START, START]]))
    assert "A window goes on beyond the drawing." in [text for text, *_ in written]


def test_key_numbers_are_in_the_description():
    said = described(weather(**CASES["five days"]))
    for words in ("Forecast from Mon 5 Oct 00:00 to Sat 10 Oct 00:00",
                  "relative humidity (%), humidity, with error: 55 to 95", "limit: 85 %",
                  "start fits from Mon 5 Oct 09:00 to Mon 5 Oct 14:00", "planned start Mon 5 Oct 09:00"):
        assert words in said
    assert "no start fits" in described(weather(**CASES["no window and no end of work"]))


def test_hours_that_fail_are_hatched_and_not_only_coloured(monkeypatch):
    hatched = []
    real = _sheet.Sheet.hatch
    monkeypatch.setattr(_sheet.Sheet, "hatch", lambda self, *a, **k: (hatched.append(a), real(self, *a, **k))[1])
    weather(**CASES["five days"])
    assert len(hatched) == 3 + 1  # runs of hours, and the cure
    one_hour = (124 - 20) / 120
    assert hatched[1][2] == pytest.approx(one_hour)  # half an hour to both sides of a lone row
    assert hatched[2][0] == 20.0  # cut at the frame
    assert hatched[2][2] == pytest.approx(6.5 * one_hour)


def test_a_line_is_broken_at_a_gap(monkeypatch):
    drawn = []
    real = _sheet.Sheet.lines
    monkeypatch.setattr(_sheet.Sheet, "lines", lambda self, pieces, **k: (drawn.append((pieces, k)), real(
        self, pieces, **k))[1])
    weather(**chart(6, gap=(50, 70), windows=[]))
    bold = [pieces for pieces, k in drawn if k.get("pen") == 1.8 and len(pieces[0]) > 10]
    assert len(bold) == 3 and all(len(pieces) == 2 for pieces in bold)


def test_local_hours_follow_the_change_of_the_clocks():
    """Offset 2 h up to 50 h, then 1 h: the midnights after it lie 25 h after those before."""
    clock = _Clock([[START, 7200], [START + 50 * HOUR, 3600]])
    marks = clock.quarters(START, START + 100 * HOUR)
    assert [h for _, h in marks[:3]] == [6, 12, 18]
    nights = [t for t, h in marks if h == 0]
    assert [b - a for a, b in pairwise(nights)] == [24 * HOUR, 25 * HOUR, 24 * HOUR]
    assert clock.local(START) == datetime(2026, 10, 5, 1, tzinfo=UTC)


@pytest.mark.parametrize(("change", "words"), [
    ({"utc": [START] * 121}, "utc"), ({"offsets": []}, "offsets"), ({"strips": [["wind", "m/s", [], [], []]]}, "lines"),
    ({"strips": [["wind", "m/s", [["wind", [1.0]]], [], []]]}, "1 values"),
    ({"strips": [["wind", "m/s", [["", [1.0] * 121]], [], []]]}, "empty"),
    ({"strips": [["wind", "m/s", [["wind", [math.nan] * 121]], [], []]]}, "finite"),
    ({"strips": [["wind", "m/s"]]}, "parts"), ({"windows": [[math.inf, 1, 1, 1]]}, "windows"),
    ({"planned": [math.nan, None, None]}, "planned")])
def test_what_can_not_be_drawn_is_refused(change, words):
    with pytest.raises(ValueError, match=words):
        weather(**chart(5, **change))


def test_more_than_sixteen_days_are_refused():
    with pytest.raises(ValueError, match="20 days: at most 16"):
        weather(**chart(20))


# -- from the record -------------------------------------------------------------------------------------------------

def record(display: str = "SI", **changes: object) -> dict:
    utc = [START + HOUR * k for k in range(49)]
    return {"case": {"id": "HB-07", "display": display}, "site": {"wrap": {"weather": {"strip": {
        "utc": utc, "offsets": [[START, 3600]], "air": [10.0] * 49, "humidity": [0.63] * 49, "wind": [5.0] * 49,
        "steel": [15.5] * 49, "dew_point": [4.0] * 49, "least_steel": [7.5] * 49, "humidity_max": 0.85,
        "wind_max": 11.0, "fails": {"steel": [], "humidity": [], "wind": [], "rain": [[START, START]]},
        "steel_words": "held by the product", "windows": [], "planned": None, "notes": []} | changes}}}}


def drawn(rec: dict) -> dict:
    seen: dict = {}
    from_record(rec, lambda name, **k: seen.update(json.loads(json.dumps(k))) or weather(**k))
    return seen


def test_the_record_is_drawn_in_the_units_that_it_prints():
    si, us = drawn(record()), drawn(record("US"))
    assert si["strips"][0][:2] == ["temperature", "°C"] and us["strips"][0][:2] == ["temperature", "°F"]
    assert us["strips"][0][2][1] == ["air", [50.0] * 49]
    assert us["strips"][1][2][0][1] == [63.0] * 49 and us["strips"][1][3] == [["limit", 85.0]]
    assert us["strips"][2][1] == "ft/s" and us["strips"][2][3][0][1] == pytest.approx(36.0892, abs=1e-4)
    assert si["rain"] == [[START, START]]


def test_a_record_without_windows_or_wind_shows_the_air():
    seen = drawn(record(steel=None, dew_point=None, least_steel=None, steel_words="", fails={}, wind=None,
                        wind_max=None, humidity_max=None))
    assert [name for name, *_ in seen["strips"]] == ["temperature", "relative humidity"]
    assert [name for name, _ in seen["strips"][0][2]] == ["air"]
    assert seen["strips"][1][2][0][0] == "humidity" and seen["strips"][1][3] == []
    for nothing in (None, {"weather": {"strip": None}}):
        assert from_record({"case": {}, "site": {"wrap": nothing}}, lambda *a, **k: "") is None

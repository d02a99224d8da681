"""Hourly forecasts: CSV in, a frozen forecast of arrays out.

    time,air °C,humidity %,wind m/s
    2026-10-05T00:00+01:00,9.2,93,1.3

Times are ISO 8601 with their offset from UTC; "wind", "steel" and "rain" may be left out. Hours that are missing are
gaps: they are told, and nothing is planned across them.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone

import numpy as np

from wrapcalc import units
from wrapcalc.case.csv_table import Row, counted, read_rows
from wrapcalc.errors import CaseFaults, Fault

MAX_ROWS = 20_000
HOUR = 3600
_FORM = "a heading such as time,air °C,humidity %,wind m/s and a row for each hour"
_START = 'write "time,air °C,humidity %,wind m/s" into the first row and an hour into each further row'
_TIME = "a date and time of day with its offset from UTC, such as 2026-10-06T07:00+01:00"
_NUMBER = re.compile(r"\s*[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?\s*", re.ASCII)
#: Mean air of a day (°C) that occurs nowhere, and the highest dew point that was ever read in the open.
_HOTTEST_DAY, _COLDEST_DAY, _HIGHEST_DEW_POINT = 45.0, -60.0, 36.0


@dataclass(frozen=True)
class _Column:
    """What a column may hold: kind of its unit, the units a heading may name, bounds in the unit we calculate in."""

    kind: str
    units: tuple[str, ...]
    low: float
    high: float


_TEMPERATURES = tuple(units.KINDS["temperature"].units)
COLUMNS = {
    "air": _Column("temperature", _TEMPERATURES, -70, 60),
    "humidity": _Column("percentage", ("%",), 0.01, 1),
    "wind": _Column("speed", tuple(units.KINDS["speed"].units), 0, 90),
    "steel": _Column("temperature", _TEMPERATURES, -60, 150),
    "rain": _Column("length", ("mm", "in"), 0, 300),
}
_NEEDED = ("air", "humidity")


@dataclass(frozen=True, slots=True, eq=False)
class Forecast:
    """Hours that rise, as read-only arrays of one length.

    utc: seconds since 1970-01-01 in UTC; offset: of local time from UTC, in s; air, steel: °C; humidity: share of 1;
    wind: m/s; rain: mm in the hour; None for what the file does not hold. notes: what a reader should know, in words.
    """

    utc: np.ndarray
    offset: np.ndarray
    air: np.ndarray
    humidity: np.ndarray
    wind: np.ndarray | None = None
    steel: np.ndarray | None = None
    rain: np.ndarray | None = None
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for field in ("utc", "offset", *COLUMNS):
            given = getattr(self, field)
            if given is not None:
                new = np.array(given, dtype=np.int64 if field in ("utc", "offset") else float)
                new.flags.writeable = False
                object.__setattr__(self, field, new)

    def __len__(self) -> int:
        return len(self.utc)

    @property
    def whole(self) -> np.ndarray:
        """For each row whether the next one follows an hour later; False for the last."""
        return np.append(np.diff(self.utc) == HOUR, False)

    def offset_at(self, utc: float) -> int:
        """Offset of local time (s) that the forecast uses at a time; of its nearest row outside it."""
        at = int(np.searchsorted(self.utc, utc, side="right")) - 1
        return int(self.offset[max(at, 0)])

    def local(self, utc: float) -> datetime:
        """A time (s, UTC) as local time of the forecast."""
        return datetime.fromtimestamp(utc, timezone(timedelta(seconds=self.offset_at(utc))))


def moment_words(moment: datetime) -> str:
    """A time as it stands in a sentence: 2026-10-06 07:00 +01:00."""
    return f"{moment:%Y-%m-%d %H:%M} {moment.isoformat()[-6:]}"


def read_forecast(raw: bytes, name: str) -> Forecast:
    """A forecast from the bytes of its CSV file. Raises CaseFaults with every bad cell (20, then how many more)."""
    rows = read_rows(raw, name, _FORM, _START)
    if not 3 <= len(rows) <= MAX_ROWS + 1:
        raise CaseFaults([Fault(name, "the file", f"{len(rows) - 1} hours", f"a heading and 2 to {MAX_ROWS} hours",
                                "keep the days around the work" if len(rows) > 3 else _START)])
    places = _headings(rows[0], name)
    width, body = len(rows[0][1]), rows[1:]
    faults = [Fault(name, f"row {line}", f"{len(cells)} cells", f"{width} cells, one under each heading",
                    "add or remove cells; numbers take a decimal point", line) for line, cells in body
              if len(cells) != width]
    if faults:
        raise CaseFaults(counted(faults, name))
    across = list(zip(*(cells for _, cells in body), strict=True))
    lines = [line for line, _ in body]
    utc, offset = _times(across[places["time"][0]], lines, name, places["time"][0] + 1, faults)
    values = {what: _values(what, unit, across[at], lines, name, at + 1, faults)
              for what, (at, unit) in places.items() if what != "time"}
    if not faults:
        faults += _plausible(values, places, name)
    if faults:
        raise CaseFaults(counted(sorted(faults, key=lambda f: f.line or 0), name))
    notes = (*_gaps(utc, offset), *_hot_and_humid(values))
    return Forecast(utc, offset, **values, notes=notes)  # type: ignore[arg-type]


def _headings(row: Row, name: str) -> dict[str, tuple[int, str]]:
    """Column of each quantity, counted from 0, and its unit as the kind spells it."""
    line, cells = row
    found: dict[str, tuple[int, str]] = {}
    faults = []
    for at, cell in enumerate(cells):
        what, _, unit = " ".join(cell.split()).partition(" ")
        known = unit in COLUMNS[what].units if what in COLUMNS else (what, unit) == ("time", "")
        if known and what not in found:
            found[what] = (at, unit)
            continue
        if known:
            problem = (units.shown(cell) + " again", "each quantity once", "remove one of the two columns")
        elif what in COLUMNS:
            likely = "°C" if "°C" in COLUMNS[what].units else COLUMNS[what].units[0]
            problem = (units.shown(cell), f"{what}, then one of the units {', '.join(COLUMNS[what].units)}",
                       f"write '{what} {likely}' into this cell, or whatever the unit is")
        else:
            near = units.close(what, ("time", *COLUMNS))
            problem = (units.shown(cell) if what else "no heading", f"time, {', '.join(COLUMNS)}, each with its unit",
                       f"did you mean '{near}'?" if near else "name the column, or remove it")
        faults.append(Fault(name, f"row {line}, column {at + 1}", *problem, line))
    missing = [w for w in ("time", *_NEEDED) if w not in found]
    if missing and not faults:
        faults.append(Fault(name, f"row {line}", f"no column {' and '.join(missing)}", _FORM,
                            "add what is missing, with its heading", line))
    if faults:
        raise CaseFaults(faults)
    return found


def _times(cells: Sequence[str], lines: list[int], name: str, column: int, faults: list[Fault]
           ) -> tuple[list[int], list[int]]:
    utc: list[int] = []
    offset: list[int] = []
    kept: list[int] = []

    def fault(line: int, found: str, allowed: str, mend: str) -> None:
        faults.append(Fault(name, f"row {line}, column {column}", found, allowed, mend, line))

    for cell, line in zip(cells, lines, strict=True):
        try:
            moment = datetime.fromisoformat(cell.strip())
        except ValueError:
            fault(line, units.shown(cell) if cell.strip() else "an empty cell", _TIME,
                  "write the time as year-month-day, T, hours:minutes and the offset")
            continue
        shift = moment.utcoffset()
        if shift is None:
            fault(line, f"{units.shown(cell)}, which has no time zone", _TIME,
                  "add the offset from UTC that holds at this hour, such as +01:00; Z stands for UTC")
        elif not 1970 <= moment.year <= 2100 or abs(shift) > timedelta(hours=14):
            fault(line, units.shown(cell), "a year from 1970 to 2100 and an offset of at most 14 hours", "correct it")
        else:
            utc.append(int(moment.timestamp()))
            offset.append(shift.days * 86400 + shift.seconds)
            kept.append(line)
    steps = np.diff(utc)
    for k in np.flatnonzero((steps <= 0) | (steps % HOUR != 0)).tolist():
        step, before, line = int(steps[k]), kept[k], kept[k + 1]
        if step == 0:
            fault(line, f"the hour of line {before} again", "each hour once", "remove one of the two; where the clocks "
                  "are put back, the offset changes")
        elif step < 0:
            fault(line, f"a time before that of line {before}", "times that grow, compared in UTC", "sort the rows, "
                  "and check the offset where the clocks change")
        else:
            fault(line, f"{step / 60:g} min after line {before}", "hourly times, on the same minute of each hour",
                  "keep one row for each hour: the most humid, with the strongest wind")
    if not faults and not (steps == HOUR).any():
        fault(kept[1], f"{(utc[1] - utc[0]) / HOUR:g} hours after line {kept[0]}", "an hourly forecast: a row for each "
              "hour", "ask for the hourly one; values between are not made up")
    return utc, offset


def _values(what: str, unit: str, cells: Sequence[str], lines: list[int], name: str, column: int, faults: list[Fault]
            ) -> np.ndarray:
    """A column in the unit we calculate in, to 10 decimals: what the conversion leaves beyond is noise."""
    allowed = COLUMNS[what]
    if not all(map(_NUMBER.fullmatch, cells)):
        mend = "correct this cell; an hour without it is left out as a whole row"
        faults += [Fault(name, f"row {line}, column {column}", units.shown(cell) if cell.strip() else "an empty cell",
                         "a number with a decimal point", mend, line)
                   for cell, line in zip(cells, lines, strict=True) if not _NUMBER.fullmatch(cell)]
        return np.empty(0)
    kind = units.KINDS[allowed.kind]
    with np.errstate(over="ignore", invalid="ignore"):  # what is too great to be converted is told as out of bounds
        values = np.round(units.convert(np.array(list(map(float, cells))), kind.units[unit], kind.base), 10)
    bad = np.flatnonzero(~((values >= allowed.low) & (values <= allowed.high))).tolist()
    low, high = (units.show(float(units.convert(bound, kind.base, kind.units[unit])), kind.units[unit])
                 for bound in (float(allowed.low), float(allowed.high)))
    faults += [Fault(name, f"row {lines[i]}, column {column}", f"{units.shown(cells[i])} as {what} in {unit}",
                     f"{low} to {high}", _suspect(what, unit, float(values[i])), lines[i]) for i in bad]
    return values


def _suspect(what: str, unit: str, value: float) -> str:
    kind = units.KINDS[COLUMNS[what].kind]
    if kind.name == "temperature" and kind.units[unit] == "degC" and value > COLUMNS[what].high:
        return f"this looks like °F: write '{what} °F' into the heading if the column is in °F"
    return "correct the cell, or the unit in the heading"


def _plausible(values: dict[str, np.ndarray], places: dict[str, tuple[int, str]], name: str) -> list[Fault]:
    """Columns that are possible cell by cell, but not as a whole."""
    faults = []
    air, (column, unit) = values["air"], places["air"]
    days = [float(part.mean()) for part in np.split(air, range(24, len(air), 24)) if len(part) == 24 or len(air) < 24]
    if max(days) > _HOTTEST_DAY or min(days) < _COLDEST_DAY:
        hot = max(days) > _HOTTEST_DAY
        mend = "correct the unit in the heading"
        if hot and units.KINDS["temperature"].units[unit] == "degC":
            mend = "this looks like °F: write 'air °F' into the heading if the column is in °F"
        worst = units.show(max(days) if hot else min(days), "degC")
        faults.append(Fault(name, f"column {column + 1}", f"air in {unit} with a mean of {worst} over a day",
                            f"a mean from {units.show(_COLDEST_DAY, 'degC')} to {units.show(_HOTTEST_DAY, 'degC')}",
                            mend))
    if values["humidity"].max() <= 0.01:
        faults.append(Fault(name, f"column {places['humidity'][0] + 1}", "no humidity above 1 %", "humidity in per "
                            "cent", "write shares of 1 as per cent: 0.78 is 78"))
    return faults


def _gaps(utc: list[int], offset: list[int]) -> list[str]:
    """What is missing, in words."""
    out = []
    steps = np.diff(utc)
    for k in np.flatnonzero(steps > HOUR).tolist():
        after = moment_words(datetime.fromtimestamp(utc[k], timezone(timedelta(seconds=offset[k]))))
        count = int(steps[k]) // HOUR - 1
        out.append(f"{count} hour{'s are' if count > 1 else ' is'} missing after {after}")
    if len(out) > 3:
        out[3:] = [f"{len(out) - 3} more gaps follow"]
    return [f"The forecast has gaps: {'; '.join(out)}. Nothing is planned across a gap."] if out else []


def _hot_and_humid(values: dict[str, np.ndarray]) -> list[str]:
    """A warning where air and humidity together occur nowhere: vapour pressures compared, no dew point worked out."""
    warm = values["air"] > _HIGHEST_DEW_POINT
    # What saturates at the highest dew point, over what saturates in the air: rough, some per cent above it.
    most = np.exp(-0.052 * (values["air"] - _HIGHEST_DEW_POINT))
    odd = np.flatnonzero(warm & (values["humidity"] > most))
    if not len(odd):
        return []
    at = int(odd[0])
    return [f"The forecast has {units.show(float(values['air'][at]), 'degC')} at "
            f"{units.show(float(values['humidity'][at]) * 100, 'percent')} humidity ({len(odd)} such "
            f"hour{'s' if len(odd) > 1 else ''}), which occurs nowhere: is a column of °F headed as °C?"]


def utc_of(moment: str) -> tuple[float, int]:
    """(seconds in UTC, offset in s) of a date and time of the case, ISO 8601 with its offset."""
    at = datetime.fromisoformat(moment)
    shift = at.utcoffset() or timedelta(0)
    return at.astimezone(UTC).timestamp(), round(shift.total_seconds())

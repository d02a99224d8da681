"""Speed of a year of hourly forecast, read and searched, as ratios against np.loadtxt of its numbers and against pandas
reading it with its times. Not a test: machines are noisy.

    python tests/benchmarks/weather.py
"""

from __future__ import annotations

import io
import math
import statistics
import time
from collections.abc import Callable
from datetime import datetime, timedelta, timezone

import numpy as np
import pandas as pd

from wrapcalc.case.forecast import read_forecast
from wrapcalc.searches.weather_windows import search

HOURS = 365 * 24


def year() -> bytes:
    """A year of hours at +01:00, invented."""
    at, rows = datetime(2026, 1, 1, tzinfo=timezone(timedelta(hours=1))), ["time,air °C,humidity %,wind m/s"]
    for k in range(HOURS):
        swing = math.sin((k % 24 - 9) / 24 * 2 * math.pi)
        rows.append(f"{(at + timedelta(hours=k)).isoformat(timespec='minutes')},"
                    f"{18 - 9 * math.cos(k / HOURS * 2 * math.pi) + 5 * swing:.1f},{78 - 20 * swing:.0f},"
                    f"{4 + 3 * swing:.1f}")
    return ("\n".join(rows) + "\n").encode()


def seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def main() -> None:
    raw = year()
    text = raw.decode()
    forecast = read_forecast(raw, "year.csv")
    fails = [forecast.humidity > 0.85, forecast.wind > 6.9, forecast.air < 4]
    rate = np.where(forecast.air < 8, 0.0, 1 / np.interp(forecast.air, [8, 20, 40], [60, 30, 10]))
    works: dict[str, Callable[[], object]] = {
        "np.loadtxt": lambda: np.loadtxt(io.StringIO(text), delimiter=",", skiprows=1, usecols=(1, 2, 3)),
        "pandas": lambda: pd.read_csv(io.StringIO(text), parse_dates=["time"]),
        "read": lambda: read_forecast(raw, "year.csv"),
        "search": lambda: search(forecast.utc, fails, rate, 4.5),
    }
    times: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(15):
        for name, work in works.items():
            times[name].append(seconds(work))
    t = {name: statistics.median(v) for name, v in times.items()}
    print(f"a year of hours: {len(raw) / 1e6:.2f} MB, {len(search(forecast.utc, fails, rate, 4.5).windows)} windows; "
          f"np.loadtxt {t['np.loadtxt'] * 1e3:.1f} ms, pandas {t['pandas'] * 1e3:.1f} ms")
    for name in ("read", "search"):
        print(f"  {name} over np.loadtxt: {t[name] / t['np.loadtxt']:.2f}, over pandas: {t[name] / t['pandas']:.2f}   "
              f"{t[name] * 1e3:.1f} ms")
    both = t["read"] + t["search"]
    print(f"  both over np.loadtxt: {both / t['np.loadtxt']:.2f} (target: at most 200 ms)   {both * 1e3:.1f} ms",
          flush=True)


if __name__ == "__main__":
    main()

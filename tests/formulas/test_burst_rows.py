"""Trends of burst tests against predictions. Every row is from memory, so the bands are wide and nothing is justified
by them: they would show a form that has gone wrong, or a row that has been mistyped."""

from __future__ import annotations

import csv
import subprocess
import sys
from dataclasses import replace

import pytest

from reference_checks import burst_accuracy as b

ROWS = b.rows()
FOUND = b.ratios(ROWS)
LONG_DEEP_FLAT = ("TS1", "TS2", "TS3", "TS4")


def ratio(specimen: str, method: str) -> float:
    return next(x.ratio for x in FOUND if (x.specimen, x.method) == (specimen, method))


def test_every_row_is_marked_with_what_it_rests_on():
    assert len(ROWS) == len({r.specimen for r in ROWS}) == 11
    for r in ROWS:
        assert r.mark == "from memory"
        author, year = r.source.rsplit(" ", 1)
        assert author and 1990 < int(year) < 2026
        assert r.d / r.t <= 0.8, "inside every method"
        assert r.S_y >= 6.895 * int(r.grade[1:]), "measured, so not below the specified yield strength"


@pytest.mark.parametrize(("method", "low", "high", "most_spread"), [
    ("original 2012", 1.1, 1.5, 0.25), ("0.85 dL", 0.95, 1.2, 0.15), ("exact rectangle", 1.1, 1.4, 0.10),
    ("DNV rectangle", 0.95, 1.15, 0.08), ("Leis and Stephens", 1.0, 1.2, 0.10)])
def test_mean_and_spread_by_method(method, low, high, most_spread):
    """From memory, trend: a broad band. Forms on the tensile strength scatter least."""
    mean, cov = b.spread(FOUND, method)
    assert low < mean < high and 0.02 < cov < most_spread


def test_forms_on_the_tensile_strength_scatter_less_than_the_085dl_form():
    """From memory, trend."""
    scatter = {m: b.spread(FOUND, m)[1] for m in b.METHODS}
    assert max(scatter["DNV rectangle"], scatter["Leis and Stephens"]) < scatter["0.85 dL"] < scatter["original 2012"]


@pytest.mark.parametrize("specimen", LONG_DEEP_FLAT)
def test_long_deep_flat_loss_is_overpredicted_by_085dl_and_not_by_the_exact_rectangle(specimen):
    """From memory, trend: 0.85 d L is less than the area that is gone; the original form takes more beyond z = 20."""
    row = next(r for r in ROWS if r.specimen == specimen)
    assert row.z > 20 and row.d / row.t > 0.65
    assert 0.85 < ratio(specimen, "0.85 dL") < 1
    assert ratio(specimen, "exact rectangle") > 1.15
    assert ratio(specimen, "original 2012") > 1.4
    assert min(ratio(specimen, m) for m in ("DNV rectangle", "Leis and Stephens")) > 1.05


def test_no_other_row_is_overpredicted_by_more_than_two_percent():
    """From memory, trend."""
    assert min(x.ratio for x in FOUND if x.specimen not in LONG_DEEP_FLAT) > 0.98


def test_longer_loss_of_one_pipe_burst_lower():
    """From memory, trend: DD, DB and DE differ only in length, DA and DB only in depth."""
    burst = {r.specimen: r.burst for r in ROWS}
    assert burst["DD"] > burst["DB"] > burst["DE"] and burst["DA"] > burst["DB"]


@pytest.mark.parametrize("row", ROWS, ids=lambda r: r.specimen)
def test_the_exact_rectangle_is_governed_by_its_whole_length(row):
    """Independent: shorter parts of a flat-bottomed loss hold more, so the closed form is the effective-area search."""
    whole = b.exact_rectangle(row)
    assert all(b.exact_rectangle(replace(row, L=row.L * share)) > whole for share in (0.1, 0.5, 0.9, 0.99))


@pytest.mark.parametrize("row", ROWS, ids=lambda r: r.specimen)
def test_no_method_is_above_the_sound_pipe_or_below_the_bare_ligament(row):
    """Independent: 2 t S_u/(D - t) bounds from above, a pipe of the remaining wall at yield from below."""
    for name, method in b.METHODS.items():
        assert 2 * (row.t - row.d) * row.S_y / row.D < method(row) < 2 * row.t * row.S_u / (row.D - row.t), name


#: Regression: test over predicted as our own notes had it.
EARLIER = {"DA": (1.122, 1.093, 1.119, 0.995, 1.023), "DE": (1.101, 1.144, 1.263, 1.073, 1.063),
           "TS1": (1.724, 0.978, 1.309, 1.126, 1.142), "TS4": (1.494, 0.911, 1.218, 1.095, 1.208),
           "IDTS2": (1.076, 1.097, 1.170, 1.032, 1.101), "Test1": (1.197, 1.233, 1.381, 1.105, 1.121)}


@pytest.mark.parametrize("specimen", EARLIER)
def test_ratios_by_our_earlier_numbers(specimen):
    """Regression. To 0.0012: the earlier ones took 10 000 psi for 69 MPa."""
    assert [ratio(specimen, m) for m in b.METHODS] == pytest.approx(EARLIER[specimen], abs=0.0012)


def test_the_printed_table_says_what_it_is_worth():
    out = subprocess.run([sys.executable, "-X", "utf8", str(b.ROOT / "reference_checks" / "burst_accuracy.py")],
                         capture_output=True, text=True, encoding="utf-8", check=True).stdout
    assert out.rstrip("\n") == b.table(ROWS)
    lines = out.splitlines()
    assert "from memory, not verified" in lines[-1] and "11 of 11 rows are marked 'from memory'" in out
    for r in ROWS:
        line = next(x for x in lines if x.startswith(r.specimen + " "))
        assert [float(x) for x in line.split()[-5:]] == [round(ratio(r.specimen, m), 3) for m in b.METHODS]
        assert r.source in out
    mean = next(x for x in lines if x.startswith("mean"))
    assert [float(x) for x in mean.split()[1:]] == [round(b.spread(FOUND, m)[0], 3) for m in b.METHODS]


@pytest.mark.parametrize(("column", "value"), [
    ("mark", "verified"), ("depth_mm", "17.5"), ("yield_mpa", "900"), ("length_mm", "0"), ("burst_mpa", "nan")])
def test_a_row_that_cannot_be_is_refused(tmp_path, column, value):
    with open(b.FILE, encoding="utf-8", newline="") as file:
        found = list(csv.DictReader(file))
    found[0][column] = value
    path = tmp_path / "rows.csv"
    with open(path, "w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, found[0])
        writer.writeheader()
        writer.writerows(found)
    with pytest.raises(ValueError, match=r"rows\.csv: Row"):
        b.rows(path)


def test_the_picture_says_what_it_rests_on_and_is_the_same_again():
    first = b.figure()
    assert first == b.figure() and first.lstrip().startswith("<?xml") and "<svg" in first
    assert b.WARNING.startswith("from memory")

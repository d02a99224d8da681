"""Exports: numbers stay numbers, nothing runs in a spreadsheet, and nobody learns a position without asking for it."""

import csv
import datetime
import io
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wrapcalc.errors import PackageError
from wrapcalc.register import current, due, geojson, update, write_csv, write_geojson
from wrapcalc.register.export import DUE, REPAIRS, RESTRICTIONS, WITHHELD, _table

ON = datetime.date(2026, 7, 1)


def position(latitude=52.1234, longitude=1.2345, datum="WGS 84"):
    return {"location.latitude": (str(latitude), latitude, ""), "location.longitude": (str(longitude), longitude, ""),
            "location.datum": datum}


def written(folder, out):
    now = current(folder.root)
    return {p.name: list(csv.reader(io.StringIO(p.read_bytes().decode(), newline=""), strict=True))
            for p in write_csv(out, now, due(now, ON))}


def test_the_three_tables(folder, tmp_path):
    folder.package(revision=1)
    folder.package(revision=2, interim=6.5)
    tables = written(folder, tmp_path / "csv")
    assert [t[0] for t in tables.values()] == [list(REPAIRS), list(RESTRICTIONS), list(DUE)]
    row = dict(zip(REPAIRS, tables["repairs.csv"][1], strict=True))
    assert (row["case"], row["revision"], row["state"], row["interim limit, MPa gauge"], row["earlier revisions"]) == (
        "HB-07", "2", "designed", "6.5", "r1")
    assert [r[1:6] for r in tables["restrictions.csv"][1:]] == [
        ["case HB-07 r1 interim limit", "HB-07", "1", "6.48", "open"],
        ["case HB-07 r2 interim limit", "HB-07", "2", "6.5", "open"]]
    assert tables["due.csv"][1][:4] == ["2026-05-01", "HB-07", "2", "approval of the design"]


def test_rows_end_as_rfc_4180_asks(folder, tmp_path):
    folder.package()
    now = current(folder.root)
    for path in write_csv(tmp_path, now, due(now, ON)):
        raw = path.read_bytes()
        assert raw.endswith(b"\r\n") and raw.count(b"\n") == raw.count(b"\r\n")


@pytest.mark.parametrize("text", ["=HYPERLINK(1)", "+1", "-1", "@SUM(A1)"])
def test_a_text_that_a_spreadsheet_could_run_is_defused(folder, tmp_path, text):
    folder.package(section=text, restrictions=[(text, 5.0)])
    tables = written(folder, tmp_path)
    assert tables["repairs.csv"][1][REPAIRS.index("section")] == "'" + text
    assert tables["restrictions.csv"][1][0] == "'" + text


@given(st.lists(st.one_of(st.text(), st.floats(allow_nan=False, allow_infinity=False), st.none()), min_size=1))
def test_every_cell_comes_back_and_none_runs(cells):
    (_, row) = csv.reader(io.StringIO(_table(["head"] * len(cells), [cells]), newline=""), strict=True)
    for cell, back in zip(cells, row, strict=True):
        if isinstance(cell, float):
            assert float(back) == pytest.approx(cell, rel=1e-11)
        else:
            assert back.removeprefix("'") == (cell or "").removeprefix("'")
            assert not back.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))


def test_a_second_export_replaces_the_first_but_no_other_file(folder, tmp_path):
    folder.package()
    written(folder, tmp_path)
    folder.package(case="HB-08")
    assert len(written(folder, tmp_path)["repairs.csv"]) == 3
    (tmp_path / "due.csv").write_text("my own list\n", encoding="utf-8")
    (tmp_path / "repairs.csv").unlink()
    with pytest.raises(PackageError, match=r"due\.csv: there is already another file of this name; move it away"):
        written(folder, tmp_path)
    assert not (tmp_path / "repairs.csv").exists()
    with pytest.raises(PackageError, match=r"cannot be written|cannot be read"):
        write_csv(tmp_path / "due.csv", current(folder.root), [])
    assert sorted(p.name for p in tmp_path.iterdir() if p.is_file()) == ["due.csv", "restrictions.csv"]


def test_a_foreign_file_is_not_replaced_by_geojson(folder, tmp_path):
    folder.package()
    file, now = tmp_path / "map.geojson", current(folder.root)
    write_geojson(file, folder.root, now)
    assert json.loads(write_geojson(file, folder.root, now, coordinates=True).read_bytes())["features"]
    file.write_text('{"type": "FeatureCollection", "features": []}', encoding="utf-8")
    with pytest.raises(PackageError, match="already another file"):
        write_geojson(file, folder.root, now)


def check_rfc_7946(data):
    """The rules of RFC 7946 that a collection of points can break (independent: written from the RFC)."""
    assert data["type"] == "FeatureCollection" and isinstance(data["features"], list)
    assert not {"coordinates", "geometry", "geometries", "properties", "crs"} & data.keys()
    for f in data["features"]:
        assert f["type"] == "Feature" and isinstance(f["properties"], dict) and isinstance(f["id"], str)
        assert "geometry" in f and not {"coordinates", "features", "geometries"} & f.keys()
        if f["geometry"] is not None:
            assert f["geometry"]["type"] == "Point"
            longitude, latitude = f["geometry"]["coordinates"]
            assert -180 <= longitude <= 180 and -90 <= latitude <= 90
    json.dumps(data, allow_nan=False)


def test_coordinates_are_withheld_by_default(folder, tmp_path):
    folder.package(inputs=position())
    file = write_geojson(tmp_path / "map.geojson", folder.root, current(folder.root))
    data = json.loads(file.read_bytes())
    check_rfc_7946(data)
    assert data["wrapcalc_register"]["coordinates"] == WITHHELD
    assert data["features"][0]["geometry"] is None
    assert b"52.1" not in file.read_bytes() and b"1.23" not in file.read_bytes()


def test_no_position_is_kept_in_the_register_or_the_tables(folder, tmp_path):
    folder.package(inputs=position())
    now = update(folder.root).now
    paths = [folder.root / "register" / "register.sqlite", *write_csv(tmp_path / "csv", now, due(now, ON))]
    assert not any(b"52.12" in p.read_bytes() or b"1.234" in p.read_bytes() for p in paths)


@pytest.mark.parametrize("datum", ["WGS 84", "wgs84", "WGS-84"])
def test_longitude_comes_first(folder, datum):
    folder.package(inputs=position(52.1234, 1.2345, datum))
    data = geojson(folder.root, current(folder.root), coordinates=True)
    check_rfc_7946(data)
    assert data["features"][0]["geometry"] == {"type": "Point", "coordinates": [1.2345, 52.1234]}
    assert data["wrapcalc_register"]["coordinates"] == "given, WGS 84"


@pytest.mark.parametrize(("inputs", "reason"), [
    ((), "the record states no latitude and longitude"),
    ({"location.latitude": ("52", 52.0, ""), "location.datum": "WGS 84"},
     "the record states no latitude and longitude"),
    (position(datum="ED 50"), "the datum is ED 50; only WGS 84 is written"),
    (position(datum=""), "the record states no datum; only WGS 84 is written"),
    (position(latitude=92.0), "latitude and longitude are outside their range"),
    (position(longitude=-181.0), "latitude and longitude are outside their range"),
])
def test_a_position_that_cannot_be_given_says_why(folder, inputs, reason):
    folder.package(inputs=inputs)
    data = geojson(folder.root, current(folder.root), coordinates=True)
    check_rfc_7946(data)
    (feature,) = data["features"]
    assert feature["geometry"] is None and feature["properties"]["no_geometry_because"] == reason


def test_a_damaged_package_gives_no_position(folder):
    package = folder.package(inputs=position())
    update(folder.root)
    (package / "run.json").write_text("{}", encoding="utf-8")
    (feature,) = geojson(folder.root, current(folder.root), coordinates=True)["features"]
    assert feature["geometry"] is None and feature["properties"]["no_geometry_because"] == "the package is damaged"
    assert feature["properties"]["open_restriction_of_section_MPa_gauge"] == 6.48

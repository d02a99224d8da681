"""The example listing: deterministic, whole, dirty where it says so, and sound beside it."""

import csv
import tomllib

import numpy as np
import pytest

from wrapcalc.campaign.example.line import KINDS, Line
from wrapcalc.campaign.example.listing import DIRT, FAULTY, write_listing
from wrapcalc.case import load_bundle
from wrapcalc.errors import CaseFaults, PackageError

ROWS = 3000


@pytest.fixture(scope="module")
def first(tmp_path_factory):
    return write_listing(tmp_path_factory.mktemp("listing") / "first", ROWS, seed=7)


@pytest.fixture(scope="module")
def second(tmp_path_factory):
    return write_listing(tmp_path_factory.mktemp("listing") / "second", ROWS, seed=7, run=2)


def read(written):
    with (written.folder / "listing.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def clean(written):
    dirty = {r for rows in written.dirt.values() for r in rows}
    return [r for i, r in enumerate(read(written), 2) if i not in dirty]


def test_as_many_rows_as_asked_for(first, second):
    assert len(read(first)) == len(read(second)) == ROWS
    assert sum(first.kinds.values()) == sum(second.kinds.values()) == ROWS
    counts = dict.fromkeys(dict(KINDS), 0)
    for row in clean(first):
        counts[row["Feature type"]] += 1
    assert sum(counts.values()) == ROWS - sum(map(len, first.dirt.values()))


@pytest.mark.parametrize("rows", [40, 57, 999])
def test_small_listings_have_their_rows_too(tmp_path, rows):
    assert len(read(write_listing(tmp_path / "x", rows, seed=1, dirt=0))) == rows


def test_same_seed_gives_the_same_bytes_and_another_seed_others(first, tmp_path):
    again, other = (write_listing(tmp_path / str(s), ROWS, seed=s) for s in (7, 8))
    for name in ("listing.csv", "mapping.toml", "base.toml", "field.csv"):
        assert (first.folder / name).read_bytes() == (again.folder / name).read_bytes()
    assert again.dirt == first.dirt and again.repaired == first.repaired
    assert (first.folder / "listing.csv").read_bytes() != (other.folder / "listing.csv").read_bytes()


def test_every_kind_of_dirt_is_there_where_the_summary_says(first):
    rows = dict(enumerate(read(first), 2))
    shows = {"blank distance": lambda r: r["Log distance"] == "", "blank depth": lambda r: r["Depth"] == "",
             "another unit": lambda r: r["Depth"].endswith("mm"), "24:30": lambda r: r["O'clock"] == "24:30",
             "text for a number": lambda r: r["Length"] == "see report",
             "comment like a formula": lambda r: r["Comment"].startswith("="),
             "headings again": lambda r: r["Feature ID"] == "Feature ID",
             "negative distance": lambda r: r["Log distance"].startswith("-"),
             "decimal comma": lambda r: "," in r["Log distance"], "another line": lambda r: r["Line"] == "Tarn Fell"}
    assert set(shows) | {"same id again"} == set(DIRT)
    for kind, seen in shows.items():
        loss = {i for i, r in rows.items() if r["Feature type"].startswith("Metal loss") or kind == "headings again"}
        assert {i for i in loss if seen(rows[i])} == set(first.dirt[kind]) and first.dirt[kind], kind
    ids = [r["Feature ID"] for r in rows.values()]
    twice = {i for i in rows if rows[i]["Feature ID"] in ids[:i - 2]} - set(first.dirt["headings again"])
    assert twice == set(first.dirt["same id again"])
    assert len(first.faulty) == sum(len(v) for k, v in first.dirt.items() if DIRT[k] == FAULTY)
    assert sum(map(len, first.dirt.values())) == ROWS // 100


def test_without_dirt_every_row_is_sound(tmp_path):
    w = write_listing(tmp_path / "x", 500, seed=3, dirt=0)
    rows = read(w)
    assert not any(w.dirt.values()) and len({r["Feature ID"] for r in rows}) == 500
    log = [float(r["Log distance"]) for r in rows]
    assert log == sorted(log) and log[0] >= 0


def test_distances_from_the_weld_stand_in_the_joint(first):
    for r in clean(first):
        end = float(r["From U/S weld"]) + (float(r["Length"]) / 1000 if r["Feature type"].startswith("Metal") else 0)
        assert 0 <= float(r["From U/S weld"]) and end <= float(r["Joint length"]) + 1e-3


def test_the_reference_points_bring_both_runs_to_the_same_surveyed_places(first, second):
    line = Line(ROWS, 7)
    for written in (first, second):
        mapping = tomllib.loads((written.folder / "mapping.toml").read_text(encoding="utf-8"))
        log, survey = ([float(p[k].split()[0]) for p in mapping["reference_point"]] for k in ("log", "survey"))
        welds = [r for r in clean(written) if r["Feature type"] == "GW"]
        got = np.interp([float(r["Log distance"]) for r in welds], log, survey)
        want = np.array([line.start[int(r["Joint"]) - 1] / 1000 for r in welds])
        inside = (want > survey[0]) & (want < survey[-1])
        # the wheel slips by up to 0.4 m between the valves; what is 14 m off was not rescaled
        assert np.abs(got - want)[inside].max() < 0.5
    shift = float(clean(second)[5]["Log distance"]) - float(clean(first)[5]["Log distance"])
    assert shift > 5


def test_the_second_run_sees_the_wraps_and_deeper_loss(first, second):
    assert second.kinds["repair"] == len(first.repaired) == 2 and first.kinds["repair"] == 0
    place = {(r["Joint"], r["From U/S weld"]): r for r in clean(first) if r["Feature type"].startswith("Metal")}
    pairs = [(int(place[k]["Depth"]), int(r["Depth"])) for r in clean(second)
             if (k := (r["Joint"], r["From U/S weld"])) in place and r["Depth"]]
    assert len(pairs) > 2000
    before, after = np.mean(pairs, axis=0)
    assert after > before + 1


def test_a_repaired_place_is_a_row_of_the_first_run(first):
    rows = dict(enumerate(read(first), 2))
    for r in first.repaired:
        row = rows[r.row]
        assert (row["Feature ID"], row["Joint"]) == (r.feature_id, r.joint)
        assert float(row["From U/S weld"]) * 1000 == pytest.approx(r.from_upstream_weld, abs=1)


def test_the_base_case_loads_once_sizes_are_added(first, tmp_path):
    base = (first.folder / "base.toml").read_text(encoding="utf-8")
    # a rule of interaction is refused by a case of one box; the screening takes it for the listing
    base = "\n".join(t for t in base.splitlines() if not t.startswith("interaction"))
    sizes = ('[defect]\nkind = "external metal loss"\ndepth = "3 mm"\nlength = "90 mm"\nwidth = "50 mm"\n'
             'clock = "4:30"\n')
    path = tmp_path / "case.toml"
    path.write_text(base.replace("[defect]\n", sizes), encoding="utf-8")
    case = load_bundle(path).case
    assert case.unanswered({"assess", "loss", "gas"}) == ["pipe.sound_wall"]
    assert set(case.unanswered({"design"})) == {"defect.clear_upstream", "defect.clear_downstream"}


def test_field_measurements_are_those_of_listed_features(first):
    from wrapcalc.campaign.measured.measured import read_measured

    measured = read_measured(first.folder / "field.csv")
    ids = {r["Feature ID"]: r for r in clean(first)}
    assert len(measured.rows) == first.measured and set(measured.rows) <= set(ids)
    for name, row in measured.rows.items():
        assert row.sizes["from girth weld"] == pytest.approx(float(ids[name]["From U/S weld"]) * 1000, abs=120)


@pytest.mark.parametrize(("change", "told"), [
    ({"rows": 5}, "rows: found 5; allowed: a whole number from 40"), ({"seed": -1}, "seed: found -1"),
    ({"dirt": 0.9}, "dirt: found 0.9; allowed: a share from 0 to 0.4"), ({"run": 3}, "run: found 3; allowed: 1 or 2"),
    ({"dirt": float("nan")}, "dirt: found nan")])
def test_numbers_out_of_range_are_told(tmp_path, change, told):
    with pytest.raises(CaseFaults) as e:
        write_listing(tmp_path / "x", **{"rows": 100, "seed": 1} | change)
    assert told in str(e.value) and not (tmp_path / "x").exists()


def test_a_listing_that_is_there_is_kept(first):
    before = (first.folder / "listing.csv").read_bytes()
    with pytest.raises(PackageError, match="a listing is there already"):
        write_listing(first.folder, ROWS, seed=9)
    assert (first.folder / "listing.csv").read_bytes() == before
    with pytest.raises(PackageError, match="cannot be written"):
        write_listing(first.folder / "listing.csv" / "x", 100, seed=9)

"""Known repairs: an invented second run with another odometer must find them, and nothing in doubt may be taken."""

import csv
import datetime
import json
import re
import shutil
from dataclasses import replace
from importlib import resources

import numpy as np
import pytest

from tests.helpers import campaign as helper
from tests.helpers.closeout import Sound, looked
from wrapcalc import record as records
from wrapcalc.campaign.cases.selection import select
from wrapcalc.campaign.example.line import Line
from wrapcalc.campaign.example.listing import write_listing
from wrapcalc.campaign.model import load_campaign
from wrapcalc.campaign.screening.known import (
    AHEAD,
    AS_PLANNED,
    BEYOND,
    DEPTH_NOT_KNOWN,
    DEPTHS,
    NOT_KNOWN,
    OPEN,
    PAST_LIFE,
    TOO_DEEP,
    UNDER,
    Known,
    Tolerances,
    known,
    known_repairs,
    may_match,
    under_repair,
)
from wrapcalc.case import load_bundle
from wrapcalc.package import digests
from wrapcalc.package.build import make_package
from wrapcalc.package.closeout import closeout_package
from wrapcalc.register import Standing, current, update
from wrapcalc.register.evidence import Revision
from wrapcalc.stages import job

ROWS = 3000
NAN = float("nan")


def listing_rows(*places, **more):
    """Rows of (survey, from upstream weld, length, clock, depth) in joint 118 below weld 1180, at 1000 m."""
    columns = np.array(places, dtype=float).reshape(-1, 5).T
    n = columns.shape[1]
    out = dict(zip(("survey", "from_upstream_weld", "length", "clock", "depth"), columns, strict=True))
    out |= {"kind": np.full(n, "external metal loss", dtype=object), "joint": np.full(n, "118", dtype=object),
            "upstream_weld": np.full(n, "1180", dtype=object), "joint_length": np.full(n, 11_900.0)}
    for name, values in more.items():
        out[name] = np.array(values, dtype=out[name].dtype)
    return out


#: A wrap over 200 mm of damage, 150 mm of cover more on each side.
REPAIR = Known("HB-1-r1", "accepted", True, ((-150.0, 350.0),), joint="118", weld="1180", joint_length=11_866.0,
               edge=4000.0, survey=1_004_000.0, length=200.0, clock=5.0, depth=4.0, end_depth=4.0, life=20.0,
               since="2026-06-01")
INSIDE = replace(REPAIR, internal=True, grows=True, end_depth=6.0)


def look(rows, *repairs, **more):
    return under_repair(rows, repairs, **{"run_date": "2032-06-01", "place": "upstream end"} | more)


def test_a_row_under_the_full_thickness_is_under_repair_wherever_the_odometer_says_it_is():
    rows = listing_rows((1_009_000, 4020, 190, 5.2, 3.9), (1_013_980, 9000, 190, 5.2, 3.9))
    got = look(rows, REPAIR)
    assert got.status.tolist() == [UNDER, NOT_KNOWN] and got.repair.tolist() == ["HB-1-r1", ""]
    assert got.by.tolist() == [1, 0] and got.depth.tolist() == [AS_PLANNED, 0] and not got.told


@pytest.mark.parametrize(("start", "length", "status"), [
    (3850, 500, UNDER), (3849, 10, BEYOND), (3850, 501, BEYOND), (4340, 20, BEYOND), (4350, 20, NOT_KNOWN),
    (3800, 700, BEYOND), (3840, 10, NOT_KNOWN)])
def test_a_row_that_goes_beyond_the_full_thickness_is_not_under_repair(start, length, status):
    assert look(listing_rows((1_004_000, start, length, 5, 2)), REPAIR).status.tolist() == [status]


def test_without_a_word_on_the_edge_a_row_must_lie_under_the_wrap_with_either_reading():
    rows = listing_rows((1_004_000, 4200, 140, 5, 2))  # the middle at 4200, or the edge: up to 4340
    assert look(rows, REPAIR, place="not stated").status.tolist() == [UNDER]
    rows["from_upstream_weld"] = np.array([4215.0])
    assert look(rows, REPAIR, place="middle").status.tolist() == [UNDER]
    assert look(rows, REPAIR, place="not stated").status.tolist() == [BEYOND]


def test_what_no_close_out_accepted_is_open():
    got = look(listing_rows((1_004_000, 4020, 190, 5, 3.9)), replace(REPAIR, accepted=False, state="approved"))
    assert got.status.tolist() == [OPEN] and got.depth.tolist() == [0]


def test_two_wraps_of_one_repair_each_cover_their_own():
    two = replace(REPAIR, covers=((-100, 100), (700, 900)))
    rows = listing_rows((0, 3950, 100, 5, 2), (0, 4300, 100, 5, 2), (0, 4750, 100, 5, 2), (0, 4850, 100, 5, 2))
    assert look(rows, replace(two, survey=None)).status.tolist() == [UNDER, NOT_KNOWN, UNDER, BEYOND]


def test_a_row_whole_under_one_wrap_is_under_repair_though_another_one_ends_in_it():
    two = replace(REPAIR, covers=((-150.0, 350.0), (100.0, 600.0)))
    assert look(listing_rows((1_004_000, 4020, 190, 5, 3)), two).status.tolist() == [UNDER]
    first, other = replace(REPAIR, name="HB-0-r1", covers=((100.0, 600.0),)), REPAIR
    got = look(listing_rows((1_004_000, 4020, 190, 5, 3)), first, other)
    assert (got.status[0], got.repair[0]) == (UNDER, "HB-1-r1")


def test_an_accepted_repair_goes_before_an_open_one_at_the_same_place():
    other = replace(REPAIR, name="HB-0-r1", accepted=False)
    got = look(listing_rows((1_004_000, 4020, 190, 5, 3.9)), other, REPAIR)
    assert (got.status[0], got.repair[0]) == (UNDER, "HB-1-r1")


# -- depth --------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("depth", "code"), [(4.5, AS_PLANNED), (4.7, AHEAD), (6.1, TOO_DEEP)])
def test_internal_loss_is_held_against_the_plan_of_its_day(depth, code):
    rows = listing_rows((1_004_000, 4020, 190, 5, depth), kind=["internal metal loss"])
    got = look(rows, INSIDE)
    # independent: 6 years of 20, from 4 mm to 6 mm
    days = (datetime.date(2032, 6, 1) - datetime.date(2026, 6, 1)).days / 365.25
    assert got.depth.tolist() == [code] and got.carried[0] == 6.0
    assert code == TOO_DEEP or got.planned[0] == pytest.approx(4 + 2 * days / 20)
    assert bool(got.told) == (code != AS_PLANNED)
    if code != AS_PLANNED:
        assert {AHEAD: "ahead of the plan: HB-1-r1", TOO_DEEP: "deeper than the design carries"}[code] in got.told[0]


def test_the_allowance_on_depth_counts_as_in_the_design():
    rows = listing_rows((1_004_000, 4020, 190, 5, 4.5), kind=["internal metal loss"])
    assert look(rows, INSIDE, depth_allowance=0.2).depth.tolist() == [AHEAD]


def test_external_loss_that_is_deeper_than_the_design_carries_is_told_too():
    got = look(listing_rows((1_004_000, 4020, 190, 5, 4.2)), REPAIR)
    assert got.depth.tolist() == [TOO_DEEP] and "deeper than the design carries" in got.told[0]


@pytest.mark.parametrize("change", [{"end_depth": None}, {"depth": None}, {"since": ""}, {"life": None}])
def test_a_plan_that_is_not_known_is_told(change):
    rows = listing_rows((1_004_000, 4020, 190, 5, 4.2), kind=["internal metal loss"])
    got = look(rows, replace(INSIDE, **change))
    assert got.depth.tolist() == [DEPTH_NOT_KNOWN] and "it is not known whether they are as planned" in got.told[0]
    assert look(listing_rows((1_004_000, 4020, 190, 5, NAN)), REPAIR).depth.tolist() == [DEPTH_NOT_KNOWN]


@pytest.mark.parametrize(("kind", "repair"), [("external metal loss", REPAIR), ("internal metal loss", INSIDE)])
@pytest.mark.parametrize(("until", "day", "code"), [
    ("2046-07-01", "2046-07-01", AS_PLANNED), ("2046-07-01", "2046-07-02", PAST_LIFE),
    ("", "2046-05-31", AS_PLANNED), ("", "2046-06-03", PAST_LIFE),  # 20 years from the measurement
    ("2040-01-01", "2041-01-01", PAST_LIFE), ("2040-01-01", "", DEPTH_NOT_KNOWN), ("", "", DEPTH_NOT_KNOWN)])
def test_a_wrap_past_its_design_life_carries_nothing(kind, repair, until, day, code):
    """By the close-out, else by the life of the design from the measurement; whether loss grows under it or not."""
    got = look(listing_rows((1_004_000, 4020, 190, 5, 3.9), kind=[kind]), replace(repair, until=until), run_date=day)
    assert got.status.tolist() == [UNDER] and got.depth.tolist() == [code]
    if code == PAST_LIFE:
        assert np.isnan(got.planned[0]) and got.told == (
            "1 rows lie under a wrap that is past its design life on the day of the run; they are ranked as if there "
            "were none: HB-1-r1.",)


def test_past_its_life_a_wrap_carries_nothing_even_where_no_depth_is_known():
    rows = listing_rows((1_004_000, 4020, 190, 5, NAN))
    assert look(rows, replace(REPAIR, end_depth=None), run_date="2050-01-01").depth.tolist() == [PAST_LIFE]


def test_loss_at_another_clock_under_the_wrap_is_told():
    got = look(listing_rows((1_004_000, 4020, 190, 11, 2)), REPAIR)
    assert got.status.tolist() == [UNDER] and "at another clock than the damage" in got.told[0]


# -- in doubt -----------------------------------------------------------------------------------------------------
ROW = (1_004_000, 4020, 190, 5, 3)


@pytest.mark.parametrize(("rows", "change", "why"), [
    (listing_rows(ROW, joint_length=[10_900.0]), {}, "has another length in the listing"),
    (listing_rows((2_004_000, 4020, 190, 5, 3)), {}, "joint 118 lies elsewhere in the listing"),
    (listing_rows(ROW, ROW, joint=["118", "119"], upstream_weld=["1170", "1180"]), {}, "are not one joint"),
    (listing_rows(ROW, (1_104_000, 4020, 190, 5, 3)), {"survey": None}, "two joints of the listing have the num"),
    (listing_rows(ROW), {"weld": "", "joint_length": None, "survey": None}, "nothing beside one number"),
    (listing_rows(ROW), {"joint": "", "weld": "", "survey": None}, "neither its joint nor a surveyed distance"),
    (listing_rows(ROW, ROW), {"joint": "", "weld": ""}, "several rows within 2 m"),
    (listing_rows((1_009_000, 4020, 190, 5, 3)), {"joint": "", "weld": ""}, "no row within 2 m"),
    (listing_rows((1_004_000, 4020, 190, NAN, 3)), {"joint": "", "weld": ""}, "a row without a clock within 2 m")])
def test_what_may_be_meant_in_two_ways_is_told_and_not_taken(rows, change, why):
    got = look(rows, replace(REPAIR, **change))
    assert not got.status.any() and why in got.told[0]
    assert "screened as if there were no repair; look before anybody digs" in got.told[0]


def test_a_joint_of_the_listing_without_loss_takes_nothing_from_its_neighbour():
    rows = listing_rows(ROW, ROW, joint=["118", "119"], upstream_weld=["1180", "1190"],
                        kind=["girth weld", "external metal loss"])
    got = look(rows, REPAIR)
    assert not got.status.any() and not got.told


# -- by surveyed distance -----------------------------------------------------------------------------------------
BY_SURVEY = replace(REPAIR, joint="", weld="")


def test_without_a_joint_the_surveyed_distance_the_clock_and_the_side_decide():
    rows = listing_rows((1_004_900, 0, 190, 5.5, 3), (1_004_900, 0, 190, 7, 3), (1_004_900, 0, 190, 5, 3),
                        kind=["external metal loss", "external metal loss", "internal metal loss"])
    got = look(rows, BY_SURVEY)
    assert got.status.tolist() == [UNDER, NOT_KNOWN, NOT_KNOWN] and got.by.tolist() == [2, 0, 0]


@pytest.mark.parametrize(("clock", "said", "status"), [(11.9, 0.4, UNDER), (0.4, 11.9, UNDER), (11, 0.5, NOT_KNOWN)])
def test_clocks_are_compared_across_12(clock, said, status):
    got = look(listing_rows((1_004_000, 0, 190, clock, 3)), replace(BY_SURVEY, clock=said))
    assert got.status.tolist() == [status]


def test_a_row_longer_than_its_wrap_reaches_is_beyond_it():
    assert look(listing_rows((1_004_000, 0, 520, 5, 3)), BY_SURVEY).status.tolist() == [BEYOND]
    assert look(listing_rows((1_004_000, 0, 190, 5, 3)), BY_SURVEY, tolerances=Tolerances(survey=10)).by.tolist() == [2]


def test_rows_far_from_every_repair_are_left_out_beforehand():
    rows = listing_rows(ROW, (9_000_000, 1, 5, 5, 1), (1_020_000, 1, 5, 5, 1), joint=["118", "9", "119"],
                        upstream_weld=["1180", "90", "1190"])
    assert may_match(rows, [REPAIR], Tolerances()).tolist() == [True, False, True]
    assert not may_match(rows, [], Tolerances()).any()
    assert may_match(rows, [replace(REPAIR, survey=None)], Tolerances()).tolist() == [True, False, False]


# -- a second run over the example line ---------------------------------------------------------------------------
@pytest.fixture(scope="module")
def runs(tmp_path_factory):
    here = tmp_path_factory.mktemp("runs")
    first = write_listing(here / "first", ROWS, seed=7, dirt=0)
    second = write_listing(here / "second", ROWS, seed=7, dirt=0, run=2)
    return here, first, second


def packages_of(here, first):
    """Packages of the repaired places as wrapcalc makes their records, accepted by a close-out."""
    out = here / "packages"
    base = (first.folder / "base.toml").read_text(encoding="utf-8")
    base = "\n".join(t for t in base.splitlines() if not t.startswith("interaction"))
    joints = Line(ROWS, 7)
    for k, r in enumerate(first.repaired, 1):
        joint, long = joints.length[int(r.joint) - 1], max(r.length, 120)
        text = base.replace('id = "HB"', f'id = "HB-{k}"').replace("[defect]\n", f"""[defect]
kind = "{r.kind}"
depth = "3.9 mm"
length = "{long:.0f} mm"
width = "{r.width:.0f} mm"
clock = "{int(r.clock) or 12}:{int(r.clock % 1 * 60):02d}"
clear_upstream = "{r.from_upstream_weld:.0f} mm"
clear_downstream = "{joint - r.from_upstream_weld - long:.0f} mm"
""").replace("[service]\n", f"""sound_wall = "8.7 mm"

[location]
joint_number = "{r.joint}"
joint_length = "{joint:.0f} mm"
upstream_weld = "{r.upstream_weld}"
from_upstream_weld = "{r.from_upstream_weld:.0f} mm"

[service]
""", 1)
        path = here / f"HB-{k}.toml"
        path.write_text(text, encoding="utf-8")
        outcome = job.run(load_bundle(path))
        assert outcome.decision.word == "wrap", outcome.decision.sentence
        folder = out / f"HB-{k}-r1"
        folder.mkdir(parents=True)
        (folder / "record.json").write_bytes(records.to_bytes(records.build(outcome)))
        (folder / "run.json").write_text(json.dumps({"finished_utc": "2026-08-01T10:00:00Z"}), encoding="utf-8")
        digests.write_manifest(folder, {"case": f"HB-{k}", "revision": 1, "decision": "wrap",
                                        "record_sha256": "0" * 64})
    return out


def rows_of_listing(written):
    """The rows as the screening would resolve them: metal loss with its joint, its log taken for surveyed distance."""
    with (written.folder / "listing.csv").open(encoding="utf-8", newline="") as file:
        read = [r for r in csv.DictReader(file) if r["Feature type"].startswith("Metal")]
    clock = [r["O'clock"].split(":") for r in read]
    return {"survey": np.array([float(r["Log distance"]) * 1000 for r in read]),
            "from_upstream_weld": np.array([float(r["From U/S weld"]) * 1000 for r in read]),
            "length": np.array([float(r["Length"]) for r in read]),
            "clock": np.array([int(h) % 12 + int(m) / 60 for h, m in clock]),
            "depth": np.array([float(r["Depth"]) / 100 * float(r["t nom"]) for r in read]),
            "kind": np.array([{"ext": "external metal loss", "int": "internal metal loss"}[r["Feature type"][-3:]]
                              for r in read], dtype=object),
            "joint": np.array([r["Joint"] for r in read], dtype=object),
            "upstream_weld": np.array([str(10 * int(r["Joint"])) for r in read], dtype=object),
            "joint_length": np.array([float(r["Joint length"]) * 1000 for r in read])}


def test_a_second_run_with_shifted_odometer_finds_both_repairs(runs):
    here, first, second = runs
    packages = packages_of(here, first)
    repairs, told = known_repairs(packages, current(packages))
    assert not told and [r.name for r in repairs] == ["HB-1-r1", "HB-2-r1"]
    assert [r.accepted for r in repairs] == [False, False] and [r.state for r in repairs] == ["designed", "designed"]
    rows = rows_of_listing(second)
    open_ = under_repair(rows, repairs, run_date="2032-05-19", place="upstream end")
    assert {OPEN} <= set(open_.status.tolist()) <= {NOT_KNOWN, OPEN, BEYOND} and not (open_.depth > 0).any()
    got = under_repair(rows, [replace(r, accepted=True) for r in repairs], run_date="2032-05-19", place="upstream end")
    for k, r in enumerate(first.repaired, 1):
        at = (rows["joint"] == r.joint) & (np.abs(rows["from_upstream_weld"] - r.from_upstream_weld) < 1)
        assert at.sum() == 1 and got.status[at][0] == UNDER and got.repair[at][0] == f"HB-{k}-r1"
        assert abs(rows["survey"][at][0] - r.survey) > 5000  # the log of the second run is elsewhere
        near = (rows["joint"] == r.joint) & (np.abs(rows["from_upstream_weld"] - r.from_upstream_weld) < 1000)
        assert not (got.status[~near & (rows["joint"] == r.joint)]).any()
    kept = may_match(rows, repairs, Tolerances())
    some = under_repair({k: v[kept] for k, v in rows.items()}, [replace(r, accepted=True) for r in repairs],
                        run_date="2032-05-19", place="upstream end")
    assert some.status.tolist() == got.status[kept].tolist() and not got.status[~kept].any()


def test_a_package_that_cannot_be_read_is_told(runs):
    here, *_ = runs
    packages = here / "packages"
    now = current(packages)
    raw = (packages / "HB-1-r1" / "record.json").read_text(encoding="utf-8")
    cut = json.loads(raw)
    cut["geometry"]["wrap"] = None
    (packages / "HB-1-r1" / "record.json").write_text(json.dumps(cut), encoding="utf-8")
    repairs, told = known_repairs(packages, now)
    assert [r.name for r in repairs] == ["HB-2-r1"]
    assert "HB-1-r1: where it lies cannot be read (its record does not say how far the wrap reaches)" in told[0]
    damaged = current(packages)  # found damaged, and no register that knew it whole
    assert "HB-1-r1: damaged" in known_repairs(packages, damaged)[1][0]
    (packages / "HB-1-r1" / "record.json").write_text(raw, encoding="utf-8")


# -- a real package that was approved, wrapped and closed out -----------------------------------------------------
@pytest.fixture(scope="module")
def closed(tmp_path_factory):
    """(folder of packages with HB-07-r1, accepted by a close-out and in the register; its record); labels and
    certificates end late, whenever the tests run."""
    root = tmp_path_factory.mktemp("closed")
    with resources.as_file(resources.files("wrapcalc.example")) as source:
        shutil.copytree(source, root / "example", ignore=shutil.ignore_patterns("__*"))
    case = root / "example" / "HB-07.toml"
    text = re.sub(r'"20(26-12|27-0[1-6])-\d\d"', '"2099-12-31"', case.read_text("utf-8"))
    case.write_text(text, "utf-8")
    out = root / "packages"
    out.mkdir()
    result = make_package(case, out)
    assert result.state == "written", result.message
    package = out / "HB-07-r1"
    made = datetime.datetime.fromisoformat(json.loads((package / "run.json").read_bytes())["finished_utc"])
    folder = out / "approval" / "HB-07-r1"
    folder.mkdir(parents=True)
    digests.write_manifest(folder, {
        "kind": "approval", "package": "HB-07-r1", "approver": "A. Approver", "approved_on": made.date().isoformat(),
        "written_utc": f"{made:%Y-%m-%dT%H:%M:%SZ}",
        "package_manifest_sha256": digests.sha256((package / digests.MANIFEST).read_bytes())})
    looked(out, "HB-07-r1")
    sound = Sound(job.run(load_bundle(case)), "HB-07-r1", digests.read_manifest(package)["record_sha256"],
                  made + datetime.timedelta(hours=30))
    (root / "readings.csv").write_bytes(sound.csv())
    close = closeout_package(package, root / "readings.csv", now=made + datetime.timedelta(days=9))
    assert close.verdict == "accepted"
    update(out)
    return out, json.loads((package / "record.json").read_bytes())


def row_at(record, start, length, depth):
    """A row of the joint of that repair, its upstream edge so far downstream of that of the damage, in mm; by a run
    whose odometer is 10 m off. Surveyed distance by hand: 7969.0 + (8412.6 - 7988.3) x 880.0 / 883.2 = 8391.76 m."""
    said = {r["field"]: r for r in record["inputs"]}
    edge = said["location.from_upstream_weld"]["magnitude"] + start
    clock = [float(x) for x in said["defect.clock"]["written"].split(":")]
    return listing_rows((8_401_760 + start, edge, length, clock[0] % 12 + clock[1] / 60, depth),
                        kind=[said["defect.kind"]["written"]], joint=[said["location.joint_number"]["written"]],
                        upstream_weld=[said["location.upstream_weld"]["written"]],
                        joint_length=[said["location.joint_length"]["magnitude"]])


def test_a_repair_that_was_closed_out_is_found_in_the_register_and_covers_its_row(closed):
    """Independent: cover by the widths of the units in the record, butted, round its middle."""
    packages, record = closed
    repairs, told = known_repairs(packages, current(packages))
    assert not told and [(r.name, r.state, r.accepted) for r in repairs] == [("HB-07-r1", "accepted", True)]
    (laid,) = record["geometry"]["wrap"]["repairs"]
    length = next(r["magnitude"] for r in record["inputs"] if r["field"] == "defect.length")
    cover = sum(u["width"]["magnitude"] for u in record["site"]["wrap"]["marks"]["repairs"][0]["units"])
    low = length / 2 + laid["middle"] - cover / 2
    for start, size, status in ((0, length, UNDER), (low + 1, cover - 2, UNDER), (low - 1, 50, BEYOND),
                                (low + cover - 49, 50, BEYOND), (low - 60, 50, NOT_KNOWN)):
        got = look(row_at(record, start, size, 2.0), *repairs)
        assert got.status.tolist() == [status], (start, size)
        assert got.repair.tolist() == (["HB-07-r1"] if status else [""])


def test_loss_under_a_closed_repair_is_held_against_its_design_and_the_selection_hears_of_it(closed, tmp_path):
    packages, record = closed
    (repair,) = known_repairs(packages, current(packages))[0]
    end = record["geometry"]["wrap"]["depth"]
    assert repair.end_depth == end
    got = {}
    for name, depth in (("planned", repair.depth), ("deeper", end + 0.1)):
        got[name] = int(look(row_at(record, 0, 100.0, depth), repair).depth[0])
    assert got == {"planned": AS_PLANNED, "deeper": TOO_DEEP}
    # the same repair, with loss that goes on under it
    inside = replace(repair, grows=True, end_depth=repair.depth + 1.0)
    seen = look(row_at(record, 0, 100.0, repair.depth + 0.9), inside)
    assert seen.depth.tolist() == [AHEAD]
    block = helper.block(helper.rows({"under repair": str(seen.repair[0]), "disposition": "no repair needed"})) | {
        "depth_against_design": np.array([DEPTHS[seen.depth[0]]], dtype=object), "planned_depth": seen.planned,
        "carried_depth": seen.carried}
    chosen = select(lambda: iter([block]), load_campaign(helper.campaign(tmp_path, 1)))
    assert not chosen.chosen and "ahead of the plan" in chosen.left[0].reason
    assert chosen.told[0].startswith("1 row under repair HB-07-r1 is ahead of the plan of its design: M-01.")


def test_the_life_of_a_closed_repair_ends_when_its_close_out_says(closed):
    """Independent: 20 years of the design from the day of the acceptance, as the close-out prints it."""
    packages, record = closed
    said = json.loads((packages / "closeout" / "HB-07-r1-1" / "closeout.json").read_bytes())["end_of_life"]
    (repair,) = known_repairs(packages, current(packages))[0]
    assert repair.until == said
    row = row_at(record, 0, 100.0, repair.depth)
    after = (datetime.date.fromisoformat(said) + datetime.timedelta(days=1)).isoformat()
    assert [look(row, repair, run_date=day).depth.tolist() for day in (said, after)] == [[AS_PLANNED], [PAST_LIFE]]


def test_a_close_out_that_is_spoilt_opens_the_repair_again(closed, tmp_path):
    packages = tmp_path / "packages"
    shutil.copytree(closed[0], packages)
    (packages / "closeout" / "HB-07-r1-1" / "closeout.json").write_text("{}", encoding="utf-8")
    (repair,), _ = known_repairs(packages, current(packages))
    assert not repair.accepted and look(row_at(closed[1], 0, 100.0, 2.0), repair).status.tolist() == [OPEN]


@pytest.mark.parametrize(("state", "condition", "accepted"), [
    ("accepted", "whole", True), ("accepted with deviation", "whole", True), ("accepted", "damaged", False),
    ("rejected", "whole", False), ("acceptance not proven", "whole", False), ("approved", "whole", False)])
def test_only_a_whole_package_that_a_close_out_accepted_counts_as_a_repair(state, condition, accepted):
    record = {"inputs": [{"field": "defect.length", "answered": True, "written": "200 mm", "magnitude": 200.0,
                          "unit": "mm"}],
              "geometry": {"wrap": {"repairs": [{"middle": 10.0, "cover": 500.0}], "depth": 4.1}}}
    standing = Standing(Revision("HB-1", 1, condition, decision="wrap"), state, True, "", "")
    got = known(standing, record)
    assert got.accepted == accepted and got.covers == ((-140.0, 360.0),) and got.end_depth == 4.1

"""A whole screening of a listing with bends, valves and dents beside, between, over and inside metal loss."""

import csv
import io
import math
import shutil

import numpy as np
import pytest

from wrapcalc.campaign.cases.selection import ranked_blocks
from wrapcalc.campaign.example.listing import write_listing
from wrapcalc.campaign.neighbours.damage_over import REASON
from wrapcalc.campaign.screening import passes as screen_passes
from wrapcalc.campaign.screening.repairs import Repairs
from wrapcalc.campaign.screening.screen import screen

DEEP, SHALLOW = {"Depth": "29", "Length": "765", "Width": "43"}, {"Depth": "12", "Length": "60", "Width": "40"}
#: Place -> rows: (name, kind, metres from the weld, sizes).
JOINTS = {
    "alone": [("A1", "Metal loss ext", 5.0, DEEP)],
    "bend near": [("B0", "Bend", 4.95, {}), ("B1", "Metal loss ext", 5.0, DEEP)],
    "valve inside": [("C1", "Metal loss ext", 5.0, DEEP), ("C0", "Valve", 5.3, {})],
    "long bend": [("D0", "Bend", 4.0, {"Length": "2500"}), ("D1", "Metal loss ext", 5.0, SHALLOW)],
    "valve": [("E1", "Metal loss int", 5.0, SHALLOW), ("E0", "Valve", 5.03, {})],
    "dent over": [("F1", "Metal loss ext", 5.0, SHALLOW | {"O'clock": "12:00"}),
                  ("F0", "Dent", 5.02, {"Length": "90", "Width": "60", "O'clock": "11:50"})],
    "dent round": [("G1", "Metal loss ext", 5.0, DEEP | {"O'clock": "12:00"}),
                   ("G0", "Dent", 5.2, {"Length": "90", "Width": "60", "O'clock": "6:00"})],
    "bend between": [("H1", "Metal loss ext", 5.0, SHALLOW), ("H0", "Bend", 5.08, {}),
                     ("H2", "Metal loss ext", 5.1, SHALLOW)],
    "group under dent": [("I1", "Metal loss ext", 5.0, SHALLOW), ("I2", "Metal loss ext", 5.1, SHALLOW),
                         ("I0", "Dent", 5.15, {"Length": "300", "Width": "60", "O'clock": "6:00"})],
    "repair over": [("J0", "Repair", 4.9, {"Length": "900"}), ("J1", "Metal loss ext", 5.0, SHALLOW)],
    "dent unsized": [("K1", "Metal loss ext", 5.0, SHALLOW), ("K0", "Dent", 5.4, {"O'clock": "6:00"}),
                     ("K2", "Metal loss ext", 6.2, SHALLOW)],
    "dent in gap": [("L1", "Metal loss ext", 5.0, DEEP), ("L0", "Dent", 5.773, {"Length": "10", "Width": "30"}),
                    ("L2", "Metal loss ext", 5.79, DEEP)],
    "dent beside": [("M1", "Metal loss ext", 5.0, DEEP), ("M0", "Dent", 5.78, {"Length": "30", "Width": "30"})],
    "dent farther": [("N1", "Metal loss ext", 5.0, DEEP), ("N0", "Dent", 7.0, {"Length": "30", "Width": "30"})]}
MIDDLING = {"Depth": "29", "Length": "60", "Width": "43"}
#: The same with a rule of interaction of one metre.
FAR_APART = {
    "plain": [("A1", "Metal loss ext", 5.0, MIDDLING), ("A2", "Metal loss ext", 5.7, MIDDLING)],
    "marker between": [("B1", "Metal loss ext", 5.0, MIDDLING), ("B0", "AGM", 5.38, {"O'clock": ""}),
                       ("B2", "Metal loss ext", 5.7, MIDDLING)],
    "under dent": [("C1", "Metal loss ext", 5.0, MIDDLING), ("C2", "Metal loss ext", 5.7, MIDDLING),
                   ("C0", "Dent", 5.02, {"Length": "20", "Width": "60", "O'clock": "6:00"})]}


def listing(folder, joints=JOINTS):
    """Girth welds of an invented listing with our own rows between them."""
    made = write_listing(folder, 700, 11, dirt=0)
    rows = list(csv.DictReader((folder / "listing.csv").read_text("utf-8").splitlines()))
    welds = [r for r in rows if r["Feature type"] == "GW"]
    inner = [r for r in welds if r["t nom"] == "8.74"]
    assert len(inner) > len(joints) + 2 and made.rows == 700
    own = []
    for weld, members in zip(inner[1:], joints.values(), strict=False):
        for name, kind, metres, sizes in members:
            row = dict.fromkeys(weld, "") | {"Line": weld["Line"], "t nom": "8.74", "O'clock": "6:00"} | sizes
            at = float(weld["Log distance"]) + metres
            row |= {"Feature ID": name, "Feature type": kind, "Log distance": f"{at:.3f}"}
            if kind in ("Bend", "Valve"):
                row["O'clock"] = ""
            own.append(row)
    whole = sorted([*welds, *own], key=lambda r: float(r["Log distance"]))
    written(folder, whole)
    return folder


def written(folder, rows):
    text = io.StringIO(newline="")
    out = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    out.writeheader()
    out.writerows(rows)
    (folder / "listing.csv").write_text(text.getvalue(), encoding="utf-8")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return listing(tmp_path_factory.mktemp("beside"))


@pytest.fixture(scope="module")
def found(folder, tmp_path_factory):
    return screen(folder / "listing.csv", folder / "mapping.toml", tmp_path_factory.mktemp("screening") / "out")


def table(out):
    blocks = list(ranked_blocks(out / "ranked.parquet"))
    return {n: np.concatenate([b[n] for b in blocks]) for n in blocks[0]}


@pytest.fixture(scope="module")
def row(found):
    t = table(found.folder)
    at = {name: i for i, name in enumerate(t["feature_id"].tolist())}
    return lambda name: {n: v[at[name]] for n, v in t.items()}


def test_all_rows_are_there_and_add_up(found):
    assert found.faulty == 0 and found.ranked == 25
    assert found.rows == found.ranked + sum(found.others.values())


def test_a_wrap_is_feasible_alone_and_not_with_a_bend_beside_it_or_a_valve_inside_it(row):
    assert (row("A1")["disposition"], row("A1")["wrap_feasible"]) == ("repair", "yes")
    near = row("B1")
    assert (near["disposition"], near["wrap_feasible"]) == ("repair", "no")
    assert near["wrap_reason"].startswith("the repair would come too close to a weld, a bend, a fitting")
    assert near["clear_upstream"] == pytest.approx(50, abs=0.5)  # the odometer stretches it by some parts in a thousand
    assert near["beside_upstream"].startswith("bend at ") and near["beside_downstream"] == ""
    inside = row("C1")
    assert (inside["disposition"], inside["wrap_feasible"]) == ("repair", "no")
    assert inside["clear_upstream"] == inside["clear_downstream"] == 0
    assert inside["beside_upstream"].startswith("over it: valve at ")
    assert np.isnan(inside["safe_pressure"])  # nobody knows it for a valve


def test_what_holds_in_straight_pipe_is_not_cleared_in_a_bend_or_a_valve(row):
    assert row("J1")["disposition"] == "no repair needed"  # the same loss in straight pipe
    assert (row("D1")["disposition"], row("D1")["wrap_feasible"]) == ("repair", "no")
    assert row("D1")["reason"] == "the strength of the damaged component is not assessed"
    assert row("E1")["disposition"] == "insufficient data"
    assert row("J1")["clear_upstream"] == 0 and row("J1")["beside_upstream"].startswith("over it: repair at ")


def test_a_bend_between_two_that_act_as_one_lies_inside_the_whole(row):
    for name in ("H1", "H2"):
        assert (row(name)["disposition"], row(name)["wrap_feasible"]) == ("repair", "no")
        assert row(name)["reason"] == "the strength of the damaged component is not assessed"
        assert row(name)["repair"] == row("H1")["repair"] != ""


def test_a_dent_over_loss_is_immediate_and_so_is_the_loss(row):
    dent, loss = row("F0"), row("F1")
    for r in (dent, loss):  # published: dent in the upper two thirds with metal loss
        assert (r["deadline_days"], r["citation"]) == (0, "49 CFR 192.714(d)(1)(ii)")
    assert dent["disposition"] == "other repair needed" and dent["damage_over"].startswith("external metal loss F1 at ")
    assert (loss["disposition"], loss["reason"], loss["wrap_feasible"]) == ("insufficient data", REASON, "")
    assert loss["damage_over"].startswith("dent F0 at ") and np.isnan(loss["safe_pressure"])
    assert np.isnan(loss["repair_factor"]) and loss["governing"] == ""


def test_a_dent_on_the_other_side_of_the_pipe_is_linked_to_nothing(row):
    assert row("G1")["damage_over"] == row("G0")["damage_over"] == ""
    assert (row("G1")["disposition"], row("G1")["wrap_feasible"]) == ("repair", "no")  # but no wrap goes over it
    assert row("G1")["clear_upstream"] == row("G1")["clear_downstream"] == 0
    assert row("G1")["beside_upstream"].startswith("over it: dent at ")


def test_a_dent_in_the_gap_of_a_group_or_just_beside_a_loss_takes_the_wrap(row):
    for name in ("L1", "L2"):
        r = row(name)
        assert (r["disposition"], r["reason"], r["layers"] > 0) == ("other repair needed", REASON, False)
        assert r["damage_over"].startswith("over the loss that acts as one here: dent L0 at ")
        assert r["deadline_days"] <= row("L0")["deadline_days"]
    assert row("L0")["damage_over"].startswith("external metal loss L1 at ")
    assert (row("M1")["disposition"], row("M1")["wrap_feasible"]) == ("repair", "no")
    assert row("M1")["beside_downstream"].startswith("dent at ") and row("M1")["damage_over"] == ""
    assert row("M1")["clear_downstream"] == pytest.approx(15, abs=2)  # the odometer takes 0.2 % of 780 mm from it
    assert (row("N1")["disposition"], row("N1")["wrap_feasible"]) == ("repair", "yes")
    assert row("N1")["beside_downstream"].startswith("dent at ")


def test_a_group_under_a_dent_has_no_wrap_and_no_pressure(found, row):
    days = row("I0")["deadline_days"]
    for name in ("I1", "I2"):
        r = row(name)
        assert (r["disposition"], r["reason"]) == ("insufficient data", REASON) and np.isnan(r["safe_pressure"])
        assert r["deadline_days"] == days and math.isfinite(days)
    text = (found.folder / "neighbours.csv").read_text("utf-8-sig")
    group = next(r for r in csv.DictReader(io.StringIO(text)) if "I1" in r["feature ids"])
    assert group["disposition"] == "insufficient data" and group["safe pressure [MPa]"] == ""


def test_a_dent_without_length_is_sought_one_diameter_around(row):
    assert row("K1")["damage_over"].startswith("dent K0 at ")


def test_between_rows_that_act_as_one_a_feature_takes_the_wrap_and_so_does_a_dent(tmp_path, monkeypatch):
    """Each row by itself has room enough for a wrap beside the marker."""
    wraps = []
    monkeypatch.setattr(Repairs, "_add_wraps", lambda self, place, label, *_: wraps.extend(label.tolist()))
    folder = listing(tmp_path / "far", FAR_APART)
    base = (folder / "base.toml").read_text("utf-8").replace(
        'interaction = "6t"', 'interaction = "own"\ninteraction_axial = "1 m"\ninteraction_around = "100 mm"')
    (folder / "base.toml").write_text(base, "utf-8")
    found = screen(folder / "listing.csv", folder / "mapping.toml", tmp_path / "out")
    t = table(found.folder)
    got = {name: (t["disposition"][i], t["wrap_feasible"][i]) for i, name in enumerate(t["feature_id"].tolist())}
    assert found.joined == 3 and got["A1"] == got["A2"] == ("repair", "yes")
    assert got["B1"] == got["B2"] == ("repair", "no")
    assert (t["clear_downstream"][t["feature_id"] == "B1"] > 300).all()
    assert got["C1"] == got["C2"] == ("other repair needed", "")
    assert wraps == ["A1 A2"]


def test_it_is_told_by_count(found):
    told = " ".join(found.told)
    for text in ("no length: 2 bend, 1 dent, 2 valve; each counts as a point",
                 "1 dents, gouges or cracks have no length",
                 "6 rows of metal loss lie under a dent, gouge or crack",
                 "4 dents, gouges or cracks lie over metal loss",
                 ": a bend, valve or fitting lies over it: its case says so in service.inside_repair"):
        assert text in told, text


@pytest.mark.parametrize(("rows", "judged"), [(7, 65_536), (64, 4), (500, 1)])
def test_where_listing_and_line_are_cut_does_not_matter(folder, found, tmp_path, monkeypatch, rows, judged):
    monkeypatch.setattr(screen_passes, "JUDGED", judged)
    other = screen(folder / "listing.csv", folder / "mapping.toml", tmp_path / "again", rows=rows)
    a, b = table(found.folder), table(other.folder)
    for name in a:
        if a[name].dtype.kind == "f":
            np.testing.assert_allclose(a[name], b[name], rtol=1e-10, err_msg=name)
        else:
            assert (a[name] == b[name]).all(), name
    assert other.told == found.told
    if judged == 65_536:
        for path in found.folder.iterdir():
            assert path.read_bytes() == (other.folder / path.name).read_bytes()


def test_the_order_of_the_rows_does_not_matter(folder, found, tmp_path):
    shutil.copytree(folder, tmp_path / "shuffled")
    rows = list(csv.DictReader((folder / "listing.csv").read_text("utf-8").splitlines()))
    written(tmp_path / "shuffled", [rows[i] for i in np.random.default_rng(3).permutation(len(rows)).tolist()])
    screen(tmp_path / "shuffled" / "listing.csv", folder / "mapping.toml", tmp_path / "again")
    a, b = table(found.folder), table(tmp_path / "again")
    for name in a.keys() - {"row"}:
        assert np.array_equal(a[name], b[name], equal_nan=a[name].dtype.kind == "f"), name


def test_the_cases_of_the_rows_say_the_same(folder, found, row):
    """Independent: the whole job of the case of each row that is alone."""
    from wrapcalc.campaign.cases.row_case import bundle_of, row_case
    from wrapcalc.campaign.line.line import load_line
    from wrapcalc.campaign.listing.mapping import load_mapping
    from wrapcalc.stages import job
    line = load_line(load_mapping(folder / "mapping.toml"), folder)
    words = {"A1": "wrap", "B1": "insufficient data", "C1": "insufficient data", "D1": "insufficient data",
             "E1": "insufficient data", "J1": "no repair needed",
             "F1": "insufficient data", "F0": "insufficient data"}  # these ask for the depth of the dent first
    for name, word in words.items():
        out = job.run(bundle_of(line, row_case(line, row(name), "T-1", "row")))
        assert out.decision.word == word, (name, out.decision)

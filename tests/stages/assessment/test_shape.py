"""What was measured as the methods take it: which pits act as one, which cluster governs, profiles with allowances."""

import math

import numpy as np
import pytest

from wrapcalc import record
from wrapcalc.stages.job import OTHER

D, WALL, THICK = 508.0, 9.38, 9.53  # NPS 20 STD of HB-34: outside diameter, wall used (9.48 - 0.1), nominal wall
HEAD = "name,start mm,length mm,width mm,depth mm,around mm\n"
#: HB-34 without what the table of pits would contradict, and without growth: quick.
BARE = {"growth": None, "restriction": None, "defect__length_allowance": "0 mm", "defect__depth_allowance": "0 mm"}
REASON = {"assessment__interaction_reason": "test"}


@pytest.fixture
def colony(judge):
    """colony([(start, length, width, depth, middle around), ...], rule, ...) runs HB-34 with these pits (mm)."""
    def change(pits, rule=None, **fields):
        text = HEAD + "".join(f"P{i},{','.join(f'{v:.12g}' for v in p)}\n" for i, p in enumerate(pits))
        length = max(p[0] + p[1] for p in pits) - min(p[0] for p in pits)
        named = {"assessment__interaction": rule} | (REASON if rule not in (None, "all one") else
                                                     {"assessment__interaction_reason": None})
        return judge("HB-34.toml", files={"pits.csv": text}, **BARE | named | {
            "defect__pits": "pits.csv", "defect__depth": f"{max(p[3] for p in pits)} mm",
            "defect__length": f"{length:.12g} mm", "defect__width": "1500 mm"} | fields)
    return change


def pieces(o) -> list[tuple[float, float, int]]:
    """(from, to, count) of every cluster in the record."""
    return [(*p["along"], p["count"]) for p in record.build(o)["clusters"]["pieces"]]


def parts(o) -> int:
    return len(o.assessment.shape.pieces)


# -- which pits act as one ----------------------------------------------------------------------------------------
#: Rule -> gap along and around up to which two pits act as one, worked out here anew.
GAPS = {"3t": (3 * THICK, 3 * THICK), "6t": (6 * THICK, 6 * THICK), "1 in x 6t": (25.4, 6 * THICK),
        "2 sqrt(Dt)": (2 * math.sqrt(D * THICK), math.pi * math.sqrt(D * THICK)), "own": (40.0, 15.0)}
OWN = {"assessment__interaction_axial": "40 mm", "assessment__interaction_around": "15 mm"}


@pytest.mark.parametrize("rule", GAPS)
def test_each_rule_joins_up_to_its_gap_and_parts_beyond(colony, rule):
    own = OWN if rule == "own" else {}
    along, around = GAPS[rule]
    for bit, count in ((-1e-3, 1), (1e-3, 2)):
        side_by_side = colony([(0, 30, 20, 3.0, 200), (30 + along + bit, 30, 20, 2.0, 200)], rule, **own)
        above = colony([(0, 30, 20, 3.0, 200), (0, 30, 20, 2.0, 220 + around + bit)], rule, **own)
        assert (parts(side_by_side), parts(above)) == (count, count)
    # both gaps must be kept
    assert parts(colony([(0, 30, 20, 3.0, 200), (31, 30, 20, 2.0, 221 + around)], rule, **own)) == 2


def test_the_allowance_on_the_length_brings_pits_nearer(colony):
    pits = [(0, 30, 20, 3.0, 200), (30 + 6 * THICK + 4.999, 30, 20, 2.0, 200)]
    assert parts(colony(pits, "6t")) == 2
    assert parts(colony(pits, "6t", defect__length_allowance="5 mm")) == 1


def test_without_a_rule_all_pits_act_as_one_however_far_apart(colony):
    far = [(0, 30, 20, 3.0, 200), (3000, 40, 20, 2.0, 900)]
    for rule in (None, "all one"):
        o = colony(far, rule)
        assert pieces(o) == [(0, 3040, 2)] and not o.assessment.shape.split
        assert (o.assessment.depth.magnitude, o.assessment.length.magnitude) == (3.0, 3040)
        assert any("All pits act as one" in a["text"] for a in o.recorder.assumptions)
    assert pieces(colony(far, "6t")) == [(0, 30, 1), (3000, 3040, 1)]


def test_pits_join_right_across_twelve_o_clock_and_in_chains(colony):
    around = math.pi * D
    across = [(0, 30, 20, 3.0, 12), (0, 30, 20, 2.0, around - 12)]
    assert parts(colony(across, "own", **OWN)) == 1  # edges 2 mm from 12 o'clock on both sides: 4 mm apart
    chain = [(0, 30, 20, 3.0, 200), (60, 30, 20, 2.0, 200), (120, 30, 20, 1.0, 200), (400, 30, 20, 1.0, 200)]
    assert pieces(colony(chain, "own", **OWN)) == [(0, 150, 3), (400, 430, 1)]


# -- which cluster governs ----------------------------------------------------------------------------------------
def test_the_governing_cluster_is_the_weakest_of_all_of_them_alone(colony):
    """Brute force: every cluster as a case of its own; the allowances count in both."""
    wide = {"defect__depth_allowance": "0.2 mm", "defect__length_allowance": "6 mm"}
    rows = [[(0, 62, 55, 3.1, 100), (74, 48, 40, 4.6, 110), (400, 90, 30, 3.9, 400), (480, 60, 30, 4.1, 420),
             (900, 20, 20, 5.2, 100)],
            [(0, 30, 20, 5.5, 100), (300, 260, 40, 3.0, 300), (900, 120, 30, 4.4, 800)],
            [(0, 500, 20, 2.2, 100), (900, 60, 40, 4.9, 300)]]
    decided = set()
    for pits in rows:
        o = colony(pits, "6t", **wide)
        alone = []
        for piece in o.assessment.shape.pieces:
            mine = [p for p in pits if piece.along[0] <= p[0] and p[0] + p[1] <= piece.along[1]]
            assert len(mine) == piece.count
            alone.append(colony(mine, None, **wide).assessment.governing.magnitude)
        assert o.assessment.governing.magnitude == pytest.approx(min(alone), rel=1e-9)
        assert o.assessment.shape.governing == int(np.argmin(alone))
        decided.add(o.assessment.shape.governing)
        assert [p["governs"] for p in record.build(o)["clusters"]["pieces"]] == [
            i == o.assessment.shape.governing for i in range(len(alone))]
    assert len(decided) > 1


@pytest.mark.parametrize("method", ["original 1991", "original 2012", "0.85dL", "effective area", "DNV-RP-F101",
                                    "profile before box"])
def test_the_cluster_is_ranked_by_the_method_that_governs(colony, method):
    """A short deep cluster and a long shallow one trade places with the method; each is right for its own."""
    rule = {"assessment__method": method, "assessment__method_reason": "test"}
    for long_depth in (2.8, 3.6):
        pits = [(0, 60, 20, 6.4, 100), (400, 600, 40, long_depth, 500)]
        alone = [colony([p], None, **rule).assessment.governing.magnitude for p in pits]
        o = colony(pits, "6t", **rule)
        assert o.assessment.governing.magnitude == pytest.approx(min(alone), rel=1e-9)


def test_neighbours_of_another_cluster_are_not_forgotten_where_the_tensile_method_governs(colony):
    """DNV-RP-F101 finds its group among all pits by its own rule; a narrower rule of the case must not hide it."""
    rule = {"assessment__method": "DNV-RP-F101", "assessment__method_reason": "test"}
    pits = [(0, 90, 20, 5.0, 200), (110, 90, 20, 5.0, 200)]
    o = colony(pits, "own", assessment__interaction_axial="5 mm", assessment__interaction_around="5 mm", **rule)
    forms = {f.key: f.safe.magnitude for f in o.assessment.forms if f.safe}
    assert parts(o) == 2 and forms["DNV interacting"] < forms["DNV complex shape"]
    assert o.assessment.governing_key == "DNV interacting" and o.assessment.governing.magnitude == (
        forms["DNV interacting"])


def test_the_sizes_of_the_governing_cluster_go_on_and_the_allowances_are_added_once(colony):
    pits = [(0, 30, 20, 5.0, 100), (300, 260, 40, 3.5, 300)]
    o = colony(pits, "6t", defect__depth_allowance="0.2 mm", defect__length_allowance="6 mm")
    assert o.assessment.shape.piece.along == (300, 560)
    assert (o.assessment.depth.magnitude, o.assessment.length.magnitude) == pytest.approx((3.7, 266), rel=1e-9)
    told = next(i for i in record.build(o)["items"] if i["title"].startswith("Sizes of the governing cluster"))
    assert [r["magnitude"] for r in told["results"]] == [3.5, 260]
    # what covers and weakens the pipe as a whole takes all of them
    assert o.assessment.extent.magnitude == 566 and o.assessment.greatest.magnitude == pytest.approx(5.2)
    assert o.assessment.section.depth.magnitude == pytest.approx(5.2)


def test_the_record_of_the_clusters_names_the_wall_that_the_gaps_rest_on(colony):
    o = colony([(0, 30, 20, 5.0, 100), (300, 260, 40, 3.5, 300)], "6t")
    told = next(i for i in record.build(o)["items"] if i["title"] == "Clusters of pits that act as one")
    assert ("pipe.nominal_wall", THICK) in [(i["origin"]["ref"], i["magnitude"]) for i in told["inputs"]]
    assert [r["magnitude"] for r in told["results"]] == [2, 2]
    assert [d[0] for d in told["details"]] == ["cluster 2", "cluster 1"], "the governing one is not first"


def test_the_deepest_cluster_holds_the_depth_limit_though_another_governs(colony):
    """7.0 mm over 9.38 is 0.746; beyond 0.80, 7.504 mm, no method applies, whatever governs."""
    def at(deep):
        return colony([(0, 12, 12, deep, 100), (400, 700, 40, 3.6, 500)], "6t")
    o = at(7.5)
    assert o.assessment.shape.governing == 1 and o.assessment.depth.magnitude == 3.6
    assert o.assessment.depth_check.provided.magnitude == pytest.approx(7.5 / WALL, rel=1e-9)
    assert not o.assessment.too_deep and o.assessment.governing is not None
    o = at(7.51)
    assert o.assessment.too_deep and o.decision.word == OTHER and o.assessment.governing is None
    assert "0.801 of the wall" in o.decision.sentence


# -- a grid and a table of the same loss --------------------------------------------------------------------------
def test_a_flat_pit_as_grid_as_table_and_as_profile_is_the_same_loss(judge, example):
    """Stations 0.01 mm beyond the pit, as steep as the side of a pit in a table, give the table's river bottom; the box
    of a grid runs to the sound station, so that its own length is 0.02 mm more."""
    xs, ys = [0, 0.01, 120.01, 120.02], [0, 10, 50, 60]
    grid = "mm," + ",".join(map(str, xs)) + "\n" + "".join(
        f"{y}," + ",".join("3.5" if 0 < i < 3 and 0 < j < 3 else "0" for i in range(4)) + "\n"
        for j, y in enumerate(ys))
    profile = "station mm,depth mm\n" + "".join(f"{x},{3.5 if 0 < i < 3 else 0}\n" for i, x in enumerate(xs))
    pits = HEAD + "A,0,120,40,3.5,30\n"
    same = BARE | {"assessment__interaction": None, "assessment__interaction_reason": None, "defect__depth": "3.5 mm",
                   "defect__length": "120.02 mm", "defect__width": "60 mm"}
    found = []
    for field, text in (("grid", grid), ("profile", profile), ("pits", pits)):
        o = judge("HB-34.toml", files={"m.csv": text}, **same | {"defect__pits": None} | {f"defect__{field}": "m.csv"})
        found.append({f.key: f.safe.magnitude for f in o.assessment.forms if f.safe})
    boxes = set(found[0]) & set(found[1]) & set(found[2])
    assert {"effective area", "0.85dL", "DNV complex shape"} <= boxes
    for key in boxes:
        assert found[1][key] == pytest.approx(found[0][key], rel=1e-9), key
        assert found[2][key] == pytest.approx(found[0][key], rel=1e-9), key


def test_a_table_of_pits_is_never_read_milder_than_the_grid_it_stands_for(judge):
    """A table says each pit has its full depth over its whole length: at most as strong as the readings."""
    xs = list(range(0, 210, 10))
    shape = {x: 4.0 * math.sin(math.pi * x / 200) for x in xs}
    grid = "mm," + ",".join(map(str, xs)) + "\n0," + ",".join("0" for _ in xs) + "\n20," + ",".join(
        f"{max(shape[x], 0):.6f}" if 0 < x < 200 else "0" for x in xs) + "\n40," + ",".join("0" for _ in xs) + "\n"
    pits = HEAD + "A,0,200,40,4,20\n"
    same = BARE | {"assessment__interaction": None, "assessment__interaction_reason": None, "defect__depth": "4 mm",
                   "defect__length": "200 mm", "defect__width": "60 mm"}
    by_grid = judge("HB-34.toml", files={"m.csv": grid}, **same | {"defect__pits": None, "defect__grid": "m.csv"})
    by_pits = judge("HB-34.toml", files={"m.csv": pits}, **same | {"defect__pits": "m.csv"})
    for key in ("effective area", "DNV complex shape"):
        a, b = (next(f.safe.magnitude for f in o.assessment.forms if f.key == key) for o in (by_pits, by_grid))
        assert a < b
    assert by_pits.assessment.governing.magnitude <= by_grid.assessment.governing.magnitude


@pytest.mark.parametrize("rule", ["3t", "6t"])
def test_a_grid_is_parted_by_the_gaps_of_its_sound_stations(judge, rule):
    """Loss may reach up to the sound reading beside it: the gap is between those."""
    gap = GAPS[rule][0]
    for bit, count in ((-0.01, 1), (0.01, 2)):
        xs = [0, 20, 40, 40 + gap + bit, 60 + gap + bit, 80 + gap + bit]
        row = ["0", "3", "0", "0", "2", "0"]
        grid = "mm," + ",".join(f"{x:.9g}" for x in xs) + "\n" + "".join(
            f"{y}," + ",".join(row if y == 20 else ["0"] * 6) + "\n" for y in (0, 20, 40))
        o = judge("HB-34.toml", files={"g.csv": grid}, **BARE | REASON | {
            "defect__pits": None, "defect__grid": "g.csv", "defect__depth": "3 mm", "defect__width": "60 mm",
            "defect__length": f"{xs[-1]:.9g} mm", "assessment__interaction": rule})
        assert parts(o) == count


# -- a profile ----------------------------------------------------------------------------------------------------
PROFILE = "station mm,depth mm\n0,0\n30,1.5\n70,3\n100,2\n150,0\n180,0.8\n220,0\n"


def test_the_allowances_of_a_profile_deepen_the_loss_and_stretch_it(judge):
    o = judge("HB-34.toml", files={"p.csv": PROFILE}, **BARE | {
        "assessment__interaction": None, "assessment__interaction_reason": None, "defect__pits": None,
        "defect__profile": "p.csv", "defect__depth": "3 mm", "defect__length": "220 mm",
        "defect__depth_allowance": "0.4 mm", "defect__length_allowance": "22 mm"})
    drawn = record.build(o)["profile"]
    assert drawn["stations"] == pytest.approx([0, 33, 77, 110, 165, 198, 242])
    assert drawn["depth"] == pytest.approx([0, 1.9, 3.4, 2.4, 0, 1.2, 0]), "sound places stay sound"
    assert (o.assessment.depth.magnitude, o.assessment.length.magnitude) == pytest.approx((3.4, 242))


def test_sound_wall_beyond_the_loss_does_not_stretch_the_profile_more(judge):
    """Only the last sound station before and the first after the loss belong to it."""
    longer = "station mm,depth mm\n-300,0\n-100,0\n" + PROFILE.partition("\n")[2] + "400,0\n"
    same = BARE | {"assessment__interaction": None, "assessment__interaction_reason": None, "defect__pits": None,
                   "defect__profile": "p.csv", "defect__depth": "3 mm", "defect__length": "220 mm",
                   "defect__length_allowance": "22 mm"}
    a, b = (judge("HB-34.toml", files={"p.csv": text}, **same).assessment for text in (PROFILE, longer))
    assert b.governing.magnitude == a.governing.magnitude
    assert b.river.x == pytest.approx(a.river.x, abs=1e-9) and b.river.depth == pytest.approx(a.river.depth)


def test_a_stated_depth_above_the_readings_raises_the_deepest_of_them(judge):
    o = judge("HB-27.toml", defect__depth="3.9 mm", uncertainty=None)
    assert o.assessment.river.greatest == pytest.approx(4.0) == o.assessment.depth.magnitude
    assert any("was raised to it" in a["text"] for a in o.recorder.assumptions)


def test_a_box_alone_has_no_shape(judge):
    o = judge(defect__grid=None)
    assert o.assessment.shape is None and o.assessment.river is None
    assert record.build(o)["clusters"] is None and record.build(o)["profile"] is None
    assert "effective area" not in {f.key for f in o.assessment.forms}

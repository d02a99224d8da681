"""Layouts of units: against every set in every order at every breakpoint, by hand, and why there is none."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc.errors import CalculationError
from wrapcalc.searches import unit_layout_order, unit_layout_sets
from wrapcalc.searches.unit_layout import OBJECTIVES, Best, KeepOut, Layout, Problem, Unit, best

UNITS, WASTE, JOINTS, SYMMETRY, AGE = OBJECTIVES
property_test = settings(deadline=None, max_examples=150)
#: Whole numbers per mm of the second route, and its least distance from a closed keep-out: a millionth of a mm.
MM, APART = 8_000_000, 8


# -- the second route: every set, every order, every breakpoint and a dense row of shifts -----------------------------
def ages_of(p: Problem, widths: tuple[float, ...]) -> list[int] | None:
    """Age ranks with the oldest pieces taken; None where the stock does not have them."""
    ordered = max((u.age_rank for u in p.units if u.count is not None), default=-1) + 1
    out = []
    for w, n in Counter(widths).items():
        pieces = sorted(a for u in p.units if u.width == w
                        for a in ([ordered] * n if u.count is None else [u.age_rank] * u.count))
        if len(pieces) < n:
            return None
        out += pieces[:n]
    return out


def stations_of(p: Problem) -> list[float]:
    return list(p.deepest) or ([(p.damage[0] + p.damage[1]) / 2] if p.damage else [0.0])


def joints_of(p: Problem, order: tuple[float, ...]) -> list[tuple[int, int]]:
    """Both sides of each joint, from the start of the set, the lower first."""
    out, at = [], 0
    for w in order[:-1]:
        at += round(w * MM)
        out.append((min(at, at - round(p.joint * MM)), max(at, at - round(p.joint * MM))))
        at -= round(p.joint * MM)
    return out


def shifts_of(p: Problem, joints: list[tuple[int, int]], total: int) -> np.ndarray:
    """All shifts at which something can change or be best, and some between."""
    need = [round(x * MM) for x in p.need]
    taper, beyond = round(p.taper * MM), round(p.beyond * MM)
    low, high = need[1] + taper - total, need[0] - taper
    edges = [round(x * MM) for x in stations_of(p)] + [round(x * MM) for x in p.damage or ()]
    for k in p.keep_outs:
        edges += [round(k.start * MM) - APART, round(k.end * MM) + APART]
    places = [x for joint in joints for x in joint] + [-beyond, total + beyond]
    tied = [e - x for e in edges for x in places]
    targets = [round(x * MM) for x in stations_of(p)]
    crossing = [(a + b - x - y) // 2 for a, b in itertools.product(targets, repeat=2)
                for x, y in itertools.combinations_with_replacement(places, 2)]
    middle = (need[0] + need[1] - total) // 2
    mirrored = [2 * middle - s for s in tied]
    out = np.unique([low, high, middle, *tied, *crossing, *mirrored, *np.linspace(low, high, 41).astype(int)])
    return out[(out >= low) & (out <= high)]


def brute(p: Problem) -> list[tuple]:
    """Best rank of every set that can be laid: over damage, objectives, widths, start."""
    named = [*p.objectives, *(o for o in OBJECTIVES if o not in p.objectives)]
    widths = sorted({u.width for u in p.units})
    found = []
    for n in range(1, (1 if p.single else p.most_units) + 1):
        for chosen in itertools.combinations_with_replacement(widths, n):
            ages = ages_of(p, chosen)
            if ages is not None:
                ranks = [r for order in sorted(set(itertools.permutations(chosen)))
                         if (r := rank_of(p, order, sum(ages), named))]
                found += [min(ranks)] if ranks else []
    return sorted(found)


def rank_of(p: Problem, order: tuple[float, ...], age: int, named: list[str]) -> tuple | None:
    joint, taper, beyond = round(p.joint * MM), round(p.taper * MM), round(p.beyond * MM)
    total = sum(round(w * MM) for w in order) - (len(order) - 1) * joint
    joints = joints_of(p, order)
    s = shifts_of(p, joints, total)
    first, last, ok = s - beyond, s + total + beyond, np.ones(len(s), dtype=bool)
    for k in p.keep_outs:
        a, b = round(k.start * MM) - APART, round(k.end * MM) + APART
        if k.rule == "no part":
            ok &= (last <= a) | (first >= b)
        elif k.rule == "no end":
            ok &= ((first <= a) | (first >= b)) & ((last <= a) | (last >= b))
        else:
            for x, y in joints:
                ok &= (s + y <= a) | (s + x >= b)
    s = s[ok]
    if not len(s):
        return None
    over, away = np.zeros(len(s), dtype=int), np.full(len(s), np.inf)
    if p.butted:
        for x, y in joints:
            if p.damage:
                over |= (s + y > round(p.damage[0] * MM)) & (s + x < round(p.damage[1] * MM))
            for at in stations_of(p):
                at = round(at * MM)
                away = np.minimum(away, np.maximum(np.maximum(s + x - at, at - (s + y)), 0))
    need = [round(x * MM) for x in p.need]
    columns = {UNITS: np.full(len(s), len(order)), AGE: np.full(len(s), age),
               WASTE: np.full(len(s), (total - 2 * taper - need[1] + need[0]) / MM), JOINTS: -away / MM,
               SYMMETRY: np.abs(2 * s + total - need[0] - need[1]) / 2 / MM}
    ranks = np.stack([over, *(columns[o] for o in named), s / MM], axis=1)
    top = ranks[np.lexsort(ranks.T[::-1])[0]].tolist()
    return (*top[:-1], order, top[-1])


def rank_found(p: Problem, layout: Layout) -> tuple:
    named = [*p.objectives, *(o for o in OBJECTIVES if o not in p.objectives)]
    values = [-layout.values[o] if o == JOINTS else layout.values[o] for o in named]
    return (float(layout.over_damage), *values, layout.widths, layout.start)


def agree(ours: tuple, theirs: tuple) -> bool:
    return ours[6] == theirs[6] and np.allclose([*ours[:6], ours[7]], [*theirs[:6], theirs[7]], rtol=0, atol=1e-6)


def obeys(p: Problem, found: Layout) -> None:
    """Everything that must hold of a layout, from its printed fields alone."""
    end = found.start + sum(found.widths) - (len(found.widths) - 1) * p.joint
    assert found.cover == pytest.approx((found.start + p.taper, end - p.taper), abs=1e-6)
    assert found.footprint == pytest.approx((found.start - p.beyond, end + p.beyond), abs=1e-6)
    assert found.cover[0] <= p.need[0] + 1e-6 and found.cover[1] >= p.need[1] - 1e-6
    assert len(found.widths) <= (1 if p.single else p.most_units)
    assert sorted(ages_of(p, found.widths)) == sorted(found.age_ranks)
    joints = [(found.start + x / MM, found.start + y / MM) for x, y in joints_of(p, found.widths)]
    assert np.allclose(found.joints, joints, rtol=0, atol=1e-6) and len(found.joints) == len(joints)
    for k in p.keep_outs:
        if k.rule == "no part":
            assert found.footprint[1] < k.start or found.footprint[0] > k.end
        elif k.rule == "no end":
            assert not any(k.start <= x <= k.end for x in found.footprint)
        else:
            assert not any(x <= k.end and y >= k.start for x, y in found.joints)
    over = p.damage is not None and p.butted and any(
        y > p.damage[0] + 1e-9 and x < p.damage[1] - 1e-9 for x, y in found.joints)
    assert found.over_damage == over
    away = min((max(x - at, at - y, 0) for x, y in found.joints for at in stations_of(p)), default=math.inf)
    assert found.values[JOINTS] == pytest.approx(away if p.butted else math.inf, abs=1e-6)
    assert found.values[UNITS] == len(found.widths) and found.values[AGE] == sum(found.age_ranks)
    assert found.values[WASTE] == pytest.approx(found.cover[1] - found.cover[0] - (p.need[1] - p.need[0]), abs=1e-6)
    assert found.values[SYMMETRY] == pytest.approx(abs(sum(found.cover) - sum(p.need)) / 2, abs=1e-6)


# -- problems ---------------------------------------------------------------------------------------------------------
whole = st.integers


@st.composite
def problems(draw, most: int = 4, kinds: int = 3) -> Problem:
    step = draw(st.sampled_from([0.7, 5.0, 25.0, 25.4]))
    widths = draw(st.lists(whole(math.ceil(60 / step), math.floor(300 / step)), min_size=1, max_size=kinds))
    count = st.one_of(st.none(), whole(0, 3))
    units = tuple(Unit(round(w * step, 4), draw(count), draw(whole(0, 3))) for w in widths)
    butted = draw(st.booleans())
    joint = -float(draw(st.sampled_from([0, 0, 3, 12]))) if butted else float(draw(st.sampled_from([0, 20, 50])))
    like = sum(draw(st.sampled_from(units)).width - joint for _ in range(draw(whole(1, most)))) / 2
    half, off = max(20, math.floor(like * draw(st.sampled_from([0.5, 0.8, 0.95, 1])))), draw(whole(-60, 60))
    rules = draw(st.lists(st.sampled_from(["no part", "no end", "no end", "no joint", "no joint"]), max_size=4))
    keep_outs = []
    for rule in rules:
        at, long = draw(whole(-450, 450)), draw(st.sampled_from([0, 10, 30, 120]))
        if rule == "no part" and at + long >= off - half and at <= off + half:
            at += 1000
        keep_outs.append(KeepOut(at, at + long, rule))
    wide = draw(whole(0, half))
    return Problem(
        (off - half, off + half), units, joint, butted, 0.0 if butted else float(draw(st.sampled_from([0, 15, 40]))),
        float(draw(st.sampled_from([0, 20]))) if butted else 0.0, draw(whole(1, most)), tuple(keep_outs),
        tuple(draw(st.lists(whole(-300, 300), max_size=3))),
        draw(st.sampled_from([None, (off - wide, off + wide // 2)])),
        tuple(draw(st.permutations(OBJECTIVES))[:draw(whole(0, 5))]), draw(whole(0, 9)) == 0)


@property_test
@given(problems())
def test_best_and_alternatives_are_those_of_trying_everything(p):
    """independent: second route, every set in every order at every breakpoint and at dense shifts."""
    ours, theirs = best(p), brute(p)
    assert ours.exact and ours.alternatives_exact
    if not theirs:
        assert ours.layout is None and ours.alternatives == () and ours.reason
        return
    layouts = [ours.layout, *(a.layout for a in ours.alternatives)]
    assert len(layouts) == min(4, len(theirs))
    for found, rank in zip(layouts, theirs, strict=False):
        assert agree(rank_found(p, found), rank), (rank_found(p, found), rank)
        obeys(p, found)


@settings(deadline=None, max_examples=60)
@given(problems(), st.sampled_from([1, 2, 5]), st.sampled_from([1, 3, 64]))
def test_small_batches_change_nothing(p, growth, bits):
    """In which order sets are looked at, and how many shifts at once, is a matter of speed alone."""
    before = unit_layout_sets.BATCH, unit_layout_sets.GROWTH
    whole_at_once = best(p)
    try:
        unit_layout_sets.BATCH, unit_layout_sets.GROWTH, unit_layout_order.BITS = 1, growth, bits
        assert replace(best(p), counts={}) == replace(whole_at_once, counts={})
    finally:
        (unit_layout_sets.BATCH, unit_layout_sets.GROWTH), unit_layout_order.BITS = before, 64


@settings(deadline=None, max_examples=25)
@given(problems(most=12, kinds=4), st.randoms(use_true_random=False))
def test_long_sets_obey_and_no_random_order_is_better(p, random):
    """independent: random orders and shifts of the same set and of the other sets told."""
    p = replace(p, need=(p.need[0] - 500, p.need[1] + 500), damage=None, keep_outs=tuple(
        k for k in p.keep_outs if k.rule != "no part"), most_units=12, single=False)
    ours = best(p)
    if ours.layout is None:
        return
    named = [*p.objectives, *(o for o in OBJECTIVES if o not in p.objectives)]
    layouts = [ours.layout, *(a.layout for a in ours.alternatives)]
    ranks = [rank_found(p, x)[:6] for x in layouts]
    assert ranks == sorted(ranks) and len({tuple(sorted(x.widths)) for x in layouts}) == len(layouts)
    for found, rank in zip(layouts, ranks, strict=True):
        obeys(p, found)
        for _ in range(20):
            order = list(found.widths)
            random.shuffle(order)
            other = rank_of(p, tuple(order), sum(found.age_ranks), named)
            assert other is None or np.round(other[:6], 6).tolist() >= np.round(rank, 6).tolist()


# -- by hand ----------------------------------------------------------------------------------------------------------
STOCK = (Unit(200, None), Unit(300, None), Unit(450, None))


def sleeves(**changes) -> Problem:
    return replace(Problem((-362.5, 362.5), STOCK, 0, True, 0, 0, 8), **changes)


def test_butted_sleeves_by_hand():
    """independent: by hand. 300 + 450 = 750 over 725; the free 25 mm let the joint go to 87.5 mm from the middle."""
    found = best(sleeves()).layout
    assert found.widths == (300, 450) and found.start == -387.5 and found.joints == ((-87.5, -87.5),)
    assert found.cover == found.footprint == (-387.5, 362.5) and not found.over_damage
    assert found.values == {UNITS: 2, WASTE: 25, JOINTS: 87.5, SYMMETRY: 12.5, AGE: 0}


def test_overlapping_bands_by_hand():
    """independent: by hand. 450 + 450 - 50 = 850; 200 + 200 + 450 - 2 x 50 = 750, both over 725."""
    bands = sleeves(joint=50, butted=False)
    assert best(bands).layout.widths == (450, 450) and best(bands).layout.values[WASTE] == 125
    least = best(replace(bands, objectives=(WASTE,))).layout
    assert sorted(least.widths) == [200, 200, 450] and least.values[WASTE] == 25 and least.values[SYMMETRY] == 0
    assert least.values[JOINTS] == math.inf and all(y - x == 50 for x, y in least.joints)


def test_tapers_do_not_count_as_cover_and_fillets_do_not_either():
    """independent: by hand. A band of 300 with tapers of 40 covers 220; a sleeve of 300 with fillets covers 300."""
    band = best(Problem((-110, 110), (Unit(300, None),), 50, False, 40, 0, 3)).layout
    assert band.widths == (300,) and band.cover == (-110, 110) and band.footprint == (-150, 150)
    assert len(best(Problem((-110, 111), (Unit(300, None),), 50, False, 40, 0, 3)).layout.widths) == 2
    sleeve = best(Problem((-150, 150), (Unit(300, None),), 0, True, 0, 20, 3)).layout
    assert sleeve.widths == (300,) and sleeve.footprint == (-170, 170)


def test_gaps_count_as_cover_and_keep_their_near_side_off():
    """independent: by hand. 200 + 10 + 200 covers 410; centred, its gap runs from -5 to 5."""
    found = best(Problem((-205, 205), (Unit(200, 2),), -10, True, 0, 0, 2, deepest=(50,))).layout
    assert found.joints == ((-5, 5),) and found.values[JOINTS] == 45 and found.values[WASTE] == 0


def test_one_unit_over_the_damage_comes_before_fewer_units():
    """independent: by hand. Two of 200 cover 400 only with their joint at 0; 100 + 200 + 100 clears -100 to 100."""
    p = Problem((-200, 200), (Unit(200, 2), Unit(100, 2)), 0, True, 0, 0, 3, damage=(-100, 100))
    found = best(p)
    assert found.layout.widths == (100, 200, 100) and not found.layout.over_damage
    assert sorted(found.alternatives[0].layout.widths) == [100, 200, 200]
    other = found.alternatives[1]
    assert other.layout.widths == (200, 200) and other.layout.over_damage and other.costs[UNITS] == -1
    assert other.costs[JOINTS] == 100  # 100 mm away against none
    wider = best(replace(p, damage=(-100, 100.5))).layout
    assert wider.over_damage and wider.widths == (200, 200)


def test_oldest_pieces_go_first_and_ordered_ones_last():
    """independent: by hand. Of 200 wide: one of rank 0, one of rank 2, then to order at rank 3."""
    units = (Unit(200, 1, 2), Unit(200, None, 0), Unit(200, 1, 0))
    found = best(Problem((-300, 300), units, 0, True, 0, 0, 3)).layout
    assert found.age_ranks == (0, 2, 3) and found.values[AGE] == 5
    units = (Unit(200, None), Unit(100, 2, 0), Unit(300, 1, 1))
    order = Problem((-200, 200), units, 0, True, 0, 0, 4, objectives=(AGE,))
    assert sorted(best(order).layout.widths) == [100, 300]


def test_what_lies_on_the_edge_of_a_keep_out_lies_inside():
    """independent: by hand. Room of just the footprint is none; a millionth of a millimetre is kept from a weld."""
    p = Problem((-90, 90), (Unit(200, 1),), 0, True, 0, 0, 1, (KeepOut(-300, -100, "no part"),
                                                              KeepOut(100, 300, "no part")))
    assert best(p).reason == "no room between keep-outs"
    two = Problem((-100, 100), (Unit(105, 2),), 0, True, 0, 0, 2, (KeepOut(0, 0, "no joint", "girth weld"),))
    assert abs(best(replace(two, objectives=(SYMMETRY,))).layout.joints[0][0]) == 1e-6
    assert best(two).layout.values[JOINTS] == 5


def test_an_end_may_lie_beyond_a_keep_out_of_ends_but_not_in_it():
    """independent: by hand. A band from -150 to 150 would end in 120..160; whole crossing ends at 160 and more."""
    p = Problem((-100, 100), (Unit(300, None),), 0, True, 0, 0, 1, (KeepOut(120, 160, "no end"),))
    assert best(p).layout.footprint == pytest.approx((-139.999999, 160.000001), abs=1e-9)
    upstream = best(replace(p, keep_outs=(KeepOut(120, 200.5, "no end"),)))
    assert upstream.layout.footprint == pytest.approx((-180.000001, 119.999999), abs=1e-9)


def test_laps_stay_off_keep_outs_of_joints():
    """independent: by hand. A lap of 50 beside the weld, on either side; the smaller start is told."""
    p = Problem((-120, 120), (Unit(200, 2),), 50, False, 0, 0, 2, (KeepOut(-2, 2, "no joint", "weld"),))
    found = best(p).layout
    assert found.widths == (200, 200) and found.joints[0] == pytest.approx((-52.000001, -2.000001), abs=1e-9)
    assert found.values[SYMMETRY] == pytest.approx(27.000001)


def test_a_single_unit_is_one_unit():
    assert best(sleeves(single=True)).reason == "no width fits"
    assert best(sleeves(single=True, need=(-200, 200))).layout.widths == (450,)


# -- why there is none ------------------------------------------------------------------------------------------------
def reason(p: Problem) -> tuple[str, dict[str, float]]:
    found = best(p)
    assert found.layout is None and found.alternatives == () and found.exact
    return found.reason, found.numbers


def test_no_width_fits():
    """independent: by hand, 8 x 450 = 3600; with a lap of 50 and tapers of 25: 3600 - 350 - 50 = 3200."""
    assert reason(sleeves(need=(-1801, 1800))) == ("no width fits", {"need": 3601, "greatest cover": 3600})
    bands = sleeves(need=(-1601, 1600), joint=50, butted=False, taper=25)
    assert reason(bands) == ("no width fits", {"need": 3201, "greatest cover": 3200})


def test_stock_too_small():
    """independent: by hand, 450 + 200 = 650 of stock."""
    p = sleeves(units=(Unit(450, 1), Unit(200, 1), Unit(300, 0)))
    assert reason(p) == ("stock too small", {"need": 725, "greatest cover": 650})
    assert reason(replace(p, units=(Unit(450, 0),)))[0] == "stock too small"


@pytest.mark.parametrize("where", [(-400, -362.5), (0, 0), (100, 900), (362.5, 400)])
def test_keep_outs_cover_the_damage(where):
    found, numbers = reason(sleeves(keep_outs=(KeepOut(*where, "no part", "flange"),)))
    assert found == "keep-outs cover the damage"
    assert numbers == {"keep-out start": where[0], "keep-out end": where[1], "need start": -362.5, "need end": 362.5}


def test_no_room_between_keep_outs():
    """independent: by hand. Least set over 725 is 750 (300 + 450), with fillets of 20 it needs 790 of 789."""
    p = sleeves(beyond=20, keep_outs=(KeepOut(-500, -394, "no part"), KeepOut(395, 500, "no part")))
    assert reason(p) == ("no room between keep-outs", {"room": 789, "need": 725, "least footprint": 790})
    fits = best(replace(p, beyond=19, objectives=(SYMMETRY,))).layout
    assert fits.footprint == pytest.approx((-393.999999, 394.000001), abs=1e-9) and fits.values[SYMMETRY] == 1e-6
    joints = sleeves(keep_outs=(KeepOut(-300, 300, "no joint"),), units=(Unit(400, 2),))
    assert reason(joints) == ("no room between keep-outs", {"room": math.inf, "need": 725, "least footprint": 800})


# -- what is told of a search that was cut ----------------------------------------------------------------------------
def test_a_search_that_was_cut_says_so(monkeypatch):
    p = sleeves(need=(-701, 701), objectives=(WASTE,))
    whole_search = best(p)
    assert whole_search.exact and whole_search.counts["most units tried"] == 8
    monkeypatch.setattr(unit_layout_sets, "LIMIT", 40)
    cut = best(p)
    assert not cut.exact and not cut.alternatives_exact and cut.counts["most units tried"] < 8
    obeys(p, cut.layout)
    monkeypatch.setattr(unit_layout_sets, "LIMIT", 2)
    nothing = best(p)
    assert nothing.layout is None and nothing.reason == "search too large" and not nothing.exact
    assert "least footprint" not in nothing.numbers


@settings(deadline=None, max_examples=60)
@given(problems(), st.sampled_from([3, 6, 12, 20, 400_000]), st.sampled_from([10, 100, 1000, 400_000_000]))
def test_what_a_cut_search_calls_exact_is_the_best_of_all(p, limit, work):
    before, uncut = (unit_layout_sets.LIMIT, unit_layout_sets.WORK), best(p)
    try:
        unit_layout_sets.LIMIT, unit_layout_sets.WORK = limit, work
        cut = best(p)
    finally:
        unit_layout_sets.LIMIT, unit_layout_sets.WORK = before
    if not uncut.counts:  # hopeless without a search
        assert cut == uncut
        return
    if cut.exact:
        assert cut.layout == uncut.layout
    if cut.alternatives_exact:
        assert cut.alternatives == uncut.alternatives
    if cut.layout is not None:
        obeys(p, cut.layout)


def test_a_cut_after_the_best_is_proved_touches_the_alternatives_alone(monkeypatch):
    p = sleeves(units=(Unit(400, None), Unit(100, None)), need=(-390, 390))
    first = best(p)
    monkeypatch.setattr(unit_layout_sets, "LIMIT", 5)
    cut = best(p)
    assert cut.exact and not cut.alternatives_exact and cut.layout == first.layout
    assert len(cut.alternatives) < len(first.alternatives)
    monkeypatch.undo()
    nothing_wasted = sleeves(need=(-700, 700), objectives=(WASTE,))  # no set of more units can waste less than none
    first = best(nothing_wasted)
    monkeypatch.setattr(unit_layout_sets, "LIMIT", 40)
    cut = best(nothing_wasted)
    assert cut.counts["most units tried"] < 8 and cut.exact and cut.layout == first.layout


def test_more_widths_than_one_number_can_hold_are_searched_all_the_same():
    """independent: by hand. Of 200, 205 .. 395 pairs that make 725 are 330 + 395 .. 360 + 365: none is nearer."""
    p = sleeves(units=tuple(Unit(200 + 5 * i, None) for i in range(40)), most_units=2, objectives=(UNITS, WASTE))
    found = best(p)
    assert found.exact and sum(found.layout.widths) == 725 and all(sum(a.layout.widths) == 725
                                                                   for a in found.alternatives)
    assert found.layout.values[JOINTS] == 32.5 and sorted(found.layout.widths) == [330, 395]
    one_at_a_time = [best(replace(p, units=(Unit(w, 1), Unit(725 - w, 1)))).layout for w in range(330, 365, 5)]
    assert max(x.values[JOINTS] for x in one_at_a_time) == 32.5


def test_a_search_that_has_spent_its_work_says_so(monkeypatch):
    p = sleeves(need=(-701, 701), objectives=(JOINTS,), damage=(-50, 50))
    monkeypatch.setattr(unit_layout_sets, "WORK", 1)
    nothing = best(p)
    assert nothing.layout is None and nothing.reason == "search too large" and not nothing.exact
    monkeypatch.setattr(unit_layout_sets, "WORK", 600)
    some = best(p)
    assert some.layout is not None and not some.alternatives_exact
    obeys(p, some.layout)


def test_counts_are_those_of_the_sets():
    """independent: by hand. Of 200, 300, 450 in pairs only 300 + 450 and 450 + 450 cover 725; eight of threes do."""
    found = best(sleeves(most_units=2)).counts
    assert (found["sets"], found["sets with room"], found["sets searched"]) == (2, 2, 2)
    assert isinstance(best(sleeves()), Best)


@pytest.mark.parametrize(("changes", "words"), [
    ({"need": (1, 0)}, "need: found 1 to 0 mm"), ({"need": (0, math.nan)}, "need: found 0 to nan"),
    ({"damage": (0, 2e6)}, "damage: found"), ({"joint": 5}, r"joint of 5 mm: found -5"),
    ({"joint": -5, "butted": False}, r"joint of -5 mm: found -5"), ({"taper": -1}, "taper: found -1"),
    ({"beyond": math.inf}, "beyond: found inf"), ({"deepest": (math.nan,)}, "deepest: found nan"),
    ({"units": (Unit(50, 1),), "joint": 50, "butted": False}, "unit width: found 50; allowed: a width above"),
    ({"units": (Unit(math.nan, 1),)}, "unit width: found nan"), ({"units": (Unit(50, -1),)}, "unit count and age rank"),
    ({"units": ()}, "units and most units: found 0 kinds"), ({"most_units": 0}, "units and most units"),
    ({"objectives": ("cheapest",)}, "objective or rule: found cheapest"),
    ({"objectives": (UNITS, UNITS)}, "objectives: found .*; allowed: each once"),
    ({"keep_outs": (KeepOut(0, 1, "no entry"),)}, "objective or rule: found no entry; allowed: no part, no end"),
    ({"keep_outs": (KeepOut(2, 1, "no end", "flange"),)}, "keep-out flange: found 2 to 1 mm")])
def test_what_cannot_be_asked_is_named(changes, words):
    with pytest.raises(CalculationError, match=f"layout of units: {words}"):
        best(sleeves(**changes))

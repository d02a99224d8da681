"""The set of units of many rows at once is the one that the exact search finds for each."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.campaign.rows.test_wrap_rows import CLOTH, line
from tests.helpers.single_cases import written
from wrapcalc.campaign.rows.wrap_extent_rows import UnitSets
from wrapcalc.fields import Given
from wrapcalc.searches.unit_layout import KeepOut, Problem, Unit, best
from wrapcalc.stages.site.layout import order_of

LENGTH = st.floats(0, 1).map(lambda x: round(10 * 10 ** (x * 2.3), 3))
OVERLAP, ROOM = st.floats(20, 240).map(lambda x: round(x, 3)), st.floats(60, 900).map(lambda x: round(x, 3))
ASKED = st.tuples(LENGTH, OVERLAP, OVERLAP, ROOM, ROOM, st.floats(5, 90).map(lambda x: round(x, 3)), st.booleans())


@pytest.mark.parametrize("more", [{}, CLOTH, {"layout__first": "least waste"},
                                  CLOTH | {"layout__first": "least waste"}], ids=str)
@given(rows=st.lists(ASKED, min_size=1, max_size=6))
@settings(max_examples=60, deadline=None)
def test_the_set_is_that_of_the_exact_search(more, rows):
    """independent: searches.unit_layout, which looks at every order and place."""
    bundle = written(line("gas", more))
    sets, system = UnitSets(bundle), bundle.system
    length, up, down, left, right, end, single = (np.array(v) for v in zip(*rows, strict=True))
    damage = -length / 2 - sets.off, length / 2 + sets.off
    bounds = -length / 2 - left, length / 2 + right
    placed = sets.place((-length / 2 - up, length / 2 + down), damage, bounds, end, single.astype(bool))
    cover, counts = sets.cover(placed.chosen, end), sets.counts(placed.chosen)
    for i in range(len(rows)):
        asked = Problem(
            (-length[i] / 2 - up[i], length[i] / 2 + down[i]), tuple(Unit(w, None) for w in sets.widths),
            0.0 if sets.butted else system.value("lay_up.band_overlap").magnitude, sets.butted,
            0.0 if sets.butted else end[i], end[i] if sets.butted else 0.0,
            int(system.value("sleeve.most_units" if sets.butted else "lay_up.most_units").magnitude),
            (KeepOut(-9e5, bounds[0][i], "no part"), KeepOut(bounds[1][i], 9e5, "no part")), (),
            (damage[0][i], damage[1][i]), order_of(bundle), bool(single[i]))
        found = best(asked).layout
        free = found or best(Problem(**{n: () if n == "keep_outs" else v for n, v in vars(asked).items()})).layout
        assert placed.crowded[i] == (found is None and free is not None), rows[i]
        if free is None:
            assert placed.chosen[i] == -1 and math.isnan(cover[i]) and math.isnan(counts["units"][i])
            continue
        assert counts["units"][i] == len(free.widths), rows[i]
        assert cover[i] == pytest.approx(free.cover[1] - free.cover[0], rel=1e-9)
        for width in sets.widths:
            assert counts[f"units of {width:g} mm"][i] == free.widths.count(width), rows[i]


def test_counts_of_each_width_are_not_told_where_two_sets_are_as_good():
    bundle = written(line("gas", {}))
    widths = tuple(Given(w, "mm", f"{w:g} mm", "length", "", "") for w in (100.0, 200.0, 300.0))
    system = bundle.system.model_copy(update={"sleeve": bundle.system.sleeve.model_copy(update={"widths": widths})})
    sets = UnitSets(replace(bundle, system=system))
    half = np.array([195.0, 145.0])  # 390 mm: 100 + 300 or 200 + 200; 290 mm: 300 alone
    far = np.full(2, 5e3)
    placed = sets.place((-half, half), (-half / 9, half / 9), (-far, far), np.full(2, 30.0), np.zeros(2, bool))
    counts = sets.counts(placed.chosen)
    assert sets.cover(placed.chosen, np.full(2, 30.0)).tolist() == [400, 300] and counts["units"].tolist() == [2, 1]
    assert [math.isnan(counts[f"units of {w} mm"][0]) for w in (100, 200, 300)] == [True] * 3
    assert [counts[f"units of {w} mm"][1] for w in (100, 200, 300)] == [0, 0, 1]

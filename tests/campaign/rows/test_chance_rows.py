"""Probability on arrays: the integral of all rows at once is the integral of each."""

import numpy as np
import pytest

from tests.helpers.single_cases import PLANT, written
from wrapcalc.campaign.rows.chance_rows import ChanceRows
from wrapcalc.campaign.rows.life_rows import Records, limit_rows
from wrapcalc.campaign.rows.method_rows import Sizes, answers, line_of
from wrapcalc.campaign.rows.rounding import Unrounded
from wrapcalc.searches.exceedance import by_integral

BOTH = {"uncertainty__depth_tolerance": "0.9 mm", "uncertainty__depth_confidence": "80 %",
        "uncertainty__length_tolerance": "15 mm", "uncertainty__length_confidence": "90 %"}
COUNT = 40


@pytest.mark.parametrize("more", [{}, PLANT, {"assessment__method": "original 1991", "assessment__method_reason": "x"}],
                         ids=["gas", "plant", "1991"])
@pytest.mark.parametrize("along", [True, False])
def test_the_integral_of_all_rows_is_that_of_each(monkeypatch, more, along):
    """Independent: `by_integral`, row by row; blocks of 7 rows change nothing."""
    fields = {n: v for n, v in BOTH.items() if along or "length" not in n} | more
    bundle = written(fields)
    line, pick = line_of(bundle), np.random.default_rng(2)
    wall, depth = pick.uniform(8, 8.6, COUNT), pick.uniform(1.5, 6.0, COUNT)
    length = np.exp(pick.uniform(0, 6, COUNT))
    s = Sizes(wall, depth + 0.2, length + 10, (depth + 0.2) / wall, np.full(COUNT, 50.0))
    records, how = Records(bundle, line), Unrounded()
    rows = ChanceRows(bundle, line, records)
    with np.errstate(all="ignore"):
        found = answers(line, s, how)
        chance, of_depth = rows.chances(s, depth, length, found, how)
        monkeypatch.setattr("wrapcalc.campaign.rows.chance_rows._ROWS", 7)
        assert rows.chances(s, depth, length, found, how)[0] == pytest.approx(chance, rel=1e-12, abs=0)
    limit, variant = limit_rows(line, s, how), records.variant(found)
    for i in range(COUNT):
        record = records.by[variant[i] if isinstance(variant, np.ndarray) else variant]
        alone = by_integral(lambda d, L, t=wall[i], r=record: r.failure(d, L, np.full(np.shape(d), t)), records.target,
                            limit[i], depth[i], rows._deviation, length[i], rows._along)
        assert chance[i] == pytest.approx(alone.probability, rel=1e-6, abs=1e-15)
        assert of_depth[i] <= chance[i] * (1 + 1e-9)

"""Dents, gouges and cracks against the criteria of the single case: another route through the same data."""

import numpy as np
import pytest

from tests.helpers.single_cases import written
from wrapcalc.campaign.rows.other_damage import KINDS, NO_STRENGTH, OtherDamage
from wrapcalc.campaign.rows.strength import DISPOSITIONS
from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages.assessment.disposition import dispose
from wrapcalc.standards.criteria import NO_DATA

ROWS = [(3.0, 0.5), (9.0, 2.0), (9.0, 6.0), (15.0, 11.0), (26.0, 1.0), (26.0, 6.5), (0.5, 4.0), (np.nan, 3.0),
        (12.0, np.nan), (np.nan, np.nan), (5.0, 8.0), (8.0, 4.0)]
LINES = {"gas": {}, "covered gas": {"service__high_consequence_area": "yes"},
         "liquid": {"service__service": "liquid line", "service__class_location": None}}


def single(fields, kind, depth, clock):
    """The criteria of the case of one row."""
    fields = fields | {"defect__kind": kind}
    if not np.isnan(depth):
        fields[f"features__{kind}_depth"] = f"{depth!r} mm"
    if kind == "dent" and not np.isnan(clock):
        fields["features__dent_clock"] = f"{int(clock) or 12}:{int(clock % 1 * 60):02d}"
    if kind == "dent" and np.isnan(depth):
        fields.pop("features__dent_clock", None)
    with recording(Recorder()):
        return dispose(written(fields), None, None)


@pytest.mark.parametrize("name", LINES)
@pytest.mark.parametrize("kind", KINDS)
def test_every_row_has_the_criterion_and_the_deadline_of_its_single_case(name, kind):
    rows = [r for r in ROWS if kind == "dent" or np.isnan(r[0]) or r[0] <= 8.74]
    rows = [(d, c if not np.isnan(d) else np.nan) for d, c in rows]  # a case takes no clock of a dent without depth
    damage = OtherDamage(written(LINES[name] | {"defect__depth": "1 mm"}), kind)
    got = damage.judge({"depth": np.array([r[0] for r in rows]), "clock": np.array([r[1] for r in rows])})
    for i, (depth, clock) in enumerate(rows):
        d = single(LINES[name], kind, depth, clock)
        leading = None if d.leading is None else (d.leading.criterion.citation, d.leading.criterion.text)
        mine = damage.criteria[got["criterion"][i]][:2] if got["criterion"][i] >= 0 else None
        assert mine == leading, (depth, clock)
        days = None if d.leading is None else d.leading.criterion.deadline.days
        assert got["deadline_days"][i] == (np.inf if days is None else days)
        assert got["criteria_open"][i] == sum(f.verdict == NO_DATA for r in d.lists for f in r.findings)
        other = d.leading is not None or d.rules_out or kind == "crack"
        assert DISPOSITIONS[got["disposition"][i]] == ("other repair needed" if other else "insufficient data")
        assert other or got["reason"][i] == NO_STRENGTH[kind]


def test_a_crack_is_never_left(tmp_path):
    got = OtherDamage(written({}), "crack").judge({"depth": np.array([np.nan]), "clock": np.array([np.nan])})
    assert DISPOSITIONS[got["disposition"][0]] == "other repair needed"

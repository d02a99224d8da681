"""Several clusters on one joint: one repair, or several that keep the gap of the system, all with the worst layers."""

from __future__ import annotations

import pytest

from wrapcalc import record
from wrapcalc.render.drawings import drawings
from wrapcalc.stages.job import WRAP

HEAD = "name,start mm,length mm,width mm,depth mm,clock\n"
NEAR = "A,0,62,55,3.1,11:10\nB,74,48,40,4.6,12:20\nC,131,36,44,2.7,12:40\n"


def far(start: float) -> str:
    return f"E,{start:g},44,38,2.2,12:50\nF,{start + 50:g},50,46,3.8,12:30\n"


@pytest.fixture
def colony(judge):
    """colony(start) runs HB-34 with its second group of pits so far downstream, in mm."""
    return lambda start, **more: judge(
        "HB-34.toml", files={"HB-34-pits.csv": HEAD + NEAR + far(start)}, defect__length=f"{start + 100:g} mm",
        restriction=None, **more)


def test_groups_far_apart_are_two_repairs_with_the_layers_of_the_worst(colony):
    one, two = colony(302), colony(2500)
    assert one.decision.word == two.decision.word == WRAP
    assert len(one.design.extent.repairs) == 1 and len(two.design.extent.repairs) == 2
    assert "in 2 separate repairs" in two.decision.sentence
    assert two.design.laid.required.magnitude == pytest.approx(one.design.laid.required.magnitude, rel=1e-9)
    first, last = two.design.extent.repairs
    assert first.length.magnitude == pytest.approx(167 + 10) and last.length.magnitude == pytest.approx(100 + 10)
    # middles of the two groups: 83.5 and 2550 mm from the upstream edge of all damage
    assert last.centre - first.centre == pytest.approx(2550 - 83.5)
    for r in two.design.extent.repairs:
        assert r.full.magnitude == pytest.approx(r.length.magnitude + 2 * two.design.extent.overlap.magnitude)
        assert r.layout.cover.magnitude >= r.full.magnitude


def test_the_order_is_for_all_repairs_together(colony):
    two = colony(2500)
    units = sum(line.quantity.magnitude for line in two.order if line.item.startswith("Sleeve"))
    assert units == sum(len(r.layout.widths) for r in two.design.extent.repairs)
    one = colony(302)
    filler = [next(line for line in o.order if line.item.startswith("Filler")).quantity.magnitude for o in (one, two)]
    assert filler[1] > 0 and filler[0] > 0


def test_they_become_one_where_the_gap_of_the_system_would_be_missed(colony):
    """Sound metal between the groups, less both overlaps, against the least gap of the sheet."""
    o = colony(2500)
    least = o.bundle.system.value("ends.least_gap").magnitude
    apart = 2 * o.design.extent.overlap.magnitude + least + 10
    edge = 167 + apart
    assert len(colony(round(edge + 1, 3)).design.extent.repairs) == 2
    joined = colony(round(edge - 1, 3))
    assert joined.design is None or joined.design.extent is None or len(joined.design.extent.repairs) == 1


def test_two_repairs_are_drawn_and_their_box_holds_for_both(colony):
    o = colony(2500)
    made = record.build(o)
    assert [r["label"] for r in made["geometry"]["wrap"]["repairs"]] == ["1", "2"]
    assert {"unwrapped pipe", "repair along"} <= set(drawings(made))
    assert o.bears.box and o.bears.restored.magnitude == 7.6

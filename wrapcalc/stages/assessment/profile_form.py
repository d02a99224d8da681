"""The effective-area method: every sub-length of the river-bottom profile, and the closed formula at the weakest."""

from __future__ import annotations

from wrapcalc.case import Bundle
from wrapcalc.case.model import AREA
from wrapcalc.formulas import effective_area
from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.recorder import active
from wrapcalc.searches.sub_lengths import SubLength, weakest_sub_length
from wrapcalc.stages.assessment.forms import Form, Sizes, flow_increment, increment_outside, pressures
from wrapcalc.stages.assessment.kernels import River
from wrapcalc.stages.assessment.shape import mm
from wrapcalc.standards.documents import KIEFNER_VIETH
from wrapcalc.units import show
from wrapcalc.values import Value


def form_area(bundle: Bundle, s: Sizes, river: River, safety: Value) -> tuple[Form, SubLength, Value]:
    """The form, the governing sub-length and its mean depth.

    The search works on the profile with its allowances; the closed formulas are run at the sub-length it finds.
    """
    rec, diameter = active(), bundle.case.value("pipe.outside_diameter")
    flow = flow_increment(bundle)
    outside = increment_outside(bundle)
    found = weakest_sub_length(river.x, river.depth, diameter.magnitude, s.wall.magnitude, flow.magnitude)

    def place(first: int, last: int) -> str:
        return f"{mm(bundle, river.x[first])} to {mm(bundle, river.x[last])}"

    results = rec.procedure(
        "Sub-length with the lowest failure pressure",
        f"all {found.count} sub-lengths between {len(river.x)} stations, area by trapezia; depths with the allowance, "
        "length stretched by its allowance", KIEFNER_VIETH.id, "from memory",
        {"depth used": s.depth, "length used": s.length, "wall used": s.wall, "outside diameter": diameter,
         "flow stress": flow},
        {"effective length": (found.length, "mm"), "effective area": (found.area, "mm**2")},
        [("governs", f"{place(found.start, found.end)} from the upstream end of the profile"),
         *((f"next, {place(a, b)}", show(p, "MPa", system=bundle.case.display)) for a, b, p in found.others)])
    length, area = results["effective length"], results["effective area"]
    mean = effective_area.mean_depth_effective(area, length)
    z = rec.named(strength.length_parameter(length, diameter, s.wall), "Length parameter of the sub-length")
    bulging = rec.named(strength.bulging_factor_085dl(z), "Bulging factor of the sub-length")
    stress = effective_area.failure_stress_effective_area(flow, area, length, s.wall, bulging)
    form = pressures(bundle, AREA, stress, s.wall, safety, "effective area", "SMYS + 69 MPa", outside)
    return form, found, mean

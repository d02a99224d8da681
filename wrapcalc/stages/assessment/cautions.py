"""What the engineer must know besides the numbers: where a form is weak, what a grid says, what nothing here sees."""

from __future__ import annotations

import numpy as np

from wrapcalc.case import Bundle
from wrapcalc.fields import clock_hours
from wrapcalc.recorder import active
from wrapcalc.stages.assessment.forms import Sizes
from wrapcalc.stages.assessment.kernels import River
from wrapcalc.standards.documents import B31G_2012, PRACTICE
from wrapcalc.units import show
from wrapcalc.values import Value


def warn_about_length(z: Value) -> None:
    rec, switch = active(), 20  # where failure_stress_original changes its branch
    if z.magnitude > switch:
        rec.warn(f"Long loss (z = {show(z.magnitude, '')} > {switch}): the original form drops to the "
                 "full-depth rectangle, and the 0.85 dL form may predict too much for deep, flat loss, whose true area "
                 "is larger. A river-bottom profile settles it.", z.origin.ref)
    if switch < z.magnitude <= 16 / 0.893 ** 2:
        rec.warn("The 1991 and 2012 editions switch at slightly different lengths (z = 20.064 and z = 20); this case "
                 "lies between them, so they take different branches.", z.origin.ref)


def warn_about_area(bundle: Bundle, s: Sizes, river: River | None) -> None:
    """What a measured profile says about the box that some forms take instead of it."""
    rec, display = active(), bundle.case.display
    if river is None:
        return
    span = float(river.x[-1] - river.x[0])
    if span > s.length.magnitude + 0.1:  # more than the steep sides that pits of a table have
        rec.warn(f"Sound wall was read {show(span, 'mm', system=display)} apart, allowance included, the length used "
                 f"is {s.length.show(display)}: the loss may reach farther than stated.", "case: defect.length")
    area = float(np.sum((river.depth[1:] + river.depth[:-1]) * np.diff(river.x)) / 2)
    full = s.depth.magnitude * s.length.magnitude
    for share, form in ((2 / 3, "original form"), (0.85, "0.85 dL form")):
        if area > share * full:
            rec.warn(f"The river-bottom area, {show(area, 'mm**2', system=display)}, is more than the {form} assumes "
                     f"({show(share * full, 'mm**2', system=display)}): that form may predict too much; the effective "
                     "area takes the area as measured.", "case: defect")


def warn_besides_strength(bundle: Bundle, eta: Value) -> None:
    """Things that these forms do not see."""
    case, rec = bundle.case, active()
    if eta.magnitude > bundle.tables.value(PRACTICE.id, "deep_pit").magnitude:
        rec.warn(f"The loss is deep ({eta.show(significant=3)} of the wall): consider a leak besides strength.",
                 eta.origin.ref)
    if case.value("pipe.smys").magnitude > bundle.tables.value(B31G_2012.id, "flow_increment_smys_limit").magnitude:
        rec.warn("The flow stress 1.1 SMYS is meant for plain carbon steel; for this grade confirm the method.",
                 "case: pipe.smys")
    if case.pipe.seam_clock and case.defect.clock:
        apart = abs(clock_hours(case.pipe.seam_clock) - clock_hours(case.defect.clock))
        arc = min(apart, 12 - apart) / 12 * np.pi * case.value("pipe.outside_diameter").magnitude
        if arc <= case.value("defect.width").magnitude / 2:
            rec.warn("The longitudinal seam runs through the damage: confirm that the seam itself is not corroded "
                     "preferentially, which these forms do not cover.", "case: pipe.seam_clock")
    rec.assume("The pipe is not in a crossing, station, bridge or platform that asks for a lower design factor, unless "
               "the case says so.", "case: service.lower_design_factor")
    if case.service.restraint is None:
        rec.assume("Axial compression of a restrained pipe by warming is taken as small; an external axial force would "
                   "have to be declared.", "case: service.axial_force")

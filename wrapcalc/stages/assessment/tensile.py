"""Methods on the tensile strength, and the cross-checks: they stand beside the metal-loss forms.

The allowable-stress part of DNV-RP-F101 may be named as the governing method; the other two never govern.
"""

from __future__ import annotations

import numpy as np

from wrapcalc.case import Bundle
from wrapcalc.case.model import DNV, PLANT
from wrapcalc.formulas import corroded_pipe_dnv as dnv
from wrapcalc.formulas import cross_checks as cross
from wrapcalc.formulas import pressure
from wrapcalc.recorder import active
from wrapcalc.searches.complex_shape import weakest_shape
from wrapcalc.searches.interacting import projection_lines
from wrapcalc.stages.assessment.forms import (
    BESIDE,
    COMPLEX,
    CROSS_CHECK,
    INTERACTING,
    LEIS,
    RECORD,
    SINGLE,
    Form,
    Sizes,
)
from wrapcalc.stages.assessment.kernels import River
from wrapcalc.stages.assessment.plant import form_rsf
from wrapcalc.stages.assessment.shape import Shape, mm
from wrapcalc.standards.documents import DNV_F101
from wrapcalc.units import show
from wrapcalc.values import Value

#: Boxes and stations up to which the searches of this method are run: their time grows with the square.
MOST_BOXES, MOST_STATIONS = 400, 400


def dnv_forms(bundle: Bundle, factor: Value, s: Sizes, shape: Shape | None, river: River | None) -> list[Form]:
    """Single defect always; neighbours where there are several pits; complex shape where there is a profile."""
    rec, tables = active(), bundle.tables
    tensile, diameter = bundle.case.value("pipe.smts"), bundle.case.value("pipe.outside_diameter")
    limit = tables.entry(DNV_F101.id, "depth_limit")
    inside = rec.check("Depth with allowance over wall, DNV-RP-F101", s.relative, "<=", limit.value(),
                       citation=limit.citation, status=limit.status, kind="scope")
    Q = dnv.length_correction_factor(s.length, diameter, s.wall)
    failure = rec.named(dnv.failure_pressure_dnv(s.wall, tensile, diameter, s.depth, Q),
                        "Failure pressure, DNV single defect")
    if not inside.met:
        reason = f"depth over wall is above {limit.written} ({limit.citation})"
        rec.strike(failure, reason)
        return [Form(SINGLE, None, None, reason, **_told(bundle, factor))]
    lowered = _compressed(bundle, s, failure, Q)
    if lowered is None:
        return [Form(SINGLE, None, None, "the compression by the external loads exhausts the section that is left",
                     **_told(bundle, factor))]
    forms = [_safe(bundle, SINGLE, lowered, factor)]
    if lowered is not failure:
        # Neighbours and shapes are given for pressure alone; only the single defect knows compression.
        return forms
    if shape is not None and len(shape.boxes) > 1:
        forms.append(_interacting(bundle, factor, s, shape))
    if river is not None:
        forms.append(_complex(bundle, factor, s, river))
    return forms


def _told(bundle: Bundle, factor: Value) -> dict[str, str]:
    entry = bundle.tables.entry(DNV_F101.id, "modelling_factor")
    return {"flow": "SMTS", "basis": f"modelling factor {entry.written}, usage factor {factor.show(significant=3)}",
            "role": RECORD if bundle.case.assessment.method == DNV else BESIDE}


def _safe(bundle: Bundle, key: str, failure: Value, factor: Value) -> Form:
    words = {SINGLE: "single defect", INTERACTING: "interacting defects", COMPLEX: "complex shape"}[key]
    safe = active().named(dnv.safe_pressure_dnv(bundle.tables.value(DNV_F101.id, "modelling_factor"), factor, failure),
                          f"Safe pressure, DNV {words}")
    return Form(key, failure, safe, **_told(bundle, factor))


def _compressed(bundle: Bundle, s: Sizes, failure: Value, Q: Value) -> Value | None:
    """The failure pressure with compressive axial stress; the given one where external loads give none that counts.

    None where the compression leaves nothing.
    """
    case, rec = bundle.case, active()
    if not (case.get("service.axial_force").base or case.get("service.bending_moment").base):
        return failure
    tensile, diameter = case.value("pipe.smts"), case.value("pipe.outside_diameter")
    moment = case.value("service.bending_moment")
    if moment.magnitude > 0:  # the sense is not known: the one that compresses the loss
        from wrapcalc.formulas.net_section import opposite_moment
        moment = opposite_moment(moment)
    force = dnv.axial_force_stress_dnv(case.value("service.axial_force"), diameter, s.wall)
    stress = dnv.longitudinal_stress_dnv(force, dnv.bending_stress_dnv(moment, diameter, s.wall))
    small = rec.check("Axial stress from external loads against the compression that lowers the failure pressure",
                      stress, ">", dnv.compression_limit_dnv(tensile, s.depth, s.wall, Q), citation=DNV_F101.id,
                      status="from memory", kind="information", note="above it the failure pressure is not lowered")
    if small.met:
        return failure
    left = dnv.area_factor(s.depth, s.wall, dnv.circumferential_share(case.value("defect.width"), diameter))
    factor = dnv.compression_factor(stress, tensile, left, s.depth, s.wall, Q)
    if factor.magnitude <= 0:
        reason = "the compression alone exhausts the section that is left"
        rec.strike(factor, reason)
        rec.strike(failure, reason)
        rec.warn(f"DNV-RP-F101: {reason}.", factor.origin.ref)
        return None
    return rec.named(pressure.lower_pressure(failure, dnv.failure_pressure_compression(failure, factor)),
                     "Failure pressure, DNV single defect with compression")


def _interacting(bundle: Bundle, factor: Value, s: Sizes, shape: Shape) -> Form:
    rec, tables = active(), bundle.tables
    tensile, diameter = bundle.case.value("pipe.smts"), bundle.case.value("pipe.outside_diameter")
    if len(shape.boxes) > MOST_BOXES:
        return Form(INTERACTING, None, None, f"more than {MOST_BOXES} pits: not run", **_told(bundle, factor))
    reach = dnv.interaction_arc_dnv(dnv.interaction_angle_dnv(tables.value(DNV_F101.id, "angle_factor"), s.wall,
                                                              diameter), diameter)
    x0, x1, y0, y1, d = (np.array(v) for v in zip(*shape.boxes, strict=True))
    allowance, longer = (bundle.case.get(f"defect.{n}_allowance").base for n in ("depth", "length"))
    found = projection_lines(x0 - longer / 2, x1 - x0 + longer, d + allowance, y0, y1 - y0, diameter.magnitude,
                             s.wall.magnitude, tensile.magnitude, reach.magnitude)
    group = found.group
    sizes = rec.procedure(
        "Weakest group of neighbouring pits", f"{found.lines} projection lines with different pits, on each every run "
        f"of neighbours ({group.count} on the governing one); gaps are part of the length, depth is spread over it",
        DNV_F101.id, "from memory", {"reach of a line": reach, "wall used": s.wall, "outside diameter": diameter,
                                     "SMTS": tensile},
        {"length of the group": (group.length, "mm"), "depth of the group": (group.depth, "mm")},
        [("pits in the group", str(sum(len(m) for m in group.members[group.first:group.last + 1]))),
         ("starts", f"{mm(bundle, group.start)} along"), ("weakest single",
                                                          show(min(group.single), "MPa", system=bundle.case.display))])
    length, depth = sizes["length of the group"], sizes["depth of the group"]
    Q = rec.named(dnv.length_correction_factor(length, diameter, s.wall), "Length correction factor of the group")
    failure = rec.named(dnv.failure_pressure_dnv(s.wall, tensile, diameter, depth, Q),
                        "Failure pressure, DNV interacting defects")
    return _safe(bundle, INTERACTING, failure, factor)


def _complex(bundle: Bundle, factor: Value, s: Sizes, river: River) -> Form:
    rec = active()
    tensile, diameter = bundle.case.value("pipe.smts"), bundle.case.value("pipe.outside_diameter")
    if len(river.x) > MOST_STATIONS:
        return Form(COMPLEX, None, None, f"more than {MOST_STATIONS} stations: not run", **_told(bundle, factor))
    steps = int(bundle.tables.value(DNV_F101.id, "depth_increments").magnitude)
    found = weakest_shape(river.x, river.depth, diameter.magnitude, s.wall.magnitude, tensile.magnitude, steps)
    whole = found.kind == "whole profile"
    sizes = rec.procedure(
        "Weakest idealisation of the profile", f"{steps} depth increments and every depth of the profile among them; "
        "at each the patch over the whole length, every pit in it and every run of pits", DNV_F101.id, "from memory",
        {"depth used": s.depth, "length used": s.length, "wall used": s.wall, "outside diameter": diameter,
         "SMTS": tensile},
        {"length": (found.length, "mm"), "depth": (found.depth, "mm"), "pressure of the patch":
         (found.patch_pressure, "MPa")},
        [("governs", found.kind), ("depth increment", mm(bundle, found.increment_depth)),
         ("increments worked", str(len(found.trail))),
         ("whole profile alone", show(found.total, "MPa", system=bundle.case.display))])
    length, depth = sizes["length"], sizes["depth"]
    if found.kind == "pit group":
        wall = dnv.effective_wall_dnv(sizes["pressure of the patch"], diameter, tensile)
        Q = dnv.length_correction_effective(length, diameter, wall)
        failure = dnv.failure_pressure_effective(wall, tensile, diameter, depth, Q)
    else:
        Q = rec.named(dnv.length_correction_factor(length, diameter, s.wall), "Length correction factor of the profile")
        failure = dnv.failure_pressure_dnv(s.wall, tensile, diameter, depth, Q)
    failure = rec.named(failure, "Failure pressure, DNV complex shape" + (", whole profile" if whole else ""))
    return _safe(bundle, COMPLEX, failure, factor)


def cross_checks(bundle: Bundle, factor: Value | None, s: Sizes, safety: Value | None) -> list[Form]:
    """A second opinion on the tensile strength, the remaining-strength factor, the exact hoop stress of the wall."""
    rec, case = active(), bundle.case
    diameter = case.value("pipe.outside_diameter")
    cross.hoop_stress_at_bore(case.value("service.maop"), diameter, cross.inside_diameter(diameter, s.wall))
    forms = []
    if case.get("pipe.smts") is not None and safety is not None:
        failure = cross.leis_stephens_pressure(case.value("pipe.smts"), s.wall, diameter, s.depth, s.length)
        safe = rec.named(pressure.safe_pressure(failure, safety), "Safe pressure, Leis and Stephens 1997")
        forms.append(Form(LEIS, failure, safe, flow="SMTS", role=CROSS_CHECK,
                          basis=f"safety factor {safety.show(significant=3)} on the failure pressure"))
    if case.service.service != PLANT:
        forms.append(form_rsf(bundle, factor, s))
    return forms

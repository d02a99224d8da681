"""The damage at the end of the repair's life: external loss stops under a wrap, internal loss goes on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wrapcalc.case import Bundle
from wrapcalc.case.model import AREA, INTERNAL_LOSS, RSF
from wrapcalc.formulas import growth, pressure
from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.recorder import active
from wrapcalc.stages.assessment.assess import Assessment
from wrapcalc.stages.assessment.axial import damaged_section
from wrapcalc.stages.assessment.forms import NAMES, OF_DNV, Form, Sizes, form_085dl, form_1991, form_original
from wrapcalc.stages.assessment.governing import methods_of_record
from wrapcalc.stages.assessment.kernels import MODIFIED, ORIGINAL, ORIGINAL_1991, River
from wrapcalc.stages.assessment.life import Life
from wrapcalc.stages.assessment.of_record import Beside, clusters_beside, of_record
from wrapcalc.stages.assessment.plant import form_rsf
from wrapcalc.stages.assessment.profile_form import form_area
from wrapcalc.stages.assessment.tensile import dnv_forms
from wrapcalc.stages.scope import code
from wrapcalc.stages.wrap.strain import Gates
from wrapcalc.standards.documents import DNV_F101, PRACTICE
from wrapcalc.values import Value


def goes_on(bundle: Bundle) -> bool:
    """Whether the loss grows under a wrap."""
    return bundle.case.defect.kind == INTERNAL_LOSS or bundle.case.service.internal_corrosion != "none"


def worn(bundle: Bundle, a: Assessment, life: Life | None, gates: Gates) -> Assessment | None:
    """The assessment with the sizes and the safe pressure of the end of the repair's life.

    The same one for external loss. None when the depth passes its limit before, or no method of record is left.
    """
    rec, case = active(), bundle.case
    rec.begin("Wall at the end of the repair's life")
    if not goes_on(bundle):
        rec.assume("External loss stops growing under the wrap.", "common practice")
        return a
    if life is None and case.growth.basis is not None:
        # Growth is stated, but where DNV-RP-F101 governs with external loads no rate was worked out: nothing is
        # designed as if the loss stood still.
        gates.add(rec.gate("Growth is worked out over the life of the repair", False, "not worked out: where "
                           "DNV-RP-F101 governs, it knows pressure alone, not the external loads of this case",
                           "the loss that goes on, with its growth; name another method", citation=DNV_F101.id,
                           status="from memory", kind="scope"))
        return None
    if life is None:  # internal loss that is stated as not active, without a rate
        rec.assume("The internal loss is stated as not active; no growth is added over the repair's life.",
                   "case: service.internal_corrosion")
        return a
    years = case.value("design.design_life")
    depth = rec.named(growth.depth_after(a.depth, life.rate, years), "Depth at the end of the repair's life")
    length = a.length if life.length_rate is None else rec.named(
        growth.depth_after(a.length, life.length_rate, years), "Length at the end of the repair's life")
    whole = a.whole_length
    if whole is not None and life.length_rate is not None:
        whole = rec.named(growth.depth_after(whole, life.length_rate, years),
                          "Length of all clusters at the end of the repair's life")
    deep = a.whole_depth
    if deep is not None:
        deep = rec.named(growth.depth_after(deep, life.rate, years), "Greatest depth at the end of the repair's life")
    # The depth limit is on the thinner of nominal and used wall, as for the damage of today.
    nominal = case.value("pipe.nominal_wall")
    thinner = nominal if a.wall.magnitude > nominal.magnitude else a.wall
    share = rec.named(strength.relative_depth(deep or depth, thinner),
                      "Depth over wall at the end of the repair's life")
    entry = bundle.tables.entry(code(bundle), "depth_limit")
    fits = gates.add(rec.check("Depth over wall at the end of the repair's life", share, "<=", entry.value(),
                               citation=entry.citation, status=entry.status, kind="gate"))
    if not fits.met:
        return None
    z = strength.length_parameter(length, case.value("pipe.outside_diameter"), a.wall)
    eta = share if deep is None and thinner is a.wall else strength.relative_depth(depth, a.wall)
    forms = [f for f in _forms(bundle, a, Sizes(a.wall, depth, length, eta, z)) if f.safe is not None]
    gates.add(rec.gate("A method of record holds at the end of the repair's life", bool(forms),
                       ", ".join(NAMES[f.key] for f in forms) or "none", "at least one", citation=entry.citation,
                       status=entry.status))
    if not forms:
        return None
    lowest = forms[0].safe
    for f in forms[1:]:
        lowest = pressure.lower_pressure(lowest, f.safe)
    lowest = rec.named(lowest, "Governing safe pressure at the end of the repair's life")
    lowest = _weaker(bundle, a, life, years, lowest)
    return replace(a, depth=depth, length=length, whole_length=whole, whole_depth=deep, deepest=share,
                   relative_depth=eta, governing=lowest, section=damaged_section(bundle, deep or depth, a.wall))


def _weaker(bundle: Bundle, a: Assessment, life: Life, years: Value, lowest: Value) -> Value:
    """The safe pressure of another cluster, or of the shape by DNV-RP-F101, where it is lower by then."""
    deeper = life.rate.magnitude * years.magnitude
    longer = 0.0 if life.length_rate is None else life.length_rate.magnitude * years.magnitude
    here = Beside("the governing one", a.depth.magnitude, a.length.magnitude, of_record(bundle, a).safe,
                  of_record(bundle, a).failure)
    grown = [(float(b.safe(np.array([b.depth + deeper]), np.array([b.length + longer]))[0]), b.label)
             for b in (here, *clusters_beside(bundle, a)) if b.depth + deeper < a.wall.magnitude]
    weakest, label = min(grown)
    if weakest >= lowest.magnitude * (1 - 1e-9):
        return lowest
    return active().procedure(
        f"Safe pressure at the end of the repair's life, cluster: {label}", "the methods that govern, at the sizes it "
        "has grown to", PRACTICE.id, "common practice", {"rate": life.rate, "design life": years},
        {"safe pressure": (weakest, "MPa")})["safe pressure"]


def _forms(bundle: Bundle, a: Assessment, s: Sizes) -> list[Form]:
    keys = methods_of_record(bundle, a.river is not None)
    if RSF in keys:
        return [form_rsf(bundle, None, s)]
    assert a.design_factor is not None and a.safety is not None
    if keys == OF_DNV:
        return dnv_forms(bundle, a.design_factor, s, None, None)
    out = []
    if ORIGINAL_1991 in keys:
        out.append(form_1991(bundle, a.design_factor, s))
    if ORIGINAL in keys:
        out.append(form_original(bundle, s, a.safety))
    if MODIFIED in keys:
        out.append(form_085dl(bundle, s, a.safety))
    if AREA in keys and a.river is not None:
        x, d = a.river.at(np.array([s.depth.magnitude]), np.array([s.length.magnitude]))
        river = River(x[0], d[0], s.depth.magnitude, s.length.magnitude)
        out.append(form_area(bundle, s, river, a.safety)[0])
    return out

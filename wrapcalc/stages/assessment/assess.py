"""Is the pipe fit? What was measured, every method of remaining strength on it, and which answer governs."""

from __future__ import annotations

from dataclasses import dataclass, replace

from wrapcalc.case import Bundle
from wrapcalc.case.model import LOWEST, PLANT, RSF, WALL_BASES
from wrapcalc.checks import Check
from wrapcalc.formulas import pressure
from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.recorder import active
from wrapcalc.searches.sub_lengths import SubLength
from wrapcalc.stages.assessment import tensile
from wrapcalc.stages.assessment.axial import Section, axial_check, damaged_section
from wrapcalc.stages.assessment.cautions import warn_about_area, warn_about_length, warn_besides_strength
from wrapcalc.stages.assessment.forms import NAMES, Form, Sizes, form_085dl, form_1991, form_original, struck_form
from wrapcalc.stages.assessment.governing import failure_of_record, govern
from wrapcalc.stages.assessment.kernels import River
from wrapcalc.stages.assessment.plant import form_rsf
from wrapcalc.stages.assessment.profile_form import form_area
from wrapcalc.stages.assessment.ranking import ranking
from wrapcalc.stages.assessment.shape import Shape, measured, river_of, sizes_with_allowance
from wrapcalc.stages.assessment.sound_pipe import allowable, design_factor, sound_pipe
from wrapcalc.stages.scope import code
from wrapcalc.standards.documents import API_579, B31G_2012
from wrapcalc.values import Value


@dataclass(frozen=True)
class Assessment:
    """What the assessment hands on.

    outside: why the sound pipe itself does not bear the MAOP. too_deep: depth over wall above its limit; then nothing
    after `allowable` is set. failure: failure pressure that criteria and remaining life take, and its form.
    """

    wall: Value
    depth: Value
    length: Value
    relative_depth: Value
    depth_check: Check
    design_factor: Value | None
    allowable: Value
    forms: tuple[Form, ...] = ()
    governing: Value | None = None
    governing_key: str = ""
    repair_factor: Value | None = None
    section: Section | None = None
    axial_check: Check | None = None
    strength_check: Check | None = None
    outside: tuple[str, ...] = ()
    failure: Value | None = None
    failure_key: str = ""
    safety: Value | None = None
    shape: Shape | None = None
    river: River | None = None
    sub_length: SubLength | None = None
    mean_depth: Value | None = None
    deepest: Value | None = None
    whole_length: Value | None = None
    whole_depth: Value | None = None

    def told_form(self, bundle: Bundle) -> str:
        """The governing method, and the rule of the case where it names one."""
        rule = bundle.case.assessment.method
        return self.governing_form + ("" if rule in (None, LOWEST, RSF) else f", by the rule “{rule}” of the case")

    @property
    def greatest(self) -> Value:
        """Greatest depth of all clusters with its allowance."""
        return self.whole_depth or self.depth

    @property
    def greatest_share(self) -> Value:
        """Greatest depth of all clusters over the wall."""
        return self.deepest if self.deepest is not None and self.whole_depth is not None else self.relative_depth

    @property
    def extent(self) -> Value:
        """Axial length that a wrap must cover: of all clusters, not of the governing one alone."""
        return self.whole_length or self.length

    @property
    def too_deep(self) -> bool:
        """Depth with its allowance is above the limit of code or method."""
        return not self.depth_check.met

    @property
    def governing_form(self) -> str:
        """The governing method as it is called on the page."""
        return NAMES.get(self.governing_key, "")


def assess(bundle: Bundle) -> Assessment:
    """Assess a case of metal loss whose fields for it are all answered and inside scope."""
    case, tables, rec = bundle.case, bundle.tables, active()
    value = case.value
    rec.begin("Wall, depth and length as used")
    for part in (bundle.grid, bundle.profile, bundle.pits):
        for note in part.notes if part else ():
            rec.assume(note, "case: defect")
    wall = _wall(bundle)
    shape = measured(bundle, ranking(bundle, wall))
    depth, length = sizes_with_allowance(bundle, shape)
    rec.begin("Sound pipe")
    diameter = value("pipe.outside_diameter")
    factor = design_factor(bundle)
    stress = allowable(bundle, factor)
    maop = value("service.maop")
    pressure.hoop_stress(maop, diameter, value("pipe.nominal_wall"))
    outside = sound_pipe(bundle, factor, wall)
    rec.begin("Depth, length and safety factor")
    eta = strength.relative_depth(depth, wall)
    whole_depth = None
    if shape is not None and shape.split:
        whole_depth = rec.named(strength.depth_for_assessment(value("defect.depth"), value("defect.depth_allowance")),
                                "Greatest depth of all clusters, with allowance")
    deepest = _deepest(bundle, whole_depth, depth, wall, eta)
    limit = tables.entry(code(bundle), "depth_limit")
    deep = rec.check("Depth with allowance over wall", deepest, "<=", limit.value(), citation=limit.citation,
                     status=limit.status, note="" if factor is None else "also the limit of ASME B31G, both editions")
    z = strength.length_parameter(length, diameter, wall)
    sizes = Sizes(wall, depth, length, eta, z)
    if not deep.met:
        rec.begin("Original form, 2012")
        struck_form(bundle, sizes)
        return Assessment(wall, depth, length, eta, deep, factor, stress, outside=outside, shape=shape,
                          deepest=deepest, whole_depth=whole_depth)
    river = None if shape is None or shape.piece.river is None else river_of(
        shape.piece, case.get("defect.depth_allowance").base, case.get("defect.length_allowance").base,
        length.magnitude)
    whole = None
    if shape is not None and shape.split:
        whole = rec.named(strength.length_for_assessment(value("defect.length"), value("defect.length_allowance")),
                          "Length of all clusters together, with allowance")
    base = Assessment(wall, depth, length, eta, deep, factor, stress, outside=outside, shape=shape, river=river,
                      deepest=deepest, whole_length=whole, whole_depth=whole_depth)
    return _judged(bundle, base, _forms(bundle, base, sizes), sizes)


@dataclass(frozen=True)
class _Run:
    """Every form that was run, and what the profile method found."""

    forms: tuple[Form, ...]
    safety: Value | None
    sub_length: SubLength | None = None
    mean_depth: Value | None = None


def _forms(bundle: Bundle, a: Assessment, s: Sizes) -> _Run:
    rec = active()
    if a.design_factor is None:
        rec.begin("Remaining-strength factor")
        form = form_rsf(bundle, None, s)
        rec.begin("Cross-checks")
        return _Run((form, *tensile.cross_checks(bundle, a.design_factor, s, None)), None)
    safety = pressure.safety_factor(a.design_factor, bundle.tables.value(B31G_2012.id, "minimum_safety_factor"))
    rec.begin("Original form, 1991")
    forms = [form_1991(bundle, a.design_factor, s)]
    rec.begin("Original form, 2012")
    forms.append(form_original(bundle, s, safety))
    rec.begin("0.85 dL form")
    forms.append(form_085dl(bundle, s, safety))
    found = mean = None
    if a.river is not None:
        rec.begin("Effective area")
        area, found, mean = form_area(bundle, s, a.river, safety)
        forms.append(area)
    if bundle.case.get("pipe.smts") is not None:
        rec.begin("Tensile-strength forms")
        forms += tensile.dnv_forms(bundle, a.design_factor, s, a.shape, a.river)
    rec.begin("Cross-checks")
    forms += tensile.cross_checks(bundle, a.design_factor, s, safety)
    warn_about_length(s.z)
    warn_about_area(bundle, s, a.river)
    warn_besides_strength(bundle, s.relative)
    return _Run(tuple(forms), safety, found, mean)


def _judged(bundle: Bundle, a: Assessment, run: _Run, s: Sizes) -> Assessment:
    """The axial section, and which safe pressure governs."""
    rec, maop = active(), bundle.case.value("service.maop")
    rec.begin("Axial section")
    props = damaged_section(bundle, a.greatest, s.wall)
    axial = axial_check(bundle, props, maop, a.allowable, "MAOP")
    rec.begin("Governing safe pressure")
    a = replace(a, forms=run.forms, safety=run.safety, sub_length=run.sub_length, mean_depth=run.mean_depth,
                section=props, axial_check=axial)
    governing, form = govern(bundle, run.forms, a.river is not None, a.shape is not None and a.shape.split)
    if governing is None or form is None:
        return a
    erf = pressure.repair_factor(maop, governing)
    document = API_579.id if bundle.case.service.service == PLANT else B31G_2012.id
    fit = rec.check("Governing safe pressure against MAOP", governing, ">=", maop, citation=f"{document}, 2.2"
                    if document == B31G_2012.id else f"{document}, part 5", status="from memory",
                    note=f"method: {NAMES[form.key]}")
    failure, of = failure_of_record(run.forms, form)
    if failure is not None:
        rec.named(pressure.failure_pressure_ratio(failure, maop), f"Failure pressure over MAOP, {NAMES[of.key]}")
    return replace(a, governing=governing, governing_key=form.key, repair_factor=erf, strength_check=fit,
                   failure=failure, failure_key=of.key if of else "")


def _wall(bundle: Bundle) -> Value:
    case, value = bundle.case, bundle.case.value
    basis = case.pipe.wall_basis or WALL_BASES[0]
    if basis == WALL_BASES[0]:
        return strength.wall_for_assessment(value("pipe.nominal_wall"), value("pipe.sound_wall"),
                                            value("pipe.wall_allowance"))
    active().assume(f"The wall is the {basis} wall, not the smaller of both, because: {case.pipe.wall_basis_reason}",
                    "case: pipe.wall_basis")
    return strength.wall_as_chosen(value("pipe.nominal_wall" if basis == "nominal" else "pipe.sound_wall"),
                                   value("pipe.wall_allowance"))


def _deepest(bundle: Bundle, whole: Value | None, depth: Value, wall: Value, eta: Value) -> Value:
    """Depth over wall for the depth limit: of the deepest cluster, on the thinner of nominal and used wall."""
    rec, nominal = active(), bundle.case.value("pipe.nominal_wall")
    if whole is not None:
        eta = rec.named(strength.relative_depth(whole, wall), "Depth over wall, deepest cluster")
    if wall.magnitude > nominal.magnitude:
        # The line codes put the limit on the nominal wall; the thinner of both is the safer.
        return rec.named(strength.relative_depth(whole or depth, nominal), "Depth over nominal wall")
    return eta


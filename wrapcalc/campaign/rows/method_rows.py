"""The box methods of remaining strength on arrays of anomalies of one line, each within its scope only.

The formulas are those that the stages record; `tests/campaign/rows/test_strength.py` holds every row equal to the
single case. Units are mm and MPa. Outside its scope a method gives NaN and a code that says why; nothing is derived
from it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wrapcalc import units
from wrapcalc.campaign.rows.rounding import How
from wrapcalc.case import Bundle
from wrapcalc.case.model import DNV, LIQUID, PLANT, RSF, WALL_BASES
from wrapcalc.formulas import corroded_pipe_dnv as dnv
from wrapcalc.formulas import cross_checks as cross
from wrapcalc.formulas import fitness_for_service as ffs
from wrapcalc.formulas import plant_piping, pressure
from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages.assessment.forms import derating
from wrapcalc.stages.assessment.governing import methods_of_record
from wrapcalc.stages.assessment.kernels import MODIFIED, ORIGINAL, ORIGINAL_1991, SINGLE
from wrapcalc.stages.assessment.ranking import bare_steel
from wrapcalc.stages.assessment.sound_pipe import allowable, code_pressure, design_factor, least_share_of_nominal
from wrapcalc.stages.scope import code
from wrapcalc.standards.documents import API_579, B31G_1991, B31G_2012, CFR_192, DNV_F101, PRACTICE

#: Methods by code; 0 is none.
METHODS = ("", ORIGINAL_1991, ORIGINAL, MODIFIED, SINGLE, RSF)
#: Why a method gives no pressure for a row, by code; 0: it gives one.
SCOPE = ("", "not reached: sizes, scope or the line itself stop the row before", "not for this service",
         "SMTS is not stated", "1.1 SMYS, which the form contains, is above SMTS",
         "SMYS is above the limit of the form",
         "the depth is at most the lower end of the form: accepted without calculation",
         "the depth is above the limit of the method", "compression by the external loads exhausts the section left",
         "outside level 1 of the remaining-strength factor")
NOT_REACHED, NOT_SERVICE, NO_SMTS, HARD, HIGH_YIELD, SHALLOW, DEEP, EXHAUSTED, NOT_LEVEL_1 = range(1, 10)
#: Where the formulas change their branch; rows next to it are worked again with every step rounded.
_SWITCH_1991, _SWITCH_2012, _SWITCH_085 = 4.0, 20.0, 50.0


@dataclass(frozen=True)
class Line:
    """What all anomalies of a group share, in mm, MPa, N. None: not for this service, or not stated."""

    D: float
    nominal: float
    wall_basis: str
    wall_allowance: float
    depth_allowance: float
    length_allowance: float
    maop: float
    smys: float
    smts: float | None
    factor: float | None
    safety: float | None
    allowable: float
    depth_limit: float
    least_share: float
    flow: dict[str, float]
    derating: float
    depth_lower: float
    depth_limit_dnv: float
    modelling: float
    axial_force: float
    bending: float
    joint: float
    temperature: float
    quality: float
    weld: float
    wall_coefficient: float
    future: float
    discontinuity: float | None
    allowed_rsf: float
    least_ratio: float
    least_wall: float
    longest_span: float
    discontinuity_factor: float
    design: float | None
    liquid: bool
    keys: tuple[str, ...]


def line_of(bundle: Bundle) -> Line:
    """The line of a template case whose fields for an assessment, but the sizes of the defect, are all answered."""
    case, tables = bundle.case, bundle.tables
    plant = case.service.service == PLANT

    def base(field: str, otherwise: float | None = None) -> float | None:
        given = case.get(field)
        return otherwise if given is None else given.base

    def of(document: str, name: str) -> float:
        return tables.value(document, name).magnitude

    with recording(Recorder()):
        factor = design_factor(bundle)
        stress = allowable(bundle, factor).magnitude
        design = None if factor is None else code_pressure(bundle, factor, case.value("pipe.nominal_wall")).magnitude
        safety = None if factor is None else pressure.safety_factor(
            factor, tables.value(B31G_2012.id, "minimum_safety_factor")).magnitude
        heat = 1.0 if plant else derating(bundle).magnitude
        share = least_share_of_nominal(bundle).value().magnitude
    joint = 1.0 if plant else of(code(bundle), "joint_factor_" + case.pipe.joint_type.replace(" ", "_"))
    return Line(
        D=base("pipe.outside_diameter"), nominal=base("pipe.nominal_wall"),
        wall_basis=case.pipe.wall_basis or WALL_BASES[0], wall_allowance=base("pipe.wall_allowance"),
        depth_allowance=base("defect.depth_allowance"), length_allowance=base("defect.length_allowance"),
        maop=base("service.maop"), smys=base("pipe.smys"), smts=base("pipe.smts"),
        factor=None if factor is None else factor.magnitude, safety=safety, allowable=stress,
        depth_limit=of(code(bundle), "depth_limit"), least_share=share,
        flow={k: units.steady(v) for k, v in bare_steel(bundle, base("pipe.nominal_wall"), lambda t: t).flow.items()},
        derating=heat,
        depth_lower=of(B31G_1991.id, "depth_lower"), depth_limit_dnv=of(DNV_F101.id, "depth_limit"),
        modelling=of(DNV_F101.id, "modelling_factor"), axial_force=base("service.axial_force"),
        bending=base("service.bending_moment"), joint=joint, temperature=of(CFR_192.id, "temperature_factor"),
        quality=base("service.quality_factor", 1.0), weld=base("service.weld_strength_factor", 1.0),
        wall_coefficient=base("service.wall_coefficient", 0.0),
        future=base("assessment.corrosion_allowance", of(PRACTICE.id, "no_corrosion_allowance")),
        discontinuity=base("assessment.discontinuity"), allowed_rsf=of(API_579.id, "allowable_rsf"),
        least_ratio=of(API_579.id, "least_thickness_ratio"), least_wall=of(API_579.id, "least_wall_piping"),
        longest_span=of(API_579.id, "length_parameter_limit"),
        discontinuity_factor=of(API_579.id, "discontinuity_factor"), design=design,
        liquid=case.service.service == LIQUID,
        keys=(SINGLE,) if case.assessment.method == DNV else methods_of_record(bundle, False))


@dataclass
class Sizes:
    """Rows as the methods take them: wall used, depth and length with allowances, depth over wall, measured width."""

    wall: np.ndarray
    depth: np.ndarray
    length: np.ndarray
    share: np.ndarray
    width: np.ndarray


@dataclass
class Answer:
    """Failure and safe pressure of one method, None where it is not run for the line; scope: codes of SCOPE.

    inside: rows that it answers; None for all, or where there is no answer at all.
    """

    failure: np.ndarray | None
    safe: np.ndarray | None
    inside: np.ndarray | None = None
    scope: np.ndarray | int = 0


Answers = dict[str, Answer]


def answers(line: Line, s: Sizes, how: How) -> Answers:
    """Every method on rows whose depth is inside the limit of the code."""
    if line.factor is None:
        none = Answer(None, None, scope=NOT_SERVICE)
        return dict.fromkeys(METHODS[1:5], none) | {RSF: _factor(line, s, how)}
    z = how.steady(strength.length_parameter.array(L=s.length, D=line.D, t=s.wall))
    return {ORIGINAL_1991: _form_1991(line, s, how), ORIGINAL: _original(line, s, z, how),
            MODIFIED: _modified(line, s, z, how), SINGLE: _single(line, s, how), RSF: _factor(line, s, how)}


def _form_1991(line: Line, s: Sizes, how: How) -> Answer:
    if ORIGINAL_1991 not in line.flow:
        return Answer(None, None, scope=HARD)
    inside = how.above(s.share, line.depth_lower)
    A = how.steady(strength.length_factor_1991.array(L=s.length, D=line.D, t=s.wall))
    how.above(A, _SWITCH_1991)
    P = how.steady(strength.reference_pressure_1991.array(MAOP=line.maop, S_y=line.smys, t=s.wall, D=line.D,
                                                          F=line.factor, T=line.derating))
    raw = how.steady(strength.safe_pressure_1991_uncapped.array(P=P, d=s.depth, t=s.wall, A=A))
    return Answer(None, np.minimum(raw, P), inside, np.where(inside, np.uint8(0), np.uint8(SHALLOW)))


def _original(line: Line, s: Sizes, z: np.ndarray, how: How) -> Answer:
    how.above(z, _SWITCH_2012)
    return _pressures(line, s, how.steady(strength.failure_stress_original.array(
        z=z, S_flow=line.flow[ORIGINAL], d=s.depth, t=s.wall)), how)


def _modified(line: Line, s: Sizes, z: np.ndarray, how: How) -> Answer:
    if MODIFIED not in line.flow:
        return Answer(None, None, scope=HIGH_YIELD)
    how.above(z, _SWITCH_085)
    M = how.steady(strength.bulging_factor_085dl.array(z=z))
    return _pressures(line, s, how.steady(strength.failure_stress_085dl.array(
        S_flow=line.flow[MODIFIED], d=s.depth, t=s.wall, M=M)), how)


def _pressures(line: Line, s: Sizes, stress: np.ndarray, how: How) -> Answer:
    failure = how.steady(strength.failure_pressure.array(S_F=stress, t=s.wall, D=line.D))
    return Answer(failure, how.steady(pressure.safe_pressure.array(P_F=failure, SF=line.safety)))


def _single(line: Line, s: Sizes, how: How) -> Answer:
    if line.smts is None:
        return Answer(None, None, scope=NO_SMTS)
    Q = how.steady(dnv.length_correction_factor.array(L=s.length, D=line.D, t=s.wall))
    failure = how.steady(dnv.failure_pressure_dnv.array(t=s.wall, S_u=line.smts, D=line.D, d=s.depth, Q=Q))
    deep = how.above(s.share, line.depth_limit_dnv)
    lost = np.zeros(len(deep), bool)
    if line.axial_force or line.bending:
        failure, lost = _compressed(line, s, failure, Q, how)
    safe = how.steady(dnv.safe_pressure_dnv.array(F_1=line.modelling, F_2=line.factor, P_f=failure))
    outside = deep | lost
    if not outside.any():
        return Answer(failure, safe)
    scope = np.where(deep, np.uint8(DEEP), np.where(lost, np.uint8(EXHAUSTED), np.uint8(0)))
    return Answer(np.where(outside, np.nan, failure), safe, ~outside, scope)


def _compressed(line: Line, s: Sizes, failure: np.ndarray, Q: np.ndarray, how: How) -> tuple[np.ndarray, np.ndarray]:
    """Failure pressure with the compression that external loads bring, and rows where that leaves nothing."""
    # The sense of the moment is not known: the one that compresses the loss.
    pull = how.steady(dnv.axial_force_stress_dnv.array(F_x=line.axial_force, D=line.D, t=s.wall))
    bent = how.steady(dnv.bending_stress_dnv.array(M_y=-abs(line.bending), D=line.D, t=s.wall))
    stress = how.steady(dnv.longitudinal_stress_dnv.array(sigma_A=pull, sigma_B=bent))
    limit = how.steady(dnv.compression_limit_dnv.array(S_u=line.smts, d=s.depth, t=s.wall, Q=Q))
    small = stress > limit  # no row is near: at the limit the factor is 1
    share = how.steady(dnv.circumferential_share.array(c=s.width, D=line.D))
    left = how.steady(dnv.area_factor.array(d=s.depth, t=s.wall, theta=share))
    with np.errstate(all="ignore"):
        factor = how.steady(dnv.compression_factor.array(sigma_L=stress, S_u=line.smts, A_r=left, d=s.depth, t=s.wall,
                                                         Q=Q))
    gone = ~small & ~(factor > 0)
    lower = np.minimum(failure, how.steady(dnv.failure_pressure_compression.array(
        P_f=failure, H_1=np.where(gone, 1.0, factor))))
    return np.where(small, failure, lower), gone


def _factor(line: Line, s: Sizes, how: How) -> Answer:
    sound = how.steady(strength.wall_as_chosen.array(t_g=s.wall, a_t=line.future))
    least = how.steady(strength.least_wall_in_loss.array(t=s.wall, d=s.depth))
    bore = how.steady(cross.inside_diameter.array(D=line.D, t=sound))
    ratio = how.steady(ffs.thickness_ratio.array(t_mm=least, FCA=line.future, t_c=sound))
    span = how.steady(ffs.shell_length_parameter.array(s=s.length, D_i=bore, t_c=sound))
    left = how.steady(strength.wall_as_chosen.array(t_g=least, a_t=line.future))
    outside = how.below(ratio, line.least_ratio) | how.below(left, line.least_wall) | how.above(span, line.longest_span)
    if line.discontinuity is not None:
        outside |= how.above(how.steady(ffs.least_distance_to_discontinuity.array(
            k_d=line.discontinuity_factor, D_i=bore, t_c=sound)), line.discontinuity)
    some = bool(outside.any())
    if some:  # the fit is not asked beyond its end
        span, ratio = np.where(outside, 0.0, span), np.where(outside, 1.0, ratio)
    bulging = how.steady(ffs.bulging_factor_level_1.array(lambda_s=span))
    remaining = how.steady(ffs.remaining_strength_factor.array(R_t=ratio, M_t=bulging))
    safe = how.steady(ffs.reduced_working_pressure.array(MAWP=how.steady(code_pressure_rows(line, sound)),
                                                         RSF=remaining, RSF_a=line.allowed_rsf))
    if not some:
        return Answer(None, safe)
    return Answer(None, safe, ~outside, np.where(outside, np.uint8(NOT_LEVEL_1), np.uint8(0)))


def code_pressure_rows(line: Line, wall: np.ndarray) -> np.ndarray:
    """Design pressure (MPa) of the sound pipe by its code, at these walls (mm)."""
    if line.factor is None:
        return plant_piping.plant_design_pressure.array(S=line.allowable, E=line.quality, W=line.weld, t=wall,
                                                        D=line.D, Y=line.wall_coefficient)
    if line.liquid:
        return pressure.code_design_pressure_liquid.array(S_y=line.smys, t=wall, D=line.D, E=line.joint, F=line.factor)
    return pressure.code_design_pressure_gas.array(S_y=line.smys, t=wall, D=line.D, F=line.factor, E=line.joint,
                                                   T=line.temperature)


def governing(line: Line, found: Answers, count: int, how: How) -> tuple[np.ndarray, np.ndarray]:
    """Governing safe pressure and its method by code; NaN and 0 where no method that may govern is inside its scope."""
    safe, code_of = np.full(count, np.inf), np.zeros(count, np.uint8)
    for key in line.keys:
        answer = found[key]
        if answer.safe is None:
            continue
        here = answer.safe if answer.inside is None else np.where(answer.inside, answer.safe, np.inf)
        lower = how.below(here, safe)
        code_of = np.where(lower, np.uint8(METHODS.index(key)), code_of)
        safe = np.minimum(safe, here)
    none = code_of == 0
    return (np.where(none, np.nan, safe) if none.any() else safe), code_of


def failure_of_record(line: Line, found: Answers, code_of: np.ndarray) -> np.ndarray:
    """Failure pressure that criteria and remaining life take: of ASME B31G, NaN where nothing governs.

    The governing method's own where that is one of these; else the lowest of them.
    """
    if line.factor is None:
        return np.full(len(code_of), np.nan)
    original, modified = found[ORIGINAL].failure, found[MODIFIED].failure
    if line.keys == (ORIGINAL,) or modified is None:
        lowest = original
    elif line.keys == (MODIFIED,):
        lowest = modified
    else:  # one safety factor divides both: the lower safe pressure is the lower failure pressure
        lowest = np.minimum(original, modified)
    none = code_of == 0
    return np.where(none, np.nan, lowest) if none.any() else lowest

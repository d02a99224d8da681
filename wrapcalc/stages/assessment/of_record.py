"""The governing rule as a function of depth and length: for allowable sizes, remaining life and probability."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from wrapcalc.case import Bundle
from wrapcalc.case.model import RSF
from wrapcalc.formulas import cross_checks as cross
from wrapcalc.formulas import fitness_for_service as ffs
from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.stages.assessment.assess import Assessment
from wrapcalc.stages.assessment.forms import NAMES, OF_DNV, SINGLE, derating
from wrapcalc.stages.assessment.governing import methods_of_record
from wrapcalc.stages.assessment.kernels import ORIGINAL_1991, River, Steel, Strength, failure, lowest, safe
from wrapcalc.stages.assessment.ranking import bare_steel
from wrapcalc.stages.assessment.shape import river_of
from wrapcalc.standards.documents import API_579, DNV_F101

#: Beyond so many stations an envelope of the profile is worked with: the search grows with their square.
MOST_STATIONS = 80


@dataclass(frozen=True)
class OfRecord:
    """safe, failure: (depth, length[, wall]) -> MPa, what governs at those sizes. each: the safe pressures by method.

    failure_of: the methods behind `failure`; it is the safe pressure itself where the methods of record give no other
    (failure_is_safe). note: what was simplified.
    """

    safe: Strength
    failure: Strength
    each: dict[str, Strength]
    failure_of: tuple[str, ...]
    failure_is_safe: bool
    note: str


def of_record(bundle: Bundle, a: Assessment) -> OfRecord:
    """The methods that govern this case, on bare numbers; those outside their scope are left out."""
    steel = bare_steel(bundle, a.wall.magnitude, _reference(bundle, a))
    river, note = _workable(a.river)
    keys = [f.key for f in a.forms if f.safe is not None and f.key in methods_of_record(bundle, a.river is not None)]
    if RSF in keys:
        of_plant = _plant(bundle, a)
        return OfRecord(of_plant, of_plant, {RSF: of_plant}, (RSF,), True, note)
    if SINGLE in keys:
        return _dnv(bundle, a, steel, note)
    safety = {k: _safety(bundle, a, k) for k in keys}
    each = {k: safe(k, steel, safety[k], river) for k in keys}
    with_failure = [k for k in keys if k != ORIGINAL_1991] or [a.failure_key or ORIGINAL_1991]
    bursts = [failure(k, steel, river) for k in with_failure]
    return OfRecord(lowest(list(each.values())), lowest(bursts), each, tuple(with_failure),
                    with_failure == [ORIGINAL_1991], note.strip())


def _reference(bundle: Bundle, a: Assessment) -> Callable[[float | np.ndarray], np.ndarray] | None:
    """Reference pressure of the 1991 form by wall; None where nothing gives it."""
    if a.design_factor is None:
        return None
    get, factor, heat = bundle.case.get, a.design_factor.magnitude, derating(bundle).magnitude
    return lambda t: strength.reference_pressure_1991.array(MAOP=get("service.maop").base, S_y=get("pipe.smys").base,
                                                            t=t, D=get("pipe.outside_diameter").base, F=factor, T=heat)


def _dnv(bundle: Bundle, a: Assessment, steel: Steel, note: str) -> OfRecord:
    """The single-defect form for what governs by DNV-RP-F101, brought down to it where the shape or group is weaker.

    The complex-shape procedure may fall below the single defect of the same depth and length; its share of that today
    is kept at other sizes.
    """
    found = {f.key: f.failure.magnitude for f in a.forms if f.key in OF_DNV and f.failure is not None}
    share = min(1.0, found[a.governing_key] / found[SINGLE])
    note += " The single-defect form stands for the shape" + ("." if share == 1 else
                                                             f", times {share:.4f}, its share of that form today.")
    single = failure(SINGLE, steel)
    factor = _safety(bundle, a, SINGLE)

    def burst(depth, length, wall=None) -> np.ndarray:
        return share * single(depth, length, wall)

    def working(depth, length, wall=None) -> np.ndarray:
        return burst(depth, length, wall) / factor
    return OfRecord(working, burst, {SINGLE: working}, (SINGLE,), False, note.strip())


@dataclass(frozen=True)
class Beside:
    """One cluster. depth, length: with allowances, mm; safe, failure: (depth, length) -> MPa."""

    label: str
    depth: float
    length: float
    safe: Strength
    failure: Strength


def clusters_beside(bundle: Bundle, a: Assessment) -> list[Beside]:
    """The clusters that do not govern today, by the same methods: one of them may come to govern as they grow."""
    if a.shape is None or not a.shape.split:
        return []
    deeper, longer = (bundle.case.get(f"defect.{n}_allowance").base for n in ("depth", "length"))
    out = []
    for piece in a.shape.pieces:
        if piece is a.shape.piece:
            continue
        depth, length = piece.depth + deeper, piece.length + longer
        river = None if piece.river is None else river_of(piece, deeper, longer, length)
        own = of_record(bundle, replace(a, river=river))
        out.append(Beside(piece.label, depth, length, own.safe, own.failure))
    return out


def others(bundle: Bundle, a: Assessment, rec: OfRecord) -> dict[str, Strength]:
    """Safe pressure by the box forms that do not govern, for the picture."""
    steel = bare_steel(bundle, a.wall.magnitude)
    return {f.key: safe(f.key, steel, _safety(bundle, a, f.key)) for f in a.forms
            if f.safe is not None and f.key not in rec.each and f.key in ("original 2012", "0.85dL", SINGLE)}


def _safety(bundle: Bundle, a: Assessment, key: str) -> float:
    """Factor that divides the failure pressure."""
    if key == SINGLE:
        assert a.design_factor is not None
        return 1 / (bundle.tables.value(DNV_F101.id, "modelling_factor").magnitude * a.design_factor.magnitude)
    assert a.safety is not None
    return a.safety.magnitude


def _workable(river: River | None) -> tuple[River | None, str]:
    if river is None or len(river.x) <= MOST_STATIONS:
        return river, ""
    return envelope(river, MOST_STATIONS), (f"For these sizes the profile of {len(river.x)} stations is replaced by an "
                                            f"envelope of {MOST_STATIONS} that is nowhere shallower.")


def envelope(river: River, most: int) -> River:
    """A profile of fewer stations that is nowhere shallower: each block of stations at the depth of its deepest."""
    edges = np.unique(np.linspace(0, len(river.x) - 1, most).round().astype(int))
    blocks = np.maximum.reduceat(river.depth, edges[:-1])
    blocks = np.maximum(blocks, river.depth[edges[1:]])
    deep = np.zeros(len(edges))
    deep[1:-1] = np.maximum(blocks[:-1], blocks[1:])
    # Sound wall at both ends: a step as steep as the stations allow.
    step = 1e-6 * (river.x[-1] - river.x[0])
    x = np.concatenate([[river.x[0] - step], river.x[edges], [river.x[-1] + step]])
    ends = np.array([blocks[0], blocks[-1]])
    d = np.concatenate([[0.0], [ends[0]], deep[1:-1], [ends[1]], [0.0]])
    return River(x, d, float(d.max()), river.length)


def _plant(bundle: Bundle, a: Assessment) -> Strength:
    case, tables = bundle.case, bundle.tables
    fca = case.get("assessment.corrosion_allowance").base
    assert next(f for f in a.forms if f.key == RSF).safe is not None
    diameter, sound = case.get("pipe.outside_diameter").base, _sound_plant(bundle)
    allowed, longest, thinnest, least = (tables.value(API_579.id, n).magnitude for n in (
        "allowable_rsf", "length_parameter_limit", "least_thickness_ratio", "least_wall_piping"))

    def function(depth, length, wall=None) -> np.ndarray:
        d, L, t = np.broadcast_arrays(*(np.asarray(v, float) for v in (
            depth, length, a.wall.magnitude if wall is None else wall)))
        t_c = t - fca
        ratio = ffs.thickness_ratio.array(t_mm=t - d, FCA=fca, t_c=t_c)
        span = ffs.shell_length_parameter.array(s=L, D_i=cross.inside_diameter.array(D=diameter, t=t_c), t_c=t_c)
        inside = (span <= longest) & (ratio >= thinnest) & (t - d - fca >= least)
        # Outside level 1 there is no answer: no pressure is allowed, and the fit is not asked beyond its end.
        bulging = ffs.bulging_factor_level_1.array(lambda_s=np.where(inside, span, 0.0))
        left = ffs.remaining_strength_factor.array(R_t=np.where(inside, ratio, 1.0), M_t=bulging)
        return np.where(inside, ffs.reduced_working_pressure.array(MAWP=sound(t_c), RSF=left, RSF_a=allowed), 0.0)
    return function


def _sound_plant(bundle: Bundle) -> Callable[[np.ndarray], np.ndarray]:
    from wrapcalc.formulas import plant_piping
    get = bundle.case.get
    return lambda t_c: plant_piping.plant_design_pressure.array(
        S=get("service.allowable_stress").base, E=get("service.quality_factor").base,
        W=get("service.weld_strength_factor").base, t=t_c, D=get("pipe.outside_diameter").base,
        Y=get("service.wall_coefficient").base)


def at_most_depth(function: Callable[[np.ndarray], np.ndarray], target: float, most: float, count: int) -> np.ndarray:
    """Greatest depths, one per row, at which a function of depths that never rises is still at least the target.

    Bisection on all rows at once, for the picture; the passing side of the bracket.
    """
    low, high = np.zeros(count), np.full(count, most)
    passes = function(high) >= target
    low = np.where(passes, high, low)
    for _ in range(22):
        middle = (low + high) / 2
        good = function(middle) >= target
        low, high = np.where(good, middle, low), np.where(good, high, middle)
    return np.where(function(low) >= target, low, 0.0)


def name_of(key: str) -> str:
    """How a method is called on the page."""
    return NAMES.get(key, key)

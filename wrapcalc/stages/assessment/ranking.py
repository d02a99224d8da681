"""Safe pressure of many clusters in one pass, by the rule that governs, to find the one that goes on."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from wrapcalc.case import Bundle
from wrapcalc.case.model import AREA, RSF
from wrapcalc.errors import CalculationError
from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.searches.complex_shape import weakest_shape
from wrapcalc.stages.assessment.forms import SINGLE
from wrapcalc.stages.assessment.governing import methods_of_record
from wrapcalc.stages.assessment.kernels import ORIGINAL_1991, Steel, failure
from wrapcalc.stages.assessment.shape import Piece, river_of
from wrapcalc.stages.assessment.tensile import MOST_STATIONS
from wrapcalc.standards.documents import B31G_2012, DNV_F101
from wrapcalc.values import Value


def bare_steel(bundle: Bundle, wall: float, reference: Callable[..., np.ndarray] | None = None) -> Steel:
    """The pipe on bare numbers. reference: (wall) -> that of the 1991 form, when it is wanted.

    Methods whose flow stress is outside its scope are left out of `flow`.
    """
    case, tables = bundle.case, bundle.tables
    smys, smts = case.get("pipe.smys").base, case.get("pipe.smts")
    most = np.inf if smts is None else smts.base
    factor = strength.flow_stress_factor.core(k=tables.value(B31G_2012.id, "flow_factor").magnitude, S_y=smys)
    flow = {"original 2012": min(factor, most)}
    if factor <= most:
        flow[ORIGINAL_1991] = factor
    if smys <= tables.value(B31G_2012.id, "flow_increment_smys_limit").magnitude:
        increment = tables.value(B31G_2012.id, "flow_increment").magnitude
        flow["0.85dL"] = flow[AREA] = min(strength.flow_stress_increment.core(S_y=smys, Delta_S=increment), most)
    if reference is None:
        flow.pop(ORIGINAL_1991, None)
    return Steel(case.get("pipe.outside_diameter").base, wall, None if smts is None else smts.base, flow,
                 reference or _no_reference)


def _no_reference(wall: float | np.ndarray) -> np.ndarray:
    raise CalculationError("the 1991 form was asked for without its reference pressure")


def ranking(bundle: Bundle, wall: Value) -> Callable[[Piece], float]:
    """A function that gives the lowest failure pressure (MPa) of a piece among the methods that may govern.

    The same safety factor divides all of them, so the order is that of the safe pressures. The 1991 form, whose result
    depends on the MAOP, follows the order of the 2012 form but for the switch; it is left out of the ranking.
    """
    case = bundle.case
    steel = bare_steel(bundle, wall.magnitude)
    more_depth, more_length = (case.get(f"defect.{n}_allowance").base for n in ("depth", "length"))
    keys = [k for k in methods_of_record(bundle, True) if k in (*steel.flow, SINGLE) and k != ORIGINAL_1991]
    if not keys or RSF in keys:
        keys = ["original 2012"]

    def rank(piece: Piece) -> float:
        depth, length = piece.depth + more_depth, piece.length + more_length
        if depth >= wall.magnitude:
            return -depth  # through the wall: the deepest first
        river = river_of(piece, more_depth, more_length, length) if piece.river is not None else None
        if keys == [SINGLE] and river is not None and len(river.x) <= MOST_STATIONS:
            # Where DNV-RP-F101 governs, the complex shape speaks for a piece that has a profile.
            assert steel.smts is not None
            return weakest_shape(river.x, river.depth, steel.D, steel.t, steel.smts,
                                 int(bundle.tables.value(DNV_F101.id, "depth_increments").magnitude)).pressure
        return min(float(failure(k, steel, river)(np.array([depth]), np.array([length]))[0])
                   for k in keys if k != AREA or river is not None)
    return rank

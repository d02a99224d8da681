"""Why a row of a screening gets no wrap by first pass, by code, and how its answer was worked out."""

from __future__ import annotations

import numpy as np

(DESIGN_DATA, WAITS, SINGLE_CASE, LIVE_ABOVE_INTERIM, DEEP_AT_END, NO_METHOD_AT_END, THIN_AT_END, SHEAR, HOT, COLD_SITE,
 NO_STRAIN, LONG_LIFE, ENVELOPE, DEPTH_TESTED, CLASS, DIAMETER, GIRTH_WELD, COMPONENT_ROUTE, OUTSIDE, NO_LONG_TERM,
 LIVE_ABOVE_SAFE, LIVE_AXIAL, LIVE_YIELDS, NOT_YIELDED, NO_YIELD, AXIAL_ON_STEEL, NOT_FOR_AXIAL, LEAST_ROOM, TIERS,
 MOST_LAYERS, FEW_LAYERS, HOOP_STRAIN, TEST_STRAIN, TEST_STRESS, AXIAL_AS_LAID, NO_YIELD_AS_LAID,
 AXIAL_TEST, ONE_UNIT, NO_SET, TOO_NEAR) = range(1, 41)
#: Texts by code; 0: a wrap is feasible, or none was asked for.
WRAP_REASONS = (
    "", "values for the design of a wrap are not stated", "a value of the named edition is not known",
    "worked as a single case only", "the installation pressure is above the interim limit",
    "the depth passes its limit before the end of the repair's life",
    "no method of record holds at the end of the repair's life",
    "too little wall is left at the end of the repair's life",
    "shear or torsion is too high for the remaining wall", "the service is hotter than the system may be",
    "the steel is too cold or too hot for the system or its qualified cure",
    "no allowable strain is left after thermal mismatch",
    "the design life is longer than the strains are tabulated for",
    "outside the tested envelope of the system", "the depth is outside the tested envelope of the system",
    "outside the repair class", "no sleeve is made for this outside diameter",
    "the system may not lie over a girth weld", "this route is not for a repair inside a component",
    "too little wall is left against the outside pressure", "the system has no long-term tests",
    "the installation pressure is not below the safe pressure",
    "external loads leave the damaged section no room to share",
    "the remaining wall yields at the installation pressure", "the remaining wall does not yield: not this route",
    "the steel would not yield under the wrap: not this route",
    "the remaining steel does not carry the axial load", "the laminate is not qualified for axial load",
    "less than the least room for the overlap", "more sleeves one over the other than are qualified",
    "more layers than are qualified", "the layers of the sleeve are too few for the thickness required",
    "the hoop strain of the wrap as laid is too high", "the hoop strain of the wrap at the pressure test is too high",
    "the steel under the wrap yields at the pressure test", "the axial strain of the wrap as laid is too high",
    "the steel does not yield under the wrap as laid: not this route",
    "the damaged section yields along the pipe at the pressure test",
    "the wrap carries axial load and no single unit is wide enough", "no set of the system's units covers the length",
    "the repair would come too close to a weld, a bend, a fitting, another repair or other damage")
#: How an answer was worked out, by code.
WRAP_BASIS = ("none", "array", "single case only")
ARRAY, SINGLE = 1, 2


class First:
    """The first reason that stops each row, in the order of the single design."""

    def __init__(self, count: int):
        self.code = np.zeros(count, np.uint8)

    def stop(self, rows: np.ndarray | bool, code: int) -> None:
        """These rows, as far as nothing stopped them before."""
        self.code[(self.code == 0) & rows] = code

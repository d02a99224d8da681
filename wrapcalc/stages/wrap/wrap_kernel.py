"""The chain of the wrap design on bare arrays: strains, thickness by route, layers, use of a given thickness.

The formulas are those that the stages record, one by one; `tests/stages/wrap/test_chain.py` holds both equal row by
row. Units are mm, MPa, N, °C. A row that a gate of the route stops gets an infinite thickness, never a number to go on
with.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from wrapcalc.formulas import wrap_external, wrap_strain
from wrapcalc.formulas import wrap_thickness as thickness
from wrapcalc.stages.wrap.routes import LOAD_SHARING, LONG_TERM, STRAIN, YIELDED

Rows = Mapping[str, Any]

#: What a row is made of. Numbers that are the same for all rows may stand as numbers.
INPUTS = {
    "D": "outside diameter", "p": "equivalent pressure", "p_s": "safe pressure of the damaged pipe",
    "p_live": "pressure while wrapping", "t_s": "remaining wall", "s": "allowable stress of the steel",
    "S_y": "SMYS", "E_s": "modulus of the steel", "alpha_s": "expansion of the steel",
    "E_c": "hoop modulus", "E_a": "axial modulus", "nu": "Poisson ratio", "alpha_c": "hoop expansion",
    "alpha_a": "axial expansion", "T_m": "upper temperature limit", "T_hot": "hottest service",
    "f_T": "table of temperature factors, empty for the equation", "T_cold": "coldest service",
    "T_i": "installation temperature", "f_c": "cyclic factor",
    "eps_0": "tabulated hoop strain", "eps_a0": "tabulated axial strain",
    "eps_t0": "tabulated strain of a pressure test", "p_t": "test pressure, 0 for none",
    "F_shared": "axial line force that steel and wrap share, in size", "p_a": "axial capacity, infinite when enough",
    "p_al": "axial load while wrapping",
    "along": "pairs of axial force on the laminate alone and pressure that surely acts with it",
    "F_relief": "axial force that relieves the hoop direction",
    "p_out": "outside pressure, 0 for none", "SF_out": "its safety factor",
    "f_lt": "factor on the long-term strength", "s_lt": "long-term strength", "f_m": "component and room",
}


def strains(x: Rows) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Allowable hoop strain, axial strain and hoop strain of a pressure test; the lower of hottest and coldest.

    Nothing (0) is left where the service is hotter than the system may be.
    """
    out = []
    for hot in ("T_hot", "T_cold"):
        margin = np.maximum(wrap_strain.temperature_margin.array(T_m=x["T_m"], T_d=x[hot]), 0.0)
        factor = (wrap_strain.temperature_factor.array(x=margin) if not x["f_T"] else
                  wrap_strain.temperature_factor_by_table.array(margin, *x["f_T"]))
        change = wrap_strain.temperature_change.array(T_d=x[hot], T_i=x["T_i"])
        common = {"f_T": factor, "Delta_T": change, "alpha_s": x["alpha_s"]}
        out.append((wrap_strain.allowable_hoop_strain.array(f_c=x["f_c"], eps_0=x["eps_0"], alpha_c=x["alpha_c"],
                                                            **common),
                    wrap_strain.allowable_axial_strain.array(f_c=x["f_c"], eps_0=x["eps_a0"], alpha_a=x["alpha_a"],
                                                             **common),
                    wrap_strain.allowable_hoop_strain_rare.array(eps_0=x["eps_t0"], alpha_c=x["alpha_c"], **common)))
    cool = np.asarray(x["T_hot"]) <= x["T_m"]
    hoop, axial, rare = (np.where(cool, np.minimum(*both), 0.0) for both in zip(*out, strict=True))
    return hoop, axial, rare


def _over(value: Any, holds: Any) -> np.ndarray:
    """The value where it may be had, infinite elsewhere."""
    return np.where(holds, value, np.inf)


def _load_sharing(x: Rows) -> np.ndarray:
    bare = thickness.thickness_load_sharing.array(**{k: x[k] for k in ("D", "s", "E_s", "E_c", "p", "p_s")})
    with np.errstate(divide="ignore", invalid="ignore"):
        around = thickness.thickness_load_sharing_live.array(t_LS=bare, p_s=x["p_s"], p_live=x["p_live"])
        out = _over(around, np.asarray(x["p_live"]) < x["p_s"])
        if np.any(np.asarray(x["F_shared"]) > 0):
            along = thickness.thickness_load_sharing_axial.array(
                D=x["D"], s=x["s"], E_s=x["E_s"], E_a=x["E_a"], F_eq=x["F_shared"], p_a=x["p_a"])
            loaded = thickness.thickness_load_sharing_live.array(t_LS=along, p_s=x["p_a"], p_live=x["p_al"])
            asked = along > 0
            out = np.maximum(out, np.where(asked, _over(loaded, np.asarray(x["p_al"]) < x["p_a"]), 0.0))
    return out


def _yielded(x: Rows, hoop: np.ndarray, rare: np.ndarray) -> np.ndarray:
    same = {"D": x["D"], "S_y": x["S_y"], "t_s": x["t_s"], "E_c": x["E_c"]}
    required = thickness.thickness_yielded_steel.array(p=x["p"], eps_c=hoop, **same)
    positive = np.where(required > 0, required, 1.0)
    elastic = thickness.ligament_stress_elastic.array(p=x["p"], D=x["D"], t_s=x["t_s"], t_c=positive, E_c=x["E_c"],
                                                      E_s=x["E_s"])
    live = thickness.ligament_stress_installation.array(p_live=x["p_live"], D=x["D"], t_s=x["t_s"])
    out = _over(required, (required > 0) & (elastic > x["S_y"]) & (live < x["S_y"]))
    if np.any(np.asarray(x["p_t"]) > 0):
        out = np.maximum(out, thickness.thickness_yielded_steel.array(p=x["p_t"], eps_c=rare, **same))
    return np.maximum(out, _along(x))


def _strain(x: Rows, hoop: np.ndarray, rare: np.ndarray) -> np.ndarray:
    relief = np.asarray(x["F_relief"])
    out = thickness.thickness_strain_hoop.array(p=x["p"], D=x["D"], E_c=x["E_c"], F_eq=relief, nu=x["nu"], eps_c=hoop)
    return np.maximum.reduce([*np.broadcast_arrays(out, _test(x, rare), _along(x), _outside(x))])


def _test(x: Rows, rare: np.ndarray) -> np.ndarray | float:
    """The pressure test on the laminate alone."""
    if not np.any(np.asarray(x["p_t"]) > 0):
        return 0.0
    return thickness.thickness_laminate_strain.array(p=x["p_t"], D=x["D"], E_c=x["E_c"], eps_c=rare)


def _along(x: Rows) -> np.ndarray | float:
    """Axial thickness of a laminate that carries the axial load alone."""
    out: np.ndarray | float = 0.0
    if not x["along"]:
        return out
    axial = strains(x)[1]
    for force, p in x["along"]:
        made = thickness.thickness_strain_axial.array(F_eq=force, D=x["D"], E_a=x["E_a"], p=p, nu=x["nu"], E_c=x["E_c"],
                                                      eps_a=np.where(axial > 0, axial, 1.0))
        out = np.maximum(out, _over(made, axial > 0))
    return out


def _outside(x: Rows) -> np.ndarray | float:
    if not np.any(np.asarray(x["p_out"]) > 0):
        return 0.0
    return wrap_external.thickness_outside_pressure.array(D=x["D"], SF=x["SF_out"], nu=x["nu"], p_out=x["p_out"],
                                                          E_c=x["E_c"])


def _long_term(x: Rows, rare: np.ndarray) -> np.ndarray:
    margin = np.maximum(wrap_strain.temperature_margin.array(T_m=x["T_m"], T_d=x["T_hot"]), 0.0)
    hot = wrap_strain.temperature_factor_strength.array(x=margin)
    out = thickness.thickness_long_term.array(p=x["p"], D=x["D"], f=x["f_lt"], f_T2=hot, s_lt=x["s_lt"])
    return np.maximum.reduce([*np.broadcast_arrays(out, _test(x, rare), _along(x), _outside(x))])


def required(route: str, x: Rows) -> np.ndarray:
    """Thickness required by one route, with the factors of component and room; infinite where a gate stops it."""
    hoop, _, rare = strains(x)
    left = (hoop > 0) & (np.asarray(x["T_hot"]) <= x["T_m"])
    safe = np.where(hoop > 0, hoop, 1.0), np.where(rare > 0, rare, 1.0)
    if route == LOAD_SHARING:
        out = _load_sharing(x)
    elif route == YIELDED:
        out = _yielded(x, *safe)
    elif route == STRAIN:
        out = _strain(x, *safe)
    else:
        assert route == LONG_TERM
        out = _long_term(x, safe[1])
    if np.any(np.asarray(x["p_t"]) > 0):
        left = left & (rare > 0)
    return _over(out * np.asarray(x["f_m"]), left)


def layers(thick: np.ndarray, ply: Any, least: Any) -> np.ndarray:
    """Whole layers for a thickness; infinite where that is."""
    finite = np.isfinite(thick)
    count = thickness.layers_required.array(t_req=np.where(finite, thick, 1.0), t_ply=ply, n_min=least)
    return _over(count, finite)


def use(route: str, x: Rows, t_c: Any) -> np.ndarray:
    """Share of a thickness as laid that is used, by every check of the route; at most 1 holds, infinite is stopped."""
    out = required(route, x) / np.asarray(t_c)
    hoop, axial, rare = strains(x)
    if route == LOAD_SHARING:
        ring = thickness.equivalent_wall.array(p_s=x["p_s"], D=x["D"], s=x["s"])
        for p, allowed in ((x["p"], hoop), (x["p_t"], rare)):
            if np.any(np.asarray(p) > 0):
                worked = thickness.wrap_strain_load_sharing.array(p=p, D=x["D"], E_s=x["E_s"], t_eq=ring, E_c=x["E_c"],
                                                                  t_c=t_c)
                out = np.maximum(out, _over(worked / np.where(allowed > 0, allowed, 1.0), allowed > 0))
                if p is x["p_t"]:
                    stress = thickness.steel_stress_shared.array(p_live=x["p_live"], p=p, D=x["D"], t_eq=ring,
                                                                 E_s=x["E_s"], E_c=x["E_c"], t_c=t_c)
                    out = np.maximum(out, stress / x["S_y"])
        if np.any(np.asarray(x["F_shared"]) > 0):
            out = np.maximum(out, _shared_along(x, axial, t_c))
    if route == YIELDED:
        elastic = thickness.ligament_stress_elastic.array(p=x["p"], D=x["D"], t_s=x["t_s"], t_c=t_c, E_c=x["E_c"],
                                                          E_s=x["E_s"])
        out = _over(out, elastic > x["S_y"])
    return out


def _shared_along(x: Rows, axial: np.ndarray, t_c: Any) -> np.ndarray:
    """Axial strain of the wrap over what is allowed, where steel and wrap share the axial load."""
    asked = np.isfinite(np.asarray(x["p_a"])) & (
        2 * np.asarray(x["F_shared"]) / (np.pi * np.asarray(x["D"]) ** 2) > x["p_a"])
    ring = thickness.equivalent_wall.array(p_s=np.where(asked, x["p_a"], 1.0), D=x["D"], s=x["s"])
    worked = thickness.wrap_axial_strain_load_sharing.array(F_eq=x["F_shared"], D=x["D"], E_s=x["E_s"], t_ea=ring,
                                                            E_a=x["E_a"], t_c=t_c)
    return np.where(asked, _over(worked / np.where(axial > 0, axial, 1.0), axial > 0), 0.0)

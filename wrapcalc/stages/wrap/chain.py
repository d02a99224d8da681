"""The design as a function of what may be known better or change: depth, length, wall, pressure, temperature, laminate.

Built from one design, it gives the thickness required, the layers and the use of the wrap as laid for arrays of those
numbers; the envelope, the sensitivities and the simulation ask it. Nothing here is recorded.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from wrapcalc.case import Bundle
from wrapcalc.case.design_model import BY_STEEL
from wrapcalc.case.model import HOLE
from wrapcalc.formulas import pressure, wrap_external, wrap_loads
from wrapcalc.formulas import wrap_extent as reach
from wrapcalc.formulas import wrap_through_wall as leak
from wrapcalc.formulas.wrap_strain import temperature_factor_strength, temperature_margin
from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages.assessment.axial import axial_demands, axial_stresses
from wrapcalc.stages.assessment.of_record import clusters_beside, of_record
from wrapcalc.stages.scope import code
from wrapcalc.stages.wrap import wrap_kernel
from wrapcalc.stages.wrap.after_layers import counts_on_section
from wrapcalc.stages.wrap.design import Design
from wrapcalc.stages.wrap.extent import lap_carries
from wrapcalc.stages.wrap.routes import (
    ALONG,
    LOAD_SHARING,
    LONG_TERM,
    STRAIN,
    long_term_factor,
    long_term_strength,
)
from wrapcalc.stages.wrap.strain import steel, temperature_rows
from wrapcalc.standards.documents import PRACTICE

Inputs = Mapping[str, Any]
DEPTH, LENGTH, WALL, PRESSURE, HOT = "depth", "length", "sound wall", "repair design pressure", "hottest service"
LIVE, MODULUS, PLY = "pressure while wrapping", "hoop modulus", "thickness of a layer"
INSTALLED, OPENING, WIDTH = "installation temperature", "size of the opening", "width"
#: Halvings of the bracket of the thickness over an opening.
_HALVINGS = 60
#: A limit that the design itself stands on must hold for it.
_SAME = 1 + 1e-9
#: Unit of each input, as `units` names it.
UNITS = {DEPTH: "mm", LENGTH: "mm", WALL: "mm", PRESSURE: "MPa", HOT: "degC", LIVE: "MPa", MODULUS: "MPa", PLY: "mm",
         INSTALLED: "degC", OPENING: "mm", WIDTH: "mm"}


@dataclass
class Chain:
    """One design, ready to be asked. base: its own inputs; names: what may be changed."""

    bundle: Bundle
    design: Design
    base: dict[str, float] = field(init=False)

    def __post_init__(self) -> None:
        d, case = self.design, self.bundle.case
        assert d.laid is not None and d.ply is not None and d.allowed is not None and d.loads is not None
        system = self.bundle.system
        assert system is not None
        self.route = next(r.key for r in d.routes if r.chosen)
        self.base = {PRESSURE: d.pressure.magnitude, HOT: case.get("service.service_temperature").base,
                     LIVE: case.get("service.installation_pressure").base,
                     MODULUS: system.value("laminate.modulus_hoop").magnitude, PLY: d.ply.magnitude,
                     INSTALLED: case.get("service.installation_temperature").base}
        a = d.at_end
        if a is not None:
            self.base |= {DEPTH: a.greatest.magnitude, LENGTH: a.extent.magnitude, WALL: a.wall.magnitude,
                          WIDTH: case.get("defect.width").base}
        else:
            assert d.opening is not None and d.extent is not None
            self.base |= {OPENING: d.opening.size.magnitude, LENGTH: d.extent.repairs[0].length.magnitude}
        self._fixed = self._constants()
        self._seen: dict[tuple[float, ...], dict[str, Any]] = {}
        self._stresses: dict[tuple[float, ...], float] = {}

    # -- what does not change ------------------------------------------------------------------------------------
    def _constants(self) -> dict[str, Any]:
        bundle, d = self.bundle, self.design
        case, system, a = bundle.case, bundle.system, d.at_end
        assert system is not None and d.allowed is not None and d.loads is not None
        with recording(Recorder(case.display)):
            metal = steel(bundle)
        out: dict[str, Any] = {
            "D": case.get("pipe.outside_diameter").base, "E_s": metal.modulus.magnitude,
            "alpha_s": metal.expansion.magnitude, "S_y": case.get("pipe.smys").base,
            "T_m": d.allowed.upper.magnitude, "T_cold": case.get("service.lowest_temperature").base,
            "f_T": tuple(v.magnitude for v in temperature_rows(bundle)),
            "f_c": d.allowed.cyclic.magnitude, "eps_0": d.allowed.base_hoop.magnitude,
            "eps_a0": d.allowed.base_axial.magnitude,
            "eps_t0": (d.allowed.base_rare or d.allowed.base_hoop).magnitude,
            "p_t": 0.0 if d.loads.test is None else d.loads.test.magnitude,
            "f_m": float(np.prod([f.magnitude for f in d.factors])) if d.factors else 1.0,
            "p_out": 0.0, "SF_out": 1.0, "f_lt": 1.0, "s_lt": 1.0, "F_shared": 0.0, "p_a": np.inf, "p_al": 0.0,
            "along": (), "F_relief": 0.0, "s": 1.0, "p_s": 1.0, "t_s": 1.0}
        for symbol, name in (("E_a", "modulus_axial"), ("nu", "poisson_ratio"), ("alpha_c", "expansion_hoop"),
                             ("alpha_a", "expansion_axial")):
            out[symbol] = system.value(f"laminate.{name}").magnitude
        if a is not None:
            out["s"] = a.allowable.magnitude
        if d.loads.outside is not None and self.route in (STRAIN, LONG_TERM):
            out["p_out"] = d.loads.outside.magnitude
            out["SF_out"] = bundle.tables.value(case.design.standard, "external_pressure_safety").magnitude
        if self.route == LONG_TERM:
            with recording(Recorder(case.display)):
                out["f_lt"] = long_term_factor(bundle).magnitude
                out["s_lt"] = long_term_strength(bundle).magnitude
        return out

    # -- from inputs to the rows of the kernel -------------------------------------------------------------------
    def rows(self, v: Inputs) -> dict[str, Any]:
        """Rows of the kernel for these inputs; those that are not named stay as they are."""
        at = {n: np.atleast_1d(np.asarray(v.get(n, b), float)) for n, b in self.base.items()}
        x = dict(self._fixed)
        p = at[PRESSURE]
        x |= {"p": self._equivalent(p), "T_hot": at[HOT], "T_i": at[INSTALLED], "p_live": at[LIVE],
              "E_c": at[MODULUS]}
        d, loads = self.design, self.design.loads
        assert loads is not None
        if d.at_end is not None:
            depth, length, wall = np.broadcast_arrays(at[DEPTH], at[LENGTH], at[WALL])
            x["t_s"] = wall - depth
            x["p_s"] = self._safe(depth, length, wall)
        if any(m.what == ALONG and m.capacity is None for m in d.chosen.demands):  # type: ignore[union-attr]
            x["along"] = self._laminate_alone(p)
        if d.at_end is not None and self.route == LOAD_SHARING:
            x |= self._shared(*np.broadcast_arrays(at[DEPTH], at[WALL], p, at[LIVE], at[WIDTH]))
        if self.route in (STRAIN, LONG_TERM) and self._sure and not self._by_steel:
            x["F_relief"] = self._thrust(p) + self._outer - self._line
        return x

    def _equivalent(self, p: np.ndarray) -> np.ndarray:
        case = self.bundle.case
        shear, torsion = (0.0 if (g := case.get(f"service.{n}")) is None else g.base
                          for n in ("shear_force", "torsion"))
        if not shear and not torsion:
            return p
        return wrap_loads.equivalent_pressure.array(p=p, D=self._fixed["D"], F_sh=shear, M_to=torsion)

    def _safe(self, depth: np.ndarray, length: np.ndarray, wall: np.ndarray) -> np.ndarray:
        """Safe pressure of the damage, MPa; of every cluster as it would have grown. 0 where no wall is left."""
        a = self.design.at_end
        assert a is not None
        deeper, longer = depth - self.base[DEPTH], length - self.base[LENGTH]
        out = np.full(depth.shape, np.inf)
        for own_depth, own_length, function in self._clusters:
            deep, long = own_depth + deeper, np.maximum(own_length + longer, 1e-3)
            inside = (deep < wall) & (deep >= 0)
            safe = function(np.where(inside, deep, 0.0), long, np.where(inside, wall, self.base[WALL]))
            out = np.minimum(out, np.where(inside, safe, 0.0))
        # The functions of size are never above the method (a complex shape may be): damage that is nowhere greater than
        # designed for has at least the safe pressure of the design.
        assert a.governing is not None
        no_worse = (depth <= self.base[DEPTH]) & (length <= self.base[LENGTH]) & (wall >= self.base[WALL])
        out = np.where(no_worse, np.maximum(out, a.governing.magnitude), out)
        return np.maximum(out, 1e-12)

    @cached_property
    def _clusters(self) -> list[tuple[float, float, Any]]:
        """(depth, length, safe pressure) of every cluster."""
        a, bundle = self.design.at_end, self.bundle
        assert a is not None
        return [(a.depth.magnitude, a.length.magnitude, of_record(bundle, a).safe)] + [
            (b.depth, b.length, b.safe) for b in clusters_beside(bundle, a)]

    def _thrust(self, p: np.ndarray) -> np.ndarray:
        return pressure.end_thrust.array(D=self._fixed["D"], P=p)

    @property
    def _sure(self) -> bool:
        """Whether pressure and end thrust surely act together."""
        return self.bundle.case.service.restraint == "unrestrained"

    @property
    def _outer(self) -> float:
        return self.bundle.case.get("service.axial_force").base

    @property
    def _line(self) -> float:
        """Line force of bending, all round, N."""
        return 4 * abs(self.bundle.case.get("service.bending_moment").base) / self._fixed["D"]

    def _laminate_alone(self, p: np.ndarray) -> tuple[tuple[np.ndarray, Any], ...]:
        """Axial loads on a laminate that carries all of them, with the pressure that surely acts with each."""
        both, acting = self._thrust(p) + self._outer, p if self._sure else 0.0
        out = [(both + self._line, acting)]
        if self._line:
            out.append((both - self._line, acting))
        if self._line or self._outer:
            out.append((np.full_like(p, abs(self._outer) + self._line), 0.0))
        if tested := self._fixed["p_t"]:
            force = self._thrust(np.full_like(p, tested)) + self._outer + self._line
            out.append((force, tested if self._sure else 0.0))
        return tuple(out)

    def _shared(self, depth: np.ndarray, wall: np.ndarray, p: np.ndarray, live: np.ndarray, width: np.ndarray
                ) -> dict[str, Any]:
        """Axial load that steel and wrap share, the capacity of the section, and the load while wrapping."""
        key = tuple(float(v[0]) for v in (depth, wall, p, live, width)) if depth.size == 1 else None
        if key is not None and key in self._seen:
            return self._seen[key]
        s, D = self._fixed["s"], self._fixed["D"]
        inside = np.minimum(depth, 0.999 * wall)  # deeper has no wall: stopped by its safe pressure of nothing
        line, stress = axial_demands(self.bundle, inside, wall, p, s, width=width)
        if not np.any(stress > s):
            out = {"F_shared": 0.0, "p_a": np.inf, "p_al": 0.0}
            if key is not None:
                self._seen[key] = out
            return out
        before = axial_stresses(self.bundle, inside, wall, live, width=width)
        capacity = np.where(stress > s, 2 * line / (np.pi * D ** 2) * s / np.where(stress > 0, stress, 1.0), np.inf)
        finite = np.where(np.isfinite(capacity), capacity, 0.0)
        out = {"F_shared": np.where(stress > s, line, 0.0), "p_a": capacity, "p_al": finite * before / s}
        if key is not None:
            self._seen[key] = out
        return out

    # -- what is asked -------------------------------------------------------------------------------------------
    def required(self, v: Inputs) -> np.ndarray:
        """Thickness required in mm, with the factors of component and room; infinite where nothing holds."""
        x = self.rows(v)
        out = np.asarray(wrap_kernel.required(self.route, x))
        if self.design.opening is not None:
            out = np.maximum(out, self._over_opening(v, x) * x["f_m"])
        return self._as_asked(v, out)

    def _as_asked(self, v: Inputs, out: np.ndarray) -> np.ndarray:
        """One answer for each row that was asked for, also where an input that was changed does not matter."""
        shape = np.broadcast_shapes(out.shape, *(np.shape(a) for a in v.values()))
        return np.broadcast_to(out, shape or (1,))

    def count(self, v: Inputs) -> np.ndarray:
        """Layers required; infinite where nothing holds."""
        system = self.bundle.system
        assert system is not None
        least = 1.0
        if not system.is_sleeve:
            least = max(system.value("lay_up.least_layers").magnitude,
                        self.bundle.tables.value(self.bundle.case.design.standard, "minimum_layers").magnitude)
        return wrap_kernel.layers(self.required(v), np.asarray(v.get(PLY, self.base[PLY]), float), least)

    def use(self, v: Inputs, count: float | None = None) -> np.ndarray:
        """Share of the wrap that is used with so many layers (without a number those as laid); at most 1 holds."""
        assert self.design.laid is not None
        layers = self.design.laid.count.magnitude if count is None else count
        t_c = layers * np.asarray(v.get(PLY, self.base[PLY]), float)
        x = self.rows(v)
        out = np.asarray(wrap_kernel.use(self.route, x, t_c))
        if not self._hands_on:  # an axial load on a wrap that cannot carry it, or hand it on from unit to unit
            out = np.where(np.asarray(x["F_shared"]) > 0, np.inf, out)
        if self.design.opening is not None:
            out = np.maximum(out, self._over_opening(v, x) * x["f_m"] / t_c)
            size = np.asarray(v.get(OPENING, self.base[OPENING]), float)
            out = np.maximum(out, size / self._widest(np.asarray(t_c, float)))
        return self._as_asked(v, np.maximum(out, self._beside_thickness(v, x["p_s"])))

    def _stress(self, depth: np.ndarray, wall: np.ndarray, p: np.ndarray, width: np.ndarray) -> np.ndarray:
        """Greatest axial stress of the section in MPa; worked once where one section is asked for again and again."""
        rows = [v.ravel() for v in np.broadcast_arrays(depth, wall, p, width)]
        if any(v.size > 1 and np.any(v != v[0]) for v in rows):
            return axial_stresses(self.bundle, *rows[:3], width=rows[3])
        key = tuple(float(v[0]) for v in rows)
        if key not in self._stresses:
            self._stresses[key] = float(axial_stresses(self.bundle, *(v[:1] for v in rows[:3]), width=rows[3][:1])[0])
        return np.array([self._stresses[key]])

    def _beside_thickness(self, v: Inputs, safe: Any) -> np.ndarray:
        """Use of what no thickness mends, row by row: wall and depth limits, axial stress of the steel, room, cover."""
        at = {n: np.atleast_1d(np.asarray(v.get(n, b), float)) for n, b in self.base.items()}
        out = np.zeros(1)
        if self.design.at_end is None:
            size, length = np.broadcast_arrays(at[OPENING], at[LENGTH])
            return np.where(self._length_over_opening(size, length) <= self._cover * _SAME, out, np.inf)
        depth, wall, p, width, live = np.broadcast_arrays(*(at[n] for n in (DEPTH, WALL, PRESSURE, WIDTH, LIVE)))
        share, least = self._limits
        left = (depth <= share * np.minimum(wall, self._nominal) * _SAME) & (wall - depth >= least / _SAME)
        # Nobody wraps above the safe pressure of the damage, by any route.
        left = left & (live <= np.asarray(safe) * _SAME)
        inside = np.minimum(depth, 0.999 * wall)
        left = left & (self._stress(inside, wall, live, width) <= self._fixed["s"] * _SAME)
        left = left & (wall - depth >= self._steel_outside / _SAME)
        if self._on_section and self.route != LOAD_SHARING:
            out = np.maximum(out, self._stress(inside, wall, p, width) / self._fixed["s"])
        if self._on_section and self._fixed["p_t"]:
            tested = np.full(depth.shape, self._fixed["p_t"])
            out = np.maximum(out, self._stress(inside, wall, tested, width) / self._fixed["S_y"])
        return np.where(left, out, np.inf)

    @cached_property
    def _steel_outside(self) -> float:
        """Remaining wall that outside pressure asks for where the route counts on the steel, mm."""
        d, tables = self.design, self.bundle.tables
        assert d.loads is not None
        if d.loads.outside is None or self.route in (STRAIN, LONG_TERM):
            return 0.0
        return float(wrap_external.thickness_outside_pressure.core(
            D=self._fixed["D"], E_c=self._fixed["E_s"], p_out=d.loads.outside.magnitude,
            SF=tables.value(self.bundle.case.design.standard, "external_pressure_safety").magnitude,
            nu=tables.value(PRACTICE.id, "steel_poisson").magnitude))

    @cached_property
    def _limits(self) -> tuple[float, float]:
        """(deepest share of the thinner of wall and nominal wall, least remaining wall)."""
        bundle = self.bundle
        assert bundle.system is not None
        share = min(bundle.tables.value(code(bundle), "depth_limit").magnitude,
                    bundle.system.value("envelope.depth_max").magnitude)
        return share, bundle.tables.value(bundle.case.design.standard, "minimum_remaining_wall").magnitude

    @property
    def _nominal(self) -> float:
        return self.bundle.case.get("pipe.nominal_wall").base

    @property
    def _by_steel(self) -> bool:
        return self.bundle.case.design.axial_carried_by == BY_STEEL

    @cached_property
    def _on_section(self) -> bool:
        """Whether the damaged section has to carry axial load by itself or beside the wrap."""
        return counts_on_section(self.bundle, self.design)

    # -- an opening through the wall -----------------------------------------------------------------------------
    @property
    def _hands_on(self) -> bool:
        """Whether this wrap may carry axial load: the laminate is qualified for it, and no butted joint parts it."""
        system, extent = self.bundle.system, self.design.extent
        assert system is not None
        one = extent is not None and all(r.layout is not None and len(r.layout.widths) == 1 for r in extent.repairs)
        assert self.design.allowed is not None and self.design.laid is not None
        return system.laminate.carries_axial == "yes" and (
            one or lap_carries(self.bundle, self.design.allowed.axial, self.design.laid.thickness))

    def _over_opening(self, v: Inputs, x: Mapping[str, Any]) -> np.ndarray:
        """Thickness over the opening, row by row; infinite above the ceiling; not below that of the impact test."""
        case, system = self.bundle.case, self.bundle.system
        assert system is not None and self.design.opening is not None and self.design.opening.knockdown is not None
        size, p, hot, modulus = np.broadcast_arrays(*(np.atleast_1d(np.asarray(v.get(n, self.base[n]), float))
                                                      for n in (OPENING, PRESSURE, HOT, MODULUS)))
        p = np.maximum(self._equivalent(p), self._fixed["p_t"])
        factor = temperature_factor_strength.array(x=np.maximum(temperature_margin.array(T_m=x["T_m"], T_d=hot), 0.0))
        K = self.design.opening.knockdown.magnitude * factor / self._factor_now
        common = {"K": K, "gamma": system.value("through_wall.toughness").magnitude, "nu": x["nu"],
                  "E_ac": leak.geometric_modulus.array(E_a=x["E_a"], E_c=modulus)}
        hole = case.defect.leak_shape == HOLE
        top = (leak.ceiling_hole.array(**common, d_h=size) if hole else leak.ceiling_slot.array(**common, W_s=size))
        common["G"] = system.value("through_wall.shear_modulus").magnitude
        coefficient = self.bundle.tables.value(case.design.standard, "slot_shear_coefficient").magnitude
        low, high = np.zeros(p.shape), np.full(p.shape, self._fixed["D"])
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            reached = (leak.leak_pressure_hole.array(**common, d_h=size, t_c=middle) if hole else
                       leak.leak_pressure_slot.array(**common, W_s=size, t_c=middle, k_sh=coefficient))
            enough = reached >= p
            low, high = np.where(enough, low, middle), np.where(enough, middle, high)
        impact = system.value("through_wall.impact_thickness").magnitude
        return np.where((p < top) & (hot <= x["T_m"]), np.maximum(high, impact), np.inf)

    @cached_property
    def _cover(self) -> float:
        """Least full-thickness cover of the repairs, mm."""
        assert self.design.extent is not None
        return min(r.layout.cover.magnitude for r in self.design.extent.repairs if r.layout is not None)

    def _length_over_opening(self, size: np.ndarray, length: np.ndarray) -> np.ndarray:
        """Full-thickness length that an opening of this size in damage of this length asks for, mm."""
        extent = self.design.extent
        assert extent is not None
        repair, damage = extent.repairs[0], np.maximum(length, size)
        beyond = repair.full.magnitude - repair.length.magnitude
        if extent.room is not None or self.bundle.case.defect.leak_shape != HOLE:
            return beyond + damage
        by_hole = reach.overlap_hole.array(d_h=size, D=self._fixed["D"], t_n=self._nominal)
        return damage + 2 * np.maximum(extent.overlap.magnitude, by_hole)

    @property
    def _factor_now(self) -> float:
        """Temperature factor that is inside the factors of the design."""
        assert self.design.allowed is not None
        return float(temperature_factor_strength.core(x=self.design.allowed.margin.magnitude))

    def _widest(self, t_c: np.ndarray) -> np.ndarray:
        """Largest opening inside the validity of the equation, mm."""
        case, tables = self.bundle.case, self.bundle.tables
        if case.defect.leak_shape == HOLE:
            k = tables.value(case.design.standard, "hole_limit_coefficient").magnitude
            return leak.hole_limit.array(k_h=k, D=self._fixed["D"], t_c=t_c)
        k = tables.value(case.design.standard, "slot_limit_coefficient").magnitude
        return leak.slot_limit.array(k_w=k, D=self._fixed["D"], t_c=t_c)

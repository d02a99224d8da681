"""Why this number: what would move the layer count by one, what the tolerances do, how likely the wrap is used up."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wrapcalc import units
from wrapcalc.case import Bundle
from wrapcalc.recorder import active
from wrapcalc.searches import design_space as space
from wrapcalc.stages.wrap.chain import DEPTH, HOT, LENGTH, LIVE, MODULUS, PLY, PRESSURE, UNITS, WALL, WIDTH, Chain
from wrapcalc.stages.wrap.design import Design
from wrapcalc.standards.documents import MECHANICS
from wrapcalc.values import Value

#: Field of [tolerance] -> input of the chain; a share of the input, or an amount.
_STATED = {"pressure": PRESSURE, "wall": WALL, "depth": DEPTH, "length": LENGTH, "modulus": MODULUS,
           "ply_thickness": PLY, "temperature": HOT, "installation_pressure": LIVE}
_SHARES = ("pressure", "modulus", "ply_thickness", "installation_pressure")
#: How far each input is looked at for a change of the layer count, as shares of the design's own; temperatures in °C.
_FAR, _FAR_TEMPERATURE = (0.3, 3.0), 80.0
_POINTS = 120
#: Share of draws in which the layers do not hold that is warned about.
_OFTEN = 0.01


@dataclass(frozen=True)
class Why:
    """shifts: input -> (change down, change up) that moves the layers required by one, None where none is near.

    swings: thickness required at both ends of the stated tolerances; sampled: on demand.
    """

    shifts: dict[str, tuple[space.Shift | None, space.Shift | None]]
    swings: tuple[space.Swing, ...]
    sampled: space.Sampled | None


def why(bundle: Bundle, d: Design, chain: Chain) -> Why:
    """Sensitivities of a design that holds."""
    active().begin("Why this number")
    return Why(_shifts(bundle, d, chain), _swings(bundle, d, chain), _sampled(bundle, d, chain))


def _shifts(bundle: Bundle, d: Design, chain: Chain) -> dict[str, tuple[space.Shift | None, space.Shift | None]]:
    assert d.laid is not None
    display, out = bundle.case.display, {}
    for name, base in chain.base.items():
        if UNITS[name] == "degC":
            low, high = base - _FAR_TEMPERATURE, base + _FAR_TEMPERATURE
        else:
            low, high = base * _FAR[0], base * _FAR[1]
        if name == WALL:
            low, high = max(chain.base[DEPTH] * 1.02, base * 0.7), base * 1.5
        if name == DEPTH:
            high = min(high, chain.base[WALL] * 0.98)
        if name == WIDTH:
            high = min(high, math.pi * bundle.case.get("pipe.outside_diameter").base)
        if not low < base < high:
            continue
        out[name] = space.change_of_count(chain.count, chain.base, name, low, high, points=_POINTS)

    def words(name: str, shift: space.Shift | None) -> str:
        if shift is None:
            return "none within the range looked at"
        count = "no wrap holds" if shift.count_after == float("inf") else f"{shift.count_after:.0f} layers"
        return f"{units.show(shift.to, UNITS[name], system=display)}: {count}"

    rows = [(f"{name}, {units.show(chain.base[name], UNITS[name], system=display)}",
             f"lower: {words(name, down)}; higher: {words(name, up)}") for name, (down, up) in out.items()]
    active().procedure("Change of each input that moves the layers required", "each input alone, downwards and "
                       "upwards, until the whole number of layers required changes; closed by bisection",
                       MECHANICS.id, "derived",
                       {"thickness required": d.laid.required},
                       {"layers required now": (float(chain.count({})[0]), "")},
                       [*rows, ("layers laid", f"{d.laid.count.magnitude:.0f}")])
    return out


def _tolerances(bundle: Bundle, chain: Chain) -> dict[str, tuple[float, float]]:
    """Input -> (low, high) at the ends of what the case states."""
    out = {}
    for field, name in _STATED.items():
        given = bundle.case.get(f"tolerance.{field}")
        if given is None or name not in chain.base:
            continue
        half = given.base * chain.base[name] if field in _SHARES else given.base
        if not half:
            continue  # a share of nothing
        low, high = chain.base[name] - half, chain.base[name] + half
        if field in ("depth", "length", "wall"):
            low = max(low, 0.01)
        out[name] = (low, high)
    return out


def _swings(bundle: Bundle, d: Design, chain: Chain) -> tuple[space.Swing, ...]:
    spreads, rec = _tolerances(bundle, chain), active()
    if not spreads:
        rec.assume("The case states no tolerances for the inputs of the design: how they move the thickness is not "
        "shown.",
                   "case: tolerance")
        return ()
    ply = chain.base[PLY]
    # A thinner layer asks for more of them: it counts as more thickness of the nominal layer.
    swings = tuple(space.tornado(lambda v: chain.required(v) * (ply / np.asarray(v.get(PLY, ply))), chain.base,
                                 spreads))
    display, system = bundle.case.display, bundle.case.display
    assert d.laid is not None

    def words(v: float) -> str:
        return "no thickness holds" if v == float("inf") else units.show(v, "mm", system=system)

    inputs: dict[str, Value] = {"thickness required": d.laid.required}
    inputs |= {f"tolerance of the {name}": bundle.case.value(f"tolerance.{field}") for field, name in _STATED.items()
               if name in spreads}
    rec.procedure("Thickness required at the ends of the stated tolerances", "each input alone at its lower and upper "
                  "end, the others as designed; in layers of the nominal thickness; greatest swing first", MECHANICS.id,
                  "derived", inputs,
                  {"thickness provided": (d.laid.thickness.magnitude, "mm")},
                  [(f"{s.name}, {units.show(spreads[s.name][0], UNITS[s.name], system=display)} to "
                    f"{units.show(spreads[s.name][1], UNITS[s.name], system=display)}",
                    f"{words(s.low)} to {words(s.high)}") for s in swings])
    beyond = [s.name for s in swings if max(s.low, s.high) > d.laid.thickness.magnitude * (1 + 1e-9)]
    if beyond:
        rec.warn("Inside its stated tolerance this alone would ask for more than is laid: " + ", ".join(beyond)
                 + ". The allowances of the case do not cover it; look at more layers.", d.laid.thickness.origin.ref)
    return swings


def _sampled(bundle: Bundle, d: Design, chain: Chain) -> space.Sampled | None:
    case, spreads = bundle.case, _tolerances(bundle, chain)
    if case.get("tolerance.samples") is None or not spreads:
        return None
    halves = {n: ("normal", (high - low) / 2, 0.95) for n, (low, high) in spreads.items()}
    found = space.sampled(chain.use, chain.base, halves, int(case.get("tolerance.samples").base),
                          int(case.get("tolerance.seed").base))
    rec = active()
    rec.assume("In the simulation each stated tolerance is taken as the range of 95 % of a normal spread, the inputs "
               "as independent. It shows scatter; it is no acceptance.", "common practice")
    assert d.laid is not None
    rec.procedure(
        "Simulation of the use of the wrap", f"seed {case.get('tolerance.seed').written}; every input of the stated "
        "tolerances drawn at once, the whole chain worked for each draw", MECHANICS.id, "derived",
        {"samples": case.value("tolerance.samples"), "seed": case.value("tolerance.seed"),
         "layers": d.laid.count},
        {"share of draws in which the layers do not hold": (found.above, "")},
        [("interval of that share, 95 %", f"{found.interval[0]:.2%} to {found.interval[1]:.2%}")]
        + [(f"use, {q:.0%} of the draws are below", "not held" if v == float("inf") else f"{v:.3f}")
           for q, v in found.quantiles.items()])
    if found.above > _OFTEN:
        rec.warn(f"In {found.above:.1%} of the draws of the simulation, within the stated tolerances, the layers do "
                 "not hold: look at more layers, or at better measurements.", d.laid.thickness.origin.ref)
    return found

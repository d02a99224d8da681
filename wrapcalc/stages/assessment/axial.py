"""The axial direction: net section of the damaged pipe under end thrust, restraint, external force and bending.

Metal-loss methods say nothing about this direction; the wrap design needs it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np

from wrapcalc.case import Bundle
from wrapcalc.case.model import INTERNAL_LOSS
from wrapcalc.checks import Check
from wrapcalc.formulas import net_section as section
from wrapcalc.formulas import pressure
from wrapcalc.recorder import active
from wrapcalc.stages.wrap.strain import steel
from wrapcalc.standards.documents import MECHANICS, PRACTICE
from wrapcalc.values import Value

_WIDTHS, _HALVINGS = 2000, 40
#: Rows worked at once on arrays: bounded memory.
_ROWS = 2000


@dataclass(frozen=True)
class Section:
    """Properties of the damaged section, at the width that stresses it most. depth, wall: as used."""

    area: Value
    shift: Value
    fibre: Value
    moment: Value
    sound: Value
    depth: Value
    wall: Value


@dataclass(frozen=True)
class _Load:
    """One load case in N, N mm and MPa, tension and stretching of the loss side positive, and how to tell it."""

    restrained: bool
    temperature: str
    sign: int
    force: float
    moment: float
    pressure: float

    @property
    def words(self) -> str:
        held = f"restrained, {'coldest' if 'lowest' in self.temperature else 'hottest'}" if self.restrained else "free"
        return held + ("" if not self.moment else ", bending stretches the loss" if self.sign > 0
                       else ", bending compresses the loss") + ("" if self.pressure else ", without pressure")


def has_loads(bundle: Bundle) -> bool:
    """Whether anything but the end thrust of a free pipe acts, or may act."""
    case = bundle.case
    return bool(case.get("service.axial_force").base or case.get("service.bending_moment").base
                or case.service.restraint in ("restrained", "unknown"))


def damaged_section(bundle: Bundle, depth: Value, wall: Value) -> Section:
    """Properties of the net section at the width, up to the stated one, that end thrust stresses most."""
    case = bundle.case
    stated = case.value("defect.width")
    widths = np.linspace(stated.magnitude / _WIDTHS, stated.magnitude, _WIDTHS)
    diameter = case.value("pipe.outside_diameter")
    stress = _Widths(bundle, widths, depth.magnitude, wall.magnitude).worst(1.0, 0.0)
    return _at_width(bundle, _worst(stated, widths, stress, depth, wall, diameter), depth, wall)


def _worst(stated: Value, widths: np.ndarray, stress: np.ndarray, depth: Value, wall: Value, diameter: Value) -> Value:
    """The width that stresses the section most.

    Beyond about two thirds of the circumference a wider loss is a rounder one and its eccentricity falls; a loss
    that is deep over part of its stated width only must not pass because of that.
    """
    worst = float(widths[int(np.argmax(stress))])
    return active().procedure(
        "Width that stresses the section most", f"{_WIDTHS} widths from nothing up to the stated one, greatest "
        "net-section axial stress; the formulas that follow are run at the width found", MECHANICS.id, "derived",
        {"stated width": stated, "depth used": depth, "wall used": wall, "outside diameter": diameter},
        {"width": (worst, "mm")}, [("stress at the stated width over the greatest", f"{stress[-1] / stress.max():.4f}")]
    )["width"]


def _at_width(bundle: Bundle, width: Value, depth: Value, wall: Value) -> Section:
    diameter = bundle.case.value("pipe.outside_diameter")
    theta = section.half_angle(width, diameter)
    lost = section.lost_area(theta, depth, diameter)
    sound = section.sound_area(diameter, wall)
    net = section.net_area(sound, lost)
    shift = section.eccentricity(lost, section.lost_centroid(theta, diameter, depth, lost), net)
    moment = section.net_second_moment(section.sound_second_moment(diameter, wall),
                                       section.lost_second_moment(diameter, depth, theta), net, shift)
    fibre = (section.extreme_fibre_internal(shift, diameter) if bundle.case.defect.kind == INTERNAL_LOSS else
             section.extreme_fibre(shift, diameter, depth, theta))
    return Section(net, shift, fibre, moment, sound, depth, wall)


class _Widths:
    """Section properties for many widths, on arrays: the formulas of net_section in their order."""

    def __init__(self, bundle: Bundle, w: np.ndarray, d: float | np.ndarray, t: float | np.ndarray):
        D = bundle.case.get("pipe.outside_diameter").base
        theta = section.half_angle.array(w=w, D=D)
        lost = section.lost_area.array(theta=theta, d=d, D=D)
        self.D, self.sound = D, section.sound_area.array(D=D, t=t)
        self.net = section.net_area.array(A_0=self.sound, A_L=lost)
        self.e = section.eccentricity.array(
            A_L=lost, y_L=section.lost_centroid.array(theta=theta, D=D, d=d, A_L=lost), A_n=self.net)
        self.moment = section.net_second_moment.array(
            I_0=section.sound_second_moment.array(D=D, t=t), A_n=self.net, e=self.e,
            I_L=section.lost_second_moment.array(D=D, d=d, theta=theta))
        self.fibre = (section.extreme_fibre_internal.array(e=self.e, D=D)
                      if bundle.case.defect.kind == INTERNAL_LOSS else
                      section.extreme_fibre.array(e=self.e, D=D, d=d, theta=theta))

    def sides(self, force: float | np.ndarray, moment: float | np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Stress in MPa and in size at the loss, and opposite to it."""
        return (section.axial_stress_at_loss.array(N=force, M=moment, A_n=self.net, e=self.e, c=self.fibre,
                                                   I_n=self.moment),
                section.axial_stress_opposite.array(N=force, M=moment, A_n=self.net, e=self.e, D=self.D,
                                                    I_n=self.moment))

    def worst(self, force: float | np.ndarray, moment: float | np.ndarray) -> np.ndarray:
        """The greater of both sides."""
        return np.maximum(*self.sides(force, moment))


@dataclass(frozen=True)
class Axial:
    """Greatest axial stress of the damaged section at one pressure, its check, and the load behind it.

    force: axial force of that load case with the external one, moment: bending moment with its sign, None for none.
    """

    check: Check
    stress: Value
    force: Value
    moment: Value | None
    words: str


def axial_check(bundle: Bundle, props: Section, at: Value, allowable: Value, words: str) -> Check:
    """Greatest net-section axial stress at one pressure against the allowable stress."""
    return axial_state(bundle, props, at, allowable, words).check


def axial_state(bundle: Bundle, props: Section, at: Value, allowable: Value, words: str, *, for_wrap: bool = False
                ) -> Axial:
    """As `axial_check`, with the load behind it.

    for_wrap: the load case that asks for the thickest wrap, where one is needed; the check says so then.
    """
    if has_loads(bundle):
        return _loaded(bundle, props, at, allowable, words, for_wrap)
    thrust = pressure.end_thrust(bundle.case.value("pipe.outside_diameter"), at)
    stress = section.net_section_stress(thrust, props.area, props.shift, props.fibre, props.moment)
    note = "end thrust unrestrained, eccentricity included"
    return Axial(_check(words, stress, allowable, note, for_wrap), stress, thrust, None, note)


def _check(words: str, stress: Value, allowable: Value, note: str, for_wrap: bool) -> Check:
    return active().check(f"Net-section axial stress at {words}", stress, "<=", allowable, citation=PRACTICE.id,
                          status="common practice", kind="information" if for_wrap else "limit",
                          note=note + ("; what is above the limit is carried by the wrap" if for_wrap else
                                       "; metal-loss methods say nothing about this direction"))


def _asks(load: _Load, stress: float, allowable: float, diameter: float) -> tuple[float, float]:
    """Order of load cases for a wrap: by the axial load that the steel leaves to it, then by the stress."""
    line = abs(load.force) + 4 * abs(load.moment) / diameter
    return max(0.0, line * (1 - allowable / stress)) if stress > 0 else 0.0, stress


def _loaded(bundle: Bundle, props: Section, at: Value, allowable: Value, words: str, for_wrap: bool) -> Axial:
    case, rec = bundle.case, active()
    stated = case.value("defect.width")
    widths = np.linspace(stated.magnitude / _WIDTHS, stated.magnitude, _WIDTHS)
    many = _Widths(bundle, widths, props.depth.magnitude, props.wall.magnitude)
    # The stress is linear in the pressure: one of the two ends is the worst. Without pressure a warm restrained pipe,
    # or one that is pushed together, has its greatest compression.
    loads = [x for p in (at.magnitude, 0.0) for x in _loads(bundle, many.sound, p, props.wall.magnitude)]
    greatest = [float(many.worst(x.force, x.moment).max()) for x in loads]
    order = [_asks(x, g, allowable.magnitude, many.D) if for_wrap else (0.0, g)
             for x, g in zip(loads, greatest, strict=True)]
    worst = loads[max(range(len(loads)), key=lambda i: order[i])]
    found = rec.procedure(
                  "Load cases of the axial section", "each state of restraint, temperature and sense of bending, with "
                  "the pressure and without, at its worst width; the formulas that follow are run for the greatest",
                  MECHANICS.id, "derived",
                  {"pressure": at, "external axial force": case.value("service.axial_force"),
                   "external bending moment": case.value("service.bending_moment")},
                  {"greatest axial stress, in size": (max(greatest), "MPa"),
                   "pressure of that load case": (worst.pressure, "MPa")},
                  [(x.words, f"{s:.4g} MPa") for x, s in zip(loads, greatest, strict=True)]
                  + [("governs", worst.words)])
    width = _worst(stated, widths, many.worst(worst.force, worst.moment), props.depth, props.wall,
                   case.value("pipe.outside_diameter"))
    here = _at_width(bundle, width, props.depth, props.wall)
    force = section.total_axial_force(
        _force(bundle, worst, at if worst.pressure else found["pressure of that load case"], here),
        case.value("service.axial_force"))
    moment = case.value("service.bending_moment")
    turned = bool(moment.magnitude) and (worst.sign > 0) != (moment.magnitude > 0)
    if turned:
        moment = section.opposite_moment(moment)
    near = section.axial_stress_at_loss(force, moment, here.area, here.shift, here.fibre, here.moment)
    far = section.axial_stress_opposite(force, moment, here.area, here.shift, case.value("pipe.outside_diameter"),
                                        here.moment)
    if pushed := [x for x in loads if x.force < 0]:
        rec.warn("The axial force is compressive in some load cases ("
                 + "; ".join(dict.fromkeys(x.words for x in pushed))
                 + "): buckling of the thinned wall is not assessed here.", force.origin.ref)
    rec.assume("Bending is taken in the plane through the loss, in both senses.", "safer reading")
    stress = near if near.magnitude >= far.magnitude else far
    return Axial(_check(words, stress, allowable, f"governing load case: {worst.words}", for_wrap), stress, force,
                 moment if moment.magnitude else None, worst.words)


def axial_stress_at(bundle: Bundle, props: Section, at: float) -> float:
    """Greatest net-section axial stress in MPa over all load cases at this pressure (MPa); nothing is recorded."""
    return float(axial_stresses(bundle, np.array([props.depth.magnitude]), props.wall.magnitude, np.array([at]),
                                widths=_WIDTHS)[0])


def axial_stresses(bundle: Bundle, depth: np.ndarray, wall: float | np.ndarray, at: np.ndarray, *, widths: int = 160,
                   width: float | np.ndarray | None = None) -> np.ndarray:
    """Greatest net-section axial stress in MPa, row by row, for depths, walls (mm) and pressures (MPa) of one shape.

    Every load case at its worst of so many widths up to the stated one, or to `width`; nothing is recorded.
    """
    return axial_demands(bundle, depth, wall, at, np.inf, widths=widths, width=width)[1]


def axial_demands(bundle: Bundle, depth: np.ndarray, wall: float | np.ndarray, at: np.ndarray, allowable: float, *,
                  widths: int = 160, width: float | np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    """(line force all round in N, greatest stress in MPa) of the load case that asks most of a wrap, row by row.

    As `axial_state` picks it for a wrap; where no case is above the allowable stress (MPa), the one of greatest stress.
    """
    stated = bundle.case.get("defect.width").base if width is None else width
    rows = np.broadcast_arrays(*(np.asarray(v, float) for v in (depth, wall, at, stated)))
    parts = [_demands(bundle, *(v[i:i + _ROWS] for v in rows), allowable, widths)
             for i in range(0, len(rows[0]), _ROWS)]
    line, stress = (np.concatenate(p) for p in zip(*parts, strict=True))
    return line, stress


def _demands(bundle: Bundle, depth: np.ndarray, wall: np.ndarray, at: np.ndarray, width: np.ndarray, allowable: float,
             widths: int) -> tuple[np.ndarray, np.ndarray]:
    shares = np.linspace(1 / widths, 1, widths)[None, :]
    many = _Widths(bundle, shares * width.reshape(-1, 1), depth.reshape(-1, 1), wall.reshape(-1, 1))
    line, stress, asks = (np.zeros(len(depth)) for _ in range(3))
    for force, moment in _linear_loads(bundle, many, wall.reshape(-1, 1), at.reshape(-1, 1)):
        here = many.worst(force, moment).max(axis=1)
        long = (np.abs(force) + 4 * abs(moment) / many.D).ravel()
        ask = long * np.maximum(0.0, 1 - allowable / np.where(here > 0, here, 1.0))
        better = (ask > asks) | ((ask == asks) & (here > stress))
        line, stress = np.where(better, long, line), np.where(better, here, stress)
        asks = np.maximum(asks, ask)
    return line, stress


def _linear_loads(bundle: Bundle, many: _Widths, wall: np.ndarray, pressures: np.ndarray
                  ) -> Iterator[tuple[np.ndarray, float]]:
    """(force, moment) of every load case for a column of pressures: each load is linear in the pressure."""
    if not has_loads(bundle):
        yield pressure.end_thrust.array(D=many.D, P=pressures), 0.0
        return
    for with_p, without in zip(_loads(bundle, many.sound, 1.0, wall, quiet=True),
                               _loads(bundle, many.sound, 0.0, wall, quiet=True), strict=True):
        for p in (pressures, np.zeros_like(pressures)):
            yield without.force + (with_p.force - without.force) * p, with_p.moment


def _force(bundle: Bundle, load: _Load, at: Value, here: Section) -> Value:
    case = bundle.case
    if not load.restrained:
        return pressure.end_thrust(case.value("pipe.outside_diameter"), at)
    metal = steel(bundle)
    hoop = pressure.hoop_stress(at, case.value("pipe.outside_diameter"), here.wall)
    warm = section.warming_since_tie_in(case.value(load.temperature), case.value("service.tie_in_temperature"))
    return section.restrained_force(bundle.tables.value(PRACTICE.id, "steel_poisson"), hoop, metal.modulus,
                                    metal.expansion, warm, here.sound)


def _loads(bundle: Bundle, sound: Any, at: float, wall: Any, *, quiet: bool = False) -> Iterator[_Load]:
    """Every load case: free or restrained as stated (unknown: both), hot and cold, bending both ways."""
    case = bundle.case
    D, outer = case.get("pipe.outside_diameter").base, case.get("service.axial_force").base
    bending = abs(case.get("service.bending_moment").base)
    states: list[tuple[bool, str, float]] = []
    if case.service.restraint != "restrained":
        states.append((False, "", pressure.end_thrust.core(D=D, P=at)))
    if case.service.restraint in ("restrained", "unknown"):
        nu = bundle.tables.value(PRACTICE.id, "steel_poisson").magnitude
        metal = [case.optional(f"pipe.{n}") or bundle.tables.value(PRACTICE.id, n)
                 for n in ("steel_modulus", "steel_expansion")]
        for name in ("service.service_temperature", "service.lowest_temperature"):
            if case.get(name) is None:
                if quiet:
                    continue
                active().warn("The coldest service temperature is not stated: only the hottest state of the restrained "
                              "pipe is worked out.", "case: service.lowest_temperature")
                continue
            warm = section.warming_since_tie_in.core(T_d=case.get(name).base,
                                                     T_i=case.get("service.tie_in_temperature").base)
            states.append((True, name, section.restrained_force.core(
                nu=nu, sigma_h=pressure.hoop_stress.core(P=at, D=D, t=wall), E_s=metal[0].magnitude,
                alpha_s=metal[1].magnitude, Delta_T=warm, A_0=sound)))
    for (held, name, force), sign in product(states, (1, -1) if bending else (1,)):
        yield _Load(held, name, sign, force + outer, sign * bending, at)


def axial_limit(bundle: Bundle, props: Section, check: Check, maop: Value, allowable: Value) -> Value | None:
    """Pressure that keeps the axial stress inside its limit; None when no pressure does, or none can be given.

    Without external loads the stress grows in proportion to the pressure. With them: the greatest pressure up to which
    every load case is inside the limit, from nothing upwards. The greatest stress is convex in the pressure, so there
    is one crossing at most.
    """
    if not has_loads(bundle):
        assert check.provided is not None
        return pressure.axial_pressure(maop, allowable, check.provided)
    rec, stated = active(), bundle.case.get("defect.width").base
    many = _Widths(bundle, np.linspace(stated / _WIDTHS, stated, _WIDTHS), props.depth.magnitude, props.wall.magnitude)

    def passes(at: float) -> bool:
        return max(float(many.worst(x.force, x.moment).max())
                   for x in _loads(bundle, many.sound, at, props.wall.magnitude)) <= allowable.magnitude

    held, failing = 0.0, maop.magnitude
    if passes(0.0):
        for _ in range(_HALVINGS):
            middle = (held + failing) / 2
            held, failing = (middle, failing) if passes(middle) else (held, middle)
    if held <= 0:
        rec.warn("The external loads alone bring the damaged section to its allowable axial stress: no pressure limit "
                 "mends that. Relieve the loads before anyone works beside the pipe.", "case: service")
        return None
    return rec.procedure("Pressure that keeps the axial stress inside its limit", "bisection from nothing to the MAOP, "
                         "every load case at its worst width; the side of the bracket that passes", MECHANICS.id,
                         "derived", {"MAOP": maop, "allowable stress": allowable},
                         {"pressure": (held, "MPa")}, [("steps", str(_HALVINGS))])["pressure"]

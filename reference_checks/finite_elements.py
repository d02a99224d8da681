"""Wrapped pipe by finite elements: a second route to the cylinder of layers, and what thin-wall formulas leave out.

    python reference_checks/finite_elements.py

No complete published design example was at hand. What is published and can be checked are handbook results: the thick
cylinder, the compound cylinder, the cylinder of curvilinear anisotropy, the built-in end of a pressurised shell and the
ring under two forces. The elements (fe_solver.py) are held against these first (fe_handbook.py), then against
wrapcalc.searches.cylinders, which shares no line with them. Dimensions and materials of the examples are our own.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
if str(ROOT) not in sys.path:  # run as a script
    sys.path.insert(0, str(ROOT))

from reference_checks.fe_handbook import handbook  # noqa: E402
from reference_checks.fe_solver import (  # noqa: E402
    BORE,
    DIAMETER,
    FILLER,
    PRESSURE,
    REMAINING,
    RULE,
    STEEL,
    WALL,  # noqa: F401 (the notebook shows it)
    WRAP,
    Band,
    Edge,
    Groove,
    along,
    around,
    edges,
    end_thrust,
)
from wrapcalc.formulas import wrap_thickness as thin  # noqa: E402
from wrapcalc.searches.cylinders import Layer, stacked  # noqa: E402


def wrapped(t_c: float, remaining: float = REMAINING, *, later: bool = False) -> list[Band]:
    """The example: steel, filler up to the outside diameter, wrap."""
    surface, ligament = DIAMETER / 2, BORE + remaining
    return [Band("steel", BORE, ligament, STEEL), Band("filler", ligament, surface, FILLER, later),
            Band("wrap", surface, surface + t_c, WRAP, later)]


def edges_laid_live(bands: Sequence[Band], pressure: float, force: float | None, before: float,
                    force_before: float | None, *, fine: int = 4) -> dict[tuple[str, str], Edge]:
    """As `edges`, where later layers were laid with a pressure and a force already on: two elastic solutions added."""
    rest = None if force is None or force_before is None else force - force_before
    first = edges([b for b in bands if not b.later], before, force_before, fine=fine)
    second = edges(bands, pressure - before, rest, fine=fine)
    return {k: e if k not in first else
            Edge(e.radius, *(getattr(e, n) + getattr(first[k], n) for n in list(Edge.__annotations__)[1:]))
            for k, e in second.items()}


# -- comparisons ------------------------------------------------------------------------------------------------------
ENDS = ("open", "closed", "held")


@dataclass(frozen=True)
class Case:
    """A long wrapped cylinder. `remaining` is the wall of steel that the thin-wall formula is given, mm."""

    name: str
    bands: list[Band]
    ends: str
    remaining: float
    before: float = 0.0

    @property
    def forces(self) -> tuple[float | None, float | None]:
        """Axial force at full pressure and before, N."""
        if self.ends == "held":
            return None, None
        full, before = (end_thrust(p, self.bands[0].inner) if self.ends == "closed" else 0.0
                        for p in (PRESSURE, self.before))
        return full, before

    @property
    def wrap(self) -> Band:
        return self.bands[-1]

    def elements(self, fine: int = 4) -> dict[tuple[str, str], Edge]:
        force, force_before = self.forces
        if self.before:
            return edges_laid_live(self.bands, PRESSURE, force, self.before, force_before, fine=fine)
        return edges(self.bands, PRESSURE, force, fine=fine)

    def layers(self):
        """The same by wrapcalc.searches.cylinders."""
        force, force_before = self.forces
        return stacked([Layer(b.name, b.inner, b.outer, m.radial, m.hoop, m.axial, m.hoop_axial, m.hoop_radial,
                              m.axial_radial, later=b.later) for b in self.bands for m in [b.material]],
                       PRESSURE, force=force, pressure_before=self.before, force_before=force_before or 0.0)


def cases() -> list[Case]:
    """The examples: a usual and a thick wrap with three kinds of ends, one laid on a live pipe, the wrap alone."""
    surface = DIAMETER / 2
    out = [Case(f"{t_c:g} mm, {ends}", wrapped(t_c), ends, REMAINING) for t_c in (10.0, 40.0) for ends in ENDS]
    out += [Case(f"10 mm, {ends}, live", wrapped(10.0, later=True), ends, REMAINING, 3.0) for ends in ENDS[:2]]
    return out + [Case(f"{t_c:g} mm alone, open", [Band("wrap", surface, surface + t_c, WRAP)], "open", 0.0)
                  for t_c in (10.0, 40.0)]


@dataclass(frozen=True)
class Compared:
    """One strain of one case by both routes."""

    case: str
    what: str
    elements: float
    layers: float

    @property
    def difference(self) -> float:
        return self.elements / self.layers - 1


def compared(case: Case, fine: int = 4) -> list[Compared]:
    """Strains of steel and wrap at every face, and the axial strain where it is not held."""
    found, other, out = case.elements(fine), case.layers(), []
    for name in ("steel", "wrap"):
        for side in ("inner", "outer"):
            if (name, side) in found:
                out.append(Compared(case.name, f"{name} hoop, {side}", found[name, side].strain_hoop,
                                    getattr(other, side)[name].strain_hoop))
    if case.ends != "held":
        out.append(Compared(case.name, "wrap axial", found["wrap", "inner"].strain_axial,
                            other.inner["wrap"].strain_axial))
    return out


def comparisons(fine: int = 4) -> list[Compared]:
    """Every strain of every case."""
    return [c for case in cases() for c in compared(case, fine)]


@dataclass(frozen=True)
class Gap:
    """A thin-wall formula beside the elements; above nothing the formula says more, which is the safe side."""

    case: str
    what: str
    formula: float
    elements: float

    @property
    def gap(self) -> float:
        return self.formula / self.elements - 1


def gaps(some: Sequence[Case] | None = None) -> list[Gap]:
    """Wrap strain, hoop and axial, and steel stress, by the thin-wall formulas of the clauses."""
    out = []
    for case in some or cases():
        found, t_c = case.elements(), case.wrap.outer - case.wrap.inner
        hoop = thin.wrap_strain_load_sharing.core(PRESSURE, DIAMETER, STEEL.hoop, case.remaining, WRAP.hoop, t_c)
        out.append(Gap(case.name, "wrap hoop strain", hoop, found["wrap", "inner"].strain_hoop))
        if case.remaining and not case.before:
            mean = (found["steel", "inner"].stress_hoop + found["steel", "outer"].stress_hoop) / 2
            out.append(Gap(case.name, "steel hoop stress", thin.ligament_stress_elastic.core(
                PRESSURE, DIAMETER, case.remaining, t_c, WRAP.hoop, STEEL.hoop), mean))
        if case.ends == "closed":
            force = PRESSURE * math.pi * DIAMETER ** 2 / 4
            axial = thin.wrap_axial_strain_load_sharing.core(force, DIAMETER, STEEL.axial, case.remaining, WRAP.axial,
                                                             t_c)
            out.append(Gap(case.name, "wrap axial strain", axial, found["wrap", "inner"].strain_axial))
    return out


def reach(thickness: float, force: float, *, length: float = 200.0, step: float = 2.0) -> tuple[float, float, float]:
    """How far beyond the edge of a square loss, mm, under a wrap that reaches 4 overlap rules, these settle: wrap hoop
    strain, mean hoop stress of the steel, axial force of the wrap. Settled: within 5 % of the span of values met."""
    found = along(Groove(length, 4 * RULE, thickness), force=force, step=step)
    half, far = length / 2, length / 2 + 2 * RULE
    out = []
    for x, y in ((found.z, found.wrap_strain), (found.mid, found.steel_hoop), (found.mid, found.wrap_axial)):
        x, y = x[part := (x >= half) & (x <= far)] - half, y[part]
        off = np.flatnonzero(np.abs(y - y[-1]) > 0.05 * np.ptp(y))
        out.append(float(x[off[-1] + 1]))
    return out[0], out[1], out[2]


# -- tables -----------------------------------------------------------------------------------------------------------
def _percent(share: float) -> str:
    return f"{round(share * 100, 2) + 0.0:+.2f} %"


def handbook_table() -> str:
    lines = [f"{'handbook result':58}{'unit':>6}{'handbook':>11}{'elements':>11}{'differs':>10}"]
    lines += [f"{a.what:58}{a.unit:>6}{a.handbook:11.4g}{a.elements:11.4g}{_percent(a.difference):>10}"
              for a in handbook()]
    return "\n".join(lines)


def refinement_table() -> str:
    """What smaller elements change, in each of the three models."""
    case = cases()[1]
    lines = ["Long cylinder: greatest difference of any strain from the layers; radial stress at the bore (MPa) of "
             f"'{case.name}'"]
    for fine in (1, 2, 4, 8):
        worst = max(abs(c.difference) for c in comparisons(fine))
        lines.append(f"  {fine} rows in each layer: {worst * 100:.4f} %, "
                     f"{case.elements(fine)['steel', 'inner'].stress_radial:.3f} (exact {-PRESSURE:.3f})")
    lines.append("Square loss 100 mm long, closed ends; pocket 60 mm wide with ramps of 15 mm: wrap strain (1e-6)")
    for step in (2.0, 1.0, 0.5):
        a, b = along(Groove(100.0, RULE), force=end_thrust(), step=2 * step), around(60.0, ramp=15.0, step=step / 2)
        lines.append(f"  loss, step {2 * step:g} mm: {a.wrap_strain[0] * 1e6:.2f}; pocket, step {step / 2:g}°: middle "
                     f"{b.wrap_strain[0] * 1e6:.1f}, greatest {b.wrap_strain.max() * 1e6:.1f}, mean of its stress "
                     f"{b.wrap_mean.max():.3f} MPa")
    return "\n".join(lines)


def comparison_table() -> str:
    lines = [f"{'wrap, ends':22}{'strain':20}{'elements 1e-6':>14}{'layers 1e-6':>13}{'differs':>10}"]
    lines += [f"{c.case:22}{c.what:20}{c.elements * 1e6:14.1f}{c.layers * 1e6:13.1f}{_percent(c.difference):>10}"
              for c in comparisons()]
    return "\n".join(lines)


def gap_table() -> str:
    lines = [f"{'wrap, ends':22}{'thin-wall formula of':22}{'formula':>8}{'elements':>10}{'unit':>6}{'formula is':>12}"]
    for g in gaps():
        size, unit = (1.0, "MPa") if "stress" in g.what else (1e6, "1e-6")
        lines.append(f"{g.case:22}{g.what:22}{g.formula * size:8.1f}{g.elements * size:10.1f}{unit:>6}"
                     f"{round(g.gap * 100, 1) + 0.0:+10.1f} %")
    return "\n".join(lines)


def thickness_table() -> str:
    """How the gap grows with the thickness of the wrap."""
    lines = ["Thin-wall formula over elements; below nothing the formula says less than there is",
             f"{'wrap mm':>8}{'D/t_c':>7}" + "".join(f"{f'strain, {e}':>16}" for e in ENDS)
             + "".join(f"{f'steel, {e}':>16}" for e in ENDS)]
    for t_c in (5.0, 10.0, 15.0, 20.0, 30.0, 40.0, 60.0):
        found = [gaps([Case("", wrapped(t_c), e, REMAINING)]) for e in ENDS]
        lines.append(f"{t_c:8g}{DIAMETER / t_c:7.1f}" + "".join(
            f"{round(g[k].gap * 100, 1) + 0.0:+14.1f} %" for k in (0, 1) for g in found))
    return "\n".join(lines)


def groove_table() -> str:
    """Limited length: the middle of the loss, and the worst place, for loss lengths and ends."""
    lines = ["Loss right round, limited length, wrap of 10 mm, cover of the overlap rule; strain 1e-6, stress MPa",
             f"{'length mm':>10}{'ramp mm':>9}{'ends':>8}{'wrap hoop':>11}{'greatest':>10}{'steel hoop':>12}"
             f"{'steel axial':>13}{'with bending':>14}"]
    for ends, force in (("open", 0.0), ("closed", end_thrust())):
        for length, ramp in ((60, 0), (60, 30), (200, 0), (200, 50), (200, 100), (1000, 0)):
            a = along(Groove(length, RULE, ramp=ramp), force=force)
            worst = (a.steel_axial + np.abs(a.steel_bending))[a.mid < length / 2].max()
            lines.append(f"{length:10}{ramp:9}{ends:>8}{a.wrap_strain[0] * 1e6:11.0f}"
                         f"{np.nanmax(a.wrap_strain) * 1e6:10.0f}{a.steel_hoop[0]:12.1f}{a.steel_axial[0]:13.1f}"
                         f"{worst:14.1f}")
    return "\n".join(lines)


def cover_table() -> str:
    """Cover against what it does in the middle of the loss, closed ends."""
    covers = (0.0, 0.25, 0.5, 1.0, 2.0)
    lines = [f"Closed ends, square loss. Cover in overlap rules of {RULE:.1f} mm; strain 1e-6, stress MPa, force N/mm",
             f"{'wrap mm':>8}{'length mm':>11}{'cover':>7}{'wrap hoop':>11}{'steel hoop':>12}{'steel axial':>13}"
             f"{'wrap force':>12}"]
    for t_c in (10.0, 40.0):
        for length in (60, 200):
            for cover in covers:
                # Ends nearly square: a taper would add to the cover.
                a = along(Groove(length, cover * RULE, t_c, slope=0.2), force=end_thrust())
                lines.append(f"{t_c:8g}{length:11}{cover:7g}{a.wrap_strain[0] * 1e6:11.1f}{a.steel_hoop[0]:12.2f}"
                             f"{a.steel_axial[0]:13.2f}{a.wrap_axial[0]:12.2f}")
    lines.append("")
    for t_c in (10.0, 40.0):
        for ends, force in (("open", 0.0), ("closed", end_thrust())):
            far = reach(t_c, force)
            lines.append(f"wrap {t_c:g} mm, {ends}: beyond the edge settles within 5 %: wrap hoop strain after "
                         f"{far[0]:.0f} mm, steel hoop stress {far[1]:.0f} mm, wrap axial force {far[2]:.0f} mm")
    return "\n".join(lines)


POCKETS = ((60, 0), (60, 15), (60, 30), (120, 0), (120, 30), (120, 60), (240, 0), (240, 60), (240, 120))


def pocket_table() -> str:
    """Limited width against the full ring, held along its axis."""
    lines = ["Long pocket of limited width, axially held. Wrap: hoop strain (1e-6) in the middle and at its greatest,",
             "hoop stress (MPa, mean of the thickness); last columns: over the full ring, over the thin-wall formula.",
             "Steel: hoop stress (MPa) of the ligament, mean and with bending. No greatest strain is given for square",
             "edges: there it has no limit as the elements shrink.",
             f"{'wrap mm':>8}{'width mm':>10}{'ramp mm':>9}{'strain':>8}{'greatest':>10}{'stress':>8}{'steel':>8}"
             f"{'bent':>8}{'greatest/ring':>15}{'stress/ring':>13}{'greatest/formula':>18}"]
    for t_c in (10.0, 40.0):
        ring = around(math.inf, t_c)
        formula = thin.wrap_strain_load_sharing.core(PRESSURE, DIAMETER, STEEL.hoop, REMAINING, WRAP.hoop, t_c)
        for width, ramp in (*POCKETS, (math.inf, 0)):
            a = around(width, t_c, ramp=ramp) if width < math.inf else ring
            most, stress = a.wrap_strain.max(), a.wrap_mean.max()
            bent = (a.steel_hoop + np.abs(a.steel_bending))[a.mid < math.degrees(min(width / DIAMETER, math.pi))].max()
            some = [f"{most * 1e6:.0f}", f"{most / ring.wrap_strain[0]:.2f}", f"{most / formula:.2f}"] \
                if ramp or width == math.inf else ["-"] * 3
            lines.append(f"{t_c:8g}{'ring' if width == math.inf else width:>10}{ramp:9}{a.wrap_strain[0] * 1e6:8.0f}"
                         f"{some[0]:>10}{stress:8.2f}{a.steel_hoop[0]:8.1f}{bent:8.1f}{some[1]:>15}"
                         f"{stress / ring.wrap_mean[0]:13.2f}{some[2]:>18}")
    return "\n".join(lines)


def main() -> None:
    """Print every table."""
    for text in (handbook_table, comparison_table, refinement_table, gap_table, thickness_table, groove_table,
                 cover_table, pocket_table):
        print(text(), end="\n\n")


if __name__ == "__main__":
    main()

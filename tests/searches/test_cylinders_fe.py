"""The cylinder of layers against finite elements (independent): elastic, laid live, and with yield of the steel."""

from __future__ import annotations

import math

import numpy as np
import pytest

pytest.importorskip("skfem", reason="THE SECOND ROUTE OF THE CYLINDER OF LAYERS IS NOT RUN: scikit-fem is missing; "
                                    "install the extra 'test'")

from reference_checks import fe_solver
from reference_checks import finite_elements as fe
from wrapcalc.searches.cylinders import Layer, stacked

#: Strains of steel and wrap must agree this well; the routes share no line, and the elements themselves are good to
#: a tenth of it (test_the_elements_settle).
AGREES = 0.02
every_case = pytest.mark.parametrize("case", fe.cases(), ids=lambda c: c.name)


def test_the_elements_give_the_handbook_results():
    """Published, formulas from memory: thick, compound and anisotropic cylinder, built-in end, ring. The bare pocket
    against a curved beam is independent, worked by us."""
    off = [f"{a.what}: {a.elements:.5g}, handbook {a.handbook:.5g} {a.unit}" for a in fe.handbook()
           if not abs(a.difference) < a.most]
    assert not off, off


@every_case
def test_strains_of_steel_and_wrap(case):
    found = fe.compared(case)
    assert len(found) >= 3
    for c in found:
        assert c.layers == pytest.approx(c.elements, rel=AGREES), c.what


@every_case
def test_stresses_at_every_face(case):
    """Within 2 % of the greatest stress of the layer."""
    found, other = case.elements(fine=8), case.layers()
    for (name, side), edge in found.items():
        theirs = getattr(other, side)[name]
        size = max(abs(edge.stress_hoop), abs(edge.stress_axial), fe.PRESSURE)
        for what in ("stress_radial", "stress_hoop", "stress_axial"):
            assert getattr(theirs, what) == pytest.approx(getattr(edge, what), abs=AGREES * size), (name, side, what)


def test_the_elements_settle():
    worst = [max(abs(c.difference) for c in fe.comparisons(fine)) for fine in (1, 8)]
    assert worst[1] < worst[0]
    assert worst[1] < AGREES / 10


def test_a_wrap_five_per_cent_too_stiff_is_noticed():
    """The wrap alone, where its modulus counts in full."""
    case = fe.Case("stiff", [fe.Band("wrap", 203.2, 213.2, fe.WRAP)], "open", 0.0)
    m = fe.WRAP
    stiff = stacked([Layer("wrap", 203.2, 213.2, m.radial, 1.05 * m.hoop, m.axial, m.hoop_axial, m.hoop_radial,
                           m.axial_radial)], fe.PRESSURE, force=0.0)
    found = case.elements()["wrap", "inner"].strain_hoop
    assert stiff.inner["wrap"].strain_hoop != pytest.approx(found, rel=AGREES)


# -- the other two models, where they must give the long cylinder ------------------------------------------------------
@pytest.mark.parametrize("ends", ["open", "closed"])
def test_the_middle_of_a_long_loss_is_a_long_cylinder(ends):
    case = next(c for c in fe.cases() if c.name == f"10 mm, {ends}")
    found = fe.along(fe.Groove(1000.0, fe.RULE), force=case.forces[0], step=4.0)
    assert found.wrap_strain[0] == pytest.approx(case.layers().inner["wrap"].strain_hoop, rel=1e-3)


def test_far_from_the_wrap_the_pipe_is_bare():
    """Mean hoop stress of a pipe under pressure: p r/t of its bore (equilibrium)."""
    found = fe.along(fe.Groove(200.0, fe.RULE))
    assert found.steel_hoop[-1] == pytest.approx(fe.PRESSURE * fe.BORE / fe.WALL, rel=1e-3)


def test_a_pocket_all_round_is_the_full_ring():
    case = next(c for c in fe.cases() if c.name == "10 mm, held")
    found = fe.around(math.inf)
    assert found.wrap_strain == pytest.approx(case.layers().inner["wrap"].strain_hoop, rel=2e-3)


# -- yield -------------------------------------------------------------------------------------------------------------
class Yielding:
    """A slice of a long cylinder by axisymmetric elements, von Mises without hardening, Newton's method.

    Radial return and its tangent (from memory, Simo and Hughes), in all four components, on triangles.
    """

    DEVIATORIC = np.diag([1.0, 1.0, 1.0, 0.5]) - np.pad(np.full((3, 3), 1 / 3), (0, 1))

    def __init__(self, bands, yields, fine=4):
        self.bands, z = bands, np.array([0.0, 2.0])
        lines = fe_solver.rows(bands[0].inner, *(b.outer for b in bands), count=[fine] * len(bands))
        model = fe_solver.Model(z, lines + 0 * z, lambda j, i: bands[j // fine].material)
        self.model, self.owner, n = model, model.band // fine, model.K.shape[0]
        per_dof = [model._evaluate(row, None) for row in np.eye(n)]
        where, dx = per_dof[0][0], per_dof[0][3]
        points = dx.size
        self.B = np.stack([e[1].reshape(4, points) for e in per_dof], axis=2).transpose(1, 0, 2)
        self.weight = (dx * where[0]).ravel()
        self.of = np.repeat(self.owner, dx.shape[1])
        self.C = np.array([b.material.stiffness for b in bands])[self.of]
        self.shear = np.array([b.material.shear for b in bands])[self.of]
        self.limit = np.array([yields.get(b.name, math.inf) for b in bands])[self.of]
        far, near = model.at(2.0, 1), model.at(0.0, 1)
        free = np.setdiff1d(np.arange(n), np.concatenate((far, near)))
        self.T = np.zeros((n, len(free) + 1))
        self.T[free, np.arange(len(free))] = 1
        self.T[far, -1] = 2.0  # the last unknown is the axial strain
        self.u, self.plastic = np.zeros(len(free) + 1), np.zeros((points, 4))
        self.offset = np.zeros((points, 4))

    def law(self, strain):
        stress = np.einsum("pij,pj->pi", self.C, strain - self.plastic)
        s = stress - np.pad(stress[:, :3].mean(axis=1)[:, None] * np.ones(3), ((0, 0), (0, 1)))
        length = np.sqrt((s[:, :3] ** 2).sum(axis=1) + 2 * s[:, 3] ** 2)
        tangent, flow = self.C.copy(), self.plastic.copy()
        for p in np.flatnonzero(math.sqrt(1.5) * length > self.limit):
            kept = self.limit[p] / (math.sqrt(1.5) * length[p])
            unit = s[p] / length[p]
            tangent[p] -= 2 * self.shear[p] * ((1 - kept) * self.DEVIATORIC + kept * np.outer(unit, unit))
            stress[p] -= (1 - kept) * s[p]
            flow[p] += (1 - kept) * s[p] / (2 * self.shear[p]) * np.array([1, 1, 1, 2])
        return stress, tangent, flow

    def carry(self, pressure, force, bonded):
        """One load step to this pressure and force (None: held), with the layers that are bonded."""
        weight = self.weight * np.where(bonded, 1.0, 1e-9)[self.of]
        # The slice is 2 mm long and the pressure works along it; the force is that of one radian.
        load = self.T.T @ self.model.inside(pressure)
        load[-1] += (force or 0.0) * 2.0 / (2 * math.pi)
        keep = slice(None) if force is not None else slice(0, -1)
        for _ in range(30):
            stress, tangent, flow = self.law(np.einsum("pin,n->pi", self.B, self.T @ self.u) - self.offset)
            off = load - self.T.T @ np.einsum("pin,pi,p->n", self.B, stress, weight)
            if np.abs(off[keep]).max() < 1e-8 * np.abs(load).max():
                self.plastic = flow
                return
            points, _, n = self.B.shape
            turned = (tangent @ self.B) * weight[:, None, None]
            K = self.T.T @ (self.B.reshape(points * 4, n).T @ turned.reshape(points * 4, n)) @ self.T
            self.u[keep] += np.linalg.solve(K[keep, keep], off[keep])
        raise AssertionError("no equilibrium")

    def strains(self):
        """Hoop strain of steel at the bore and of the wrap where it begins, and the axial strain of the whole."""
        u, lines = self.T @ self.u, len(self.model.node)
        hoop = [float(u[self.model.corner(j, 0, 0)]) / r
                for j, r in ((0, self.bands[0].inner), ((lines - 1) * 2 // 3, self.bands[2].inner))]
        return *hoop, float(self.u[-1])


@pytest.mark.parametrize(("ends", "before", "yields"),
                         [("open", 0.0, 200.0), ("closed", 0.0, 200.0), ("held", 0.0, 200.0), ("open", 3.0, 245.0),
                          ("closed", 4.3, 165.0)])  # the last yields in part before the wrap is laid
def test_strains_where_the_steel_yields(ends, before, yields):
    """With as many load steps as the other route (20) both agree to 2 in 1000; with 40 here the axial strain of closed
    ends is about 1 % lower, because perfect plasticity hangs on the way: its limit is not reached by 20 steps."""
    bands = fe.wrapped(10.0, later=before > 0)
    case = fe.Case("yield", bands, ends, fe.REMAINING, before)
    force, force_before = case.forces
    slice_ = Yielding(bands, {"steel": yields})
    at_bonding = np.zeros(3)
    for low, high, bonded in ((0.0, before, [True, False, False]), (before, fe.PRESSURE, [True] * 3)):
        for p in np.linspace(low, high, 41)[1:] if high > low else ():
            slice_.carry(p, None if force is None else force * p / fe.PRESSURE, bonded)
        if high == before and before:
            at_bonding = np.array(slice_.strains())
            later = np.array([b.later for b in bands])[slice_.of]
            slice_.offset[later] = np.einsum("pin,n->pi", slice_.B, slice_.T @ slice_.u)[later]
    steel, wrap, axial = slice_.strains()
    layers = [Layer(b.name, b.inner, b.outer, m.radial, m.hoop, m.axial, m.hoop_axial, m.hoop_radial, m.axial_radial,
                    yields=yields if b.name == "steel" else math.inf, later=b.later)
              for b in bands for m in [b.material]]
    other = stacked(layers, fe.PRESSURE, force=force, pressure_before=before, force_before=force_before or 0.0)
    assert slice_.plastic.any()
    assert other.yielded > 0
    assert other.inner["steel"].strain_hoop == pytest.approx(steel, rel=AGREES)
    assert other.inner["wrap"].strain_hoop == pytest.approx(wrap - at_bonding[1], rel=AGREES)
    assert other.axial_strain == pytest.approx(axial, rel=AGREES, abs=1e-6)

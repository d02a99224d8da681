"""How far the wraps of many anomalies reach: room beside a weld, ends, and the set of units that covers each.

A single design asks `searches.unit_layout` for the best set. Where the number of units and then the waste (or the other
way round) count first, and nothing but a weld, a fitting or another repair bounds the place, the best set is the first
in that order that finds room: that is asked here for all rows at once, in the same whole numbers. Lengths are in mm.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations, combinations_with_replacement

import numpy as np

from wrapcalc.campaign.rows.rounding import steady_rows
from wrapcalc.case import Bundle
from wrapcalc.case.design_model import THICKER
from wrapcalc.formulas import takeoff as quantity
from wrapcalc.formulas import wrap_extent as extent
from wrapcalc.stages.site.layout import order_of
from wrapcalc.stages.wrap.extent import overlap_of
from wrapcalc.stages.wrap.strain import is_asme
from wrapcalc.standards.documents import ISO_24817, PCC_2, PRACTICE

#: Sets of units that are looked at in turn; a system with more is not worked on arrays.
_MOST_SETS = 2000
#: Whole numbers per mm, and the hair and the far end of a keep-out, as the single layout reads them.
_PER_MM, _HAIR, _FAR = 1e6, 2e-6, 900_000.0
_ROUNDS = 40


@dataclass(frozen=True)
class Beside:
    """What lies beside each row, mm from the edges of the measured damage, NaN for nothing; measured: its length."""

    upstream: np.ndarray
    downstream: np.ndarray
    measured: np.ndarray

    def taken(self, rows: np.ndarray) -> Beside:
        """Some of the rows."""
        return Beside(self.upstream[rows], self.downstream[rows], self.measured[rows])


@dataclass(frozen=True)
class Placed:
    """Best set of each row: number of it in `UnitSets.sets`, -1 for none; crowded: there is one, but no room for it."""

    chosen: np.ndarray
    crowded: np.ndarray


@dataclass(frozen=True)
class UnitSet:
    """Some units side by side. length: over all, whole numbers; widths in mm with their counts; told: False where
    another set of as many units is as long, so that the counts of each width are not known here.

    over: (width, what lies upstream of it) for every unit that may lie over the damage.
    """

    count: int
    length: int
    widths: dict[float, int]
    over: tuple[tuple[int, int], ...]
    told: bool = True


def only_single(bundle: Bundle) -> str:
    """Why the sets of units are not worked on arrays, "" where they are."""
    if bundle.case.keep_out:
        return "the case names stretches to keep out of, which lie elsewhere for every row"
    if bundle.case.layout.from_stock == "yes":
        return "only units in stock are asked for, and each repair takes some of them"
    if set(order_of(bundle)[:2]) != {"fewest units", "least waste"}:
        return "the order of the layout has other objectives before number and waste of units"
    system = bundle.system
    assert system is not None
    part = system.sleeve if system.is_sleeve else system.lay_up
    if math.comb(len(system.unit_widths) + int(part.most_units.base), len(system.unit_widths)) - 1 > _MOST_SETS:
        return f"the system has more than {_MOST_SETS} sets of units"
    return ""


class UnitSets:
    """All sets of units of a system, in the order in which they are preferred."""

    def __init__(self, bundle: Bundle):
        system = bundle.system
        assert system is not None
        self.butted = system.is_sleeve
        part = "sleeve" if self.butted else "lay_up"
        joint = 0 if self.butted else _whole(system.value("lay_up.band_overlap").magnitude)
        widths = sorted({w.magnitude for w in system.unit_widths})
        most = int(system.value(f"{part}.most_units").magnitude)
        self.off = system.value("placement.side_tolerance").magnitude if self.butted else 0.0
        self.widths = tuple(widths)
        self.sets = _sets(self.widths, most, int(joint), self.butted, order_of(bundle)[0] == "least waste")

    def cover(self, chosen: np.ndarray, end: np.ndarray) -> np.ndarray:
        """Length of full thickness, NaN for no set: the tapered ends of a lay-up do not count."""
        lengths = np.array([u.length for u in self.sets], float)
        taper = np.zeros(len(end)) if self.butted else _whole(end)
        return np.where(chosen >= 0, (lengths[chosen] - 2 * taper) / _PER_MM, np.nan)

    def counts(self, chosen: np.ndarray) -> dict[str, np.ndarray]:
        """Units in all, and of each width; NaN for no set, and where two sets of another kind are as good."""
        out = {"units": np.where(chosen >= 0, np.array([u.count for u in self.sets], float)[chosen], np.nan)}
        for width in self.widths:
            each = np.array([u.widths.get(width, 0) if u.told else np.nan for u in self.sets], float)
            out[f"units of {width:g} mm"] = np.where(chosen >= 0, each[chosen], np.nan)
        return out

    def place(self, need: tuple[np.ndarray, np.ndarray], damage: tuple[np.ndarray, np.ndarray],
              bounds: tuple[np.ndarray, np.ndarray], end: np.ndarray, single: np.ndarray) -> Placed:
        """The best set of each row. need: from and to; damage: that no butted joint should lie over; bounds: what the
        whole repair stays between; end: length of one end; single: one unit must cover all."""
        ends = _whole(end)
        taper, beyond = (np.zeros_like(ends), ends) if self.butted else (ends, np.zeros_like(ends))
        first, last, d0, d1, low, high = (_whole(x) for x in (*need, *damage, *bounds))
        q = np.stack([first - taper, last + taper, d0, d1, low + 1 + beyond, high - 1 - beyond])
        chosen = np.full(len(end), -1)
        for clear in (True, False) if self.butted else (False,):
            self._pass(q, single, chosen, clear)
        crowded = chosen < 0
        q[4], q[5] = -_whole(2 * _FAR), _whole(2 * _FAR)
        for clear in (True, False) if self.butted else (False,):
            self._pass(q, single, chosen, clear)
        return Placed(chosen, crowded & (chosen >= 0))

    def _pass(self, q: np.ndarray, single: np.ndarray, chosen: np.ndarray, clear: bool) -> None:
        """Give each row that has none the first set that fits; clear: with no joint over the damage."""
        left = np.flatnonzero(chosen < 0)
        need = np.maximum(q[1, left] - q[0, left], 0)  # a shorter set cannot cover it, wherever it lies
        for k, units in enumerate(self.sets):
            if not len(left):
                return
            able = need <= units.length
            if not able.any():
                continue
            all_able = able.all()
            at = left if all_able else left[able]
            first, last, d0, d1, low, high = q[:, at]
            start, stop = np.maximum(last - units.length, low), np.minimum(first, high - units.length)
            fits = start <= stop
            if clear:
                over = np.zeros(len(at), bool)
                for width, upstream in units.over if fits.any() else ():
                    over |= np.maximum(start, d1 - upstream - width) <= np.minimum(stop, d0 - upstream)
                fits &= over
            if units.count > 1:
                fits &= ~single[at]
            chosen[at[fits]] = k
            stay = chosen[left] < 0
            left, need = left[stay], need[stay]


@lru_cache(maxsize=16)  # the groups of a line have the same
def _sets(widths: tuple[float, ...], most: int, joint: int, butted: bool, waste_first: bool) -> tuple[UnitSet, ...]:
    found = [_set(c, joint, butted) for n in range(1, most + 1) for c in combinations_with_replacement(widths, n)]
    found.sort(key=lambda u: (u.length, u.count) if waste_first else (u.count, u.length))
    same = Counter((u.count, u.length) for u in found)
    return tuple(replace(u, told=same[u.count, u.length] == 1) for u in found)


def _set(widths: tuple[float, ...], joint: int, butted: bool) -> UnitSet:
    sizes = [int(_whole(w)) for w in widths]
    over = set()
    for i, size in enumerate(sizes) if butted else ():
        others = sizes[:i] + sizes[i + 1:]
        over |= {(size, sum(up)) for n in range(len(others) + 1) for up in combinations(others, n)}
    return UnitSet(len(sizes), sum(sizes) - joint * (len(sizes) - 1), dict(Counter(widths)), tuple(sorted(over)))


def _whole(x):
    return np.rint(np.asarray(x, float) * _PER_MM).astype(np.int64)


class Extents:
    """Overlap, ends and room of the wraps of one line. bond_factor, least_room: None where the value waits."""

    def __init__(self, bundle: Bundle, *, bond_factor: float | None, least_room: float | None):
        case, system, tables = bundle.case, bundle.system, bundle.tables
        assert system is not None
        sleeve = system.is_sleeve
        value = system.value
        self.plain = overlap_of(bundle).magnitude
        self.bond_factor, self.least_room = bond_factor, least_room
        self.modulus, self.shear = value("laminate.modulus_axial").magnitude, value("adhesive.lap_shear").magnitude
        self.lap = None if sleeve else value("lay_up.band_overlap").magnitude
        ply = value("laminate.ply_thickness").magnitude
        self.pitch = float(steady_rows(quantity.layer_pitch.array(
            t_ply=ply, delta=value("sleeve.bond_line").magnitude))) if sleeve else None
        self.slope = value("ends.slope").magnitude
        self.gap = value("ends.least_gap").magnitude
        self.off_weld = tables.value(PRACTICE.id, "end_from_weld").magnitude
        self.allowance = case.get("defect.length_allowance").base
        self.thicker = case.design.limited_room == THICKER
        self.neighbours = tuple(None if (g := case.get(f"defect.neighbour_{side}")) is None else g.base
                                for side in ("upstream", "downstream"))

    def overlap(self, along: np.ndarray, strain: float, t_c: np.ndarray) -> np.ndarray:
        """Overlap each side; with the bond length where the wrap carries axial load."""
        if not along.any() or self.bond_factor is None:
            return np.full(len(t_c), self.plain)
        bond = steady_rows(extent.bond_length.array(k_b=self.bond_factor, E_a=self.modulus, eps_a=strain, t_c=t_c,
                                                    tau=self.shear))
        return np.where(along, np.maximum(self.plain, bond), self.plain)

    def lap_carries(self, strain: float, t_c: np.ndarray) -> np.ndarray:
        """Whether the lap of neighbouring bands hands axial load on."""
        if self.lap is None or self.bond_factor is None:
            return np.zeros(len(t_c), bool)
        return self.lap >= extent.bond_length.array(k_b=self.bond_factor, E_a=self.modulus, eps_a=strain, t_c=t_c,
                                                    tau=self.shear)

    def end(self, count: np.ndarray, t_c: np.ndarray) -> np.ndarray:
        """Length of one end."""
        build = t_c if self.pitch is None else steady_rows(quantity.build_up.array(n=count, h=self.pitch))
        return steady_rows(extent.end_length.array(k_e=self.slope, t_b=build))

    def short_side(self, beside: Beside, overlap: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(overlap that there is room for on the one side that is short, NaN where none or both are; its sign)."""
        have = [extent.room_for_overlap.array(c_1=c, a_w=self.off_weld, L_e=end, a_L=self.allowance)
                for c in (beside.upstream, beside.downstream)]
        up, down = (h < overlap for h in have)
        one = (up != down) & self.thicker
        return np.where(one, steady_rows(np.where(up, *have)), np.nan), np.where(up, -1, 1)

    def room(self, lay, along: np.ndarray, strain: float, beside: Beside) -> tuple[np.ndarray, np.ndarray]:
        """(overlap required, overlap that there is room for) by row; NaN where it fits, or is short on both sides.

        lay(factor) -> (layers, thickness). The end of a thicker wrap is longer: repeated until the layers stay.
        """
        count = len(along)
        last, open_ = np.full(count, -1.0), np.ones(count, bool)
        need, have = np.full(count, np.nan), np.full(count, np.nan)
        for _ in range(_ROUNDS if self.thicker else 0):
            found = ~np.isnan(have)
            open_ &= ~(found & ~(have >= (self.least_room or 0.0)))
            if not open_.any():
                break
            layers, t_c = lay(self.room_factor(need, have))
            overlap = self.overlap(along, strain, t_c)
            room, _ = self.short_side(beside, overlap, self.end(layers, t_c))
            fits = open_ & np.isnan(room)
            need[fits] = have[fits] = np.nan
            stays = open_ & (layers == last)
            open_ &= ~(fits | stays)
            last[open_], need[open_], have[open_] = layers[open_], overlap[open_], room[open_]
        return need, have

    def room_factor(self, need: np.ndarray, have: np.ndarray) -> np.ndarray:
        """Factor on the thickness for a short overlap; 1 where none is short, or less than the least room is left."""
        enough = have >= (self.least_room or 0.0)
        need, have = np.where(enough, need, 1.0), np.where(enough, have, 1.0)
        factor = steady_rows(extent.room_factor.array(L_o=need, L_av=have))
        return np.where(enough, factor, 1.0)

    def bounds(self, beside: Beside, end: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """What the whole repair stays between, from the middle of the damage."""
        out = []
        for clear, neighbour in zip((beside.upstream, beside.downstream), self.neighbours, strict=True):
            edge = beside.measured / 2
            at = edge + clear - self.off_weld
            if neighbour is not None:
                at = np.minimum(at, edge + neighbour - self.gap + end)
            out.append(np.clip(at + _HAIR, -_FAR, _FAR))
        return -out[0], out[1]


def bond_factor(bundle: Bundle) -> float:
    """The larger of the recalled factors of the bond length. Raises ValueWaits."""
    return max(bundle.tables.entry(d, "bond_length_factor").value().magnitude
               for d in dict.fromkeys((bundle.case.design.standard, PCC_2.id)))


def least_room(bundle: Bundle) -> float:
    """Least overlap on a side that is short of room, mm. Raises ValueWaits."""
    document = ISO_24817.id if is_asme(bundle) else bundle.case.design.standard
    return bundle.tables.entry(document, "least_room").value().magnitude

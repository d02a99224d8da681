"""Girth welds of a listing, the joint on which each anomaly lies, and the clear pipe beside it. Units mm, hours."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from wrapcalc.campaign.neighbours import features_beside
from wrapcalc.campaign.neighbours.neighbours import DOWNSTREAM_END, MIDDLE, NOT_STATED, UPSTREAM_END
from wrapcalc.campaign.screening.noted import Noted, rows_in_words

if TYPE_CHECKING:
    from wrapcalc.campaign.listing.blocks import Block

#: Two girth welds nearer to each other than this are one weld listed twice.
_SAME_WELD = 50.0
#: What a row states of its joint and what the girth welds give may differ by so much before it is told.
APART = 500.0
#: Edges of an anomaly from its stated place: shares of its length before and beyond. Not stated: of the two usual
#: readings the one that leaves less pipe on that side.
_REACH = {UPSTREAM_END: (0.0, 1.0), MIDDLE: (0.5, 0.5), DOWNSTREAM_END: (1.0, 0.0), NOT_STATED: (0.5, 1.0)}
_NO_WELDS = ("The listing has no girth welds: anomalies are not linked to joints, and what is stated of joints is "
             "taken as it stands.")
#: No joint is longer: what lies farther from a girth weld than this is on a joint whose weld is not listed.
LONGEST = 50_000.0
_TOLD = 5
#: Distances are kept to a nanometre: what is left of the difference of two beyond that is no place.
_DIGITS = 6


@dataclass
class Welds:
    """Girth welds by their distance in the log, rising. log: mm; names; joints, seam: number of the joint that begins
    there as the log counts, and the clock of its seam (hours, NaN). told: what is odd about the listing."""

    log: np.ndarray
    names: np.ndarray
    joints: np.ndarray
    seam: np.ndarray
    told: tuple[str, ...] = ()
    features: features_beside.Features = features_beside.NONE

    @classmethod
    def collect(cls, blocks: Iterable[Block]) -> Welds:
        """The welds and other features of a listing that is read block by block; also finds ids that come twice.

        Memory grows with the welds and features, and by 16 bytes for each row.
        """
        beside = features_beside.Collector()
        kept: list[dict[str, np.ndarray]] = []
        ids: list[np.ndarray] = []
        rows: list[np.ndarray] = []
        for block in blocks:
            beside.add(block)
            c = block.columns
            at = np.flatnonzero((c["kind"] == "girth weld") & np.isfinite(c["log_distance"]))
            if len(at):
                kept.append({n: c[n][at] for n in ("log_distance", "weld", "feature_id", "joint", "seam_clock")}
                            | {"row": block.row[at]})
            named = np.flatnonzero(c["feature_id"] != "")
            ids.append(np.fromiter((hash(t) for t in c["feature_id"][named]), np.int64, len(named)))
            rows.append(np.asarray(block.row)[named])
        features = beside.features()
        told = [*_repeated(ids, rows), *features.told]
        if not kept:
            none = np.empty(0)
            return cls(none, none.astype(object), none.astype(object), none, (*told, _NO_WELDS), features)
        w = {n: np.concatenate([k[n] for k in kept]) for n in kept[0]}
        name = np.where(w["weld"] != "", w["weld"], w["feature_id"])
        order = np.lexsort((w["seam_clock"], w["joint"].astype(str), name.astype(str), w["log_distance"]))
        w = {n: v[order] for n, v in w.items()} | {"name": name[order]}
        new = np.concatenate([[True], np.diff(w["log_distance"]) > _SAME_WELD])
        if not new.all():
            told.append(f"Girth welds listed twice, within {_SAME_WELD:g} mm: {int((~new).sum())} "
                        f"({rows_in_words(np.sort(w['row'][~new]))}); the first of each along the log stands.")
        first = {n: v[new] for n, v in w.items()}
        for what, names in (("Girth welds", first["name"]), ("Joints", first["joint"])):
            told += _out_of_order(what, names, first["row"])
        return cls(first["log_distance"], first["name"], first["joint"], first["seam_clock"], tuple(told), features)

    def beside(self, log: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Number of the weld before and after each distance in the log, -1 where there is none. What lies on a weld
        lies in the joint that begins there."""
        before = np.where(np.isfinite(log), np.searchsorted(self.log, log, side="right") - 1, -1)
        after = np.where(np.isfinite(log) & (before + 1 < len(self.log)), before + 1, -1)
        return before, after


def _of(what: np.ndarray, at: np.ndarray, nothing: Any) -> np.ndarray:
    """Values of welds by their numbers, `nothing` for -1."""
    out = np.full(len(at), nothing, dtype=object if isinstance(nothing, str) else float)
    out[at >= 0] = what[at[at >= 0]]
    return out


def _repeated(ids: list[np.ndarray], rows: list[np.ndarray]) -> list[str]:
    """Feature ids that come twice, by the rows of their second place."""
    if not ids:
        return []
    hashes, row = np.concatenate(ids), np.concatenate(rows)
    order = np.lexsort((row, hashes))
    again = np.sort(row[order[1:]][hashes[order[1:]] == hashes[order[:-1]]])
    if not len(again):
        return []
    return [f"Feature ids that another row has, too: {len(again)} ({rows_in_words(again)}); such rows are told apart "
            "by their number."]


def _out_of_order(what: str, names: np.ndarray, rows: np.ndarray) -> list[str]:
    """Numbers that rise here and fall there along the log; a line for what goes against most of them."""
    number = np.array([float(n) if n.isascii() and n.isdecimal() else np.nan for n in names.tolist()])
    back, forth = np.flatnonzero(np.diff(number) < 0), np.flatnonzero(np.diff(number) > 0)
    if not (len(back) and len(forth)):
        return []
    wrong = back if len(back) <= len(forth) else forth
    some = ", ".join(f"{names[k + 1]} after {names[k]} in row {rows[k + 1]}" for k in wrong[:_TOLD].tolist())
    return [f"{what} out of order by their numbers along the log: {len(wrong)} ({some}"
            f"{' and more' if len(wrong) > _TOLD else ''}); anomalies are linked by distance, check them."]


# -- the joint of each row ----------------------------------------------------------------------------------------
def link(c: dict[str, np.ndarray], welds: Welds, survey: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]],
         noted: Noted, *, backwards: bool) -> None:
    """Fill in joint, joint_length, seam_clock, and distance and name of the welds up- and downstream.

    c: arrays of rows, with survey; changed in place. Distances are from the welds to the stated place of the row. What
    the row itself states stands; where the girth welds say otherwise, by more than APART, that is noted, and
    `room_upstream`, `room_downstream` are the lesser of both. backwards: the listing counts against the flow, and what
    it states is from the weld that its tool met first, the one downstream.
    """
    before, after, met, next_ = _near(c, welds, survey(welds.log)[0], noted)
    stated, whole = c["from_upstream_weld"], c["joint_length"]
    near = np.where(np.isfinite(stated), stated, met)
    length = np.where(np.isfinite(whole), whole, met + next_)
    far = np.where(np.isfinite(whole) & np.isfinite(near), whole - near, next_)
    row, joint = c["row"], _of(welds.joints, before, "")
    apart = f"more than {APART / 1000:g} m apart"
    noted.add(f"the stated distance from the girth weld and the girth welds of the listing are {apart}: see which "
              "joint it is before anybody digs", row[np.abs(met - stated) > APART])
    noted.add(f"the stated length of the joint and the girth welds of the listing are {apart}",
              row[np.abs(met + next_ - whole) > APART])
    noted.add("the stated joint is not that of the girth weld before it",
              row[(c["joint"] != "") & (joint != "") & (c["joint"] != joint)])
    noted.add("farther from the girth weld than the joint is long: the distance from the other weld is taken as not "
              "known", row[far < 0])
    far = np.where(far < 0, np.nan, far)
    names = [_of(welds.names, k, "") for k in (before, after)]
    if not len(welds.log):  # a number beside a stated distance is that of the weld from which it is
        names[0] = np.where(np.isfinite(stated), c["weld"], "")
    sides = ("downstream", "upstream") if backwards else ("upstream", "downstream")
    for side, by_row, by_welds, name in zip(sides, (near, far), (met, next_), names, strict=True):
        c[f"from_{side}_weld"], c[f"{side}_weld"] = np.round(by_row, _DIGITS), name
        c[f"room_{side}"] = np.where(np.abs(by_row - by_welds) <= APART, by_row, np.fmin(by_row, by_welds))
    c["joint_length"] = length
    c["joint"] = np.where(c["joint"] != "", c["joint"], joint)
    seam = _of(welds.seam, before, np.nan)
    c["seam_clock"] = np.where(np.isfinite(c["seam_clock"]), c["seam_clock"],
                               np.mod(12 - seam, 12) if backwards else seam)


def _near(c: dict[str, np.ndarray], welds: Welds, place: np.ndarray, noted: Noted) -> tuple[np.ndarray, ...]:
    """Numbers of the welds before and after each row, -1 for none, and its distances from them, NaN for none."""
    before, after = welds.beside(c["log_distance"])
    met, next_ = (np.abs(c["survey"] - _of(place, k, np.nan)) for k in (before, after))
    gap = np.fmax(np.fmax(met, next_), met + next_) > LONGEST
    noted.add(f"no girth weld of the listing within {LONGEST / 1000:g} m, or the next two farther apart: the joint is "
              "not known from them", c["row"][gap])
    return np.where(gap, -1, before), np.where(gap, -1, after), np.where(gap, np.nan, met), np.where(gap, np.nan, next_)


def clear(upstream: Any, downstream: Any, length: Any, place: str) -> tuple[Any, Any]:
    """Clear pipe from the edges of an anomaly to the welds up- and downstream, less than 0 where it reaches over one.

    upstream, downstream: from its stated place to the welds; place: of which edge that is.
    """
    before, beyond = _REACH[place]
    return np.round(upstream - before * length, _DIGITS), np.round(downstream - beyond * length, _DIGITS)

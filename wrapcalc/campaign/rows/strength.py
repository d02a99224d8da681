"""Every anomaly of a group judged as a single case would be: sizes, methods, axial check, criteria, disposition.

A group is a template case (metal loss, one depth and one length) in which only the defect and the wall beside it differ
from row to row. Row i is what `stages.job.run` gives for that case: its words "wrap", "other repair" for a wrap that
does not hold, and what its design asks for, all stand behind "repair" here. Units are mm and MPa; NaN is "not stated"
on the way in and "no answer" on the way out, with a code that says why.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wrapcalc.campaign.rows.axial_rows import AxialRows
from wrapcalc.campaign.rows.chance_rows import ChanceRows
from wrapcalc.campaign.rows.criteria_rows import AT_END, RowFacts, Ruling
from wrapcalc.campaign.rows.life_rows import LifeRows, Records
from wrapcalc.campaign.rows.method_rows import (
    METHODS,
    NOT_REACHED,
    SCOPE,
    Answers,
    Sizes,
    answers,
    code_pressure_rows,
    failure_of_record,
    governing,
    line_of,
)
from wrapcalc.campaign.rows.reasons import (
    AXIAL,
    BELOW,
    COMPONENT,
    CRITERION,
    DISPOSITIONS,
    END_OF_LIFE,
    FIT,
    FIT_UPSET,
    LOWERED,
    LOWERED_UPSET,
    NO_METHOD,
    NOT_COVERED,
    NOT_KNOWN_LINE,
    OVER_CODE,
    REASONS,
    RULED_OUT,
    SEAM,
    SOON,
    THIN,
    TOO_DEEP,
    Stated,
)
from wrapcalc.campaign.rows.rounding import How, Rounded, Unrounded
from wrapcalc.case import Bundle
from wrapcalc.case.model import COMPONENTS, LOSSES, WALL_BASES
from wrapcalc.errors import CalculationError
from wrapcalc.formulas import pressure
from wrapcalc.formulas import remaining_strength as strength
from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages import scope
from wrapcalc.stages.assessment.disposition import dispose
from wrapcalc.stages.assessment.kernels import MODIFIED, ORIGINAL, SINGLE
from wrapcalc.standards.documents import PRACTICE

__all__ = ["AXIAL_VERDICTS", "DISPOSITIONS", "METHODS", "REASONS", "SCOPE", "Screener"]

#: Rows worked at once: what they need stays in the second-level cache.
_BLOCK = 16384
#: Fields of the case that a row states itself.
ROW_FIELDS = ("pipe.sound_wall", "defect.kind", "defect.depth", "defect.length", "defect.width", "defect.clock")
NO_REPAIR, REDUCE, REPAIR, OTHER, NO_DATA = range(5)
#: Verdicts of the axial check by code.
AXIAL_VERDICTS = ("not reached", "met", "not met")
_FACTS = ("depth_over_nominal", "depth_over_wall", AT_END, "failure_ratio", "operating_ratio")
_FAILURES = (ORIGINAL, MODIFIED, SINGLE)


@dataclass
class _Found:
    """What the disposition rests on, row by row. rate: mm per year, None where no life is worked out."""

    safe: np.ndarray
    failure: np.ndarray
    governed: np.ndarray
    axial: np.ndarray
    due: np.ndarray | None
    rate: np.ndarray | None
    deep: np.ndarray


class Screener:
    """Judges the anomalies of one group. criteria: (citation, text, deadline in words) by code; notes: what of the line
    itself stands in the way of every row, in words.

    life, chance: also remaining life and probability, where the case states growth and sizing tolerances; a growth that
    the case states counts in the disposition whether it is asked for or not.
    """

    def __init__(self, bundle: Bundle, *, life: bool = False, chance: bool = False):
        case = bundle.case
        if case.defect.kind not in (None, *LOSSES) or bundle.grid or bundle.profile or bundle.pits:
            raise CalculationError("a screening takes metal loss of one depth and one length: the template case is a "
                                   f"{case.defect.kind}" + ("" if case.defect.kind not in (None, *LOSSES) else
                                                            " with a measured grid, profile or table of pits"))
        self._life_asked, self._chance_asked = life, chance
        missing = [f for f in scope.missing_for_assessment(bundle) if f not in ROW_FIELDS]
        with recording(Recorder()):
            outside = scope.features_outside(bundle)
        self.notes = tuple(f"not stated: {f}" for f in missing) + tuple(outside)
        self._stop = NOT_KNOWN_LINE if missing else NOT_COVERED if outside else 0
        self._stated = Stated(bundle)
        self.criteria: tuple[tuple[str, str, str], ...] = ()
        if not self._stop:
            self._prepare(bundle)

    def _prepare(self, bundle: Bundle) -> None:
        """What is the same for every row."""
        case = bundle.case
        self._line = line = line_of(bundle)
        self._axial = AxialRows(bundle, line)
        with recording(Recorder()):
            ruled = dispose(bundle, None, None)
        facts = ruled.facts | {"metal_loss": "yes"}
        self._ruling = Ruling([r.criteria for r in ruled.lists], ruled.exclusions.criteria, facts, _FACTS)
        self.criteria = self._ruling.table
        self._lowered = None if case.get("service.lowered_maop") is None else case.get("service.lowered_maop").base
        self._kept = line.maop if self._lowered is None else self._lowered
        self._upset = np.inf if case.get("service.upset_pressure") is None else case.get("service.upset_pressure").base
        self._established = case.service.maop_basis is not None
        self._straight = case.service.inside_repair not in COMPONENTS
        self._over = line.design is not None and self._kept > line.design and not self._established
        self._weak_seam = line.factor is not None and line.joint < bundle.tables.value(
            PRACTICE.id, "least_joint_factor").magnitude
        self._corroding = case.service.internal_corrosion != "none"
        # What rests on sizes alone is not given where external loads lower the governing pressure.
        by_size = not (line.keys == (SINGLE,) and (line.axial_force or line.bending))
        uncertain = self._chance_asked and case.uncertainty.depth_tolerance is not None
        records = Records(bundle, line) if by_size and (case.growth.basis is not None or uncertain) else None
        able = records is not None and bool(records.by)
        self._life = LifeRows(bundle, line, records) if able and case.growth.basis is not None else None
        self._chance = ChanceRows(bundle, line, records) if able and uncertain else None
        years = case.get("design.design_life")
        self._design_life = np.nan if years is None else years.base

    # -- all rows ----------------------------------------------------------------------------------------------------
    def judge(self, rows: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
        """Columns of every row, by name.

        rows: depth, length, width, clock (hours), sound_wall in mm as float64, NaN for not stated, and internal, not 0
        where the loss is inside. Raises CalculationError for arrays that do not go together.

        mm: wall, depth_used, length_used; MPa: safe_pressure, failure_pressure (that criteria take), "failure M" and
        "safe M" of a method M; relative_depth, repair_factor; deadline_days (infinite for none). Codes: governing of
        METHODS, "scope M" of SCOPE (0: it answers), axial of AXIAL_VERDICTS, disposition of DISPOSITIONS, reason of
        REASONS; criterion (the leading one) and exclusion (the first that rules a wrap out) of `criteria`, -1 for none;
        criteria_open: how many lack answers. On request growth_rate (mm per year), remaining_life and next_look
        (years from the measurement), probability (of pressure or depth beyond its limit) and probability_of_depth.
        """
        names = ("depth", "length", "width", "clock", "sound_wall")
        given = {n: np.ascontiguousarray(rows[n], float) for n in names} | {"internal": np.asarray(rows["internal"])}
        count = len(given["depth"])
        if any(v.shape != (count,) for v in given.values()):
            raise CalculationError("a screening takes arrays of one length: "
                                   + ", ".join(f"{n} {v.shape}" for n, v in given.items()))
        out = self._blank(count)
        near = [np.zeros(0, int)]
        with np.errstate(all="ignore"):
            for first in range(0, count, _BLOCK):
                part = slice(first, min(first + _BLOCK, count))
                near.append(first + self._block({n: v[part] for n, v in given.items()},
                                                {n: v[part] for n, v in out.items()}))
            again = np.concatenate(near)  # rows next to a limit a second time, with every step rounded
            for first in range(0, len(again), _BLOCK):
                at = again[first:first + _BLOCK]
                inner = self._blank(len(at))
                self._worked({n: v[at] for n, v in given.items()}, inner, Rounded())
                for n, v in inner.items():
                    out[n][at] = v
        return out

    def _columns(self) -> dict[str, float | np.generic]:
        """What stands in each column of a row that is not judged."""
        floats = ["wall", "depth_used", "length_used", "relative_depth", "safe_pressure", "failure_pressure",
                  "repair_factor", *(f"failure {m}" for m in _FAILURES), *(f"safe {m}" for m in METHODS[1:])]
        floats += ["growth_rate", "remaining_life", "next_look"] if self._life_asked else []
        floats += ["probability", "probability_of_depth"] if self._chance_asked else []
        none: dict[str, float | np.generic] = dict.fromkeys(floats, np.nan)
        none |= dict.fromkeys(("governing", "axial", "reason"), np.uint8(0))
        none |= dict.fromkeys((f"scope {m}" for m in METHODS[1:]), np.uint8(NOT_REACHED))
        return none | {"disposition": np.uint8(NO_DATA), "criterion": np.int16(-1), "exclusion": np.int16(-1),
                       "deadline_days": np.inf, "criteria_open": np.uint16(0)}

    def _blank(self, count: int) -> dict[str, np.ndarray]:
        return {n: np.full(count, v) for n, v in self._columns().items()}

    def _block(self, rows: dict[str, np.ndarray], out: dict[str, np.ndarray]) -> np.ndarray:
        """Work one block; gives back the rows that lie next to a limit."""
        stopped = self._stated.codes(rows)
        if self._stop:
            out["reason"][:] = self._stop if stopped is None else np.where(stopped > 0, stopped, self._stop)
            return np.zeros(0, int)
        if stopped is not None:  # nothing is worked out from what is not stated: a stand-in runs, and is struck below
            rows = rows | {n: np.where(stopped > 0, v, rows[n]) for n, v in self._stated.stand_in.items()}
        how = Unrounded()
        self._worked(rows, out, how)
        near = np.zeros(0, int) if how.near is None else np.flatnonzero(how.near)
        if stopped is not None:
            bad = np.flatnonzero(stopped)
            for n, nothing in self._columns().items():
                out[n][bad] = nothing
            out["reason"][bad] = stopped[bad]
            near = near[stopped[near] == 0]
        return near

    # -- one block ---------------------------------------------------------------------------------------------------
    def _worked(self, rows: dict[str, np.ndarray], out: dict[str, np.ndarray], how: How) -> None:
        line, count = self._line, len(rows["depth"])
        s, smaller = self._sizes(rows, how)
        out["wall"][:], out["depth_used"][:], out["length_used"][:] = s.wall, s.depth, s.length
        out["relative_depth"][:] = s.share
        deep = self._too_deep(s, how)
        dead = np.flatnonzero(deep)
        used = s
        if len(dead):  # a stand-in for the methods, whose answers are struck below
            used = Sizes(s.wall, np.where(deep, 0.5 * s.wall, s.depth), s.length, np.where(deep, 0.5, s.share), s.width)
        found = answers(line, used, how)
        safe, code = governing(line, found, count, how)
        failure = failure_of_record(line, found, code)
        for x, nothing in ((safe, np.nan), (failure, np.nan), (code, 0)):
            x[dead] = nothing
        self._store(found, dead, safe, failure, code, out)
        governed = code > 0
        axial = self._axial.met(used, rows["internal"], line.maop, how)
        out["axial"][:] = np.where(deep, np.uint8(0), np.where(axial, np.uint8(1), np.uint8(2)))
        due, rate = self._grown(rows, used, found, safe, failure, governed, out, how)
        if self._chance is not None:
            chances = self._chance.chances(used, rows["depth"], rows["length"], found, how)
            for name, x in zip(("probability", "probability_of_depth"), chances, strict=True):
                out[name][:] = np.where(governed, x, np.nan)
        self._dispose(rows, s, _Found(safe, failure, governed, axial, due, rate, deep), how, out)
        outside = self._outside(s, smaller, how)
        if outside is not None:
            at = np.flatnonzero(outside)
            out["disposition"][at], out["reason"][at] = NO_DATA, outside[at]

    def _sizes(self, rows: dict[str, np.ndarray], how: How) -> tuple[Sizes, np.ndarray]:
        """Sizes as used, and the smaller of both walls less its allowance, which the sound pipe is judged by."""
        line = self._line
        smaller = how.steady(strength.wall_for_assessment.array(t_n=line.nominal, t_m=rows["sound_wall"],
                                                                a_t=line.wall_allowance))
        wall = smaller
        if line.wall_basis != WALL_BASES[0]:
            chosen = np.full(len(smaller), line.nominal) if line.wall_basis == "nominal" else rows["sound_wall"]
            wall = how.steady(strength.wall_as_chosen.array(t_g=chosen, a_t=line.wall_allowance))
        depth = how.steady(strength.depth_for_assessment.array(d_0=rows["depth"], a_d=line.depth_allowance))
        length = how.steady(strength.length_for_assessment.array(L_0=rows["length"], a_L=line.length_allowance))
        share = how.steady(strength.relative_depth.array(d=depth, t=wall))
        return Sizes(wall, depth, length, share, rows["width"]), smaller

    def _too_deep(self, s: Sizes, how: How) -> np.ndarray:
        """Depth over the thinner of nominal and used wall above its limit."""
        share = s.share
        if self._line.wall_basis != WALL_BASES[0]:
            share = how.steady(strength.relative_depth.array(d=s.depth, t=np.minimum(s.wall, self._line.nominal)))
        return how.above(share, self._line.depth_limit)

    def _outside(self, s: Sizes, smaller: np.ndarray, how: How) -> np.ndarray | None:
        """Reason code of what is wrong with the pipe beside the defect, 0 for nothing; None for no row at all."""
        line, count = self._line, len(smaller)
        thin = how.below(how.steady(strength.relative_depth.array(d=smaller, t=line.nominal)), line.least_share)
        over = np.full(count, self._over)
        if line.factor is None and not self._established:  # plant piping: at the wall as used
            over = how.below(how.steady(code_pressure_rows(line, s.wall)), self._kept)
        if not (self._weak_seam or over.any() or thin.any()):
            return None
        weak = np.full(count, np.uint8(SEAM if self._weak_seam else 0))
        return np.where(over, np.uint8(OVER_CODE), np.where(thin, np.uint8(THIN), weak))

    def _store(self, found: Answers, dead: np.ndarray, safe: np.ndarray, failure: np.ndarray, code: np.ndarray,
               out: dict[str, np.ndarray]) -> None:
        out["safe_pressure"][:], out["failure_pressure"][:], out["governing"][:] = safe, failure, code
        np.divide(self._line.maop, safe, out=out["repair_factor"])
        for key, answer in found.items():
            parts = [("scope", answer.scope, NOT_REACHED)]
            if answer.safe is not None:
                struck = answer.safe if answer.inside is None else np.where(answer.inside, answer.safe, np.nan)
                parts.append(("safe", struck, np.nan))
            if answer.failure is not None:
                parts.append(("failure", answer.failure, np.nan))
            for what, x, nothing in parts:
                column = out[f"{what} {key}"]
                column[:] = x
                column[dead] = nothing

    def _grown(self, rows: dict[str, np.ndarray], s: Sizes, found: Answers, safe: np.ndarray, failure: np.ndarray,
               governed: np.ndarray, out: dict[str, np.ndarray], how: How
               ) -> tuple[np.ndarray | None, np.ndarray | None]:
        """Rows whose next look would be due too soon, and the rate of growth; None where the case states none."""
        if self._life is None:
            return None, None
        grown = self._life.grown(s, rows["depth"], rows["length"], how)
        if not self._life_asked:
            return self._life.due(grown, found, safe, failure, how) & governed, grown.rate
        lives = self._life.lives(grown, self._life.variant(found), safe, failure, how)
        if self._life_asked:
            for name, x in (("growth_rate", grown.rate), ("remaining_life", lives.life), ("next_look", lives.look)):
                out[name][:] = np.where(governed, x, np.nan)
        return lives.due & governed, grown.rate

    # -- what is to be done --------------------------------------------------------------------------------------------
    def _facts(self, s: Sizes, f: _Found, maop: float, at_end: np.ndarray | None, how: How) -> RowFacts:
        """What is known of each row at this MAOP. at_end: depth over wall at the end of a repair's life, None: today's.
        """
        ratios = {n: how.steady(pressure.failure_pressure_ratio.array(P_F=x, MAOP=maop))
                  for n, x in (("failure_ratio", f.failure), ("operating_ratio", f.safe))}
        over = how.steady(strength.relative_depth.array(d=s.depth, t=self._line.nominal))
        sure = ["depth_over_nominal", "depth_over_wall", *([AT_END] if at_end is None else [])]
        if self._line.factor is not None and f.governed.all():
            sure += ratios
        return RowFacts(ratios | {"depth_over_nominal": over, "depth_over_wall": s.share,
                                  AT_END: s.share if at_end is None else at_end}, how, sure)

    def _at_end(self, rows: dict[str, np.ndarray], s: Sizes, f: _Found, how: How) -> np.ndarray | None:
        """Depth over wall at the end of a repair's life, where it is another than today; NaN where it is not known."""
        grows = np.ones(len(f.deep), bool) if self._corroding else rows["internal"] != 0
        if not self._ruling.at_end or not grows.any():
            return None
        then = np.full(len(grows), np.nan)
        if f.rate is not None:
            then = np.where(f.governed, how.steady((s.depth + f.rate * self._design_life) / s.wall), np.nan)
        return np.where(grows, then, s.share)

    def _dispose(self, rows: dict[str, np.ndarray], s: Sizes, f: _Found, how: How, out: dict[str, np.ndarray]) -> None:
        """Criteria, and the word of the single case in its order, from what comes last to what comes first."""
        line, ruling, count = self._line, self._ruling, len(f.deep)
        at_end = self._at_end(rows, s, f, how)
        facts = self._facts(s, f, line.maop, at_end, how)
        leading, excluded = ruling.leading(facts, count), ruling.excluded(facts, count)
        now = excluded if at_end is None else ruling.excluded(self._facts(s, f, line.maop, None, how), count)
        out["criterion"][:], out["exclusion"][:] = leading, excluded
        out["deadline_days"][:] = ruling.days[leading]
        out["criteria_open"][:] = ruling.unanswered(facts, count)
        strong = ~how.below(f.safe, line.maop)
        asked = leading >= 0
        due = np.zeros(count, bool) if f.due is None else f.due
        fit = strong & f.axial & ~asked & ~due if self._straight else np.zeros(count, bool)
        word = np.where(fit, np.uint8(NO_REPAIR), np.uint8(REPAIR))
        reason = np.full(count, np.uint8(FIT))
        left = np.flatnonzero(~fit)  # few rows as a rule: the order below is that of the single case, backwards
        if len(left):
            why = np.where(asked[left], np.uint8(CRITERION), np.uint8(SOON))
            why = why if self._straight else np.full(len(left), np.uint8(COMPONENT))
            why = np.where(strong[left], np.where(f.axial[left], why, np.uint8(AXIAL)), np.uint8(BELOW))
            reason[left] = why
            out_now = excluded[left] >= 0
            word[left[out_now]], reason[left[out_now]] = OTHER, END_OF_LIFE
        lower = self._lower(rows, s, f, ~fit & ~due, at_end, how)
        if lower is not None:
            word[lower], reason[lower] = REDUCE, LOWERED
        high = np.flatnonzero((self._upset > f.safe) & (word <= REDUCE)) if np.isfinite(self._upset) else ()
        if len(high):
            reason[high] = np.where(word[high] == NO_REPAIR, np.uint8(FIT_UPSET), np.uint8(LOWERED_UPSET))
        for rows_, stands, why_ in ((now >= 0, OTHER, RULED_OUT), (~f.governed, NO_DATA, NO_METHOD),
                                    (f.deep, OTHER, TOO_DEEP)):
            at = np.flatnonzero(rows_)
            word[at], reason[at] = stands, why_
        out["disposition"][:], out["reason"][:] = word, reason

    def _lower(self, rows: dict[str, np.ndarray], s: Sizes, f: _Found, asked: np.ndarray, at_end: np.ndarray | None,
               how: How) -> np.ndarray | None:
        """Rows that hold at the lowered MAOP: by strength, by the criteria there, and along the pipe."""
        if self._lowered is None or not self._straight:
            return None
        holds = asked & f.governed & ~how.below(f.safe, self._lowered)
        if not holds.any():
            return None
        holds &= self._ruling.leading(self._facts(s, f, self._lowered, at_end, how), len(holds)) < 0
        at = np.flatnonzero(holds)
        some = Sizes(s.wall[at], s.depth[at], s.length[at], s.share[at], s.width[at])
        return at[self._axial.met(some, rows["internal"][at], self._lowered, how)]

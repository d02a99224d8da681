"""The columns of a screening: what is kept of the listing, what is written of each row, and how rows become columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from wrapcalc.campaign.line.line import WALL_SOURCES
from wrapcalc.campaign.rows.judging import Judge
from wrapcalc.campaign.rows.strength import AXIAL_VERDICTS, DISPOSITIONS, METHODS
from wrapcalc.campaign.rows.wrap_reasons import WRAP_BASIS, WRAP_REASONS
from wrapcalc.campaign.screening.known import DEPTHS as AGAINST_DESIGN
from wrapcalc.campaign.screening.known import WORDS as KNOWN_WORDS
from wrapcalc.campaign.tables.tables import CODE, NUMBER, TEXT, WHOLE, Column

#: Kinds of rows by code; 0 is none.
KINDS = ("", "external metal loss", "internal metal loss", "metal loss", "dent", "gouge", "crack", "girth weld",
         "valve", "fitting", "bend", "marker", "repair", "other")
#: Kinds that are ranked; the others are counted.
RANKED = KINDS[1:7]
_LENGTHS = ("log_distance", "depth", "length", "width", "nominal_wall", "measured_wall", "joint_length",
            "from_upstream_weld")
_PLAIN = ("depth_share", "clock", "seam_clock", "listed_repair_factor", "latitude", "longitude")
_TEXTS = ("feature_id", "joint", "weld", "comment")
WHETHER = ("", "no", "yes")

#: What is kept of a row of the listing between the passes.
LISTED = (Column("row", WHOLE), Column("kind", CODE, words=KINDS), *(Column(n, TEXT) for n in _TEXTS),
          *(Column(n, NUMBER) for n in (*_LENGTHS, *_PLAIN)))
#: What makes two rows of a listing the same, whatever their numbers.
CONTENT = [c.name for c in LISTED if c.name != "row"]


def _numbers(unit: str, *names: str) -> list[Column]:
    return [Column(n, NUMBER, unit) for n in names]


def judged_columns(judge: Judge, sections: tuple[str, ...], widths: Sequence[float], *, life: bool, chance: bool
                   ) -> tuple[Column, ...]:
    """What is known of a row once it is judged, in the order of the table. widths: of the units of a system, mm."""
    c = Column
    out = [c("row", WHOLE), c("feature id", TEXT), c("kind", CODE, words=KINDS), c("disposition", CODE,
                                                                                   words=DISPOSITIONS),
           c("reason", CODE, words=tuple(judge.reasons.texts)), *_numbers("d", "deadline days"),
           c("deadline", CODE, words=tuple(judge.deadlines.texts)), *_numbers("MPa", "safe pressure"),
           *_numbers("", "repair factor", "relative depth"), *_numbers("mm", "survey"),
           c("section", CODE, words=sections), c("joint", TEXT), c("upstream weld", TEXT), c("downstream weld", TEXT),
           *_numbers("mm", "from upstream weld", "from downstream weld", "clear upstream", "clear downstream",
                            "joint length"), c("beside upstream", TEXT), c("beside downstream", TEXT),
           *_numbers("h", "clock"),
           *_numbers("mm", "depth", "length", "width", "nominal wall", "measured wall", "sound wall", "wall",
                     "depth used", "length used"),
           c("wall source", CODE, words=WALL_SOURCES), c("governing", CODE, words=METHODS),
           *_numbers("MPa", "failure pressure", *(f"safe {m}" for m in METHODS[1:])),
           c("axial", CODE, words=AXIAL_VERDICTS), c("citation", CODE, words=tuple(judge.citations.texts)),
           c("criterion", CODE, words=tuple(judge.criteria.texts)), c("criteria open", WHOLE),
           c("exclusion", CODE, words=tuple(judge.exclusions.texts)), c("damage over", TEXT),
           *_numbers("mm", "loss under")]
    out += _numbers("mm/y", "growth rate") + _numbers("y", "remaining life", "next look") if life else []
    out += _numbers("", "probability", "probability of depth") if chance else []
    out += [c("wrap feasible", CODE, words=WHETHER), c("wrap reason", CODE, words=WRAP_REASONS),
            c("wrap basis", CODE, words=WRAP_BASIS), *_numbers("", "layers"),
            *_numbers("mm", "wrap thickness", "required thickness", "overlap", "full length", "cover", "end length",
                      "overall length"), *_numbers("", "units", *(f"units of {w:g} mm" for w in widths)),
            *_numbers("h", "seam clock"), *_numbers("", "listed repair factor"),
            *_numbers("°", "latitude", "longitude"),
            *_numbers("mm", "log distance"), c("weld", TEXT), c("comment", TEXT)]
    return tuple(out)


#: What is known only when all rows are judged; it stands before the columns of the listing.
LAST = (Column("repair", TEXT), Column("under repair", TEXT), Column("known repair", TEXT),
        Column("known repair is", CODE, words=KNOWN_WORDS),
        Column("depth against design", CODE, words=AGAINST_DESIGN), Column("planned depth", NUMBER, "mm"),
        Column("carried depth", NUMBER, "mm"))


def block_of(columns: Sequence[Column], rows: Mapping[str, np.ndarray], count: int) -> dict[str, np.ndarray]:
    """Arrays by the names of the columns; empty where there is no such array. Names stand with "_" in arrays."""
    out = {}
    for c in columns:
        values = rows.get(c.name.replace(" ", "_"), rows.get(c.name))
        if values is None:
            values = np.full(count, np.nan) if c.kind == NUMBER else np.full(count, "", object) if c.kind == TEXT else \
                np.zeros(count, np.int64)
        out[c.name] = values
    return out

"""Words by which listings of inspection runs name their columns and features: our own list, from common practice."""

from __future__ import annotations

import re

#: Our name of a column -> headings in small letters, without brackets and signs.
HEADINGS: dict[str, tuple[str, ...]] = {
    "feature_id": ("feature id", "feature no", "feature number", "feature ref", "anomaly id", "anomaly no",
                   "anomaly number", "indication id", "indication no", "defect id", "defect no", "event id", "item no",
                   "id", "no", "ref", "feature"),
    "line": ("line", "line name", "line id", "pipeline", "pipeline name", "section name"),
    "kind": ("feature type", "type", "kind", "anomaly type", "event", "event type", "feature class", "classification",
             "indication type", "feature identification", "identification", "type of feature"),
    "log_distance": ("log distance", "log dist", "odometer", "odometer distance", "absolute distance", "abs distance",
                     "abs dist", "distance", "dist", "distance from launcher", "run distance", "tool distance",
                     "recorded distance", "wheel distance", "log"),
    "depth": ("depth", "max depth", "maximum depth", "peak depth", "depth max", "depth peak", "metal loss depth", "d",
              "feature depth", "depth wt"),
    "length": ("length", "axial length", "feature length", "metal loss length", "anomaly length", "len", "l"),
    "width": ("width", "circumferential width", "circ width", "circumferential length", "feature width", "w",
              "metal loss width", "anomaly width"),
    "clock": ("o clock", "oclock", "clock", "clock position", "orientation", "orient", "feature orientation",
              "circumferential position", "circ position", "clock orientation"),
    "nominal_wall": ("t nom", "nominal wall", "nominal wall thickness", "nominal wt", "nom wt", "wt nom", "nominal t",
                     "wt", "wall thickness", "wall", "t", "pipe wt"),
    "measured_wall": ("t meas", "measured wall", "measured wall thickness", "measured wt", "local wall", "local wt",
                      "local wall thickness", "actual wall thickness", "actual wt", "reference wall thickness"),
    "joint": ("joint", "joint no", "joint number", "joint id", "pipe no", "pipe number", "pipe joint", "spool no",
              "jt no", "joint ref"),
    "joint_length": ("joint length", "pipe length", "length of joint", "jt length", "spool length"),
    "from_upstream_weld": (
        "from u s weld", "from us weld", "distance from upstream weld", "distance to upstream weld",
        "distance from upstream girth weld", "distance to upstream girth weld", "relative distance", "rel distance",
        "rel dist", "u s weld distance", "us weld dist", "u s weld dist", "dist to u s weld", "dist from u s weld",
        "dist to u s gw", "dist from u s gw", "to u s weld", "u s gw dist"),
    "weld": ("girth weld", "girth weld no", "girth weld number", "weld", "weld no", "weld number", "gw", "gw no",
             "upstream weld", "upstream girth weld", "u s weld", "u s gw", "u s weld no", "u s gw no"),
    "seam_clock": ("seam", "seam clock", "seam orientation", "seam position", "long seam", "long seam orientation",
                   "longitudinal seam", "seam weld", "seam weld orientation", "seam o clock"),
    "listed_repair_factor": ("repair factor", "estimated repair factor", "erf"),
    "comment": ("comment", "comments", "remark", "remarks", "note", "notes"),
    "latitude": ("latitude", "lat"),
    "longitude": ("longitude", "lon", "lng", "long"),
}
#: Headings that do not say which wall they mean.
ANY_WALL = ("wt", "wall thickness", "wall", "t", "pipe wt")
#: Headings of a column that says on which side of the wall loss is.
SIDES = ("surface", "internal external", "int ext", "i e", "surface location", "wall surface", "id od", "side",
         "location", "internal or external", "ext int")
#: Words of features -> ours; "" where the side of the wall is not said.
KIND_WORDS: dict[str, str] = {
    **dict.fromkeys(("metal loss ext", "metal loss external", "external metal loss", "ext metal loss", "ext ml",
                     "ml ext", "external corrosion", "corrosion external", "ext corrosion", "corrosion ext"),
                    "external metal loss"),
    **dict.fromkeys(("metal loss int", "metal loss internal", "internal metal loss", "int metal loss", "int ml",
                     "ml int", "internal corrosion", "corrosion internal", "int corrosion", "corrosion int"),
                    "internal metal loss"),
    **dict.fromkeys(("metal loss", "corrosion", "ml", "corrosion cluster", "metal loss cluster", "cluster", "pit",
                     "pitting"), "metal loss"),
    **dict.fromkeys(("dent", "plain dent", "dent plain", "dnt"), "dent"),
    **dict.fromkeys(("gouge", "gouging", "groove"), "gouge"),
    **dict.fromkeys(("crack", "crack like", "crack field", "crack colony"), "crack"),
    **dict.fromkeys(("gw", "girth weld", "weld", "circumferential weld"), "girth weld"),
    **dict.fromkeys(("valve", "vlv", "block valve", "ball valve", "gate valve"), "valve"),
    **dict.fromkeys(("fitting", "tee", "flange", "off take", "offtake", "branch", "tap", "reducer"), "fitting"),
    **dict.fromkeys(("bend", "field bend", "elbow", "bend left", "bend right"), "bend"),
    **dict.fromkeys(("marker", "agm", "magnet", "above ground marker", "reference marker"), "marker"),
    **dict.fromkeys(("repair", "sleeve", "repair sleeve", "wrap", "composite repair", "clamp", "patch"), "repair"),
    **dict.fromkeys(("casing", "casing start", "casing end", "support", "anchor", "launcher", "receiver", "anode",
                     "wall thickness change", "wt change"), "other"),
}
_BRACKETS = re.compile(r"[(\[{][^()\[\]{}]*[)\]}]")


def plain_words(text: str) -> str:
    """A heading or word in small letters, without brackets and signs: "O'clock [h:mm]" -> "o clock"."""
    return " ".join("".join(c if c.isalnum() else " " for c in _BRACKETS.sub(" ", text).casefold()).split())

"""One row of a listing as a case: the base case with what its segment sets and what the listing says of the row.

Decided here:
- Sizes are said to be measured, with run and row; what a field measurement replaces is kept in its source by whoever
  puts it in (`measured`).
- Where the listing does not say of which edge its distance is, it is taken as the upstream edge, with that in the
  source; the clear pipe is the lesser of both readings.
- Bends, valves and other features bound the clear pipe; what of them is inside the repair stands in the case.
- The case of metal loss under a dent, gouge or crack is of that kind and has its depth where the listing has it, never
  that of the loss as its own: the loss stands in the sources, and in the depth of a crack, which counts with the loss.
- What the base case says of neighbours stays only where the case has a grid or a table of pits.
- Nothing is stated that the case would refuse: a joint that is too short for the anomaly leaves its length out.
"""

from __future__ import annotations

import math
import os
import secrets
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from wrapcalc.campaign.cases.case_text import clock_text, mm, number, toml_of
from wrapcalc.campaign.line.joints import LONGEST, clear
from wrapcalc.campaign.line.line import OF_NEIGHBOURS, Line
from wrapcalc.campaign.neighbours.damage_over import depth_of, of_case
from wrapcalc.campaign.neighbours.features_beside import inside_of, with_inside
from wrapcalc.campaign.neighbours.neighbours import NOT_STATED
from wrapcalc.case import Bundle, read_bundle
from wrapcalc.case.model import INTERNAL_LOSS, METAL_LOSS
from wrapcalc.errors import CaseFaults, Fault, PackageError
from wrapcalc.reading import read_bytes, shown_name

__all__ = ["bundle_of", "companions", "row_case", "toml_of", "write_case"]

#: A plain "metal loss" whose side is not stated may grow under a wrap: it is taken as internal.
_KINDS = {"external metal loss": METAL_LOSS, "internal metal loss": INTERNAL_LOSS, "metal loss": INTERNAL_LOSS,
          "dent": "dent", "gouge": "gouge", "crack": "crack"}
#: Where the depth of other damage stands.
_DEPTH_OF = {"dent": "dent_depth", "gouge": "gouge_depth", "crack": "crack_depth"}
#: Fields of a case that name a file beside it that all cases of a line share.
_BESIDE = (("design", "system"), ("documents", "overlay"), ("disposition", "criteria"), ("work", "forecast"))
_LIMIT = 2000  # characters of a text


def row_case(line: Line, row: Mapping[str, Any], case_id: str, title: str, *, pits: bool = False) -> dict[str, Any]:
    """The plain data of the case of one row.

    row: by the names of the arrays of `Line.resolve` (mm, hours; "" or NaN not stated); "NAME_source" says where a
    value comes from, if not from the listing; "due" is the date by which it must be repaired. pits: the defect will
    name a table of pits or a grid. Raises CaseFaults for a row that lies nowhere on the line.
    """
    return _RowCase(line, row, pits).data(case_id, title)


class _RowCase:
    def __init__(self, line: Line, row: Mapping[str, Any], pits: bool):
        self.line, self.row, self.pits = line, row, pits
        self.source = f"listing of the {line.run}, row {row['row']}"

    def num(self, name: str) -> float:
        """A number of the row; NaN where it is not stated."""
        value = self.row.get(name)
        return math.nan if value is None or value == "" else float(value)

    def text(self, name: str) -> str:
        return str(self.row.get(name) or "")

    def said(self, name: str, value: Any, kind: str, more: str = "") -> dict[str, Any]:
        """A value with its source."""
        source = self.text(f"{name}_source") or self.source
        return {"value": value, "source": (source + more)[:_LIMIT], "source_kind": kind}

    def data(self, case_id: str, title: str) -> dict[str, Any]:
        where = (np.array([self.num(n)]) for n in ("survey", "nominal_wall"))
        group = int(self.line.group_of(*where)[0])
        if group < 0:
            raise CaseFaults([Fault(f"{case_id}.toml", "location.log_distance", "surveyed distance "
                                    f"{self.num('survey') / 1000:.10g} m, nominal wall {self.num('nominal_wall'):.6g} "
                                    "mm",
                                    "a place in a segment of the line, with a wall", "check the row and the mapping")])
        beside = self.text("beside_upstream")
        data = with_inside(self.line.template(group), inside_of(beside), f"{self.source}: {beside}"[:_LIMIT])
        data["case"] = data.get("case", {}) | {"id": case_id, "title": title, "joint": self._joint()}
        for table in ("pipe", "defect", "location"):
            data.setdefault(table, {})
        if not self.pits:
            for table, _, key in (f.partition(".") for f in OF_NEIGHBOURS):
                data.get(table, {}).pop(key, None)
        self._pipe(data["pipe"])
        self._defect(data)
        self._location(data["location"], data["defect"])
        return {t: v for t, v in data.items() if v != {}}

    def _pipe(self, pipe: dict[str, Any]) -> None:
        wall, listed = self.num("sound_wall"), self.num("measured_wall")
        own = self.line.case.get("pipe.sound_wall") if "sound_wall" in pipe else None
        if math.isnan(wall):
            wall = listed
        if self.text("sound_wall_source") or (wall == listed):
            pipe["sound_wall"] = self.said("sound_wall", mm(wall), "measured")
        elif not math.isnan(wall) and not (own is not None and own.base == wall):
            if wall == self.num("nominal_wall"):
                pipe["sound_wall"] = {"value": mm(wall), "source_kind": "assumed",
                                      "source": f"nominal wall: the {self.source} has no measured wall"}
            elif "sound_wall" not in pipe or not math.isnan(listed):
                instead = "" if math.isnan(listed) else f"; the {self.source} has {mm(listed)}"
                pipe["sound_wall"] = {"value": mm(wall), "source_kind": "measured",
                                      "source": f"measured at the anomalies of this repair{instead}"}
        if not math.isnan(seam := self.num("seam_clock")):
            pipe["seam_clock"] = self.said("seam_clock", clock_text(seam), "document")

    def _defect(self, data: dict[str, Any]) -> None:
        own, over = _KINDS[str(self.row["kind"])], self.text("damage_over")
        defect, kind = data["defect"], of_case(self.row, own)
        side = "; its side is not stated: internal, because that may grow under a wrap"
        side = f"; metal loss, {over}" if kind != own else side if self.row["kind"] == "metal loss" else ""
        defect["kind"] = self.said("kind", kind, "measured", side)
        share = self.num("depth_share")
        of = "" if math.isnan(share) else f": {number(100 * share)} % of the wall"
        under = f"; of the metal loss, {over}" if kind != own else ""
        for name in ("depth", "length", "width"):
            if not math.isnan(value := self.num(name)) and not (under and name == "depth"):
                table, key = (defect, name) if name != "depth" or own not in _DEPTH_OF else (
                    data.setdefault("features", {}), _DEPTH_OF[own])
                table[key] = self.said(name, mm(value), "measured", of if name == "depth" else under)
        if under:
            self._under(data.setdefault("features", {}), kind, over)
        if not math.isnan(clock := self.num("clock")):
            defect["clock"] = self.said("clock", clock_text(clock), "measured", under)
            if own == "dent" and "dent_depth" in data.get("features", {}):
                data["features"]["dent_clock"] = self.said("clock", clock_text(clock), "measured")
        if over:
            self._over(data.setdefault("features", {}), kind, over)
        for side, room in zip(("upstream", "downstream"), self._clear(), strict=True):
            if not math.isnan(room):
                over = "; it reaches over the weld" if room < 0 else ""
                of = self.text(f"beside_{side}") if room == self.num(f"clear_{side}") else ""
                defect[f"clear_{side}"] = {"value": mm(max(room, 0.0)), "source_kind": "derived",
                                           "source": f"{of or 'girth welds'}, {self.source}{over}"}

    def _under(self, features: dict[str, Any], kind: str, over: str) -> None:
        """The depth of the damage over this row of metal loss, as far as the listing has it; that of a crack counts
        with the loss under it, which is not known without a depth of the loss."""
        deep, loss = depth_of(over), self.num("depth")
        both = deep + loss if kind == "crack" else deep
        features.pop(_DEPTH_OF[kind], None)
        if math.isnan(both):
            return
        if kind != "dent" and not math.isnan(wall := self.num("nominal_wall")):
            both = min(both, wall)
        of = "" if math.isnan(loss) else f" of {mm(loss)}"
        named = self.text("depth_source") or self.source
        more = f" and metal loss{of}, at most the wall" if kind == "crack" else f", over metal loss{of}"
        features[_DEPTH_OF[kind]] = {
            "value": mm(both), "source_kind": "measured",
            "source": f"listing of the {self.line.run}, {over}{more}: {named}"[:_LIMIT]}

    def _over(self, features: dict[str, Any], kind: str, over: str) -> None:
        """What the case says where other damage and metal loss lie over each other."""
        if kind == "dent":
            features["dent_stress_riser"] = self.said("", "yes", "measured", f": {over}")
        if kind == "crack":
            features["crack"] = self.said("", "yes", "measured", f": {over}")
        under, wall = self.num("loss_under"), self.num("nominal_wall")
        if self.row["kind"] == "crack" and "crack_depth" in features and not math.isnan(under):
            features["crack_depth"] = self.said("", mm(min(self.num("depth") + under, wall)), "measured",
                                                f": {mm(self.num('depth'))} and metal loss of {mm(under)}, at most "
                                                "the wall")

    def _clear(self) -> tuple[float, float]:
        """Clear pipe to welds and other features, less than 0 where it reaches over one; NaN where it is not known."""
        out = map(float, clear(self.num("from_upstream_weld"), self.num("from_downstream_weld"), self.num("length"),
                               self.line.place))
        stated = []
        for side, room in zip(("upstream", "downstream"), out, strict=True):
            own = self.line.case.get(f"defect.clear_{side}")
            known = [v for v in (room, self.num(f"clear_{side}"), math.nan if own is None else own.base)
                     if not math.isnan(v)]
            stated.append(min(known, default=math.nan))
        return stated[0], stated[1]

    def _location(self, out: dict[str, Any], defect: Mapping[str, Any]) -> None:
        for field, name in (("joint_number", "joint"), ("upstream_weld", "upstream_weld"),
                            ("downstream_weld", "downstream_weld")):
            if self.text(name):
                out[field] = self.said(name, self.text(name), "document")
        self._distances(out)
        log = self.num("log_distance")
        if log >= 0:
            out["log_distance"] = self.said("log_distance", f"{number(log / 1000)} m", "measured")
        points = None if self.line.backwards else self.line.odometer.around(log)  # a case holds rising points only
        if points is not None and min(map(min, points)) >= 0:
            for which, (at, survey) in zip(("first", "second"), points, strict=True):
                for key, value in (("log", at), ("survey", survey)):
                    out[f"{which}_point_{key}"] = {"value": f"{number(value / 1000)} m", "source_kind": "document",
                                                   "source": f"{self.line.mapping.file}, reference points"}
        spot = [self.num("latitude"), self.num("longitude")]
        if abs(spot[0]) <= 90 and abs(spot[1]) <= 180:
            out["latitude"], out["longitude"] = spot
            out.setdefault("datum", "not stated in the listing")
            out.setdefault("coordinates_of", self.source)
        if self.text("due"):
            out["due"] = self.text("due")

    def _distances(self, out: dict[str, Any]) -> None:
        """Edges of the anomaly from the welds, and the length of the joint where it holds both."""
        whole, length = self.num("joint_length"), self.num("length")
        up, down = map(float, clear(self.num("from_upstream_weld"), self.num("from_downstream_weld"), length,
                                    _edge(self.line)))
        edge = "" if self.line.place != NOT_STATED else (
            "; it does not say of which edge its distance is: taken as the upstream one")
        if up >= 1 and abs(whole - up - length) < 1e-6:  # it ends on the weld: not beyond it by what rounding leaves
            up -= 1e-3
        if 0 <= up <= LONGEST:
            out["from_upstream_weld"] = self.said("from_upstream_weld", f"{number(up / 1000)} m", "measured", edge)
        fits = whole > 0 and whole <= LONGEST and not (up >= 0 and whole - up - length < 0)
        if fits:
            out["joint_length"] = self.said("joint_length", f"{number(whole / 1000)} m", "document")
        if 0 <= down <= LONGEST and (fits or math.isnan(whole)) and not abs(whole - up - length - down) > 0.05 * whole:
            out["from_downstream_weld"] = self.said("from_downstream_weld", f"{number(down / 1000)} m", "measured",
                                                    edge)

    def _joint(self) -> str:
        """Where it lies, in words."""
        parts = [f"joint {self.text('joint')}"] if self.text("joint") else []
        if not math.isnan(at := self.num("from_upstream_weld")):
            weld = f" {self.text('upstream_weld')}" if self.text("upstream_weld") else ""
            parts.append(f"{at / 1000:.2f} m downstream of girth weld{weld}")
        return (", ".join(parts) or f"surveyed distance {self.num('survey') / 1000:.2f} m")[:_LIMIT]


def _edge(line: Line) -> str:
    return "upstream end" if line.place == NOT_STATED else line.place


# -- as a file and in memory --------------------------------------------------------------------------------------
def bundle_of(line: Line, data: Mapping[str, Any]) -> Bundle:
    """The case of a row in memory, checked as a file would be; what it names stands beside the base case. Raises
    CaseFaults."""
    return read_bundle(toml_of(data), line.folder, f"{data['case']['id']}.toml")


def companions(line: Line, data: Mapping[str, Any]) -> dict[str, bytes]:
    """The files beside the base case that a case of it names, by name. A shipped system sheet is no such file."""
    out = {}
    for table, key in _BESIDE:
        given = data.get(table, {}).get(key)
        name = given.get("value") if isinstance(given, Mapping) else given
        path = line.folder / str(name or "")
        if name and path.parent == line.folder and path.is_file():
            out[path.name] = read_bytes(path, shown_name(path), most=20_000_000)
    return out


def write_case(folder: Path, line: Line, data: Mapping[str, Any]) -> Path:
    """Write the case file, and the files that it shares with the base case, into a folder; each is whole or not there.

    Returns the case file. Raises CaseFaults where both would have one name, PackageError when they cannot be written.
    """
    name = f"{data['case']['id']}.toml"
    beside = companions(line, data)
    if name.casefold() in (n.casefold() for n in beside):
        raise CaseFaults([Fault(name, "case.id", f"'{data['case']['id']}'", "a name that no file of the base case has",
                                "rename that file")])
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for n, raw in (beside | {name: toml_of(data)}).items():
            _replace(folder / n, raw)
    except OSError as e:
        raise PackageError(f"{folder}: cannot be written ({e.strerror or e}); choose another folder") from None
    return folder / name


def _replace(path: Path, raw: bytes) -> None:
    """A file with these bytes, or as it was before."""
    aside = path.with_name(f".{path.name}-{secrets.token_hex(4)}")
    try:
        aside.write_bytes(raw)
        os.replace(aside, path)
    finally:
        aside.unlink(missing_ok=True)

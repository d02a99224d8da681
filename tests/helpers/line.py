"""A small invented line on disk, and blocks of its listing made without reading one."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from wrapcalc.campaign.line.line import Line, load_line
from wrapcalc.campaign.listing.blocks import Block, unstated
from wrapcalc.campaign.listing.mapping import load_mapping

MAPPING = """schema_version = "1"
[listing]
run = "run of 2026 (invented)"
decimal = "point"
{listing}
[columns]
kind = {{ column = "What" }}
feature_id = {{ column = "Id" }}
log_distance = {{ column = "Log", unit = "m" }}
depth = {{ column = "Depth", unit = "{depth}" }}
nominal_wall = {{ column = "t", unit = "mm" }}
[line]
base = "base.toml"
{line}
{more}
"""
POINTS = """[[reference_point]]
log = "100 m"
survey = "0 m"
[[reference_point]]
log = "1110 m"
survey = "1000 m"
"""
SEGMENTS = """[[segment]]
from = "0 m"
to = "400 m"
set = { "service.class_location" = "3", "location.section" = "valve 1 to valve 2" }
[[segment]]
from = "400 m"
to = "1100 m"
set = { "pipe.nominal_wall" = "12.7 mm", "location.section" = "valve 2 to valve 3" }
"""
BASE = """schema_version = "1"
[case]
id = "base"
title = "row of a listing"
line = "test line (invented)"
joint = "as listed"
[pipe]
outside_diameter = "406.4 mm"
nominal_wall = "8.74 mm"
wall_allowance = "0.1 mm"
grade = "L360"
smys = "360 MPa"
smts = "460 MPa"
joint_type = "electric resistance welded"
[service]
service = "gas line"
class_location = "2"
maop = "8.6 MPa"
discovery_pressure = "8.1 MPa"
service_temperature = "37 °C"
pressure_cycles = 900
axial_force = "0 N"
bending_moment = "0 N*m"
internal_corrosion = "none"
inside_repair = "nothing"
[defect]
depth_allowance = "0.2 mm"
length_allowance = "10 mm"
"""


def line(folder: Path, *, base: str = BASE, more: str = POINTS, listing: str = "", depth: str = "% of nominal wall",
         line: str = "") -> Line:
    """A line whose mapping and base case are written into a folder."""
    (folder / "base.toml").write_text(base, encoding="utf-8")
    path = folder / "mapping.toml"
    path.write_text(MAPPING.format(listing=listing, depth=depth, line=line, more=more), encoding="utf-8")
    return load_line(load_mapping(path), folder)


def block(*rows: dict[str, Any], first: int = 2) -> Block:
    """Rows as a listing gives them (mm, hours), numbered from `first` or by their own "row"; external loss by default.
    """
    columns = {n: v.copy() for n, v in unstated(len(rows)).items()}
    for i, row in enumerate(rows):
        for name, value in ({"kind": "external metal loss"} | row).items():
            if name != "row":
                columns[name][i] = value
    return Block(np.array([r.get("row", first + i) for i, r in enumerate(rows)], np.int64), columns, [])


def welds_at(*metres: float, **more: Any) -> list[dict[str, Any]]:
    """Girth welds at distances of the log, numbered 10, 20, ..., each beginning joint 1, 2, ..."""
    return [{"kind": "girth weld", "log_distance": 1000 * x, "weld": str(10 * (k + 1)), "joint": str(k + 1)} | more
            for k, x in enumerate(metres)]

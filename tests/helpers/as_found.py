"""Sheets of what was found in the ditch, that agree with the example cases unless a test says otherwise."""

from __future__ import annotations

import copy
from pathlib import Path

import tomlkit

#: What the ditch shows when it is as the package supposes: the readings of the case themselves.
HB_07 = {
    "as_found": {"package": "HB-07-r1", "digest": "", "date": "", "found_by": "G. Example", "checked_by": "H. Example",
                 "reference": "sheet A-118"},
    "joint": {"length": "11.85 m", "seam_clock": "10:45"},
    "neighbour": [{"side": "upstream", "number": "117", "length": "12.10 m", "seam_clock": "1:15"},
                  {"side": "downstream", "number": "119", "length": "10.50 m", "seam_clock": "2:40"}],
    "coating": {"type": "tape", "condition": "wrinkled", "disbonded": "4:00 to 7:00", "deposit": "none"},
    "crack": {"method": "MT", "result": "no indication"},
    "lamination": {"result": "none", "scanned_from": "3.90 m", "scanned_to": "4.75 m"},
    "pipe": {"sound_wall": ["8.61 mm", "8.64 mm", "8.66 mm", "8.62 mm"], "joint_type": "electric resistance welded"},
    "defect": {"depth": "3.9 mm", "length": "236 mm", "width": "154 mm", "clock": "5:20",
               "from_upstream_weld": "4.19 m", "from_downstream_weld": "7.44 m", "clear_upstream": "4.19 m",
               "clear_downstream": "7.44 m", "grid": "found.csv"},
    "service": {},
}
HB_15 = {
    "as_found": {"package": "HB-15-r1", "digest": "", "date": "", "found_by": "G. Example", "checked_by": "H. Example",
                 "reference": "sheet A-139"},
    "joint": {"length": "39.7 ft", "seam_clock": "10:45"},
    "neighbour": [{"side": "upstream", "number": "138", "length": "40.1 ft", "seam_clock": "12:30"},
                  {"side": "downstream", "number": "140", "length": "38.6 ft", "seam_clock": "3:15"}],
    "coating": {"type": "coal tar", "condition": "brittle", "disbonded": "none", "deposit": "none"},
    "crack": {"method": "PT", "result": "no indication"},
    "lamination": {"result": "none", "scanned_from": "20.5 ft", "scanned_to": "22.8 ft"},
    "pipe": {"sound_wall": ["0.341 in", "0.342 in", "0.343 in", "0.341 in"],
             "joint_type": "electric resistance welded"},
    "defect": {"depth": "0.135 in", "length": "6.9 in", "width": "5.2 in", "clock": "7:05",
               "from_upstream_weld": "21.3 ft", "from_downstream_weld": "17.9 ft", "clear_upstream": "21.3 ft",
               "clear_downstream": "17.9 ft"},
    "service": {},
}


class Sheet:
    """A sheet to be changed and written."""

    def __init__(self, base: dict, folder: Path, *, digest: str, date: str, grid: bytes = b""):
        self.data = copy.deepcopy(base)
        self.data["as_found"] |= {"digest": digest, "date": date}
        self.folder, self.grid = folder, grid

    def put(self, dotted: str, value) -> Sheet:
        """Set a field; None blanks it."""
        *path, key = dotted.split(".")
        here = self.data
        for part in path:
            here = here[int(part) if part.isdigit() else part]
        if value is None:
            here.pop(key, None)
        else:
            here[key] = value
        return self

    def write(self) -> Path:
        """The sheet on disk, its grid beside it."""
        self.folder.mkdir(parents=True, exist_ok=True)
        if self.grid:
            (self.folder / "found.csv").write_bytes(self.grid)
        path = self.folder / "as_found.toml"
        path.write_text(tomlkit.dumps(self.data), "utf-8")
        return path

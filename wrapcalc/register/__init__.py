"""The register: every repair of a folder of packages, its state, its pressure restrictions, and what is due.

The folders on disk are the evidence; the register (SQLite, one file beside them) adds the memory: what was seen when,
and what a package said before it was damaged or went away.
"""

from wrapcalc.register.affected import Hit, affected, affected_lines
from wrapcalc.register.due import Due, due
from wrapcalc.register.evidence import GIVEN_DATUM
from wrapcalc.register.export import geojson, write_csv, write_geojson
from wrapcalc.register.restrictions import Governing, Restriction, governing
from wrapcalc.register.state import Snapshot, Standing
from wrapcalc.register.store import Changes, current, history, update
from wrapcalc.register.table import due_lines, lines

__all__ = ["GIVEN_DATUM", "Changes", "Due", "Governing", "Hit", "Restriction", "Snapshot", "Standing", "affected",
           "affected_lines", "current", "due", "due_lines", "geojson", "governing", "history", "lines", "update",
           "write_csv", "write_geojson"]

"""Whether the file of readings from the ditch can be the damage that the sheet and the package tell of.

The stated depth raises one node alone: readings that are far too shallow would else pass with a depth that is right.
"""

from __future__ import annotations

import numpy as np

from wrapcalc import units
from wrapcalc.case import Bundle
from wrapcalc.case import grid as grids
from wrapcalc.case import pits as pit_tables
from wrapcalc.case import profile as profiles
from wrapcalc.case.fit import fitted
from wrapcalc.recorder import active
from wrapcalc.stages.as_found.book import SHORT, Book
from wrapcalc.standards.documents import MECHANICS, PRACTICE

#: Readings that show less than this share of the metal loss of the package are read again; our own choice. Metal does
#: not come back, and two readings of one damage on different stations differ by less.
LEAST_SHARE = 0.8
_AGAIN = {"citation": PRACTICE.id, "status": "common practice", "means": SHORT}


def readings(book: Book, after: Bundle) -> None:
    """Holds the file of readings against the stated depth and against the loss of the package. after: the bundle with
    what was found."""
    named, depth = book.found.measured_file, book.value("defect.depth")
    if named is None or depth is None:
        return
    kind, allowance = named[0], after.case.optional("defect.depth_allowance")
    top = _as_read(book, after)
    least = depth.magnitude - (allowance.magnitude if allowance is not None else 0.0)
    out = active().procedure(
        f"Deepest reading of the {kind} as found", "the file as read, before the stated depth raises it; the least "
        "that goes with the stated depth is that depth less its measuring allowance", MECHANICS.id, "derived",
        {"depth": depth} | ({} if allowance is None else {"allowance": allowance}),
        {"deepest reading": (units.steady(top), "mm"), "least": (units.steady(least), "mm")})
    book.limit(f"Deepest reading of the {kind} against the stated depth", out["deepest reading"], ">=", out["least"],
               note="the file may be in another unit or scale, or may miss the deepest place: read it again", **_AGAIN)
    before, now = _loss(book.bundle), _loss(after)
    if before is None or now is None:
        return
    out = active().procedure(
        "Metal loss as found and as issued", "area below the river-bottom profile, stations joined by straight lines",
        MECHANICS.id, "derived", {},
        {"as found": (units.steady(now), "mm**2"), "as issued": (units.steady(before), "mm**2"),
         "least": (units.steady(LEAST_SHARE * before), "mm**2")},
        [("least share of the issued one", f"{LEAST_SHARE:g}")])
    book.limit("Metal loss as found against the one of the package", out["as found"], ">=", out["least"],
               issued=book.shown(out["as issued"]),
               note="metal does not come back: read it again, or issue a new revision with these readings", **_AGAIN)


def _as_read(book: Book, after: Bundle) -> float:
    """The deepest reading of the file, mm, before the stated depth is put in."""
    s, case = book.sighting, after.case
    kind, name = s.found.measured_file or ("", "")
    bare = case.model_copy(update={"defect": case.defect.model_copy(update={"depth": None})})
    raw, where = s.files[name], (s.name, s.lines)
    if kind == "grid":
        return fitted(bare, grids.read_grid(raw, name), *where).deepest[0]
    if kind == "profile":
        return float(profiles.fitted_profile(bare, profiles.read_profile(raw, name), *where).depth.max())
    return float(pit_tables.fitted_pits(bare, pit_tables.read_pits(raw, name), *where).depth.max())


def _loss(bundle: Bundle) -> float | None:
    """Area of the river-bottom profile, mm²; None where neither grid nor profile is given."""
    if bundle.grid is not None:
        x, d = bundle.grid.axial, bundle.grid.profile
    elif bundle.profile is not None:
        x, d = bundle.profile.stations, bundle.profile.depth
    else:
        return None
    return float(np.sum((d[1:] + d[:-1]) / 2 * np.diff(x)))

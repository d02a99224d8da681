"""Short words for the site sheet, where a line has room for few."""

from __future__ import annotations

#: What is read, shorter than the hold points say it; empty: it stands elsewhere on the sheet.
_LIMITS = {
    "wall left at the deepest metal, as measured": "Wall, to blast live",
    "wall left by the assessment, allowances off": "",
    "blasting under pressure": "Blasting live",
    "grade": "Blast grade",
    "profile": "Profile",
    "relative humidity, error of the instrument added": "Humidity*",
    "steel above the dew point, errors of the instruments taken off": "Steel over dew point*",
    "steel, at its coldest place": "Steel, coldest place",
    "steel, at its hottest place": "Steel, hottest place",
    "overall length of the repair": "",
    "blasted beyond each end of it": "Blasted beyond ends",
    "from the end of blasting, on the oldest area, to the first material": "Blast to 1st material",
    "gap under a straight edge": "Gap, straight edge",
    "layers, counted by position and by two people": "Layers, two people",
    "a side lies true within": "Side of a unit off by",
    "the wrap ends where it should within": "Wrap end off by",
    "starts of neighbouring units apart": "Starts apart",
    "gap between butted units, filled": "Gap of units, filled",
    "tape over the wrap against the calculated circumference, a cross-check, within": "",
    "logged steel temperature that counts": "",
    "time between two readings of it": "",
    "cure": "",
    "reference of the qualification": "",
    "readings": "Hardness, readings",
    "every row of the table of laminate defects": "Laminate (kit list)",
    "thickness that counts": "Thickness that counts",
    "grid": "Tap test, grid",
    "grid at the ends and over the filler": "Tap grid, ends, filler",
    "dull places at the ends": "Dull at the ends",
    "dull area elsewhere: none, unless the engineer lays down here at most": "",
}


#: Titles of hold points that would take two lines.
TITLES = {"Right joint, and the defect inside the box": "Joint, defect inside box",
          "Least wall for blasting under pressure": "Least wall to blast live"}
#: Cautions that a sheet with little room still has.
FIRST = ("line under pressure", "pressure while wrapping", "blasting", "cave-in")
_STARTS = {"soluble salt, ": "Salts, ", "dust rating, ": "Dust, ", "mean hardness, ": "Mean, ",
           "each single reading, ": "Each, "}


def limit_words(what: str) -> str:
    """Short words for a limit of a hold point; empty where it stands elsewhere on the sheet."""
    if what in _LIMITS:
        return _LIMITS[what]
    start = next((k for k in _STARTS if what.startswith(k)), None)
    return what if start is None else _STARTS[start] + what.removeprefix(start)


def first_sentence(text: str) -> str:
    """Up to the first full stop that ends a sentence."""
    head, stop, _ = text.partition(". ")
    return head + "." if stop else text

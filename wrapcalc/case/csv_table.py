"""CSV files of measurements: their rows with lines, their cells as lengths in mm, and faults that are counted."""

from __future__ import annotations

import csv
import io

import numpy as np

from wrapcalc import units
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.reading import decoded

#: Units a heading may name.
UNITS = ("mm", "cm", "m", "in", "mil")
#: The line a row ends in, and its cells.
Row = tuple[int, list[str]]
_MOST_FAULTS = 20
_TENS = np.array([float(f"1e{k}") for k in range(23)])  # all exact in binary


def read_rows(raw: bytes, name: str, form: str, start: str) -> list[Row]:
    """The rows of a CSV file that are not blank. form: what the file should hold; start: where a sample is found.

    Raises CaseFaults for what is not UTF-8, not CSV, empty, or separated by semicolons or tabs.
    """
    text = decoded(raw, name, "save it as CSV (UTF-8)")

    def fault(found: str, allowed: str, mend: str) -> CaseFaults:
        return CaseFaults([Fault(name, "the file", found, allowed, mend)])

    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        rows = [(reader.line_num, r) for r in reader if any(c.strip() for c in r)]
    except csv.Error as e:
        raise fault(f"text that is not CSV ({e})", "numbers separated by commas", "save it again as CSV") from None
    if not rows:
        raise fault("nothing: it is empty", form, start)
    for mark, what in ((";", "semicolons"), ("\t", "tabs")):
        if mark in "".join(rows[0][1]):
            raise fault(f"{what} between the cells", "cells separated by commas, numbers with a decimal point",
                        "save it as CSV with commas, or replace decimal commas by points and then "
                        f"{what} by commas")
    return rows


def length(cell: str, unit: str) -> float | None:
    """A cell in mm; None when it is not one finite number of a sensible size."""
    try:
        magnitude, pint_unit = units.parse(f"{cell.strip()} {unit}", "length")
    except units.QuantityFault:
        return None
    return units.to_base(magnitude, pint_unit, "length")


def lengths(values: np.ndarray, unit: str) -> np.ndarray | None:
    """Finite numbers of one unit in mm, as `length` gives each, to the last bit; None when `length` refuses one."""
    pint_unit = units.KINDS["length"].units[unit]
    out = values if pint_unit == "mm" else _steady(units.convert(values, pint_unit, "mm"))
    size = np.abs(out)
    if not (size <= 1e12).all() or ((size < 1e-12) & (size > 0)).any():
        return None
    return out


def _steady(values: np.ndarray) -> np.ndarray:
    """units.steady of each: 12 significant digits. What is too near to a tie for this arithmetic goes one by one."""
    size = np.abs(values)
    with np.errstate(divide="ignore", invalid="ignore"):
        power = 11 - np.floor(np.log10(size))
    easy = np.isfinite(power) & (power <= 22) & (power >= -22)
    power = np.where(easy, power, 0).astype(np.intp)
    up, down = _TENS[np.maximum(power, 0)], _TENS[np.maximum(-power, 0)]
    scaled = np.where(easy, size, 0) * up / down
    whole = np.rint(scaled)
    easy &= (np.abs(scaled - np.floor(scaled) - 0.5) > 1e-3) & (whole >= 1e11) & (whole < 1e12)
    out = np.copysign(whole * down / up, values)
    out[size == 0] = 0.0
    hard = ~easy & (size > 0)
    out[hard] = [units.steady(v) for v in values[hard].tolist()]
    return out


def counted(faults: list[Fault], name: str, *, more: int = 0) -> list[Fault]:
    """The first 20 faults and how many follow. more: faults that were found but not kept."""
    beyond = max(len(faults) - _MOST_FAULTS, 0) + more
    if not beyond:
        return faults
    return [*faults[:_MOST_FAULTS], Fault(name, "the file", f"{beyond} more faults like these", "none",
                                          "mend the ones above, then check again")]

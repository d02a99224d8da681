"""How the report of a campaign prints its numbers: each with its unit, in the units of the campaign."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from wrapcalc import units

NONE = "–"


@dataclass(frozen=True)
class Numbers:
    """display: SI or US."""

    display: str

    @property
    def us(self) -> bool:
        """Whether inches, feet and psi are printed."""
        return self.display == "US"

    def show(self, value: float | None, unit: str, significant: int = 4) -> str:
        """A quantity of ours, "–" where there is none."""
        if value is None:
            return NONE
        to = {"mm": "inch", "m": "foot", "MPa": "psi"}.get(unit, unit) if self.us else unit
        return units.show(float(units.convert(value, unit, to)), to, significant=significant)

    def fixed(self, value: float | None, unit: str, decimals: int) -> str:
        """The same with so many decimals, that a column reads well; inches have one more, psi and feet none and one."""
        if value is None:
            return NONE
        if self.us:
            to, decimals = {"mm": ("inch", decimals + 1), "m": ("foot", 1), "MPa": ("psi", 0)}[unit]
            return f"{float(units.convert(value, unit, to)):.{decimals}f} {units.label(to)}"
        return f"{value:.{decimals}f} {unit}"

    def written(self, text: str, unit: str, decimals: int) -> str:
        """A quantity as somebody wrote it, "4.0 mm", printed as those beside it; what is no such quantity as it is."""
        try:
            return self.fixed(units.to_base(*units.parse(text, "length"), "length"), unit, decimals)
        except ValueError:
            return text or NONE

    def row(self, r: Mapping[str, Any]) -> dict[str, str]:
        """A row of the ranking by the headings of the report."""
        survey, clock, factor = r.get("survey"), r.get("clock"), r.get("repair_factor")
        return {"Feature": name_of(r), "Kind": str(r.get("kind") or ""),
                "Surveyed distance": self.fixed(None if survey is None else survey / 1000, "m", 2),
                "Joint": str(r.get("joint") or NONE), "Clock": NONE if clock is None else clock_text(clock),
                "Depth": self.fixed(r.get("depth"), "mm", 2), "Length": self.fixed(r.get("length"), "mm", 0),
                "Safe pressure": self.fixed(r.get("safe_pressure"), "MPa", 2),
                "Repair factor": NONE if factor is None else units.digits(factor, 3),
                "Deadline": str(r.get("deadline") or NONE).partition(",")[0]}


def name_of(row: Mapping[str, Any]) -> str:
    """Feature id of a row, its number where it has none."""
    return str(row.get("feature_id") or f"row {row.get('row', '')}")


def clock_text(hours: float) -> str:
    """4.5 -> 4:30, 0 -> 12:00."""
    minutes = round(hours * 60) % 720
    return f"{minutes // 60 or 12}:{minutes % 60:02d}"


def cell(row: Mapping[str, Any], name: str) -> str:
    """A value of a table of ours, "–" where there is none."""
    value = row.get(name)
    if value is None or value == "":
        return NONE
    return units.digits(value, 4) if isinstance(value, float) else str(value)


def several(n: int, one: str, more: str) -> str:
    """"1 row lies", "3 rows lie"."""
    return f"{n} {one if n == 1 else more}"


def cut(names: Sequence[str], total: int) -> str:
    """Names of a list that may be cut, with how many more there are."""
    return ", ".join(names) + (f" and {total - len(names)} more" if total > len(names) else "")

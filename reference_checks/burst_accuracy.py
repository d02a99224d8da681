"""Burst tests against predictions: the ratio of test to predicted pressure, row by row and method by method.

    python reference_checks/burst_accuracy.py

The rows stand in burst_rows.csv: recalled, not read in the papers that `source` names, so the table is good for trends
and not for justifying a method. Predictions use the measured strengths and sizes, no safety factor, no sizing error.
"""

from __future__ import annotations

import csv
import math
import statistics
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
if str(ROOT) not in sys.path:  # run as a script
    sys.path.insert(0, str(ROOT))

from wrapcalc.formulas import cross_checks, effective_area  # noqa: E402
from wrapcalc.formulas import remaining_strength as strength  # noqa: E402
from wrapcalc.standards.documents import B31G_2012  # noqa: E402
from wrapcalc.standards.tables import shipped  # noqa: E402

FILE = ROOT / "reference_checks" / "burst_rows.csv"
MARKS = ("seen", "from memory")
WARNING = "from memory, not verified: no row was read in its paper; for trends only"


@dataclass(frozen=True)
class Row:
    """One burst test. Lengths in mm, strengths and burst pressure in MPa; strengths are measured, not specified."""

    source: str
    mark: str
    specimen: str
    D: float
    t: float
    grade: str
    S_y: float
    S_u: float
    d: float
    L: float
    width: float
    burst: float

    @property
    def z(self) -> float:
        """Length parameter L²/(D t)."""
        return strength.length_parameter.core(self.L, self.D, self.t)


@dataclass(frozen=True)
class Ratio:
    """One line of the accuracy table. predicted in MPa; ratio = test over predicted, below 1 is too much predicted."""

    specimen: str
    method: str
    predicted: float
    ratio: float


def rows(path: Path = FILE) -> list[Row]:
    """Every row of the file. Raises ValueError for a mark or a size that cannot be."""
    out = []
    with open(path, encoding="utf-8", newline="") as file:
        for r in csv.DictReader(file):
            row = Row(r["source"], r["mark"], r["specimen"], float(r["outside_diameter_mm"]), float(r["wall_mm"]),
                      r["grade"], float(r["yield_mpa"]), float(r["tensile_mpa"]), float(r["depth_mm"]),
                      float(r["length_mm"]), float(r["width_mm"]), float(r["burst_mpa"]))
            if row.mark not in MARKS or not (0 < row.d < row.t < row.D / 2 and row.L > 0 and row.width > 0
                                             and 0 < row.S_y < row.S_u and row.burst > 0):
                raise ValueError(f"{path.name}: {row}")
            out.append(row)
    return out


# -- the methods: one row -> failure pressure in MPa ------------------------------------------------------------------
def original_2012(r: Row) -> float:
    """Original form of 2012 on 1.1 times the measured yield strength."""
    flow = strength.flow_stress_factor.core(_b31g("flow_factor"), r.S_y)
    return strength.failure_pressure.core(strength.failure_stress_original.core(r.z, flow, r.d, r.t), r.t, r.D)


def form_085dl(r: Row) -> float:
    """0.85 dL form on the measured yield strength and 69 MPa."""
    flow = strength.flow_stress_increment.core(r.S_y, _b31g("flow_increment"))
    bulging = strength.bulging_factor_085dl.core(r.z)
    return strength.failure_pressure.core(strength.failure_stress_085dl.core(flow, r.d, r.t, bulging), r.t, r.D)


def exact_rectangle(r: Row) -> float:
    """Effective area with the true area of a flat-bottomed loss, d L; flow stress as the 0.85 dL form.

    Of a rectangle the whole length governs: a shorter one has the same mean depth and a lower bulging factor.
    """
    flow = strength.flow_stress_increment.core(r.S_y, _b31g("flow_increment"))
    bulging = strength.bulging_factor_085dl.core(r.z)
    stress = effective_area.failure_stress_effective_area.core(flow, r.d * r.L, r.L, r.t, bulging)
    return strength.failure_pressure.core(stress, r.t, r.D)


def tensile_rectangle(r: Row) -> float:
    """Rectangle on the measured tensile strength (DNV-RP-F101, allowable-stress part, single defect, from memory).

    Written out here, so that it is also a second route for a formula of the package.
    """
    q = math.sqrt(1 + 0.31 * r.z)
    return 2 * r.t * r.S_u / (r.D - r.t) * (1 - r.d / r.t) / (1 - r.d / (r.t * q))


def leis_stephens(r: Row) -> float:
    """Leis and Stephens 1997 on the measured tensile strength."""
    return cross_checks.leis_stephens_pressure.core(r.S_u, r.t, r.D, r.d, r.L)


METHODS: dict[str, Callable[[Row], float]] = {
    "original 2012": original_2012, "0.85 dL": form_085dl, "exact rectangle": exact_rectangle,
    "DNV rectangle": tensile_rectangle, "Leis and Stephens": leis_stephens}


def _b31g(name: str) -> float:
    return shipped()[f"{B31G_2012.id}/{name}"].value().magnitude


# -- the table --------------------------------------------------------------------------------------------------------
def ratios(tests: Iterable[Row]) -> list[Ratio]:
    """Test over predicted of every row by every method."""
    return [Ratio(r.specimen, name, predicted := method(r), r.burst / predicted)
            for r in tests for name, method in METHODS.items()]


def spread(found: Iterable[Ratio], method: str) -> tuple[float, float]:
    """(mean, coefficient of variation) of one method; the standard deviation is that of a sample."""
    own = [x.ratio for x in found if x.method == method]
    mean = statistics.fmean(own)
    return mean, statistics.stdev(own) / mean


def table(tests: list[Row]) -> str:
    """The table as text: one line for each test, then mean and coefficient of variation, then what it is worth."""
    found = ratios(tests)
    by_row = {(x.specimen, x.method): x.ratio for x in found}
    head = f"{'specimen':10}{'d/t':>6}{'z':>7}{'test MPa':>10}" + "".join(f"{m:>19}" for m in METHODS)
    lines = ["Test over predicted failure pressure (below 1: more was predicted than the pipe held)", "", head,
             "-" * len(head)]
    for r in tests:
        lines.append(f"{r.specimen:10}{r.d / r.t:6.2f}{r.z:7.1f}{r.burst:10.2f}"
                     + "".join(f"{by_row[r.specimen, m]:19.3f}" for m in METHODS))
    spreads = [spread(found, m) for m in METHODS]
    lines += ["-" * len(head), f"{'mean':33}" + "".join(f"{mean:19.3f}" for mean, _ in spreads),
              f"{'coefficient of variation':33}" + "".join(f"{cov:18.1%} " for _, cov in spreads), ""]
    lines += [f"{n} of {len(tests)} rows are marked '{mark}'" for mark in MARKS
              if (n := sum(r.mark == mark for r in tests))]
    lines += [f"  {s}: {', '.join(r.specimen for r in tests if r.source == s)}"
              for s in dict.fromkeys(r.source for r in tests)]
    if any(r.mark == "from memory" for r in tests):
        lines.append(WARNING)
    return "\n".join(lines)

# -- the picture ------------------------------------------------------------------------------------------------------
_MARKERS = "os^Dv"


def figure() -> str:
    """Test against predicted pressure by method, as SVG, the same bytes every time; it says what it rests on."""
    import io

    import matplotlib
    matplotlib.use("Agg")
    from matplotlib import pyplot

    found = rows()
    with matplotlib.rc_context({"svg.hashsalt": "burst", "font.family": "DejaVu Sans", "font.size": 8}):
        picture, axes = pyplot.subplots(figsize=(5.6, 4.6), layout="constrained")
        for marker, (name, method) in zip(_MARKERS, METHODS.items(), strict=True):
            mean, scatter = spread(ratios(found), name)
            axes.plot([method(r) for r in found], [r.burst for r in found], marker, mfc="none", mec="0.15", ms=5,
                      label=f"{name}: mean {mean:.2f}, scatter {scatter * 100:.0f} %")
        most = 1.1 * max(r.burst for r in found)
        axes.plot([0, most], [0, most], "-", color="0.4", lw=0.8)
        axes.text(0.62 * most, 0.60 * most, "test = predicted", rotation=42, color="0.3", va="top")
        axes.set(xlim=(0, most), ylim=(0, most), xlabel="predicted failure pressure (MPa)",
                 ylabel="burst pressure in the test (MPa)", title=f"Burst tests and predictions\n{WARNING}")
        axes.legend(frameon=False, loc="upper left", title="test over predicted, by method")
        out = io.StringIO()
        picture.savefig(out, format="svg", metadata={"Date": None})
        pyplot.close(picture)
    return out.getvalue()


if __name__ == "__main__":
    print(table(rows()))

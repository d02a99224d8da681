"""Uncertainty: how likely is it that depth or failure pressure has passed its limit, now and over the years?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wrapcalc.case import Bundle
from wrapcalc.formulas import uncertainty
from wrapcalc.recorder import active
from wrapcalc.searches.exceedance import by_integral, by_simulation
from wrapcalc.stages.assessment.assess import Assessment
from wrapcalc.stages.assessment.life import FULL, TWO, Life, depth_limit, end_of_life_pressure
from wrapcalc.stages.assessment.of_record import OfRecord, of_record
from wrapcalc.standards.documents import MECHANICS
from wrapcalc.units import digits
from wrapcalc.values import Value

#: Years of the curve, and how much a panel of its integrals may still change, as a share: more than a line shows.
_YEARS, _CHANGE = 11, 1e-4


@dataclass(frozen=True)
class Chance:
    """Deviations, probabilities now, and curves over the years. high_depth: expected depth and its tolerance, mm."""

    depth_deviation: Value
    length_deviation: Value | None
    by_depth: Value
    by_pressure: Value
    years: tuple[float, ...]
    depth_curve: tuple[float, ...]
    pressure_curve: tuple[float, ...]
    high_depth: tuple[float, ...]


def chance(bundle: Bundle, a: Assessment, life: Life | None) -> Chance | None:
    """Probability of exceedance; None where the case states no sizing tolerance."""
    case, rec = bundle.case, active()
    if case.uncertainty.depth_tolerance is None:
        return None
    rec.begin("Probability of exceedance")
    rec.assume("Sizing errors are normal, without bias and independent; they are taken about the measured sizes, to "
               "which no allowance is added here. The scatter of the method itself is not in this.", "common practice")
    depth, length = case.value("defect.depth"), case.value("defect.length")
    if a.shape is not None and a.shape.split:
        rec.assume("The probability is that of the governing cluster, at the greatest depth of all clusters. That one "
                   "cluster or another fails is likelier than this.", "common practice")
    deviation = uncertainty.deviation_from_tolerance(case.value("uncertainty.depth_tolerance"),
                                                     case.value("uncertainty.depth_confidence"))
    along = None
    if case.get("uncertainty.length_tolerance") is not None and case.get("uncertainty.length_tolerance").base > 0:
        along = rec.named(uncertainty.deviation_from_tolerance(
            case.value("uncertainty.length_tolerance"), case.value("uncertainty.length_confidence")),
            "Standard deviation of the length")
    record = of_record(bundle, a)
    limit = depth_limit(bundle, a)
    by_depth = uncertainty.exceedance_of_depth(depth, limit, deviation)
    target = end_of_life_pressure(bundle, record) if life is None else life.target
    sigma_L = 0.0 if along is None else along.magnitude
    at = length.magnitude if a.shape is None or not a.shape.split else a.shape.piece.length
    found = by_integral(record.failure, target.magnitude, limit.magnitude, depth.magnitude, deviation.magnitude, at,
                        sigma_L)
    what = "safe" if record.failure_is_safe else "failure"
    inputs = {"measured depth": depth, "measured length": length, "deviation of depth": deviation,
              "pressure": target, "depth limit": limit} | ({} if along is None else {"deviation of length": along})
    by_pressure = rec.procedure(
        f"Probability that the {what} pressure is below its target, or the depth above its limit",
        "at each length the depth at which the target is met, by bisection; beyond it the normal distribution of the "
        "depth; " + ("no length error is stated, so this is closed" if along is None else
                     "integrated over the length error, cut at eight deviations, in Gauss-Lobatto panels")
        + (f". {record.note}" if record.note else ""),
        MECHANICS.id, "derived", inputs, {"probability": (found.probability, "")},
        [("change at the last halving", digits(found.error, 2)), ("panels", str(found.panels))])["probability"]
    _simulated(bundle, record, target, limit, depth, deviation, at, sigma_L, found.probability)
    return Chance(deviation, along, by_depth, by_pressure,
                  *_curves(bundle, record, life, target, limit, depth, deviation, at, sigma_L))


def _simulated(bundle: Bundle, record: OfRecord, target: Value, limit: Value, depth: Value, deviation: Value,
               length: float, sigma_L: float, integral: float) -> None:
    """On demand: the same probability by seeded sampling, beside the integral."""
    case, rec = bundle.case, active()
    if case.uncertainty.samples is None:
        return
    samples, seed = (int(case.get(f"uncertainty.{n}").base) for n in ("samples", "seed"))
    found = by_simulation(record.failure, target.magnitude, limit.magnitude, depth.magnitude, deviation.magnitude,
                          length, sigma_L, samples, seed)
    rec.procedure("The same probability by simulation", f"{samples} samples, seed {seed} (PCG64); interval of 95 % by "
                  "Wilson", MECHANICS.id, "derived", {"samples": case.value("uncertainty.samples")},
                  {"probability by simulation": (found.probability, "")},
                  [("interval", f"{digits(found.low, 3)} to {digits(found.high, 3)}"),
                   ("integral inside the interval", "yes" if found.low <= integral <= found.high else "no")])
    if not found.low <= integral <= found.high:
        rec.warn("The simulation and the integral differ by more than the interval of 95 %; one in twenty does so by "
                 "chance. Try another seed and more samples before relying on either.", "case: uncertainty.samples")


def _curves(bundle: Bundle, record: OfRecord, life: Life | None, target: Value, limit: Value, depth: Value,
            deviation: Value, length: float, sigma_L: float):
    """Years, both probabilities over them, and the depth with its tolerance at every year of the life picture."""
    if life is None:
        return (), (), (), ()
    if life.basis == TWO and life.between is not None:
        active().assume("The earlier measurement has the sizing tolerance of the later one, and its error is "
                        "independent. Where the earlier one was less exact, state the larger tolerance.",
                        "common practice")
    longer = 0.0 if life.length_rate is None else life.length_rate.magnitude
    tolerance = bundle.case.get("uncertainty.depth_tolerance").base / deviation.magnitude
    years = np.linspace(0.0, life.years[-1], _YEARS)
    by_depth, by_pressure = [], []
    for T in years:
        d, sigma = depth.magnitude + life.rate.magnitude * T, _deviation_at(deviation.magnitude, life, float(T))
        by_depth.append(float(uncertainty.exceedance_of_depth.core(d=d, d_lim=limit.magnitude, sigma_d=sigma)))
        by_pressure.append(by_integral(record.failure, target.magnitude, limit.magnitude, d, sigma,
                                       length + longer * float(T), _length_deviation_at(sigma_L, life, float(T)),
                                       change=_CHANGE).probability)
    high = [depth.magnitude + life.rate.magnitude * T + tolerance * _deviation_at(deviation.magnitude, life, T)
            for T in life.years]
    return tuple(map(float, years)), tuple(by_depth), tuple(by_pressure), tuple(high)


def _deviation_at(sigma: float, life: Life, T: float) -> float:
    """Deviation of the depth after T years: the reading stands in the depth and, for measured rates, in the rate."""
    if life.between is None:
        return sigma
    if life.basis == TWO:
        return uncertainty.deviation_two_measurements.core(sigma_d=sigma, T=T, T_12=life.between.magnitude)
    return uncertainty.deviation_over_life.core(sigma_d=sigma, T=T, n=1.0 if life.basis == FULL else 2.0,
                                                T_a=life.between.magnitude)


def _length_deviation_at(sigma: float, life: Life, T: float) -> float:
    """The same for the length, whose rate may rest on both measurements, or be stated."""
    if life.between is None or life.length_rate is None or life.length_rate.origin.kind == "case":
        return sigma
    return uncertainty.deviation_two_measurements.core(sigma_d=sigma, T=T, T_12=life.between.magnitude)

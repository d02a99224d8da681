"""Growth: remaining life by a second route, what a repair sees at its end, and what is refused.

The second route writes the forms out again (ASME B31G-2012, from memory) and solves them with scipy.
"""

from __future__ import annotations

import datetime
import math

import pytest
import tomlkit
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.stats import norm

from wrapcalc.case import load_bundle
from wrapcalc.case.model import GROWTHS, SOILS
from wrapcalc.errors import CaseFaults
from wrapcalc.stages.assessment.life import HORIZON
from wrapcalc.stages.job import NO_DATA, WRAP, Outcome, run
from wrapcalc.stages.wrap.end_of_life import goes_on

FILE = "HB-27.toml"
NO_TOLERANCE = {f"uncertainty__{n}": None for n in ("depth_tolerance", "depth_confidence", "length_tolerance",
                                                     "length_confidence", "samples", "seed")}
NO_EARLIER = {f"growth__earlier_{n}": None for n in ("date", "depth", "length")}
#: One box: without the profile and without a probability, which takes the time of a run.
BOX = {"defect__profile": None, "assessment__method": "0.85dL"} | NO_TOLERANCE
STATED = {"growth__basis": "stated", "growth__rate": "0.2 mm/y"} | NO_EARLIER
MIL, INCH, KSI = 0.0254, 25.4, 6.894757293168361


@pytest.fixture
def edited(example):
    """edited(table__key=value, ...) writes HB-27 (or `file`) with these fields changed; None leaves one out."""
    def change(file=FILE, **fields):
        data = tomlkit.parse((example / file).read_text("utf-8")).unwrap()
        for dotted, value in fields.items():
            table, key = dotted.split("__")
            data.setdefault(table, {}).pop(key, None)
            if value is not None:
                data[table][key] = value
        path = example / "changed.toml"
        path.write_text(tomlkit.dumps(data), "utf-8")
        return path
    return change


@pytest.fixture
def decide(edited):
    """The outcome of the case so edited."""
    return lambda file=FILE, **fields: run(load_bundle(edited(file, **fields)))


def texts(o: Outcome, what: str) -> str:
    return " | ".join(x["text"] for x in getattr(o.recorder, what))


# -- the second route -------------------------------------------------------------------------------------------------

def failure(form: str, D: float, t: float, smys: float, d: float, L: float) -> float:
    z = L * L / (D * t)
    if form == "original 2012":
        flow, M = 1.1 * smys, math.sqrt(1 + 0.8 * z)
        share = 1 - d / t if z > 20 else (1 - 2 * d / (3 * t)) / (1 - 2 * d / (3 * t * M))
    else:
        flow = smys + 69.0
        M = math.sqrt(1 + 0.6275 * z - 0.003375 * z * z) if z <= 50 else 0.032 * z + 3.3
        share = (1 - 0.85 * d / t) / (1 - 0.85 * d / (t * M))
    return 2 * t / D * flow * share


def by_scipy(o: Outcome, form: str, rate: float, longer: float, ratio: float) -> tuple[float, float | None]:
    """Years to the depth limit, and to the failure pressure where that comes first; sizes read from the case alone."""
    def get(n):
        return o.bundle.case.get(n).base
    D, smys, maop = get("pipe.outside_diameter"), get("pipe.smys"), get("service.maop")
    t = min(get("pipe.nominal_wall"), get("pipe.sound_wall")) - get("pipe.wall_allowance")
    d, L = (get(f"defect.{n}") + get(f"defect.{n}_allowance") for n in ("depth", "length"))
    to_depth = brentq(lambda T: (d + rate * T) / t - 0.8, -1, 1e5, xtol=1e-12)

    def margin(T):
        return failure(form, D, t, smys, d + rate * T, L + longer * T) - ratio * maop
    return to_depth, brentq(margin, 0, to_depth, xtol=1e-12) if margin(to_depth) < 0 else None


def years(first: str, last: str) -> float:
    return (datetime.date.fromisoformat(last).toordinal() - datetime.date.fromisoformat(first).toordinal()) / 365.25


@pytest.mark.parametrize("form", ["0.85dL", "original 2012"])
@pytest.mark.parametrize(("service", "ratio"), [("gas line", 1.1), ("liquid line", 1.0)])
@pytest.mark.parametrize("maop", ["6.9 MPa", "4 MPa"])
def test_remaining_life_against_scipy(decide, form, service, ratio, maop):
    """Depth and length grow, at the rates of two measurements: also where the depth limit comes first (4 MPa).

    The original form jumps on the way; where it jumps across the limit scipy's root is the jump.
    """
    o = decide(**BOX | {"assessment__method": form, "service__service": service, "service__maop": maop,
                        "service__discovery_pressure": maop})
    between = years("2018-05-09", "2026-04-21")
    rate, longer = (3.4 - 2.3) / between, (298 - 262) / between
    to_depth, to_pressure = by_scipy(o, form, rate, longer, ratio)
    life = o.life
    assert (life.rate.magnitude, life.length_rate.magnitude) == pytest.approx((rate, longer), rel=1e-9)
    assert life.time_to_depth.magnitude == pytest.approx(to_depth, rel=1e-9)
    assert (life.time_to_pressure is None) == (to_pressure is None)
    if to_pressure is not None:
        assert life.time_to_pressure.magnitude == pytest.approx(to_pressure, rel=1e-7)
    assert life.life.magnitude == pytest.approx(min(to_depth, to_pressure or math.inf), rel=1e-7)
    assert life.interval.magnitude <= life.life.magnitude / 2 + 1e-9
    assert life.target.magnitude == pytest.approx(ratio * float(maop.split()[0]), rel=1e-12)


#: Pipe of 24 in x 0.250 in, X52, MAOP 780 psi; 35 % deep, 5 in long, 10 mil a year.
KNOWN = {"pipe__listed_size": None, "pipe__listed_grade": None, "pipe__outside_diameter": "24 in",
         "pipe__nominal_wall": "0.25 in", "pipe__sound_wall": "0.25 in", "pipe__wall_allowance": "0 mm",
         "pipe__smys": "52 ksi", "service__class_location": "1", "service__maop": "780 psi",
         "service__discovery_pressure": "780 psi", "defect__depth": "0.0875 in", "defect__depth_allowance": "0 mm",
         "defect__length": "5 in", "defect__length_allowance": "0 mm", "growth__rate": "10 mil/y",
         "growth__planned_interval": None}


@pytest.mark.parametrize(("form", "service", "ratio", "want"), [
    ("0.85dL", "liquid line", None, 8.3894), ("0.85dL", "gas line", None, 6.4948), ("0.85dL", "gas line", 1.25, 3.2735),
    ("original 2012", "liquid line", None, 10.146), ("original 2012", "gas line", None, 7.3020),
    ("original 2012", "gas line", 1.25, 2.4834)])
def test_regression_of_a_known_pipe(decide, form, service, ratio, want):
    """Our own earlier numbers (regression), worked with a flow stress of SMYS + 10 ksi; ours is SMYS + 69 MPa."""
    o = decide(**BOX | STATED | KNOWN | {"assessment__method": form, "service__service": service,
                                         "growth__failure_ratio": ratio})
    assert o.life.time_to_depth.magnitude == pytest.approx(11.25, rel=1e-9)
    assert o.life.time_to_pressure.magnitude == pytest.approx(want, rel=2e-3 if form == "0.85dL" else 5e-5)
    if service == "gas line":
        pressure_ratio = (failure(form, 24 * INCH, 0.25 * INCH, 52 * KSI, 0.0875 * INCH, 5 * INCH) / (0.78 * KSI))
        assert o.life.schedule.magnitude == pytest.approx(10 * (pressure_ratio - 1.1) / 0.29, rel=1e-6)
        assert o.life.schedule.magnitude > o.life.life.magnitude, "the schedule is no calculation of growth"
    assert o.life.interval.magnitude <= o.life.life.magnitude / 2 + 1e-9


# -- the rate ---------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("basis", GROWTHS)
def test_every_basis_gives_its_rate(decide, basis):
    extra = {"two measurements": {}, "stated": STATED,
             "soil class": {"growth__soil": SOILS[1]} | NO_EARLIER}.get(
                 basis, {"growth__service_date": "1988-09-01"} | NO_EARLIER)
    o = decide(**BOX | extra | {"growth__basis": basis})
    age = years("1988-09-01", "2026-04-21")
    # over the life, the depth with its allowance: what grows from the rate must not be larger than what gave it
    want = {"two measurements": 1.1 / years("2018-05-09", "2026-04-21"), "full life": 3.5 / age, "half life": 7 / age,
            "stated": 0.2, "soil class": 6 * MIL}[basis]
    assert o.life.rate.magnitude == pytest.approx(want, rel=1e-9)
    assert (o.life.between is None) == (basis in ("stated", "soil class"))
    assert ("length is held" in texts(o, "warnings")) == (basis != "two measurements")
    assert "the same pit was sized by two inspection runs" in texts(o, "assumptions"), "the reason is told"


@pytest.mark.parametrize(("earlier", "tolerance", "floored", "words"), [
    ("3.4 mm", None, True, ""), ("3.4 mm", "0.5 mm", True, ""), ("3.2 mm", "0.5 mm", True, ""),
    ("3.2 mm", None, False, "difference may be error alone"), ("2.72 mm", "0.5 mm", False, "hardly known"),
    ("2.69 mm", "0.5 mm", False, "")])
def test_two_readings_that_agree_are_no_proof_of_standstill(decide, earlier, tolerance, floored, words):
    """Within √2 x 0.5 = 0.707 mm the difference is no growth that is known; 3 mil a year is the least then."""
    o = decide(**BOX | {"growth__earlier_depth": earlier, "uncertainty__depth_tolerance": tolerance,
                        "uncertainty__depth_confidence": None if tolerance is None else "80 %"})
    measured = (3.4 - float(earlier.split()[0])) / years("2018-05-09", "2026-04-21")
    assert o.life.rate.magnitude == pytest.approx(3 * MIL if floored else measured, rel=1e-9)
    assert ("not as less" in texts(o, "assumptions")) == floored and (o.life.between is None) == floored
    said = texts(o, "warnings")
    assert [w for w in ("difference may be error alone", "hardly known") if w in said] == ([words] if words else [])


# -- limits -----------------------------------------------------------------------------------------------------------

def test_a_slow_rate_is_followed_to_the_depth_limit_whatever_the_years(decide):
    """The length grows on: the pressure meets its limit long after what is shown, and before the depth limit."""
    o = decide(**BOX | STATED | {"growth__rate": "0.004 mm/y", "growth__length_rate": "2 mm/y",
                                 "service__class_location": "1", "service__maop": "8.3 MPa"})
    to_depth, to_pressure = by_scipy(o, "0.85dL", 0.004, 2.0, 1.1)
    assert HORIZON < to_pressure < to_depth
    assert o.life.life.magnitude == pytest.approx(o.life.time_to_pressure.magnitude, rel=1e-10)
    assert o.life.life.magnitude == pytest.approx(to_pressure, rel=1e-7)
    assert o.life.words == "more than 60 y" and o.life.years[-1] == HORIZON
    assert f"remaining life {o.life.words}" in o.decision.sentence


def test_a_limit_that_is_passed_already(decide):
    o = decide(**BOX | STATED | {"defect__depth": "6.9 mm", "defect__length": "900 mm",
                                 "growth__planned_interval": None})
    assert o.life.time_to_pressure.magnitude == o.life.life.magnitude == o.life.interval.magnitude == 0.0
    assert o.life.schedule.magnitude == 0.0 and o.life.failure[0] < o.life.target.magnitude
    assert "no repair needed" not in o.decision.word


def test_exactly_at_the_depth_limit(decide):
    """8.0 of 10 mm: not too deep, and no year left."""
    o = decide(**BOX | STATED | {"pipe__listed_size": None, "pipe__outside_diameter": "508 mm",
                                 "pipe__nominal_wall": "10 mm", "pipe__sound_wall": "10 mm",
                                 "pipe__wall_allowance": "0 mm", "defect__depth": "7.9 mm", "defect__length": "50 mm",
                                 "service__maop": "3 MPa", "service__discovery_pressure": "3 MPa",
                                 "growth__planned_interval": None})
    assert not o.assessment.too_deep and o.life.time_to_depth.magnitude == pytest.approx(0, abs=1e-9)
    assert [o.life.life.magnitude, o.life.interval.magnitude] == pytest.approx([0, 0], abs=1e-9)


def test_the_depth_limit_is_that_of_the_thinner_wall(decide):
    """A measured wall that is named although it is thicker: the limit stays on the nominal wall, as it is checked."""
    o = decide(**BOX | STATED | {"pipe__listed_size": None, "pipe__outside_diameter": "508 mm",
                                 "pipe__nominal_wall": "9.5 mm", "pipe__sound_wall": "10.4 mm",
                                 "pipe__wall_basis": "measured", "pipe__wall_basis_reason": "company standard"})
    assert o.assessment.wall.magnitude == pytest.approx(10.3)
    assert o.life.limit_depth == pytest.approx(0.8 * 9.5, rel=1e-9)
    assert o.life.time_to_depth.magnitude == pytest.approx((7.6 - 3.5) / 0.2, rel=1e-9)


def test_a_ratio_below_that_of_the_rule_is_warned_of(decide):
    for ratio, warned in ((1.0, True), (1.1, False), (1.25, False), (None, False)):
        o = decide(**BOX | STATED | {"growth__failure_ratio": ratio})
        assert ("repair is immediate already at 1.1" in texts(o, "warnings")) == warned
        assert o.life.target.magnitude == pytest.approx((ratio or 1.1) * 6.9, rel=1e-12)


@pytest.mark.parametrize(("maop", "years_by_rule", "corner"), [
    ("6.9 MPa", 10, (1.39, 10)), ("4.5 MPa", 15, (2.0, 15)), ("3.5 MPa", 20, (3.3, 20))])
def test_interval_and_schedule_by_share_of_yield(decide, maop, years_by_rule, corner):
    """Hoop stress over SMYS 0.51, 0.33 and 0.26; a rate so low that half the remaining life does not decide."""
    o = decide(**BOX | STATED | {"growth__rate": "0.02 mm/y", "service__maop": maop,
                                 "service__discovery_pressure": maop})
    f = failure("0.85dL", 508, 9.38, o.bundle.case.get("pipe.smys").base, 3.5, 303) / float(maop.split()[0])
    k_1, T_1 = corner
    schedule = min(max((f - 1.1) / (k_1 - 1.1), 0), 1) * T_1
    assert o.life.schedule.magnitude == pytest.approx(schedule, rel=1e-9)
    assert o.life.interval.magnitude == pytest.approx(min(years_by_rule, schedule), rel=1e-9)


def test_a_liquid_line_has_its_own_interval_and_no_schedule(decide):
    o = decide(**BOX | STATED | {"growth__rate": "0.02 mm/y", "service__service": "liquid line",
                                 "service__maop": "5 MPa", "service__discovery_pressure": "5 MPa"})
    assert o.life.schedule is None and o.life.interval.magnitude == 5.0


def test_the_planned_interval_is_checked_against_the_next_look(decide):
    def planned(text):
        o = decide(**BOX | STATED | {"growth__planned_interval": text})
        return next(c.verdict for c in o.recorder.items if getattr(c, "title", "").startswith("Planned time"))
    life = decide(**BOX | STATED).life.interval.magnitude
    assert (planned(f"{life - 1e-6:.9g} y"), planned(f"{life + 1e-3:.9g} y")) == ("met", "not met")


def test_no_basis_no_life(decide):
    o = decide(**BOX | NO_EARLIER | {"growth__basis": None, "growth__basis_reason": None, "growth__measured_date": None,
                                     "growth__planned_interval": None})
    assert o.life is None and "growth" in texts(o, "assumptions") and o.chance is None


# -- several clusters -------------------------------------------------------------------------------------------------

COLONY = {"growth__basis": "stated", "growth__service_date": None, "service__class_location": "1",
          "service__installation_pressure": "2 MPa", "defect__width": "60 mm", "defect__clock": "6:00",
          "assessment__method_reason": "company standard"}
HEAD = "name,start mm,length mm,width mm,depth mm,clock\n"
ALONE = {"assessment__interaction": None, "assessment__interaction_reason": None}


@pytest.mark.parametrize(("maop", "method", "rate", "longer", "decides"), [
    ("7 MPa", "0.85dL", "0.03 mm/y", "6 mm/y", True), ("6 MPa", "original 2012", "0.05 mm/y", None, False),
    ("4 MPa", "0.85dL", "0.05 mm/y", None, False)])
def test_a_cluster_that_is_stronger_today_may_end_life(decide, example, maop, method, rate, longer, decides):
    """A long shallow cluster governs today; a short deep one grows in length as well and loses more by it.

    All times of the case are the shortest of both clusters alone, each of them the whole of a case.
    """
    rows = ("A,0,400,60,4.0,6:00\n", "B,900,80,60,6.0,6:00\n")
    fields = COLONY | {"service__maop": maop, "service__discovery_pressure": maop, "assessment__method": method,
                       "growth__rate": rate, "growth__length_rate": longer}

    def life(pits, depth, length, **more):
        (example / "HB-34-pits.csv").write_text(HEAD + pits, "utf-8")
        sizes = {"defect__depth": f"{depth} mm", "defect__length": f"{length} mm"}
        return decide("HB-34.toml", **fields | sizes | more)

    both = life(rows[0] + rows[1], 6.0, 980)
    alone = [life(rows[0], 4.0, 400, **ALONE).life, life(rows[1], 6.0, 80, **ALONE).life]
    assert len(both.assessment.shape.pieces) == 2 and both.assessment.shape.piece.depth == 4.0
    assert both.life.depth[0] == pytest.approx(6.2), "the picture shows the deepest cluster"
    for what in ("time_to_depth", "time_to_pressure", "time_to_safe", "life"):
        ours, each = getattr(both.life, what), [getattr(x, what) for x in alone]
        # a time after the depth limit of the deepest cluster is not told
        times = [t.magnitude for t in each if t is not None and t.magnitude <= both.life.time_to_depth.magnitude]
        times = times or ([] if what != "time_to_depth" else [min(t.magnitude for t in each)])
        assert (ours is None) == (not times), what
        if ours is not None:
            assert ours.magnitude == pytest.approx(min(times), rel=1e-7), what
    told = [dict(i.details) for i in both.recorder.items
            if getattr(i, "method", "").startswith("bisection on the failure pressure")]
    assert [t["clusters that decide then"] for t in told if "clusters that decide then" in t] == ["2"] * decides


# -- the probability over the years -----------------------------------------------------------------------------------

def test_probability_follows_growth_and_its_error(decide):
    """Depth by scipy, both readings in the depth and in the rate; 0.5 mm at 80 % on either."""
    o = decide(**BOX | {"uncertainty__depth_tolerance": "0.5 mm", "uncertainty__depth_confidence": "80 %"})
    sigma, between, limit = 0.5 / norm.ppf(0.9), years("2018-05-09", "2026-04-21"), 0.8 * 9.38
    chance, life = o.chance, o.life
    assert chance.depth_deviation.magnitude == pytest.approx(sigma, rel=1e-9) and chance.length_deviation is None
    assert chance.by_depth.magnitude == pytest.approx(norm.sf(limit, 3.4, sigma), rel=1e-5)
    for T, p, q in zip(chance.years, chance.depth_curve, chance.pressure_curve, strict=True):
        k = T / between
        at, spread = 3.4 + 1.1 * k, sigma * math.sqrt((1 + k) ** 2 + k ** 2)
        assert p == pytest.approx(norm.sf(limit, at, spread), rel=1e-5)
        critical = brentq(lambda d, T=T: failure("0.85dL", 508, 9.38, o.bundle.case.get("pipe.smys").base, d,
                                                 298 + 36 * T / between) - life.target.magnitude, 0, 9, xtol=1e-13)
        assert q == pytest.approx(norm.sf(min(critical, limit), at, spread), rel=1e-5)
    for T, high in zip(life.years, chance.high_depth, strict=True):
        k = T / between
        assert high == pytest.approx(3.4 + 1.1 * k + 0.5 * math.sqrt((1 + k) ** 2 + k ** 2), rel=1e-8)
    assert "has the sizing tolerance of the later one" in texts(o, "assumptions")


@pytest.mark.parametrize(("basis", "n"), [("full life", 1), ("half life", 2), ("stated", 0)])
def test_the_reading_stands_in_the_rate_over_the_life(decide, basis, n):
    """A stated rate has no error of the reading in it; that over the life has, n times the share of the life."""
    more = STATED if basis == "stated" else {"growth__service_date": "1988-09-01", "growth__basis": basis} | NO_EARLIER
    o = decide(**BOX | more | {"uncertainty__depth_tolerance": "0.5 mm", "uncertainty__depth_confidence": "80 %"})
    rate = 0.2 if basis == "stated" else n * 3.5 / years("1988-09-01", "2026-04-21")
    for T, high in zip(o.life.years, o.chance.high_depth, strict=True):
        spread = 1 + n * T / years("1988-09-01", "2026-04-21")
        assert high == pytest.approx(3.4 + rate * T + 0.5 * spread, rel=1e-8)


@pytest.mark.parametrize("stated", [None, "4.5 mm/y"])
def test_the_error_of_the_length_grows_with_a_rate_of_two_measurements(decide, stated):
    """Lengths by scipy: both readings in the length and in its rate; a stated rate has no error in it."""
    o = decide(**BOX | {"uncertainty__depth_tolerance": "0.5 mm", "uncertainty__depth_confidence": "80 %",
                        "uncertainty__length_tolerance": "60 mm", "uncertainty__length_confidence": "80 %",
                        "growth__length_rate": stated})
    between, z, smys = years("2018-05-09", "2026-04-21"), norm.ppf(0.9), o.bundle.case.get("pipe.smys").base
    for i in (0, 3, 8):
        k = o.chance.years[i] / between
        wide = math.sqrt((1 + k) ** 2 + k ** 2)
        length = norm(298 + o.life.length_rate.magnitude * o.chance.years[i], 60 / z * (wide if stated is None else 1))
        depth = norm(3.4 + 1.1 * k, 0.5 / z * wide)

        def chance(L, length=length, depth=depth):
            def margin(d):
                return failure("0.85dL", 508, 9.38, smys, d, L) - o.life.target.magnitude
            limit = 0.8 * 9.38
            return length.pdf(L) * depth.sf(limit if margin(limit) >= 0 else brentq(margin, 0, limit))
        low, high = max(1e-3, length.mean() - 8 * length.std()), length.mean() + 8 * length.std()
        want = quad(chance, low, high, epsabs=0, epsrel=1e-6, limit=200, points=[length.mean()])[0] / length.sf(0)
        assert o.chance.pressure_curve[i] == pytest.approx(want, rel=5e-4)


def test_integral_simulation_and_length_error_of_the_profile(decide):
    """The example itself with a coarse tool, so that something is left to count: integral inside the interval."""
    o = decide(uncertainty__samples=20_000, uncertainty__depth_tolerance="3.4 mm", growth__basis=None,
               growth__basis_reason=None, growth__planned_interval=None, **NO_EARLIER, growth__measured_date=None)
    titles = {i.title: i for i in o.recorder.items if hasattr(i, "results")}
    sampled = titles["The same probability by simulation"]
    assert dict(sampled.details)["integral inside the interval"] == "yes"
    assert 0.01 < o.chance.by_pressure.magnitude < 0.5 and o.life is None and o.chance.years == ()
    assert o.chance.by_pressure.magnitude >= o.chance.by_depth.magnitude


# -- under a wrap -----------------------------------------------------------------------------------------------------

UNDER_WRAP = {"growth__basis": "stated", "growth__basis_reason": "inhibitor review", "growth__rate": "0.05 mm/y"}


def test_external_loss_stops_under_a_wrap_and_internal_goes_on(decide):
    """HB-07: the depth at the end of the repair's 20 years, and what the wrap is then designed for."""
    outer = decide("HB-07.toml", **UNDER_WRAP)
    assert outer.decision.word == WRAP and not goes_on(outer.bundle)
    assert "External loss stops growing under the wrap" in texts(outer, "assumptions")
    inner = decide("HB-07.toml", **UNDER_WRAP | {"defect__kind": "internal metal loss"})
    assert goes_on(inner.bundle)
    design_life = inner.bundle.case.get("design.design_life").base
    def grown(o):
        return [s.result.magnitude for s in o.recorder.items
                if getattr(getattr(s, "formula", None), "name", "") == "depth_after"]
    # the length is held: the depth alone grows, and the wrap is designed for it
    assert grown(inner) == pytest.approx([inner.assessment.depth.magnitude + 0.05 * design_life], rel=1e-9)
    assert grown(outer) == []


def test_growth_that_is_stated_but_not_worked_out_is_never_taken_as_none(decide):
    """By DNV-RP-F101 with external loads no life is worked out: loss that goes on gives no wrap, and says why."""
    fields = UNDER_WRAP | {"service__internal_corrosion": "none", "assessment__method": "DNV-RP-F101",
                           "assessment__method_reason": "company practice", "service__axial_force": "-300 kN",
                           "defect__kind": "internal metal loss", "defect__grid": None}
    o = decide("HB-07.toml", **fields)
    assert o.life is None and o.decision.word == NO_DATA
    assert any("Growth is worked out over the life of the repair" in r for r in o.decision.reasons)
    assert "no growth is added" not in texts(o, "assumptions")


# -- what is refused --------------------------------------------------------------------------------------------------

@pytest.mark.parametrize(("fields", "field", "found", "allowed", "mend"), [
    (STATED | {"growth__rate": "-0.1 mm/y"}, "growth.rate", "'-0.1 mm/y'", "more than 0", "and its sign"),
    (STATED | {"growth__rate": "0 mm/y"}, "growth.rate", "'0 mm/y'", "more than 0", "and its sign"),
    (STATED | {"growth__rate": "0.1 mm"}, "growth.rate", "'0.1 mm'", "mm/y", "mm measures a length"),
    (STATED | {"growth__rate": "21 mm/y"}, "growth.rate", "'21 mm/y'", "20", ""),
    (STATED | {"growth__rate": None}, "growth.rate", "nothing", "what the basis “stated” needs: rate", "add rate"),
    (STATED | {"growth__length_rate": "-1 mm/y"}, "growth.length_rate", "'-1 mm/y'", "at least 0", ""),
    ({"growth__earlier_date": "2027-01-01"}, "growth.earlier_date", "'2027-01-01'",
     "at least 30 days before measured_date = 2026-04-21", "the earlier one comes first"),
    ({"growth__earlier_date": "2026-04-20"}, "growth.earlier_date", "'2026-04-20'", "at least 30 days", "both dates"),
    ({"growth__earlier_date": None}, "growth.earlier_date", "nothing", "what the basis “two measurements” needs",
     "add earlier_date"),
    ({"growth__earlier_depth": "3.5 mm"}, "growth.earlier_depth", "'3.5 mm'", "at most defect.depth = 3.4 mm: loss "
     "does not grow back", "state a rate or take the half life"),
    ({"growth__earlier_length": "310 mm"}, "growth.earlier_length", "'310 mm'", "at most defect.length = 298 mm",
     "check"),
    ({"growth__basis": "stated", "growth__rate": "0.1 mm/y", "growth__earlier_date": None,
      "growth__earlier_length": None}, "growth.earlier_depth", "'2.3 mm'", "nothing with the basis “stated”",
     "remove it"),
    ({"growth__basis": "full life", "growth__service_date": "2026-04-30"} | NO_EARLIER, "growth.service_date",
     "'2026-04-30'", "at least 30 days before", "check both dates"),
    ({"growth__basis_reason": None}, "growth.basis_reason", "nothing", "", ""),
    ({"growth__failure_ratio": 0.9}, "growth.failure_ratio", "'0.9'", "at least 1", ""),
    ({"uncertainty__depth_confidence": None}, "uncertainty.depth_confidence", "nothing", "tolerance and confidence "
     "together", "a tolerance means nothing without its confidence"),
    ({"uncertainty__length_tolerance": None}, "uncertainty.length_tolerance", "nothing", "together",
     "add length_tolerance"),
    ({"uncertainty__depth_confidence": "40 %"}, "uncertainty.depth_confidence", "'40 %'", "50 %", ""),
    ({"uncertainty__depth_confidence": "100 %"}, "uncertainty.depth_confidence", "'100 %'", "99.9 %", ""),
    ({"uncertainty__depth_tolerance": "0 mm"}, "uncertainty.depth_tolerance", "'0 mm'", "more than 0", "and its sign"),
    ({"uncertainty__seed": None}, "uncertainty.seed", "nothing", "samples and seed together", "can be repeated"),
    ({"uncertainty__samples": 10}, "uncertainty.samples", "'10'", "1000", "")])
def test_bad_growth_and_bad_tolerance_are_refused(edited, fields, field, found, allowed, mend):
    path = edited(**fields)
    with pytest.raises(CaseFaults) as caught:
        load_bundle(path)
    fault, *more = caught.value.faults
    assert not more, "\n".join(map(str, more))
    assert (fault.file, fault.field) == (path.name, field) and fault.line
    assert fault.found.startswith(found) and allowed in fault.allowed and mend in fault.mend
    assert str(fault).isprintable()

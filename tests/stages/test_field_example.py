"""A worked example of the field with its three answers, through the stages: 24 in, X52, 420 mm, a grid of 60 by 52 mm.

Pipe and sizes are those of reference_checks/regression/field_example.toml; the numbers are our own earlier ones
(regression), from the same forms; the effective area once more by two plain loops here (independent).
"""

import math

import pytest

GRID = """mm,0,60,120,180,240,300,360,420
0,0,0,0,0,0,0,0,0
52,0,1.1,1.8,2.4,2.9,1.9,0.8,0
104,0,1.6,3.1,4.4,5.2,3.6,1.5,0
156,0,1.4,2.7,4.0,4.6,3.3,1.2,0
208,0,0.7,1.3,2.1,2.5,1.6,0.6,0
260,0,0,0,0,0,0,0,0
"""
CASE = {"pipe__outside_diameter": "609.6 mm", "pipe__nominal_wall": "9.53 mm", "pipe__sound_wall": "9.53 mm",
        "pipe__wall_allowance": "0 mm", "pipe__smys": "358.5 MPa", "pipe__smts": "455 MPa", "defect__depth": "5.2 mm",
        "defect__depth_allowance": "0 mm", "defect__length": "420 mm", "defect__length_allowance": "0 mm",
        "defect__width": "260 mm", "service__maop": "6.50 MPa", "service__discovery_pressure": "6.20 MPa"}


@pytest.fixture
def forms(judge, example):
    (example / "HB-07-grid.csv").write_text(GRID, "utf-8")
    outcome = judge(**CASE)
    return outcome, {f.key: f for f in outcome.assessment.forms}


def test_the_three_answers_of_the_worked_example(forms):
    """Failure pressures 8.08, 5.60 and 9.33 MPa (regression): each asks for another deadline."""
    outcome, by = forms
    assert by["0.85dL"].failure.magnitude == pytest.approx(8.077, abs=5e-4)
    assert by["original 2012"].failure.magnitude == pytest.approx(5.602, abs=5e-4)
    assert by["effective area"].failure.magnitude == pytest.approx(9.327, abs=5e-4)
    assert by["effective area"].safe.magnitude == pytest.approx(5.596, abs=5e-4)
    assert any(w["text"].startswith("Long loss") for w in outcome.recorder.warnings)


def test_the_effective_area_by_two_plain_loops(forms):
    """Every pair of stations, its trapezia and its own bulging factor, written out (independent)."""
    x, d = [60.0 * i for i in range(8)], [0, 1.6, 3.1, 4.4, 5.2, 3.6, 1.5, 0]
    D, t, flow = 609.6, 9.53, 358.5 + 69
    lowest = math.inf
    for i in range(8):
        for j in range(i + 1, 8):
            L = x[j] - x[i]
            share = sum((d[k] + d[k + 1]) / 2 * 60 for k in range(i, j)) / (L * t)
            z = L * L / (D * t)
            M = math.sqrt(1 + 0.6275 * z - 0.003375 * z * z) if z <= 50 else 0.032 * z + 3.3
            lowest = min(lowest, 2 * t / D * flow * (1 - share) / (1 - share / M))
    assert forms[1]["effective area"].failure.magnitude == pytest.approx(lowest, rel=1e-9)

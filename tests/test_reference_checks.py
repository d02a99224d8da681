"""Every check value in reference_checks/, intermediates included, in the units as written, in SI and in US units."""

from __future__ import annotations

import json

import pytest

from reference_checks import checks, coverage
from wrapcalc.formula import registry

ALL = checks.load()
GUARDS = [(c, g) for c in ALL for g in c.guards]


@pytest.mark.parametrize("system", ["as written", "SI", "US"])
@pytest.mark.parametrize("check", ALL, ids=lambda c: c.id)
def test_printed_numbers(check, system):
    outcomes = list(checks.run(check, system=system))
    assert len(outcomes) == sum(bool(s.expected) for s in check.steps)
    assert all(o.as_stated for o in outcomes), "\n".join(map(str, outcomes))


@pytest.mark.parametrize(("check", "formula"), GUARDS, ids=lambda x: getattr(x, "id", x))
def test_a_check_notices_a_formula_that_goes_wrong(check, formula):
    assert any(not o.agrees for o in checks.run(check, spoil=formula) if o.step.status == "agrees"), (
        f"{check.id} says that it guards {formula}, but a result of it that is 5 % off is not noticed")


def test_every_kind_has_files():
    assert {c.kind for c in ALL} >= {"published", "regression", "independent"}
    assert {c.mark for c in ALL} == {"seen", "from memory", "independent", "regression"}


def test_a_difference_that_heals_is_a_failure():
    """What is said to differ does differ, and would fail here if it agreed."""
    stated = [o for c in ALL for o in checks.run(c) if o.step.status == "differs"]
    assert stated
    for o in stated:
        assert not o.agrees
        healed = checks.Outcome(o.step, o.expected, o.expected, o.tolerance, o.unit)
        assert healed.agrees
        assert not healed.as_stated


@pytest.mark.parametrize(("written", "significant", "half"), [
    ("1093 psi", 0, 0.5), ("0.72", 0, 0.005), ("0.05250 mm", 0, 5e-6), ("177970 N", 5, 5.0), ("6", 0, 0.5)])
def test_tolerance_is_half_of_the_last_printed_digit(written, significant, half):
    assert checks.last_digit(written, significant) == pytest.approx(half)


def test_nan_never_agrees():
    o = checks.Outcome(checks.Step(formula="x", expected="1"), float("nan"), 1.0, 1e9, "")
    assert not o.agrees


FILE = 'title = "t"\nsource = "s"\nmark = "{mark}"\nnote = "n"\n'
CHECK = FILE.format(mark="seen") + '[[check]]\ntitle = "c"\nstep = [{step}]'


@pytest.mark.parametrize(("text", "wrong"), [
    (FILE.format(mark="regression") + 'check = [{title = "c", step = []}]', "mark one of"),
    (FILE.format(mark="seen") + "check = []", "needs"),
    (CHECK.replace("{step}", '{formula = "nothing"}'), "no formula nothing"),
    (CHECK.replace("{step}", '{expression = "1", expected = "2", status = "differs"}'), "needs a reason"),
    (CHECK.replace("{step}", '{expression = "1", expected = "2", tolerance = "3"}'), "needs a reason"),
    (CHECK.replace("{step}", '{expression = "1", formula = "hoop_stress"}'), "a step has"),
    (CHECK.replace("{step}", '{expression = "1"}'), "nothing is compared")])
def test_faulty_files_are_refused(tmp_path, text, wrong):
    path = tmp_path / "faulty.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ValueError, match=wrong):
        checks._file("published", path)


# -- which check covers which formula ----------------------------------------------------------------------------------

def test_generated_files_are_fresh():
    found = coverage.guards()
    hint = "stale: run python reference_checks/coverage.py"
    assert coverage.GUARDS.read_text(encoding="utf-8") == coverage.guards_json(found), hint
    assert coverage.TABLE.read_text(encoding="utf-8") == coverage.table(found), hint


def test_every_formula_has_a_published_or_an_independent_check():
    assert coverage.unguarded(coverage.guards()) == []


def test_guards_file_knows_every_formula():
    known = json.loads(coverage.GUARDS.read_text(encoding="utf-8"))
    assert set(known) == set(registry())
    assert all(any(t.startswith(("published: ", "independent: ")) for t in texts) for texts in known.values())


def test_regression_alone_covers_nothing():
    only = [coverage.Guard(n, "regression", "regression: some number") for n in registry()]
    assert coverage.unguarded(only) == sorted(registry())


@pytest.mark.parametrize(("marker", "wrong"), [
    ('"net_area", kind="regression"', "kind 'regression' is unknown"), ('"net_area"', "kind '' is unknown"),
    ('"sound_area", kind="independent"', "does not run sound_area")])
def test_a_marker_that_says_too_much_is_refused(tmp_path, marker, wrong):
    (tmp_path / "test_x.py").write_text(f"@pytest.mark.guards({marker})\ndef test_x():\n    f.net_area.core(1, 2)\n",
                                        encoding="utf-8")
    with pytest.raises(ValueError, match=wrong):
        coverage.from_tests(tmp_path)

"""Every check value in reference_checks/, intermediates included, in the units as written, in SI and in US units."""

from __future__ import annotations

import pytest

from reference_checks import checks

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


@pytest.mark.parametrize(("text", "wrong"), [
    ('title = "t"\nsource = "s"\nmark = "regression"\nnote = "n"\ncheck = []', "needs"),
    ('title = "t"\nsource = "s"\nmark = "seen"\nnote = "n"\n[[check]]\ntitle = "c"\nstep = [{formula = "nothing"}]',
     "no formula nothing"),
    ('title = "t"\nsource = "s"\nmark = "seen"\nnote = "n"\n[[check]]\ntitle = "c"\nstep = [{expression = "1", '
     'expected = "2", status = "differs"}]', "needs a reason"),
    ('title = "t"\nsource = "s"\nmark = "seen"\nnote = "n"\n[[check]]\ntitle = "c"\nstep = [{expression = "1"}]',
     "nothing is compared"),
])
def test_faulty_files_are_refused(tmp_path, text, wrong):
    path = tmp_path / "faulty.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ValueError, match=wrong):
        checks._file("published", path)

"""A run that leaves parts out answers the rest with the same numbers."""

from importlib import resources
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc import record as records
from wrapcalc.case import load_bundle
from wrapcalc.case.load import read_bundle
from wrapcalc.errors import CaseFaults
from wrapcalc.stages import job
from wrapcalc.stages.job import DIG, ENVELOPE, PARTS, SITE, SIZES, add_sizes, run

EXAMPLE = Path(str(resources.files("wrapcalc.example")))
CASES = sorted(p.stem for p in EXAMPLE.glob("*.toml"))
#: Heads of the record under which only parts that may be left out write.
LEFT_OUT = {"Allowable sizes", "Probability of exceedance", "Design envelope", "Why this number", "Second opinion",
            "Marks on the pipe", "Materials for the site", "Surface and climate", "Weather", "Cure and release",
            "Pressure restoration", "Holiday test", "Where it is and how it is dug"}


def plain(data):
    """A part of a record without the ids of steps, which count what was left out."""
    if isinstance(data, dict):
        return {k: plain(v) for k, v in data.items() if k not in ("origin", "limits", "box")}
    return [plain(v) for v in data] if isinstance(data, list) else data


def items(outcome):
    """Every step, procedure and check with its place and its numbers, without its id."""
    out = []
    for i in outcome.recorder.items:
        data = records.item_data(i, outcome.recorder.place_of[i.id], outcome)
        numbers = {k: data.get(k) for k in ("printed", "text_numbers", "verdict", "utilisation", "struck", "found")}
        numbers |= {k: plain(data.get(k)) for k in ("result", "results", "provided", "limit")}
        out.append((data["topic"], data["title"], repr(numbers)))
    return out


def agree(bundle):
    whole, light = run(bundle), run(bundle, without=PARTS)
    kept = [i for i in items(whole) if i[0] not in LEFT_OUT]
    assert [i for i in items(light) if i[0] not in LEFT_OUT] == kept
    one, other = records.build(whole), records.build(light)
    for part in ("decision", "forms", "routes", "life", "disposition", "options", "order", "clusters", "profile",
                 "geometry", "inputs"):
        assert plain(other[part]) == plain(one[part]), part
    shown = {h["label"]: h["value"]["shown"] for h in one["headline"]}
    found = {h["label"]: h["value"]["shown"] for h in other["headline"]}
    assert found == {k: v for k, v in shown.items() if not k.startswith("Probability")}
    for part in ("assumptions", "warnings"):
        assert all(x["text"] in {w["text"] for w in one[part]} for x in other[part]), part
    if whole.bears is not None:
        assert light.bears.restored.magnitude == whole.bears.restored.magnitude
        assert [(n, u.magnitude, now) for n, u, now in light.bears.uses] == [
            (n, u.magnitude, now) for n, u, now in whole.bears.uses]
    return whole, light


@pytest.mark.parametrize("name", CASES)
def test_what_is_not_left_out_has_the_same_numbers(name):
    whole, light = agree(load_bundle(EXAMPLE / f"{name}.toml"))
    assert light.left_out == frozenset(PARTS) and whole.left_out == frozenset()
    assert light.allowable is light.chance is light.why is light.opinion is light.site is light.dig is None


@settings(max_examples=12, deadline=None)
@given(name=st.sampled_from(("HB-02", "HB-11", "HB-15", "HB-51")), depth=st.floats(0.6, 1.8),
       length=st.floats(0.3, 2.5), maop=st.floats(0.75, 1.05), hot=st.floats(20, 75))
def test_moved_inputs_give_the_same_numbers(name, depth, length, maop, hot):
    text = (EXAMPLE / f"{name}.toml").read_text(encoding="utf-8")
    case = load_bundle(EXAMPLE / f"{name}.toml").case
    for field, factor in (("depth", depth), ("length", length), ("maop", maop)):
        given = case.get(f"defect.{field}") if field != "maop" else case.get("service.maop")
        number = f"{given.magnitude * factor:.4g}"
        unit = given.written.split()[-1]
        text = text.replace(f'{field} = {{ value = "{given.written}"', f'{field} = {{ value = "{number} {unit}"', 1)
    text = text.replace(f'service_temperature = {{ value = "{case.service.service_temperature.written}"',
                        f'service_temperature = {{ value = "{hot:.1f} °C"', 1)
    try:
        bundle = read_bundle(text.encode(), EXAMPLE, f"{name}.toml")
    except CaseFaults:
        return
    agree(bundle)


@pytest.mark.parametrize("name", CASES)
def test_sizes_added_afterwards_are_those_of_the_whole_run(name):
    bundle = load_bundle(EXAMPLE / f"{name}.toml")
    whole, light = run(bundle, without=[p for p in PARTS if p != SIZES]), run(bundle, without=PARTS)
    add_sizes(light)
    assert SIZES not in light.left_out
    one, other = (records.build(o)["allowable"] for o in (whole, light))
    assert plain(one) == plain(other)


def test_every_part_can_be_left_out_by_itself_and_is_named():
    bundle = load_bundle(EXAMPLE / "HB-42.toml")
    counts = [len(run(bundle, without=PARTS[:n]).recorder.items) for n in range(len(PARTS) + 1)]
    assert all(b <= a for a, b in pairwise(counts)) and counts[-1] < counts[0]
    assert run(bundle, without=[DIG]).left_out == {DIG}


def test_without_the_box_there_is_no_sheet_for_the_site_that_would_lack_it():
    out = run(load_bundle(EXAMPLE / "HB-42.toml"), without=[ENVELOPE])
    assert out.left_out == {ENVELOPE, SITE} and out.site is None and out.bears.box == ()
    assert out.why is not None


def test_no_part_is_named_twice():
    assert len(set(job.PARTS)) == len(job.PARTS)

"""Criteria on arrays are the criteria of each row, in all three values."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc.campaign.rows import criteria_rows
from wrapcalc.campaign.rows.criteria_rows import VERDICTS, RowFacts, Ruling, verdict_rows
from wrapcalc.campaign.rows.rounding import Rounded, Unrounded
from wrapcalc.errors import CalculationError, UnknownItem
from wrapcalc.stages.assessment.disposition import NOT_NOW
from wrapcalc.standards import criteria as rules
from wrapcalc.standards.conditions import FACTS

NUMBERS = [n for n, f in FACTS.items() if f.kind == "number"]
LIMITS = [0.1, 0.3, 0.5, 0.75, 0.8, 1.0, 1.1, 1.25, 1.39, 1.5, 6.35, 12.7]
NUMBER = st.one_of(st.sampled_from(LIMITS), st.sampled_from(LIMITS).map(lambda x: x + 1e-14), st.floats(0, 2),
                   st.just(float("nan")))
WORDS = st.fixed_dictionaries({}, optional={n: st.sampled_from([None, *f.words]) for n, f in FACTS.items() if f.words})
OWN = rules.load_file(b"""rule = "Own"
title = "Every form of condition"
text_as_of = "2026"
status = "common practice"
[[criterion]]
paragraph = "1"
class = "60 days"
text = "alternatives of both kinds, groups, an exception by numbers"
when = ["depth_over_wall >= 0.5 or failure_ratio <= 1.1 or crossing = yes"]
any_of = [["operating_ratio < 1.0", "dent = no"], ["depth_over_nominal > 0.8 or leak = yes"]]
unless = ["failure_ratio > 1.5", "girth_weld_affected = no or depth_over_wall < 0.75"]
[[criterion]]
paragraph = "2"
class = "1 year"
text = "all by row"
when = ["depth_over_wall > 0.3", "failure_ratio < 1.39"]
[[criterion]]
paragraph = "3"
class = "immediate"
text = "none by row"
when = ["crossing = yes"]
unless = ["dent = yes"]
""")
LISTS = [*(rules.load(r) for r in rules.shipped()), OWN]


@pytest.mark.parametrize("criteria", LISTS, ids=lambda c: c.rule)
@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_every_verdict_is_that_of_the_row_alone(criteria, data):
    words = data.draw(WORDS)
    by_row = data.draw(st.lists(st.sampled_from(NUMBERS), min_size=1, max_size=len(NUMBERS), unique=True))
    alike = {n: data.draw(st.one_of(st.none(), st.floats(0, 2))) for n in NUMBERS if n not in by_row}
    count = data.draw(st.integers(1, 6))
    columns = {n: np.array(data.draw(st.lists(NUMBER, min_size=count, max_size=count))) for n in by_row}
    found = verdict_rows(criteria, words | alike | columns)
    for i in range(count):
        alone = words | alike | {n: None if np.isnan(v[i]) else float(v[i]) for n, v in columns.items()}
        assert [VERDICTS[v] for v in found[:, i]] == [f.verdict for f in rules.evaluate(criteria, alone)], alone


@given(data=st.data())
@settings(max_examples=80, deadline=None)
def test_the_ruling_leads_and_excludes_as_the_row_alone(data):
    words = data.draw(WORDS)
    by_row = ["depth_over_wall", "depth_over_nominal", "failure_ratio", "operating_ratio",
              "depth_over_wall_end_of_life"]
    columns = {n: np.array(data.draw(st.lists(NUMBER, min_size=5, max_size=5))) for n in by_row}
    lists, apart = [rules.load("49 CFR 192.933"), OWN], rules.load(rules.WRAP)
    ruling = Ruling(lists, apart, words, by_row)
    how = Rounded()
    complete = {n for n, v in columns.items() if not np.isnan(v).any()}
    facts = RowFacts({n: how.steady(v) for n, v in columns.items()}, how, complete)
    leading, excluded, open_ = ruling.leading(facts, 5), ruling.excluded(facts, 5), ruling.unanswered(facts, 5)
    for i in range(5):
        alone = words | {n: None if np.isnan(v[i]) else float(v[i]) for n, v in columns.items()}
        findings = [f for c in lists for f in rules.evaluate(c, alone)]
        first = rules.leading([f for f in findings if f.criterion.deadline.name not in NOT_NOW])
        told = None if first is None else (first.criterion.citation, first.criterion.text)
        assert (None if leading[i] < 0 else ruling.table[leading[i]][:2]) == told
        days = np.inf if first is None or first.criterion.deadline.days is None else first.criterion.deadline.days
        assert ruling.days[leading[i]] == days
        out = [f.criterion.text for f in (*findings, *rules.evaluate(apart, alone)) if f.verdict == rules.FIRES
               and f.criterion.deadline.name == "excluded"]
        assert (None if excluded[i] < 0 else ruling.table[excluded[i]][1]) == (out[0] if out else None)
        assert open_[i] == sum(f.verdict == rules.NO_DATA for f in findings)


def test_what_is_settled_for_the_line_is_not_asked_for_every_row(monkeypatch):
    """A line that states no crack is not asked about the depth of one for each row."""
    asked = []
    monkeypatch.setattr(criteria_rows, "fires", lambda live, facts: asked.append(live) or False)
    facts = {"metal_loss": "yes", "crack": "no", "dent": "no", "seam_corrosion_preferential": "no",
             "judgement_immediate": "no", "crossing": "no", "widespread_circumferential": "no",
             "girth_weld_affected": "no", "class_location": "2"}
    ruling = Ruling([rules.load("49 CFR 192.933")], rules.load(rules.WRAP), facts,
                    ["failure_ratio", "depth_over_nominal"])
    ruling.leading(RowFacts({}, Unrounded()), 3)
    assert len(asked) == 3, "(d)(1)(i), (d)(1)(iii) and (d)(2)(iv)"


def test_facts_and_words_that_nobody_knows_are_refused():
    with pytest.raises(UnknownItem, match="fact"):
        verdict_rows(OWN, {"rust": "yes", "failure_ratio": np.array([1.0])})
    with pytest.raises(UnknownItem, match="word"):
        verdict_rows(OWN, {"crossing": "perhaps", "failure_ratio": np.array([1.0])})
    with pytest.raises(CalculationError, match="finite"):
        verdict_rows(OWN, {"depth_over_wall": -1.0, "failure_ratio": np.array([1.0])})
    with pytest.raises(UnknownItem, match="fact"):
        verdict_rows(OWN, {"rust": np.array([1.0])})

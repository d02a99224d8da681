"""Criteria files of a company: read strictly, every slip with its line, what is allowed and how to mend it."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.helpers.criteria import LOSS
from wrapcalc.errors import CaseFaults
from wrapcalc.fields import FieldFault
from wrapcalc.standards import criteria as c
from wrapcalc.standards.conditions import parse_condition

HEAD = 'rule = "Company list"\ntitle = "What we repair"\ntext_as_of = 2026-01-31\nstatus = "common practice"\n'
ONE = ('[[criterion]]\nparagraph = "4.2"\nclass = "30 days"\ntext = "Deep loss"\n'
       'when = ["metal_loss = yes", "depth_over_nominal > 70 %"]\n')
GOOD = HEAD + ONE
WHEN = 'when = ["metal_loss = yes", "depth_over_nominal > 70 %"]'


def own(text):
    return c.load_file(text.encode() if isinstance(text, str) else text, "ours.toml")


def faults_of(text):
    with pytest.raises(CaseFaults) as caught:
        own(text)
    for fault in caught.value.faults:
        assert fault.file == "ours.toml" and fault.found and fault.allowed and fault.mend and str(fault).isprintable()
    return caught.value.faults


def test_a_company_file_is_judged_like_a_rule(tmp_path):
    loaded = own(GOOD)
    assert (loaded.rule, loaded.text_as_of, loaded.recheck) == ("Company list", "2026-01-31", "")
    one, = loaded.criteria
    assert one.advice == ("Company list, 4.2 asks for repair within 30 days of discovery (text as of 2026-01-31)")
    assert (one.deadline.days, one.status) == (30, "common practice")
    assert [f.verdict for f in c.evaluate(loaded, LOSS | {"depth_over_nominal": 0.71})] == [c.FIRES]
    assert [f.verdict for f in c.evaluate(loaded, LOSS | {"depth_over_nominal": 0.70})] == [c.DOES_NOT_FIRE]
    path = tmp_path / "ours.toml"
    path.write_bytes(GOOD.replace("\n", "\r\n").encode("utf-8-sig"))
    assert c.load_file(path) == loaded == own(path.read_bytes())


def test_alternatives_groups_and_exceptions_of_a_company_file():
    text = GOOD.replace(WHEN, 'when = ["crack = yes or gouge = yes"]\n'
                        'any_of = [["class_location in 3, 4"], ["leak = yes", "joint_factor ≤ 0.8"]]\n'
                        'unless = ["gouge_ground = yes", "crack = no"]\nstatus = "seen"\ncitation = "Manual 7"')
    loaded = own(text)
    assert loaded.criteria[0].citation == "Manual 7" and loaded.criteria[0].status == "seen"
    keys = ("crack", "gouge", "place", "leak", "joint_factor", "gouge_ground")
    for crack, gouge, place, leak, joint, ground in itertools.product(
            ("yes", "no"), ("yes", "no"), ("2", "3"), ("yes", "no"), (0.8, 0.9), ("yes", "no")):
        facts = dict(zip(keys, (crack, gouge, place, leak, joint, ground), strict=True))
        want = ("yes" in (crack, gouge) and (place == "3" or (leak == "yes" and joint <= 0.8))
                and not (ground == "yes" and crack == "no"))
        facts["class_location"] = facts.pop("place")
        found, = c.evaluate(loaded, facts)
        assert (found.verdict == c.FIRES) == want and found.verdict != c.NO_DATA



@pytest.mark.parametrize(("text", "field", "line", "found", "allowed", "mend"), [
    (GOOD.replace("metal_loss", "metal_los"), "criterion.0.when", 9, "the fact 'metal_los'", "metal_loss, ",
     "did you mean 'metal_loss'?"),
    (GOOD.replace("= yes", "= maybe"), "criterion.0.when", 9, "the word 'maybe'", "yes, no", "choose one"),
    (GOOD.replace("= yes", "== yes"), "criterion.0.when", 9, "the word '= yes'", "yes, no", "did you mean 'yes'?"),
    (GOOD.replace("= yes", "> 3"), "criterion.0.when", 9, "'metal_loss > 3'", "with = or in",
     'write "metal_loss = yes"'),
    (GOOD.replace("metal_loss = yes", "metal_loss"), "criterion.0.when", 9, "'metal_loss'", "a condition such as",
     "write a fact"),
    (GOOD.replace("metal_loss = yes", "metal_loss = yes or"), "criterion.0.when", 9, "''", "a condition such as",
     "write a fact"),
    (GOOD.replace("metal_loss = yes", "metal_loss = yes and dent = no"), "criterion.0.when", 9,
     "the word 'yes and dent = no'", "yes, no", "choose one"),
    (GOOD.replace("metal_loss = yes", "__import__('os')"), "criterion.0.when", 9, "'__import__", "a condition such as",
     "write a fact"),
    (GOOD.replace("metal_loss = yes", "class_location in 3; 4"), "criterion.0.when", 9, "the word '3; 4'", "1, 2, 3, 4",
     "choose one"),
    (GOOD.replace("metal_loss = yes", ""), "criterion.0.when", 9, "''", "a condition such as", "write a fact"),
    (GOOD.replace("> 70 %", "= 0.7"), "criterion.0.when", 9, "'depth_over_nominal = 0.7'", "with < <= > or >=",
     "write a limit"),
    (GOOD.replace("> 70 %", "> 70"), "criterion.0.when", 9, "the limit '70'", "0 to 1", "0.80 or 80 %"),
    (GOOD.replace("> 70 %", "> 0,7"), "criterion.0.when", 9, "the limit '0,7'", "a plain number, a share",
     "decimal point"),
    (GOOD.replace("> 70 %", "> -0.1"), "criterion.0.when", 9, "the limit '-0.1'", "a plain number", "check"),
    (GOOD.replace("> 70 %", "> nan"), "criterion.0.when", 9, "the limit 'nan'", "a plain number", "check"),
    (GOOD.replace("depth_over_nominal > 70 %", "dent_depth_in_mm > 6 %"), "criterion.0.when", 9, "the limit '6 %'",
     "a plain number of mm", "check"),
    (GOOD.replace("depth_over_nominal > 70 %", "dent_depth_in_mm > 600"), "criterion.0.when", 9, "the limit '600'",
     "0 to 500 mm", "check"),
    (GOOD.replace('"metal_loss = yes"', "7"), "criterion.0.when", 9, "'7'", "a text in quotation marks", "quotation"),
    (GOOD.replace(WHEN, 'when = "dent = yes"'), "criterion.0.when", 9, "'dent = yes'", "a list of conditions",
     "write ["),
    (GOOD.replace(WHEN, "when = []"), "criterion.0.when", 9, "no condition", "conditions in when", "add when"),
    (GOOD.replace(WHEN, ""), "criterion.0.when", 5, "no condition", "conditions in when", "add when"),
    (GOOD.replace(WHEN, 'unless = ["dent = yes"]'), "criterion.0.when", 5, "no condition", "conditions in when",
     "add when"),
    (GOOD.replace(WHEN, 'any_of = ["dent = yes"]'), "criterion.0.any_of", 9, "a list of 1", "a list of groups",
     "write any_of"),
    (GOOD.replace(WHEN, "any_of = [[]]"), "criterion.0.any_of", 9, "a list of 1", "a list of groups", "write any_of"),
    (GOOD.replace(WHEN, 'any_of = [["dent = yes"],\n  ["dint = no"]]'), "criterion.0.any_of", 10, "the fact 'dint'",
     "dent, ", "did you mean 'dent'?"),
    (GOOD.replace('"]', '",\n  "metal_loss = no"]'), "criterion.0.when", 9, "'metal_loss = yes and ",
     "conditions that can hold together", "no facts meet all"),
    (GOOD.replace('"]', '", "depth_over_nominal < 0.7"]'), "criterion.0.when", 9, "'metal_loss",
     "conditions that can hold together", "check the limits"),
    (GOOD.replace('"]', '", "depth_over_nominal <= 70 %"]'), "criterion.0.when", 9, "'metal_loss",
     "conditions that can hold together", "check the limits"),
    (GOOD.replace("> 70 %", "> 100 %"), "criterion.0.when", 9, "'metal_loss", "conditions that can hold together",
     "check the limits"),
    (GOOD.replace("> 70 %", "< 0"), "criterion.0.when", 9, "'metal_loss", "conditions that can hold together",
     "check the limits"),
    (GOOD + 'any_of = [["dent = yes"], ["metal_loss = no"]]\n', "criterion.0.any_of", 10, "'metal_loss",
     "conditions that can hold together", "check the limits"),
    (GOOD.replace("30 days", "soon"), "criterion.0.class", 7, "'soon'", "immediate, 60 days", "choose one"),
    (GOOD.replace("30 days", "imediate"), "criterion.0.class", 7, "'imediate'", "immediate, 60 days",
     "did you mean 'immediate'?"),
    (GOOD.replace("30 days", "0 days"), "criterion.0.class", 7, "'0 days'", "number of days or years", "choose|did"),
    (GOOD.replace("30 days", "11 years"), "criterion.0.class", 7, "'11 years'", "up to ten years", "choose|did"),
    (GOOD.replace("30 days", "1 days"), "criterion.0.class", 7, "'1 days'", "number of days", "choose|did"),
    (GOOD.replace("30 days", "by schedule"), "criterion.0.deadline", 5, "nothing", "a text", "add deadline"),
    (GOOD.replace('class = "30 days"\n', ""), "criterion.0.class", 5, "nothing", "a text", "add class"),
    (GOOD.replace('"4.2"', "4.2"), "criterion.0.paragraph", 6, "'4.2'", "a text in quotation marks", "quotation"),
    (GOOD + ONE, "criterion.1.paragraph", 11, "'4.2' for the second time", "each paragraph once", "tell the two apart"),
    (GOOD.replace("when", "wenn"), None, None, None, None, None),
    (GOOD.replace("paragraph", "paragraf"), None, None, None, None, None),
    (HEAD, "criterion", None, "nothing", "at least one table [[criterion]]", "two brackets"),
    (GOOD.replace("[[criterion]]", "[criterion]"), "criterion", 5, "a table", "at least one table [[criterion]]",
     "two brackets"),
    (GOOD.replace("Company list", c.GAS_HCA), "rule", 1, f"'{c.GAS_HCA}'", "a name of its own", "name it such as"),
    (GOOD.replace("2026-01-31", '"last year"'), "text_as_of", 3, "'last year'", "year-month", "write text_as_of"),
    (GOOD.replace("2026-01-31", '"2026-13"'), "text_as_of", 3, "'2026-13'", "year-month", "write text_as_of"),
    (GOOD.replace("text_as_of = 2026-01-31\n", ""), "text_as_of", None, "nothing", "the date of the text",
     "write text_as_of"),
    (GOOD.replace("common practice", "sure"), "status", 4, "'sure'", "verified, seen, from memory", "say what"),
    (GOOD.replace('title = "What we repair"\n', ""), "title", None, "nothing", "a text", 'add title = "..."'),
    ("", "the file", None, "nothing: it is empty", "a TOML file", "start from"),
    ("rule = [", "the file", 1, "text that is not TOML", "lines such as", "look at that line"),
    (b'rule = "\xe9"', "the file", 1, "a byte that is not UTF-8", "UTF-8 text", "save it"),
])
def test_one_slip_one_message(text, field, line, found, allowed, mend):
    faults = faults_of(text)
    if field is None:  # a misspelt key is two faults: a key that we do not know, and one that is missing
        assert len(faults) == 2 and faults[0].found == "a key that we do not know" and "did you mean" in faults[0].mend
        assert faults[1].found in ("nothing", "no condition")
        return
    fault, = faults
    assert fault.field == field and fault.found.startswith(found) and allowed in fault.allowed
    assert any(word in fault.mend for word in mend.split("|"))
    assert fault.line == line


def test_all_faults_are_reported_together_with_their_lines():
    text = HEAD.replace('"What we repair"', "3") + ONE.replace("30 days", "soon").replace(
        WHEN, 'when = [\n  "dent = yes",\n  "dent_over_diameter > 6",\n  "leak = maybe",\n]')
    assert [(f.field, f.line) for f in faults_of(text)] == [
        ("title", 2), ("criterion.0.class", 7), ("criterion.0.when", 11), ("criterion.0.when", 12)]


def test_missing_file_and_folder(tmp_path):
    for path in (tmp_path, tmp_path / "none.toml"):
        with pytest.raises(CaseFaults):
            c.load_file(path)


@settings(deadline=None, max_examples=100, derandomize=True)
@given(st.text(max_size=30) | st.tuples(
    st.sampled_from([*c.FACTS, "x"]), st.sampled_from(["=", "in", "<", ">=", "≤", "=="]),
    st.sampled_from(["yes", "3", "0.5", "50 %", "flash, other", "1e3", "1 or dent = no", ""])).map(" ".join))
def test_any_text_is_a_condition_or_a_clear_fault(text):
    try:
        condition = parse_condition(text)
    except FieldFault as e:
        assert e.found and e.allowed and e.mend
    else:
        assert condition.alternatives and condition.holds(dict.fromkeys(c.FACTS)) is None


@settings(deadline=None, max_examples=100, derandomize=True)
@given(st.binary(max_size=40) | st.tuples(st.integers(0, len(GOOD)), st.integers(0, 20), st.text(max_size=4)).map(
    lambda x: (GOOD[:x[0]] + x[2] + GOOD[x[0] + x[1]:]).encode("utf-8", "surrogatepass")))
def test_any_bytes_are_criteria_or_clear_faults(raw):
    try:
        loaded = own(raw)
    except CaseFaults as e:
        assert e.faults and all(str(f).isprintable() and f.mend for f in e.faults)
    else:
        assert loaded.criteria and all(x.when or x.any_of for x in loaded.criteria)

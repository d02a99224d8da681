"""What a reviewer looks at first: what changed, what governs, where a value came from, what was said before."""

import re
import shutil

import pytest

from tests.helpers.review import opened
from wrapcalc.package import digests
from wrapcalc.package.explain import read_record
from wrapcalc.package.review_before import before
from wrapcalc.package.review_lines import CHECKED, CLOSED, QUERY, WHOLE
from wrapcalc.package.review_sheet import review_of
from wrapcalc.package.review_steps import Sources, changed_steps, from_memory, governing, parted, second_opinion


# -- what changed, what matters, where it came from --------------------------------------------------------------
def test_changed_steps_are_those_whose_printed_line_changed_or_that_are_new(later):
    then, now = read_record(later / "HB-02-r1"), read_record(later / "HB-02-r2")
    found = changed_steps(then, now)
    deeper = next(i for i in now["items"] if i["type"] == "step" and any(
        x["origin"]["ref"] == "defect.depth" for x in i["inputs"]))
    assert any(w.startswith("Greatest measured depth was ") for w in found.steps[deeper["id"]])
    assert any(w.startswith("result was ") for w in found.steps[deeper["id"]])
    same = [i for i in now["items"] if i["id"] not in found.steps]
    old = {i["id"]: i for i in then["items"]}
    assert same and all(old[found.was[i["id"]]]["title"] == i["title"] for i in same)
    assert not changed_steps(now, now).steps and not changed_steps(now, now).gone


def test_steps_are_met_though_their_numbers_moved(later):
    now = read_record(later / "HB-02-r2")
    first, *rest = now["items"]
    moved = {**now, "items": [{**i, "id": i["id"][0] + str(int(i["id"][1:]) + 1)} for i in rest]}
    found = changed_steps(now, moved)
    assert not found.steps and found.gone == ((first["id"], first["title"]),)
    assert all(found.was[m["id"]] == i["id"] for m, i in zip(moved["items"], rest, strict=True))
    assert changed_steps(moved, now).steps == {first["id"]: ("new",)}


def test_changed_rows_are_parted_into_what_was_put_in_and_what_came_out():
    rows = [{"what": w, "before": "a", "after": "b"} for w in (
        "tool version", "case", "input pipe.smys", "file grid.csv", "shipped tables", "value X/y", "decision", "Layers",
        "check Depth (<= 3 mm)")]
    put_in, came_out = parted(rows)
    assert [r["what"] for r in came_out] == ["decision", "Layers", "check Depth (<= 3 mm)"] and len(put_in) == 6


def test_governing_steps_hold_the_cover_the_route_and_what_is_not_met(first):
    record = read_record(first / "HB-51-r1")
    found = governing(record)
    assert {h["value"]["origin"]["ref"].partition("/")[0] for h in record["headline"]
            if h["value"]["origin"]["kind"] in ("step", "procedure")} <= found
    assert {r["required"]["origin"]["ref"] for r in record["routes"] if r["chosen"]} <= found
    assert {i["id"] for i in record["items"] if i["type"] == "check" and i["verdict"] != "met"
            and i["kind"] != "information"} <= found
    assert found < {i["id"] for i in record["items"]}


def test_steps_from_memory_are_by_formula_clause_or_value(first):
    record = read_record(first / "HB-51-r1")
    found = from_memory(record)
    assert {i["id"] for i in record["items"] if i["status"] == "from memory"} <= found
    used = {u for e in record["table_entries"] if e["status"] == "from memory" for u in e["used_in"]}
    assert used <= found and found < {i["id"] for i in record["items"]}


def test_every_input_of_every_step_leads_to_where_it_came_from(first):
    package = first / "HB-51-r1"
    record = read_record(package)
    sources, kinds = Sources(record, package), set()
    case = (package / "case.toml").read_text("utf-8").splitlines()
    for item in record["items"]:
        for s in sources.of(item):
            assert s.name and s.place and (s.told or s.step)
            kinds.add("step" if s.step else s.place.partition(",")[0])
            if m := re.fullmatch(r"case\.toml, line (\d+): (.+)", s.place):
                assert m[2].rpartition(".")[2] in case[int(m[1]) - 1] or m[2].partition(".")[0] in case[int(m[1]) - 1]
            if s.step:
                assert s.step in sources.items and item["id"] in sources.used_by[s.step]
    assert {"step", "case.toml"} < kinds and any(k.endswith("sleeve.toml") or "system" in k for k in kinds)


def test_the_second_opinion_stands_at_the_steps_that_it_compares(first):
    record = read_record(first / "HB-51-r1")
    if record["opinion"] is None:
        pytest.fail("HB-51 has no second opinion any more; take another wrap of the example")
    told = {i["id"] for i in record["items"] if second_opinion(record, i["id"])}
    assert told == {record["opinion"][k]["origin"]["ref"].partition("/")[0] for k in ("strain", "clause", "difference")}


# -- what came before --------------------------------------------------------------------------------------------
def _before(package):
    return before(package, digests.read_manifest(package), read_record(package))


def test_what_was_said_on_the_revision_before_is_shown_and_not_carried(said_before):
    package = said_before / "HB-02-r2"
    found = _before(package)
    assert (found.revision, found.said_on, found.problems) == (1, 1, ())
    assert [(s.item, s.entry.act) for s in found.said["A1"]] == [("A1", CHECKED), ("A1", QUERY), ("A1", CLOSED)]
    assert "A2" not in found.said and [s.entry.text for s in found.said[WHOLE]] == ["No photographs."]
    assert [q.asked.text for q in found.open] == ["Why 5 mm?"] and found.rows and found.changed.steps
    of, record = opened(package)
    assert review_of(package, of.name, of.digest, record)[0].ticks() == {}


def test_what_was_said_of_a_step_that_is_no_more_stands_at_the_package_as_a_whole(said_before):
    package = said_before / "HB-02-r2"
    record = read_record(package)
    shorter = {**record, "items": [i for i in record["items"] if i["id"] != "A1"]}
    found = before(package, digests.read_manifest(package), shorter)
    assert ("A1", "Settled?") in [(s.item, s.entry.text) for s in found.said[WHOLE]] and "A1" not in found.said


@pytest.mark.parametrize(("spoil", "message"), [
    (lambda f: shutil.rmtree(f / "HB-02-r1"), "HB-02-r1 does not stand beside this package. Which steps changed"),
    (lambda f: (f / "HB-02-r1" / "manifest.json").write_bytes(b"{}"), "is not the one that this revision followed"),
    (lambda f: (f / "HB-02-r1" / "record.json").write_bytes(
        (f / "HB-02-r1" / "record.json").read_bytes() + b" "), "HB-02-r1: its record was changed after it was written"),
    (lambda f: (f / "review" / "HB-02-r1" / "comments.jsonl").write_bytes(b"{}\n"),
     "what was said on an earlier revision cannot be shown: .* does not say that this is a review"),
    (lambda f: (f / "HB-02-r2" / "changes.json").write_bytes(b"["), "changes.json or the record of revision 1 cannot")])
def test_what_cannot_be_read_of_an_earlier_revision_is_told(said_before, spoil, message):
    spoil(said_before)
    assert re.search(message, "\n".join(_before(said_before / "HB-02-r2").problems))


def test_a_first_revision_has_nothing_before_it(first):
    found = _before(first / "HB-02-r1")
    assert (found.revision, found.rows, found.changed, found.said, found.problems) == (0, (), None, {}, ())

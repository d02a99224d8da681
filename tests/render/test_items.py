"""Fragments of a page: everything of the record is there, as printed there, and nothing of it is markup."""

from __future__ import annotations

import copy
import re
from functools import lru_cache
from html import escape, unescape
from html.parser import HTMLParser
from importlib import resources
from pathlib import Path

import pytest

from wrapcalc import record as records
from wrapcalc.case import load_bundle
from wrapcalc.render import fragments, items
from wrapcalc.render.drawings import drawings
from wrapcalc.stages.job import run
from wrapcalc.units import tidy

EVIL = '<script>alert("1")</script> & \''
TAGS = set("a b br col colgroup del div g i path rect span sub svg table tbody td th thead tr".split())
NOT_TEXT = {
    "type",
    "stage",
    "tex",
    "tex_numbers",
    "tex_conditions",
    "symbol",
    "sense",
    "verdict",
    "need",
    "printed",
}


@lru_cache(1)
def _example() -> dict:
    with resources.as_file(resources.files("wrapcalc.example")) as folder:
        return records.build(run(load_bundle(Path(folder) / "HB-07.toml")))


@pytest.fixture
def record() -> dict:
    return copy.deepcopy(_example())


def of(record: dict, kind: str) -> list[dict]:
    return [i for i in record["items"] if i["type"] == kind]


def plain(html: str) -> str:
    """The text of a fragment, drawings left out."""
    return " ".join(unescape(re.sub(r"<[^>]+>", "", re.sub(r"<svg.*?</svg>", "", html, flags=re.S))).split())


def test_each_step_prints_its_formula_numbers_result_clause_and_status(record):
    for step in of(record, "step"):
        html = items.step_html(step)
        labels = [unescape(t) for t in re.findall(r'aria-label="([^"]*)"', html)]
        assert f"{step['symbol']} = {step['tex']}" in labels
        assert any(label.endswith("= " + step["tex_numbers"]) for label in labels)
        text = plain(html)
        assert f"= {tidy(step['printed'])} {step['unit_label']}".strip() in text
        for part in (step["id"], step["title"], step["citation"], step["also"], step["notes"]):
            assert " ".join(part.split()) in text
        assert ("from memory, unverified" in text) == (step["status"] == "from memory")
        assert f'id="step-{step["id"]}"' in html
        for given in step["inputs"]:
            assert given["origin"]["kind"] in ("step", "case", "table", "system", "procedure")
            assert fragments.origin(given["origin"]) in html


def test_a_taken_branch_is_named_with_its_symbol(record):
    branched = [s for s in of(record, "step") if s["tex_conditions"]]
    assert branched
    for step in branched:
        html = items.step_html(step)
        assert "Branch taken since" in html
        left = step["tex_conditions"][0].partition(" ")[0]
        (name,) = [i["tex"] for i in step["inputs"] if i["printed"] == left]
        assert escape(f"{name} = {step['tex_conditions'][0]}") in html


def test_a_struck_step_shows_its_value_struck_through_with_the_reason(record):
    step = next(s for s in of(record, "step") if s["also"])
    sound = items.step_html(step)
    assert "<del>" not in sound and "Struck" not in sound
    struck = items.step_html(step | {"struck": "outside the limits & more"})
    values = re.findall(r"<del>(.*?)</del>", struck)
    shown = f"{tidy(step['printed'])} {step['unit_label']}"
    assert [plain(v) for v in values] == [shown, step["also"]]
    assert shown not in plain(re.sub(r"<del>.*?</del>", "", struck))
    assert "not to be used: outside the limits &amp; more." in struck


def test_a_struck_procedure_shows_its_values_struck_through(record):
    procedure = of(record, "procedure")[0]
    struck = items.procedure_html(procedure | {"struck": "no sound edge"})
    assert struck.count("<del>") == len(procedure["results"]) and "no sound edge" in struck
    assert "<del>" not in items.procedure_html(procedure)


def test_sensitive_and_unit_bound_steps_say_so(record):
    step = of(record, "step")[0]
    assert "nearly cancel" in items.step_html(step | {"sensitive": True})
    assert "nearly cancel" not in items.step_html(step | {"sensitive": False})
    assert "hold in the units" in items.step_html(step | {"unit_bound": True})


def test_procedures_print_method_inputs_details_and_results(record):
    assert of(record, "procedure")
    for procedure in of(record, "procedure"):
        text = plain(items.procedure_html(procedure))
        assert procedure["method"] in text and procedure["id"] in text
        for given in procedure["inputs"]:
            assert given["shown"] in text
        for name, what in procedure["details"]:
            assert f"{name}: {what}" in text or (len(procedure["details"]) >= 5 and f"{name}{what}" in text)
        for found in procedure["results"]:
            assert f"{found['name']} = {found['shown']}" in text and found["also"] in text


def test_checks_print_both_sides_utilisation_verdict_and_clause(record):
    checks = of(record, "check")
    table = items.checks_table(checks)
    assert table.count("<tr>") == len(checks) + 1
    for check in checks:
        html = items.check_html(check)
        for text in (plain(html), plain(table)):
            for side in ("provided", "limit"):
                if check[side]:
                    assert check[side]["shown"] in text
            for part in ("id", "title", "citation", "found", "wanted", "utilisation_shown"):
                assert (check[part] or "") in text
            assert f"{fragments.SIGNS[check['verdict']]} {check['verdict']}" in text
        assert ("wc-failed" in html) == (check["verdict"] != "met")
    assert {c["verdict"] for c in checks} == {"met", "not met"}


def test_a_check_without_numbers_says_no_data(record):
    check = next(c for c in of(record, "check") if c["provided"])
    without = check | {"provided": None, "verdict": "no data", "utilisation": None, "utilisation_shown": None}
    assert "no data" in plain(items.check_html(without)).replace("○ no data", "")
    assert "○ no data" in plain(items.check_html(without))
    assert plain(items.checks_table([without])).count("no data") == 2


@pytest.mark.parametrize("kind", ["step", "procedure", "check"])
def test_links_only_when_asked_for_and_to_the_right_places(record, kind):
    seen = set()
    for item in of(record, kind):
        assert "<a " not in items.item_html(item)
        sides = [item[s] for s in ("provided", "limit")] if kind == "check" else item["inputs"]
        wanted = [fragments.place(s["origin"]["kind"], s["origin"]["ref"]) for s in sides if s]
        assert re.findall(r'<a href="#([^"]*)"', items.item_html(item, links=True)) == wanted
        seen |= {w.partition("-")[0] for w in wanted}
    assert "step" in seen or "in" in seen


def test_the_five_kinds_of_places():
    assert fragments.place("step", "A7") == "step-A7"
    assert fragments.place("procedure", "D25/full-thickness cover") == "step-D25"
    assert fragments.place("case", "pipe.outside_diameter") == "in-pipe.outside_diameter"
    assert fragments.place("system", "example-sleeve/sleeve.widths/2") == "sys-sleeve.widths"
    table = fragments.place("table", "49 CFR 192/design_factor_class_2")
    assert table == "val-49-CFR-192-design_factor_class_2"


def infect(value, key=""):
    """The same data with markup in every text that is not a key of ours."""
    if isinstance(value, dict):
        return {k: v if k in NOT_TEXT else infect(v, k) for k, v in value.items()}
    if isinstance(value, list):
        return [infect(v, key) for v in value]
    return value + EVIL if isinstance(value, str) else value


def test_markup_in_any_text_prints_as_text(record):
    made = [items.item_html(infect(i), links=True) for i in record["items"]]
    made.append(items.checks_table(infect(of(record, "check")), links=True))
    made.append(items.inputs_table(infect(record["inputs"]), missing=["case.id"], links=True))
    made.append(items.forms_table(infect(record["forms"]), links=True))
    made.append(items.routes_table(infect(record["routes"]), links=True))
    made.append(items.order_table(infect(record["order"]), links=True))
    made.append(items.system_table(infect(record["system"]), links=True))
    for html in made:
        assert "<script" not in html and "&lt;script&gt;" in html
        assert not re.search(r"&(?!\w+;|#\w+;)", html), "a bare ampersand"
        assert {tag for tag, _ in parsed(html)} <= TAGS
        assert not any(name.startswith("on") for _, names in parsed(html) for name in names)


def parsed(html: str) -> list[tuple[str, list[str]]]:
    """Tags with the names of their attributes, as a browser reads them."""
    found: list[tuple[str, list[str]]] = []
    reader = HTMLParser()
    reader.handle_starttag = lambda tag, attrs: found.append((tag, [name for name, _ in attrs]))  # type: ignore
    reader.feed(html)
    return found


def test_inputs_carry_their_source_and_what_is_missing_is_marked(record):
    inputs = {i["field"]: i for i in record["inputs"]}
    inputs["pipe.smts"] |= {"answered": False, "shown": "", "written": "", "magnitude": None, "source": ""}
    inputs["service.installation_pressure"] |= {"answered": False}
    inputs["design.design_life"] |= {"source": "", "source_kind": ""}
    html = items.inputs_table(inputs.values(), missing=["pipe.smts"], links=True)
    rows = {
        re.search(r'id="in-([^"]*)"', r)[1]: plain(r) for r in re.findall(r"<tr.*?</tr>", html) if "id=" in r
    }
    assert "mill certificate MC-2207" in rows["pipe.nominal_wall"] and "8.74 mm" in rows["pipe.nominal_wall"]
    assert "○ unanswered: needed for a decision" in rows["pipe.smts"]
    assert "○ unanswered: needed for a wrap" in rows["service.installation_pressure"]
    assert "○ no source given" in rows["design.design_life"]
    assert "pipe.steel_modulus" not in rows, "an optional question without an answer is left out"
    assert "4190 mm" in rows["defect.clear_upstream"] and "written: 4.19 m" in rows["defect.clear_upstream"]
    assert "written" not in rows["service.maop"], "8.6 MPa is 8.6 MPa gauge"
    answered = {f for f, i in inputs.items() if i["answered"]}
    assert answered <= rows.keys()


def test_tables_of_forms_routes_and_order(record):
    forms, routes, order = (plain(t) for t in (items.forms_table(record["forms"]),
                                               items.routes_table(record["routes"]),
                                               items.order_table(record["order"])))  # fmt: skip
    for f in record["forms"]:
        assert f["form"] in forms and f["safe"]["shown"] in forms
    assert forms.count("governs") == 1 and routes.count("of record") == 1
    for r in record["routes"]:
        assert r["route"] in routes and (r["required"]["shown"] if r["required"] else r["reason"]) in routes
    for line in record["order"]:
        assert line["item"] in order and line["quantity"]["shown"] in order and line["basis"] in order
        if line["packs"]:
            assert f"{line['packs']['shown']} × {line['pack']['shown']}" in order


def test_a_form_outside_its_scope_gives_its_reason(record):
    lost = record["forms"][0] | {"safe": None, "failure": None, "reason": "depth above the limit"}
    assert "depth above the limit" in items.forms_table([lost])


def test_symbols_of_the_record_read_as_html(record):
    assert fragments.symbol(r"S_{\mathrm{flow}}") == "<i>S</i><sub>flow</sub>"
    assert fragments.symbol(r"\varepsilon_{c}") == "<i>ε</i><sub>c</sub>"
    assert fragments.symbol(r"\mathrm{MAOP}") == "MAOP"
    for step in of(record, "step"):
        for tex in [step["symbol"], *(i["tex"] for i in step["inputs"])]:
            assert not re.search(r"[\\{}_]", fragments.symbol(tex)), tex


def test_formulas_stand_on_the_baseline():
    shallow, deep = (
        float(re.search(r"vertical-align:(-?[\d.]+)px", fragments.maths(t))[1]) for t in ("x", r"\frac{a}{b}")
    )
    assert -2 < shallow <= 0 and deep < -6


def test_no_number_is_printed_with_all_its_digits(record):
    html = "".join(items.item_html(i) for i in record["items"])
    assert not re.search(r"\d\.\d{9}", plain(html))


def test_drawings_of_a_wrap_and_of_what_does_not_apply(record):
    assert list(drawings(record)) == [
        "depth map", "profile", "methods", "assessment curve", "thickness routes", "unwrapped pipe", "repair along",
        "cross-section", "use over layers", "through the wall", "weather", "margins"]
    record["geometry"] |= {"grid": None, "wrap": None}
    record["geometry"]["defect_clock"] = None
    record["items"] = of(record, "step")
    record |= {"forms": [], "profile": None, "allowable": None, "bears": None, "why": None, "opinion": None,
               "routes": [], "site": {"dig": None, "wrap": None}}
    assert drawings(record) == {}


def test_drawings_are_in_the_units_of_the_record(record):
    metric, us = drawings(record), drawings(record | {"case": record["case"] | {"display": "US"}})
    for name in ("depth map", "unwrapped pipe"):
        assert re.search(r"\d mm\b", metric[name]) and not re.search(r"\d in\b", metric[name])
        assert re.search(r"\d in\b", us[name]) and not re.search(r"\d mm\b", us[name])


def test_three_checks_in_a_row_are_one_table_that_says_what_their_boxes_say(record):
    checks = of(record, "check")
    envelope = [c for c in checks if c["topic"] == "Tested envelope"]
    mixed = [c for c in checks if c["topic"] == "What this version covers"]
    assert len(envelope) >= 3 and len(mixed) >= 3
    for group in (envelope, mixed, [envelope[0] | {"verdict": "not met"}, *mixed]):
        (html,) = items.items_html(group, links=True)
        text = plain(html)
        for c in group:
            assert html.count(f'id="step-{c["id"]}"') == 1
            for side in ("provided", "limit"):
                if c[side]:
                    assert c[side]["shown"] in text and fragments.origin(c[side]["origin"], True) in html
            for part in ("title", "citation", "note", "found", "wanted", "utilisation_shown", "verdict"):
                assert (c[part] or "") in text
            assert fragments.KIND_WORDS[c["kind"]] in text
        assert ("wc-failed" in html) == any(c["verdict"] != "met" for c in group)
    assert len(items.items_html(envelope[:2])) == 2


def test_questions_can_be_left_out(record):
    html = items.inputs_table(record["inputs"], without=["pipe.smts"])
    assert "pipe.smts" not in html and "pipe.smys" in html


def test_tables_of_what_the_repair_bears_say_every_side_of_it(record):
    limits, box = (plain(t) for t in (items.limits_table(record["bears"]["limits"]),
                                      items.box_table(record["bears"]["box"])))
    for x in record["bears"]["limits"]:
        assert all(w in limits for w in (x["input"], x["limit"]["shown"], x["designed"], x["why"]))
    for b in record["bears"]["box"]:
        assert all(w in box for w in (b["input"], b["bound"], b["edge"]["shown"], b["designed"]))
    assert [b["bound"] for b in record["bears"]["box"] if b["input"] == "sound wall"] == ["at least"]

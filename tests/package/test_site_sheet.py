"""The site sheet: two pages for the trench, from the record alone; the kit list beside it. Only for a wrap."""

import copy
import functools
import html as entities
import json
import re
from importlib import resources
from pathlib import Path

import pypdf
import pytest

from wrapcalc import record as records
from wrapcalc.case import load_bundle
from wrapcalc.errors import PackageError
from wrapcalc.package import site_sheet
from wrapcalc.package.pdf import html_to_pdf
from wrapcalc.package.report import IDENTITIES, WARNING, Approval
from wrapcalc.package.site_sheet import SETTINGS, kit_list_html, page_count, site_sheet_html
from wrapcalc.package.site_words import first_sentence, limit_words
from wrapcalc.stages.job import run

EXAMPLE = Path(str(resources.files("wrapcalc.example")))
DIGEST = "0123456789abcdef" * 4
WRAPS = ("HB-07", "HB-15", "HB-34", "HB-42", "HB-46", "HB-51")
NAMES = Approval("E. Example", "C. Checker", "A. Approver", "2026-10-02")


@functools.cache
def _record(name: str) -> str:
    return records.to_bytes(records.build(run(load_bundle(EXAMPLE / f"{name}.toml")))).decode()


def record(name: str, **case: str) -> dict:
    """The record as it is read from a package; a copy of one's own."""
    found = json.loads(_record(name))
    found["case"] |= case
    return found


def site(found: dict, **options) -> str:
    return site_sheet_html(found, **{"revision": 2, "digest": DIGEST} | options)


def kit(found: dict, **options) -> str:
    return kit_list_html(found, **{"revision": 2, "digest": DIGEST} | options)


def words(text: str) -> str:
    """What is read of a page of HTML."""
    bare = re.sub(r"<style>.*?</style>|<svg.*?</svg>|<[^>]*>", " ", text, flags=re.DOTALL)
    return re.sub(r" ([.,;:)†])", r"\1", " ".join(entities.unescape(bare).split()))


def printed(text: str, folder: Path, paper: str) -> list[str]:
    """The text of each page of the PDF, white space made single."""
    html_to_pdf(text, folder / "sheet.pdf")
    reader = pypdf.PdfReader(folder / "sheet.pdf")
    assert round(float(reader.pages[0].mediabox.width)) == (612 if paper == "Letter" else 595)
    return [" ".join(p.extract_text().split()) for p in reader.pages]


# -- two pages -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", WRAPS)
def test_two_pages_with_standing_identity_and_digest(name, paper, tmp_path):
    pages = printed(site(record(name, paper=paper)), tmp_path, paper)
    assert len(pages) == 2
    for n, text in enumerate(pages, 1):
        assert WARNING in text and f"Site sheet {name}" in text and f"Page {n} of 2" in text
        assert f"{name}, revision 2, record 0123456789ab; {IDENTITIES}" in text


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", ["HB-07", "HB-51"])
def test_two_pages_with_names_and_date(name, paper, tmp_path):
    long = Approval("A" * 60, "Bartholomew Cholmondeley-Wrights", "C" * 60, "2026-10-02", "", "2026-10-09T07:05:59Z")
    for approval in (NAMES, long):
        text = site(record(name, paper=paper), approval=approval)
        pages = printed(text, tmp_path, paper)
        assert len(pages) == 2 and "NOT APPROVED" not in text
        for page in pages:
            assert approval.line in page and approval.foot in page and approval.foot.endswith(IDENTITIES)
    assert long.foot.startswith("approval written 2026-10-09 07:05 UTC; ")


def crowded(units: int, repairs: int) -> dict:
    """As many units as a record may have, in two tiers, with long words everywhere."""
    found = record("HB-51")
    marks = found["site"]["wrap"]["marks"]
    first = copy.deepcopy(marks["repairs"][0])
    marks["repairs"] = []
    for k in range(repairs):
        new = copy.deepcopy(first) | {"label": str(k + 1)}
        unit = new["units"][0]
        new["units"] = [copy.deepcopy(unit) | {"number": n, "tier": t} for t in (1, 2) for n in range(1, units + 1)]
        for u in new["units"]:
            for side, at in (("upstream", u["number"] - 1), ("downstream", u["number"])):
                u[side] = u[side] | {"magnitude": 3000.0 * k + 170.0 * at, "shown": f"{3000 * k + 170 * at} mm"}
        for name, off in (("edge", 45.0), ("steel", 105.0)):
            for side, at in (("upstream", -off), ("downstream", 170.0 * units + off)):
                place = new[f"{side}_{name}"]
                new[f"{side}_{name}"] = place | {"magnitude": 3000.0 * k + at, "shown": f"{3000 * k + at:g} mm"}
        marks["repairs"].append(new)
    found["case"] |= {"title": "title " * 60, "joint": "joint " * 60}
    for i in found["inputs"]:
        if i["field"] in ("location.contact", "work.pressure_source"):
            i["shown"] = "word " * 80
    return found


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize(("units", "repairs"), [(5, 1), (5, 2), (5, 3)])
def test_two_pages_where_everything_is_long(units, repairs, paper, tmp_path):
    found = crowded(units, repairs)
    found["case"]["paper"] = paper
    pages = printed(site(found), tmp_path, paper)
    assert len(pages) == 2
    text = " ".join(pages)
    assert all(f"{3000 * (repairs - 1) + 170 * n} mm" in text for n in range(units + 1))


def test_places_that_have_no_room_stand_on_the_kit_list(tmp_path):
    found = crowded(10, 4)
    text = site(found)
    assert len(printed(text, tmp_path, "A4")) == 2 and "Sides and starts of all units: table on the kit list." in text
    for k in range(4):
        assert f"{3000 * k + 1700} mm" in words(kit(found))


def test_a_sheet_that_does_not_fit_is_refused_and_never_cut(monkeypatch):
    monkeypatch.setattr(site_sheet, "SETTINGS", SETTINGS[:1])
    with pytest.raises(PackageError, match=r"HB-51: the site sheet does not fit on 2 pages, with its 20 units; split"):
        site(crowded(5, 2))


def test_the_widest_setting_that_fits_is_taken(monkeypatch):
    tried = []
    real = site_sheet.page_count
    monkeypatch.setattr(site_sheet, "page_count", lambda text: (tried.append(real(text)), tried[-1])[1])
    site(record("HB-34"))
    assert tried[-1] == 2 and set(tried[:-1]) <= {3, 4}
    assert [x.close for x in SETTINGS] == sorted(x.close for x in SETTINGS)


def test_pages_are_counted_as_they_are_printed(tmp_path):
    text = kit(record("HB-07"))
    assert page_count(text) == len(printed(text, tmp_path, "A4"))


def test_letters_are_eleven_points_and_more():
    for text in (site(record("HB-07")), kit(record("HB-07"))):
        style = re.search(r"<style>(.*?)</style>", text, re.DOTALL)[1]
        foot = re.search(r"@bottom-left.*?}", style)[0]
        sizes = [float(x) for x in re.findall(r"font-size: ([\d.]+)pt", style.replace(foot, ""))]
        assert min(sizes) >= 11 and not re.search(r"font-size: [\d.]+(?:em|%|px|rem)", style)
        assert float(re.search(r"font-size: ([\d.]+)pt", foot)[1]) >= 9


@pytest.mark.parametrize("make", [site, kit])
def test_the_same_arguments_give_the_same_text(make):
    assert make(record("HB-07")) == make(record("HB-07"))


# -- standing ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("make", [site, kit])
def test_not_approved_stands_across_until_names_do(make):
    text = make(record("HB-07"))
    across = re.search(r'<div class="across">.*?</div>', text, re.DOTALL)[0]
    assert "NOT APPROVED" in across and 'fill="none"' in across  # an outline, behind what is printed
    assert ".across { position: fixed" in text and "z-index: -1" in text
    with_names = make(record("HB-07"), approval=NAMES)
    assert "NOT APPROVED" not in with_names and "Approved by A. Approver, 2026-10-02" in words(with_names)
    assert '<div class="across">' not in with_names


def test_only_for_a_wrap():
    for make in (site, kit):
        with pytest.raises(PackageError, match="HB-02: the decision is 'no repair needed'; a site sheet and a kit "
                                               "list are made for a wrap only"):
            make(record("HB-02"))


# -- what stands on it ---------------------------------------------------------------------------------------------
def test_the_pressure_comes_first_with_lines_for_readings():
    found = record("HB-07")
    text = words(site(found))
    order = ["Line pressure at most while anyone is in the trench", f"{found['decision']['beside']['shown']} gauge",
             "While laying and curing, held steady: 2 MPa", "Until the repair is accepted: 6.48 MPa",
             "Read at: gauge at valve 2, corrected for elevation, every 30 min", "Confirmed by", "with", "Time Press.",
             "Unit"]
    places = [text.index(w) for w in order]
    assert places == sorted(places)
    assert site(found).split("</section>")[0].count('<tr class="fill">') >= 3


def test_the_lower_of_two_pressures_holds_while_laying():
    found = record("HB-07")
    plan = next(i for i in found["inputs"] if i["field"] == "service.installation_pressure")
    plan |= {"magnitude": 1.5, "shown": "1.5 MPa gauge"}
    assert "While laying and curing, held steady: 1.5 MPa" in words(site(found))
    plan |= {"magnitude": 3.5, "shown": "3.5 MPa gauge"}
    assert "While laying and curing, held steady: 2 MPa" in words(site(found))


def test_an_unknown_pressure_keeps_people_out_and_leaves_a_line():
    found = record("HB-07")
    found["decision"]["beside"] = None
    text = site(found)
    assert "Not known: nobody goes in until the engineer gives it:" in words(text)
    assert '<div class="number">' not in text


@pytest.mark.parametrize("name", ["HB-07", "HB-15", "HB-51"])
def test_marks_box_and_doses_are_those_of_the_record(name):
    found = record(name)
    wrap, text = found["site"]["wrap"], words(site(found))
    for r in wrap["marks"]["repairs"]:
        for u in r["units"]:
            assert u["upstream"]["shown"] in text and u["downstream"]["shown"] in text and u["clock"] in text
    for e in wrap["marks"]["ends"]:
        assert e["most"]["shown"] in text and e["rule"].split(";")[0][1:] in text
    for b in found["bears"]["box"]:
        assert f"{b['input']} {'above' if b['bound'] == 'at most' else 'below'} {b['edge']['shown']}" in text
    for m in wrap["mixing"]:
        assert f"{m['rows'][0]['shown'][2]} resin" in text and f"by {m['rule']}" in text
        if m["window"] and m["window"]["allowed"]:
            assert f"Used up within {m['window']['allowed']['shown']}" in text
        for row in m["rows"] if len(m["rows"]) <= 8 else [x for x in m["rows"] if x["added"]]:
            assert row["shown"][0] in text and row["shown"][3] in text


def test_a_long_dose_table_shows_the_rows_about_the_plan_and_the_kit_list_all():
    found = record("HB-07")
    mix = found["site"]["wrap"]["mixing"][0]
    assert len(mix["rows"]) > 8
    text, whole = words(site(found)), words(kit(found))
    assert "More rows and the batch log: kit list" in text
    for row in mix["rows"]:
        assert row["shown"][3] in whole
    added = [k for k, x in enumerate(mix["rows"]) if x["added"]]
    for k in (added[0] - 1, *added, added[-1] + 1):  # the plan and a row of the sheet on each side of it
        assert mix["rows"][k]["shown"][3] in text


def test_every_hold_point_has_its_box_in_order():
    found = record("HB-07")
    text = site(found)
    points = found["site"]["wrap"]["hold_points"]
    assert len(points) == 20
    for p in points:
        assert re.search(rf'<span class="tick"></span> {p["letter"]}{p["number"]}</span>', text), p["title"]


def test_limits_stand_beside_lines_to_write_the_reading():
    found = record("HB-07")
    text = site(found)
    for what, limit in (("Steel, coldest place", "≥ 7 °C"), ("Steel, hottest place", "≤ 48 °C"),
                        ("Profile", "55 to 105 µm"),
                        ("Humidity*", "≤ 85 %"), ("Steel over dew point*", "≥ 3 °C"), ("Dust, ISO 8502-3", "≤ 2"),
                        ("Blast to 1st material", "≤ 4 h"), ("Wall, to blast live", "≥ 4.2 mm"),
                        ("Mean, Shore D", "≥ 71.1"), ("Tap test, grid", "≤ 90 mm"), ("Layers, two people", "≥ 11")):
        assert re.search(rf"{re.escape(what)}</th><td><b>{re.escape(limit)}</b></td><td></td>", text), what
    assert "Blast grade: Sa 2 1/2 or better, ISO 8501-1" in words(text)


def test_cure_restoration_holiday_and_call():
    found = record("HB-07")
    text = words(site(found))
    assert "Only logged steel temperature releases; below 15 °C nothing counts; a forecast releases nothing." in text
    for temperature, time in (("15 °C", "36 h"), ("48 °C", "8 h")):
        assert temperature in text and time in text
    for step in found["site"]["wrap"]["restoration"]["steps"]:
        assert step["shown"] in text
    assert "Never above 8.6 MPa (the MAOP)" in text and "hold 30 min" in text
    assert "Holiday test: NACE SP0274, 7843 V at 1 mm dry" in text
    assert "Stop, leave the trench, call duty engineer, extension 207 (invented)" in text
    assert "planned start inside a window; start from 2026-10-06 08:00 +01:00" in text and "Wind at most 11 m/s" in text


def test_what_is_not_stated_is_a_line_to_write_on():
    text = site(record("HB-51"))
    line = r'<span class="blank \w*"></span>'
    said = r' <span class="unsaid">\(not stated: fill in before work\)</span>'
    for label in ("Read at: ", "Middle of the damage from the girth weld: ", "Engineer and number: ", "Pot life ",
                  "Steps and holds: ", "standard and voltage "):
        assert re.search(label + line + said, text), label
    assert re.search(rf"Wall, to blast live</th><td>{line}†</td>", text)
    assert "None" not in words(text) and "None" not in words(kit(record("HB-51")))


def test_the_drawing_stands_on_it():
    assert "<figure><svg" in site(record("HB-07")) and "<figure><svg" in site(record("HB-51"))


def test_letters_of_the_case_are_escaped(tmp_path):
    found = record("HB-07", title="<b>&\"'</style><script>", joint="<script>alert(1)")
    for make in (site, kit):
        text = make(found, approval=Approval("<script>a", "\";}</style>", "ok", "2026-10-02"))
        assert "<script>" not in text and "&lt;script&gt;" in text and text.count("</style>") == 1
        html_to_pdf(text, tmp_path / "x.pdf")


# -- the kit list --------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("name", WRAPS)
def test_the_kit_list_has_order_batches_consumables_tools_and_cautions(name, tmp_path):
    found = record(name)
    stuff, text = found["site"]["wrap"]["materials"], words(kit(found))
    for line in found["order"]:
        assert line["item"] in text and line["quantity"]["shown"] in text
    for t in (*stuff["consumables"], *stuff["tools"]):
        assert t["item"] in text
    for i in stuff["items"]:
        for t in i["take"]:
            assert f"{t['batch'] or 'no batch number'}: {t['pieces']}" in text
    for c in found["site"]["wrap"]["cautions"]:
        assert c["text"] in text
    ticks = len(found["order"]) + len(stuff["consumables"]) + len(stuff["tools"])
    assert kit(found).count('<span class="tick">') == ticks
    pages = printed(kit(found), tmp_path, found["case"]["paper"])
    assert all(WARNING in p and f"Kit list {name}" in p for p in pages)


def test_spares_are_added_openly():
    found = record("HB-07")
    text = words(kit(found))
    adhesive = next(i for i in found["site"]["wrap"]["materials"]["items"] if i["item"] == "Adhesive")
    assert f"{adhesive['pieces']} + {adhesive['spares']['shown']} of 2.0 kg" in text and "A-2219: 2" in text


# -- words ---------------------------------------------------------------------------------------------------------
def test_a_caution_is_cut_after_a_sentence_only():
    assert first_sentence("One. Two.") == "One." and first_sentence("At 1.5 m one") == "At 1.5 m one"


def test_a_limit_that_nobody_shortened_keeps_its_words():
    assert limit_words("something new") == "something new"
    assert limit_words("soluble salt, as chloride") == "Salts, as chloride"


def test_starts_say_of_which_tier_they_are():
    """Side by side and one over the other: a clock alone would not say which sleeve it is the start of."""
    units = record("HB-51")["site"]["wrap"]["marks"]["repairs"][0]["units"]
    clocks = {u["tier"]: u["clock"] for u in units if u["number"] == 1}
    assert len(clocks) == 2
    text = words(site(record("HB-51")))
    assert f"{clocks[1]}; {clocks[2]}" in text and "sides, all tiers starts 1st; 2nd" in text
    assert "1st, 2nd: tier from the pipe." in words(kit(record("HB-51")))
    assert "sides, all tiers" not in words(site(record("HB-07")))


def test_a_plan_without_a_forecast_asks_to_read_on_the_day():
    found = record("HB-15")
    assert not found["site"]["wrap"]["weather"]["windows"] and not found["site"]["wrap"]["weather"]["reason"]
    text = words(site(found))
    assert "Weather: no forecast; read the limits on the day." in text and "no data" not in text


def test_what_is_said_of_several_mixes_is_said_once():
    found = record("HB-15")
    said = [c for m in found["site"]["wrap"]["mixing"] for c in m["cautions"]]
    text = words(kit(found))
    assert len(said) > len(set(said)) and all(text.count(c) == 1 for c in said)

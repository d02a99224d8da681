"""The dig sheet: two pages that can be read in the rain, from the record alone, with lines to write on."""

import copy
import functools
import re
from importlib import resources
from pathlib import Path

import pypdf
import pytest
import tomlkit

from wrapcalc import record as records
from wrapcalc.case import load_bundle
from wrapcalc.package.dig_sheet import dig_sheet_html
from wrapcalc.package.pdf import html_to_pdf
from wrapcalc.package.report import IDENTITIES, WARNING, Approval
from wrapcalc.record_dig import GROUPS, dig_data
from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages.dig.dig import dig
from wrapcalc.stages.job import run

EXAMPLE = Path(str(resources.files("wrapcalc.example")))
DIGEST = "0123456789abcdef" * 4


def with_dig(path: Path) -> dict:
    """The record of a case with its dig, worked out by itself."""
    bundle = load_bundle(path)
    outcome = run(bundle)
    with recording(Recorder(bundle.case.display)):
        found = dig(bundle, outcome.assessment, outcome.design, outcome.decision)
    display = bundle.case.display
    made = records.build(outcome)
    made["site"] = {"dig": dig_data(found, lambda v: records.value_data(v, display), display)}
    return made


@functools.cache
def shipped(name: str) -> dict:
    return with_dig(EXAMPLE / f"{name}.toml")


@pytest.fixture
def changed(example):
    def make(file: str, **tables) -> dict:
        data = tomlkit.parse((example / file).read_text("utf-8")).unwrap()
        for name, fields in tables.items():
            if isinstance(fields, dict):
                data[name] = {k: v for k, v in (data.get(name, {}) | fields).items() if v is not None}
            else:
                data[name] = fields
        (example / "changed.toml").write_text(tomlkit.dumps(data), "utf-8")
        return with_dig(example / "changed.toml")
    return make


def html(record: dict, **options) -> str:
    return dig_sheet_html(record, **{"revision": 2, "digest": DIGEST} | options)


def pages(record: dict, folder: Path, paper: str = "", **options) -> list[str]:
    """The text of each page of the PDF, white space made single."""
    record = copy.deepcopy(record)
    record["case"]["paper"] = paper or record["case"]["paper"]
    html_to_pdf(html(record, **options), folder / "dig.pdf")
    reader = pypdf.PdfReader(folder / "dig.pdf")
    size = reader.pages[0].mediabox
    assert round(float(size.width)) == (612 if record["case"]["paper"] == "Letter" else 595)
    return [" ".join(p.extract_text().split()) for p in reader.pages]


def words(text: str) -> str:
    """What is read of a page of HTML."""
    return " ".join(re.sub(r"<style>.*?</style>|<svg.*?</svg>|<[^>]*>", " ", text, flags=re.DOTALL).split())


# -- two pages -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", ["HB-07", "HB-15"])
def test_two_pages_with_standing_identity_and_digest(name, paper, tmp_path):
    texts = pages(shipped(name), tmp_path, paper)
    assert len(texts) == 2
    for n, text in enumerate(texts, 1):
        assert WARNING in text and f"Dig sheet {name}" in text
        assert f"{name}, revision 2, record 0123456789ab" in text and f"Page {n} of 2" in text


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_two_pages_where_nearly_nothing_is_stated(changed, paper, tmp_path):
    texts = pages(changed("HB-02.toml", excavation={"soil": "type B"}), tmp_path, paper)
    assert len(texts) == 2 and "Is it the right joint?" in texts[0] and "The trench" in texts[1]


def full(changed) -> dict:
    """As much as a case may state: long texts, twins on both sides, a trench beyond the table."""
    joints = [("upstream", "39.9 ft", "10:30"), ("upstream", "39.7 ft", "10:50"), ("upstream", "39.6 ft", None),
              ("downstream", "39.6 ft", "11:05"), ("downstream", "3.6 ft", "3:15"), ("downstream", "39.6 ft", "3:15")]
    return changed(
        "HB-15.toml", case={"line": "line " * 60, "title": "title " * 40},
        joint=[{"side": s, "number": str(136 + k), "length": x} | ({"seam_clock": c} if c else {})
               for k, (s, x, c) in enumerate(joints)],
        location={"log_distance": "8412.6 ft", "first_point_log": "7988.3 ft", "first_point_survey": "7969 ft",
                  "second_point_log": "8871.5 ft", "second_point_survey": "8849 ft", "latitude": 31.4072,
                  "longitude": -38.1, "datum": "WGS 84", "coordinates_of": "top of pipe at the defect " * 6,
                  "contact": "call " * 40, "section": "word " * 40, "marker": "post " * 30},
        excavation={"access": "bog " * 60, "cover": "20 ft", "span_stress": None})


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_two_pages_where_everything_is_long(changed, paper, tmp_path):
    texts = pages(full(changed), tmp_path, paper)
    assert len(texts) == 2 and "5 joints cannot be told from this one by their length" in texts[1]


def test_no_letter_below_eleven_points():
    text = html(shipped("HB-07"))
    style = re.search(r"<style>(.*?)</style>", text, re.DOTALL)[1]
    foot = re.search(r"@bottom-left.*?}", style)[0]  # as on the site sheet: identity and digest, not read from afar
    sizes = [float(x) for x in re.findall(r"font-size: ([\d.]+)pt", style.replace(foot, ""))]
    assert min(sizes) >= 11 and "column" not in re.sub(r"/\*.*?\*/", "", style, flags=re.DOTALL)
    assert not re.search(r"font-size: [\d.]+(?:em|%|px|rem)", style)


def test_the_same_arguments_give_the_same_text():
    assert html(shipped("HB-07")) == html(shipped("HB-07"))


# -- what stands on it ---------------------------------------------------------------------------------------------
def test_the_pressure_comes_first_with_lines_for_readings(tmp_path):
    text = words(html(shipped("HB-07")))
    order = ["Pressure at most while people are beside the pipe", "2 MPa gauge", "Until it is repaired at most: 6.48",
             "Read at gauge at valve 2", "Time Pressure Read by", "From girth weld"]
    places = [text.index(w) for w in order]
    assert places == sorted(places)


def test_an_unknown_pressure_keeps_people_away_and_leaves_a_line(changed):
    text = html(changed("HB-07.toml", service={"discovery_pressure": None}))
    assert "Not known: nobody stands beside the pipe until the engineer gives it" in words(text)
    assert "gauge</div>" not in text.split("</section>")[0]


def test_place_joints_and_trench_are_those_of_the_record(tmp_path):
    record = shipped("HB-07")
    text = words(html(record))
    for group in GROUPS:
        for row in record["site"]["dig"][group]:
            assert row["shown"].split(",")[0].casefold() in text.casefold(), row["label"]
    for need in record["site"]["dig"]["needs"]:
        assert need in text
    assert "upstream weld 1180 4.19 m 4.308 m 4.426 m" in text and "downstream weld 1190 7.676 m 7.558 m 7.44 m" in text
    assert "Measure the joint downstream as well" in text


def test_the_drawing_stands_on_it_and_is_left_out_without_lengths(changed):
    assert "<figure><svg" in html(shipped("HB-07"))
    text = html(changed("HB-07.toml", location={"joint_length": None}))
    assert "<figure>" not in text and "Is it the right joint?" in text


def test_the_limits_of_the_box_are_stop_rules_of_a_wrap_only(changed):
    record = shipped("HB-07")
    text = words(html(record))
    for side in record["bears"]["box"]:
        assert f"{side['input']} {'above' if side['bound'] == 'at most' else 'below'} {side['edge']['shown']}" in text
    other = words(html(changed("HB-02.toml", excavation={"soil": "type B"})))
    assert "the repair as designed does not cover it" not in other
    assert "when the joint is not proven, the pressure is above the limit" in other


@pytest.mark.parametrize("blank", ["Coating", "condition", "deposit, colour, pH", "Cracks (magnetic or dye test)",
                                   "Laminations under both ends", "Sound wall at 12:00", "Deepest, pit gauge",
                                   "Deepest, other way", "Length, width", "Gauges: numbers and dates of calibration",
                                   "Two names"])
def test_the_form_of_what_is_found(blank):
    assert blank in words(html(shipped("HB-07")))


def test_what_is_not_stated_is_a_line_to_write_on(changed):
    text = html(changed("HB-02.toml", excavation={"soil": "type B"}))
    dig_part = text[text.index("Where it is"):]
    for label in ("Reference point", "Latitude, longitude", "To be repaired by", "Depth", "Span by own weight",
                  "Access, water, services"):
        cell = re.search(rf'<th scope="row">{label}</th><td>(.*?)</td>', dig_part)
        assert cell[1] == '<span class="full"></span>', label
    assert "Engineer and number:" in text and "not listed" in text


def test_a_struck_value_is_struck(changed):
    text = html(full(changed))
    assert re.search(r'Volume in the ground</th><td><del>[\d.]+ ft³</del></td>', text)
    assert "a registered professional engineer designs slopes or shoring" in words(text)


def test_letters_of_the_case_are_escaped(changed, tmp_path):
    record = changed("HB-07.toml", case={"title": "<b>&\"'</style><script>"}, location={"contact": "<script>alert(1)"})
    text = html(record)
    assert "<script>" not in text and "&lt;script&gt;" in text
    assert len(pages(record, tmp_path)) == 2


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_names_take_the_place_of_the_warning_on_two_pages(changed, paper, tmp_path):
    """The longest names that a head takes, on the fullest sheet; each page says that they are typed, and when."""
    long = Approval("A" * 60, "Bartholomew Cholmondeley-Wrights", "C" * 60, "2026-10-01",
                    written="2026-10-09T07:05:59Z")
    for record in (full(changed), shipped("HB-07")):
        assert WARNING not in html(record, approval=long)
        texts = pages(record, tmp_path, paper, approval=long)
        assert len(texts) == 2
        for text in texts:
            assert long.line in text and f"approval written 2026-10-09 07:05 UTC; {IDENTITIES}" in text


def test_every_page_says_that_identities_are_typed(tmp_path):
    assert all(IDENTITIES in text for text in pages(shipped("HB-15"), tmp_path))


def test_rows_are_high_where_there_is_room(changed):
    """In mm; a thick pencil in a wet glove."""
    for record, low, high in ((shipped("HB-07"), 7, 8), (shipped("HB-15"), 7, 8), (full(changed), 5, 7)):
        assert low <= float(re.search(r"tr\.fill td, tr\.fill th { height: ([\d.]+)mm", html(record))[1]) <= high


# -- the record ----------------------------------------------------------------------------------------------------
def test_the_dig_is_plain_data_and_goes_into_the_bytes_of_the_record():
    record = shipped("HB-07")
    assert records.to_bytes(record) == records.to_bytes(copy.deepcopy(record))
    found = record["site"]["dig"]
    assert {j["number"]: j["length"]["shown"] for j in found["joints"]} == {
        "116": "11.93 m", "117": "12.11 m", "118": "11.866 m", "119": "10.48 m"}
    middle = found["distances"][0]["middle"]
    assert (middle["magnitude"], middle["unit"], middle["shown"]) == (4.308, "m", "4.308 m")
    assert middle["origin"]["kind"] == "step"


def test_no_dig_is_none():
    assert dig_data(None, lambda v: None, "SI") is None

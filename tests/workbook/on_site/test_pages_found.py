"""The page of a look into the ditch: what differs comes first, in the words of the sheet."""

import re
from html import unescape
from importlib import resources
from pathlib import Path

import pytest

from tests.helpers.as_found import HB_07, Sheet
from wrapcalc import record_as_found
from wrapcalc.case import load_bundle
from wrapcalc.case.as_found import read_as_found
from wrapcalc.stages.as_found.as_found import as_found
from wrapcalc.stages.job import run
from wrapcalc.workbook.on_site import pages_found as pages

EXAMPLE = Path(str(resources.files("wrapcalc.example")))


@pytest.fixture(scope="module")
def look(tmp_path_factory):
    """The data of a sheet of HB-07 with these changes, and its page in plain words."""
    bundle = load_bundle(EXAMPLE / "HB-07.toml")
    issued = run(bundle)

    def look(changes, *, without=(), grid=True):
        raw = (EXAMPLE / "HB-07-grid.csv").read_bytes() if grid else b""
        s = Sheet({k: v for k, v in HB_07.items() if k not in without}, tmp_path_factory.mktemp("sheet"),
                  digest="0" * 12, date="2026-10-02", grid=raw)
        for dotted, value in changes.items():
            s.put(dotted, value)
        if not grid:
            s.put("defect.grid", None)
        gate = as_found(bundle, issued, read_as_found(s.write()), package="HB-07-r1")
        data = record_as_found.build(gate, issued, revision=1, number=1, package_manifest_sha256="0" * 64,
                                     record_sha256="0" * 64, notes=[])
        html = pages.verdict(data, 0)
        return data, html, unescape(re.sub(r"<[^>]+>", " ", html))
    return look


def rows_of(html, title):
    part = html.partition(f"<h3>{title}</h3>")[2].partition("<h3>")[0].partition("<details>")[0]
    return [re.findall(r"<td[^>]*>(.*?)</td>", r) for r in re.findall(r"<tr>(.*?)</tr>", part)[1:]]


@pytest.fixture(scope="module")
def little(look):
    """Little was measured, and what was measured stops the job."""
    return look({"defect.depth": "4.3 mm", "defect.width": None, "defect.clock": None, "as_found.checked_by": None},
                without=("neighbour",), grid=False)


def test_what_was_measured_and_differs_stands_first_and_what_was_not_is_left_to_what_is_missing(little):
    data, html, _ = little
    rows = rows_of(html, "What differs from the prediction")
    assert data["verdict"] == "stop: new revision" and rows[0][3] == "not met"
    assert any("4.3 mm" in r[2] for r in rows)
    unread = [r["what"] for r in data["comparison"] if r["verdict"] == "no data"]
    assert unread and not {r[0] for r in rows} & set(unread) and "no data" not in {r[3] for r in rows}
    assert "This is not joint 116: nothing measured" in "".join(data["missing"])
    assert "This is not joint 116" not in {r[0] for r in rows}, "what tells too little is missing, too"
    words = [r[3] for r in rows]
    assert words == sorted(words, key="met".__eq__), "those that do not hold before those that do"


def test_questions_are_called_as_on_the_sheet_and_no_field_name_is_left(little):
    data, _, text = little
    names = {s["field"] for s in data["stated"]}
    assert "defect.width" in names and not [n for n in names if n in text]
    asked = next(s["question"] for s in data["stated"] if s["field"] == "defect.width")
    assert f"width of the defect (“{asked}”)" in text
    assert "state “Sleeves laid one over the other” = 2 and run again" in text and "design.tiers" not in text
    assert "Decision: other repair needed; expected: wrap" in text and ", wanted " not in text


def test_numbers_of_the_designs_have_the_digits_of_the_bench_and_never_hide_a_difference(little):
    data, html, _ = little
    rows = {r[0]: r for r in rows_of(html, "The design, worked again with what was found")}
    digits = [re.sub(r"\D", "", n).lstrip("0") for r in rows.values() for cell in r[1:3]
              for n in re.findall(r"^(\d+\.\d+) \S+$", cell)]
    assert digits and max(map(len, digits)) <= 4
    one = next(i for i in data["items"] if i["title"] == "The design issued")
    other = next(i for i in data["items"] if i["title"] == "The design with what was found")
    first, second = one["results"][0], next(r for r in other["results"] if r["name"] == one["results"][0]["name"])
    first |= {"magnitude": 9.8321, "unit": "mm", "shown": "9.8321 mm"}
    second |= {"magnitude": 9.8324, "unit": "mm", "shown": "9.8324 mm"}
    again = {r[0]: r for r in rows_of(pages.verdict(data, 0), "The design, worked again with what was found")}
    assert again[first["name"]][1:] == ["9.8321 mm", "9.8324 mm", "differs"]

"""What the report says of the anomalies: listed beside measured, and what is cut or not drawn is counted."""

import csv
import json

import pytest

from wrapcalc.campaign.cases.selection import Chosen
from wrapcalc.campaign.report import anomalies, work
from wrapcalc.campaign.report.numbers import Numbers
from wrapcalc.campaign.report.ranked import DRAWN, NAMED, drawn, joined, screened
from wrapcalc.campaign.report.sections import Figure, Section, Table

COLUMNS = {"row": 0, "feature id": "", "kind": "external metal loss", "survey [mm]": 1000.0, "joint": "7",
           "clock [h]": 6.0, "depth [mm]": 3.0, "length [mm]": 100.0, "relative depth": 0.4, "safe pressure [MPa]": 7.0,
           "repair factor": 1.2, "deadline": "", "disposition": "repair", "reason": "", "repair": "",
           "under repair": "", "known repair": "", "known repair is": ""}
NAN = float("nan")


def ranked(path, *given):
    """A ranked table; what is not given as in COLUMNS."""
    import pyarrow as pa
    from pyarrow import parquet
    rows = [COLUMNS | {"row": i + 2, "feature id": f"F{i + 1}", "survey [mm]": 1000.0 * (i + 1)} | g
            for i, g in enumerate(given)]
    parquet.write_table(pa.table({n: [r[n] for r in rows] for n in COLUMNS}), path / "ranked.parquet")
    return path / "ranked.parquet"


def chosen(*rows, case="F1", repair=""):
    return Chosen(case, tuple({"row": r, "feature_id": f"F{r - 1}", "repair": repair} for r in rows), ("x",))


def told(**more):
    return {"campaign": {"display": "SI"}, "chosen": [], "left": [], "packages": [], "undecided": {}, "ranked_rows": 3,
            "undecided_deepest": [], "undecided_not_named": 0,
            "failures": [], "no_longer_chosen": [], "told": [], "made_from": {}} | more


def data(path=None, *given, dug=(), **more):
    shown = drawn(ranked(path, *given), dug) if path else {}
    return {"screening": {}, "neighbours": [], "display": "SI", "head": [], "known": [], "under_repair": 0,
            "dispositions": {}, "places": {}, "not_drawn": {}, "no_place": {}, "no_place_named": {}, "ends": None,
            "depths": [0] * 20, "factors": [0] * 20, "depths_beyond": 0, "depths_unknown": 0, "factors_beyond": 0,
            "factors_unknown": 0} | shown | more


def part(key, about, rolled) -> Section:
    return next(s for s in anomalies.sections(about, rolled) if s.key == key)


def cells(section, head):
    """The cells of the column of that heading."""
    return [row[t.head.index(head)] for t in section.parts if isinstance(t, Table) and head in t.head for row in t.rows]


# -- what is dug --------------------------------------------------------------------------------------------------
def row(name, **more):
    return {"row": 2, "feature_id": name, "kind": "external metal loss", "survey": 74_010.0, "joint": "7", "clock": 6.0,
            "depth": 3.0888, "length": 445.0, "safe_pressure": 5.8, "repair_factor": 1.48,
            "deadline": "immediate repair, the pressure reduced"} | more


def replaced(name, field, listing, measured):
    return {"feature_id": name, "field": field, "listing": listing, "measured": measured, "source": "field.csv line 6"}


def test_what_is_dug_shows_listed_and_measured_depth_and_names_the_rest_as_of_the_listing():
    about = told(chosen=[{"case": "F1", "why": ["F1: a", "F2: a", "F2: b", "c: d"], "rows": [row("F1"), row("F2")],
                          "replaced": [replaced("F2", "defect.depth", "3.0888 mm", "4.1 mm"),
                                       replaced("F2", "defect.clock", "8.01667 h", "8:01")]}],
                 packages=[{"case_id": "F1", "decision": "wrap"}])
    dug = part("dug", about, data())
    assert cells(dug, "Depth listed") == ["3.09 mm", "3.09 mm"] and cells(dug, "Depth measured") == ["–", "4.10 mm"]
    assert cells(dug, "Repair factor, listing") == ["1.48", "1.48"]
    assert cells(dug, "Deadline, listing") == ["immediate repair", "immediate repair"]
    assert cells(dug, "Chosen because") == ["a; b; c: d", "in the same repair"], "each reason once"
    assert "Distance, listed depth, repair factor and deadline are those of the listing" in dug.text()
    assert (cells(dug, "What"), cells(dug, "Listing or base case"), cells(dug, "Measured")) == (
        ["depth", "clock"], ["3.0888 mm", "8.01667 h"], ["4.1 mm", "8:01"]), "both are kept and shown"
    assert "both are kept" in dug.text()


def test_without_a_measurement_nothing_is_said_of_one():
    about = told(chosen=[{"case": "F1", "why": ["a"], "rows": [row("F1")], "replaced": []}])
    dug = part("dug", about, data())
    assert cells(dug, "Depth measured") == ["–"] and "Measured in the ditch, and" not in dug.text()
    assert cells(dug, "Decision of its package") == ["no package"]


def test_of_rows_that_share_an_id_and_of_grids_no_depth_is_claimed():
    about = told(chosen=[{"case": "F1", "why": ["a"], "rows": [row("F1"), row("F1", row=9), row("F3")], "replaced": [
        replaced("F1", "defect.depth", "3 mm", "4.1 mm"), replaced("F3", "defect.grid", "", "grid.csv")]}])
    assert cells(part("dug", about, data()), "Depth measured") == ["see below", "see below", "depth grid"]


def test_a_long_list_of_measured_values_says_where_the_rest_stands():
    many = [replaced(f"F{i}", "defect.depth", "3 mm", "4 mm") for i in range(anomalies.MOST + 2)]
    about = told(chosen=[{"case": "F1", "why": ["a"], "rows": [row("F1")], "replaced": many}])
    assert part("dug", about, data()).text().endswith("2 more values stand in campaign.json.")


def test_a_depth_as_written_is_printed_in_the_units_of_the_campaign():
    n = Numbers("US")
    assert n.written("5.08 mm", "mm", 2) == "0.200 in" and n.written("as drawn", "mm", 2) == "as drawn"


# -- what is left -------------------------------------------------------------------------------------------------
def test_reasons_that_are_not_listed_are_counted():
    about = told(left=[{"reason": f"reason {i}", "row": row(f"F{i}")} for i in range(23) for _ in range(2)])
    left = part("left", about, data())
    assert left.parts[0].rows[-1] == ("3 other reasons, each in campaign.json", "6")
    assert len(left.parts[0].rows) == 21 and sum(int(n) for _, n in left.parts[0].rows) == len(about["left"])
    few = part("left", told(left=about["left"][:40]), data())
    assert len(few.parts[0].rows) == 20 and "other reason" not in few.text()


def test_rows_without_enough_data_are_named_the_deepest_first_and_the_rest_counted():
    rows = [row(f"F{i}", relative_depth=0.5, reason="not stated: length") for i in range(anomalies.MOST + 3)]
    rows[0] |= {"relative_depth": None, "reason": "not stated: wall", "repair_factor": None}
    about = told(undecided={"not stated": 70}, undecided_deepest=rows, undecided_not_named=5)
    left = part("left", about, data())
    assert cells(left, "Feature") == [f"F{i}" for i in range(anomalies.MOST)]
    assert cells(left, "Depth with allowance over wall")[:2] == ["–", "50 %"]
    assert cells(left, "What is lacking")[0] == "not stated: wall"
    assert "70 anomalies without enough data: not stated" in left.parts
    assert left.parts[-2:] == ["3 more stand in campaign.json.", "5 less deep or without a depth are counted above and "
                               "named in screening/ranked.parquet only."]
    assert "the deepest first" not in part("left", told(), data()).text()


# -- what is drawn ------------------------------------------------------------------------------------------------
def test_rows_without_a_clock_are_counted_and_named_the_chosen_first(tmp_path):
    rolled = data(tmp_path, {"clock [h]": NAN}, {}, {"clock [h]": NAN, "disposition": "no repair needed"},
                  {"survey [mm]": NAN}, {"clock [h]": NAN, "under repair": "HB-07-r1"}, {}, dug=[chosen(2)])
    figure, *texts = part("map", told(), rolled).parts
    assert isinstance(figure, Figure)
    assert figure.caption == "2 of 6 anomalies by surveyed distance and clock, facing downstream."
    assert texts == ["Not on the map, without clock or surveyed distance, chosen: F1.",
                     "Not on the map, without clock or surveyed distance, repair asked, not chosen: F4.",
                     "Not on the map, without clock or surveyed distance, under repair: F5.",
                     "Not on the map, without clock or surveyed distance, left as it is: F3."]


def test_a_map_with_all_rows_says_so_and_no_more(tmp_path):
    figure, *texts = part("map", told(), data(tmp_path, {}, {})).parts
    assert figure.caption.startswith("2 of 2 anomalies") and texts == []


def test_names_and_places_that_are_cut_are_counted(tmp_path):
    rolled = data(tmp_path, *[{}] * (DRAWN + 3), *[{"clock [h]": NAN}] * (NAMED + 4))
    figure, text = part("map", told(), rolled).parts
    assert figure.caption.startswith(f"{DRAWN} of {DRAWN + 3 + NAMED + 4} anomalies")
    assert figure.caption.endswith(" Not drawn, since lower in the ranking: 3 repair asked, not chosen.")
    assert text.endswith(" and 4 more.") and text.count("F") == NAMED


def test_depths_and_factors_beyond_the_axis_or_without_a_number_are_counted(tmp_path):
    rolled = data(tmp_path, {"relative depth": 1.0}, {"relative depth": 1.01}, {"relative depth": 1.5},
                  {"relative depth": NAN, "repair factor": NAN}, {"repair factor": 2.5})
    assert sum(rolled["depths"]) + rolled["depths_beyond"] + rolled["depths_unknown"] == 5
    assert part("distributions", told(), rolled).parts[2:] == [
        "2 anomalies have a depth with allowance of more than 100 % of the wall: not drawn.",
        "1 anomaly has no depth or no wall to hold it against: not drawn.",
        "1 anomaly has a repair factor above 2: not drawn.", "1 anomaly has no repair factor: not drawn."]


# -- known repairs ------------------------------------------------------------------------------------------------
def test_known_repairs_are_counted_whether_or_not_a_row_has_a_clock(tmp_path):
    under = {"under repair": "HB-07-r1", "known repair": "HB-07-r1", "known repair is": "under repair"}
    rolled = data(tmp_path, under, under | {"clock [h]": NAN}, under | {"under repair": ""},
                  {"known repair": "HB-08-r1", "known repair is": "beyond the wrap"}, {})
    known = part("known", told(), rolled)
    assert known.parts[0] == "2 rows lie under a repair that is known and are not dug again."
    assert known.parts[1].rows == (("HB-07-r1", "under repair", "2"),
                                   ("HB-07-r1", "under repair, which does not carry it", "1"),
                                   ("HB-08-r1", "beyond the wrap", "1"))
    assert part("known", told(), data()).parts == ["No row lies under a repair that is known."]


def test_a_list_of_known_repairs_that_is_cut_says_so():
    left = [{"reason": "under repair R1", "row": row(f"F{i}", under_repair="R1")} for i in range(anomalies.MOST + 1)]
    known = part("known", told(left=left), data(under_repair=70, known=[["R1", "under repair", 70]]))
    assert known.parts[-2:] == [f"F{anomalies.MOST - 1}: under repair R1", "1 more stands in campaign.json."]


# -- neighbours ---------------------------------------------------------------------------------------------------
NEIGHBOURS = ("what", "repair", "feature ids", "reason", "anomalies", "repairs", "gap [mm]", "length before [mm]",
              "length after [mm]", "depth before [mm]", "depth after [mm]", "cover before [mm]", "cover after [mm]",
              "layers before", "layers after", "safe pressure before [MPa]", "safe pressure after [MPa]",
              "disposition before", "disposition after")


@pytest.fixture
def neighbours(tmp_path):
    with (tmp_path / "neighbours.csv").open("w", encoding="utf-8-sig", newline="") as file:
        out = csv.DictWriter(file, NEIGHBOURS)
        out.writeheader()
        for given in (
                {"repair": "R1", "what": "act as one", "feature ids": "F1 F2", "reason": "by the rule",
                 "anomalies": 2, "length before [mm]": 30, "length after [mm]": 340.2, "depth before [mm]": 0.8,
                 "depth after [mm]": 1.27, "safe pressure before [MPa]": 9.8, "safe pressure after [MPa]": 8.3,
                 "disposition before": "no repair needed", "disposition after": "repair"},
                {"repair": "R9", "what": "act as one", "feature ids": "F8 F9", "reason": "not dug"},
                {"repair": "R1", "what": "wraps touch", "feature ids": "F1 F2; F3", "reason": "too close",
                 "repairs": 2, "gap [mm]": 40, "cover before [mm]": 300, "cover after [mm]": 700, "layers before": 8,
                 "layers after": 9}):
            out.writerow(given)
    return tmp_path


def test_neighbours_show_before_and_after_and_the_reason_of_what_is_dug(neighbours):
    lines = joined(neighbours, [chosen(9, case="A"), chosen(2, 3, 4, case="F1", repair="R1")])
    section = part("neighbours", told(), data(neighbours=json.loads(json.dumps(lines))))
    (table,) = (t for t in section.parts if isinstance(t, Table))
    assert table.rows == (
        ("F1", "act as one: F1 F2", "by the rule",
         "2 anomalies; 30 mm long; 0.8 mm deep; safe pressure 9.8 MPa; no repair needed",
         "340 mm long; 1.27 mm deep; safe pressure 8.3 MPa; repair"),
        ("F1", "wraps touch: F1 F2; F3", "too close", "2 repairs; gap 40 mm; cover 300 mm; 8 layers",
         "cover 700 mm; 9 layers"))


def test_repairs_of_several_rows_without_a_line_are_named_all_the_same(tmp_path):
    assert joined(tmp_path, [chosen(2, repair="R1")]) == [], "no file"
    about = told(chosen=[{"case": "F1", "why": ["a"], "rows": [row("F1"), row("F2")], "replaced": []}])
    assert part("neighbours", about, data()).parts[0] == "F1: one repair for F1, F2"
    assert part("neighbours", told(), data()).parts[0] == "No repair that is dug holds more than one anomaly."


# -- totals, order ------------------------------------------------------------------------------------------------
def test_totals_of_the_screening_stand_in_words(tmp_path):
    (tmp_path / "screening.json").write_text(json.dumps({
        "totals": {"rows_in_the_file": 9, "ranked": 5, "no_anomaly": 3, "faulty": 1, "under_a_known_repair": 2},
        "no_anomaly": {"valve": 2, "bend": 1, "tee": 0}, "columns": {}}), encoding="utf-8")
    found = part("found", told(), data(screening=screened(tmp_path))).parts[0]
    assert found.rows == (("Rows in the file", "9"), ("ranked as anomalies", "5"),
                          ("that are no anomaly (valve 2, bend 1)", "3"),
                          ("with faults, in no ranking (screening/faults.csv)", "1"),
                          ("Rows under a known repair", "2"))
    assert screened(tmp_path / "none") == {}


@pytest.mark.parametrize(("display", "unit"), [("SI", "mm"), ("US", "in")])
def test_the_order_has_a_unit_over_every_size(display, unit):
    line = {"item": "Sleeve", "width": 410.0, "outside diameter": 406.4, "needed mass": 2.5}
    order = work._order({"order": [line], "shortages": ["Sleeve, 410 mm wide, 11 layers"], "order_told": []},
                        Numbers(display))
    assert order[0].head[2:4] == (f"Width ({unit})", f"Diameter ({unit})")
    assert order[0].rows[0][4] == {"SI": "2.5 kg", "US": "2.5 lb"}[display]
    assert "Sleeve, 410 mm wide, 11 layers" in order, "one to a line"


def test_the_dig_list_shows_state_and_what_is_told_of_sites():
    site = {"place": 1, "section": "S", "decision": "wrap", "state": "closed out", "expected": 77.234, "told": "look"}
    dig = work._dig({"dig": [site | {"site": "A"}, site | {"site": "B"}, site | {"site": "C", "told": ""}],
                     "dig_told": ["D: damaged"]})
    assert dig[0].rows[0][5] == "closed out" and dig[0].rows[0][8] == "77.2" and len(dig[0].head) == len(dig[0].widths)
    assert dig[1:] == ["D: damaged", "A, B: look", "All columns stand in dig-list.csv."]


def test_a_figure_stays_with_its_heading_and_the_lines_before_it():
    svg = Figure("<svg/>", "c")
    assert Section("k", "t", ["a", svg, "b"]).lead_and_rest() == (
        "<p>a</p><figure><svg/><figcaption>c</figcaption></figure>", "<p>b</p>")
    assert Section("k", "t", ["a", Table((), (), ()), svg]).lead_and_rest()[0] == ""
    assert Section("k", "t", [*"abcdefg", svg]).lead_and_rest()[0] == ""

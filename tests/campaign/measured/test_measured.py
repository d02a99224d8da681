"""Field measurements go before the listing; what the listing says is kept."""

import numpy as np
import pytest

from wrapcalc.campaign.example import listing as example_listing
from wrapcalc.campaign.measured.measured import MeasuredRow, merged, over_row, read_measured, with_less_room
from wrapcalc.errors import CaseFaults

HEAD = "feature_id,depth mm,length in,width mm,sound wall mm,clock,grid,measured on,source\n"
DATA = {"case": {"id": "F1"}, "pipe": {"nominal_wall": "8.74 mm"}, "growth": {"measured_date": "2026-05-14"},
        "defect": {"depth": {"value": "3.9 mm", "source": "listing run of 2026 row 12", "source_kind": "measured"},
                   "length": "150 mm", "depth_allowance": "0.5 mm"}}


def write(folder, text):
    path = folder / "field.csv"
    path.write_text(text, encoding="utf-8")
    return path


def faults(folder, text) -> list[str]:
    with pytest.raises(CaseFaults) as raised:
        read_measured(write(folder, text))
    return [str(f) for f in raised.value.faults]


def test_what_was_measured_replaces_the_listing_and_both_are_kept(tmp_path):
    (tmp_path / "g.csv").write_text("x", encoding="utf-8")
    measured = read_measured(write(
        tmp_path, HEAD + "F1,4.1,7.2,,8.52,4:30,g.csv,2026-09-02,dig sheet D-12\nF2,,,,,,,,\n"))
    row = measured.rows["F1"]
    assert row.sizes == {"depth": 4.1, "length": pytest.approx(182.88), "sound wall": 8.52}
    assert measured.grid(row) == tmp_path / "g.csv" and measured.grid(measured.rows["F2"]) is None
    data, kept = merged(DATA, row, measured.name)
    source = "field.csv line 2: dig sheet D-12"
    assert data["defect"]["depth"] == {"value": "4.1 mm", "source_kind": "measured", "source":
                                       source + "; instead of 3.9 mm of the listing or the base case"}
    assert data["defect"]["length"]["value"] == "7.2 in" and data["defect"]["grid"] == "g.csv"
    assert data["pipe"] == {"nominal_wall": "8.74 mm", "sound_wall": {"value": "8.52 mm", "source": source,
                                                                    "source_kind": "measured"}}
    assert data["growth"]["measured_date"]["value"] == "2026-09-02"
    assert data["defect"]["depth_allowance"] == "0.5 mm"  # of the base case, until another is stated
    assert {k.field: (k.listing, k.measured) for k in kept} == {
        "defect.depth": ("3.9 mm", "4.1 mm"), "defect.length": ("150 mm", "7.2 in"),
        "pipe.sound_wall": ("", "8.52 mm"), "defect.clock": ("", "4:30"), "defect.grid": ("", "g.csv"),
        "growth.measured_date": ("2026-05-14", "2026-09-02")}
    assert DATA["defect"]["length"] == "150 mm"  # the data given are not changed


def test_a_gap_between_pits_is_not_stated_of_a_grid(tmp_path):
    (tmp_path / "g.csv").write_text("x", encoding="utf-8")
    rows = read_measured(write(tmp_path, "feature_id,depth mm,grid\nF1,4.1,g.csv\nF2,4.1,\n")).rows
    data = DATA | {"defect": DATA["defect"] | {"rejoin_gap": "60 mm"}}
    assert "rejoin_gap" not in merged(data, rows["F1"], "field.csv")[0]["defect"]
    assert merged(data, rows["F2"], "field.csv")[0]["defect"]["rejoin_gap"] == "60 mm"


def test_a_feature_without_measurements_changes_nothing(tmp_path):
    measured = read_measured(write(tmp_path, HEAD + "F2,,,,,,,2026-09-02,nothing found\n"))
    assert merged(DATA, measured.rows["F2"], measured.name) == (DATA, [])


def test_an_allowance_of_the_gauge_replaces_that_of_the_run(tmp_path):
    measured = read_measured(write(tmp_path, "feature_id,depth mm,depth allowance mm\nF1,4.1,0\n"))
    assert merged(DATA, measured.rows["F1"], measured.name)[0]["defect"]["depth_allowance"]["value"] == "0 mm"


def test_the_field_file_of_the_example_is_read(tmp_path):
    written = example_listing.write_listing(tmp_path / "l", 400, 3)
    measured = read_measured(tmp_path / "l" / "field.csv")
    assert len(measured.rows) == written.measured > 20
    assert all({"depth", "length", "width", "sound wall", "from girth weld"} <= set(r.sizes)
               for r in measured.rows.values())


@pytest.mark.parametrize(("text", "wanted"), [
    ("feature_id,depth\nF1,4\n", "row 1, column 2: found 'depth'"),
    ("feature_id,depth %\nF1,4\n", "row 1, column 2: found 'depth %'; allowed: depth, then one of the units mm, cm"),
    ("feature_id,dept mm\nF1,4\n", "did you mean 'depth mm'?"),
    ("feature_id,depth mm,depth in\nF1,4,1\n", "row 1, column 3: found 'depth' again"),
    ("depth mm\n4\n", "no column 'feature_id'"),
    ("feature_id,depth mm\nF1,4\nF1,5\n", "row 3: found feature_id 'F1' again (line 2)"),
    ("feature_id,depth mm\n,4\n", "row 2, column 1: found an empty cell"),
    ('feature_id,depth mm\nF1,"4,1"\n', "row 2, column 2: found '4,1'; allowed: a number with a decimal point"),
    ("feature_id,depth mm\nF1,0\n", "found '0'; allowed: a depth of more than 0"),
    ("feature_id,depth allowance mm\nF1,-1\n", "found '-1'; allowed: a depth allowance of 0 or more"),
    ("feature_id,clock\nF1,24:30\n", "found '24:30'; allowed: a clock position facing downstream from 0:00 to 12:59"),
    ("feature_id,measured on\nF1,2.9.2026\n", "found '2.9.2026'; allowed: a date"),
    ("feature_id,grid\nF1,none.csv\n", "found 'none.csv'; allowed: a file that stands beside this one"),
    ("feature_id,depth mm\nF1\n", "row 2, column 2: found 1 cells; allowed: 2 cells"),
    ("feature_id;depth mm\nF1;4\n", "semicolons between the cells"),
    ("", "nothing: it is empty")])
def test_a_bad_cell_is_named_by_row_and_column(tmp_path, text, wanted):
    found = faults(tmp_path, text)
    assert len(found) == 1 and wanted in found[0]


def test_all_bad_cells_are_told_at_once(tmp_path):
    found = faults(tmp_path, HEAD + "F1,x,y,,,25:00,,,\nF2,1,2,0,,,,,\n")
    assert [f.split(": ")[1] for f in found] == [f"row {r}, column {c}" for r, c in ((2, 2), (2, 3), (2, 6), (3, 4))]


def test_a_row_of_several_in_one_repair_takes_its_own_measurements(tmp_path):
    row = read_measured(write(tmp_path, HEAD + "F1,4.1,,,8.5,4:30,,,dig sheet\n")).rows["F1"]
    listed = {"feature_id": "F1", "depth": 3.9, "length": 150.0, "width": 80.0, "clock": 4.25, "sound_wall": np.nan}
    out, kept = over_row(listed, row, "field.csv")
    source = "field.csv line 2: dig sheet"
    assert out == listed | {"depth": 4.1, "clock": 4.5, "sound_wall": 8.5, "sound_wall_source": source,
                            "depth_source": f"{source}; instead of 3.9 mm of the listing",
                            "clock_source": f"{source}; instead of 4.25 h of the listing"}
    assert [(k.field, k.listing, k.measured) for k in kept] == [
        ("defect.depth", "3.9 mm", "4.1 mm"), ("pipe.sound_wall", "", "8.5 mm"), ("defect.clock", "4.25 h", "4:30")]


def test_the_share_of_the_wall_is_not_said_of_another_depth(tmp_path):
    row = read_measured(write(tmp_path, "feature_id,depth mm,length mm\nF1,4.1,\nF2,,90\n")).rows
    listed = {"depth": 3.9, "length": 150.0, "depth_share": 0.45}
    assert np.isnan(over_row(listed, row["F1"], "field.csv")[0]["depth_share"])
    assert over_row(listed, row["F2"], "field.csv")[0]["depth_share"] == 0.45


@pytest.mark.parametrize(("length", "up", "down"), [(250.0, 30.0, 0.0), (180.0, 100.0, 40.0), (90.0, 100.0, 40.0)])
def test_a_length_found_longer_takes_clear_pipe_on_either_side_and_a_shorter_one_gives_none(length, up, down):
    row = {"length": 180.0, "clear_upstream": 100.0, "clear_downstream": 40.0, "feature_id": "F1", "depth": 3.0}
    measured = MeasuredRow(2, "F1", {"length": length}, {"length": f"{length:g} mm"}, {})
    for found in (with_less_room(row, measured), over_row(row, measured, "field.csv")[0]):
        assert (found["clear_upstream"], found["clear_downstream"]) == (up, down)
    assert row["clear_upstream"] == 100.0
    unknown = with_less_room(row | {"clear_upstream": float("nan")}, measured)
    assert unknown["clear_upstream"] != unknown["clear_upstream"]

"""The cases of a campaign from its own files: what the listing says, what was measured, and how pits act together."""

import tomllib
from dataclasses import replace

import pytest

from tests.helpers import campaign as helper
from tests.helpers.line import BASE, block, line
from wrapcalc.campaign.cases.selection import Chosen
from wrapcalc.campaign.cases.sources import Cases
from wrapcalc.campaign.line.joints import Welds
from wrapcalc.campaign.measured.measured import read_measured
from wrapcalc.campaign.model import load_campaign
from wrapcalc.case import load_bundle
from wrapcalc.stages import job

RULE = '[assessment]\ninteraction = "6t"\ninteraction_reason = "company rule (invented)"\n'
#: Two pits of 40 mm, 600 mm apart: far beyond six walls. Depths in mm.
STATIONS = [0, 10, 50, 60, 660, 670, 710, 720]
DEPTHS = [0, 4, 4, 0, 0, 3, 3, 0]


@pytest.fixture
def made(tmp_path):
    """(case as data, its bundle) of one row that was measured on a grid, from a base case."""
    def make(base):
        folder = tmp_path / "campaign"
        path = helper.campaign(folder, 1)
        at = line(folder, base=base)
        grid = "mm," + ",".join(map(str, STATIONS)) + "\n"
        grid += "".join(f"{y}," + ",".join(str(0 if edge else d) for d in DEPTHS) + "\n"
                        for y, edge in ((0, True), (10, False), (40, False), (50, True)))
        (folder / "grid.csv").write_text(grid, encoding="utf-8")
        (folder / "field.csv").write_text("feature_id,depth mm,length mm,width mm,grid,source\n"
                                          "F1,4,720,50,grid.csv,dig sheet D-12\n", encoding="utf-8")
        rows, faults = at.resolve(block({"row": 2, "feature_id": "F1", "log_distance": 605_000.0, "depth_share": 0.4,
                                         "length": 700.0, "width": 50.0, "clock": 4.5, "measured_wall": 8.74}),
                                  Welds.collect([block()]))
        assert faults == []
        chosen = Chosen("F1", ({n: v[0] for n, v in rows.items()},), ("x",))
        plan = replace(load_campaign(path), mapping=next(folder.glob("*map*.toml")))
        files, _ = Cases(plan, replace(read_measured(folder / "field.csv"), at={"F1": 2})).files(chosen)
        out = tmp_path / "cases"
        out.mkdir(exist_ok=True)
        for name, raw in files.items():
            (out / name).write_bytes(raw)
        return tomllib.loads(files["F1.toml"].decode()), load_bundle(out / "F1.toml")
    return make


def test_a_row_measured_on_a_grid_is_a_case_with_its_grid(made):
    data, bundle = made(BASE)
    assert data["defect"]["grid"] == "grid.csv" and bundle.grid is not None
    assert bundle.grid.depth.max() == 4 and "assessment" not in data


def test_a_grid_keeps_the_rule_of_interaction_of_the_base_case_and_no_gap_of_pits(made):
    """Independent: two pits 600 mm apart are 600 > 6 x 8.74 mm from each other, so that they are two by the rule."""
    data, bundle = made(BASE + 'rejoin_gap = "60 mm"\n' + RULE)
    assert data["assessment"]["interaction"] == "6t" and "rejoin_gap" not in data["defect"]
    outcome = job.run(bundle)
    assert len(outcome.assessment.shape.pieces) == 2

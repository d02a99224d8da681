"""The gate: whatever was found, the design is worked again, and what is not proven is not proven."""

from importlib import resources
from pathlib import Path

import pytest

from tests.helpers.as_found import HB_07, HB_15, Sheet
from wrapcalc.case import load_bundle
from wrapcalc.case.as_found import read_as_found
from wrapcalc.errors import CaseFaults, PackageError
from wrapcalc.stages.as_found.as_found import HOLDS, INCOMPLETE, STOP, Gate, as_found
from wrapcalc.stages.job import run

EXAMPLE = Path(str(resources.files("wrapcalc.example")))
GRID = (EXAMPLE / "HB-07-grid.csv").read_bytes()


@pytest.fixture(scope="module")
def issued():
    out = {}
    for name in ("HB-07", "HB-15"):
        bundle = load_bundle(EXAMPLE / f"{name}.toml")
        out[name] = (bundle, run(bundle))
    return out


class Ditch:
    def __init__(self, issued, folder):
        self.issued, self.folder = issued, folder

    def look(self, changes: dict | None = None, *, grid: bytes | None = GRID, name: str = "HB-07") -> Gate:
        base = {"HB-07": HB_07, "HB-15": HB_15}[name]
        grid = (b"" if name == "HB-15" else grid) or b""
        s = Sheet(base, self.folder, digest="0" * 12, date="2026-10-02", grid=grid)
        for dotted, value in (changes or {}).items():
            s.put(dotted, value)
        return as_found(*self.issued[name], read_as_found(s.write()), package=f"{name}-r1")


@pytest.fixture
def ditch(issued, tmp_path):
    return Ditch(issued, tmp_path)


def verdicts(gate: Gate) -> dict[str, str]:
    return {r.what: r.check.verdict for r in gate.rows}


@pytest.mark.parametrize("name", ["HB-07", "HB-15"])
def test_what_the_package_supposes_holds(ditch, name):
    gate = ditch.look(name=name)
    assert (gate.verdict, gate.reasons, gate.missing) == (HOLDS, (), ())
    assert all(r.check.met for r in gate.rows) and {i.id[0] for i in gate.recorder.items} <= {"B", "C"}


def test_the_same_numbers_come_out_of_the_run_with_what_was_found(ditch, issued):
    """Independent: the readings are those of the case, so the whole job must give the same design."""
    gate = ditch.look()
    a, b = issued["HB-07"][1], gate.now
    assert b.design.laid.required.magnitude == a.design.laid.required.magnitude
    assert b.bears.restored.magnitude == a.bears.restored.magnitude and b.decision.word == "wrap"


@pytest.mark.parametrize(("changes", "reason"), [
    ({"defect.depth": "4.4 mm"}, "Thickness asked for now against the thickness issued"),
    ({"defect.depth": "7.4 mm"}, "Decision: other repair needed"),
    ({"defect.length": "420 mm", "defect.from_downstream_weld": "7.25 m", "defect.clear_downstream": "7.25 m"},
     "Overlap as issued beyond the damage as found, downstream"),
    ({"crack.result": "indication"}, "Cracks: MT: indication"),
    ({"lamination.result": "found"}, "Laminations below the bonded ends: found"),
    ({"pipe.joint_type": "seamless"}, "Longitudinal joint: seamless, wanted electric resistance welded"),
    ({"joint.length": "11.60 m"}, "Length of joint 118 against the listing: 0.266 m"),
    ({"joint.seam_clock": "1:15"}, "Seam of joint 118 against the listing"),
    ({"neighbour.0.length": "11.93 m"}, "Length of joint 117 against the listing"),
    ({"defect.from_downstream_weld": "7.70 m"}, "the readings contradict: measure again"),
    ({"defect.clock": "6:40"}, "a clock read facing upstream"),
    ({"pipe.circumference": "1300 mm"}, "Outside diameter as found, apart from the stated one"),
    ({"service.pressure_now": "2.4 MPa"}, "lower the pressure first"),
    ({"defect.clear_upstream": "0.2 m"}, "Room that the repair takes, upstream"),
])
def test_a_stop_says_why(ditch, changes, reason):
    gate = ditch.look(changes)
    assert gate.verdict == STOP
    assert any(reason in r for r in gate.reasons), gate.reasons


@pytest.mark.parametrize(("changes", "lack"), [
    ({"crack.result": "not done"}, "penetrant test for cracks"), ({"crack.result": None}, "penetrant test for cracks"),
    ({"crack.method": None}, "penetrant test for cracks"),
    ({"lamination.result": "not done"}, "lamination scan below the bonded ends"),
    ({"lamination.result": None}, "lamination scan below the bonded ends"),
    ({"lamination.scanned_to": "4.60 m"}, "Scan ends beyond the downstream end of the repair"),
    ({"lamination.scanned_from": None}, "end of the scanned zone"),
    ({"pipe.sound_wall": ["8.61 mm", "8.62 mm"]}, "sound wall at 4 clocks (pipe.sound_wall): 2 read"),
    ({"pipe.joint_type": None}, "longitudinal joint as found"), ({"joint.length": None}, "length of joint 118"),
    ({"joint.seam_clock": None}, "seam clock of joint 118"), ({"neighbour": []}, "length of joint 117"),
    ({"defect.grid": None}, "depth grid, profile or pits as read in the ditch"),
    ({"defect.length": None, "defect.from_downstream_weld": None}, "length of the defect"),
    ({"defect.from_upstream_weld": None}, "distance from the upstream girth weld"),
    ({"defect.clear_downstream": None}, "room downstream of the defect"),
    ({"defect.clock": None}, "clock of the defect"),
    ({"coating.deposit": None}, "deposit below the coating"), ({"as_found.checked_by": None}, "who checked"),
    ({"as_found.date": None}, "day (as_found.date)"),
])
def test_what_was_not_measured_is_missing_and_never_filled_in(ditch, changes, lack):
    gate = ditch.look(changes)
    assert (gate.verdict, gate.reasons) == (INCOMPLETE, ())
    assert any(lack in m for m in gate.missing), gate.missing


def test_a_stop_comes_before_what_is_missing(ditch):
    gate = ditch.look({"crack.result": "indication", "coating.type": None})
    assert gate.verdict == STOP and gate.missing


def test_neighbours_that_tell_nothing_apart_are_not_enough(ditch):
    """Joint 116 is as long as this one within reading: without the joint downstream nothing tells them apart."""
    gate = ditch.look({"neighbour.1.length": None, "neighbour.1.seam_clock": None})
    assert gate.verdict == INCOMPLETE and any("This is not joint 116" in m for m in gate.missing)
    assert verdicts(gate)["This is not joint 117"] == "met"


def test_damage_that_lies_elsewhere_than_issued_is_not_under_the_issued_wrap(ditch, issued):
    """The same damage 250 mm downstream: the layers hold, the place does not."""
    gate = ditch.look({"defect.from_upstream_weld": "4.44 m", "defect.from_downstream_weld": "7.19 m",
                       "defect.clear_downstream": "7.19 m", "defect.clear_upstream": "4.44 m"})
    told = verdicts(gate)
    assert gate.verdict == STOP and told["Layers asked for now against the layers issued"] == "met"
    assert told["Overlap as issued beyond the damage as found, downstream"] == "not met"
    assert told["Overlap as issued beyond the damage as found, upstream"] == "met"
    # independent, by hand: half of the cover before the middle of the set; the damage with 5 mm to each side
    (r,) = issued["HB-07"][1].design.extent.repairs
    cover = 4190 + 236 / 2 + r.shift - r.layout.cover.magnitude / 2
    (row,) = [x for x in gate.rows if x.what.endswith("as found, upstream")]
    assert row.check.provided.magnitude == pytest.approx(4440 - 5 - cover)


def moved(by: float) -> dict[str, str]:
    """The damage so many mm farther downstream."""
    up, down = f"{4190 + by:.1f} mm", f"{7440 - by:.1f} mm"
    return {"defect.from_upstream_weld": up, "defect.clear_upstream": up, "defect.from_downstream_weld": down,
            "defect.clear_downstream": down}


def test_a_joint_of_the_units_over_the_loss_stops_and_within_the_allowance_warns(ditch, issued):
    (r,) = issued["HB-07"][1].design.extent.repairs
    (joint,) = r.layout.joints  # from the middle of the damage; the loss as measured ends 118 mm from it
    assert joint > 0
    gate = ditch.look(moved(joint - 110))
    assert gate.verdict == STOP and any("Joints of the units off the metal loss" in x for x in gate.reasons)
    gate = ditch.look(moved(joint - 120))
    assert gate.verdict == HOLDS and "within the measuring allowance" in gate.recorder.warnings[0]["text"]
    assert ditch.look(moved(joint - 124)).recorder.warnings == []


def test_the_box_decides_nothing(ditch):
    """A width beyond the box: the design is worked again, and that decides."""
    gate = ditch.look({"defect.width": "420 mm", "defect.grid": "found.csv"})
    told = verdicts(gate)
    assert told["Stop rule of the crew: width"] == "not met"
    assert not any("Stop rule" in r for r in gate.reasons)


def test_a_thinner_wall_is_worked_again(ditch, issued):
    """A little thinner it holds, thinner it asks for more than was issued, far thinner it is not this pipe."""
    before = issued["HB-07"][1].design.laid
    gate = ditch.look({"pipe.sound_wall": ["8.4 mm", "8.6 mm", "8.6 mm", "8.6 mm"]})
    assert gate.verdict == HOLDS and gate.now.design.laid.required.magnitude > before.required.magnitude
    assert verdicts(gate)["Least sound wall against the one of the package"] == "not met"
    gate = ditch.look({"pipe.sound_wall": ["8.2 mm", "8.6 mm", "8.6 mm", "8.6 mm"]})
    assert gate.verdict == STOP and any(r.startswith("Thickness asked for now") for r in gate.reasons)
    gate = ditch.look({"pipe.sound_wall": ["7.5 mm", "7.6 mm", "7.6 mm", "7.6 mm"]})
    assert gate.verdict == STOP and any("another pipe than stated" in r for r in gate.reasons)


def test_one_layer_more_than_issued_stops(ditch, issued):
    gate = ditch.look({"defect.depth": "0.15 in"}, name="HB-15")
    assert gate.now.design.laid.count.magnitude > issued["HB-15"][1].design.laid.count.magnitude
    assert gate.verdict == STOP and any(r.startswith("Layers asked for now") for r in gate.reasons)


def test_a_deeper_grid_is_worked_again(ditch):
    gate = ditch.look({"defect.depth": "7.1 mm"}, grid=GRID.replace(b"3.7", b"7.0"))
    assert gate.verdict == STOP and gate.now.bundle.grid.deepest[0] == pytest.approx(7.1)


def test_a_lower_limit_as_found_stops_even_where_the_layers_hold(ditch):
    """HB-15 has room in its layers; deeper damage lowers the safe pressure below what was issued."""
    gate = ditch.look({"defect.depth": "0.25 in"}, name="HB-15")
    assert gate.verdict == STOP
    assert any(r.startswith(("Interim limit issued", "Layers asked", "Decision")) for r in gate.reasons)


def test_what_cannot_be_of_the_case_raises(ditch):
    with pytest.raises(CaseFaults, match="write °F if it was read so"):
        ditch.look({"service.steel_now": "60 °C"})


def test_a_package_that_decides_something_else_is_refused(tmp_path):
    bundle = load_bundle(EXAMPLE / "HB-02.toml")
    s = Sheet(HB_07, tmp_path, digest="0" * 12, date="2026-10-02", grid=GRID)
    with pytest.raises(PackageError, match="only a package that decides 'wrap'"):
        as_found(bundle, run(bundle), read_as_found(s.write()), package="HB-02-r1")


@pytest.mark.parametrize("name", ["HB-34", "HB-42", "HB-46", "HB-51"])
def test_a_case_that_lists_no_joints_is_never_proven(tmp_path, name):
    bundle = load_bundle(EXAMPLE / f"{name}.toml")
    s = Sheet({"as_found": {"package": f"{name}-r1"}}, tmp_path, digest="0" * 12, date="2026-10-02")
    gate = as_found(bundle, run(bundle), read_as_found(s.write()), package=f"{name}-r1")
    assert gate.verdict == INCOMPLETE
    assert any("location.joint_length is not stated" in m for m in gate.missing)
    assert any("no joint beside it can be told" in m for m in gate.missing)


# -- readings that cannot be of this damage ---------------------------------------------------------------------------
def tenth(grid: bytes) -> bytes:
    """Every depth of the grid a tenth of what it was: read in cm, or with a comma in the wrong place."""
    head, *rows = grid.decode().splitlines()
    out = [",".join([r.split(",")[0], *(f"{float(c) / 10:g}" for c in r.split(",")[1:])]) for r in rows]
    return "\n".join([head, *out]).encode()


def test_a_grid_ten_times_too_shallow_is_not_the_damage_although_the_depth_is_stated(ditch):
    gate = ditch.look(grid=tenth(GRID))
    assert gate.verdict == INCOMPLETE
    assert any("Deepest reading of the grid against the stated depth: 0.37 mm, allowed at least 3.7 mm" in m
               for m in gate.missing), gate.missing  # by hand: 3.7 / 10; 3.9 - 0.2
    assert any(m.startswith("Metal loss as found against the one of the package") for m in gate.missing)


def test_the_loss_is_held_against_the_one_of_the_package_where_the_deepest_reading_is_right(ditch):
    """By hand: the deepest node stays, all else is a tenth."""
    grid = tenth(GRID).replace(b"0.37", b"3.7")
    gate = ditch.look(grid=grid)
    told = verdicts(gate)
    assert told["Deepest reading of the grid against the stated depth"] == "met"
    assert told["Metal loss as found against the one of the package"] == "not met" and gate.verdict == INCOMPLETE


def test_a_profile_is_held_against_the_stated_depth_too(ditch):
    rows = "\n".join(f"{x},{d}" for x, d in ((0, 0), (60, 0.3), (120, 0.37), (180, 0.2), (236, 0)))
    (ditch.folder / "found-profile.csv").write_text(f"station mm,depth mm\n{rows}\n", "utf-8")
    gate = ditch.look({"defect.grid": None, "defect.profile": "found-profile.csv"}, grid=None)
    assert any("Deepest reading of the profile" in m for m in gate.missing), gate.missing


# -- allowances and pressures that the sheet states -------------------------------------------------------------------
@pytest.mark.parametrize("field", ["pipe.wall_allowance", "defect.depth_allowance", "defect.length_allowance"])
def test_a_sheet_never_lowers_an_allowance(ditch, field):
    gate = ditch.look({field: "0 mm"})
    issued = ditch.issued["HB-07"][0].case.get(field)
    assert gate.now.bundle.case.get(field).base == issued.base > 0
    assert any(w["text"].startswith(f"{field}: the sheet says 0 mm, the package {issued.written}")
               for w in gate.recorder.warnings)
    raised = ditch.look({field: "0.3 mm" if issued.base < 1 else "12 mm"})
    assert raised.now.bundle.case.get(field).base > issued.base and raised.recorder.warnings == []


def test_a_lower_pressure_while_wrapping_is_no_stop_and_hides_none(ditch):
    assert ditch.look({"service.installation_pressure": "1.5 MPa"}).verdict == HOLDS
    deep = {"defect.depth": "0.25 in"}
    alone = ditch.look(deep, name="HB-15")
    gate = ditch.look(deep | {"service.installation_pressure": "100 psig"}, name="HB-15")
    assert alone.verdict == gate.verdict == STOP
    limits = [r for r in alone.reasons if "issued against the one as found" in r]
    assert limits and limits == [r for r in gate.reasons if "issued against the one as found" in r]


def test_a_higher_pressure_while_wrapping_than_people_may_stand_beside_stops(ditch):
    gate = ditch.look({"service.installation_pressure": "3.0 MPa"})
    assert gate.verdict == STOP
    assert any(r.startswith("Pressure while wrapping as found against the pressure beside people: 3 MPa, allowed at "
                            "most 2 MPa") for r in gate.reasons)

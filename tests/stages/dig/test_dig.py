"""The dig: right joint, place on it, pressure beside it, trench by its soil, span; blanks where nothing is stated."""

import functools
from dataclasses import replace
from importlib import resources
from pathlib import Path

import pytest
import tomlkit

from wrapcalc.case import load_bundle
from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages.dig.dig import TOPIC, dig
from wrapcalc.stages.job import run

#: Nothing of [location], [[joint]] and [excavation].
BARE = {"location": None, "joint": None, "excavation": None, "keep_out": None}


#: What does not change the decision: the job is run once for all cases that differ only there.
PLACE = ("location", "joint", "excavation", "keep_out")


@functools.cache
def job(file: str):
    return run(load_bundle(Path(str(resources.files("wrapcalc.example"))) / file))


@pytest.fixture
def dug(example):
    """dug(file, **fields) -> (dig, recorder of the dig alone, outcome of the job); fields as for `judge`."""
    def make(file="HB-07.toml", **fields):
        data = tomlkit.parse((example / file).read_text("utf-8")).unwrap()
        for dotted, value in fields.items():
            table, _, key = dotted.partition("__")
            holder = data.setdefault(table, {}) if key else data
            holder.pop(key or table, None)
            if value is not None:
                holder[key or table] = value
        (example / "changed.toml").write_text(tomlkit.dumps(data), "utf-8")
        bundle = load_bundle(example / "changed.toml")
        o = job(file) if all(name.partition("__")[0] in PLACE for name in fields) else run(bundle)
        with recording(Recorder(bundle.case.display)) as rec:
            rec.stage = "E"
            return dig(bundle, o.assessment, o.design, o.decision), rec, o
    return make


def row(rows, label):
    return next(r for r in rows if r.label == label)


def shown(rows, label):
    return row(rows, label).words


def verdicts(rec):
    return {i.title: i.verdict for i in rec.items if hasattr(i, "verdict")}


# -- whether there is one ------------------------------------------------------------------------------------------
def test_nothing_stated_gives_no_dig(dug):
    found, rec, _ = dug(**BARE)
    assert found is None and not rec.items


@pytest.mark.parametrize("stated", [{"location": {"section": "valve 2 to valve 3"}},
                                    {"excavation": {"soil": "type B"}}])
def test_one_word_gives_a_dig_with_blanks_and_no_guess(dug, stated):
    found, rec, _ = dug(**BARE | stated)
    assert found.distances[0].upstream_edge is None and found.distances[1].downstream_edge is None
    assert row(found.trench, "Depth").value is None and row(found.trench, "Span by own weight").value is None
    assert not any(r.label in ("Top, length", "Volume in the ground") for r in found.trench)
    assert any("depth of the trench is not known" in n for n in found.needs)
    assert "No joint beside this one is listed" in found.alike[0]
    assert set(verdicts(rec).values()) == {"no data"}
    assert {rec.place_of[i.id] for i in rec.items} == {("E", TOPIC)}


def test_with_an_unknown_depth_every_rule_of_depth_is_told(dug):
    found, _, _ = dug(excavation={"soil": "type B"})
    for words in ("registered professional engineer", "shoring or a shield", "ladder", "air tested", "19.5 %"):
        assert any(words in n for n in found.needs)


@pytest.mark.parametrize("file", ["HB-02.toml", "HB-11.toml", "HB-23.toml", "HB-27.toml", "HB-34.toml", "HB-39.toml",
                                  "HB-42.toml", "HB-46.toml", "HB-51.toml"])
def test_every_example_with_a_little_of_it_stated(dug, file):
    found, _, o = dug(file, excavation={"cover": "1 m"}, location={"section": "valve 2 to valve 3"})
    assert row(found.pressure, "Pressure at most while people are beside the pipe").value is o.decision.beside
    assert row(found.trench, "Depth").value is not None
    assert row(found.trench, "Soil, slope across : up").words.startswith("type C, 1.5 : 1")


# -- place ---------------------------------------------------------------------------------------------------------
def test_distances_from_both_welds(dug):
    """Independent: HB-07 has 4.19 m, a defect of 236 mm and a joint of 11.866 m."""
    up, down = dug()[0].distances
    assert (up.weld, down.weld) == ("upstream weld 1180", "downstream weld 1190")
    assert [x.to("m") for x in (up.upstream_edge, up.middle, up.downstream_edge)] == pytest.approx([4.19, 4.308, 4.426])
    assert [x.to("m") for x in (down.upstream_edge, down.middle, down.downstream_edge)] == pytest.approx(
        [7.676, 7.558, 7.44])
    assert down.measured.to("m") == pytest.approx(7.44)


def test_without_the_length_of_the_joint_only_what_was_measured_stands_from_the_other_weld(dug):
    up, down = dug(location__joint_length=None)[0].distances
    assert up.middle is not None and down.middle is None and down.downstream_edge.to("m") == pytest.approx(7.44)


@pytest.mark.parametrize(("clock", "words"), [("5:20", "5:20, 160°, 567.4 mm clockwise from the top"),
                                              ("11:40", "11:40, 350°, 35.47 mm counter-clockwise from the top"),
                                              ("12:00", "12:00, 0°, 0 mm clockwise from the top")])
def test_clock_in_degrees_and_arc_with_its_sense(dug, clock, words):
    """Independent: 160/360 and 10/360 of the circumference of 1276.7 mm."""
    assert shown(dug(defect__clock=clock)[0].where, "Clock") == words


def test_the_log_is_rescaled_and_the_log_alone_stands_beside_it(dug):
    """Independent: 424.3 m of log at 880.0/883.2 are 422.76 m from 7969.0 m."""
    found, rec, _ = dug()
    true = row(found.where, "By survey, rescaled")
    assert true.value.to("m") == pytest.approx(7969 + 424.3 * 880 / 883.2) and true.words == "8391.8 m"
    assert true.note == "not 8393.3 m"
    assert any(i.title == "Rescaled distance against the log carried on alone" for i in rec.items)


def test_a_log_without_surveyed_points_is_not_rescaled(dug):
    points = {f"location__{n}_point_{w}": None for n in ("first", "second") for w in ("log", "survey")}
    found, _, _ = dug(**points)
    assert row(found.where, "Distance in the log").note == "not rescaled"
    assert not any(r.label == "By survey, rescaled" for r in found.where)


def test_expected_sizes_stand_with_their_sources(dug):
    found, _, _ = dug()
    assert shown(found.size, "Depth") == "3.9 mm" and "pit gauge, three readings" in row(found.size, "Depth").note


# -- the right joint -----------------------------------------------------------------------------------------------
def joint(side, number, length, seam=None):
    return {"side": side, "number": number, "length": length} | ({"seam_clock": seam} if seam else {})


def test_joints_stand_from_upstream_to_downstream(dug):
    assert [j.number for j in dug()[0].joints] == ["116", "117", "118", "119"]


def test_a_joint_of_another_length_is_told_by_its_length(dug):
    found, rec, _ = dug(joint=[joint("upstream", "117", "12.11 m")])
    assert found.joints[0].apart == "its length" and found.joints[0].told and not found.alike and not rec.warnings


@pytest.mark.parametrize(("length", "told"), [("12.067 m", True), ("12.066 m", False), ("11.666 m", False)])
def test_lengths_tell_joints_apart_beyond_twice_the_tolerance(dug, length, told):
    """Common practice: each length may be read 0.1 m wrong; the joint has 11.866 m."""
    found, _, _ = dug(joint=[joint("upstream", "117", length)])
    assert (found.joints[0].apart == "its length") == told


def test_a_joint_as_long_as_this_one_is_told_by_its_seam_and_warned_about(dug):
    found, rec, _ = dug(joint=[joint("downstream", "119", "11.9 m", "2:40")])
    assert found.joints[1].apart == "its seam" and found.joints[1].told
    assert found.alike == ("Joint 119 (11.9 m) cannot be told from this one (11.866 m) by its length. Its seam tells "
                           "it apart: 2:40, not 10:45.",)
    assert rec.warnings[0]["text"] == found.alike[0]


def test_a_seam_across_twelve_is_near(dug):
    """10:45 and 11:30 are 45 minutes apart, 10:45 and 0:10 are 85."""
    assert dug(joint=[joint("upstream", "117", "11.9 m", "11:30")])[0].joints[0].told is False
    assert dug(joint=[joint("upstream", "117", "11.9 m", "12:10")])[0].joints[0].told is True


def test_a_twin_is_told_by_what_lies_beside_it(dug):
    """The example itself: 116 looks like 118, but 117 lies downstream of it and 119 of this one."""
    found, rec, _ = dug()
    twin = found.joints[0]
    assert (twin.number, twin.apart, twin.told) == ("116", "the joint downstream of it: 12.11 m, not 10.48 m", True)
    assert "Measure the joint downstream as well: 12.11 m beside joint 116, 10.48 m beside this one." in found.alike[0]
    assert len(rec.warnings) == 1


def test_a_twin_that_nothing_tells_apart_is_said_to_be_so(dug):
    found, rec, _ = dug(joint=[joint("upstream", "117", "11.9 m", "10:30")])
    assert found.joints[0].told is False and found.joints[0].apart == "nothing that is listed"
    assert "prove the joint by something else before the coating is removed" in rec.warnings[0]["text"]


def test_without_lengths_it_is_not_known(dug):
    found, rec, _ = dug(location__joint_length=None, pipe__seam_clock=None, joint=[joint("upstream", "117", "11.9 m")])
    assert found.joints[0].told is None
    assert "its length and that of this joint are not both known" in rec.warnings[0]["text"]


def test_comparisons_are_information_with_the_tolerance_as_a_table_value(dug):
    _, rec, _ = dug()
    check = next(i for i in rec.items if i.title == "Length of joint 117 against joint 118" and hasattr(i, "verdict"))
    assert check.verdict == "met" and check.kind == "information" and check.citation == "Trade practice"
    assert any(v.origin.ref == "Trade practice/joint_length_tolerance" for i in rec.items if hasattr(i, "formula")
               for v in i.inputs.values())


# -- pressure ------------------------------------------------------------------------------------------------------
def test_the_pressure_beside_is_that_of_the_decision(dug):
    found, _, o = dug()
    assert [r.value for r in found.pressure[:2]] == [o.decision.beside, o.decision.interim_limit]
    assert shown(found.pressure, "Read at") == "gauge at valve 2, corrected for elevation"


def test_an_unknown_pressure_keeps_people_away(dug):
    found, _, o = dug(service__discovery_pressure=None)
    assert o.decision.beside is None and found.pressure[0].value is None
    assert "nobody stands beside the pipe until the engineer gives it" in found.pressure[0].note


# -- trench --------------------------------------------------------------------------------------------------------
def test_the_trench_of_the_example(dug):
    """Independent: by hand from the overall length of the design, 60 mm, 0.3 m, 1.2 m, 0.75 m, 0.45 m and 1.5 : 1."""
    found, _, o = dug()
    overall = o.design.extent.repairs[0].overall.to("m")
    long, wide, deep = overall + 2 * 0.36 + 2.4, 0.4064 + 1.5, 1.15 + 0.4064 + 0.45
    trench = {r.label: r.value for r in found.trench}
    assert trench["Bottom, length"].to("m") == pytest.approx(long)
    assert trench["Bottom, width"].to("m") == pytest.approx(wide) and trench["Depth"].to("m") == pytest.approx(deep)
    assert trench["Top, length"].to("m") == pytest.approx(long + 3 * deep)
    # Independent: box, four wedges, and four corners that make one pyramid.
    run_out = 1.5 * deep
    volume = long * wide * deep + (long + wide) * run_out * deep + 4 * run_out ** 2 * deep / 3
    assert trench["Volume in the ground"].magnitude == pytest.approx(volume)
    assert trench["Pipe without soil under it"].to("m") == pytest.approx(long + 3 * 0.45)


def test_several_repairs_are_bared_in_one():
    o = job("HB-07.toml")
    one = o.design.extent.repairs[0]
    two = (replace(one, centre=-500.0), replace(one, label="2", centre=700.0))
    design = replace(o.design, extent=replace(o.design.extent, repairs=two))
    with recording(Recorder("SI")) as rec:
        found = dig(o.bundle, o.assessment, design, o.decision)
    # Independent: 1200 mm between the middles and half a repair at either end, then 0.36 m at either end.
    assert row(found.trench, "Length to bare").value.to("mm") == pytest.approx(1200 + one.overall.magnitude + 720)
    assert any(i.title == "Span of all repairs" for i in rec.items)


def test_without_a_design_the_defect_alone_counts_and_it_is_told(dug):
    found, rec, _ = dug("HB-02.toml", excavation={"cover": "1 m", "coating_tie_in": "0.3 m"})
    length = 34 + 2 * (50 + 300)  # HB-02: 34 mm; 50 mm is common practice, no system is named
    assert row(found.trench, "Length to bare").value.to("mm") == pytest.approx(length)
    assert any("sized for the defect alone" in c for c in found.cautions)
    assert any("counts from the defect alone" in a["text"] for a in rec.assumptions)


def test_what_is_not_stated_is_common_practice_and_told(dug):
    _, rec, _ = dug(excavation={"cover": "1 m"})
    texts = " ".join(a["text"] for a in rec.assumptions)
    for words in ("Room under the pipe", "Room on each side", "Room beyond the bared length",
                  "Tie-in to the old coating", "taken as type C"):
        assert words in texts


@pytest.mark.parametrize(("soil", "slope"), [("stable rock", 0), ("type A", 0.75), ("type B", 1), ("type C", 1.5)])
def test_slopes_by_soil(dug, soil, slope):
    """From memory: 29 CFR 1926 subpart P, appendix B, table B-1."""
    found, _, _ = dug(excavation__soil=soil)
    deep, long = row(found.trench, "Depth").value.to("m"), row(found.trench, "Bottom, length").value.to("m")
    assert row(found.trench, "Top, length").value.to("m") == pytest.approx(long + 2 * slope * deep)
    assert any("shoring or a shield" in n for n in found.needs) == (soil != "stable rock")


@pytest.mark.parametrize(("cover", "ladder", "shoring", "engineer"), [
    ("0.3 m", False, False, False), ("0.45 m", True, False, False), ("1 m", True, True, False),
    ("5.2 m", True, True, False), ("5.3 m", True, True, True)])
def test_what_the_depth_asks_for(dug, cover, ladder, shoring, engineer):
    """From memory: 4 ft (1.219 m), 5 ft (1.524 m), 20 ft (6.096 m); pipe and room under it are 0.856 m."""
    found, _, _ = dug(excavation__cover=cover)
    for words, wanted in (("ladder", ladder), ("air tested", ladder), ("shoring or a shield", shoring),
                          ("registered professional engineer", engineer)):
        assert any(words in n for n in found.needs) == wanted, words
    assert any("Spoil and machines at least 0.61 m" in n for n in found.needs)


def test_too_deep_for_the_table_is_struck_and_nothing_is_derived(dug):
    found, rec, _ = dug(excavation__cover="6 m")
    for label in ("Top, length", "Top, width", "Volume in the ground"):
        r = row(found.trench, label)
        assert r.struck and rec.get(r.value.origin.ref).struck == r.struck
    assert row(found.trench, "Pipe without soil under it").value is None
    assert "outside scope" in verdicts(rec).values()


# -- span ----------------------------------------------------------------------------------------------------------
SPAN = "Length of pipe without soil under it against the span by its own weight"


def test_the_span_is_information_for_the_engineer(dug):
    _, rec, _ = dug()
    check = next(i for i in rec.items if i.title == SPAN)
    assert check.verdict == "met" and check.kind == "information" and "the damage itself" in check.note


def test_more_bared_pipe_than_the_span_is_a_caution(dug):
    found, rec, _ = dug(excavation__span_stress="1 MPa")
    assert verdicts(rec)[SPAN] == "not met" and any("support it" in c for c in found.cautions)


@pytest.mark.parametrize("field", ["span_stress", "product_density"])
def test_a_span_without_its_numbers_is_no_data(dug, field):
    found, rec, _ = dug(**{f"excavation__{field}": None})
    assert verdicts(rec)[SPAN] == "no data" and row(found.trench, "Span by own weight").value is None
    assert any("was not looked at" in c for c in found.cautions)


# -- helpers -------------------------------------------------------------------------------------------------------
def test_the_impact_radius_is_for_gas_only(dug):
    assert any("impact radius" in r.label for r in dug()[0].helpers)
    assert not any("impact radius" in r.label for r in dug(service__service="liquid line",
                                                           service__class_location=None)[0].helpers)


def test_a_pipe_thinner_than_the_bar_has_no_bar_error(dug):
    found, _, _ = dug("HB-02.toml", excavation={"cover": "1 m"}, pipe__outside_diameter="90 mm",
                      pipe__nominal_wall="8.74 mm")
    assert not any("Pit gauge" in r.label for r in found.helpers)


def test_everything_in_us_units(dug):
    """HB-15 is printed in US units throughout: no metre, no millimetre on the sheet."""
    found, _, _ = dug("HB-15.toml")
    rows = [*found.where, *found.trench, *found.size, *found.helpers, *found.proof]
    texts = [r.words for r in rows] + [r.label for r in rows] + list(found.needs) + list(found.alike)
    assert not any(f" {unit}" in f" {word}".replace("(", " ").replace(")", " ")
                   for text in texts for word in [text + " "] for unit in ("m ", "mm ", "m³ ", "MPa ", "°C "))


def test_two_runs_are_the_same():
    o, found = job("HB-07.toml"), []
    for _ in range(2):
        with recording(Recorder("SI")):
            found.append(dig(o.bundle, o.assessment, o.design, o.decision))
    assert found[0] == found[1]

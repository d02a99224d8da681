"""A case with fields changed: its text, its readers."""

import os
import tomllib
from importlib import resources
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrapcalc.errors import CaseFaults
from wrapcalc.workbook.bench.changed import Stated

EXAMPLE = Path(str(resources.files("wrapcalc.example")))
STATED = Stated.read(EXAMPLE / "HB-07.toml")


def test_nothing_changed_is_the_text_of_the_case():
    assert STATED.text({}).encode() == STATED.raw
    assert STATED.with_changes({}) is STATED.bundle


def test_a_change_says_why_it_was_made_and_what_stood_there():
    cell = tomllib.loads(STATED.text({"defect.depth": "4.2 mm"}, "the next look"))["defect"]["depth"]
    assert cell == {"value": "4.2 mm", "source_kind": "assumed",
                    "source": "what-if of HB-07: the next look; before: 3.9 mm (pit gauge, three readings)"}


def test_a_choice_has_the_reason_where_its_reason_is_asked_for():
    design = tomllib.loads(STATED.text({"design.design_method": "laminate strain"}, "no steel"))["design"]
    assert design["design_method"]["value"] == "laminate strain"
    assert design["design_method_reason"] == "what-if of HB-07: no steel"


def test_a_table_that_the_case_lacks_is_added_once_and_does_not_stay():
    assert "layout" not in tomllib.loads(STATED.raw.decode())
    for _ in range(2):
        data = tomllib.loads(STATED.text({"layout.first": "symmetry"}))
        assert data["layout"]["first"]["value"] == "symmetry"
    assert STATED.text({"defect.depth": "4 mm"}).count("[layout]") == 0
    assert STATED.text({}).encode() == STATED.raw


@settings(max_examples=60, deadline=None)
@given(st.lists(st.dictionaries(
    st.sampled_from(("defect.depth", "defect.length", "service.maop", "pipe.sound_wall")),
    st.sampled_from(("4 mm", "300 mm", "8 MPa", "8.5 mm")), min_size=1), min_size=1, max_size=4))
def test_one_text_leaves_nothing_behind_for_the_next(sequence):
    """Fresh each time is the independent second route."""
    for changes in sequence:
        assert STATED.text(changes) == Stated(STATED.path, STATED.raw, STATED.bundle).text(changes)
    assert STATED.text({}).encode() == STATED.raw


def test_a_value_outside_its_field_is_the_fault_of_the_reader():
    with pytest.raises(CaseFaults) as caught:
        STATED.with_changes({"service.service_temperature": "400 °C"})
    assert [(f.field, f.allowed) for f in caught.value.faults] == [
        ("service.service_temperature", "at least −60 °C and at most 300 °C")]


def test_a_contradiction_is_the_fault_of_the_reader():
    with pytest.raises(CaseFaults, match="which is which"):
        STATED.with_changes({"service.lowest_temperature": "50 °C"})


def test_a_file_beside_the_case_that_has_changed_is_told(example):
    stated = Stated.read(example / "HB-07.toml")
    grid = example / "HB-07-grid.csv"
    grid.write_bytes(grid.read_bytes() + b"\n")
    with pytest.raises(CaseFaults, match="other bytes than when this bench was opened"):
        stated.with_changes({"defect.depth": "4 mm"})


def test_a_case_that_has_changed_on_disk_is_told(example):
    stated = Stated.read(example / "HB-02.toml")
    stated.refuse_if_changed()
    stated.path.write_bytes(stated.raw + b"# later\n")
    with pytest.raises(CaseFaults, match=r"HB-02\.toml: the file: found other bytes"):
        stated.refuse_if_changed()


def test_files_that_changed_after_the_bench_was_opened_are_named_and_one_saved_as_it_was_is_not(example):
    stated = Stated.read(example / "HB-07.toml")
    grid, raw = example / "HB-07-grid.csv", (example / "HB-07-grid.csv").read_bytes()
    assert stated.changed_on_disk() == ()
    stated.path.write_bytes(stated.raw + b"# later\n")
    grid.unlink()
    assert stated.changed_on_disk() == ("HB-07.toml", "HB-07-grid.csv")
    stated.path.write_bytes(stated.raw)
    grid.write_bytes(raw)
    os.utime(grid, (1, 1))
    assert stated.changed_on_disk() == ()


def test_a_file_that_changes_while_the_bench_is_opened_is_named(example):
    """Nothing was looked at yet but the bytes that were read."""
    stated = Stated.read(example / "HB-07.toml")
    stated.path.write_bytes(stated.raw.replace(b"3.9 mm", b"4.3 mm"))
    assert stated.changed_on_disk() == ("HB-07.toml",)


def test_a_shipped_system_sheet_is_no_file_of_the_user(example):
    stated = Stated.read(example / "HB-07.toml")
    shipped = f"{stated.bundle.case.design.system}.toml"
    assert shipped in stated.bundle.files
    (example / shipped).write_text("another sheet", encoding="utf-8")
    assert stated.changed_on_disk() == ()


def test_windows_line_ends_and_a_byte_order_mark_are_read(example):
    path = example / "HB-02.toml"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    stated = Stated.read(path)
    assert stated.with_changes({"defect.depth": "2 mm"}).case.defect.depth.base == 2

"""Whatever stands in the cell of the parameters, a notebook answers with one clear message and no traceback."""

from pathlib import Path

import pytest

from wrapcalc import workbook as wb
from wrapcalc.errors import CaseFaults, WrapcalcError
from wrapcalc.workbook.named import named
from wrapcalc.workbook.shown import Shown

WRONG = (None, 5, ["a"], "", "  ", "x" * 300, "a\0b", b"bytes")
SHOWS = {"what_if": "case_file", "case_form": "case_file", "review": "package_folder", "as_found": "package_folder",
         "close_out": "package_folder"}


@pytest.mark.parametrize("given", WRONG, ids=lambda g: repr(g)[:12])
@pytest.mark.parametrize("call", SHOWS)
def test_the_five_notebooks_of_the_workbench_name_the_parameter_and_how_to_mend_it(call, given):
    shown = getattr(wb, call)(given)
    assert isinstance(shown, Shown)
    assert shown._repr_html_().count("<b>Fault:</b>") + shown._repr_html_().count("<b>Note:</b>") == 1
    assert SHOWS[call] in shown.text and "such as" in shown.text and len(shown.text) < 500


@pytest.mark.parametrize("call", ["open_case", "open_campaign"])
@pytest.mark.parametrize("given", WRONG, ids=lambda g: repr(g)[:12])
def test_the_workbooks_of_a_case_and_of_a_campaign_say_it_without_a_traceback(call, given):
    with pytest.raises(WrapcalcError) as e:
        getattr(wb, call)(given)
    assert e.value._render_traceback_() == [str(e.value)] and "such as" in str(e.value)


def test_a_name_of_nothing_is_left_to_who_opens_it_and_a_path_is_a_name(tmp_path):
    assert named("case_file", tmp_path / "gone.toml", "x") == tmp_path / "gone.toml"
    assert named("case_file", str(tmp_path / "a" / "b"), "x") == Path(tmp_path / "a" / "b")
    (tmp_path / "file").write_text("")
    assert named("case_file", tmp_path / "file" / "b", "x").name == "b"
    with pytest.raises(CaseFaults, match="found nothing"):
        named("case_file", None, "x")

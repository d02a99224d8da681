"""What all views of the workbench share: contrast, messages that say what they are, faults instead of tracebacks."""

import itertools
import json
from pathlib import Path

import pytest

from wrapcalc.errors import CaseFaults, Fault, PackageError
from wrapcalc.workbook import calm


def luminance(colour: str) -> float:
    """Relative luminance; published: WCAG 2.1, definition of relative luminance."""
    parts = [int(colour[i:i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: str, b: str) -> float:
    """Published: WCAG 2.1, definition of contrast ratio."""
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_measure_of_contrast_is_right():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)  # published: WCAG 2.1, the greatest ratio
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)  # from memory: the grey that just fails


@pytest.mark.parametrize(("ink", "ground"), [
    *itertools.product((calm.INK, calm.QUIET, calm.ACCENT, calm.FAULT),
                       (calm.GROUND, calm.NOTE_GROUND, calm.FAULT_GROUND)), (calm.GROUND, calm.ACCENT)])
def test_text_is_legible_to_aa(ink, ground):
    assert contrast(ink, ground) >= 4.5


@pytest.mark.parametrize("edge", [calm.EDGE, calm.ACCENT, calm.FAULT])
def test_edges_of_controls_are_seen(edge):
    assert contrast(edge, calm.GROUND) >= 3


@pytest.mark.parametrize("kind", ["Fault", "Warning", "Note", "Done"])
def test_a_message_says_in_words_what_it_is_and_runs_no_markup(kind):
    html = calm.message(kind, "<script>x</script>", "<b>")
    assert f"<b>{kind}:</b>" in html and "<script>" not in html and "&lt;b&gt;" in html
    assert ('role="alert"' in html) == (kind == "Fault")


def test_a_fault_says_field_found_allowed_and_how_to_mend():
    html = calm.fault(Fault("case.toml", "defect.depth", "'3'", "a length with its unit", "write 3 mm", 12))
    assert all(w in html for w in ("defect.depth: found", "allowed: a length with its unit", "To mend it: write 3 mm"))
    assert "defect.depth" not in calm.fault(Fault("f", "defect.depth", "a", "b", "c"), with_field=False)


@pytest.mark.parametrize(("error", "says"), [
    (PackageError("p: cannot be read"), "p: cannot be read"),
    (CaseFaults([Fault("f", "a.b", "x", "y", "z"), Fault("f", "c.d", "x", "y", "z")]), "c.d: found x"),
    (PermissionError(13, "Permission denied", "folder"), "folder: Permission denied"),
    (ValueError("odd"), "a defect of wrapcalc (ValueError: odd)")])
def test_what_goes_wrong_in_a_callback_is_a_message_and_no_traceback(error, says):
    heard = []

    @calm.told(heard.append)
    def press(_):
        raise error

    assert press(None) is None
    assert len(heard) == 1 and says in heard[0] and "Traceback" not in heard[0] and 'role="alert"' in heard[0]


def test_a_callback_that_goes_well_tells_nothing():
    heard = []
    assert calm.told(heard.append)(lambda x: x + 1)(2) == 3
    assert not heard


def test_a_long_table_scrolls_inside_itself_and_is_reached_by_the_keyboard():
    html = calm.scrolling(calm.table(("Step", "Result"), [("S1", "<3>")], numbers=(1,)), "steps & checks")
    assert 'tabindex="0"' in html and 'aria-label="steps &amp; checks"' in html and "overflow: auto" in calm.STYLE
    assert "<td class=wc-number>&lt;3&gt;</td>" in html and "<th>Step</th>" in html


@pytest.mark.parametrize("name", ["as_found", "case_form", "close_out", "review", "what_if"])
def test_the_head_of_a_notebook_says_what_to_do_when_its_view_is_dead(name):
    path = Path(__file__).parents[2] / "workbooks" / f"{name}.ipynb"
    head = json.loads(path.read_text(encoding="utf-8"))["cells"][0]
    assert head["cell_type"] == "markdown"
    text = " ".join("".join(head["source"]).split())
    assert "Opened again" in text and "the kernel was restarted" in text and "Run > Run All Cells" in text
    assert "Run > Run All Cells" in calm.DEAD  # the same menu as in the notice over the view

"""The drawing of the site sheet: large, to scale, no text over another, everything from one zero."""

from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.render import test_figures as others
from tests.render.test_figures import assert_legible, described
from wrapcalc.render.figures import _sheet, _site_drawing
from wrapcalc.render.figures._site_drawing import site_drawing

written = others.written  # the fixture that collects every text a figure places


def text(value: float, unit: str = "mm") -> str:
    return f"{value:.1f}".removesuffix(".0") if unit == "mm" else f"{value:.2f}"


def repair(start: float, widths: list, *, label: str = "1", lap: float = 0.0, tiers: int = 1, of: int = 1,
           unit: str = "mm", end: float = 45.0) -> dict:  # fmt: skip
    """A row of units from `start`, with ends and prepared steel; starts go round in steps of 3 h and 40 min."""
    units, at = [], start
    for k, wide in enumerate(widths, 1):
        units.append({"name": f"{label}.{k}" if of > 1 else str(k), "upstream": (at, text(at, unit)),
                      "downstream": (at + wide, text(at + wide, unit)),
                      "starts": [((0.5 + 3.67 * (k + t)) % 12, f"{t + 1}st" if tiers > 1 else "")
                                 for t in range(tiers)]})
        at += wide - lap
    last = at + lap
    places = {k: [(start - d, text(start - d, unit)), (last + d, text(last + d, unit))]
              for k, d in (("overall", end), ("steel", 2 * end))}
    return {"label": label, "units": units} | places


def sheet(**changes: object) -> dict:
    return {
        "circumference": 1276.7, "zero": "girth weld 1180", "zero_is_weld": True,
        "damage": [(4190.0, 4426.0, 5.333, 154.0)], "repairs": [repair(4021, [410, 170])], "seam_clock": 10.75,
        "keep_outs": [(5020, 5100, "test lead, 5020 mm to 5100 mm (no part)")], "other_weld": 11866.0,
        "ends": "square with fillet", "length_unit": "mm", "title": "Marks",
    } | changes  # fmt: skip


SHEETS = {
    "example": sheet(),
    "low": sheet(least=True),
    "from the middle of the damage": sheet(zero="the middle of the damage", zero_is_weld=False, other_weld=None,
                                           damage=[(-120, 120, 0.0, 300)], repairs=[repair(-290, [170, 410])]),
    "weld within reach": sheet(damage=[(300, 400, 6, 100)], repairs=[repair(160, [410])]),
    "over the weld": sheet(damage=[(-50, 90, 6, 100)], repairs=[repair(-200, [410])]),
    "weld downstream": sheet(damage=[(-900, -800, 3, 50)], repairs=[repair(-1060, [410])]),
    "other weld in view": sheet(other_weld=4700.0),
    "keep-out in view": sheet(keep_outs=[(4650, 4690, "bond, 4650 mm to 4690 mm (no end)"),
                                         (4000, 4010, "word " * 60)]),
    "five units in two tiers": sheet(repairs=[repair(3000, [410, 260, 170, 410, 410], tiers=2)]),
    "three repairs of five": sheet(damage=[(3100, 3900, 1, 80), (6000, 6300, 8, 99)],
                                   repairs=[repair(x, [260] * 5, label=n, of=3, tiers=2)
                                            for x, n in ((3000, "1"), (5000, "2"), (7000, "3"))]),
    "two far apart": sheet(repairs=[repair(1000, [170], label="1", of=2), repair(9000, [170], label="2", of=2)]),
    "bands in inches": sheet(circumference=50.27, damage=[(255, 262, 7.5, 5.2)], length_unit="in", ends="tapered",
                             repairs=[repair(248.03, [22.05, 22.05, 22.05], lap=1.4, unit="in", end=2.0)],
                             keep_outs=[], other_weld=None),
    "long words": sheet(zero="girth weld " + "X" * 200, ends="e" * 200),
    "no seam, no damage": sheet(seam_clock=None, damage=[], keep_outs=[], other_weld=None, ends=""),
}  # fmt: skip


@pytest.mark.parametrize("name", SHEETS)
def test_no_overlapping_or_cut_text(name: str, written: list) -> None:
    site_drawing(**SHEETS[name])
    assert_legible(written)


@pytest.mark.parametrize("name", SHEETS)
def test_letters_are_nine_points_and_more_on_paper(name: str, monkeypatch) -> None:
    sizes: list[float] = []
    real = _sheet.Sheet.text
    monkeypatch.setattr(_sheet.Sheet, "text", lambda self, *a, **k: (sizes.append(k["size"]), real(self, *a, **k)))
    site_drawing(**SHEETS[name])
    assert min(sizes) * 190 / _sheet.WIDTH >= 9


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(start=st.floats(-800, 9000), widths=st.lists(st.sampled_from([170, 260, 410]), min_size=1, max_size=5),
       more=st.lists(st.floats(100, 2000), max_size=2), tiers=st.integers(1, 2), lap=st.sampled_from([0.0, 35.0]),
       clock=st.floats(0, 11.9), seam=st.none() | st.floats(0, 11.9), wide=st.floats(20, 1200),
       weld=st.booleans())  # fmt: skip
def test_any_set_of_units_is_legible(written: list, start, widths, more, tiers, lap, clock, seam, wide, weld) -> None:
    written.clear()
    made, at = [], start
    for k, gap in enumerate([0.0, *more]):
        at += gap + 90.0
        made.append(repair(at, widths, label=str(k + 1), of=1 + len(more), tiers=tiers, lap=lap))
        at += sum(widths)
    site_drawing(**sheet(repairs=made, damage=[(start + 60, start + 150, clock, wide)], seam_clock=seam,
                         zero_is_weld=weld))
    assert_legible(written)


def test_every_side_stands_there_once_as_the_tape_reads_it(written: list) -> None:
    site_drawing(**sheet())
    texts = [w[0] for w in written]
    for number in ("4021", "4431", "4601", "3976", "4646", "3931", "4691"):
        assert texts.count(number) == 1, number
    assert {"1", "2", "4:10", "7:50", "flow", "12:00", "3:00", "6:00", "9:00", "0 = girth weld 1180, mm"} <= set(texts)
    assert "seam 10:45" in texts


def test_what_has_no_room_on_the_pipe_is_told_below(written: list) -> None:
    site_drawing(**SHEETS["two far apart"])
    said = " ".join(w[0] for w in written)
    assert "Starts: 1.1: 4:10; 2.1: 4:10." in said


def test_a_long_row_of_numbers_stands_upright(monkeypatch) -> None:
    turned: list[bool] = []
    real = _sheet.Sheet.text
    monkeypatch.setattr(_sheet.Sheet, "text",
                        lambda self, *a, **k: (turned.append(bool(k.get("upright"))), real(self, *a, **k)))
    site_drawing(**sheet())
    assert not any(turned)
    site_drawing(**SHEETS["three repairs of five"])
    assert any(turned)


def test_the_zero_says_how_it_is_signed_where_it_is_no_weld(written: list) -> None:
    site_drawing(**SHEETS["from the middle of the damage"])
    texts = [w[0] for w in written]
    assert "0 = the middle of the damage, downstream +, mm" in texts and "-290" in texts


@pytest.fixture
def boxes(monkeypatch) -> list[tuple[float, float]]:
    """From, width of every box as high as the pipe, in the order in which they are drawn."""
    found: list[tuple[float, float]] = []
    real = _sheet.Sheet.box

    def box(self: _sheet.Sheet, x: float, y: float, width: float, height: float, **look: object) -> None:
        if height == _site_drawing.HIGHEST:
            found.append((x, width))
        real(self, x, y, width, height, **look)

    monkeypatch.setattr(_sheet.Sheet, "box", box)
    return found


def test_units_are_to_scale_along_the_pipe(boxes: list) -> None:
    """Independent: shares of drawn lengths, from the boxes that the sheet is told to draw."""
    site_drawing(**sheet())
    steel, overall, first, second = boxes
    per = steel[1] / (4691 - 3931)
    assert [overall[1] / per, first[1] / per, second[1] / per] == pytest.approx([670, 410, 170])
    assert (first[0] - steel[0]) / per == pytest.approx(90) and second[0] == pytest.approx(first[0] + first[1])


def test_numbers_move_apart_and_stay_in_order() -> None:
    wants, wides = [10.0, 10.5, 11.0, 40.0], [6.0, 6.0, 6.0, 6.0]
    found = _site_drawing._spread(wants, wides, 0, 60)
    assert [b - a >= 6 - 1e-9 for a, b in pairwise(found)] == [True] * 3
    assert found[1] == pytest.approx(10.5) and found[3] == pytest.approx(40.0)
    assert _site_drawing._spread(wants, wides, 0, 23) is None


@given(st.lists(st.tuples(st.floats(0, 100), st.floats(1, 12)), min_size=1, max_size=9))
def test_spread_numbers_never_touch_or_leave_the_sheet(rows) -> None:
    wants, wides = sorted(w for w, _ in rows), [w for _, w in rows]
    found = _site_drawing._spread(wants, wides, 0, 110)
    assert found is not None
    assert found[0] - wides[0] / 2 >= -1e-9 and found[-1] + wides[-1] / 2 <= 110 + 1e-9
    assert all(b - a >= (p + q) / 2 - 1e-9 for a, b, p, q in zip(found, found[1:], wides, wides[1:], strict=False))


def test_the_description_has_all_places() -> None:
    said = described(site_drawing(**sheet()))
    assert "unit 1 from 4021 to 4431, starts at 4:10" in said and "seam at 10:45" in said
    assert "repair 1 from 3976 to 4646, prepared steel from 3931 to 4691" in said


@pytest.mark.parametrize(("changes", "wrong"), [
    ({"repairs": []}, "repairs is empty"),
    ({"repairs": [repair(0, [410]) | {"units": []}]}, "have no units"),
    ({"circumference": 0}, "circumference is 0"),
    ({"damage": [(2, 1, 3, 4)]}, r"damage\[0\] runs from 2 to 1"),
    ({"damage": [(1, 2, 13, 4)]}, r"damage\[0\] clock is 13"),
    ({"damage": [(1, float("nan"), 3, 4)]}, r"damage\[0\] end is nan"),
    ({"seam_clock": 12.5}, "seam_clock is 12.5"),
    ({"repairs": [repair(0, [-410])]}, r"repairs\[0\] units\[0\] runs from")])
def test_what_can_not_be_drawn_is_refused(changes: dict, wrong: str) -> None:
    with pytest.raises(ValueError, match=wrong):
        site_drawing(**sheet(**changes))


def test_same_bytes_again() -> None:
    assert site_drawing(**sheet()) == site_drawing(**sheet())

"""The strip of joints: to scale, nothing cut off or overlapping, nothing drawn that was not stated."""

import re

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.render import test_figures as others
from tests.render.test_figures import assert_legible, described
from wrapcalc.render.figures import _joints, _sheet
from wrapcalc.render.figures._joints import joint_strip

written = others.written  # the fixture that collects every text a figure places


def joint(number: str, length: float, seam: float | None, this: bool = False) -> dict:
    return {"number": number, "length": length, "seam": seam, "this": this}


def strip(**changes: object) -> dict:
    return {
        "joints": [joint("116", 11.93, 11.083), joint("117", 12.11, 1.333), joint("118", 11.866, 10.75, True),
                   joint("119", 10.48, 2.667)],
        "welds": ("1180", "1190"), "defect": (4.19, 4.426), "clock": 5.333, "marker": "", "length_unit": "m",
        "title": "Joints",
    } | changes  # fmt: skip


STRIPS = {
    "example": strip(),
    "alone": strip(joints=[joint("118", 11.866, 10.75, True)], clock=None),
    "defect at the upstream weld": strip(defect=(0.0, 0.3)),
    "defect at the downstream weld": strip(defect=(11.566, 11.866), welds=("", "")),
    "no defect": strip(defect=None),
    "first of the listing": strip(joints=[joint("1", 12, 0.0, True), joint("2", 12, 1)], defect=(0.01, 0.02)),
    "last of the listing": strip(joints=[joint("1", 12, None), joint("", 12, None, True)], defect=(11.5, 12)),
    "a pup to dig": strip(joints=[joint("1", 12, 4), joint("2", 1.1, 10.75, True), joint("3", 12, 1)],
                          defect=(0.4, 0.6), clock=0.0),
    "pups beside it": strip(joints=[joint("1", 40, None), joint("2", 1.2, 3), joint("3", 1.5, 4),
                                    joint("4", 39.8, 10.75, True), joint("5", 2.2, 1), joint("6", 38, 2)],
                            defect=(38.9, 39.8), length_unit="ft"),
    "many": strip(joints=[joint(str(k), 12 + k / 10, k % 12, k == 4) for k in range(9)]),
    "long words": strip(joints=[joint("W" * 60, 12, 1), joint("N" * 60, 12, 2, True)], marker="post " * 60,
                        welds=("X" * 80, "Y" * 80)),
}  # fmt: skip


@pytest.mark.parametrize("name", STRIPS)
def test_no_overlapping_or_cut_text(name: str, written: list) -> None:
    joint_strip(**STRIPS[name])
    assert_legible(written)


@pytest.mark.parametrize("name", STRIPS)
def test_letters_are_eleven_points_on_a_sheet_for_the_site(name: str, written: list, monkeypatch) -> None:
    """The sheet prints the figure 188 to 196 mm wide, drawn for 170 mm."""
    sizes: list[float] = []
    real = _sheet.Sheet.text
    monkeypatch.setattr(_sheet.Sheet, "text", lambda self, *a, **k: (sizes.append(k["size"]), real(self, *a, **k)))
    joint_strip(**STRIPS[name])
    assert min(sizes) * 188 / _sheet.WIDTH >= 11


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(lengths=st.lists(st.floats(0.5, 18), min_size=1, max_size=7), at=st.integers(0, 6), where=st.floats(0, 0.95),
       seam=st.none() | st.floats(0, 11.9))  # fmt: skip
def test_any_listing_is_legible(written: list, lengths: list, at: int, where: float, seam: float | None) -> None:
    written.clear()
    this = at % len(lengths)
    start = where * lengths[this]
    joint_strip(**strip(joints=[joint(str(k), x, seam, k == this) for k, x in enumerate(lengths)],
                        defect=(start, start + 0.04 * lengths[this])))  # fmt: skip
    assert_legible(written)


@pytest.fixture
def pipe(monkeypatch) -> list[tuple[float, float]]:
    """From, width of every box as high as the pipe, in the order in which they are drawn."""
    boxes: list[tuple[float, float]] = []
    real = _sheet.Sheet.box

    def box(self: _sheet.Sheet, x: float, y: float, width: float, height: float, **look: object) -> None:
        if height == _joints.PIPE:
            boxes.append((x, width))
        real(self, x, y, width, height, **look)

    monkeypatch.setattr(_sheet.Sheet, "box", box)
    return boxes


def test_joints_and_defect_are_to_scale(pipe: list) -> None:
    """Independent: shares of the drawn length, from the boxes that the sheet is told to draw."""
    joint_strip(**strip(defect=(4.0, 5.0)))
    *joints, (left, wide) = pipe
    per = sum(w for _, w in joints) / (11.93 + 12.11 + 11.866 + 10.48)
    assert [w / per for _, w in joints] == pytest.approx([11.93, 12.11, 11.866, 10.48])
    assert wide / per == pytest.approx(1.0) and (left - joints[2][0]) / per == pytest.approx(4.0)


def test_a_short_defect_can_still_be_seen(pipe: list) -> None:
    joint_strip(**strip(defect=(4.0, 4.001)))
    assert min(w for _, w in pipe) >= 1.0


def test_words_and_description(written: list) -> None:
    svg = joint_strip(**strip(marker="marker post 9"))
    texts = [w[0] for w in written]
    for words in ("weld 1180", "weld 1190", "4.19 m", "7.44 m", "118", "11.866 m", "seam 10:45", "defect, clock 5:20",
                  "flow", "marker post 9"):
        assert words in texts
    said = described(svg)
    assert "joint 118 (to be dug): 11.866 m, seam 10:45" in said and "4.19 m from the upstream" in said


def test_what_is_not_stated_is_said_or_left_out(written: list) -> None:
    joint_strip(**strip(joints=[joint("", 12, None, True)], welds=("", ""), defect=None, clock=None))
    texts = [w[0] for w in written]
    assert {"no number", "seam not stated", "upstream weld", "downstream weld"} <= set(texts)
    assert not any("defect" in t or "Circles" in t for t in texts)


def test_two_neighbours_on_each_side_at_most(written: list) -> None:
    joint_strip(**STRIPS["many"])
    assert [w[0] for w in written if re.fullmatch(r"\d", w[0])] == ["2", "3", "4", "5", "6"]


def test_seams_turn_as_the_clock_does() -> None:
    """Facing downstream 3 o'clock is on the right, 6 at the bottom."""
    assert _joints._on_dial(0, 0, 3, 1) == pytest.approx((1, 0), abs=1e-12)
    assert _joints._on_dial(0, 0, 6, 1) == pytest.approx((0, 1), abs=1e-12)


@pytest.mark.parametrize(("changes", "wrong"), [
    ({"joints": []}, "joints has 0 that are to be dug"),
    ({"joints": [joint("1", 12, 1, True), joint("2", 12, 1, True)]}, "joints has 2 that are to be dug"),
    ({"joints": [joint("1", 0, 1, True)]}, r"joints\[0\] length is 0"),
    ({"joints": [joint("1", float("nan"), 1, True)]}, r"joints\[0\] length is nan"),
    ({"joints": [joint("1", 12, 13, True)]}, r"joints\[0\] seam is 13"),
    ({"defect": (11, 12)}, "does not lie on a joint of 11.866"),
    ({"defect": (-1, 2)}, "does not lie on a joint"),
    ({"defect": (2, 1)}, "the start has to lie before the end"),
    ({"clock": 12.5}, "clock is 12.5")])
def test_what_can_not_be_drawn_is_refused(changes: dict, wrong: str) -> None:
    with pytest.raises(ValueError, match=wrong):
        joint_strip(**strip(**changes))


def test_same_bytes_again() -> None:
    assert joint_strip(**strip()) == joint_strip(**strip())

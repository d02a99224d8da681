"""What number formats make of numbers: per cent, words, thousands."""

import pytest

from wrapcalc.campaign.listing.columns import COLUMNS
from wrapcalc.campaign.listing.number_formats import Shown, meant, refused, shown_by

NOMINAL = "% of nominal wall"


@pytest.mark.parametrize(("text", "shown"), [
    ("General", Shown()), ("0.00", Shown()), ("#,##0.0", Shown()), ("0;-0", Shown()), ("[Red]0.0;[Blue]-0", Shown()),
    ("_(* #,##0.00_);_(* (#,##0.00)", Shown()), ("0.00E+00", Shown()), ("# ?/?", Shown()), ("@", Shown()),
    ("0%", Shown(1)), ("0.0 %;-0.0 %", Shown(1)), ("0%%", Shown(2)), ('0.0" in"', Shown(text="in")),
    ('0.0 "mm"', Shown(text="mm")), ("0.0\\m\\m", Shown(text="mm")), ('0"%"', Shown(text="%")),
    ("0\\%", Shown(text="%")), ("0.0'", Shown(text="'")), ('0.00\\"', Shown(text='"')), ("0°", Shown(text="°")),
    ("[$mm-409]0", Shown(text="mm")), ("0.0,", Shown(thousands=1)), ("#,##0,,", Shown(thousands=2))])
def test_a_format_is_read_by_its_first_section(text, shown):
    assert shown_by(text) == shown and shown.plain == (shown == Shown())


@pytest.mark.parametrize(("number", "value"), [(0.85, 85.0), (0.29, 29.0), (0.07, 7.0), (1, 100.0), (0.555, 55.5)])
def test_per_cent_is_100_times_the_number_without_a_digit_lost(number, value):
    assert meant(Shown(1), NOMINAL, number) == value  # 0.29 * 100 is 28.999999999999996


def test_a_share_that_is_shown_as_per_cent_is_a_share():
    assert meant(Shown(1), "share of nominal wall", 0.85) == 0.85
    assert refused(Shown(1), COLUMNS["depth"], "share of nominal wall", 0.85) is None
    assert "shows with '%'" in refused(Shown(text="%"), COLUMNS["depth"], "share of nominal wall", 0.85)[0]


@pytest.mark.parametrize(("shown", "column", "unit", "says"), [
    (Shown(1), "depth", NOMINAL, ""), (Shown(2), "depth", NOMINAL, "0.5, which the sheet shows as per cent (5000 %)"),
    (Shown(1), "length", "mm", "0.5, which the sheet shows as per cent (50 %)"),
    (Shown(1), "clock", "h:mm", "0.5, which the sheet shows as per cent (50 %)"),
    (Shown(1), "listed_repair_factor", "", ""), (Shown(text="ERF"), "listed_repair_factor", "", ""),
    (Shown(text="in"), "length", "mm", "0.5, which the sheet shows with 'in'"), (Shown(text="in"), "length", "in", ""),
    (Shown(text='"'), "length", "in", ""), (Shown(text='"'), "length", "mm", "with '\"'"),
    (Shown(text="mm"), "depth", NOMINAL, "with 'mm'"), (Shown(text="%"), "depth", NOMINAL, ""),
    (Shown(text="% WT"), "depth", NOMINAL, ""), (Shown(text="°"), "clock", "degrees", ""),
    (Shown(text="°"), "clock", "decimal hours", "with '°'"), (Shown(text="parsec"), "length", "mm", "with 'parsec'"),
    (Shown(text="- ( )"), "length", "mm", ""), (Shown(thousands=1), "log_distance", "m", "shows over 1000")])
def test_a_number_that_is_shown_as_something_else_is_told(shown, column, unit, says):
    odd = refused(shown, COLUMNS[column], unit, 0.5)
    if not says:
        assert odd is None
    else:
        assert says in odd[0] and "format the column as a plain number" in odd[1]

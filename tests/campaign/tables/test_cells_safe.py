"""Texts that a spreadsheet would run are made harmless; others stay as they are."""

import pytest

from wrapcalc.campaign.tables.cells_safe import safe_text


@pytest.mark.parametrize("text", ["=1+1", "+A1", "-2", "@sum", "\tx", "\rx"])
def test_a_text_that_would_run_gets_an_apostrophe(text):
    assert safe_text(text) == "'" + text


@pytest.mark.parametrize("text", ["", "pit", "3 = 4", " =1", "'=1"])
def test_other_texts_stay(text):
    assert safe_text(text) == text

"""Two spellings of one name are one person; what only looks like a name is refused."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wrapcalc.fields import FieldFault
from wrapcalc.people import checked_name, person_key


@pytest.mark.parametrize("other", [
    "E Example", "Example, E.", "e.  EXAMPLE", "E.Example", "Example E", "E.\u00a0Example", "E. Exam\u00adple",
    "E. Exa\u200bmple", "Ｅ. Example", "E. Ex\u0430mple", "\u0395. Example", "E. E\u03c7ample", "E. Exam\u034fple",
])
def test_one_person_in_other_spellings(other):
    """By hand: the same letters in the same words, signs and order aside; Cyrillic a, Greek E and chi look the same."""
    assert person_key(other) == person_key("E. Example")


@pytest.mark.parametrize(("one", "other"), [
    ("Zoë Example", unicodedata.normalize("NFD", "Zoë Example")), ("E.J. Example", "Example, E J"),
    ("EJ Example", "E. J. Example"), ("Anne-Marie Example", "Example, anne marie"), ("O'Example", "O’Example"),
    ("Straße", "STRASSE"), ("\u0391. \u039d\u03af\u03ba\u03bf\u03c2", "\u03b1. \u039d\u038a\u039a\u039f\u03a3"),
    ("\u0410. \u0421\u043e\u0445", "A. Cox"),
])
def test_further_pairs_that_are_one(one, other):
    assert person_key(one) == person_key(other)


@pytest.mark.parametrize(("one", "other"), [
    ("E. Example", "F. Example"), ("E. Example", "E. Examples"), ("2026-05-01", "2026-01-05"), ("AB-1-2", "AB-12"),
    ("A-12", "12-A"),
])
def test_other_people_and_other_batches_stay_apart(one, other):
    assert person_key(one) != person_key(other)


@given(st.text(max_size=30))
def test_the_form_of_unicode_does_not_matter(name):
    assert len({person_key(unicodedata.normalize(form, name)) for form in ("NFC", "NFD", "NFKC", "NFKD")}) == 1


@pytest.mark.parametrize(("text", "words"), [
    ("-", "'-'"), ("?", "'?'"), ("", "nothing"), ("X.", "'X.'"), ("12 34", "'12 34'"),
    ("E. Exam\u00adple", "characters that print nothing: U+00AD"), ("E. Exa\u200dmple", "U+200D"),
    ("E. \u3164xample", "U+3164"), ("E. Ex\u0430mple", "in letters of Cyrillic and Latin"),
    ("\u0395. Example", "in letters of Greek and Latin"),
])
def test_what_is_no_name_is_refused(text, words):
    with pytest.raises(FieldFault) as e:
        checked_name(text)
    assert words in e.value.found and e.value.mend


@pytest.mark.parametrize("name", ["E. Example", "Zoë O’Example-Roe", "\u0410. \u0418\u0432\u0430\u043d\u043e\u0432",
                                  "Jos\u0065\u0301 Example", "山田 はな", "\u0391\u03bd\u03bd\u03b1"])
def test_a_name_in_one_script_is_taken(name):
    assert checked_name(f"  {name} ") == unicodedata.normalize("NFC", name)

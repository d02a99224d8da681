"""Names of people: how two are compared, and what may stand where a name is due. Typed, never authenticated.

Two spellings of one name must not pass for two people: nobody checks, approves or accepts work of his own.
"""

from __future__ import annotations

import unicodedata

from wrapcalc.fields import FieldFault

_ALLOWED = "a name of at least two letters, all of one script"
#: Left out of a name without parting it: apostrophes.
_APOSTROPHES = frozenset("'’‘ʼʹ`´′")
#: They print nothing although Unicode counts them as letters or marks.
_UNSEEN = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u180b\u180c\u180d\u3164\uffa0") | frozenset(
    chr(c) for c in (*range(0xFE00, 0xFE10), *range(0xE0100, 0xE01F0)))
#: Small letters, of which one case looks like a Latin letter: Cyrillic, then Greek, then Latin without a dot.
_LOOKS_LIKE = str.maketrans("авекмнорстухіјѕԁԛԝһӏ" "αβεζηικμνορτυχϲϳ" "ı",
                            "abekmhopctyxijsdqwhl" "abezhikmnoptyxcj" "i")
#: Scripts that are written together in one name.
_TOGETHER = dict.fromkeys(("CJK", "HIRAGANA", "KATAKANA", "HANGUL", "BOPOMOFO", "IDEOGRAPHIC"), "East Asian")


def person_key(name: str) -> str:
    """A name as it is compared: without case, spacing, signs, invisible characters and look-alike letters, in one form
    of Unicode, its words in one order, its initials as one word: "E. Example", "Example, E" and "e example" are one.

    A text with a digit is a number of a batch or the like: its words keep their order, since 05-01 is not 01-05.
    """
    plain = _folded("".join(c for c in _folded(name) if unicodedata.category(c) != "Cf" and c not in _UNSEEN
                            and c not in _APOSTROPHES))
    plain = plain.translate(_LOOKS_LIKE)
    words = "".join(c if unicodedata.category(c)[0] in "LMN" else " " for c in plain).split()
    if not any(c.isdigit() for c in plain):
        initials = "".join(w for w in words if len(w) == 1)
        words = sorted([w for w in words if len(w) > 1] + [initials] * bool(initials))
    return " ".join(words)


def _folded(text: str) -> str:
    return unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", text).casefold())


def checked_name(text: str) -> str:
    """The name on one line, composed. Raises FieldFault for what is no name, or does not look like what it is."""
    unseen = sorted({c for c in text if c in _UNSEEN or (unicodedata.category(c)[0] == "C" and not c.isspace())})
    if unseen:
        raise FieldFault("characters that print nothing: " + ", ".join(f"U+{ord(c):04X}" for c in unseen[:5]),
                         _ALLOWED, "type the name anew; do not copy it from elsewhere")
    shown = " ".join(unicodedata.normalize("NFC", text).split())
    letters = [c for c in unicodedata.normalize("NFKC", shown) if c.isalpha()]
    if len(letters) < 2:
        raise FieldFault(f"'{shown}'" if shown else "nothing", _ALLOWED, "write the full name of the person")
    scripts = sorted({_script(c) for c in letters if unicodedata.category(c) != "Lm"})
    if len(scripts) > 1:
        raise FieldFault(f"'{shown}', in letters of {' and '.join(scripts)}", _ALLOWED,
                         "type the name anew in one script: letters of another one only look the same")
    return shown


def _script(letter: str) -> str:
    first = unicodedata.name(letter, "UNKNOWN").split()[0].partition("-")[0]
    return _TOGETHER.get(first, first.capitalize())

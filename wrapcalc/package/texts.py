"""Texts that the report could not print: told as faults, before anything is built."""

from __future__ import annotations

from collections.abc import Iterator

from wrapcalc.case import Bundle
from wrapcalc.errors import Fault
from wrapcalc.fields import lookup, walk
from wrapcalc.reading import line_numbers


def unprintable(bundle: Bundle, name: str) -> Iterator[Fault]:
    """A fault for each text of the case with characters that the fonts of the report lack.

    name: the case file as shown to the user. The fonts are looked into only when a text leaves Latin-1.
    """
    lines = line_numbers(bundle.files["case.toml"])
    for field, _ in walk(type(bundle.case)):
        given = lookup(bundle.case, field)
        texts = [t for t in (given, getattr(given, "source", "")) if isinstance(t, str)]
        odd = {c for t in texts for c in t if ord(c) > 255}
        if not odd:
            continue
        from wrapcalc.package.pdf import printable_characters
        missing = sorted(c for c in odd if ord(c) not in printable_characters())
        if missing:
            more = f" and {len(missing) - 5} more" if len(missing) > 5 else ""
            yield Fault(name, field, ", ".join(f"'{c}' (U+{ord(c):04X})" for c in missing[:5]) + more,
                        "characters of the report's fonts: Latin, Greek, Cyrillic and common signs",
                        "write it in those letters", lines.get(field))

"""Every error that wrapcalc raises on purpose.

WrapcalcError
├── CaseFaults            bad input: a list of Fault (where, found, allowed, how to mend)
├── FormulaError          a formula that cannot be printed faithfully (raised at import)
├── CalculationError      NaN, division by zero, no convergence, a value derived from one out of scope
├── PackageError          a package folder that cannot be written, read or trusted
│   ├── NotebookFailed    the notebook of a package raised
│   └── MathsNotRendered  a formula could not be drawn
└── UnknownItem           a name that is not in a list of ours (step, system, document), nearest suggested
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass


class WrapcalcError(Exception):
    """Base of all errors raised on purpose. Its text is a message for the user, never a traceback."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of an input file.

    file, line: where it stands (line None when unknown); field: dotted name; found: what stands there;
    allowed: what may stand there; mend: how to put it right.
    """

    file: str
    field: str
    found: str
    allowed: str
    mend: str
    line: int | None = None

    def __str__(self) -> str:
        where = self.file if self.line is None else f"{self.file}, line {self.line}"
        return f"{where}: {self.field}: found {self.found}; allowed: {self.allowed}. To mend: {self.mend}"


class CaseFaults(WrapcalcError):
    """All faults of one input file, reported together."""

    def __init__(self, faults: Iterable[Fault]):
        self.faults = list(faults)
        super().__init__("\n".join(str(f) for f in self.faults))

    def __reduce__(self):
        return (type(self), (self.faults,))


class FormulaError(WrapcalcError):
    """A formula that cannot be printed faithfully; raised when its module is imported."""


class CalculationError(WrapcalcError):
    """A calculation that must not go on; the message names the step and its inputs."""


class PackageError(WrapcalcError):
    """A package folder that cannot be written, read or trusted."""


class NotebookFailed(PackageError):
    """The notebook of a package raised; the message names the cell."""


class MathsNotRendered(PackageError):
    """A formula could not be drawn; the message carries its TeX."""


class UnknownItem(WrapcalcError):
    """A name that is not in one of our lists."""

    def __init__(self, what: str, name: str, known: Iterable[str]):
        self.what, self.name, self.known = what, name, sorted(known)
        near = nearest(name, self.known)
        hint = f"Did you mean '{near}'?" if near else "Known: " + ", ".join(self.known[:12])
        # What a terminal or a page could not show is spelled out.
        shown = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in name[:80])
        super().__init__(f"there is no {what} named '{shown}'. {hint}")

    def __reduce__(self):
        return (type(self), (self.what, self.name, self.known))


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name closest to `name`, or None when nothing is close."""
    found = difflib.get_close_matches(name, list(known), n=1, cutoff=0.6)
    return found[0] if found else None


class ValueWaits(WrapcalcError):
    """A value of an edition that is not known to us; an overlay mark from a licensed copy supplies it."""

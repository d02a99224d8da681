"""Text that a reviewer typed and did not save: beside the review, so that a kernel that ends takes nothing away.

It counts for nothing: it is no line of the review, no sheet and no approval reads it. The next window on the package
goes on from it.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from pathlib import Path

from wrapcalc.workbook.kept import Kept

#: Never written itself; what is typed stands in `typed.json.unsaved` (each window its own).
NAME = "typed.json"


class Drafts:
    """texts: step -> what was typed of it when this window was opened; who: by whom, as typed; told: what the user must
    know of other files of typed text."""

    def __init__(self, place: Path, steps: Collection[str]):
        """place: folder of the review. Raises PackageError when what stands there cannot be read."""
        self._kept = Kept(place / NAME, _bytes("", {}))
        try:
            data = json.loads(self._kept.text)
            self.who, self.texts = data["who"], dict(data["texts"])
            if not isinstance(self.who, str) or not all(isinstance(t, str) for t in self.texts.values()):
                raise TypeError
        except (ValueError, KeyError, TypeError):
            self._kept.set_aside()
            self.who, self.texts = "", {}
        self.texts = {i: t for i, t in self.texts.items() if i in steps and t.strip()}

    @property
    def told(self) -> list[str]:
        """Of text of other windows, and of what is damaged."""
        return self._kept.told()

    def keep(self, who: str, texts: Mapping[str, str]) -> None:
        """What is typed and not saved now. Raises PackageError when it cannot be written: then it is in memory only."""
        left = {i: t for i, t in texts.items() if t.strip()}
        self._kept.keep(_bytes(who if left else "", left))


def _bytes(who: str, texts: Mapping[str, str]) -> bytes:
    # Escapes, so that half of a sign, which no UTF-8 can hold, is kept, too.
    return (json.dumps({"who": who, "texts": dict(sorted(texts.items()))}) + "\n").encode("ascii")

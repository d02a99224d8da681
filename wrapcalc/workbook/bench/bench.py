"""The bench of one case, without widgets: what may be moved, what is moved, what comes of it, what is kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from wrapcalc import units
from wrapcalc.errors import CaseFaults, Fault, WrapcalcError
from wrapcalc.reading import read_toml
from wrapcalc.systems.sheets import read_system
from wrapcalc.workbook.bench import pinned, saving
from wrapcalc.workbook.bench.answers import Answer, answer, in_full
from wrapcalc.workbook.bench.changed import Stated
from wrapcalc.workbook.bench.inputs import Choice, Input, Raw, Slider, choices, sliders
from wrapcalc.workbook.bench.pinned import MOST, Pin, Pins

#: Sheets beside a case that are offered at most.
_MOST_SHEETS = 20


@dataclass
class Bench:
    """One case on the bench. changes: what is moved now; a value back at that of the case is no change."""

    stated: Stated
    sliders: tuple[Slider, ...]
    choices: tuple[Choice, ...]
    pins: Pins
    pins_fault: CaseFaults | None = None
    changes: dict[str, Raw] = field(default_factory=dict)

    @classmethod
    def open(cls, path: Path) -> Bench:
        """Read the case and what is pinned. Raises CaseFaults for a case with faults; pins with faults are told."""
        stated = Stated.read(path)

        def accepts(name: str, text: str) -> bool:
            try:
                stated.with_changes({name: text})
            except CaseFaults:
                return False
            return True

        moved, chosen = sliders(stated.bundle, accepts), choices(stated.bundle, _sheets(path.parent))
        try:
            return cls(stated, moved, chosen, pinned.read(path, {i.field: i for i in (*moved, *chosen)}))
        except CaseFaults as e:
            return cls(stated, moved, chosen, Pins((), ""), e)

    @property
    def inputs(self) -> dict[str, Input]:
        """Every input by its field."""
        return {i.field: i for i in (*self.sliders, *self.choices)}

    # -- what is moved --------------------------------------------------------------------------------------------
    def put(self, name: str, value: Raw) -> None:
        """Put a text or word into a field. Raises CaseFaults when it is no quantity of its kind at all."""
        one = self.inputs[name]
        if isinstance(one, Slider):
            try:
                same = one.place(str(value)) == one.base
            except units.QuantityFault as e:
                raise CaseFaults([Fault(self.stated.name, name, e.found, e.allowed, e.mend)]) from None
            value = " ".join(str(value).split())
        else:
            same = value == one.as_stated
        if same:
            self.changes.pop(name, None)
        else:
            self.changes[name] = value

    def put_all(self, changes: Mapping[str, Raw]) -> None:
        """These changes and no others."""
        self.changes = dict(changes)

    def now(self, name: str) -> Raw:
        """What stands in a field now."""
        return self.changes.get(name, self.inputs[name].as_stated)

    def untouched(self) -> Bench:
        """The same bench with nothing moved."""
        return replace(self, changes={})

    # -- what comes of it -----------------------------------------------------------------------------------------
    def answer(self) -> Answer:
        """What becomes of the case with what is moved. Raises CaseFaults, CalculationError."""
        return self._told(answer(self.stated.with_changes(self.changes)))

    def of(self, changes: Mapping[str, Raw]) -> Answer | WrapcalcError:
        """What becomes of the case with these changes, or why nothing does."""
        try:
            return self._told(answer(self.stated.with_changes(changes)))
        except WrapcalcError as e:
            return e

    def in_full(self) -> Answer:
        """The same with every part of the job; seconds where the case asks for probabilities or simulations."""
        return self._told(in_full(self.stated.with_changes(self.changes)))

    def _told(self, a: Answer) -> Answer:
        """The answer, and which files changed on disk meanwhile: it is of the case as it was opened."""
        return replace(a, changed_on_disk=self.stated.changed_on_disk())

    # -- what is kept ---------------------------------------------------------------------------------------------
    def pin(self, note: str = "") -> Pin:
        """Keep what is moved now in a file beside the case. Raises CaseFaults, PackageError; then nothing is kept."""
        self._may_keep()
        name = pinned.free_name(self.pins.pins)
        if name is None:
            raise self._refused("variants", f"{MOST} that are pinned already", f"at most {MOST}", "unpin one first")
        if not self.changes:
            raise self._refused("variants", "the case as it is", "a variant with at least one change", "move a slider")
        if any(p.changes == self.changes for p in self.pins.pins):
            raise self._refused("variants", "a variant that is pinned already", "one that differs", "move a slider")
        self.stated.refuse_if_changed()
        self.stated.with_changes(self.changes)
        pin = Pin(name, dict(self.changes), note.strip())
        self._keep((*self.pins.pins, pin))
        return pin

    def unpin(self, name: str) -> None:
        """Keep it no longer. Raises CaseFaults, PackageError."""
        self._may_keep()
        self._keep(tuple(p for p in self.pins.pins if p.name != name))

    def save(self, case_id: str, reason: str) -> Path:
        """The variant as a case of its own beside it. Raises CaseFaults, PackageError; then nothing is written."""
        return saving.save(self.stated, self.changes, case_id, reason)

    def pins_moved_on(self) -> bool:
        """Whether case or files beside it are not those for which the variants were pinned."""
        return bool(self.pins.pins) and self.pins.digest != self.stated.digest()

    def _keep(self, pins: tuple[Pin, ...]) -> None:
        kept = Pins(tuple(sorted(pins, key=lambda p: p.name)), self.stated.digest())
        pinned.write(self.stated.path, kept)
        self.pins = kept

    def _may_keep(self) -> None:
        """What somebody else wrote, or what could not be read, is never overwritten."""
        if self.pins_fault is not None:
            raise self.pins_fault
        if pinned.read(self.stated.path, self.inputs) != self.pins:
            raise self._refused(f"{pinned.FOLDER}/{self.stated.path.stem}.toml", "other variants than this page shows",
                                "the file as it was read", "run the notebook again from the top: another window has "
                                "pinned something")

    def _refused(self, what: str, found: str, allowed: str, mend: str) -> CaseFaults:
        return CaseFaults([Fault("the bench", what, found, allowed, mend)])


def _sheets(folder: Path) -> tuple[str, ...]:
    """Names of the sound system sheets beside the case."""
    out: list[str] = []
    for path in sorted(folder.glob("*.toml")):
        try:
            data, _ = read_toml(path)
            if "system" in data and "case" not in data and len(out) < _MOST_SHEETS:
                read_system(path)
                out.append(path.name)
        except CaseFaults:
            continue
    return tuple(out)

"""Is it the right joint: which neighbours could be taken for it, by length, by seam, or by what lies beside them."""

from __future__ import annotations

from dataclasses import dataclass, replace

from wrapcalc.case import Bundle
from wrapcalc.fields import clock_hours
from wrapcalc.formulas import excavation as f
from wrapcalc.recorder import active
from wrapcalc.stages.dig.rows import far
from wrapcalc.standards.documents import PRACTICE
from wrapcalc.values import Origin, Value

THIS = "this joint"
_ORDER = {1: "", 2: "second ", 3: "third "}


@dataclass(frozen=True)
class JointRow:
    """A joint as listed. side: upstream, this joint, downstream; seam: clock; apart: what tells it from this joint.

    told: whether anything does; None where the listing has too little to say.
    """

    side: str
    number: str
    length: Value | None
    seam: Value | None
    seam_clock: str
    apart: str = ""
    told: bool | None = None

    @property
    def name(self) -> str:
        """How it is called in a sentence."""
        return f"joint {self.number}" if self.number else f"the {self.side} joint"


def joint_rows(bundle: Bundle) -> tuple[tuple[JointRow, ...], tuple[str, ...]]:
    """The joints from upstream to downstream, and a caution for each whose length does not tell it from this one."""
    case = bundle.case
    where = case.location
    this = JointRow(THIS, str(where.joint_number or ""), case.optional("location.joint_length"),
                    _seam("pipe.seam_clock", case.pipe.seam_clock), case.pipe.seam_clock or "")
    beside: dict[str, list[JointRow]] = {"upstream": [], "downstream": []}
    for i, joint in enumerate(case.joint):
        beside[joint.side].append(JointRow(joint.side, str(joint.number or ""), case.value(f"joint.{i}.length"),
                                           _seam(f"joint.{i}.seam_clock", joint.seam_clock), joint.seam_clock or ""))
    row = [*reversed(beside["upstream"]), this, *beside["downstream"]]
    if len(row) == 1:
        return tuple(row), ("No joint beside this one is listed: nothing proves that it is the right joint. Ask for "
                            "the listing before the coating is removed.",)
    apart = _Apart(bundle, row, len(beside["upstream"]))
    told = [joint if joint is this else apart.told(k) for k, joint in enumerate(row)]
    return tuple(told), tuple(apart.cautions)


def _seam(field: str, clock: str | None) -> Value | None:
    return None if clock is None else Value(clock_hours(clock), "", Origin("case", field), "Seam in decimal hours")


class _Apart:
    """Compares each joint with the one to be dug, and then what lies beside the two."""

    def __init__(self, bundle: Bundle, row: list[JointRow], at: int):
        self.row, self.at, self.this = row, at, row[at]
        self.show = far(bundle.case.display)
        self.cautions: list[str] = []
        length = bundle.tables.value(PRACTICE.id, "joint_length_tolerance")
        seam = bundle.tables.value(PRACTICE.id, "seam_clock_tolerance")
        self.least = active().named(f.least_apart(length), "Joint lengths are told apart from")
        self.least_clock = active().named(f.least_clock_apart(seam), "Seams are told apart from, hours of the clock")

    def told(self, k: int) -> JointRow:
        """The joint at k with what tells it from this one."""
        joint, this = self.row[k], self.this
        by_length, by_seam = self._lengths(joint, this), self._seams(joint, this)
        if by_length:
            return replace(joint, apart="its length", told=True)
        if by_seam:
            words, mend = "its seam", f"Its seam tells it apart: {joint.seam_clock}, not {this.seam_clock}."
        elif (found := self._beside(k)) is not None:
            words = "{way} of it: {found}, not {wanted}".format(**found)
            mend = ("Measure {way} as well: {found} beside {it}, {wanted} beside this one."
                    .format(it=joint.name, **found))
        else:
            words = "nothing that is listed"
            mend = ("Nothing that is listed tells them apart: prove the joint by something else before the coating is "
                    "removed.")
        told = words != "nothing that is listed" or (None if by_length is None and by_seam is None else False)
        self._caution(joint, by_length, mend)
        return replace(joint, apart=words, told=told)

    def _lengths(self, one: JointRow, other: JointRow) -> bool | None:
        """Whether the lengths of two joints differ by more than reading may; None where one is not known."""
        if one.length is None or other.length is None:
            return None
        title = f"Length of {one.name} against {other.name}"
        apart = active().named(f.lengths_apart(one.length, other.length), title)
        return active().check(title, apart, ">", self.least, citation=PRACTICE.id, status="common practice",
                              kind="information").met

    def _seams(self, one: JointRow, other: JointRow) -> bool | None:
        if one.seam is None or other.seam is None:
            return None
        title = f"Seam of {one.name} against {other.name}, hours of the clock"
        apart = active().named(f.clocks_apart(one.seam, other.seam), title)
        return active().check(title, apart, ">", self.least_clock, citation=PRACTICE.id, status="common practice",
                              kind="information").met

    def _beside(self, k: int) -> dict[str, str] | None:
        """What lies beside joint k, where it differs from what lies in the same place beside this joint."""
        steps = sorted((j for j in range(-len(self.row), len(self.row)) if j), key=abs)
        for j in steps:
            if not (0 <= k + j < len(self.row) and 0 <= self.at + j < len(self.row)):
                continue
            found, wanted = self.row[k + j], self.row[self.at + j]
            way = f"the {_ORDER.get(abs(j), f'{abs(j)}th ')}joint {'downstream' if j > 0 else 'upstream'}"
            if self._lengths(found, wanted):
                return {"way": way, "found": self.show(found.length), "wanted": self.show(wanted.length)}
            if self._seams(found, wanted):
                return {"way": way, "found": f"seam {found.seam_clock}", "wanted": f"seam {wanted.seam_clock}"}
        return None

    def _caution(self, joint: JointRow, by_length: bool | None, mend: str) -> None:
        """Lengths alone do not prove the joint: what has to be looked at besides."""
        name = joint.name[0].upper() + joint.name[1:]
        why = f"{name}: its length and that of this joint are not both known."
        if by_length is False:
            mine = self.show(self.this.length)
            why = (f"{name} ({self.show(joint.length)}) cannot be told from this one ({mine}) by "
                   "its length.")
        self.cautions.append(f"{why} {mend}")
        active().warn(f"{why} {mend}", "case: joint")

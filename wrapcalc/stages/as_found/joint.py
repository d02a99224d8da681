"""Is it the right joint, and is it pipe of the kind that the package supposes: lengths, seams, cracks, laminations."""

from __future__ import annotations

import math

from wrapcalc.case.as_found import (
    INDICATION,
    LAMINATION,
    NO_INDICATION,
    NO_LAMINATION,
    NO_METHOD,
    WALL_CLOCKS,
    found_value,
)
from wrapcalc.case.model import WALL_BASES
from wrapcalc.fields import clock_hours
from wrapcalc.formulas import excavation as f
from wrapcalc.recorder import active
from wrapcalc.stages.as_found.book import SHORT, TOLD, Book
from wrapcalc.standards.documents import MECHANICS, PRACTICE
from wrapcalc.values import Origin, Value

_CITED = {"citation": PRACTICE.id, "status": "common practice"}
_SHEET = {"citation": "as-found sheet", "status": "stated"}


class _Joint:
    """One joint: its place (0 is the one with the defect, downstream positive), as listed and as found."""

    def __init__(self, book: Book, at: int, number: str, listed: str, seam: str | None, found: str | None):
        case = book.bundle.case
        self.at, self.number = at, number
        self.listed, self.seam = case.optional(listed), _hours(case, seam)
        self.listed_clock = case.get(seam) if seam else None
        given = book.found.given(f"{found}.length") if found else None
        self.length = None if given is None else found_value(given, f"{found}.length",
                                                             f"length of {self.name} as found")
        clock = book.found.given(f"{found}.seam_clock") if found else None
        self.found_clock = clock
        self.found_seam = None if clock is None else Value(
            clock_hours(clock), "", Origin("as found", f"{found}.seam_clock"), f"seam of {self.name} as found")

    @property
    def name(self) -> str:
        if self.at == 0:
            return f"joint {self.number}" if self.number else "the joint"
        way = "upstream" if self.at < 0 else "downstream"
        return f"joint {self.number}" if self.number else f"joint {abs(self.at)} {way}"


def _hours(case, field: str | None) -> Value | None:
    clock = case.get(field) if field else None
    return None if clock is None else Value(clock_hours(clock), "", Origin("case", field or ""),
                                            "seam in decimal hours")


def right_joint(book: Book) -> None:
    """Lengths and seams agree with the listing, and no listed joint beside it would agree as well."""
    joints = _joints(book)
    this = joints[0]
    seamless = book.bundle.case.pipe.joint_type == "seamless"
    if this.listed is None:
        book.unstated("location.joint_length", "the length of the joint proves nothing")
    if len(joints) == 1:
        book.unstated("joint", "no joint beside it can be told from it")
    agree = []
    for at in sorted(joints, key=lambda k: (abs(k), k)):
        j = joints[at]
        needed = abs(at) <= 1
        if j.listed is not None and (j.length is not None or needed):
            agree.append(_length(book, j))
        if j.seam is not None and not (at == 0 and seamless) and (j.found_seam is not None or needed):
            agree.append(_seam(book, j))
    _adds_up(book, this)
    if any(c.verdict == "not met" for c in agree):
        return
    for at in sorted(k for k in joints if k):
        _told_apart(book, joints, at)


def _joints(book: Book) -> dict[int, _Joint]:
    case, found = book.bundle.case, book.found
    out = {0: _Joint(book, 0, str(case.location.joint_number or ""), "location.joint_length", "pipe.seam_clock",
                     "joint")}
    rows: dict[str, list[str]] = {"upstream": [], "downstream": []}
    for i, row in enumerate(found.neighbour):
        if row.side is not None:
            rows[row.side].append(f"neighbour.{i}")
    seen = {"upstream": 0, "downstream": 0}
    for i, row in enumerate(case.joint):
        k = seen[row.side]
        seen[row.side] += 1
        at = -(k + 1) if row.side == "upstream" else k + 1
        sheet = rows[row.side][k] if k < len(rows[row.side]) else None
        out[at] = _Joint(book, at, str(row.number or ""), f"joint.{i}.length", f"joint.{i}.seam_clock", sheet)
    return out


def _length(book: Book, j: _Joint):
    title = f"Length of {j.name} against the listing"
    apart = None if j.length is None or j.listed is None else active().named(f.lengths_apart(j.length, j.listed), title)
    tolerance = book.practice("joint_length_tolerance")
    return book.limit(title, apart, "<=", tolerance.value(), citation=tolerance.citation, status=tolerance.status,
                      lacks=f"length of {j.name}", issued=book.far(j.listed), found=book.far(j.length),
                      note="found against listed; this may be another joint" if apart is not None else "")


def _seam(book: Book, j: _Joint):
    title = f"Seam of {j.name} against the listing, hours of the clock"
    apart = None if j.found_seam is None or j.seam is None else active().named(f.clocks_apart(j.found_seam, j.seam),
                                                                               title)
    tolerance = book.practice("seam_clock_tolerance")
    return book.limit(title, apart, "<=", tolerance.value(), citation=tolerance.citation, status=tolerance.status,
                      lacks=f"seam clock of {j.name}", issued=j.listed_clock or "", found=j.found_clock or "",
                      note=f"{j.found_clock} found, {j.listed_clock} listed; this may be another joint, or a clock "
                      "read facing upstream" if apart is not None else "")


def _adds_up(book: Book, this: _Joint) -> None:
    """Both distances from the welds and the defect make up the joint."""
    up, length, down = (book.value(f"defect.{k}") for k in ("from_upstream_weld", "length", "from_downstream_weld"))
    whole = this.length or this.listed
    if up is None or length is None or down is None or whole is None:
        return  # each of them is missed by itself
    title = "Distances from both girth welds and the defect, against the length of the joint"
    total = active().procedure("Both distances and the defect", "their sum", MECHANICS.id, "derived",
                               {"from upstream weld": up, "length": length, "from downstream weld": down},
                               {"sum": (up.magnitude + length.magnitude + down.magnitude, "mm")})["sum"]
    tolerance = book.practice("joint_length_tolerance")
    book.limit(title, active().named(f.lengths_apart(total, whole), title), "<=", tolerance.value(),
               citation=tolerance.citation, status=tolerance.status, issued=book.far(whole), found=book.far(total),
               note="the readings contradict: measure again")


def _told_apart(book: Book, joints: dict[int, _Joint], at: int) -> None:
    """Whether what was measured would contradict the listing, if this were the joint at `at`."""
    length, seam = (book.practice(n).value().to(u) for n, u in (("joint_length_tolerance", "mm"),
                                                                ("seam_clock_tolerance", "")))
    by = ""
    for j, here in sorted(joints.items(), key=lambda kv: abs(kv[0])):
        other = joints.get(at + j)
        if other is None or by:
            continue
        if here.length is not None and other.listed is not None and abs(
                here.length.magnitude - other.listed.magnitude) > length:
            by = f"{book.far(here.length)} found, {book.far(other.listed)} listed there"
        elif here.found_seam is not None and other.seam is not None and f.clocks_apart.core(
                h_1=here.found_seam.magnitude, h_2=other.seam.magnitude) > seam:
            by = f"seam {here.found_clock} found, {other.listed_clock} listed there"
    book.gate(f"This is not {joints[at].name}", bool(by), by or "nothing measured tells them apart",
              "a length or a seam that would not fit there", means=SHORT, **_CITED,
              note="" if by else "measure more of the joints beside it")


# -- what kind of pipe --------------------------------------------------------------------------------------------
def kind_of_pipe(book: Book) -> None:
    """Seam type, diameter, sound wall, cracks."""
    _seam_type(book)
    _diameter(book)
    _sound_wall(book)
    _crack(book)
    for key, what in (("type", "type of the old coating"), ("condition", "its condition"),
                      ("disbonded", "where the coating was disbonded"), ("deposit", "deposit below the coating")):
        if book.found.given(f"coating.{key}") is None:
            book.lack(f"{what} (coating.{key})")


def _seam_type(book: Book) -> None:
    case, found = book.bundle.case, book.found
    for key, title in (("joint_type", "Longitudinal joint"), ("seam_process", "Welding of the seam")):
        issued, seen = case.get(f"pipe.{key}"), found.given(f"pipe.{key}")
        if issued is None:
            continue
        if seen is None:
            book.unanswered(title, str(issued), lacks=f"{title.lower()} as found (pipe.{key})", **_SHEET)
        else:
            book.gate(title, seen == issued, str(seen), str(issued), **_SHEET,
                      note="" if seen == issued else "another pipe than the package supposes")


def _diameter(book: Book) -> None:
    tape, around = book.value("pipe.outside_diameter"), book.value("pipe.circumference")
    measured = tape or around
    stated = book.bundle.case.optional("pipe.outside_diameter")
    if measured is None or stated is None:
        return
    across = measured.magnitude if around is None else measured.magnitude / math.pi
    tolerance = book.practice("diameter_tolerance")
    out = active().procedure("Outside diameter as found", "as measured, or circumference over π; apart from the stated "
                             "one, as a share of it", MECHANICS.id, "derived", {"measured": measured, "stated": stated},
                             {"diameter": (across, "mm"),
                              "apart": (abs(across - stated.magnitude) / stated.magnitude, "")})
    book.limit("Outside diameter as found, apart from the stated one", out["apart"], "<=", tolerance.value(),
               citation=tolerance.citation, status=tolerance.status, issued=book.shown(stated),
               found=book.shown(out["diameter"]), note="state the diameter as found in the case of the new revision")


def _sound_wall(book: Book) -> None:
    case, readings = book.bundle.case, book.found.pipe.sound_wall
    if len(readings) < WALL_CLOCKS:
        book.lack(f"sound wall at {WALL_CLOCKS} clocks (pipe.sound_wall): {len(readings)} read")
    wall, stated = book.wall, case.optional("pipe.sound_wall")
    if wall is None:
        return
    if stated is not None:
        book.limit("Least sound wall against the one of the package", wall, ">=", stated, means=TOLD, **_SHEET,
                   note="the design is worked again with it")
    nominal = case.optional("pipe.nominal_wall")
    both = (book.value("pipe.wall_allowance"), case.optional("pipe.wall_allowance"))
    allowance = max((v for v in both if v is not None), key=lambda v: v.magnitude, default=None)
    if case.pipe.wall_basis == WALL_BASES[1] and nominal is not None and allowance is not None:
        left = active().procedure("Sound wall less its allowance", "the least reading", MECHANICS.id, "derived",
                                  {"wall": wall, "allowance": allowance},
                                  {"wall": (wall.magnitude - allowance.magnitude, "mm")})["wall"]
        book.limit("Sound wall against the nominal wall, which the package takes", left, ">=", nominal, **_SHEET)


def _crack(book: Book) -> None:
    method, result = book.found.crack.method, book.found.crack.result
    title, wanted = "Cracks", f"{NO_INDICATION}, by MT or PT"
    if result == INDICATION:
        book.gate(title, False, f"{method or 'method not stated'}: {result}", wanted, **_SHEET,
                  note="a wrap is for metal loss, not for a crack")
    elif result != NO_INDICATION or method in (None, NO_METHOD):
        book.unanswered(title, wanted, lacks="magnetic-particle or penetrant test for cracks (crack.method, "
                        "crack.result)", **_SHEET)
    else:
        book.gate(title, True, f"{method}: {result}", wanted, **_SHEET)


def lamination(book: Book, start: Value | None, end: Value | None) -> None:
    """No lamination below the bonded ends: the scan reaches over the whole repair, from start to end of it."""
    result = book.found.lamination.result
    title, wanted = "Laminations below the bonded ends", "none"
    if result == LAMINATION:
        book.gate(title, False, str(result), wanted, note="a wrap must not be bonded over a lamination", **_SHEET)
        return
    if result != NO_LAMINATION:
        book.unanswered(title, wanted, lacks="lamination scan below the bonded ends (lamination.result)", **_SHEET)
        return
    book.gate(title, True, str(result), wanted, **_SHEET)
    if start is None or end is None:
        return
    for key, title, sense, limit in (
            ("scanned_from", "Scan begins before the upstream end of the repair", "<=", start),
            ("scanned_to", "Scan ends beyond the downstream end of the repair", ">=", end)):
        at = book.value(f"lamination.{key}")
        book.limit(title, at, sense, limit, means=SHORT, lacks=f"end of the scanned zone (lamination.{key})",
                   issued=book.far(limit), found=book.far(at), note="scan the rest as well", **_CITED)

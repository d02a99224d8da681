"""The gate between digging and wrapping: the design is worked again with what was found, and one of three words.

Decided here, for the safety of those beside the pipe:
- Whatever was found, the whole job runs again; the box on the sheet is only the stop rule of the crew.
- What is not proven is not proven: a reading that is missing makes it "incomplete", and nobody starts.
- A stop comes before what is missing: nobody goes back in until a new revision is issued.
- The issued wrap is judged at its issued place from the girth weld: damage that lies elsewhere may be uncovered.
- A gate releases nothing: work starts from the approved sheet only.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from wrapcalc.case import Bundle
from wrapcalc.case.as_found import Sighting, against_case
from wrapcalc.case.as_found_case import NextCase, lowered_allowances, next_case
from wrapcalc.errors import CaseFaults, PackageError
from wrapcalc.recorder import Recorder, recording
from wrapcalc.stages.as_found import design, joint
from wrapcalc.stages.as_found.book import Book, Compared
from wrapcalc.stages.as_found.readings import readings
from wrapcalc.stages.job import WRAP, Outcome, run

HOLDS, STOP, INCOMPLETE = "the design holds", "stop: new revision", "incomplete"
TOPIC = "As found"


@dataclass(frozen=True)
class Gate:
    """What the gate says. reasons: of a stop; missing: in words; rows: as issued beside as found; next: the case with
    what was found; now: its run."""

    package: str
    verdict: str
    reasons: tuple[str, ...]
    missing: tuple[str, ...]
    rows: tuple[Compared, ...]
    recorder: Recorder
    sighting: Sighting
    next: NextCase
    now: Outcome


def as_found(bundle: Bundle, issued: Outcome, s: Sighting, *, package: str) -> Gate:
    """Hold what was found against the package. bundle, issued: its case and the run of it.

    Raises CaseFaults for a sheet that cannot be of this case, PackageError when the package decides something else
    than a wrap.
    """
    d = issued.design
    if issued.decision.word != WRAP or d is None or not d.holds or issued.bears is None:
        raise PackageError(f"{package}: its decision is '{issued.decision.word}'; only a package that decides "
                           f"'{WRAP}' is checked with what was found")
    faults = list(against_case(s, bundle.case))
    if faults:
        raise CaseFaults(faults)
    following = next_case(bundle, s, package)
    now = run(following.bundle)
    rec = Recorder(bundle.case.display)
    rec.stage = "B"
    book = Book(bundle, s, package)
    with recording(rec):
        rec.begin(TOPIC)
        design.measured(book)
        readings(book, following.bundle)
        joint.right_joint(book)
        joint.kind_of_pipe(book)
        places = design.laid(book, issued)
        joint.lamination(book, places[0].whole[0] if places else None, places[-1].whole[1] if places else None)
        design.compare(book, issued, now, places, _by_the_damage(bundle, s, now))
        for field in lowered_allowances(bundle.case, s.found):
            rec.warn(f"{field}: the sheet says {s.found.given(field).written}, the package "
                     f"{bundle.case.get(field).written}; the greater one is used. A lower one needs a new revision.",
                     "as-found sheet")
        rec.assume("Measuring allowances, pressure and steel temperature while wrapping are those of the package where "
                   "the sheet states no others.", "as-found sheet")
    verdict = STOP if book.reasons else INCOMPLETE if book.missing else HOLDS
    return Gate(package, verdict, tuple(book.reasons), tuple(book.missing), tuple(book.rows), rec, s, following, now)


def _by_the_damage(bundle: Bundle, s: Sighting, now: Outcome) -> Outcome:
    """The run that says what the damage as found allows beside people.

    A pressure while wrapping below the issued one is no word about the damage: there it is left as issued.
    """
    seen, issued = s.found.service.installation_pressure, bundle.case.service.installation_pressure
    if seen is None or issued is None or seen.base >= issued.base:
        return now
    case = now.bundle.case
    service = case.service.model_copy(update={"installation_pressure": issued})
    return run(replace(now.bundle, case=case.model_copy(update={"service": service})))

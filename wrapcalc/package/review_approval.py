"""What an approval asks of the review of its package: no open query, and how far the steps were looked at."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from wrapcalc.errors import PackageError
from wrapcalc.package import review_steps
from wrapcalc.package.issued import Issued
from wrapcalc.package.review_before import Before, before
from wrapcalc.package.review_lines import Query, Review
from wrapcalc.package.review_sheet import Sheet, called, counts, preparer, review_of, sentence
from wrapcalc.people import person_key

_MOST_NAMED = 5


@dataclass(frozen=True)
class Reviewed:
    """data: for approval and manifest, None where nobody reviewed; line: for the page; notices: what its reader has to
    know."""

    data: dict[str, Any] | None
    line: str
    notices: tuple[str, ...]


def reviewed(of: Issued, record: Mapping[str, Any], *, author: str, checker: str) -> Reviewed:
    """The review that stands beside a package, for its approval.

    What the author ticked or closed does not count. Raises PackageError when a query is open, and when the review is
    damaged or about another package.
    """
    review, sheet = review_of(of.folder, of.name, of.digest, record)
    earlier = before(of.folder, of.manifest, record)
    own = [author, *preparer(record)]
    left = _left_open(earlier)
    if not review.entries:
        return Reviewed(None, "", ("No review stands beside the package: nobody says that its steps were looked at.",
                                   *left))
    if open_ := review.open(but=own):
        more = f"; and {len(open_) - _MOST_NAMED} more" if open_[_MOST_NAMED:] else ""
        named = "; ".join(map(_named, open_[:_MOST_NAMED]))
        raise PackageError(f"{of.name}: open in its review: {named}{more}. Answer and close in the review notebook, by "
                           "somebody else than the author; what a query changes goes into the case, and makes a new "
                           "revision")
    count = counts(record, review, but=own)
    ticks = review.ticks(but=own)
    people = list({person_key(t.who): t.who for found in ticks.values() for t in found}.values())
    data = {"comments_sha256": review.digest, "entries": len(review.entries), "reviewers": people, **count,
            "sheet": sheet.folder.name if sheet else None, "sheet_manifest_sha256": sheet.digest if sheet else None}
    who = ", ".join(people) or "nobody"
    line = f"Reviewed step by step: {sentence(count)}; ticked by {who} (as typed). Review, SHA-256: {review.digest}."
    return Reviewed(data, line, (*_notices(record, review, sheet, own, checker), *left))


def _named(q: Query) -> str:
    text = " ".join(q.asked.text.split())
    return (f"Q{q.number} on {called(q.item)}, {q.asked.who}: {text[:60]}{'…' if text[60:] else ''}")


def _notices(record: Mapping[str, Any], review: Review, sheet: Sheet | None, own: list[str], checker: str) -> list[str]:
    out = []
    ticks = review.ticks(but=own)
    if not any(person_key(t.who) == person_key(checker) for found in ticks.values() for t in found):
        out.append(f"The checker '{checker}' ticked no step in the review.")
    every = sum(len(found) for found in review.ticks().values())
    if lost := every - sum(len(found) for found in ticks.values()):
        out.append(f"{lost} {'tick' if lost == 1 else 'ticks'} by the author '{own[0]}' in the review "
                   f"{'does' if lost == 1 else 'do'} not count.")
    looked = review.looked_at(but=own)
    if left := len(record["items"]) - len(looked):
        first = [i["id"] for i in record["items"] if i["id"] in review_steps.governing(record) - looked]
        out.append(f"{left} of {len(record['items'])} steps and checks were not looked at in the review"
                   + (f", among them {', '.join(first)}, which the decision rests on first." if first else "."))
    if sheet is None:
        out.append("The review was not ended: no review sheet was written.")
    elif not sheet.current:
        out.append(f"The review went on after its last sheet ({sheet.folder.name}): that does not say all.")
    return out


def _left_open(earlier: Before) -> list[str]:
    if not earlier.open:
        return []
    named = ", ".join(f"Q{q.number} on {called(q.item)}" for q in earlier.open)
    return [f"Left open in the review of revision {earlier.said_on}: {named}."]

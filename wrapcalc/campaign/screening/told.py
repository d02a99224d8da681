"""screening.json: what was screened, by what, with which totals, what was assumed. No times: the same bytes again."""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wrapcalc import __version__, record
from wrapcalc.campaign.ledger import inputs
from wrapcalc.campaign.neighbours import damage_over, features_beside
from wrapcalc.campaign.rows.judging import rules_of
from wrapcalc.campaign.screening.dates import told_days
from wrapcalc.case import Bundle
from wrapcalc.errors import CalculationError, PackageError
from wrapcalc.fields import Given
from wrapcalc.stages import job

if TYPE_CHECKING:
    from wrapcalc.campaign.screening.passes import Passes

#: Statuses of values that nobody has to look up again.
_SURE = ("verified", "seen", "derived")
#: What the screening itself assumes.
ASSUMED = (
    "A row whose repair factor is not known is ranked before rows of the same deadline whose factor is known: what "
    "could not be judged is not behind what could.",
    "Rows that act as one by the rule of interaction are judged alone and as one; the lower pressure, the earlier "
    "deadline and the graver disposition stand in each of them. What cannot be judged is graver than what may stay, "
    "and never takes a repair away.",
    "A dent, gouge or crack is judged by the repair criteria alone, with what the listing states of it; what it does "
    "not state is open, not passed.", damage_over.ASSUMED, features_beside.ASSUMED)


def unchanged(path: Path) -> tuple[int, int]:
    """Size and time of a file: two looks that differ mean that somebody wrote to it. Raises PackageError."""
    try:
        about = os.stat(path)
    except OSError as e:
        raise PackageError(f"{path}: cannot be read ({e.strerror or e})") from None
    return about.st_size, about.st_mtime_ns


def write_told(run: Passes) -> None:
    """Write screening.json. Raises CalculationError when the totals do not add up: a defect of ours."""
    from wrapcalc.campaign.screening.screen import TOLD
    out = run.out
    if out.rows != out.ranked + sum(out.others.values()) + out.faulty or out.ranked != sum(out.dispositions.values()):
        raise CalculationError(f"the rows of the listing do not add up: {out.rows} read, {out.ranked} ranked, "
                               f"{out.others} others, {out.faulty} faulty")
    assumptions, unsure = _of_groups(run)
    out.told = tuple(dict.fromkeys((*run.noted.texts, *run.welds.told, *run.line.told, *_none_known(run),
                                    *run.repairs.told, *run.judge.notes, *run.lower.told, *run.compared.told,
                                    *(told_days(run.mapping, run.line) if run.asked["life"] else ()))))
    text = {
        "schema_version": "1", "what": "screening", "listing": _listing(run), "made_from": _digests(run),
        "versions": _versions(),
        "asked": {**{n: "yes" if v else "no" for n, v in run.asked.items()}, "where": run.filter.text,
                  "format": run.format},
        "totals": {"rows_in_the_file": out.rows, "ranked": out.ranked,
                   "written": out.written, "no_anomaly": sum(out.others.values()), "faulty": out.faulty,
                   "groups_that_act_as_one": out.joined, "repairs_of_several_rows": out.repairs,
                   "under_a_known_repair": out.under_repair},
        "no_anomaly": out.others, "dispositions": out.dispositions, "reasons": _reasons(run),
        "columns": {c.heading: c.kind for c in run.columns}, "told": list(out.told), "assumptions": assumptions,
        "not_verified": unsure}
    (run.made / TOLD).write_text(json.dumps(text, indent=1, ensure_ascii=False, allow_nan=False) + "\n",
                                   encoding="utf-8",
                                 newline="\n")


def _none_known(run: Passes) -> tuple[str, ...]:
    """A register without a repair looks like a line without one: say it."""
    if run.register is None or run.repairs.knows_any:
        return ()
    return (f"No known repair was found in {run.register.resolve().name}: rows are screened as if there were "
            "none. See that it is the folder of the packages.",)


def _listing(run: Passes) -> dict[str, Any]:
    about = run.mapping.listing
    return {"file": run.listing.name, "mapping": run.mapping_path.name, "run": str(about.run or ""),
            "run_date": str(about.run_date or ""), "line": str(about.line or ""), "place": run.repairs.place}


def _digests(run: Passes) -> dict[str, str]:
    """SHA-256 of listing, mapping, and the base case with the files that it names."""
    out = {}
    for name, path in (("listing", run.listing), ("mapping", run.mapping_path)):
        with path.open("rb") as file:
            out[name] = hashlib.file_digest(file, "sha256").hexdigest()
    base = run.mapping_path.parent / str(run.mapping.line.base)
    out |= {f"base/{n}": hashlib.sha256(raw).hexdigest() for n, raw in sorted(inputs(base)[1].items())}
    return out | run.repairs.made_from


def _versions() -> dict[str, str]:
    import numpy
    import pyarrow
    return {"wrapcalc": __version__, "numpy": numpy.__version__, "pyarrow": pyarrow.__version__}


def _reasons(run: Passes) -> dict[str, int]:
    return dict(sorted((t, n) for t, n in run.reasons.items() if n))


def _of_groups(run: Passes) -> tuple[list[str], list[dict[str, str]]]:
    """What single cases of this line assume, and the values and formulas that they rest on and nobody verified.

    Two cases with stand-in sizes, a shallow one and one that asks for a wrap, are run for each part of the line whose
    service and rules are its own. Only what the shallow one assumes is told: the rest speaks of the sizes.
    """
    texts, unsure, seen = set(ASSUMED), set(), set()
    for group, bundle in run.judge.groups:
        key = rules_of(run.line.template(group))
        if key in seen:
            continue
        seen.add(key)
        bundle = bundle if run.asked["chance"] else _without_chance(bundle)
        for case in (bundle, _deep(bundle)):
            made = record.build(job.run(case))
            texts |= {a["text"] for a in made["assumptions"]} if case is bundle else set()
            unsure |= {(str(e["citation"]), str(e["title"]), str(e["status"]))
                       for part in ("table_entries", "formulas") for e in made[part] if e["status"] not in _SURE}
    return sorted(texts), [dict(zip(("citation", "title", "status"), u, strict=True)) for u in sorted(unsure)]


def _without_chance(bundle: Bundle) -> Bundle:
    """The case without what a probability is asked by: a long integral that nobody wants."""
    uncertainty = type(bundle.case.uncertainty)()
    return replace(bundle, case=bundle.case.model_copy(update={"uncertainty": uncertainty}))


def _deep(bundle: Bundle) -> Bundle:
    """The case with 60 % of its wall gone over half a metre."""
    defect = bundle.case.defect
    wall = bundle.case.get("pipe.nominal_wall").base
    sizes = {n: Given(x, "mm", f"{x:g} mm", "length", "stand-in", "assumed")
             for n, x in (("depth", 0.6 * wall), ("length", 500.0))}
    return replace(bundle, case=bundle.case.model_copy(update={"defect": defect.model_copy(update=sizes)}))

"""What the saved case gives, and what stands in it: from the file alone, so that it is the same after a restart."""

from __future__ import annotations

import os
import shlex
from html import escape
from pathlib import Path

from wrapcalc import record as records
from wrapcalc.case import load_bundle
from wrapcalc.errors import CaseFaults, WrapcalcError
from wrapcalc.workbook import Job, Shown, calm, decision
from wrapcalc.workbook.form.checked import Checked, checked
from wrapcalc.workbook.form.draft import Draft
from wrapcalc.workbook.form.questions import SECTIONS, questions


def outcome(path: Path) -> Shown:
    """The decision on the case file as it stands on disk, and what is needed and not answered. Faults are told."""
    from wrapcalc.package.texts import unprintable
    from wrapcalc.stages.job import run
    if not path.exists():
        note = f"{path.name} is not saved yet, so there is nothing to run."
        return Shown(calm.message("Note", note, "Save it first."), note)
    try:
        bundle = load_bundle(path)
        if faults := list(unprintable(bundle, path.name)):
            raise CaseFaults(faults)
        shown = decision(Job(records.build(run(bundle))))
    except CaseFaults as e:
        count = len(e.faults)
        head = calm.message("Fault", f"{path.name} does not read yet: {count} fault{'s' if count > 1 else ''}. Nothing "
                            "was worked out.")
        return Shown(head + calm.messages(e), f"{path.name}: {count} faults\n{e}")
    except WrapcalcError as e:
        return Shown(calm.messages(e), str(e))
    said = checked(bundle.files["case.toml"].decode("utf-8-sig"), path.parent, path.name)
    missing = missing_html(said)
    return Shown(shown.html + missing, "\n".join([shown.text, *missing_lines(said)]))


def command(path: Path) -> str:
    """The words that make a package of the case."""
    try:
        here = os.path.relpath(path)
    except ValueError:  # another drive
        here = str(path)
    here = here if not here.startswith("..") else str(path)
    return f"wrapcalc package {shlex.quote(here)} --out {shlex.quote(os.path.join(os.path.dirname(here), 'packages'))}"


def missing_lines(said: Checked) -> list[str]:
    """Questions that are needed and not answered, as lines."""
    out = []
    for fields, purpose in ((said.for_decision, "any decision"), (said.for_wrap, "a wrap, should one be designed")):
        if fields:
            out.append(f"Not answered yet, {len(fields)} needed for {purpose}:")
            out += [f"  {SECTIONS[f.partition('.')[0]]}: {questions()[f].asks}" for f in fields]
    return out


def missing_html(said: Checked) -> str:
    """The same as a list."""
    out = ""
    for fields, purpose in ((said.for_decision, "any decision"), (said.for_wrap, "a wrap, should one be designed")):
        if fields:
            rows = "".join(f"<li>{escape(SECTIONS[f.partition('.')[0]])}: {escape(questions()[f].asks)}</li>"
                           for f in fields)
            out += f"<p>Not answered yet, {len(fields)} needed for {purpose}:</p><ul>{rows}</ul>"
    return out


def still(draft_path: Path) -> Shown:
    """What stands in the case file, for a page without widgets."""
    draft = Draft.open(draft_path)
    said = draft.checked
    parts, lines = [f"<p><b>{escape(draft.name)}</b></p>"], [draft.name]
    if not draft.on_disk:
        note = f"{draft.name} is a new case that is not saved yet."
        parts.append(calm.message("Note", note))
        lines.append(note)
    left = draft.left_over()
    if left:
        note = f"{len(left)} answers were typed earlier and not saved."
        parts.append(calm.message("Warning", note, "Run the notebook in JupyterLab to take them back."))
        lines.append(note)
    if said.reads:
        parts.append(calm.message("Done", "the case reads without faults."))
        lines.append("The case reads without faults.")
    parts += [calm.fault(f) for f in said.faults]
    lines += [str(f) for f in said.faults]
    parts.append(missing_html(said))
    lines += missing_lines(said)
    rows = []
    for section in SECTIONS:
        for field in draft.fields(section):
            answer = draft.answer(field)
            if not answer.blank:
                asks = questions()[".".join(p for p in field.split(".") if not p.isdigit())].asks
                rows.append((SECTIONS[section], asks, answer.text, answer.source, answer.source_kind))
                lines.append(f"{field} = {answer.text}" + (f" [{answer.source}]" if answer.source else ""))
    table = calm.table(("Section", "Question", "Answer", "Source", "Kind"), rows)
    parts.append(calm.scrolling(table, "Answers of the case"))
    return Shown(calm.page("".join(parts)), "\n".join(lines))

"""A variant saved as a case of its own: the same text that was run, with the reason where a reviewer reads it."""

from __future__ import annotations

import contextlib
import os
import secrets
import tomllib
from pathlib import Path
from typing import Any

import tomlkit

from wrapcalc import units
from wrapcalc.errors import CaseFaults, Fault, PackageError
from wrapcalc.fields import FieldFault, Identifier, read_text
from wrapcalc.reading import parse_toml
from wrapcalc.workbook.bench.changed import MOST_REASON, Changes, Stated
from wrapcalc.workbook.bench.inputs import REASONS
from wrapcalc.workbook.form.toml_text import comments

#: Fields of the page, for messages.
NAME, REASON = "name of the new case", "reason"


def save(stated: Stated, changes: Changes, case_id: str, reason: str) -> Path:
    """Write CASE_ID.toml beside the case and give its path; it must be new. Raises CaseFaults, PackageError."""
    case_id, reason = _name(stated, case_id.strip()), _reason(reason)
    if not changes:
        raise _fault("what is changed", "nothing", "at least one input other than in the case", "move a slider")
    stated.refuse_if_changed()
    target = stated.path.parent / f"{case_id}.toml"
    text = text_of(stated, changes, case_id, reason)
    stated.run_text(text)
    _put(target, text.encode())
    return target


def text_of(stated: Stated, changes: Changes, case_id: str, reason: str) -> str:
    """The text of the new case: every comment of the old one, a head that says what it is, its own id and title."""
    doc = tomlkit.parse(stated.text(changes, reason))
    told = f"What-if of {stated.bundle.case.id}: {reason}"
    doc["case"]["id"] = case_id
    old = stated.bundle.case.case.title
    doc["case"]["title"] = f"{told}. {old}"[:2000] if old else told
    was = parse_toml(stated.raw, stated.name)
    lines = [f"# {told}", f"# Saved from the what-if bench on {stated.name}; values marked “assumed” there are not "
             "measured."]
    lines += [f"# {field}: {_written(was, field) or 'not stated'} -> {'not stated' if value is None else value}"
              for field, value in changes.items()]
    text = _ends_as(stated.raw, "\n".join(lines) + "\n" + tomlkit.dumps(doc))
    _all_said(stated.raw, text)
    _same_but(was, tomllib.loads(text), changes)
    return text


def _name(stated: Stated, case_id: str) -> str:
    from pydantic import TypeAdapter, ValidationError
    try:
        TypeAdapter(Identifier).validate_python(case_id)
    except ValidationError as e:
        cause = e.errors()[0].get("ctx", {}).get("error")
        assert isinstance(cause, FieldFault)
        raise _fault(NAME, cause.found if case_id else "nothing", cause.allowed, cause.mend) from None
    for path in sorted(stated.path.parent.glob("*")):
        taken = path.stem if path.suffix.lower() == ".toml" else None
        if taken is not None and (taken.lower() == case_id.lower() or _id_of(path).lower() == case_id.lower()):
            raise _fault(NAME, f"'{case_id}', which {path.name} has already", "a name that no case of this "
                         "folder has; nothing is overwritten", "choose another name")
    return case_id


def _id_of(path: Path) -> str:
    try:
        return str(tomllib.loads(path.read_text(encoding="utf-8-sig"))["case"]["id"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return ""


def _reason(reason: str) -> str:
    def fault(found: str, allowed: str, mend: str) -> CaseFaults:
        return CaseFaults([Fault("the bench", REASON, found, allowed, mend)])
    try:
        text = read_text(reason)
    except FieldFault as e:
        raise fault(e.found, e.allowed, e.mend) from None
    if text is None:
        raise fault("nothing", "why this variant is looked at, in words that a reviewer reads", "write the reason")
    if len(text) > MOST_REASON:
        raise fault(f"{len(text)} characters", f"at most {MOST_REASON}", "shorten it")
    return text


def _fault(field: str, found: str, allowed: str, mend: str) -> CaseFaults:
    return CaseFaults([Fault("the bench", field, found, allowed, mend)])


def _written(data: dict[str, Any], field: str) -> str:
    table, _, key = field.partition(".")
    value = data.get(table, {}).get(key, "")
    return str(value.get("value", "") if isinstance(value, dict) else value)


def _same_but(was: dict[str, Any], now: dict[str, Any], changes: Changes) -> None:
    """Nothing else than what was changed, reasons, id and title differs. Raises CaseFaults before anything is kept."""
    free = {"case.id", "case.title", *changes, *(REASONS[c] for c in changes if c in REASONS)}
    for table in was.keys() | now.keys():
        one, other = was.get(table, {}), now.get(table, {})
        if not (isinstance(one, dict) and isinstance(other, dict)):
            same = one == other
        else:
            same = all(one.get(k) == other.get(k) for k in one.keys() | other.keys() if f"{table}.{k}" not in free)
        if not same:
            raise _fault(table, "a table that could not be kept as it is", "a case file with plain tables",
                         "write this variant by hand")


def _ends_as(raw: bytes, text: str) -> str:
    """The text with the line ends of the case: what is new in it has others."""
    crlf = raw.count(b"\n") == raw.count(b"\r\n") > 0
    return text.replace("\r\n", "\n").replace("\n", "\r\n") if crlf else text


def _all_said(raw: bytes, text: str) -> None:
    """No comment of the case is lost. Raises CaseFaults before anything is kept."""
    lost = comments(raw.decode("utf-8-sig")) - comments(text)
    if lost:
        raise _fault("comments", f"{units.shown(next(iter(lost)))}, which would be lost", "a case file whose comments "
                     "can be kept where its values change", "move that comment to a line of its own above the heading "
                     "of its table, or write this variant by hand")


def _put(target: Path, raw: bytes) -> None:
    """Give a whole file its name; never over another one. Raises CaseFaults, PackageError."""
    taken = _fault(NAME, f"'{target.stem}', which has just been taken", "a name that no case of this folder has; "
                   "nothing is overwritten", "choose another name")
    aside = target.with_name(f".{target.name}-{secrets.token_hex(4)}.part")
    try:
        aside.write_bytes(raw)
        try:
            os.link(aside, target)
        except FileExistsError:
            raise taken from None
        except OSError:  # a file system without links: the name is asked for again right before
            if os.path.lexists(target):
                raise taken from None
            os.rename(aside, target)
    except OSError as e:
        raise PackageError(f"{target.name}: cannot be written ({e.strerror or e}); nothing was saved; ask for leave to "
                           "write in the folder of the case, or make room there") from None
    finally:
        with contextlib.suppress(OSError):  # not there any more when it was put in place
            aside.unlink()

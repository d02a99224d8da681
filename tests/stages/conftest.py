"""What the tests of single stages share: an example with some fields changed, run, and its record."""

import pytest
import tomlkit

from wrapcalc import record
from wrapcalc.case import load_bundle
from wrapcalc.stages.job import Outcome, run


@pytest.fixture
def judge(example):
    """judge(file, files={name: text}, table__key=value, ...) runs an example with these fields changed.

    None leaves a field out; a name without "__" is a whole top-level entry. Of the first outcome in each test the
    record is written, so that it is one that a page could be made of.
    """
    seen: list[bytes] = []

    def change(file: str = "HB-07.toml", files: dict[str, str] | None = None, **fields) -> Outcome:
        data = tomlkit.parse((example / file).read_text("utf-8")).unwrap()
        for name, text in (files or {}).items():
            (example / name).write_text(text, "utf-8")
        for dotted, value in fields.items():
            table, _, key = dotted.partition("__")
            holder = data.setdefault(table, {}) if key else data
            holder.pop(key or table, None)
            if value is not None:
                holder[key or table] = value
        path = example / "changed.toml"
        path.write_text(tomlkit.dumps(data), "utf-8")
        outcome = run(load_bundle(path))
        if not seen:
            seen.append(record.to_bytes(record.build(outcome)))
        return outcome
    return change


@pytest.fixture
def box(judge):
    """box(...) is judge(...) for HB-07 without its grid: one depth, one length."""
    return lambda **fields: judge(**{"defect__grid": None} | fields)

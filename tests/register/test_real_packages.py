"""The register on packages as the command writes them: what it reads there is what they print."""

import datetime
import json
import shutil

import pytest

from wrapcalc.register import affected, current, due, governing, update


@pytest.fixture
def copies(packages, tmp_path):
    for name in ("HB-02-r1", "HB-27-r1", "HB-34-r1", "HB-51-r1"):
        shutil.copytree(packages / name, tmp_path / name)
    return tmp_path


def test_states_pressures_and_restrictions_are_those_of_the_records(copies):
    now = update(copies, today=datetime.date(2026, 12, 1)).now
    assert [(s.revision.case_id, s.state) for s in now.repairs] == [
        ("HB-02", "assessed"), ("HB-27", "assessed"), ("HB-34", "designed"), ("HB-51", "designed")]
    assert not now.problems
    for s in now.repairs:
        record = json.loads((copies / s.revision.package / "record.json").read_bytes())
        limit = record["decision"]["interim_limit"]
        assert s.revision.decision == record["decision"]["word"]
        assert s.revision.interim == (limit and pytest.approx(limit["magnitude"]))
        assert (s.revision.restored is not None) == (s.revision.decision == "wrap")
        assert len(s.revision.digest) == 64 and s.revision.written_on and s.revision.joint
    sleeve = now.repairs[2].revision
    found = governing(now, sleeve.section)
    assert found.lowest.pressure == sleeve.interim < 6.0
    assert [r.source for r in found.open if r.pressure == 6.0] == ["case HB-34 r1: restriction 14, valve 4 to valve 6"]


def test_what_is_due_comes_from_the_criteria_and_the_remaining_life(copies):
    found = {(d.case_id, d.what): d for d in due(current(copies), datetime.date(2026, 12, 1))}
    assert ("HB-51", "repair, 49 CFR 192.933(d)(2)(iv): within 1 year of discovery") in found
    # measured on 21 April 2026, next look in 10 years: 3652 days (10 x 365.25 rounded down)
    assert found["HB-27", "next look at the defect"].when == datetime.date(2036, 4, 20)
    assert ("HB-34", "end of the remaining life without a repair") in found


def test_affected_names_the_steps_that_the_record_names(copies):
    record = json.loads((copies / "HB-34-r1" / "record.json").read_bytes())
    for f in record["formulas"][:2]:
        (hit,) = [h for h in affected(copies, f["name"]) if h.case_id == "HB-34"]
        assert list(hit.where) == f["used_in"]
    for e in record["table_entries"][:2]:
        (hit,) = [h for h in affected(copies, e["key"]) if h.case_id == "HB-34"]
        assert list(hit.where) == e["used_in"]
    for d in record["documents"][:2]:
        assert any(h.case_id == "HB-34" for h in affected(copies, d["id"]))

"""Pressure restrictions: the lowest open one governs, and nothing that is not approved lifts one."""

import datetime
import shutil

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wrapcalc.errors import UnknownItem
from wrapcalc.register import current, governing, lines, update
from wrapcalc.register.evidence import Revision, Stated
from wrapcalc.register.restrictions import restrictions


def opened(folder, section="valve 2 to 3"):
    return [(r.source, r.pressure) for r in governing(current(folder.root), section).open]


def test_the_interim_limit_stands_until_the_repair_is_accepted(folder):
    folder.package(interim=6.48)
    folder.approve()
    for number, verdict in ((1, "open"), (2, "rejected")):
        folder.close(number=number, verdict=verdict)
        assert opened(folder) == [("case HB-07 r1 interim limit", 6.48)]
    folder.close(number=3, verdict="accepted with deviation", on="2026-06-09")
    assert opened(folder) == []
    (closed,) = current(folder.root).restrictions
    assert (closed.since, closed.closed_on, closed.closed_by) == ("2026-05-01", "2026-06-09", "closeout/HB-07-r1-3")


def test_a_later_close_out_that_rejects_takes_the_acceptance_back(folder):
    folder.package()
    folder.approve()
    folder.close(number=1)
    folder.close(number=2, verdict="rejected")
    assert opened(folder) == [("case HB-07 r1 interim limit", 6.48)]


def test_the_acceptance_of_a_design_that_nobody_approved_lifts_nothing(folder):
    folder.package()
    folder.close()
    (r,) = governing(current(folder.root), "valve 2 to 3").open
    assert r.note == "closeout/HB-07-r1-1 does not lift it: the package HB-07-r1 is not approved"


def test_a_later_revision_takes_its_place_once_it_is_approved(folder):
    folder.package(interim=6.0)
    folder.package(revision=2, interim=7.0)
    assert opened(folder) == [("case HB-07 r1 interim limit", 6.0), ("case HB-07 r2 interim limit", 7.0)]
    first = governing(current(folder.root), "valve 2 to 3").lowest
    assert first.note == "HB-07-r2 does not lift it: it is not approved"
    folder.approve("HB-07-r2", on="2026-06-20")
    assert opened(folder) == [("case HB-07 r2 interim limit", 7.0)]
    closed = next(r for r in current(folder.root).restrictions if not r.open)
    assert (closed.closed_on, closed.closed_by) == ("2026-06-20", "HB-07-r2: wrap")


def test_no_repair_needed_lifts_it_but_a_lack_of_data_does_not(folder):
    folder.package()
    folder.package(revision=2, decision="insufficient data", interim=None, restored=None)
    folder.approve("HB-07-r2")
    (r,) = governing(current(folder.root), "valve 2 to 3").open
    assert r.note == "HB-07-r2 does not lift it: it gives no limit of its own"
    folder.package(revision=3, decision="no repair needed", interim=None, restored=None)
    folder.approve("HB-07-r3")
    assert opened(folder) == []


def test_a_damaged_revision_lifts_nothing(folder):
    folder.package(interim=6.0)
    later = folder.package(revision=2, interim=7.0)
    folder.approve("HB-07-r2")
    update(folder.root)
    (later / "record.json").write_text("{}", encoding="utf-8")
    lowest = governing(current(folder.root), "valve 2 to 3").lowest
    assert (lowest.pressure, lowest.note) == (6.0, "HB-07-r2 does not lift it: it is damaged")


def test_the_acceptance_of_a_later_revision_closes_the_earlier_limit_but_not_the_other_way(folder):
    folder.package()
    folder.package(revision=2, interim=6.6)
    folder.approve("HB-07-r1")
    folder.close("HB-07-r1")
    assert opened(folder) == [("case HB-07 r2 interim limit", 6.6)]
    folder.approve("HB-07-r2")
    folder.close("HB-07-r2")
    assert opened(folder) == []


def test_a_restriction_that_the_case_states_outlives_the_repair(folder):
    folder.package(restrictions=[("restriction 14", 6.0), ("restriction 9", 5.2)])
    folder.approve()
    folder.close()
    assert opened(folder) == [("case HB-07 r1: restriction 9", 5.2), ("case HB-07 r1: restriction 14", 6.0)]
    folder.package(revision=2, restrictions=[("restriction 14", 6.0)], interim=None, decision="no repair needed",
                   restored=None)
    folder.approve("HB-07-r2")
    assert opened(folder) == [("case HB-07 r2: restriction 14", 6.0)]


def test_a_repair_accepted_for_less_than_its_design_is_a_restriction(folder):
    folder.package(restored=8.6)
    folder.approve()
    folder.close(restored=7.2, verdict="accepted with deviation")
    assert opened(folder) == [("case HB-07 r1 restored pressure, close-out 1", 7.2)]
    folder.package(revision=2)
    folder.approve("HB-07-r2")
    folder.close("HB-07-r2", restored=8.6 * (1 - 1e-13))
    assert opened(folder) == []


def test_sections_are_compared_without_case_and_spacing_and_kept_as_written(folder):
    folder.package(section="Valve 2  to 3")
    folder.package(case="HB-08", section="valve 2 TO 3", interim=5.0)
    folder.package(case="HB-09", section="valve 3 to 4", interim=4.0)
    found = governing(current(folder.root), " VALVE 2 to3")
    assert found.lowest.pressure == 5.0 and len(found.open) == 2
    assert {r.section for r in found.open} == {"Valve 2 to 3", "valve 2 TO 3"}


def test_a_section_that_no_package_names_is_a_message_and_does_not_look_free(folder):
    folder.package()
    with pytest.raises(UnknownItem) as e:
        governing(current(folder.root), "valve 2 to 33")
    assert str(e.value) == "there is no hydraulic section named 'valve 2 to 33'. Did you mean 'valve 2 to 3'?"


def test_a_package_damaged_before_it_was_ever_seen_may_hold_a_limit_anywhere(folder):
    folder.package()
    (folder.package(case="HB-08") / "record.json").unlink()
    now = current(folder.root)
    assert governing(now, "valve 2 to 3").unknown == ("HB-08-r1",)
    assert ("the limits of HB-08-r1 are not known: the package is damaged; a limit of it may hold"
            in lines(now, datetime.date(2026, 7, 1)))


def test_a_pressure_in_another_unit_is_converted(folder):
    # 1000 psi = 6.894757 MPa (definition of the pound-force and the inch)
    folder.package(interim=None, inputs={"restriction.0.pressure": ("1000 psi", 1000.0, "psi")})
    (r,) = current(folder.root).restrictions
    assert r.pressure == pytest.approx(6.894757, abs=1e-6)
    assert r.source == "case HB-07 r1: a restriction without a number"


@given(st.lists(st.tuples(st.integers(1, 5), st.floats(0.1, 20), st.lists(st.floats(0.1, 20), max_size=3)), min_size=1,
                max_size=8))
def test_the_first_open_one_is_the_lowest_of_all_stated(cases):
    revisions = [Revision(f"X{i}", 1, section=f"section {s}", decision="wrap", interim=limit,
                          stated=tuple(Stated(f"n {j}", p) for j, p in enumerate(stated)))
                 for i, (s, limit, stated) in enumerate(cases)]
    found = restrictions(revisions, [])
    for s in {s for s, _, _ in cases}:
        here = [r for r in found if r.section == f"section {s}"]
        assert here[0].pressure == min(p for k, limit, stated in cases if k == s for p in (limit, *stated))
        assert all(r.open for r in here)


# -- what stands against an acceptance ------------------------------------------------------------------------------
STOP = "stop: new revision"


def test_an_acceptance_lifts_nothing_while_the_last_look_says_stop(folder):
    folder.package()
    folder.approve()
    folder.as_found(number=1)
    folder.as_found(number=2, verdict=STOP)
    folder.close(restored=6.0)
    now = current(folder.root)
    assert now.repairs[0].state == "stopped by what was found" and not now.repairs[0].accepted
    # the lower pressure that was restored is a limit all the same
    assert opened(folder) == [("case HB-07 r1 restored pressure, close-out 1", 6.0),
                              ("case HB-07 r1 interim limit", 6.48)]
    assert governing(now, "valve 2 to 3").open[1].note == (
        "closeout/HB-07-r1-1 does not lift it: the acceptance does not count: as_found/HB-07-r1-2 says "
        "'stop: new revision'")
    assert any(p.startswith("closeout/HB-07-r1-1: the acceptance does not count") for p in now.problems)


@pytest.mark.parametrize("last", ["the design holds", "incomplete"])
def test_a_later_look_or_a_later_revision_ends_a_stop(folder, last):
    folder.package()
    folder.approve()
    folder.as_found(number=1, verdict=STOP)
    folder.close()
    assert opened(folder)
    folder.package(revision=2, interim=6.6)
    folder.approve("HB-07-r2")
    folder.as_found("HB-07-r2", verdict=last)
    folder.close("HB-07-r2")
    assert opened(folder) == []
    folder.as_found(number=2, verdict=last)
    assert current(folder.root).standings[0].state == "accepted"


def spoil(path, how):
    if how == "damaged":
        next(path.glob("*.json")).write_text("{}", encoding="utf-8")
    else:
        shutil.rmtree(path)


@pytest.mark.parametrize("how", ["damaged", "gone"])
@pytest.mark.parametrize("what", ["close-out", "look"])
def test_evidence_that_is_damaged_or_gone_takes_the_acceptance_back(folder, what, how):
    folder.package()
    folder.approve()
    folder.as_found(number=1)
    folder.close(number=1)
    later = folder.close(number=2, verdict="rejected") if what == "close-out" else folder.as_found(number=2,
                                                                                                verdict=STOP)
    update(folder.root)
    kept = folder.root.parent / "kept"
    shutil.copytree(later, kept)
    spoil(later, how)
    for _ in range(2):  # the second run has not forgotten it
        now = update(folder.root).now
        assert (now.repairs[0].state, now.repairs[0].accepted) == ("acceptance not proven", False)
        assert opened(folder) == [("case HB-07 r1 interim limit", 6.48)]
    note = governing(now, "valve 2 to 3").lowest.note
    condition = "damaged" if how == "damaged" else "missing"
    assert f"{later.parent.name}/{later.name} is {condition} and may have taken it back; restore it, or " in note
    assert note.endswith("close out again" if what == "close-out" else "look into the ditch again")
    # again, with a number of its own: what is whole and later counts
    folder.close(number=3) if what == "close-out" else folder.as_found(number=3)
    assert opened(folder) == [] and current(folder.root).repairs[0].state == "accepted"
    shutil.rmtree(later, ignore_errors=True)
    shutil.copytree(kept, later)
    assert update(folder.root).now.problems == ()


def test_a_rejection_made_anew_as_an_acceptance_does_not_count(folder):
    folder.package()
    folder.approve()
    rejected = folder.close(verdict="rejected")
    update(folder.root)
    shutil.rmtree(rejected)
    folder.close()
    now = update(folder.root).now
    assert opened(folder) == [("case HB-07 r1 interim limit", 6.48)] and now.repairs[0].state == "approved"
    assert any("it is another one than the register saw under this name" in p for p in now.problems)


def test_a_damaged_close_out_before_the_acceptance_does_not_matter(folder):
    folder.package()
    folder.approve()
    spoil(folder.close(number=1, verdict="rejected"), "damaged")
    folder.close(number=2)
    assert opened(folder) == []

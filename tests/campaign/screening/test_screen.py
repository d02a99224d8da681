"""A screening from listing to files: totals, the same bytes whatever the blocks, one clear message for bad input."""

import csv
import datetime
import io
import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from wrapcalc.campaign.cases.selection import ranked_blocks
from wrapcalc.campaign.example.listing import write_listing
from wrapcalc.campaign.screening import passes as screen_passes
from wrapcalc.campaign.screening.screen import screen
from wrapcalc.errors import CaseFaults, PackageError

ROWS = 1500


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """An invented listing, and what it says of itself."""
    folder = tmp_path_factory.mktemp("listing")
    return write_listing(folder, ROWS, 11)


@pytest.fixture(scope="module")
def found(made, tmp_path_factory):
    out = tmp_path_factory.mktemp("screening") / "out"
    return screen(made.folder / "listing.csv", made.folder / "mapping.toml", out)


def table(folder: Path, name: str = "ranked.parquet") -> dict[str, np.ndarray]:
    blocks = list(ranked_blocks(folder / name))
    return {n: np.concatenate([b[n] for b in blocks]) for n in blocks[0]}


def files(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir())}


def lines(path: Path) -> list[list[str]]:
    return list(csv.reader(io.StringIO(path.read_bytes().decode("utf-8-sig"), newline="")))


def again(made, tmp_path, **how):
    return screen(made.folder / "listing.csv", made.folder / "mapping.toml", tmp_path / "again", **how)


# -- totals -------------------------------------------------------------------------------------------------------
def test_every_row_is_ranked_or_no_anomaly_or_faulty(made, found):
    t = table(found.folder)
    assert found.rows == ROWS == found.ranked + sum(found.others.values()) + found.faulty
    assert len(t["row"]) == found.ranked == sum(found.dispositions.values())
    faulty = sorted({int(r[0]) for r in lines(found.folder / "faults.csv")[1:]})
    assert faulty == made.faulty and found.faulty == len(faulty)
    assert len(set(t["row"].tolist())) == found.ranked and not set(t["row"].tolist()) & set(faulty)


def test_the_totals_stand_in_screening_json_with_digests_and_no_time(found):
    told = json.loads((found.folder / "screening.json").read_text("utf-8"))
    totals = told["totals"]
    assert totals["rows_in_the_file"] == totals["ranked"] + totals["no_anomaly"] + totals["faulty"] == ROWS
    assert told["dispositions"] == found.dispositions and sum(told["reasons"].values()) == found.ranked
    assert {"listing", "mapping", "base/base.toml"} <= told["made_from"].keys()
    assert all(len(d) == 64 for d in told["made_from"].values())
    assert told["assumptions"] and told["not_verified"] and told["told"] == list(found.told)
    assert "time" not in told and told["asked"] == {"life": "no", "chance": "no", "where": "", "format": "parquet"}


def test_the_lines_for_a_terminal_add_up(found):
    first = found.lines()[0]
    assert first.startswith(f"{ROWS} rows = {found.ranked} ranked + {sum(found.others.values())} that are no anomaly")
    assert f"{found.faulty} with faults (faults.csv)" in first
    assert found.lines()[-1] == f"written: {found.folder / 'ranked.parquet'}"


def test_the_ranking_begins_at_one_and_has_no_gaps(found):
    t = table(found.folder)
    assert t["rank"].tolist() == list(range(1, found.ranked + 1))
    days = np.where(np.isnan(t["deadline_days"]), np.inf, t["deadline_days"])
    factor = np.where(np.isnan(t["repair_factor"]), np.inf, t["repair_factor"])
    assert (np.diff(days[np.isfinite(days)]) >= 0).all()
    same = days[1:] == days[:-1]
    assert (factor[1:][same] <= factor[:-1][same]).all()


# -- what stands in a row -----------------------------------------------------------------------------------------
def test_rows_alone_say_what_the_single_case_says(made, found):
    """Independent: the whole job of the case of a row, for rows of every disposition that act with no other."""
    from wrapcalc.campaign.cases.row_case import bundle_of, row_case
    from wrapcalc.campaign.line.line import load_line
    from wrapcalc.campaign.listing.mapping import load_mapping
    from wrapcalc.stages import job
    line = load_line(load_mapping(made.folder / "mapping.toml"), made.folder)
    t = table(found.folder)
    alone = (t["repair"] == "") & np.isin(t["kind"], ("external metal loss", "internal metal loss"))
    seen = 0
    for word in sorted(set(t["disposition"][alone].tolist())):
        for i in np.flatnonzero(alone & (t["disposition"] == word))[:2].tolist():
            out = job.run(bundle_of(line, row_case(line, {n: v[i] for n, v in t.items()}, "T-1", "row")))
            a = out.assessment
            safe = np.nan if a is None or a.governing is None else a.governing.magnitude
            assert t["safe_pressure"][i] == pytest.approx(safe, rel=1e-11, nan_ok=True)
            said = {"wrap": ("repair", "yes")}.get(out.decision.word)
            if said:
                assert (t["disposition"][i], t["wrap_feasible"][i]) == said
                assert t["layers"][i] == out.design.layers.magnitude
            seen += 1
    assert seen >= 4


def test_rows_that_act_as_one_have_the_lower_pressure_and_the_graver_word(found):
    t = table(found.folder)
    groups = [r for r in lines(found.folder / "neighbours.csv")[1:] if r[0] == "act as one"]
    assert len(groups) == found.joined > 5
    head = lines(found.folder / "neighbours.csv")[0]
    lower = 0
    for r in (dict(zip(head, g, strict=True)) for g in groups):
        at = np.isin(t["row"], [int(n) for n in r["rows"].split()])
        assert set(t["repair"][at].tolist()) == {r["repair"]} and r["repair"].startswith("R")
        if r["safe pressure after [MPa]"]:
            after = float(r["safe pressure after [MPa]"])
            assert (t["safe_pressure"][at] <= after * (1 + 1e-11)).all() or np.isnan(t["safe_pressure"][at]).any()
            lower += after < float(r["safe pressure before [MPa]"] or "inf")
    assert lower


def test_what_is_no_metal_loss_is_ranked_and_has_no_pressure(found):
    t = table(found.folder)
    other = np.isin(t["kind"], ("dent", "gouge", "crack"))
    assert other.any() and np.isnan(t["safe_pressure"][other]).all()
    assert set(t["disposition"][other].tolist()) <= {"insufficient data", "other repair needed"}
    assert all(r.startswith("there is no strength method") for r in
               t["reason"][other & (t["disposition"] == "insufficient data")])


def test_a_comment_like_a_formula_is_a_text(made, found, tmp_path):
    rows = made.dirt["comment like a formula"]
    t = table(found.folder)
    raw = t["comment"][np.isin(t["row"], rows)].tolist()
    assert raw and all(c.startswith(("=", "+", "-", "@")) for c in raw)
    again(made, tmp_path, format="csv")
    text = lines(tmp_path / "again" / "ranked.csv")
    column = text[0].index("comment")
    assert not any(r[column].startswith(("=", "+", "-", "@")) for r in text[1:])


# -- the same bytes -----------------------------------------------------------------------------------------------
@pytest.mark.parametrize("rows", [97, 640])
def test_the_size_of_the_blocks_does_not_matter(made, found, tmp_path, rows):
    again(made, tmp_path, rows=rows)
    assert files(tmp_path / "again") == files(found.folder)


def test_going_through_files_does_not_matter(made, found, tmp_path, monkeypatch):
    monkeypatch.setattr(screen_passes, "BUDGET", 1000)
    monkeypatch.setattr(screen_passes, "WRITTEN", 200)
    again(made, tmp_path, rows=300, format="csv")
    monkeypatch.undo()
    whole = screen(made.folder / "listing.csv", made.folder / "mapping.toml", tmp_path / "whole", format="csv")
    assert files(tmp_path / "again") == files(whole.folder)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["again", "whole"]


@pytest.mark.parametrize("rows", [53, 400])
def test_where_the_line_is_cut_does_not_matter(made, found, tmp_path, monkeypatch, rows):
    """All but the last digits of arrays that are cut elsewhere."""
    monkeypatch.setattr(screen_passes, "JUDGED", rows)
    other = again(made, tmp_path, rows=100)
    a, b = table(found.folder), table(other.folder)
    a, b = ({n: v[np.argsort(t["row"])] for n, v in t.items()} for t in (a, b))
    for name in a.keys() - {"rank"}:  # equal keys may change places with their last digits
        if a[name].dtype.kind == "f":
            np.testing.assert_allclose(a[name], b[name], rtol=1e-10, err_msg=name)
        else:
            assert (a[name] == b[name]).all(), name
    assert (found.joined, found.repairs, found.told) == (other.joined, other.repairs, other.told)


def test_but_for_their_numbers_the_order_of_the_rows_does_not_matter(made, found, tmp_path):
    folder = tmp_path / "shuffled"
    shutil.copytree(made.folder, folder)
    text = (folder / "listing.csv").read_text("utf-8").splitlines(keepends=True)
    order = np.random.default_rng(5).permutation(len(text) - 1) + 1
    (folder / "listing.csv").write_text("".join([text[0], *(text[i] for i in order)]), "utf-8")
    screen(folder / "listing.csv", folder / "mapping.toml", tmp_path / "again", rows=400)
    a, b = table(found.folder), table(tmp_path / "again")
    for name in a.keys() - {"row"}:
        assert np.array_equal(a[name], b[name], equal_nan=a[name].dtype.kind == "f"), name
    # the number of a row is its place in the file it came from
    back = {int(k) + 2: int(i) + 1 for k, i in enumerate(order)}
    twins = {r for r in a["row"].tolist() if (a["feature_id"] == a["feature_id"][a["row"] == r][0]).sum() > 1}
    assert all(x == y or x in twins for x, y in zip(a["row"].tolist(), (back[r] for r in b["row"].tolist()),
                                                    strict=True))


# -- earlier repairs ----------------------------------------------------------------------------------------------
def test_rows_under_an_earlier_repair_are_marked_unless_it_no_longer_carries_them(made, found, tmp_path,
                                                                                        monkeypatch):
    import wrapcalc.register
    from wrapcalc.campaign.screening import known
    t = table(found.folder)
    one = np.flatnonzero((t["repair"] == "") & (t["kind"] == "external metal loss") & (t["joint"] != "")
                         & np.isfinite(t["depth"]))
    shallow, next_, deep = one[np.argsort(t["depth"][one])][[0, 1, -1]].tolist()

    def over(i, name, until=""):
        row = {n: v[i] for n, v in t.items()}
        return known.Known(name, "accepted", True, ((-500.0, row["length"] + 500.0),), joint=row["joint"],
                           weld=row["upstream_weld"], joint_length=row["joint_length"], edge=row["from_upstream_weld"],
                           survey=row["survey"], length=row["length"], clock=row["clock"], depth=1.5, end_depth=2.5,
                           life=20.0, since="2020-05-14", until=until, grows=False)
    monkeypatch.setattr(wrapcalc.register, "current", lambda folder: None)
    monkeypatch.setattr(known, "known_repairs", lambda folder, now: (
        [over(shallow, "HB-1-r1"), over(deep, "HB-2-r1"), over(next_, "HB-4-r1", "2022-05-14")],
        ["HB-3-r1: cannot be read."]))
    other = again(made, tmp_path, register=tmp_path)
    b = table(other.folder)
    at = {int(r): i for i, r in enumerate(b["row"].tolist())}
    i, j, k = (at[int(t["row"][n])] for n in (shallow, deep, next_))
    assert (b["under_repair"][i], b["known_repair_is"][i], b["depth_against_design"][i]) == (
        "HB-1-r1", "under repair", "as planned")
    assert (b["under_repair"][j], b["known_repair"][j]) == ("", "HB-2-r1")
    assert b["depth_against_design"][j] == "deeper than the design carries"
    assert (b["under_repair"][k], b["known_repair"][k]) == ("", "HB-4-r1")
    assert b["depth_against_design"][k] == "past its design life"
    assert any("past its design life" in text and "HB-4-r1" in text for text in other.told)
    assert other.under_repair == (b["under_repair"] != "").sum() and "HB-3-r1: cannot be read." in other.told
    assert found.under_repair == 0 and not (t["under_repair"] != "").any()


# -- filters and formats ------------------------------------------------------------------------------------------
def test_a_filter_cuts_what_is_written_and_keeps_the_ranks(made, found, tmp_path):
    kept = again(made, tmp_path, where="disposition = repair and relative depth > 30 %")
    a, b = table(found.folder), table(kept.folder)
    want = (a["disposition"] == "repair") & (a["relative_depth"] > 0.3)
    assert b["rank"].tolist() == a["rank"][want].tolist() and kept.written == want.sum() > 0
    assert kept.ranked == found.ranked and f"{kept.written} meet the filter" in kept.lines()[0]


def test_a_filter_on_a_text_that_comes_up_only_while_judging(made, found, tmp_path):
    kept = again(made, tmp_path, where="reason = 'the governing safe pressure is below the MAOP'")
    assert 0 < kept.written < found.ranked


def test_a_filter_that_is_none_is_told_before_anything_is_read(made, tmp_path):
    with pytest.raises(CaseFaults, match="did you mean 'repair factor'"):
        again(made, tmp_path, where="repair facter > 1")
    assert not list(tmp_path.iterdir())


def test_life_and_chance_are_columns_when_they_are_asked_for(made, found, tmp_path):
    asked = again(made, tmp_path, life=True, chance=True, where="rank <= 40")
    named = {"remaining_life", "next_look", "growth_rate", "probability", "probability_of_depth"}
    assert named <= table(asked.folder).keys()
    assert "remaining_life" not in table(found.folder)


def test_an_xlsx_has_the_same_rows(made, found, tmp_path):
    import openpyxl
    again(made, tmp_path, format="xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "again" / "ranked.xlsx").active
    rows = sheet.iter_rows(values_only=True)
    head = list(next(rows))
    at = head.index("safe pressure [MPa]")
    got = np.array([np.nan if r[at] is None else r[at] for r in rows], float)
    assert np.array_equal(got, table(found.folder)["safe_pressure"], equal_nan=True)


def test_an_xlsx_that_cannot_hold_the_rows_is_refused_and_nothing_is_left(made, tmp_path, monkeypatch):
    from wrapcalc.campaign.tables import tables
    monkeypatch.setattr(tables, "SHEET_ROWS", 1000)
    with pytest.raises(PackageError, match=r"XLSX holds 999 and a heading\. Choose Parquet or CSV"):
        again(made, tmp_path, format="xlsx")
    assert not list(tmp_path.iterdir())
    with pytest.raises(PackageError, match="XLSX holds 999"):  # with a filter it is known only when it comes to that
        again(made, tmp_path, format="xlsx", where="rank > 0")
    assert not list(tmp_path.iterdir())


# -- bad input ----------------------------------------------------------------------------------------------------
def test_a_folder_that_is_there_is_refused(made, tmp_path):
    (tmp_path / "again").mkdir()
    (tmp_path / "again" / "mine.txt").write_text("x")
    with pytest.raises(PackageError, match="is there already; name a new folder"):
        again(made, tmp_path)
    assert [p.name for p in (tmp_path / "again").iterdir()] == ["mine.txt"]


def test_a_format_that_is_none_is_refused(made, tmp_path):
    with pytest.raises(PackageError, match="no format 'ods'"):
        again(made, tmp_path, format="ods")
    assert not list(tmp_path.iterdir())


def test_a_listing_that_is_not_there_is_one_message(made, tmp_path):
    with pytest.raises((CaseFaults, PackageError), match=r"nothing\.csv"):
        screen(made.folder / "nothing.csv", made.folder / "mapping.toml", tmp_path / "out")
    assert not list(tmp_path.iterdir())


def test_nothing_is_left_when_somebody_stops_it(made, tmp_path):
    def stop(what, rows):
        if what == "judging":
            raise KeyboardInterrupt
    with pytest.raises(KeyboardInterrupt):
        again(made, tmp_path, progress=stop)
    assert not list(tmp_path.iterdir())


def test_a_listing_that_changes_while_it_is_read_is_refused(made, tmp_path):
    folder = tmp_path / "copy"
    shutil.copytree(made.folder, folder)

    def write(what, rows):
        if what == "judging":
            with (folder / "listing.csv").open("a") as file:
                file.write("\n")
    with pytest.raises(PackageError, match="was changed while it was read"):
        screen(folder / "listing.csv", folder / "mapping.toml", tmp_path / "out", progress=write)
    assert [p.name for p in tmp_path.iterdir()] == ["copy"]


def test_a_rule_that_joins_all_is_refused(made, tmp_path):
    folder = tmp_path / "copy"
    shutil.copytree(made.folder, folder)
    base = (folder / "base.toml").read_text("utf-8").replace('interaction = "6t"', 'interaction = "all one"')
    (folder / "base.toml").write_text(base, "utf-8")
    with pytest.raises(CaseFaults, match=r"assessment\.interaction"):
        screen(folder / "listing.csv", folder / "mapping.toml", tmp_path / "out")
    assert [p.name for p in tmp_path.iterdir()] == ["copy"]


def test_a_folder_in_which_nothing_can_be_made_is_one_message(made):
    with pytest.raises(PackageError, match=r"^/proc/foo: cannot be written"):
        screen(made.folder / "listing.csv", made.folder / "mapping.toml", Path("/proc/foo"))


# -- days ---------------------------------------------------------------------------------------------------------
RUN, LATE = "2026-05-14", datetime.date(2026, 6, 1)


def with_days(made, tmp_path, run=RUN, measured=RUN, segment=""):
    folder = tmp_path / "copy"
    shutil.copytree(made.folder, folder)
    text = (folder / "mapping.toml").read_text("utf-8").replace(f'run_date = "{RUN}"', f'run_date = "{run}"')
    text = text.replace('set = { "pipe.nominal_wall"', f'set = {{ {segment}"pipe.nominal_wall"', 1)
    (folder / "mapping.toml").write_text(text, "utf-8")
    base = (folder / "base.toml").read_text("utf-8")
    assert RUN in base
    (folder / "base.toml").write_text(base.replace(f'measured_date = {{ value = "{RUN}"',
                                                   f'measured_date = {{ value = "{measured}"'), "utf-8")
    return lambda **how: screen(folder / "listing.csv", folder / "mapping.toml", tmp_path / "out", **how)


@pytest.mark.parametrize(("days", "says"), [
    ({"run": "2026-07-01"}, r"mapping\.toml, line \d+: listing\.run_date: found 2026-07-01, which is after today, "
     "2026-06-01"),
    ({"measured": "2026-06-02"}, r"base\.toml.*growth\.measured_date: found 2026-06-02, which is after today"),
    ({"segment": '"growth.measured_date" = "2031-05-14", '}, r"segment\.0\.set: growth\.measured_date: found 2031")])
def test_a_day_that_is_yet_to_come_is_refused(made, tmp_path, days, says):
    with pytest.raises(CaseFaults, match=says):
        with_days(made, tmp_path, **days)(now=LATE)
    assert [p.name for p in tmp_path.iterdir()] == ["copy"]


def test_the_day_itself_is_no_fault(made, tmp_path):
    assert with_days(made, tmp_path)(now=datetime.date(2026, 5, 14), where="rank < 2").ranked


@pytest.mark.parametrize(("measured", "life", "told"), [
    ("2025-05-14", True, True), ("2025-05-14", False, False), ("2026-05-15", True, False), ("2026-05-16", True, True)])
def test_a_life_that_counts_from_another_day_than_that_of_the_run_is_told(made, tmp_path, measured, life, told):
    found = with_days(made, tmp_path, measured=measured)(now=LATE, life=life, where="rank < 2")
    text = f"Remaining lives count from measured_date = {measured}, but the run was on {RUN} by the mapping"
    assert any(t.startswith(text) for t in found.told) is told


# -- what must be known of the listing ----------------------------------------------------------------------------
def test_a_register_without_repairs_is_told(made, found, tmp_path):
    (tmp_path / "nothing here").mkdir()
    other = again(made, tmp_path, register=tmp_path / "nothing here", where="rank < 2")
    text = "No known repair was found in nothing here: rows are screened as if there were none."
    assert any(t.startswith(text) for t in other.told) and not any("known repair" in t for t in found.told)


def test_listed_repair_factors_are_held_against_ours(found):
    told = [t for t in found.told if t.startswith("Repair factors of ")]
    t = table(found.folder)
    both = np.isfinite(t["listed_repair_factor"]) & np.isfinite(t["repair_factor"])
    assert len(told) == 1 and 0 < int(told[0].split()[3]) and both.sum() >= int(told[0].split()[3]) - found.joined * 9
    assert not any("probably read too small" in x for x in found.told)


def test_a_column_read_in_too_small_a_unit_is_told(made, tmp_path):
    folder = tmp_path / "copy"
    shutil.copytree(made.folder, folder)
    text = (folder / "mapping.toml").read_text("utf-8")
    assert '"% of nominal wall"' in text
    (folder / "mapping.toml").write_text(text.replace('"% of nominal wall"', '"mil"'), "utf-8")
    other = screen(folder / "listing.csv", folder / "mapping.toml", tmp_path / "out")
    assert any("the loss is probably read too small" in t for t in other.told)


def test_rows_of_no_anomaly_that_state_a_depth_are_faults_and_counted(made, found, tmp_path):
    folder = tmp_path / "copy"
    shutil.copytree(made.folder, folder)
    text = (folder / "mapping.toml").read_text("utf-8")
    words = '"Metal loss int" = "internal metal loss"'
    assert words in text
    (folder / "mapping.toml").write_text(text.replace(words, '"Metal loss int" = "marker"'), "utf-8")
    other = screen(folder / "listing.csv", folder / "mapping.toml", tmp_path / "out")
    more = other.faulty - found.faulty
    assert more > 100 and other.rows == ROWS
    assert any("'Metal loss int' states a depth and is no anomaly" in t for t in other.told)
    assert sum("a depth of" in r[2] for r in lines(tmp_path / "out" / "faults.csv")) >= more

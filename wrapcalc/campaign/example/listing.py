"""An invented listing of an inspection run, with its mapping, its base case and some field measurements.

Deterministic by its seed; written block by block, so that memory does not grow with it. A part of the rows is dirty on
purpose, in the ways in which real listings are; the summary says which rows and how.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TextIO

import numpy as np

from wrapcalc.campaign.example import line as made
from wrapcalc.campaign.example.files import COLUMNS, DATES, NAME, base_text, campaign_text, mapping_text
from wrapcalc.errors import CaseFaults, Fault, PackageError
from wrapcalc.formulas import remaining_strength as strength

LEAST_ROWS, MOST_ROWS = 40, 20_000_000
FAULTY, TOLD, PARSED = "a fault of the row", "told, the row is read", "read"
#: What is wrong with dirty rows -> what becomes of such a row.
DIRT = {"blank distance": FAULTY, "blank depth": PARSED, "another unit": FAULTY, "same id again": TOLD,
        "24:30": FAULTY, "text for a number": FAULTY, "comment like a formula": PARSED, "headings again": FAULTY,
        "negative distance": FAULTY, "decimal comma": FAULTY, "another line": FAULTY}
#: Rows of field.csv: the deepest of the listing, and some others.
DEEPEST, OTHERS = 40, 20
FIELD_HEADINGS = ("feature_id,joint,girth weld,from girth weld mm,clock,depth mm,length mm,width mm,sound wall mm,"
                  "measured on,source")


@dataclass(frozen=True)
class Repaired:
    """A place that was wrapped between the runs: what the first run reports of it. Lengths in mm, clock in hours.

    depth: as reported, mm; wrap_start: upstream end of the wrap from the upstream weld; wrap_length: over all.
    """

    row: int
    feature_id: str
    kind: str
    joint: str
    upstream_weld: str
    from_upstream_weld: float
    survey: float
    clock: float
    depth: float
    length: float
    width: float
    wrap_start: float
    wrap_length: float


@dataclass
class Written:
    """What was written. rows: below the headings; dirt: kind -> rows as a spreadsheet numbers them (headings are 1).

    kinds: rows of each kind of feature, dirty ones included.
    """

    folder: Path
    rows: int
    dirt: dict[str, list[int]] = field(default_factory=lambda: {k: [] for k in DIRT})
    kinds: dict[str, int] = field(default_factory=dict)
    repaired: tuple[Repaired, ...] = ()
    measured: int = 0

    @property
    def faulty(self) -> list[int]:
        """Rows that must stand in faults.csv and nowhere else."""
        return sorted(r for kind, rows in self.dirt.items() if DIRT[kind] == FAULTY for r in rows)


def write_listing(folder: Path, rows: int, seed: int, *, dirt: float = 0.01, run: int = 1) -> Written:
    """Write listing.csv, mapping.toml, base.toml, field.csv and campaign.toml of an invented gas line into a folder.

    rows: below the headings, 40 to 20 million; dirt: share of dirty rows (at least one of each kind, unless 0);
    run: 1, or 2 for the run six years later: another odometer, grown depths, two places that were wrapped meanwhile.
    Raises CaseFaults for numbers out of these, PackageError when the folder cannot be written or holds a listing.
    """
    _refuse(rows, seed, dirt, run)
    line = made.Line(rows, seed)
    out = Written(folder, rows, repaired=_repaired(line))
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with (folder / "listing.csv").open("x", encoding="utf-8", newline="") as file:
            file.write(",".join(h for h, *_ in COLUMNS) + "\n")
            best = _write_blocks(file, line, run, dirt, out)
        (folder / "mapping.toml").write_text(mapping_text(line, run), encoding="utf-8")
        (folder / "base.toml").write_text(base_text(run), encoding="utf-8")
        (folder / "campaign.toml").write_text(campaign_text(run), encoding="utf-8")
        (folder / "field.csv").write_text("\n".join([FIELD_HEADINGS, *best]) + "\n", encoding="utf-8")
    except FileExistsError:
        raise PackageError(f"{folder}: a listing is there already; name a new folder") from None
    except OSError as e:
        raise PackageError(f"{folder}: cannot be written ({e.strerror or e})") from None
    out.measured = len(best)
    return out


def _refuse(rows: int, seed: int, dirt: float, run: int) -> None:
    said = (
        ("rows", rows, f"a whole number from {LEAST_ROWS} to {MOST_ROWS}",
         isinstance(rows, int) and LEAST_ROWS <= rows <= MOST_ROWS),
        ("seed", seed, "a whole number of 0 or more", isinstance(seed, int) and seed >= 0),
        ("dirt", dirt, "a share from 0 to 0.4", 0 <= dirt <= 0.4), ("run", run, "1 or 2", run in DATES))
    faults = [Fault("example listing", name, str(found), allowed, "choose such a number")
              for name, found, allowed, ok in said if not ok]
    if faults:
        raise CaseFaults(faults)


def _repaired(line: made.Line) -> tuple[Repaired, ...]:
    """The deepest external and the deepest internal loss of the first block are wrapped after the first run."""
    first, last, rows = line.blocks()[0]
    f = line.features(first, last, rows)
    told = _reported(line, f, first, 1)
    out = []
    for kind in (made.EXTERNAL, made.INTERNAL):
        along = f.at - line.start[f.joint]
        room = (along > 600) & (along + f.length + 600 < line.length[f.joint])
        fit = np.flatnonzero((f.kind == kind) & (f.depth < 0.7) & (f.length < 600) & room)
        if not len(fit):
            continue
        i = int(fit[np.argmax(f.depth[fit])])
        joint = int(f.joint[i])
        from_weld = float(f.at[i] - line.start[joint])
        wrap = max(300.0, f.length[i] + 260.0)
        out.append(Repaired(i + 2, _name(1, i), made.KINDS[kind][1], str(joint + 1), str(10 * (joint + 1)), from_weld,
                            float(f.at[i]), float(f.clock[i]), float(told[i] / 100 * line.wall[joint]),
                            float(f.length[i]), float(f.width[i]),
                            float(from_weld + f.length[i] / 2 - wrap / 2), float(wrap)))
    return tuple(out)


def _name(run: int, row: int) -> str:
    return f"{'FG'[run - 1]}{row + 1:07d}"


def _reported(line: made.Line, f: made.Features, first: int, run: int) -> np.ndarray:
    """Depths as the run reports them, whole per cent of the nominal wall."""
    return made.read_depth(np.random.default_rng([line.seed, 4, first, run]), f.depth)


def _at_second_run(line: made.Line, f: made.Features, first: int, repaired: tuple[Repaired, ...]) -> made.Features:
    """Six years later: loss has grown but for what is wrapped from outside; some is new; wraps are seen.

    As many of the shallowest places are not reported any more as are new, so that the number of rows stays.
    """
    rng = np.random.default_rng([line.seed, 3, first])
    n = len(f.kind)
    loss = np.isin(f.kind, (made.EXTERNAL, made.INTERNAL))
    rate = 0.03 * np.exp(rng.normal(0, 0.7, n))  # mm a year
    still = np.isin(f.at, [r.survey for r in repaired if r.kind == "external metal loss"])
    depth = np.where(loss & ~still, (f.depth + rate * made.YEARS / line.wall[f.joint]).clip(max=0.9), f.depth)
    grown = made.Features(f.kind, f.joint, f.at, f.clock, depth, f.length, f.width, f.weld_cut)
    here = repaired if first == 0 else ()
    candidates = np.flatnonzero(loss & ~f.weld_cut & ~np.isin(f.at, [r.survey for r in repaired]))
    count = min(max(len(here), len(candidates) // 200), len(candidates))
    gone = candidates[np.argsort(f.depth[candidates], kind="stable")[:count]]
    new = f.taken(gone)
    move = rng.permutation(count)
    new = made.Features(new.kind, new.joint, line.start[new.joint] + rng.uniform(0.1, 0.8, count)
                        * line.length[new.joint], new.clock[move], new.depth, new.length, new.width, new.weld_cut)
    for k, r in enumerate(here[:count]):
        new.kind[k], new.joint[k] = made.REPAIR, int(r.joint) - 1
        new.at[k] = line.start[new.joint[k]] + r.wrap_start
        new.clock[k] = new.depth[k] = new.width[k] = np.nan
        new.length[k] = r.wrap_length
    whole = made.joined([grown.taken(np.setdiff1d(np.arange(n), gone)), new])
    return whole.taken(np.argsort(whole.at, kind="stable"))


def _write_blocks(file: TextIO, line: made.Line, run: int, dirt: float, out: Written) -> list[str]:
    odometer = line.odometer(run)
    wanted = max(round(dirt * line.rows), len(DIRT)) if dirt else 0
    kinds = np.zeros(len(made.KINDS), dtype=np.int64)
    deepest: list[tuple[float, int, str]] = []
    others: list[str] = []
    row = done = 0
    for first, last, rows in line.blocks():
        f = line.features(first, last, rows)
        if run == 2:
            f = _at_second_run(line, f, first, out.repaired)
        told = _reported(line, f, first, run)
        columns = _columns(line, f, told, run, row, odometer)
        share = wanted * (row + rows) // line.rows - done
        spoilt = _spoil(columns, f, line.seed, first, run, share, done)
        done += len(spoilt)
        for at, kind in spoilt:
            out.dirt[kind].append(row + at + 2)
        kinds += np.bincount(f.kind, minlength=len(kinds))
        clean = np.setdiff1d(np.flatnonzero(np.isin(f.kind, (made.EXTERNAL, made.INTERNAL))), [a for a, _ in spoilt])
        deepest, others = _measured(line, f, told, columns, clean, run, first, row, deepest, others)
        file.write("\n".join(map(",".join, zip(*columns, strict=True))) + "\n")
        row += rows
    out.kinds = {made.KINDS[k][1]: int(n) for k, n in enumerate(kinds)}
    top = {text for *_, text in deepest}
    return [text for *_, text in sorted(deepest, key=lambda d: d[1])] + [t for t in others if t not in top]


# -- cells --------------------------------------------------------------------------------------------------------
_CLOCKS = np.array([f"{h or 12}:{m:02d}" for h in range(12) for m in range(60)], dtype=object)
_WHOLE = np.array([str(n) for n in range(4001)], dtype=object)
_COMMENTS = np.array(["", "", "", "", "", "", "", "", "", "", "", "", "near seam", "see photograph 14",
                      '"cluster, 3 boxes"', "in bend"], dtype=object)


def _clock(hours: np.ndarray) -> list[str]:
    minutes = np.where(np.isnan(hours), 0, np.round(np.nan_to_num(hours) * 60)).astype(int) % 720
    return np.where(np.isnan(hours), "", _CLOCKS[minutes]).tolist()


def _whole(values: np.ndarray) -> list[str]:
    blank = np.isnan(values)
    return np.where(blank, "", _WHOLE[np.where(blank, 0, values).astype(int)]).tolist()


def _metres(mm: np.ndarray) -> list[str]:
    return [f"{x:.3f}" for x in (mm / 1000).tolist()]


def _columns(line: made.Line, f: made.Features, told: np.ndarray, run: int, row: int,
             odometer: tuple[np.ndarray, np.ndarray]) -> list[list[str]]:
    """The cells of a block, column by column, in the order of COLUMNS."""
    n, joint = len(f.kind), f.joint
    rng = np.random.default_rng([line.seed, 5, int(joint[0]), run])
    loss = np.isin(f.kind, (made.EXTERNAL, made.INTERNAL))
    first = int(joint[0])
    local = joint - first
    joints = slice(first, int(joint.max()) + 1)
    wall = line.wall[joint]
    measured = np.round(wall * rng.normal(0.995, 0.008, n).clip(0.96, 1.03), 2)
    at_weld = np.where(f.weld_cut & (f.at - line.start[joint] > 3000), joint + 1, joint)
    numbered = (f.kind == made.WELD) | f.weld_cut
    from_weld = f.at - line.start[joint]
    kinds = np.array([w for w, _ in made.KINDS], dtype=object)
    walls = {w: f"{w:g}" for w in np.unique(line.wall).tolist()}
    sized = loss | (f.kind == made.GOUGE)
    factor = _factor(told / 100, f.length, wall)
    return [[_name(run, row + i) for i in range(n)], [NAME] * n, kinds[f.kind].tolist(),
            _metres(_log(odometer, f.at)),
            np.array([str(j + 1) for j in range(joints.start, joints.stop)], dtype=object)[local].tolist(),
            np.array(_metres(line.length[joints]), dtype=object)[local].tolist(),
            [str(10 * (j + 1)) if w else "" for j, w in zip(at_weld.tolist(), numbered.tolist(), strict=True)],
            _metres(from_weld), _clock(f.clock), _whole(np.where(sized, told, np.nan)), _whole(np.round(f.length)),
            _whole(np.round(f.width)), [walls[w] for w in wall.tolist()],
            [f"{w:.2f}" if k else "" for w, k in zip(measured.tolist(), loss.tolist(), strict=True)],
            np.array(_clock(line.seam[joints]), dtype=object)[local].tolist(),
            [f"{v:.3f}" if k else "" for v, k in zip(factor.tolist(), loss.tolist(), strict=True)],
            np.where(loss, _COMMENTS[rng.integers(0, len(_COMMENTS), n)], "").tolist()]


def _log(odometer: tuple[np.ndarray, np.ndarray], at: np.ndarray) -> np.ndarray:
    """Log of surveyed distances; beyond the outermost knots the slope of the nearest interval goes on."""
    knots, log = odometer
    out = np.interp(at, knots, log)
    for end, beside, side in ((0, 1, at < knots[0]), (-1, -2, at > knots[-1])):
        slope = (log[beside] - log[end]) / (knots[beside] - knots[end])
        out = np.where(side, log[end] + slope * (at - knots[end]), out)
    return out


def _factor(share: np.ndarray, length: np.ndarray, wall: np.ndarray) -> np.ndarray:
    """Repair factor as such listings print it: the 0.85 dL form on the nominal wall, no allowances, factor 0.72."""
    d, L = np.nan_to_num(share * wall, nan=0.1), np.nan_to_num(length, nan=1.0)
    z = strength.length_parameter.array(L=L, D=made.D, t=wall)
    stress = strength.failure_stress_085dl.array(S_flow=429.0, d=np.minimum(d, 0.9 * wall), t=wall,
                                                 M=strength.bulging_factor_085dl.array(z=z))
    return 8.6 / (0.72 * 2 * stress * wall / made.D)


# -- dirt ---------------------------------------------------------------------------------------------------------
def _spoil(columns: list[list[str]], f: made.Features, seed: int, first: int, run: int, count: int, done: int
           ) -> list[tuple[int, str]]:
    """Spoil so many rows of metal loss, one way after another: (row of the block, kind of dirt)."""
    at = {field: k for k, (_, field, _) in enumerate(COLUMNS)}
    # every second row only: the row before a dirty one is clean, and its id can be given twice
    loss = np.flatnonzero(np.isin(f.kind, (made.EXTERNAL, made.INTERNAL)) & (np.arange(len(f.kind)) % 2 == 1))
    rng = np.random.default_rng([seed, 6, first, run])
    rows = np.sort(rng.choice(loss, min(count, len(loss)), replace=False)).tolist()
    names, out = list(DIRT), []
    for k, i in enumerate(rows):
        kind = names[(done + k) % len(names)]
        out.append((i, kind))
        if kind == "headings again":
            for column, (heading, *_) in zip(columns, COLUMNS, strict=True):
                column[i] = heading
            continue
        name, cell = _spoilt_cell(kind, columns, at, i)
        columns[at[name]][i] = cell
    return out


def _spoilt_cell(kind: str, columns: list[list[str]], at: dict[str, int], i: int) -> tuple[str, str]:
    """(field, its dirty cell)."""
    return {"blank distance": ("log_distance", ""), "blank depth": ("depth", ""), "another unit": ("depth", "2.1 mm"),
            "same id again": ("feature_id", columns[at["feature_id"]][i - 1]), "24:30": ("clock", "24:30"),
            "text for a number": ("length", "see report"),
            "comment like a formula": ("comment", '"=HYPERLINK(""http://example.invalid"",""open"")"'),
            "negative distance": ("log_distance", "-" + columns[at["log_distance"]][i]),
            "decimal comma": ("log_distance", '"' + columns[at["log_distance"]][i].replace(".", ",") + '"'),
            "another line": ("line", "Tarn Fell")}[kind]


# -- field measurements -------------------------------------------------------------------------------------------
def _measured(line: made.Line, f: made.Features, told: np.ndarray, columns: list[list[str]], clean: np.ndarray,
              run: int, first: int, row: int, deepest: list[tuple[float, int, str]], others: list[str]
              ) -> tuple[list[tuple[float, int, str]], list[str]]:
    """Keep the deepest places so far, and some others of the first block, as rows of field.csv."""
    best = clean[np.argsort(-told[clean], kind="stable")[:DEEPEST]]
    rng = np.random.default_rng([line.seed, 7, first, run])
    texts = dict(zip(best.tolist(), _field_rows(line, f, columns, best, rng, run), strict=True))
    deepest = heapq.nlargest(DEEPEST, [*deepest, *((float(told[i]), row + i, texts[i]) for i in texts)])
    if not others and len(clean):
        some = np.sort(rng.choice(clean, min(OTHERS, len(clean)), replace=False))
        taken = [i for i in some if i not in texts]
        others = list(_field_rows(line, f, columns, np.array(taken, dtype=int), rng, run))
    return deepest, others


def _field_rows(line: made.Line, f: made.Features, columns: list[list[str]], rows: np.ndarray,
                rng: np.random.Generator, run: int) -> Iterator[str]:
    """What the pit gauge found: the true depth, read to a tenth of a millimetre."""
    wall = line.wall[f.joint[rows]]
    depth = (f.depth[rows] * wall + rng.normal(0, 0.1, len(rows))).clip(0.2)
    length = f.length[rows] * rng.normal(1.03, 0.05, len(rows))
    width = f.width[rows] * rng.normal(1.05, 0.08, len(rows))
    place = np.round(rng.normal(0, 25, len(rows)))
    for k, i in enumerate(rows.tolist()):
        from_weld = max(0.0, f.at[i] - line.start[f.joint[i]] + place[k])
        yield ",".join([columns[0][i], columns[4][i], str(10 * (int(f.joint[i]) + 1)), f"{from_weld:.0f}",
                        columns[8][i], f"{depth[k]:.1f}", f"{max(length[k], 5):.0f}", f"{max(width[k], 5):.0f}",
                        f"{wall[k] * 0.994:.2f}", DATES[run].replace(month=7).isoformat(),
                        f"dig sheet D-{int(columns[0][i][1:])} (invented)"])

"""Faults of what the case says about the site: rows that are not complete, distances and dates that contradict."""

from __future__ import annotations

from collections.abc import Iterator

from wrapcalc import units
from wrapcalc.case.model import Case
from wrapcalc.case.site_model import OBJECTIVES, misplaced
from wrapcalc.errors import Fault
from wrapcalc.fields import Given

_PLACES = ("first", "second", "third", "fourth", "fifth")
#: A longer defect is a fault of its own.
_LONGEST = 20_000
#: Two distances that differ by more than this share of the joint contradict; less is looked at on the dig sheet.
_SLIP = 0.10
#: What each row of a list of tables needs.
_ROWS = {"keep_out": ("what", "start", "end", "rule"), "joint": ("side", "length"), "stock": ("item", "count", "batch",
                                                                                              "expiry")}


def site_faults(case: Case, name: str, lines: dict[str, int]) -> Iterator[Fault]:
    """Every contradiction of [location], [[joint]], [excavation], [layout], [[keep_out]], [[stock]] and [work]."""

    def fault(field: str, found: str, allowed: str, mend: str) -> Fault:
        line = lines.get(field) or lines.get(field.rpartition(".")[0])
        return Fault(name, field, found, allowed, mend, line)

    yield from _rows(case, fault)
    yield from _distances(case, fault)
    yield from _layout(case, fault)
    yield from _stock(case, fault)
    yield from _work(case, fault)
    where = case.location
    if (where.latitude is None) != (where.longitude is None):
        missing = "longitude" if where.longitude is None else "latitude"
        yield fault(f"location.{missing}", "nothing", "latitude and longitude together", f"add {missing}")
    elif where.latitude is not None and where.datum is None:
        yield fault("location.datum", "nothing", "the datum of the coordinates",
                    'write datum = "WGS 84", or what it is')


def _rows(case: Case, fault) -> Iterator[Fault]:
    for table, keys in _ROWS.items():
        for i, row in enumerate(getattr(case, table)):
            for key in keys:
                if getattr(row, key) is None:
                    yield fault(f"{table}.{i}.{key}", "nothing", f"{', '.join(keys)} of each [[{table}]]", "fill it in")
    for i, k in enumerate(case.keep_out):
        if k.start is not None and k.end is not None and k.start.base > k.end.base:
            yield fault(f"keep_out.{i}.start", units.shown(k.start.written), f"at most end = {k.end.written}",
                        "exchange the two: both are measured downstream from the upstream girth weld")
    if case.keep_out and case.location.from_upstream_weld is None:
        yield fault("location.from_upstream_weld", "nothing", "the distance from the upstream girth weld, from which "
                    "every [[keep_out]] is measured", "add it")


def _distances(case: Case, fault) -> Iterator[Fault]:
    """Both distances and the defect make up the joint; the nearest weld is not nearer than the weld of the joint."""
    where, d = case.location, case.defect
    whole, up, down = where.joint_length, where.from_upstream_weld, where.from_downstream_weld
    if whole is not None and up is not None and d.length is not None and d.length.base <= _LONGEST:
        rest = whole.base - up.base - d.length.base
        if rest < 0:
            yield fault("location.from_upstream_weld", units.shown(up.written),
                        f"less than joint_length = {whole.written} by the length of the defect",
                        "check the lengths; a defect across a girth weld is measured in the joint that it begins in")
        elif down is not None and abs(rest - down.base) > _SLIP * whole.base:
            yield fault("location.from_downstream_weld", units.shown(down.written),
                        f"{units.show(rest, 'mm')}, what joint_length, from_upstream_weld and the defect leave, "
                        f"within {_SLIP:.0%} of the joint", "measure again: this may be another joint")
    for side, given in (("upstream", up), ("downstream", down)):
        clear = getattr(d, f"clear_{side}")
        if clear is not None and given is not None and clear.base > given.base + 1:
            yield fault(f"defect.clear_{side}", units.shown(clear.written), f"at most location.from_{side}_weld = "
                        f"{given.written}: that girth weld is the nearest weld, or something is nearer",
                        "check both distances")
    points = ("first_point_log", "first_point_survey", "second_point_log", "second_point_survey")
    stated = [p for p in points if getattr(where, p) is not None]
    if stated and len(stated) < 4:
        missing = next(p for p in points if p not in stated)
        yield fault(f"location.{missing}", "nothing", "both reference points in the log and in the survey",
                    "state all four, or none")
    if len(stated) == 4:
        a, b = where.first_point_log.base, where.second_point_log.base
        s, e = where.first_point_survey.base, where.second_point_survey.base
        if b <= a or e <= s or not 0.8 <= (e - s) / (b - a) <= 1.25:
            yield fault("location.second_point_survey", units.shown(where.second_point_survey.written),
                        "distances that grow from the first point to the second, alike in log and survey within 25 %",
                        "check which is which, and the units")
        log = where.log_distance
        if log is not None and not a <= log.base <= b:
            yield fault("location.log_distance", units.shown(log.written), "a distance between the two reference "
                        "points", "take the reference points on both sides of the defect")


def _layout(case: Case, fault) -> Iterator[Fault]:
    seen: dict[str, str] = {}
    for i, place in enumerate(_PLACES):
        word = getattr(case.layout, place)
        if word is None:
            continue
        if word in seen:
            yield fault(f"layout.{place}", f"'{word}' again", f"each of {', '.join(OBJECTIVES)} once",
                        f"it stands in {seen[word]} already")
        elif i and getattr(case.layout, _PLACES[i - 1]) is None:
            yield fault(f"layout.{place}", f"'{word}'", f"{_PLACES[i - 1]} before {place}", "move it up")
        seen[str(word)] = place
    if case.layout.from_stock == "yes" and not any(s.item in ("unit", "cloth") for s in case.stock):
        yield fault("layout.from_stock", "'yes'", "[[stock]] with units, from which to choose", "list the stock, or "
                    "write no")


def _stock(case: Case, fault) -> Iterator[Fault]:
    for i, s in enumerate(case.stock):
        if s.item in ("unit", "cloth") and s.width is None:
            yield fault(f"stock.{i}.width", "nothing", "the width of each unit or cloth", "add it")
        if s.item == "unit" and s.diameter is None:
            yield fault(f"stock.{i}.diameter", "nothing", "the outside diameter that the sleeves are made for",
                        "add it")
        parts = ("storage_limit", "excursion_temperature", "excursion_time")
        given = [p for p in parts if getattr(s, p) is not None]
        if given and len(given) < 3 and given != ["storage_limit"]:
            missing = next(p for p in parts if p not in given)
            yield fault(f"stock.{i}.{missing}", "nothing", "limit, temperature and time of a storage excursion "
                        "together", f"add {missing}")
        if len(given) == 3 and s.excursion_temperature.base <= s.storage_limit.base:
            yield fault(f"stock.{i}.excursion_temperature", units.shown(s.excursion_temperature.written),
                        f"more than storage_limit = {s.storage_limit.written}", "remove it where there was none")
        for name, items in misplaced(s):
            yield fault(f"stock.{i}.{name}", f"{units.shown(getattr(s, name).written)} of {s.item}",
                        f"{name} of {items}", "remove it, or correct the item")
    rows = [(s.item, s.batch, s.system, *(_base(getattr(s, n)) for n in ("width", "diameter", "layers", "pack")))
            for s in case.stock]
    for i, row in enumerate(rows):
        if row in rows[:i]:
            yield fault(f"stock.{i}.batch", f"'{row[1]}' again", "one row for each item, width and batch",
                        "add the counts in one row")


def _work(case: Case, fault) -> Iterator[Fault]:
    w = case.work
    for low, high in (("air_low", "air_high"), ("steel_low", "steel_high")):
        a, b = getattr(w, low), getattr(w, high)
        if a is not None and b is not None and a.base > b.base:
            yield fault(f"work.{low}", units.shown(a.written), f"at most {high} = {b.written}", "check which is which")
    if w.forecast is not None and w.planned_start is None:
        yield fault("work.planned_start", "nothing", "the planned start, with a forecast", "add it")
    if w.holiday_standard is not None and w.coating_thickness is None:
        yield fault("work.coating_thickness", "nothing", "the dry thickness of the coating, on which the voltage of "
                    "the holiday test rests", "add it")


def _base(given: Given | None) -> float | None:
    return None if given is None else given.base

"""CAMPAIGN.toml: which listing, what is dug and what is left, what was measured, what is in stock, how it is dug."""

# mypy cannot read annotations made by calls; pydantic can, and the tests read every field.
# mypy: disable-error-code="valid-type"

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, ValidationError

from wrapcalc import units
from wrapcalc.case.model import YES_NO
from wrapcalc.case.site_model import PACKED, Stock, misplaced
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.fields import (
    Choices,
    Day,
    FieldFault,
    Sheet,
    Text,
    ask,
    choice,
    examine,
    lookup,
    quantity,
    suggest,
    tables,
)
from wrapcalc.reading import line_numbers, read_toml, shown_name

#: What the screening says of a row, and a user may select by.
DISPOSITIONS = ("no repair needed", "reduce pressure and monitor", "repair", "other repair needed",
                "insufficient data")
#: What is dug when [select] names no rule: nothing that asks for a repair is left by silence.
REPAIRS = ("repair", "other repair needed")
#: Fields of [select] that are a rule; `most` only cuts what they give.
RULES = ("deadline_within", "repair_factor_above", "safe_pressure_below", "depth_above", "dispositions")
MOST_LISTED = 10_000


def _listed(raw: Any, what: str, most: int) -> list:
    if not isinstance(raw, (list, tuple)) or len(raw) > most:
        raise FieldFault(units.shown(raw), f"a list of at most {most} {what}", "write [ ... ] with commas")
    return list(raw)


def words(*options: str) -> Any:
    """Type of a field that holds a list of these words; () when it is empty."""
    def read(raw: Any) -> tuple[str, ...]:
        if raw is None or raw == "":
            return ()
        for item in _listed(raw, "words", len(options)):
            if item not in options:
                raise FieldFault(units.shown(item), ", ".join(options), suggest(item, options, "choose one of them"))
        return tuple(dict.fromkeys(raw))
    return Annotated[tuple[str, ...], BeforeValidator(read), Choices(options)]


class _OneDay(Sheet):
    day: Day = None


def _days(raw: Any) -> tuple[str, ...]:
    """A list of days as year-month-day, in order."""
    if raw is None or raw == "":
        return ()
    try:
        read = [_OneDay(day=item).day for item in _listed(raw, "days", 400)]
    except ValidationError as e:
        raise e.errors()[0]["ctx"]["error"] from None
    if None in read:
        raise FieldFault("a blank day", "days such as \"2026-08-31\"", "fill it in or remove it")
    return tuple(sorted(set(map(str, read))))


class Identity(Sheet):
    """[campaign]"""

    name: Text = ask("Name of the campaign", example='"season of 2026"', default=...)
    listing: Text = ask("Inspection listing: CSV, XLSX or Parquet", example='"listing.csv"', default=...)
    mapping: Text = ask("Mapping file: what the columns of the listing are, and what line it is",
                        example='"mapping.toml"', default=...)
    known_repairs: Text = ask("Folder with packages and register of earlier repairs: what is there is not dug again",
                         need="", example='"packages"')
    prepared_by: Text = ask("Who prepared the campaign and its cases", need="", example='"A. Engineer"')
    display: choice("SI", "US") = ask("Units of what is printed: SI or US (customary)", need="", example='"SI"')
    paper: choice("A4", "Letter") = ask("Paper of what is printed", need="", example='"A4"')
    discovery_date: Day = ask("Day on which the conditions were discovered: the deadlines run from it", need="",
                              example='"2026-06-30"')


class Screening(Sheet):
    """[screening] what is worked out for every row besides strength, disposition and first-pass wrap"""

    life: choice(*YES_NO) = ask("Remaining life of every row", need="", example='"yes"')
    chance: choice(*YES_NO) = ask("Probability of exceedance of every row", need="", example='"yes"')


class Select(Sheet):
    """[select] what is dug: every row that meets one of the rules. Without a rule, all that ask for a repair"""

    deadline_within: quantity("time", above=0, most=24 * 3660) = ask(
        "Rows whose deadline is within", need="", example='"365 d"')
    repair_factor_above: quantity("number", above=0, most=100) = ask(
        "Rows whose repair factor (MAOP over safe pressure) is above", need="", example="1.0")
    safe_pressure_below: quantity("gauge pressure", above=0, most=100) = ask(
        "Rows whose safe pressure is below", need="", example='"8.2 MPa"')
    depth_above: quantity("percentage", above=0, most=1) = ask(
        "Rows whose depth, allowance and all, is above this share of the wall", need="", example='"60 %"')
    dispositions: words(*DISPOSITIONS) = ask(
        "Rows of these dispositions", need="", example='["repair", "other repair needed"]', default=())
    most: quantity("count", least=1, most=MOST_LISTED) = ask(
        "At most so many repairs by the rules, the first of the ranking; those of [[add]] come on top", need="",
        example="40")


_ROW = quantity("count", least=1, most=2**53)
_WHICH_ROW = "Row of the listing, where several rows have this id"


class Added(Sheet):
    """[[add]] a feature that is dug whatever the rules say"""

    id: Text = ask("Feature id as in the listing", example='"F00418"')
    row: _ROW = ask(_WHICH_ROW, need="", example="419")
    reason: Text = ask("Why it is dug", example='"beside F00417, one trench"')


class Left(Sheet):
    """[[leave]] a feature that is not dug in this campaign, whatever the rules say"""

    id: Text = ask("Feature id as in the listing", example='"F00951"')
    row: _ROW = ask(_WHICH_ROW, need="", example="952")
    reason: Text = ask("Why it is left", example='"pipe is replaced in autumn, project 12"')
    by: Text = ask("Who decided that", example='"A. Engineer"')


class MeasuredFile(Sheet):
    """[measured] what was measured in the ditch; it goes before the listing, both are kept"""

    file: Text = ask("Field measurements: CSV file beside this file", need="", example='"field.csv"')


class Bias(Sheet):
    """[bias] of the run against the field depths"""

    carry: choice(*YES_NO) = ask("Is the bias of the run carried as an allowance? Without a word no", need="",
                                 example='"yes"')
    reason: Text = ask("Why it is carried, or not", need="", example='"the run reads shallow in this joint type"')


class Dig(Sheet):
    """[dig] what the dig list reckons with"""

    start: Day = ask("First day of work", need="", example='"2026-08-03"')
    crews: quantity("count", least=1, most=100) = ask("Crews at work", need="", example="2")
    hours_per_day: quantity("time", above=0, most=24) = ask("Working hours in a day", need="", example='"10 h"')
    working_days: words("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun") = ask(
        "Days of the week on which work is done", need="", example='["Mon", "Tue", "Wed", "Thu", "Fri"]', default=())
    days_off: Annotated[tuple[str, ...], BeforeValidator(_days)] = ask(
        "Days without work", need="", example='["2026-08-31"]', default=())
    hours_dig_per_m3: quantity("time", least=0, most=100) = ask(
        "Time to dig and fill again, for each cubic metre of trench", need="", example='"0.4 h"')
    hours_per_unit: quantity("time", least=0, most=100) = ask("Time to lay one unit", need="", example='"0.5 h"')
    hours_fixed: quantity("time", least=0, most=1000) = ask(
        "Time at each site for all the rest: strip, blast, measure, coat", need="", example='"16 h"')


class Order(Sheet):
    """[order]"""

    spare_confidence: quantity("percentage", least=0.5, most=0.9999) = ask(
        "How sure the pooled order is to be that its spares suffice", need="", example='"95 %"')


class Campaign(Sheet):
    """What is asked of a campaign. Every table but [campaign] may be missing."""

    schema_version: choice("1", required=True) = ask("Version of this file format", need="", example='"1"', default=...)
    campaign: Identity
    screening: Screening = Screening()
    select: Select = Select()
    add: tables("add", Added, MOST_LISTED) = ()
    leave: tables("leave", Left, MOST_LISTED) = ()
    measured: MeasuredFile = MeasuredFile()
    bias: Bias = Bias()
    stock: tables("stock", Stock, MOST_LISTED) = ()
    dig: Dig = Dig()
    order: Order = Order()


@dataclass(frozen=True)
class Plan:
    """A campaign file that was read and checked. Paths: beside the file, or where it says; None when not named."""

    sheet: Campaign
    path: Path
    raw: bytes
    listing: Path
    mapping: Path
    known_repairs: Path | None
    measured: Path | None

    @property
    def sha256(self) -> str:
        """Hex SHA-256 of the file."""
        return hashlib.sha256(self.raw).hexdigest()

    @property
    def display(self) -> str:
        """"SI" or "US"."""
        return str(self.sheet.campaign.display or "SI")


_STAND_IN = {"schema_version": "1", "campaign": {"name": "faulty", "listing": "-", "mapping": "-"}}


def load_campaign(path: Path) -> Plan:
    """Read and check a campaign file. Raises CaseFaults with every fault of it, also of files that are not there."""
    name = shown_name(path)
    data, raw = read_toml(path)
    sheet, faults = examine(Campaign, data, raw, name, _STAND_IN)
    if sheet is None:
        raise CaseFaults(faults)
    lines = line_numbers(raw)
    told = {f.field for f in faults}
    faults += [f for f in (*_contradictions(sheet, name, lines), *_absent(sheet, path.parent, name, lines))
               if f.field not in told]
    if faults:
        raise CaseFaults(sorted(faults, key=lambda f: f.line or 0))

    def beside(stated: str | None) -> Path | None:
        return path.parent / stated if stated else None
    c = sheet.campaign
    return Plan(sheet, path, raw, path.parent / c.listing, path.parent / c.mapping, beside(c.known_repairs),
                beside(sheet.measured.file))


def _contradictions(sheet: Campaign, name: str, lines: dict[str, int]) -> Iterator[Fault]:
    """Faults that need more than one field, and texts that may not be blank."""
    def fault(field: str, found: str, allowed: str, mend: str) -> Fault:
        return Fault(name, field, found, allowed, mend, lines.get(field) or lines.get(field.rpartition(".")[0]))

    seen: dict[str, dict[int | None, str]] = {}
    for table, rows, wanted in (("add", sheet.add, Added), ("leave", sheet.leave, Left)):
        for i, row in enumerate(rows):
            for key, info in wanted.model_fields.items():
                if getattr(row, key) is None and key != "row":
                    yield fault(f"{table}.{i}.{key}", "nothing", str(info.description),
                                f"add {key} = {info.json_schema_extra['example']}")
            number, before = row_of(row), seen.setdefault(row.id or "", {})
            again = next((at for n, at in before.items() if n == number or None in (n, number)), "")
            if again and row.id is not None:
                yield fault(f"{table}.{i}.id", f"'{row.id}' again, which stands in {again}",
                            "each feature once, to be added or to be left", "remove one of the two, or state the row "
                            "of each")
            before.setdefault(number, f"{table}.{i}")
    yield from _shelf(sheet.stock, fault)
    if sheet.bias.carry is not None and sheet.bias.reason is None:
        yield fault("bias.reason", "nothing", "a text", f"say why carry = \"{sheet.bias.carry}\" was chosen")
    if sheet.bias.carry == "yes" and not sheet.measured.file:
        yield fault("bias.carry", "'yes'", "no, unless [measured] names field measurements: bias is known from them",
                    'add file = "field.csv" under [measured], or write carry = "no"')


def row_of(named: Added | Left) -> int | None:
    """The row of the listing that stands beside an id; None when none is stated."""
    return None if named.row is None else int(named.row.base)


def _shelf(stock: Sequence[Stock], fault: Callable[[str, str, str, str], Fault]) -> Iterator[Fault]:
    """What a row of the shelf lacks, and rows that say the same batch twice; as for the stock of a case."""
    seen: dict[tuple, int] = {}
    for i, s in enumerate(stock):
        for key in lacking(s):
            info = Stock.model_fields[key]
            yield fault(f"stock.{i}.{key}", "nothing", f"{info.description}", f"add {key} = "
                        f"{info.json_schema_extra['example']}, or remove this [[stock]]")
        limit, warm = s.storage_limit, s.excursion_temperature
        if limit is not None and warm is not None and warm.base <= limit.base:
            yield fault(f"stock.{i}.excursion_temperature", units.shown(warm.written),
                        f"more than storage_limit = {limit.written}", "remove it where there was none")
        for key, items in misplaced(s):
            yield fault(f"stock.{i}.{key}", f"{units.shown(getattr(s, key).written)} of {s.item}", f"{key} of {items}",
                        "remove it, or correct the item")
        row = (s.item, s.batch, s.system, *(None if given is None else given.base
                                            for given in (s.width, s.diameter, s.layers, s.pack)))
        if None in (s.item, s.batch):
            continue
        if row in seen:
            yield fault(f"stock.{i}.batch", f"'{s.batch}' again, which stands in stock.{seen[row]}",
                        "one row for each item, width, diameter and batch", "add the counts in one row")
        seen.setdefault(row, i)


def lacking(s: Stock) -> list[str]:
    """Fields that a row of the shelf has to state and does not."""
    wanted = ["item", "count", "batch", "expiry"]
    wanted += ["width"] * (s.item in ("unit", "cloth")) + ["diameter"] * (s.item == "unit")
    if s.excursion_time is not None or s.excursion_temperature is not None:
        wanted += ["storage_limit", "excursion_temperature", "excursion_time"]
    return [key for key in wanted if getattr(s, key) is None]


def unproven(s: Stock) -> list[str]:
    """What a row of the shelf does not state and without which nobody knows that it is what the sites need."""
    wanted = ["system"] + ["layers"] * (s.item == "unit") + ["pack"] * (s.item in PACKED)
    return [key for key in wanted if getattr(s, key) is None]


def _absent(sheet: Campaign, folder: Path, name: str, lines: dict[str, int]) -> Iterator[Fault]:
    """Files and folders that the campaign names and that are not there."""
    for field, is_there, what in (
            ("campaign.name", None, "a name"), ("campaign.listing", Path.is_file, "a file"),
            ("campaign.mapping", Path.is_file, "a file"), ("campaign.known_repairs", Path.is_dir, "a folder"),
            ("measured.file", Path.is_file, "a file")):
        stated = lookup(sheet, field)
        if stated is None:
            if field in ("campaign.name", "campaign.listing", "campaign.mapping"):
                yield Fault(name, field, "nothing", what, "fill it in", lines.get(field))
        elif is_there and not is_there(folder / stated):
            yield Fault(name, field, units.shown(stated), f"{what} that is there, beside this file or by its full path",
                        "check the name and the folder", lines.get(field))

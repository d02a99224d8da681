"""What a crew reads and notes while a wrap is laid: one row for each reading, in a CSV file or a workbook.

The words in the column `what` are a closed list (`WHATS`), so that nothing is overlooked because it was called by
another name. Rows without a reading are blanks of the template: they say nothing. What is missing is told by the
close-out, which knows the repair; here every row is judged by itself.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from wrapcalc import units
from wrapcalc.case.csv_table import Row, counted, read_rows
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.fields import FieldFault, Given, read_text, suggest
from wrapcalc.people import checked_name, person_key
from wrapcalc.reading import read_bytes, shown_name

COLUMNS = ("row", "what", "where", "reading", "time", "by", "instrument", "remark")
#: Columns of the template that only help: they are not read.
HELP_COLUMNS = ("limit", "how")
MAX_BYTES = 5_000_000
YES_NO, TEXT, NAME, CLOCK, DATE, EVENT = "yes/no", "text", "name", "clock", "date", "event"
#: A hold point that the job may do without: then somebody says so by name, with a reason.
DONE, NONE = "done", "none"
#: The words that a reading of these kinds can be.
ANSWERS = {YES_NO: ("yes", "no"), EVENT: ("yes",), DONE: ("yes", "no", NONE)}
#: A remark that begins with this word says that a reading that looks odd was looked at again.
CONFIRMED = "confirmed"
#: What is read on the pipe by somebody with something: a forecast or a plan has neither.
_BY_HAND = ("line pressure", "steel temperature", "hardness")
#: What counts only with a name: what that person did.
_BY_NAME = {"layers counted": "counted", "accepted deviation": "accepts it", "least wall for blasting": "laid it down"}
_NOT_THE_PIPE = re.compile(r"\b(?:forecast\w*|weather\w*|air|ambient|plan|planned|estimat\w*|assum\w*)\b", re.I)
#: Of these one alone can be: a second answer at another time would hide the first.
_ONCE = ("correction", "prepared steel, upstream end", "prepared steel, downstream end", "circumference before",
         "circumference after", "upstream side of unit", "downstream side of unit", "wrap start clock",
         "wrap end off its mark", "resin in mix", "hardener in mix", "mixing started", "material placed")
#: Offsets from UTC end at 14 h on either side, and those of one job differ by summer time at most.
_OFFSET_MOST, _OFFSETS_APART = datetime.timedelta(hours=14), datetime.timedelta(hours=1)
_MOMENT = r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d(?:\.\d{1,6})?)?(?:Z|[+-]\d\d:[0-5]\d)?"
_MATERIAL = r"(?:adhesive|filler|primer|end seal)"
#: Form of the column `where`: pattern, and an example for the message. An empty pattern: any text, or none.
PLACES = {
    "": (r".*", "any place, or nothing"),
    "unit": (r"unit [1-9][0-9]?", '"unit 1"'),
    "edge": (r"unit [1-9][0-9]?, (?:upstream|downstream) edge", '"unit 1, upstream edge"'),
    "joint": (r"unit [1-9][0-9]? to unit [1-9][0-9]?", '"unit 1 to unit 2"'),
    "material": (rf"(?:{_MATERIAL}|cloth|unit [1-9][0-9]?)", '"adhesive", "filler", "cloth" or "unit 1"'),
    "batch": (rf"(?:{_MATERIAL}|cloth|unit [1-9][0-9]?): .+", '"adhesive: A-2219", material and batch'),
    "mix": (rf"{_MATERIAL}, mix [1-9][0-9]?", '"adhesive, mix 1"'),
    "ends": (r"(?:ends|elsewhere)(?:, .+)?", '"ends", "elsewhere", or "elsewhere, 4:30"'),
    "number": (r".+-[Nn][1-9][0-9]{0,2}", '"HB-07-r1-N1", the number of a non-conformance'),
    "spot": (r".+", "the place, such as \"upstream, 6:00\""),
}


@dataclass(frozen=True, slots=True)
class What:
    """One kind of reading. kind: of units, or one of the words above; where: form of the column; timed: needs a time;
    least, most: what can be read at all, in the unit we calculate in; how: for the template."""

    name: str
    kind: str
    where: str = ""
    timed: bool = False
    least: float | None = None
    most: float | None = None
    how: str = ""


LAMINATE = ("cracks", "foreign matter or blisters", "wrinkles or steps", "pinholes through the rich resin",
            "uneven colour", "fibres not as designed", "dry or bare fibres", "cut plies or bare edges")
_DONE = "by: who saw it; none: who says so, and why in the remark"
WHATS: dict[str, What] = {w.name: w for w in (
    What("package", TEXT, how="name of the package, as at the foot of every page"),
    What("record", TEXT, how="first 12 signs of the digest of the record, as at the foot of every page"),
    What("correction", TEXT, how="reason, when a close-out that was made already is corrected"),
    What("installer", NAME, how="who fills and wraps; number of the certificate in the remark"),
    What("line pressure", "gauge pressure", timed=True, least=0, most=200, how="at the named source; before, while and "
         "until released"),
    What("air temperature", "temperature", timed=True, least=-60, most=60, how="in the shade, at the pipe"),
    What("relative humidity", "percentage", timed=True, least=0.02, most=1, how="at the pipe, with each "
         "air temperature"),
    What("steel temperature", "temperature", timed=True, least=-60, most=150, how="coldest place, most often 6:00; "
         "logged until cured"),
    What("wall under blasting", "length", "spot", least=0, most=100, how="least wall, before blasting under pressure"),
    What("least wall for blasting", "length", least=0, most=100, how="where the case states none: laid down by the "
         "engineer, whose name stands in `by`"),
    What("blast finished", EVENT, timed=True, how="yes, with the time at which the oldest area was finished"),
    What("blast grade", YES_NO, how="yes: the whole area is of the grade of the limit"),
    What("blast profile", "length", "spot", True, least=0, most=1, how="replica tape, film taken off"),
    What("soluble salt", "salt", "spot", True, least=0, most=10000, how="salt and method as in the limit"),
    What("dust rating", "count", "spot", least=0, most=5, how="tape, ISO 8502-3"),
    What("rust bloom", YES_NO, timed=True, how="looked for right before the first material; yes: blast again"),
    What("prepared steel, upstream end", "length", least=-3e4, most=3e4, how="from the upstream girth weld"),
    What("prepared steel, downstream end", "length", least=-3e4, most=3e4, how="from the upstream girth weld"),
    What("batch", TEXT, "material", how="number on the label"),
    What("expiry", DATE, "batch", how="year-month-day, from the label"),
    What("resin in mix", "mass", "mix", least=0, most=1000, how="weighed, before the hardener"),
    What("hardener in mix", "mass", "mix", least=0, most=1000, how="weighed"),
    What("mixing started", EVENT, "mix", True, how="yes, with the time at which both parts met"),
    What("material placed", EVENT, "mix", True, how="yes, with the time at which the last of this mix lay in place"),
    What("circumference before", "length", "unit", least=0, most=1e4, how="steel tape at the middle of the unit, over "
         "filler"),
    What("circumference after", "length", "unit", least=0, most=1e4, how="at the same place, over the wrap"),
    What("layers counted", "count", "edge", least=0, most=200, how="at this edge; two people, each by himself"),
    What("upstream side of unit", "length", "unit", least=-3e4, most=3e4, how="from the upstream girth weld"),
    What("downstream side of unit", "length", "unit", least=-3e4, most=3e4, how="from the upstream girth weld"),
    What("wrap start clock", CLOCK, "unit", how="facing downstream"),
    What("wrap end off its mark", "length", "unit", least=0, most=1e4, how="around the pipe, either way"),
    What("joint gap", "length", "joint", least=0, most=1000, how="widest place"),
    What("carbon kept off the steel", DONE, how="yes: the isolating layer is whole over the bonded area and at both "
         f"ends; {_DONE}, such as a laminate without carbon"),
    What("hardness", "number", "spot", True, least=0, most=100, how="coldest side, upstream end and downstream end in "
         "`where`; scale of the limit in `instrument` or `remark`"),
    What("tap test", YES_NO, timed=True, how="yes: the whole wrap was tapped on the grid of the limit"),
    What("dull area", "area", "ends", least=0, most=100, how="each area that sounds dull; 0 m2 where there is none"),
    *(What(f"laminate: {x}", YES_NO, how="yes: there is more of it than the limit") for x in LAMINATE),
    What("end seal", YES_NO, how="yes: both ends are sealed all around"),
    What("coating thickness", "length", "spot", least=0, most=50, how="dry"),
    What("holiday test voltage", "voltage", timed=True, least=0, most=1e5, how="as set on the detector"),
    What("holidays found", "count", timed=True, least=0, most=10000, how="after repair of the coating: found in "
         "the last test"),
    What("magnetic markers", DONE, how=f"yes: at both ends; {_DONE}"),
    What("cathodic protection", DONE, how=f"yes: reconnected and measured; {_DONE}"),
    What("leak or pressure test", DONE, how="yes: held without a leak, nobody in the trench, with its time and in the "
         f"remark the pressure; {_DONE}"),
    What("pressure released by", NAME, timed=True, how="who gave the written release, and when"),
    What("accepted by", NAME, timed=True, how="who accepts the repair, and when; not the installer"),
    What("accepted deviation", TEXT, "number", how="reading: title of the non-conformance; by: who; remark: reason"),
    What("photo", TEXT, how="name of the file"),
)}
#: Of these several may stand at one place: they differ by what they say.
_SEVERAL = ("batch", "photo", "installer")
_BARE = {YES_NO, TEXT, NAME, CLOCK, DATE, EVENT, DONE}
_EXAMPLES = {"gauge pressure": "2.0 MPa", "temperature": "15.8 °C", "percentage": "72 %", "length": "76 µm",
             "salt": "14 mg/m2", "mass": "1.74 kg", "area": "0.01 m2", "voltage": "7.9 kV", "count": "11",
             "number": "78"}


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading. line: of the file; row: as the template numbers it; text: as written; given: a quantity or number;
    time: with its offset, None where none is needed; yes: of a yes or no."""

    line: int
    row: str
    what: str
    where: str
    text: str
    given: Given | None
    time: datetime.datetime | None
    by: str = ""
    instrument: str = ""
    remark: str = ""

    @property
    def yes(self) -> bool:
        """Whether the answer is yes."""
        return self.text == "yes"

    @property
    def confirmed(self) -> bool:
        """Whether the remark begins with the word that says so; "not confirmed" and "to be confirmed" do not."""
        return re.match(rf"{CONFIRMED}\b(?!\s*\?)", self.remark, re.I) is not None

    @property
    def base(self) -> float:
        """The magnitude in the unit we calculate in."""
        assert self.given is not None
        return self.given.base


@dataclass(frozen=True)
class Readings:
    """All readings of one file, in its order. name: of the file; raw: its bytes as read."""

    name: str
    raw: bytes
    rows: tuple[Reading, ...]

    def of(self, what: str, where: str = "") -> tuple[Reading, ...]:
        """The readings of one kind; where: that place alone."""
        return tuple(r for r in self.rows if r.what == what and (not where or r.where == where))

    def one(self, what: str, where: str = "") -> Reading | None:
        """The last of them in the file; None without one."""
        return next(reversed(self.of(what, where)), None)

    def fault(self, r: Reading, column: str, found: str, allowed: str, mend: str) -> Fault:
        """A fault of one cell of this file."""
        return Fault(self.name, column, found, allowed, mend, r.line)


def read_readings(path: Path) -> Readings:
    """Read a file of readings, CSV or XLSX. Raises CaseFaults with every fault of it."""
    name = shown_name(path)
    raw = read_bytes(path, name, most=MAX_BYTES)
    if path.suffix.casefold() in (".xlsx", ".xlsm", ".xls", ".ods"):
        from wrapcalc.case.readings_workbook import workbook_rows
        rows = workbook_rows(raw, name)
    else:
        rows = read_rows(raw, name, "a table of readings with the columns " + ", ".join(COLUMNS),
                         "start from readings-template.csv of the package")
    return parse_rows(rows, raw, name)


def parse_rows(rows: list[Row], raw: bytes, name: str) -> Readings:
    """The rows of a table, the heading first, as readings. Raises CaseFaults with every fault."""
    columns, faults = _columns(rows[0], name)
    if faults:
        raise CaseFaults(faults)
    readings: list[Reading] = []
    for line, cells in rows[1:]:
        if len(cells) > len(columns) and any(c.strip() for c in cells[len(columns):]):
            faults.append(Fault(name, "the row", f"{len(cells)} cells", f"{len(columns)}, as the heading names",
                                "put a text that holds a comma in quotation marks", line))
            continue
        cell = {c: " ".join(cells[i].split()) if i < len(cells) else "" for i, c in enumerate(columns)}
        try:
            one = _reading(line, cell, name)
        except CaseFaults as e:
            faults += e.faults
            continue
        if one is not None:
            readings.append(one)
    faults += _twice(readings, name)
    faults += _offsets(readings, name)
    if not readings and not faults:
        faults.append(Fault(name, "the file", "no reading", "at least one row with a reading", "fill in the template"))
    if faults:
        raise CaseFaults(counted(sorted(faults, key=lambda f: f.line or 0), name))
    return Readings(name, raw, tuple(readings))


def _columns(heading: Row, name: str) -> tuple[list[str], list[Fault]]:
    line, cells = heading
    columns = [" ".join(c.split()).casefold() for c in cells]
    while columns and not columns[-1]:
        columns.pop()
    known = (*COLUMNS, *HELP_COLUMNS)
    faults = [Fault(name, "the heading", units.shown(c) if c else "a column without a name", ", ".join(known),
                    suggest(c, known, "remove the column, or give it its name from the template"), line)
              for c in columns if c not in known]
    faults += [Fault(name, "the heading", f"'{c}' {columns.count(c)} times", "each column once", "remove one", line)
               for c in dict.fromkeys(columns) if c in known and columns.count(c) > 1]
    faults += [Fault(name, "the heading", f"no column '{c}'", ", ".join(COLUMNS), "add the column, even if it is empty",
                     line) for c in COLUMNS if c not in columns]
    return columns, faults


def _reading(line: int, cell: dict[str, str], name: str) -> Reading | None:
    """One row; None when it is a blank of the template. Raises CaseFaults."""
    faults: list[Fault] = []

    def fault(column: str, found: str, allowed: str, mend: str) -> None:
        faults.append(Fault(name, column, found, allowed, mend, line))

    for column in COLUMNS:
        try:
            read_text(cell[column])
        except FieldFault as e:
            fault(column, e.found, e.allowed, e.mend)
    if faults:
        raise CaseFaults(faults)
    word = cell["what"].casefold()
    what = WHATS.get(word)
    if what is None:
        if not any(cell[c] for c in ("what", "reading", "time", "by")):
            return None
        fault("what", units.shown(cell["what"]) if word else "nothing", "one of the words of the template",
              suggest(word, WHATS, "take the word from readings-template.csv of the package"))
        raise CaseFaults(faults)
    if not cell["reading"]:
        if cell["time"] or cell["by"]:
            fault("reading", "nothing, although time or by is filled in", _allowed(what),
                  "fill in the reading, or empty the row")
            raise CaseFaults(faults)
        return None
    text, given = cell["reading"], None
    try:
        text, given = _value(what, cell["reading"])
    except FieldFault as e:
        fault("reading", f"{e.found} for {what.name}", e.allowed, e.mend)
    pattern, example = PLACES[what.where]
    where = cell["where"].casefold() if what.where not in ("", "spot", "batch", "number") else cell["where"]
    if not re.fullmatch(pattern, where):
        fault("where", units.shown(where) if where else "nothing", example, "write it as the template does")
    moment = None
    if cell["time"]:
        try:
            moment = _time(cell["time"])
        except FieldFault as e:
            fault("time", e.found, e.allowed, e.mend)
    elif what.timed:
        fault("time", "nothing", "date and time of day with the offset from UTC",
              "write it like 2026-05-14T07:30+01:00")
    if (what.name in _BY_NAME or what.kind == DONE) and not cell["by"]:
        fault("by", "nothing", "a name", f"write who {_BY_NAME.get(what.name, 'saw it, or says that it is not done')}")
    elif cell["by"]:
        try:
            cell["by"] = checked_name(cell["by"])
        except FieldFault as e:
            fault("by", e.found, e.allowed, e.mend)
    if what.name in _BY_HAND:
        for column, wanted in (("by", "the name of who read it"), ("instrument", "the instrument")):
            if not re.search(r"[^\W_]", cell[column]):
                fault(column, units.shown(cell[column]) if cell[column] else "nothing", wanted,
                      f"write it for each {what.name}: what nobody read with anything proves nothing")
    if what.name == "steel temperature":
        for column in ("where", "instrument"):
            odd = _NOT_THE_PIPE.search(cell[column])
            if odd:
                fault(column, units.shown(cell[column]), f"a place on the steel and a thermometer; '{odd[0]}' is none",
                      "give steel temperatures that were read on the pipe; no forecast or plan takes their place")
    if what.name == "accepted deviation" and not cell["remark"]:
        fault("remark", "nothing", "the reason of the deviation", "write why it may stand")
    if what.kind == DONE and text == NONE and not cell["remark"]:
        fault("remark", "nothing", f"the reason why there is no {what.name}", "write why it is not done")
    if faults:
        raise CaseFaults(faults)
    return Reading(line, cell["row"] or str(line), what.name, where, text, given, moment, cell["by"],
                   cell["instrument"], cell["remark"])


def _allowed(what: What) -> str:
    if what.kind == YES_NO:
        return "yes or no"
    if what.kind == DONE:
        return "yes, no, or none where it is not done"
    if what.kind == EVENT:
        return "yes, with its time"
    if what.kind in _BARE:
        return {TEXT: "a text", NAME: "a name", CLOCK: 'a clock position such as "4:30"',
                DATE: "a date: year-month-day"}[what.kind]
    return f"a {what.kind} such as {_EXAMPLES[what.kind]}"


def _value(what: What, cell: str) -> tuple[str, Given | None]:
    """What stands in the column `reading`: text, and quantity or number. Raises FieldFault."""
    if what.kind in ANSWERS:
        word = cell.casefold()
        if word not in ANSWERS[what.kind]:
            raise FieldFault(units.shown(cell), _allowed(what), "write the word, nothing else")
        return word, None
    if what.kind == CLOCK:
        m = re.fullmatch(r"(\d{1,2}):([0-5]\d)", cell, re.ASCII)
        if m is None or int(m[1]) > 12:
            raise FieldFault(units.shown(cell), "a clock position facing downstream from 0:00 to 12:59",
                             "write 4:30 for half past four")
        return f"{int(m[1]) % 12 or 12}:{m[2]}", None
    if what.kind == DATE:
        try:
            day = datetime.date.fromisoformat(cell)
        except ValueError:
            day = None
        if day is None or not re.fullmatch(r"\d{4}-\d\d-\d\d", cell, re.ASCII) or not 1990 <= day.year <= 2100:
            raise FieldFault(units.shown(cell), "a date from 1990 to 2100: year-month-day", "write it like 2027-02-28")
        return cell, None
    if what.kind == NAME:
        return checked_name(cell), None
    if what.kind in _BARE:
        return cell, None
    bare = not units.KINDS[what.kind].units
    try:
        magnitude, unit = units.parse(_number(cell) if bare else cell, what.kind)
    except units.QuantityFault as e:
        raise FieldFault(e.found, e.allowed, e.mend.replace('"', "")) from None
    given = Given(magnitude, unit, cell, what.kind, "", "measured")
    if (what.least is not None and given.base < what.least) or (what.most is not None and given.base > what.most):
        base, shown_in = units.KINDS[what.kind].base, "percent" if what.kind == "percentage" else ""
        low, high = (units.show(float(units.convert(v, base, shown_in or base)), shown_in or base)
                     for v in (what.least or 0.0, what.most or 0.0))
        raise FieldFault(units.shown(cell), f"{low} to {high}", "check the number and its unit")
    return cell, given


def _number(cell: str) -> float | str:
    """A plain number as one; any other text as it is, which the parser refuses in its own words."""
    return float(cell) if re.fullmatch(r"[+-]?\d+(?:\.\d+)?", cell, re.ASCII) else cell


def _time(cell: str) -> datetime.datetime:
    try:
        moment = datetime.datetime.fromisoformat(cell.replace(" ", "T", 1)) if re.fullmatch(
            _MOMENT, cell, re.ASCII) else None
    except ValueError:
        moment = None
    allowed, mend = "date and time of day with the offset from UTC", "write it like 2026-05-14T07:30+01:00"
    if moment is None or not 1990 <= moment.year <= 2100:
        raise FieldFault(units.shown(cell), allowed, mend)
    if moment.tzinfo is None:
        raise FieldFault(f"{units.shown(cell)}, which has no offset from UTC", allowed, mend)
    if abs(moment.utcoffset() or datetime.timedelta()) > _OFFSET_MOST:
        raise FieldFault(f"{units.shown(cell)}, whose offset no clock has", "an offset from -14:00 to +14:00", mend)
    return moment


def _offsets(readings: list[Reading], name: str) -> Iterator[Fault]:
    """One job is timed by one clock: offsets that differ by more than summer time are a slip."""
    timed = [r for r in readings if r.time is not None]
    if not timed:
        return
    first = timed[0]
    for r in timed:
        if abs(r.time.utcoffset() - first.time.utcoffset()) > _OFFSETS_APART:
            yield Fault(name, "time", f"{r.time.isoformat(timespec='minutes')}, with another offset from UTC than line "
                        f"{first.line}", "offsets within one hour of one another",
                        "write all times with the offset of the place, and check this one", r.line)


def same_name(a: str) -> str:
    """A name as it is compared."""
    return person_key(a)


def _twice(readings: list[Reading], name: str) -> Iterator[Fault]:
    """The same thing read at the same place at the same time must not have two answers."""
    seen: dict[tuple, int] = {}
    rows: dict[str, int] = {}
    for r in readings:
        more = same_name(r.by) if r.what == "layers counted" else r.text if r.what in _SEVERAL else ""
        once = r.what in _ONCE
        where = "" if once and not WHATS[r.what].where else r.where.casefold()
        key = (r.what, where, None if once else r.time, more)
        if key in seen:
            at = f" at {r.where}" if r.where else ""
            yield Fault(name, "the row", f"{r.what}{at} again" + ("" if once else ", with the same time"),
                        f"each reading once; it stands in line {seen[key]} already",
                        "remove the one that is wrong" if once else "remove one, or tell them apart by place or time",
                        r.line)
        seen.setdefault(key, r.line)
        if r.row in rows:
            yield Fault(name, "row", f"number {units.shown(r.row)} again",
                        f"each number once; line {rows[r.row]} has it",
                        "give the added row a number of its own, such as 41a", r.line)
        rows.setdefault(r.row, r.line)

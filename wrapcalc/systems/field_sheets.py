"""Whether what a system sheet says about the work on site is complete and makes sense."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from wrapcalc import units
from wrapcalc.errors import Fault
from wrapcalc.systems.field_model import BANDS, END_SEAL, FIXED, OF_SHARE, PER_PACK, PRIMER, Consumable, Mix, Tool

if TYPE_CHECKING:
    from wrapcalc.systems.model import System


def field_faults(sheet: System, lines: dict[str, int], name: str) -> Iterator[Fault]:
    """Every fault of the tables about mixing, cure, surface, consumables and tools."""
    yield from _materials(sheet, lines, name)
    for i, mix in enumerate(sheet.mix):
        yield from _mix(mix, f"mix.{i}", lines, name)
    cure = sheet.cure_table
    yield from _table("cure_table", "temperatures", cure.temperatures, "times", cure.times, cure.kind, lines, name,
                      falls=True)
    least, coldest = sheet.application.cure_temperature_min, cure.temperatures[:1]
    if least is not None and coldest and coldest[0].base < least.base:
        yield Fault(name, "cure_table.temperatures", units.shown(coldest[0].written),
                    f"none below application.cure_temperature_min = {least.written}, the coldest that was qualified",
                    "correct one of the two", lines.get("cure_table.temperatures"))
    s = sheet.surface
    if s.profile_min is not None and s.profile_max is not None and s.profile_min.base >= s.profile_max.base:
        yield Fault(name, "surface.profile_min", units.shown(s.profile_min.written),
                    f"less than profile_max = {s.profile_max.written}", "correct one of the two",
                    lines.get("surface.profile_min"))
    for table, row in (("consumable", Consumable), ("tool", Tool)):
        for i, r in enumerate(getattr(sheet, table)):
            for key in row.model_fields:
                if getattr(r, key) is None:
                    yield Fault(name, f"{table}.{i}.{key}", "nothing", f"{', '.join(row.model_fields)} of each "
                                f"[[{table}]]", "fill it in", lines.get(f"{table}.{i}"))
    if not sheet.tool:
        yield Fault(name, "tool", "nothing", "at least one [[tool]]", "list what must be in the vehicle",
                    lines.get("tool"))


def _materials(sheet: System, lines: dict[str, int], name: str) -> Iterator[Fault]:
    """One [[mix]] for each material that is mixed, and none for another."""
    wanted = ["adhesive", "filler"]
    wanted += [PRIMER] if sheet.primer.used == "yes" else []
    wanted += [END_SEAL] if sheet.end_seal.used == "yes" else []
    there = [m.material for m in sheet.mix if m.material is not None]
    for material in wanted:
        if there.count(material) != 1:
            found = "nothing" if material not in there else f"{there.count(material)} tables"
            yield Fault(name, "mix", found, f"one [[mix]] with material = \"{material}\"",
                        "add it or remove the others", lines.get("mix"))
    for i, m in enumerate(sheet.mix):
        open_ = {PRIMER: sheet.primer.used, END_SEAL: sheet.end_seal.used}.get(m.material, "")  # not answered yet
        if m.material is not None and m.material not in wanted and open_ is not None:
            yield Fault(name, f"mix.{i}.material", units.shown(m.material), "a material that this system uses: "
                        + ", ".join(wanted), "remove the table, or say that the material is used",
                        lines.get(f"mix.{i}"))
        if m.laid_with not in (None, "alone") and (m.laid_with not in wanted or m.laid_with == m.material):
            yield Fault(name, f"mix.{i}.laid_with", units.shown(m.laid_with),
                        "alone, or another material of this sheet", "correct it",
                        lines.get(f"mix.{i}.laid_with") or lines.get(f"mix.{i}"))


def _mix(mix: Mix, where: str, lines: dict[str, int], name: str) -> Iterator[Fault]:
    line = lines.get(where)
    for key, info in Mix.model_fields.items():
        need = info.json_schema_extra["need"]  # type: ignore[index,call-overload]
        wanted = need == "assess" or need == (PER_PACK if mix.basis == PER_PACK else OF_SHARE)
        if getattr(mix, key) in (None, ()) and wanted:
            yield Fault(name, f"{where}.{key}", "nothing", f"{info.description}, such as "
                        f"{info.json_schema_extra['example']}",  # type: ignore[index,call-overload]
                        "a system sheet is complete or it is not used; fill it in", line)
    other = mix.doses if mix.basis == PER_PACK else mix.pack_doses
    if other:
        yield Fault(name, f"{where}.{'doses' if mix.basis == PER_PACK else 'pack_doses'}", units.shown(other),
                    f"nothing with basis = \"{mix.basis}\"", "remove it, or correct the basis", line)
    doses = mix.pack_doses if mix.basis == PER_PACK else mix.doses
    key = "pack_doses" if mix.basis == PER_PACK else "doses"
    yield from _table(where, "temperatures", mix.temperatures, key, doses, mix.kind, lines, name)
    yield from _table(where, "pot_life_temperatures", mix.pot_life_temperatures, "pot_lives", mix.pot_lives,
                      mix.pot_life_kind, lines, name, falls=True)


def _table(where: str, left: str, temperatures: tuple, right: str, values: tuple, kind: Any, lines: dict[str, int],
           name: str, *, falls: bool = False) -> Iterator[Fault]:
    """Temperatures rise; there are as many values as the kind asks for, all above zero, and times do not rise."""
    if not temperatures or not values or kind is None:
        return
    line = lines.get(f"{where}.{left}") or lines.get(where)
    wanted = {BANDS: len(temperatures) - 1, FIXED: 1}.get(kind, len(temperatures))
    if kind == FIXED and len(temperatures) != 2:
        yield Fault(name, f"{where}.{left}", f"{len(temperatures)} temperatures", "two: the ends of the range in which "
                    "the fixed dose holds", "give both ends", line)
    elif len(values) != wanted or (kind == "points" and len(values) < 2):
        rule = {BANDS: "one value fewer than temperatures, which are the edges of the bands",
                FIXED: "one value"}.get(kind, "as many values as temperatures, at least two")
        yield Fault(name, f"{where}.{right}", f"{len(values)} values for {len(temperatures)} temperatures", rule,
                    "add or remove some", line)
    bases = [t.base for t in temperatures]
    if any(b <= a for a, b in pairwise(bases)):
        yield Fault(name, f"{where}.{left}", ", ".join(t.written for t in temperatures),
                    "rising temperatures, each once", "sort them, with their values", line)
    line = lines.get(f"{where}.{right}") or lines.get(where)
    numbers = [v.base for v in values]
    if any(v <= 0 for v in numbers):
        yield Fault(name, f"{where}.{right}", ", ".join(v.written for v in values), "values above 0", "correct them",
                    line)
    elif falls and any(b > a for a, b in pairwise(numbers)):
        yield Fault(name, f"{where}.{right}", ", ".join(v.written for v in values), "times that do not rise with the "
                    "temperature", "check which time goes with which temperature", line)

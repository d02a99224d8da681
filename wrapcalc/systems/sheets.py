"""Reading a system sheet: complete and consistent, or refused with everything that is wrong."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

from wrapcalc import units
from wrapcalc.errors import CaseFaults, Fault, UnknownItem
from wrapcalc.fields import examine, lookup, walk
from wrapcalc.reading import line_numbers, parse_toml, read_bytes, shown_name
from wrapcalc.systems.field_model import END_SEAL
from wrapcalc.systems.field_sheets import field_faults
from wrapcalc.systems.model import LAYUP, LONG_TERM, SLEEVE, THROUGH, System

_STAND_IN = {"schema_version": "1", "system": {"id": "faulty"}}


def read_system(path: Path, *, shown_as: str | None = None) -> tuple[System, bytes]:
    """A sheet from a file, with its bytes. Raises CaseFaults naming everything wrong or missing."""
    name = shown_as or shown_name(path)
    raw = read_bytes(path, name)
    return _sheet(raw, name), raw


@lru_cache(maxsize=8)  # sheets are frozen, and the cases of a line name the same one a hundred times
def _sheet(raw: bytes, name: str) -> System:
    data = parse_toml(raw, name)
    sheet, faults = examine(System, data, raw, name, _STAND_IN)
    if sheet is not None:
        faulty = {f.field for f in faults}
        lines = line_numbers(raw)
        faults += [f for f in (*_incomplete(sheet, lines, name), *field_faults(sheet, lines, name))
                   if not any(f.field == g or f.field.startswith(f"{g}.") for g in faulty)]
        faults += _inconsistent(sheet, lines, name)
    if faults:
        raise CaseFaults(sorted(faults, key=lambda f: f.line or 0))
    return sheet


_SURVIVAL = ("survival_pressure", "survival_diameter", "survival_wall", "survival_thickness")


def _incomplete(sheet: System, lines: dict[str, int], name: str) -> Iterator[Fault]:
    kind = sheet.system.system_type
    part = {SLEEVE: "sleeve", LAYUP: "lay_up"}
    for dotted, info in walk(System):
        if dotted.partition(".")[0] in ("evidence", "blister", "mix", "consumable", "tool"):
            continue
        need = info.json_schema_extra["need"]
        wanted = (need in ("assess", kind) or (need == "primer" and sheet.primer.used == "yes")
                  or (need == END_SEAL and sheet.end_seal.used == "yes")
                  or (need == LONG_TERM and sheet.long_term is not None)
                  or (need == THROUGH and sheet.through_wall is not None))
        if wanted and lookup(sheet, dotted) in (None, ()):
            yield Fault(name, dotted, "nothing", info.description + f", such as {info.json_schema_extra['example']}",
                        "a system sheet is complete or it is not used; fill it in",
                        lines.get(dotted, lines.get(dotted.partition(".")[0])))
    for k, p in part.items():
        if kind is not None and k != kind and getattr(sheet, p) is not None:
            yield Fault(name, p, f"a table for a {k}", f"no [{p}] for a {kind}", "remove it or correct system_type",
                        lines.get(p))
    if not sheet.evidence:
        yield Fault(name, "evidence", "nothing", "at least one [[evidence]] with covers and reference",
                    "name the test reports", lines.get("evidence"))
    for table, keys in (("evidence", ("covers", "reference")), ("blister", ("hole", "pressure", "thickness"))):
        for i, row in enumerate(getattr(sheet, table)):
            for key in keys:
                if getattr(row, key) is None:
                    yield Fault(name, f"{table}.{i}.{key}", "nothing", f"{', '.join(keys)} of each [[{table}]]",
                                "fill it in", lines.get(f"{table}.{i}"))
    if sheet.long_term is not None:
        missing = [k for k in _SURVIVAL if lookup(sheet, f"long_term.{k}") is None]
        stated = sheet.long_term.strength is not None
        if stated == (not missing) or (stated and len(missing) < len(_SURVIVAL)):
            yield Fault(name, "long_term.strength", "stated" if stated else "nothing",
                        "either the strength, or all of " + ", ".join(_SURVIVAL),
                        "state the strength, or the survival test from which it follows", lines.get("long_term"))


def _inconsistent(sheet: System, lines: dict[str, int], name: str) -> Iterator[Fault]:
    for low, high in (("application.steel_temperature_min", "application.steel_temperature_max"),
                      ("envelope.outside_diameter_min", "envelope.outside_diameter_max"),
                      ("envelope.service_temperature_min", "envelope.service_temperature_max"),
                      ("lay_up.least_layers", "lay_up.most_layers")):
        a, b = lookup(sheet, low), lookup(sheet, high)
        if a is not None and b is not None and a.base > b.base:
            yield Fault(name, low, units.shown(a.written), f"at most {high} = {b.written}", "correct one of the two",
                        lines.get(low))
    around, along, nu = (lookup(sheet, f"laminate.{n}") for n in ("modulus_hoop", "modulus_axial", "poisson_ratio"))
    if around is not None and along is not None and nu is not None and nu.base ** 2 >= around.base / along.base:
        yield Fault(name, "laminate.poisson_ratio", units.shown(nu.written), "less than the root of hoop over axial "
                    f"modulus, {(around.base / along.base) ** 0.5:.3g}", "no material has that; check which direction "
                    "the ratio is for", lines.get("laminate.poisson_ratio"))
    lay_up = sheet.lay_up
    if lay_up is not None and lay_up.band_overlap is not None and lay_up.widths is not None:
        if lay_up.band_overlap.base >= min(w.base for w in lay_up.widths):
            yield Fault(name, "lay_up.band_overlap", units.shown(lay_up.band_overlap.written),
                        "less than the narrowest cloth", "correct the overlap or the widths",
                        lines.get("lay_up.band_overlap"))


def shipped_systems() -> dict[str, Any]:
    """The invented example systems that ship with wrapcalc: id -> file."""
    folder = resources.files("wrapcalc.systems").joinpath("data")
    return {f.name.removesuffix(".toml"): f for f in sorted(folder.iterdir(), key=lambda f: f.name)
            if f.name.endswith(".toml")}


def load_system(name: str, beside: Path, *, packaged: bool = False) -> tuple[System, bytes, str]:
    """The system a case names: a file (ends in .toml, beside the case) or a shipped one.

    packaged: the case stands in a package, which carries its own copy of a shipped sheet; that copy is read.

    Returns sheet, bytes and file name. Raises CaseFaults for a bad sheet, UnknownItem for an unknown name.
    """
    known = shipped_systems()
    copied = packaged and name in known and (beside / f"{name}.toml").is_file()
    if name.endswith(".toml") or copied:
        name = name if name.endswith(".toml") else f"{name}.toml"
        sheet, raw = read_system(beside / name)
        return sheet, raw, Path(name).name
    if name not in known:
        raise UnknownItem("wrap system", name[:80], known)
    with resources.as_file(known[name]) as path:
        sheet, raw = read_system(path)
    return sheet, raw, f"{name}.toml"

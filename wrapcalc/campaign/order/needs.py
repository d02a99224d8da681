"""What one site needs, read from the record of its package: each quantity with the ids of where it comes from."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from typing import Any

from wrapcalc.campaign.report.site_record import Site, refs
from wrapcalc.register.evidence import listed, number, part, text
from wrapcalc.searches.spares import pooled
from wrapcalc.units import steady

UNIT, CLOTH, HARDENER, ABRASIVE, CONSUMABLE = "unit", "cloth", "hardener", "abrasive", "consumable"
#: Kinds in the order in which they are listed.
KINDS = (UNIT, CLOTH, "adhesive", "filler", "primer", "end seal", HARDENER, ABRASIVE, CONSUMABLE)
_LAYERS = re.compile(r"(?<!\d)(\d+) layers")


@dataclass(frozen=True)
class Key:
    """What may be ordered together: the same item of the same sheet and size. width, diameter in mm; pack in kg."""

    kind: str
    item: str
    system: str
    sheet: str
    width: float | None = None
    diameter: float | None = None
    layers: int | None = None
    pack: float | None = None


@dataclass(frozen=True)
class Need:
    """One item for one site. quantity in `unit` ("", "kg", "m**2"), waste in it, None when the record does not say it.

    packs: whole packs, where there are packs; pieces: what may be spoilt one by one: units, bands or packs, None for
    what is not counted so. refs: ids in the record of the package.
    """

    key: Key
    unit: str
    quantity: float | None
    packs: int | None
    pieces: int | None
    refs: tuple[str, ...]


def needs_of(site: Site) -> tuple[Need, ...]:
    """Everything that a wrap needs. Raises LookupError, TypeError or ValueError for a record of another form."""
    record, taken = site.record, site.wrap["materials"]
    system, lines = record["system"], list(zip(record["order"], taken["items"], strict=True))
    if any(o["item"] != i["item"] for o, i in lines):
        raise ValueError("order and materials list different items")
    of = (str(system["id"]), text(system["sheet"]))
    found = _laid(site, lines, of)
    found += [_packed(o, i["kind"], of) for o, i in lines if i["kind"] not in (UNIT, CLOTH)]
    found += _hardener(site, of)
    abrasive = taken["abrasive"]
    found.append(Need(Key(ABRASIVE, "Abrasive", *of), "kg", float(abrasive["magnitude"]), None, None, refs(abrasive)))
    counted = tuple(text(i.get("id")) for i in listed(record, "items") if i.get("title") == "Consumables")
    found += [Need(Key(CONSUMABLE, text(c["item"]), *of), "", float(c["count"]), None, None, counted)
              for c in taken["consumables"] if c["count"] is not None]
    return tuple(found)


# -- units and bands ----------------------------------------------------------------------------------------------
def _laid(site: Site, lines: list[tuple[dict[str, Any], dict[str, Any]]], of: tuple[str, str]) -> list[Need]:
    """Units by tier and width, or cloth by width, in the order in which the record lists them."""
    laid = Counter((int(u["tier"]), float(u["width"]["magnitude"])) for r in site.wrap["marks"]["repairs"]
                   for u in r["units"])
    marked = sorted(laid.items(), key=lambda x: (x[0][0], -x[0][1]))
    units = [o for o, i in lines if i["kind"] == UNIT]
    cloths = [(o, i) for o, i in lines if i["kind"] == CLOTH]
    if len(units) != (0 if cloths else len(marked)) or len(cloths) > 1:
        raise ValueError("the units of the order are not those of the marks")
    out = []
    for o, ((tier, width), count) in zip(units, marked if units else (), strict=True):
        if o["quantity"]["magnitude"] != count:
            raise ValueError(f"{o['item']}: {count} by the marks")
        under, ref = _under(site, tier)
        out.append(Need(Key(UNIT, "Sleeve", *of, width=steady(width), diameter=steady(under),
                            layers=_layers(o["item"])), "", float(count), None, count, (*refs(o["quantity"]), *ref)))
    for o, i in cloths:
        bands = Counter({w: sum(n for (_, x), n in laid.items() if x == w) for (_, w) in laid})
        if sum(bands.values()) != i["pieces"]:
            raise ValueError(f"{o['item']}: {sum(bands.values())} bands by the marks")
        area, wide = float(o["quantity"]["magnitude"]), sum(w * n for w, n in bands.items())
        # All bands of a site are cut to one length: the area goes with the width.
        out += [Need(Key(CLOTH, "Cloth", *of, width=steady(w)), "m**2", area * w * n / wide, None, n,
                     refs(o["quantity"])) for w, n in sorted(bands.items(), reverse=True)]
    return out


def _under(site: Site, tier: int) -> tuple[float, tuple[str, ...]]:
    """Diameter under a sleeve in mm, and where the record says it."""
    if tier == 1:
        diameter = site.magnitude("pipe.outside_diameter")
        if diameter is None:
            raise LookupError("no outside diameter")
        return diameter, ()
    for item in listed(site.record, "items"):
        if item.get("title") == f"Diameter under sleeve {tier}" and item.get("type") == "step":
            return float(item["result"]["magnitude"]), (str(item["id"]),)
    raise LookupError(f"no diameter under sleeve {tier}")


def _layers(item: str) -> int | None:
    m = _LAYERS.search(item)
    return int(m[1]) if m else None


# -- what comes in packs ------------------------------------------------------------------------------------------
def _packed(o: dict[str, Any], kind: str, of: tuple[str, str]) -> Need:
    """A two-part material in whole packs: those of the record, and never fewer than the mass asks for."""
    mass, pack = float(o["quantity"]["magnitude"]), float(o["pack"]["magnitude"])
    if o["quantity"]["unit"] != "kg" or o["pack"]["unit"] != "kg":
        raise ValueError(f"{o['item']} is not stated in kg")
    packs = max(int(o["packs"]["magnitude"]), pooled([mass], pack, two_part=True).together)
    return Need(Key(kind, text(o["item"]), *of, pack=pack), "kg", mass, packs, packs, refs(o["quantity"], o["packs"]))


def _hardener(site: Site, of: tuple[str, str]) -> list[Need]:
    """Hardener of each material at the end of the plan that takes more of it, for all batches that are mixed."""
    out = []
    for b in listed(site.wrap, "mixing"):
        if part(b, "batches").get("magnitude") is None:
            continue
        doses = [part(part(b, end), "hardener") for end in ("low", "high")]
        most = max((d for d in doses if number(d.get("magnitude")) is not None), key=lambda d: d["magnitude"],
                   default=None)
        mass = None if most is None else float(b["batches"]["magnitude"]) * float(most["magnitude"])
        out.append(Need(Key(HARDENER, f"Hardener of the {text(b.get('material'))}", *of), "kg", mass, None, None,
                        refs(b["batches"], most)))
    return out

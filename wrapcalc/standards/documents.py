"""The documents that may be cited. `id` is what is printed beside a formula or a value."""

from __future__ import annotations

from dataclasses import dataclass

from wrapcalc.errors import UnknownItem


@dataclass(frozen=True, slots=True)
class Document:
    """A standard, rule or body of knowledge in one edition. note: what our knowledge of it rests on."""

    id: str
    title: str
    note: str = ""


CFR_192 = Document("49 CFR 192", "US Code of Federal Regulations, title 49 part 192, Transportation of natural and "
                   "other gas by pipeline: minimum federal safety standards",
                   "copy current to 17 September 2026; the cited sections were read")
CFR_195 = Document("49 CFR 195", "US Code of Federal Regulations, title 49 part 195, Transportation of hazardous "
                   "liquids by pipeline", "copy of 2026; the cited sections were read")
B31G_1991 = Document("ASME B31G-1991", "Manual for determining the remaining strength of corroded pipelines, 1991",
                     "not read in full; forms recalled, worked examples reproduced")
B31G_2012 = Document("ASME B31G-2012", "Manual for determining the remaining strength of corroded pipelines, 2012",
                     "not read in full; forms recalled")
ISO_24817 = Document("ISO 24817:2017", "Composite repairs for pipework: qualification and design, installation, "
                     "testing and inspection, second edition, corrected version of January 2018",
                     "not read in full; forms and tables recalled")
PCC_2 = Document("ASME PCC-2-2018", "Repair of pressure equipment and piping, 2018, part 4, article 401",
                 "first page read; forms and tables recalled")
MECHANICS = Document("Mechanics", "Elementary mechanics and geometry, derived in the docstring of each formula",
                     "derived by us; checked by a second route")
PRACTICE = Document("Trade practice", "Common practice of the trade, no single source", "judgement; confirm locally")

DOCUMENTS: dict[str, Document] = {d.id: d for d in (CFR_192, CFR_195, B31G_1991, B31G_2012, ISO_24817, PCC_2,
                                                    MECHANICS, PRACTICE)}


def document(doc_id: str) -> Document:
    """The document of this id. Raises UnknownItem with the nearest id."""
    try:
        return DOCUMENTS[doc_id]
    except KeyError:
        raise UnknownItem("document", doc_id, DOCUMENTS) from None

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
ISO_24817_2015 = Document("ISO 24817:2015", "Composite repairs for pipework: qualification and design, installation, "
                          "testing and inspection, first edition, 2015",
                          "not read; taken to say what was recalled of the editions of 2015 and 2017 together")
ISO_24817_2006 = Document("ISO/TS 24817:2006", "Composite repairs for pipework, technical specification, 2006",
                          "not read; a few values recalled, the rest is not known")
PCC_2_2011 = Document("ASME PCC-2-2011", "Repair of pressure equipment and piping, 2011, part 4, article 4.1",
                      "not read; forms and tables recalled")
PCC_2_2022 = Document("ASME PCC-2-2022", "Repair of pressure equipment and piping, 2022, part 4, article 401",
                      "not read; whether it differs from 2018 is not known")
KIEFNER_VIETH = Document("Kiefner and Vieth 1989", "A modified criterion for evaluating the remaining strength of "
                         "corroded pipe, research report PR 3-805, 1989", "not read; forms recalled")
DNV_F101 = Document("DNV-RP-F101 (2010)", "Corroded pipelines, recommended practice, allowable-stress part, 2010",
                    "not read; forms recalled, two recalled worked answers reproduced")
LEIS_STEPHENS = Document("Leis and Stephens 1997", "An alternative approach to assess the integrity of corroded line "
                         "pipe, ISOPE 1997", "not read; form recalled")
API_579 = Document("API 579-1 (2007)", "API 579-1/ASME FFS-1, fitness-for-service, part 5, local metal loss, 2007",
                   "not read; forms recalled")
B31_3 = Document("ASME B31.3", "Process piping; the case names the edition and table of the allowable stress",
                 "not read; design equation recalled")
B31_8S = Document("ASME B31.8S-2004", "Managing system integrity of gas pipelines",
                  "not read; tables recalled")
API_5L_2000 = Document("API 5L:2000", "Specification for line pipe, 42nd edition, January 2000",
                       "strength table seen in a reproduction")
API_5L_2018 = Document("API 5L:2018", "Line pipe, 46th edition, 2018 (strengths as ISO 3183)",
                       "strengths seen in trade articles in part, the rest recalled")
B36_10M = Document("ASME B36.10M-2018", "Welded and seamless wrought steel pipe",
                   "seen in a numeric transcription; outside diameters recalled")
OSHA_1926 = Document("29 CFR 1926", "US Code of Federal Regulations, title 29 part 1926, Safety and health regulations "
                     "for construction, subpart P, excavations",
                     "seen in training texts that quote it, 2018 and undated")
MAGNUS_1996 = Document("Alduchov and Eskridge 1996", "Improved Magnus form approximation of saturation vapor pressure, "
                       "Journal of Applied Meteorology 35, 1996", "constants seen in several texts that quote it")
IMO_COATING = Document("IMO coating guideline 3.3.4", "Performance standard for protective coatings, guidelines for "
                       "maintenance and repair, section 3.3.4, current in 2025", "the climate rule was seen")
ISO_8501 = Document("ISO 8501-1", "Preparation of steel substrates, visual assessment of surface cleanliness, part 1",
                    "seen in summaries; the grades are pictures that only the standard has")
ISO_8502 = Document("ISO 8502", "Preparation of steel substrates, tests for the assessment of surface cleanliness, "
                    "parts 3, 6 and 9", "seen in a conversion sheet that quotes it, 2016; the rest recalled")
ASTM_D2583 = Document("ASTM D2583", "Indentation hardness of rigid plastics by a Barcol impressor, 1995 and 2007",
                      "excerpts seen; the table of the number of readings is recalled")
SP0274 = Document("NACE SP0274", "High-voltage electrical inspection of pipeline coatings",
                  "formula seen in the manual of a holiday detector that quotes it, undated")
SP0490 = Document("NACE SP0490-2007", "Holiday detection of fusion-bonded epoxy external pipeline coatings, 2007",
                  "voltages seen in a regulator's answer that quotes it")
SP0188 = Document("NACE SP0188-2006", "Discontinuity (holiday) testing of new protective coatings, 2006",
                  "table recalled; the edition of January 2024 was not seen")
ASTM_G62 = Document("ASTM G62-87", "Holiday detection in pipeline coatings, method B, as quoted before the "
                    "edition of 2023", "formulas recalled; the edition of 2023 was seen in abstract only")
MECHANICS = Document("Mechanics", "Elementary mechanics and geometry, derived in the docstring of each formula",
                     "derived by us; checked by a second route")
PRACTICE = Document("Trade practice", "Common practice of the trade, no single source", "judgement; confirm locally")

DOCUMENTS: dict[str, Document] = {d.id: d for d in (
    CFR_192, CFR_195, B31G_1991, B31G_2012, KIEFNER_VIETH, DNV_F101, LEIS_STEPHENS, API_579, B31_3, B31_8S,
    API_5L_2000, API_5L_2018, B36_10M, OSHA_1926, MAGNUS_1996, IMO_COATING, ISO_8501, ISO_8502, ASTM_D2583,
    SP0274, SP0490, SP0188, ASTM_G62, ISO_24817, ISO_24817_2015, ISO_24817_2006, PCC_2, PCC_2_2011, PCC_2_2022,
    MECHANICS, PRACTICE)}


def document(doc_id: str) -> Document:
    """The document of this id. Raises UnknownItem with the nearest id."""
    try:
        return DOCUMENTS[doc_id]
    except KeyError:
        raise UnknownItem("document", doc_id, DOCUMENTS) from None

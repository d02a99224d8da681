"""Cautions for the site, as data. They warn; those who are licensed, and local law, decide.

Numbers stand in both unit systems in the text: nothing is calculated from them.
"""

from __future__ import annotations

from dataclasses import dataclass

from wrapcalc.standards.documents import OSHA_1926, PRACTICE


@dataclass(frozen=True)
class Caution:
    """One caution. applies: "" always, else the "if" under which it holds; status: what the text rests on."""

    hazard: str
    text: str
    citation: str
    status: str
    applies: str = ""


_COMMON = {"citation": PRACTICE.id, "status": "common practice"}
_RECALLED = {"citation": PRACTICE.id, "status": "from memory"}


def _of_rule(place: str) -> dict[str, str]:
    return {"citation": f"{OSHA_1926.id}, {place}", "status": "seen"}


CAUTIONS = (
    Caution("cave-in", "In a trench of 1.5 m (5 ft) or more nobody is without protection, unless it is in stable rock "
            "or the competent person sees no risk. Spoil at least 0.6 m (2 ft) back. Looked at daily and after rain.",
            **_of_rule("651 and 652")),
    Caution("way out", "In a trench of 1.2 m (4 ft) or more a ladder within 7.6 m (25 ft) of everyone.",
            **_of_rule("651")),
    Caution("deep trench", "Deeper than 6 m (20 ft): protection designed by a registered engineer.",
            **_of_rule("subpart P, appendix B")),
    Caution("atmosphere", "Deeper than 1.2 m (4 ft): test the air before anyone goes in where bad air is possible; "
            "oxygen at least 19.5 %.", **_of_rule("651")),
    Caution("line under pressure", "Nobody stands in line with the deep metal while the pressure changes. No grinding "
            "on the thin wall above the pressure that was set. Never wrap over a wall that weeps.", **_COMMON),
    Caution("pressure while wrapping", "Steady from the filler to the cure: no surge, no pig, and the static head and "
            "the warming of a shut-in liquid counted. If it was lowered for the work it is not raised before the "
            "release.", **_COMMON),
    Caution("blasting", "Never over a suspected leak or a wall below the least on this sheet. Shield valves and fibre "
            "optics, bond against static; where gas may be present nothing that sparks.", **_COMMON),
    Caution("silica", "Dust of sand and of dusty abrasive: at most 50 µg/m³ over the shift, action from 25 µg/m³.",
            citation="29 CFR 1926.1153", status="seen"),
    Caution("isocyanate", "At most 0.02 ppm (0.2 mg/m³) at any moment. It makes people sensitive, through the skin as "
            "well.", citation="exposure sheet on MDI, 1994", status="seen",
            applies="if a resin or adhesive holds isocyanate (polyurethane)"),
    Caution("peroxide", "Never put peroxide straight onto accelerator; store the two apart.", **_RECALLED,
            applies="if the resin is cured with peroxide"),
    Caution("styrene", "Flammable; 100 ppm over the shift, 200 ppm at any moment.", **_RECALLED,
            applies="if a resin holds styrene"),
    Caution("resins and amines", "They inflame the skin: keep it covered.", **_RECALLED),
    Caution("hot or cold line", "Steel above 44 °C (111 °F) burns; frost harms, too. Heaters and blankets of a kind "
            "that is safe where gas may be.", **_COMMON),
    Caution("left-over mixes", "They heat up by themselves: keep them shallow and in the open.", **_COMMON),
)


def cautions() -> tuple[Caution, ...]:
    """All of them; an "if" is printed with its condition, because no sheet says what a resin is made of."""
    return CAUTIONS

"""The trench: bared length, size by slope, volume, what its depth asks for, and the span of pipe without soil."""

from __future__ import annotations

from dataclasses import dataclass

from wrapcalc.case import Bundle
from wrapcalc.checks import Check
from wrapcalc.formulas import excavation as f
from wrapcalc.formulas.net_section import sound_second_moment
from wrapcalc.recorder import active
from wrapcalc.stages.assessment.assess import Assessment
from wrapcalc.stages.dig.rows import Row, far
from wrapcalc.stages.wrap.design import Design
from wrapcalc.standards.documents import MECHANICS, OSHA_1926, PRACTICE
from wrapcalc.values import Value

TYPE_C = "type C"


@dataclass(frozen=True)
class Trench:
    """needs: what the depth asks for, in words."""

    rows: tuple[Row, ...]
    needs: tuple[str, ...]
    cautions: tuple[str, ...]


def trench(bundle: Bundle, a: Assessment | None, d: Design | None) -> Trench:
    """The trench of a case; what cannot be known stands as a blank."""
    return _Trench(bundle, a, d).made()


class _Trench:
    """Collects rows, needs and cautions while the trench is worked out."""

    def __init__(self, bundle: Bundle, a: Assessment | None, d: Design | None):
        self.bundle, self.a, self.d = bundle, a, d
        self.case, self.display = bundle.case, bundle.case.display
        self.show, self.fine = far(self.display, 2 if self.display == "SI" else 1), far(self.display)
        self.rows: list[Row] = []
        self.needs: list[str] = []
        self.cautions: list[str] = []

    def made(self) -> Trench:
        """All of it."""
        diameter, bared = self.case.optional("pipe.outside_diameter"), self._bared()
        beside, ends = self._room("room_beside"), self._room("room_ends")
        long = None if bared is None else f.trench_length(bared, ends)
        wide = None if diameter is None else f.trench_width(diameter, beside)
        self._row("Bottom, length", long)
        self._row("Bottom, width", wide)
        deep = self._depth(diameter)
        slope, soil = self._slope()
        within = self._rules(deep, soil)
        if long is not None and wide is not None and deep is not None:
            self._top(long, wide, deep, slope, within)
        self._span(long, slope, within)
        self.rows.append(Row("Access, water, services", words=str(self.case.excavation.access or "")))
        return Trench(tuple(self.rows), tuple(self.needs), tuple(self.cautions))

    def _row(self, label: str, value: Value | None, note: str = "", struck: str = "") -> None:
        self.rows.append(Row(label, value, self.show(value), note, struck))

    def _room(self, name: str) -> Value:
        """Room as the case states it, or common practice."""
        stated = self.case.optional(f"excavation.{name}")
        if stated is not None:
            return stated
        usual = self.bundle.tables.value(PRACTICE.id, name)
        active().assume(f"{usual.name}: {self.fine(usual)}, common practice.", f"case: excavation.{name}")
        return usual

    # -- length to bare --------------------------------------------------------------------------------------
    def _bared(self) -> Value | None:
        system = self.bundle.system
        reach, words = self._reach()
        if reach is None:
            self.rows.append(Row("Length to bare"))
            return None
        if system is not None and system.surface.prepared_beyond is not None:
            beyond = system.value("surface.prepared_beyond")
        else:
            beyond = self.bundle.tables.value(PRACTICE.id, "prepared_beyond")
            active().assume(f"{beyond.name}: {beyond.show(self.display)}, common practice.", "case: excavation")
        bared = f.bared_length(reach, beyond, self._room("coating_tie_in"))
        self._row("Length to bare", bared, words)
        return bared

    def _reach(self) -> tuple[Value | None, str]:
        """Length of the repair, or of the defect alone before there is one."""
        repairs = self.d.extent.repairs if self.d is not None and self.d.holds and self.d.extent is not None else ()
        spans = [(r.centre + r.shift, r.overall) for r in repairs if r.overall is not None]
        if len(spans) == 1:
            return spans[0][1], "repair, prepared steel and coating tie-in"
        if spans:
            ends = [(middle - o.magnitude / 2, middle + o.magnitude / 2) for middle, o in spans]
            from_to = max(e for _, e in ends) - min(s for s, _ in ends)
            found = active().procedure(
                "Span of all repairs", "from the first end upstream to the last end downstream", MECHANICS.id,
                "derived", {f"overall length {i}": o for i, (_, o) in enumerate(spans, 1)}, {"span": (from_to, "mm")})
            return found["span"], "all repairs, prepared steel and coating tie-in"
        length = self.case.optional("defect.length")
        if length is not None:
            active().assume("There is no design that holds: the length to bare counts from the defect alone. A repair "
                            "needs more; the trench is sized again when there is one.", "scope")
            self.cautions.append("The trench is sized for the defect alone, because there is no repair design yet. A "
                                 "repair needs more length.")
        return length, "defect alone: there is no repair design yet"

    # -- depth, slopes, volume -------------------------------------------------------------------------------
    def _depth(self, diameter: Value | None) -> Value | None:
        cover = self.case.optional("excavation.cover")
        below = self._room("room_below")
        deep = None if cover is None or diameter is None else f.trench_depth(cover, diameter, below)
        self._row("Depth", deep)
        return deep

    def _slope(self) -> tuple[Value, str]:
        soil = self.case.excavation.soil
        if soil is None:
            soil = TYPE_C
            active().assume("Nobody stated the soil: it is taken as type C, the flattest slope.",
                            "case: excavation.soil")
        slope = self.bundle.tables.value(OSHA_1926.id, "slope_" + soil.replace(" ", "_").lower())
        words = "vertical" if slope.magnitude == 0 else f"{slope.show()} : 1"
        stated = "" if self.case.excavation.soil else "taken, because nobody stated the soil"
        self.rows.append(Row("Soil, slope across : up", slope, f"{soil}, {words}", stated))
        return slope, soil

    def _top(self, long: Value, wide: Value, deep: Value, slope: Value, within: bool) -> None:
        rec = active()
        over = rec.named(f.trench_top(long, slope, deep), "Length of the trench at its top")
        across = rec.named(f.trench_top(wide, slope, deep), "Width of the trench at its top")
        volume = f.trench_volume(long, wide, slope, deep)
        why = "" if within else "a registered professional engineer designs slopes of this depth"
        if why:
            for value in (over, across, volume):
                rec.strike(value, why)
        self._row("Top, length", over, struck=why)
        self._row("Top, width", across, struck=why)
        self.rows.append(Row("Volume in the ground", volume, volume.show(self.display, 3), "loosened soil takes more",
                             why))

    def _rules(self, deep: Value | None, soil: str) -> bool:
        """What the depth asks for; whether the slopes of the table hold."""
        if deep is None:
            self.needs.append("The depth of the trench is not known yet: measure it, then look below.")
        within = self._below("slope_depth_limit", deep, "scope")
        if not within.met:
            self.needs.append(f"From {self._limit(within)} deep a registered professional engineer designs slopes or "
                              "shoring: nobody enters before that.")
        for name, words in (("protective_depth", "slopes as above, shoring or a shield"),
                            ("ladder_depth", "ladder, stairway or ramp, the way to it at most {ladder_travel}"),
                            ("atmosphere_depth", "air tested before entry where gas may be, oxygen at least "
                             "{least_oxygen}")):
            if name == "protective_depth" and soil == "stable rock":
                continue
            check = self._below(name, deep, "information")
            if not check.met:
                self.needs.append(f"From {self._limit(check)} deep: {self._filled(words)}.")
        self.needs.append(self._filled("Spoil and machines at least {spoil_distance} from the edge; a competent person "
                                       "looks at the trench each day and after rain. Wet soil counts as type C."))
        return within.met

    def _below(self, name: str, deep: Value | None, kind: str) -> Check:
        entry = self.bundle.tables.entry(OSHA_1926.id, name)
        return active().check(f"Depth of the trench against: {entry.title[0].lower()}{entry.title[1:]}", deep, "<",
                              entry.value(), citation=entry.citation, status=entry.status, kind=kind)

    def _limit(self, check: Check) -> str:
        return self.show(check.limit)

    def _filled(self, words: str) -> str:
        """Words with the numbers of the rule in them."""
        for name in ("ladder_travel", "spoil_distance"):
            words = words.replace(f"{{{name}}}", self.show(self.bundle.tables.value(OSHA_1926.id, name)))
        return words.replace("{least_oxygen}", self.bundle.tables.entry(OSHA_1926.id, "least_oxygen").written)

    # -- span ------------------------------------------------------------------------------------------------
    def _span(self, long: Value | None, slope: Value, within: bool) -> None:
        """Bared pipe against the span that its own weight allows: information for the engineer."""
        known = within and long is not None
        free = f.unsupported_length(long, slope, self._room("room_below")) if known else None  # type: ignore[arg-type]
        bears = self._bears()
        check = active().check("Length of pipe without soil under it against the span by its own weight", free, "<=",
                               bears, citation=PRACTICE.id, status="common practice", kind="information",
                               note="Screening for the engineer: pressure, temperature, coating, settlement and the "
                               "damage itself are not in it.")
        self._row("Pipe without soil under it", free)
        self._row("Span by own weight", bears, "screening by its own weight")
        if check.verdict == "not met":
            self.cautions.append("More pipe is without soil than the span by its own weight: support it, or dig in "
                                 "lengths, as the engineer says.")
        elif check.verdict == "no data":
            self.cautions.append("Whether the pipe bears its own weight over the trench was not looked at: the "
                                 "engineer says how much may be bared at once.")

    def _bears(self) -> Value | None:
        case, tables = self.case, self.bundle.tables
        stress, density = case.optional("excavation.span_stress"), case.optional("excavation.product_density")
        diameter, nominal = case.optional("pipe.outside_diameter"), case.optional("pipe.nominal_wall")
        if stress is None or density is None or diameter is None or nominal is None:
            return None
        walls = [nominal, case.optional("pipe.sound_wall"), self.a.wall if self.a is not None else None]
        thin = min((w for w in walls if w is not None), key=lambda w: w.magnitude)
        modulus = f.section_modulus(sound_second_moment(diameter, thin), diameter)
        steel = f.steel_per_length(diameter, nominal, tables.value(PRACTICE.id, "steel_density"))
        return f.unsupported_span(stress, modulus, steel, f.contents_per_length(diameter, thin, density))

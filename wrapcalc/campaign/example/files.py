"""The files beside the example listing: what its columns are, what line it is, and the case that all rows share."""

from __future__ import annotations

from datetime import date, timedelta

from wrapcalc.campaign.example.line import KINDS, Line

#: Heading of each column of the listing, in order, with our field and how its cells are to be read.
COLUMNS = (("Feature ID", "feature_id", ""), ("Line", "line", ""), ("Feature type", "kind", ""),
           ("Log distance", "log_distance", "m"), ("Joint", "joint", ""), ("Joint length", "joint_length", "m"),
           ("Girth weld", "weld", ""), ("From U/S weld", "from_upstream_weld", "m"), ("O'clock", "clock", "h:mm"),
           ("Depth", "depth", "% of nominal wall"), ("Length", "length", "mm"), ("Width", "width", "mm"),
           ("t nom", "nominal_wall", "mm"), ("t meas", "measured_wall", "mm"), ("Seam", "seam_clock", "h:mm"),
           ("Repair factor", "listed_repair_factor", ""), ("Comment", "comment", ""))
DATES = {1: date(2026, 5, 14), 2: date(2032, 5, 19)}
NAME = "Harrow Bight"


def mapping_text(line: Line, run: int) -> str:
    """mapping.toml of a run."""
    words = ", ".join(f'"{w}" = "{ours}"' for w, ours in KINDS)
    rows = []
    for heading, field, unit in COLUMNS:
        more = f', unit = "{unit}"' if unit else f", words = {{ {words} }}" if field == "kind" else ""
        rows.append(f'{field} = {{ column = "{heading}"{more} }}')
    knots, log = line.odometer(run)
    at = line.valve_at(line.valves)
    names = ["launcher valve", *(f"valve {k + 2}" for k in range(len(at) - 2)), "receiver valve"]
    points = "".join(f'[[reference_point]]\nlog = "{x / 1000:.3f} m"\nsurvey = "{s / 1000:.3f} m"\nname = "{n}"\n'
                     for x, s, n in zip(log[[list(knots).index(a) for a in at]], at, names, strict=True))
    return (_HEAD.format(run=f"run of {DATES[run].year}", day=DATES[run], line=NAME) + "\n".join(rows)
            + '\n\n[line]\nbase = "base.toml"\nreversed = "no"\n\n' + points + "\n" + _segments(line))


def _segments(line: Line) -> str:
    out = []
    for s in line.stretches:
        end = line.total if s.last == line.joints else line.start[s.last]
        area = "yes" if s.class_location == "3" else "no"
        out.append(f'[[segment]]\nfrom = "{line.start[s.first] / 1000:.3f} m"\nto = "{end / 1000:.3f} m"\n'
                   f'set = {{ "pipe.nominal_wall" = "{s.wall:g} mm", "service.class_location" = "{s.class_location}", '
                   f'"service.high_consequence_area" = "{area}", "location.section" = "{s.section}" }}\n')
    return "".join(out)


def base_text(run: int) -> str:
    """base.toml: what all rows share. Sizes come from the listing."""
    return _BASE.format(day=DATES[run], year=DATES[run].year)


def campaign_text(run: int) -> str:
    """campaign.toml: what of the listing is dug, and with what."""
    return _CAMPAIGN.format(day=DATES[run] + timedelta(days=32), year=DATES[run].year,
                            start=DATES[run] + timedelta(days=81))


_CAMPAIGN = """# Invented example: a season of digs.
schema_version = "1"

[campaign]
name = "Harrow Bight, season {year} (invented)"
listing = "listing.csv"
mapping = "mapping.toml"
prepared_by = "E. Example"
discovery_date = "{day}"
display = "SI"
paper = "A4"

[select]
deadline_within = "365 d"
repair_factor_above = 1.0
most = 6

[measured]
file = "field.csv"

[[stock]]
item = "unit"
system = "example-sleeve"
layers = 11
width = "260 mm"
diameter = "406.4 mm"
count = 8
batch = "U-2207"
expiry = "{year}-12-01"

[dig]
start = "{start}"
crews = 2
hours_per_day = "10 h"
hours_dig_per_m3 = "0.35 h"
hours_per_unit = "0.6 h"
hours_fixed = "14 h"

[order]
spare_confidence = "95 %"
"""

_HEAD = """# Invented example: how the columns of listing.csv are to be read, and what line it is.
schema_version = "1"

[listing]
run = "{run}"
run_date = "{day}"
place = "upstream end"
line = "{line}"
decimal = "point"
thousands = "none"
delimiter = "comma"
encoding = "utf-8"
header_row = 1

[columns]
"""

_BASE = """# Invented example: what all rows of the listing share. Walls, class, section: see mapping.toml.
schema_version = "1"

[case]
id = "HB"
title = "Row of the inspection listing"
line = "Harrow Bight gas line (invented)"
joint = "as in the listing"
prepared_by = "E. Example"
display = "SI"
paper = "A4"

[pipe]
outside_diameter = {{ value = "406.4 mm", source = "mill certificate MC-2207", source_kind = "document" }}
nominal_wall = {{ value = "8.74 mm", source = "mill certificate MC-2207", source_kind = "document" }}
wall_allowance = {{ value = "0.1 mm", source = "report of the run of {year} (invented)", source_kind = "document" }}
grade = {{ value = "L360 (X52), ISO 3183", source = "mill certificate MC-2207", source_kind = "document" }}
smys = {{ value = "360 MPa", source = "mill certificate MC-2207", source_kind = "document" }}
smts = {{ value = "460 MPa", source = "mill certificate MC-2207", source_kind = "document" }}
joint_type = {{ value = "electric resistance welded", source = "mill certificate MC-2207", source_kind = "document" }}
seam_process = "high-frequency electric resistance"

[service]
service = "gas line"
product = "natural gas, dry"
class_location = {{ value = "2", source = "class study of the line, 2024 (invented)", source_kind = "document" }}
high_consequence_area = {{ value = "no", source = "consequence study 2024 (invented)", source_kind = "document" }}
uprated_class_1 = "no"
maop = {{ value = "8.6 MPa", source = "operating permit, rev 6", source_kind = "document" }}
discovery_pressure = {{ value = "8.1 MPa", source = "pressure log, 60 days, upstream end", source_kind = "measured" }}
installation_pressure = {{ value = "2.0 MPa", source = "season plan (invented)", source_kind = "document" }}
service_temperature = {{ value = "37 °C", source = "design basis", source_kind = "document" }}
lowest_temperature = {{ value = "3 °C", source = "design basis", source_kind = "document" }}
installation_temperature = {{ value = "15 °C", source = "season plan (invented)", source_kind = "document" }}
pressure_cycles = {{ value = 900, source = "rainflow count over one year times 20", source_kind = "derived" }}
axial_force = {{ value = "0 N", source = "straight buried run, no ground movement", source_kind = "assumed" }}
bending_moment = {{ value = "0 N*m", source = "straight buried run, no ground movement", source_kind = "assumed" }}
internal_corrosion = {{ value = "active", source = "two runs over the line (invented)", source_kind = "document" }}
inside_repair = "nothing"

[defect]
depth_allowance = {{ value = "0.5 mm", source = "report of the run of {year} (invented)", source_kind = "document" }}
length_allowance = {{ value = "10 mm", source = "report of the run of {year} (invented)", source_kind = "document" }}

[assessment]
interaction = "6t"
interaction_reason = "company standard 4.1 (invented): six walls either way for listings of inspection runs."

[growth]
basis = "stated"
basis_reason = "greatest rate of two runs but for one place in twenty (invented)."
rate = {{ value = "0.03 mm/y", source = "two runs over the line (invented)", source_kind = "document" }}
measured_date = {{ value = "{day}", source = "report of the run of {year} (invented)", source_kind = "document" }}

[uncertainty]
depth_tolerance = {{ value = "0.87 mm", source = "report of the run of {year} (invented)", source_kind = "document" }}
depth_confidence = {{ value = "80 %", source = "report of the run of {year} (invented)", source_kind = "document" }}
length_tolerance = {{ value = "15 mm", source = "report of the run of {year} (invented)", source_kind = "document" }}
length_confidence = {{ value = "80 %", source = "report of the run of {year} (invented)", source_kind = "document" }}

[design]
standard = "ISO 24817:2017"
system = "example-sleeve"
tiers = {{ value = 2, source = "one sleeve is too thin for most places (invented)", source_kind = "derived" }}
design_method = "load sharing"
design_method_reason = "the ligament stays elastic at the restored MAOP; company practice for gas lines (invented)."
design_life = {{ value = "20 y", source = "remaining life of the line", source_kind = "document" }}

[excavation]
cover = {{ value = "1.1 m", source = "depth survey, 2024 (invented)", source_kind = "measured" }}

[work]
steel_low = {{ value = "16 °C", source = "steel held by the product, season plan (invented)", source_kind = "assumed" }}
air_low = {{ value = "11 °C", source = "season plan (invented)", source_kind = "assumed" }}

[takeoff]
adhesive_waste = {{ value = "15 %", source = "crew practice (invented)", source_kind = "assumed" }}
filler_waste = {{ value = "20 %", source = "crew practice (invented)", source_kind = "assumed" }}
seal_waste = {{ value = "15 %", source = "crew practice (invented)", source_kind = "assumed" }}
spoil_share = {{ value = "3 %", source = "crew records of two seasons (invented)", source_kind = "document" }}
spare_confidence = "95 %"
"""

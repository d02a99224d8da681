"""Tables of the holiday test and of acceptance: each entry can be changed by a user's overlay, within reason."""

import pytest

from wrapcalc.errors import CaseFaults
from wrapcalc.standards import tables

FILES = ("NACE SP0274", "NACE SP0490-2007", "NACE SP0188-2006", "ASTM G62-87", "ASTM D2583")
OF_OTHERS = ("hardness_share", "surface_defect_width", "surface_defect_height", "wrinkle_step", "hardness_single_share",
             "filler_gap", "tap_dense", "restoration_steps_usual", "restoration_hold_usual",
             "air_strength", "film_strength", "strength_thickness")
OURS = [e for e in tables.shipped().values()
        if (e.document in FILES and e.name.startswith(("holiday_", "readings_")))
        or e.name in OF_OTHERS]
WHO = 'by = "A. Reviewer"\non = 2026-09-30\ncopy = "company library, copy 14"\n'


def overlay(path, entry, factor):
    kind = tables.units.KINDS[entry.kind]
    unit = next((text for text, name in kind.units.items() if name == kind.base), "")
    number = float(f"{entry.value().magnitude * factor:.12g}")
    number = round(number) if entry.kind == "count" else number
    written = f'"{number!r} {unit}"' if kind.units else f"{number!r}"
    path.write_text(f'[[value]]\nitem = "{entry.key}"\nvalue = {written}\n{WHO}', "utf-8")
    return tables.load(path).entry(entry.document, entry.name)


def test_there_are_entries():
    assert len(OURS) == 4 + 5 + 21 + 6 + 5 + len(OF_OTHERS)
    assert all(e.status in ("seen", "from memory", "common practice") for e in OURS)


@pytest.mark.parametrize("entry", OURS, ids=lambda e: e.key)
def test_an_overlay_changes_it(tmp_path, entry):
    factor = 0.5
    changed = overlay(tmp_path / "verified.toml", entry, factor)
    assert changed.status == "verified" and changed.mark.changed_from == entry.written
    expected = entry.value().magnitude * factor
    assert changed.value().magnitude == pytest.approx(round(expected) if entry.kind == "count" else expected, rel=1e-9)


@pytest.mark.parametrize("entry", OURS, ids=lambda e: e.key)
@pytest.mark.parametrize("factor", [0.1, 5])
def test_an_overlay_far_off_is_a_slip(tmp_path, entry, factor):
    with pytest.raises(CaseFaults) as caught:
        overlay(tmp_path / "verified.toml", entry, factor)
    assert "check the value and its unit" in str(caught.value)


def test_rows_of_the_table_of_steps_rise():
    """From memory: 8 to 11 mil 1500 V, 12 to 15 2000, 16 to 20 2400, 21 to 40 3000, 41 to 55 4000, 56 to 80 6000, 81 to
    125 10 000."""
    at = tables.load().entry
    rows = [[at("NACE SP0188-2006", f"holiday_row_{i}_{p}").written for p in ("from", "to", "voltage")]
            for i in range(1, 8)]
    numbers = [[float(x.split()[0]) for x in r] for r in rows]
    assert numbers == [[8, 11, 1500], [12, 15, 2000], [16, 20, 2400], [21, 40, 3000], [41, 55, 4000], [56, 80, 6000],
                       [81, 125, 10000]]

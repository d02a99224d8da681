"""CAMPAIGN.toml: what may stand there, and one clear message for each thing that may not."""

from pathlib import Path

import pytest

from tests.helpers import campaign as helper
from wrapcalc.campaign.model import Campaign, load_campaign
from wrapcalc.errors import CaseFaults
from wrapcalc.fields import walk

FULL = """known_repairs = "before"
display = "US"
paper = "Letter"
discovery_date = "2026-06-30"
[screening]
life = "yes"
chance = "no"
[select]
deadline_within = "365 d"
repair_factor_above = 1.1
safe_pressure_below = "1200 psi"
depth_above = "60 %"
dispositions = ["repair", "other repair needed", "repair"]
most = 40
[[add]]
id = "F00418"
reason = "beside F00417, one trench"
[[leave]]
id = "F00951"
reason = "pipe is replaced in autumn"
by = "E. Example"
[measured]
file = "field.csv"
[bias]
carry = "yes"
reason = "the run reads shallow"
[[stock]]
item = "unit"
system = "example-sleeve"
layers = 11
width = "260 mm"
diameter = "406.4 mm"
count = 4
batch = "A-2207"
expiry = "2027-02-28"
[dig]
start = "2026-08-03"
crews = 2
hours_per_day = "10 h"
working_days = ["Mon", "Tue"]
days_off = ["2026-08-31", "2026-08-10"]
hours_dig_per_m3 = "25 min"
hours_per_unit = "0.5 h"
hours_fixed = "16 h"
[order]
spare_confidence = "95 %"
"""


@pytest.fixture
def folder(tmp_path) -> Path:
    helper.campaign(tmp_path, 1)
    (tmp_path / "before").mkdir()
    (tmp_path / "field.csv").write_text("feature_id\n", encoding="utf-8")
    return tmp_path


def faults(folder: Path, text: str, *, whole: bool = False) -> list[str]:
    path = folder / "CAMPAIGN.toml"
    path.write_text(text if whole else helper.CAMPAIGN + text, encoding="utf-8")
    with pytest.raises(CaseFaults) as raised:
        load_campaign(path)
    return [str(f) for f in raised.value.faults]


def test_everything_that_is_stated_is_read_with_its_unit(folder):
    plan = load_campaign(helper.campaign(folder, 1, FULL))
    s, d = plan.sheet.select, plan.sheet.dig
    assert s.deadline_within.base == 365 * 24
    assert s.safe_pressure_below.base == pytest.approx(8.27371, rel=1e-5)  # 1 psi is 6.894757 kPa
    assert s.depth_above.base == 0.6 and s.dispositions == ("repair", "other repair needed") and s.most.base == 40
    assert d.days_off == ("2026-08-10", "2026-08-31") and d.working_days == ("Mon", "Tue")
    assert d.hours_dig_per_m3.base == pytest.approx(25 / 60)
    assert (plan.listing, plan.measured) == (folder / "listing.csv", folder / "field.csv")
    assert (plan.known_repairs, plan.display) == (folder / "before", "US")
    assert plan.sheet.stock[0].width.base == 260


def test_only_name_listing_and_mapping_are_due(folder):
    plan = load_campaign(helper.campaign(folder, 1))
    assert plan.known_repairs is None and plan.measured is None and plan.display == "SI"
    assert plan.sheet.select.dispositions == () and plan.sheet.add == ()


def stock(more: str, item: str = "") -> str:
    """A row of the shelf: what it needs, and more; a sleeve where a width or a diameter is stated."""
    item = item or ("unit" if "width" in more or "diameter" in more else "adhesive")
    return f'[[stock]]\nitem = "{item}"\ncount = 4\nbatch = "A"\nexpiry = "2027-02-28"\n{more}\n'


@pytest.mark.parametrize(("text", "wanted"), [
    ('[select]\ndeadline_within = "365"\n', "select.deadline_within: found '365', which has no unit"),
    ("[select]\ndeadline_within = 365\n", "select.deadline_within: found the bare number 365"),
    ("[select]\nrepair_factor_above = 0\n", "select.repair_factor_above: found '0'; allowed: more than 0 and at most"),
    ('[select]\ndepth_above = "6 mm"\n', "select.depth_above: found '6 mm'; allowed: a percentage"),
    ('[select]\ndispositions = ["repiar"]\n', "allowed: no repair needed, reduce pressure and monitor, repair, other "
     "repair needed, insufficient data. To mend: did you mean 'repair'?"),
    ('[select]\ndispositions = "repair"\n', "select.dispositions: found 'repair'; allowed: a list of at most 5 words"),
    ("[select]\nmost = 2.5\n", "select.most: found '2.5'"),
    ("[select]\nmost = 0\n", "select.most: found '0'; allowed: at least 1"),
    ("[select]\nmots = 4\n", "select.mots: found a key that we do not know; allowed: deadline_within, "),
    ('[[add]]\nid = "F1"\n', "add.0.reason: found nothing; allowed: Why it is dug. To mend: add reason = "),
    ('[[leave]]\nid = "F1"\nreason = "x"\n', "leave.0.by: found nothing; allowed: Who decided that"),
    ('[[add]]\nid = "F1"\nreason = "x"\n[[leave]]\nid = "F1"\nreason = "x"\nby = "E. Example"\n',
     "leave.0.id: found 'F1' again, which stands in add.0; allowed: each feature once, to be added or to be left"),
    ('[[leave]]\nid = "F1"\nrow = 7\nreason = "x"\nby = "E. Example"\n[[add]]\nid = "F1"\nreason = "x"\n',
     "leave.0.id: found 'F1' again, which stands in add.0; allowed: each feature once, to be added or to be left. To "
     "mend: remove one of the two, or state the row of each"),
    ('[[add]]\nid = "F1"\nrow = "seven"\nreason = "x"\n', "add.0.row: found 'seven'"),
    ('[[add]]\nid = "F1"\nrow = 0\nreason = "x"\n', "add.0.row: found '0'; allowed: at least 1"),
    ('[add]\nid = "F1"\n', "add: found a table; allowed: tables [[add]] with id, row, reason. To mend: write [[add]]"),
    ('[measured]\nfile = "none.csv"\n', "measured.file: found 'none.csv'; allowed: a file that is there, beside this"),
    ('[bias]\ncarry = "no"\n', 'bias.reason: found nothing; allowed: a text. To mend: say why carry = "no" was chosen'),
    ('[bias]\ncarry = "yes"\nreason = "x"\n', "bias.carry: found 'yes'; allowed: no, unless [measured] names field"),
    ('[dig]\ndays_off = ["2026-02-30"]\n', "dig.days_off: found '2026-02-30'; allowed: a date from 1900 to 2100"),
    ('[dig]\ndays_off = [""]\n', "dig.days_off: found a blank day"),
    ('[dig]\ndays_off = "2026-08-31"\n', "dig.days_off: found '2026-08-31'; allowed: a list of at most 400 days"),
    ('[dig]\nhours_per_day = "25 h"\n', "dig.hours_per_day: found '25 h'; allowed: more than 0 h and at most 24 h"),
    ('[dig]\nworking_days = ["Monday"]\n', "dig.working_days: found 'Monday'"),
    (stock('layers = 8'), "stock.0.layers: found '8' of adhesive; allowed: layers of unit. To mend: remove it, or "
     "correct the item"),
    (stock('width = "260 mm"\ndiameter = "16 in"\npack = "2 kg"'), "stock.0.pack: found '2 kg' of unit; allowed: "
     "pack of adhesive, filler, primer, end seal"),
    (stock('pack = "2 mm"'), "stock.0.pack: found '2 mm'; allowed: a mass"),
    (stock("pack = 2"), "stock.0.pack: found the bare number 2"),
    (stock('layers = 0'), "stock.0.layers: found '0'; allowed: at least 1"),
    (stock("", "sleeve"), "stock.0.item: found 'sleeve'; allowed: unit, cloth, "),
    (stock('width = "260 mm"'), "stock.0.diameter: found nothing; allowed: Outside diameter that the sleeves are "
     'made for. To mend: add diameter = "406.4 mm", or remove this [[stock]]'),
    (stock('diameter = "16 in"'), "stock.0.width: found nothing; allowed: Width of the units or of the cloth"),
    (stock("", "cloth"), "stock.0.width: found nothing"),
    (stock("").replace("count = 4\n", ""), "stock.0.count: found nothing; allowed: How many units or whole packs"),
    (stock("").replace('batch = "A"\n', ""), "stock.0.batch: found nothing; allowed: Batch number"),
    (stock("").replace('expiry = "2027-02-28"\n', ""), "stock.0.expiry: found nothing; allowed: Use before"),
    (stock("").replace('item = "adhesive"\n', ""), "stock.0.item: found nothing; allowed: What it is"),
    (stock('storage_limit = "25 °C"\nexcursion_time = "2 d"'), "stock.0.excursion_temperature: found nothing"),
    (stock('storage_limit = "25 °C"\nexcursion_temperature = "38 °C"'), "stock.0.excursion_time: found nothing"),
    (stock('excursion_temperature = "38 °C"\nexcursion_time = "2 d"'), "stock.0.storage_limit: found nothing"),
    (stock('storage_limit = "25 °C"\nexcursion_temperature = "25 °C"\nexcursion_time = "2 d"'),
     "stock.0.excursion_temperature: found '25 °C'; allowed: more than storage_limit = 25 °C"),
    (stock("") + stock(""), "stock.1.batch: found 'A' again, which stands in stock.0; allowed: one row for each item, "
     "width, diameter and batch. To mend: add the counts in one row"),
    ('[order]\nspare_confidence = "40 %"\n', "order.spare_confidence: found '40 %'; allowed: at least 50 %")])
def test_a_fault_says_where_it_is_what_is_allowed_and_how_to_mend_it(folder, text, wanted):
    found = faults(folder, text)
    assert len(found) == 1 and wanted in found[0] and found[0].startswith("CAMPAIGN.toml, line ")


def test_all_faults_are_told_at_once_in_the_order_of_the_file(folder):
    found = faults(folder, FULL.replace('"365 d"', '"365"').replace('"field.csv"', '"f.csv"').replace('"US"', '"UK"'))
    assert [f.split(": ")[1] for f in found] == ["campaign.display", "select.deadline_within", "measured.file"]


def test_what_is_missing_in_the_head_is_asked_for(folder):
    found = faults(folder, 'schema_version = "1"\n[campaign]\nname = ""\nlisting = "l.csv"\n', whole=True)
    assert [f.split(": ")[1] for f in found] == ["campaign.mapping", "campaign.name", "campaign.listing"]
    assert faults(folder, "[campaign]\n", whole=True)[0].startswith("CAMPAIGN.toml: schema_version: found nothing")
    assert "CAMPAIGN.toml: the file: found nothing: it is empty" in faults(folder, "", whole=True)[0]


def test_every_field_has_a_question():
    assert all(info.description for _, info in walk(Campaign))


def test_rows_of_the_shelf_of_other_sizes_or_batches_stand_beside_each_other(folder):
    unit = 'width = "260 mm"\ndiameter = "406.4 mm"'
    text = "".join((stock(unit), stock(unit.replace("260", "170")), stock(unit).replace('"A"', '"B"'), stock("")))
    assert len(load_campaign(helper.campaign(folder, 1, text + stock('storage_limit = "25 °C"').replace('"A"', '"C"'))
                             ).sheet.stock) == 5


def test_every_row_of_the_shelf_tells_all_that_it_lacks(folder):
    assert [f.split(": ")[1] for f in faults(folder, '[[stock]]\nitem = "unit"\n[[stock]]\nitem = "adhesive"\n')] == [
        *(f"stock.0.{key}" for key in ("count", "batch", "expiry", "width", "diameter")),
        *(f"stock.1.{key}" for key in ("count", "batch", "expiry"))]


def test_the_cure_is_not_asked_for_among_the_fixed_hours():
    """It is a term of its own in the expected hours: counted there once."""
    asked = dict(walk(Campaign))["dig.hours_fixed"].description
    assert "strip, blast, measure, coat" in asked and "cure" not in asked

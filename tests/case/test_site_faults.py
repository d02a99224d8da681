"""What a case says about the site: contradictions and gaps, one message for each."""

import pytest
import tomlkit

from wrapcalc.case import load_bundle
from wrapcalc.errors import CaseFaults


@pytest.fixture
def faults(example):
    """faults(changes) -> faults of HB-07 with these fields changed; None takes one out."""
    def read(**fields):
        data = tomlkit.parse((example / "HB-07.toml").read_text("utf-8")).unwrap()
        for dotted, value in fields.items():
            table, _, key = dotted.partition("__")
            if not key:
                data[table] = value
            elif value is None:
                data[table].pop(key, None)
            else:
                data.setdefault(table, {})[key] = value
        path = example / "changed.toml"
        path.write_text(tomlkit.dumps(data), "utf-8")
        try:
            load_bundle(path)
        except CaseFaults as e:
            return e.faults
        return []
    return read


@pytest.mark.parametrize(("fields", "field", "found", "allowed"), [
    ({"location__longitude": None}, "location.longitude", "nothing", "latitude and longitude together"),
    ({"location__latitude": 91}, "location.latitude", "'91'", "at most 90"),
    ({"location__datum": None}, "location.datum", "nothing", "the datum"),
    ({"location__from_upstream_weld": "11.9 m"}, "location.from_upstream_weld", "'11.9 m'", "joint_length = 11.866 m"),
    ({"location__from_downstream_weld": "6.2 m"}, "location.from_downstream_weld", "'6.2 m'", "7440 mm"),
    ({"defect__clear_upstream": "5 m"}, "defect.clear_upstream", "'5 m'", "location.from_upstream_weld = 4.19 m"),
    ({"location__second_point_log": None}, "location.second_point_log", "nothing", "both reference points"),
    ({"location__second_point_survey": "12 km"}, "location.second_point_survey", "'12 km'", "alike in log and survey"),
    ({"location__log_distance": "9000 m"}, "location.log_distance", "'9000 m'", "between the two"),
    ({"location__due": "30.9.2026"}, "location.due", "'30.9.2026'", "year-month-day"),
    ({"work__planned_start": "2026-10-06T07:00"}, "work.planned_start", "'2026-10-06T07:00', which has no time zone",
     "offset from UTC"),
    ({"work__planned_start": "6 October"}, "work.planned_start", "'6 October'", "offset from UTC"),
    ({"work__planned_start": "2026-10-06"}, "work.planned_start", "'2026-10-06'", "a date and time of day"),
    ({"work__planned_start": None}, "work.planned_start", "nothing", "with a forecast"),
    ({"work__air_low": "25 °C"}, "work.air_low", "'25 °C'", "at most air_high = 19 °C"),
    ({"work__steel_low": "19 °C"}, "work.steel_low", "'19 °C'", "at most steel_high = 18 °C"),
    ({"work__temperature_error": "20 °C"}, "work.temperature_error", "'20 °C'", "at most 5 °C"),
    ({"work__coating_thickness": None}, "work.coating_thickness", "nothing", "the voltage of the holiday test"),
    ({"work__holiday_standard": "NACE SP0188"}, "work.holiday_standard", "'NACE SP0188'", "NACE SP0188-2006"),
    ({"work__window_share": 0.7}, "work.window_share", "the bare number 0.7", "%"),
    ({"excavation__soil": "type D"}, "excavation.soil", "'type D'", "stable rock"),
    ({"joint": [{"side": "upstream"}]}, "joint.0.length", "nothing", "side, length of each [[joint]]"),
    ({"joint": "117"}, "joint", "'117'", "tables [[joint]]"),
    ({"stock": [{"item": "filler", "count": 2, "batch": "F", "expiry": "2027-01-01", "storage_limit": "25 °C",
                 "excursion_time": "3 d"}]}, "stock.0.excursion_temperature", "nothing", "together"),
    ({"stock": [{"item": "filler", "count": 2, "batch": "F", "expiry": "2027-01-01", "storage_limit": "25 °C",
                 "excursion_temperature": "20 °C", "excursion_time": "3 d"}]}, "stock.0.excursion_temperature",
     "'20 °C'", "more than storage_limit = 25 °C"),
    ({"stock": [{"item": "filler", "count": 2, "batch": "F", "expiry": "2027-01-01", "layers": 8}]}, "stock.0.layers",
     "'8' of filler", "layers of unit"),
])
def test_one_fault_one_message(faults, fields, field, found, allowed):
    fault = next((f for f in faults(**fields) if f.field == field), None)
    assert fault is not None and fault.found == found and allowed in fault.allowed and fault.mend


def test_a_row_of_blanks_is_not_stated(faults):
    assert faults(joint=[{"side": "", "number": "", "length": "", "seam_clock": ""}]) == []


def test_a_stretch_needs_the_weld_that_it_is_measured_from(faults):
    found = faults(location__from_upstream_weld=None)
    assert [f.field for f in found] == ["location.from_upstream_weld"]

"""What is told of methods that do not govern."""

import numpy as np

from wrapcalc.campaign.rows.lower_methods import LowerMethods
from wrapcalc.campaign.rows.method_rows import METHODS
from wrapcalc.campaign.rows.strength import NO_REPAIR, REPAIR

ORIGINAL, MODIFIED, SINGLE = METHODS[2:5]


def judged(*rows):
    """(safe pressure, that of the single-defect method, disposition) at a MAOP of 8 MPa."""
    safe, single, word = np.array(rows, float).T
    return {"safe_pressure": safe, "repair_factor": 8 / safe, "disposition": word.astype(np.uint8),
            f"safe {ORIGINAL}": safe, f"safe {SINGLE}": single}


def test_rows_below_the_maop_by_another_method_are_told_by_number_over_all_windows():
    lower = LowerMethods()
    lower.add(judged((9, 8.5, NO_REPAIR), (9, 7.9, NO_REPAIR), (7, 6, REPAIR), (9, 9.5, NO_REPAIR)))
    lower.add(judged((np.nan, 5, NO_REPAIR), (9, np.nan, NO_REPAIR), (8.5, 7.5, NO_REPAIR)))
    assert (lower.rows, lower.below) == (4, 2)
    first, second = lower.told
    assert "in 4 rows (" in first and " 4)" in first
    assert second.startswith("2 rows marked 'no repair needed' are below the MAOP") and " 2)" in second


def test_what_is_not_lower_is_not_told():
    lower = LowerMethods()
    lower.add(judged((9, 9, NO_REPAIR), (9, 9.1, NO_REPAIR)))
    lower.add({"disposition": np.zeros(3)})  # other damage alone has no pressure
    assert lower.told == ()

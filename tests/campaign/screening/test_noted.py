"""Notes about rows: counted over the whole listing, the first rows named, the same whatever the blocks."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from wrapcalc.campaign.screening.noted import Noted, rows_in_words


def test_a_note_counts_its_rows_and_names_the_first():
    noted = Noted()
    noted.add("odd", np.array([9]))
    noted.add("nothing", np.array([], int))
    assert noted.texts == ("1 row (row 9): odd.",)
    noted.add("odd", np.array([3, 8, 7, 5, 4, 6]))
    assert noted.texts == ("7 rows (rows 3, 4, 5, 6, 7 and more): odd.",)


def test_a_few_rows_are_all_named():
    assert rows_in_words(np.array([3, 7])) == "rows 3, 7"


@given(st.sets(st.integers(1, 10_000), min_size=1, max_size=40), st.randoms(), st.integers(1, 9))
def test_the_order_of_rows_and_the_size_of_blocks_change_no_note(rows, random, size):
    whole, parts = Noted(), Noted()
    whole.add("odd", np.array(sorted(rows)))
    mixed = sorted(rows)
    random.shuffle(mixed)
    for k in range(0, len(mixed), size):
        parts.add("odd", np.array(mixed[k:k + size]))
    assert parts.texts == whole.texts

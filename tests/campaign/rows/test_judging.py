"""What stands in rows that act as one, and codes of texts that come up."""

import numpy as np

from wrapcalc.campaign.rows.judging import Words, gravest, take_graver
from wrapcalc.campaign.rows.strength import DISPOSITIONS

NO, REDUCE, REPAIR, OTHER, NO_DATA = (DISPOSITIONS.index(w) for w in (
    "no repair needed", "reduce pressure and monitor", "repair", "other repair needed", "insufficient data"))


def answers(pressure, word, days, layers):
    n = len(pressure)
    return {"safe_pressure": np.array(pressure, float), "depth_used": np.array(pressure, float) * 10,
            "disposition": np.array(word, np.uint8), "reason": np.array(word, np.int16) + 100 * n,
            "deadline_days": np.array(days, float), "deadline": np.arange(n, dtype=np.int16) + 10 * n,
            "layers": np.array(layers, float), "wrap_feasible": ~np.isnan(np.array(layers, float))}


def test_the_lower_pressure_the_graver_word_and_the_earlier_deadline_stand():
    alone = answers([8, 9, 7, np.nan, 5], [NO, REPAIR, REPAIR, NO_DATA, NO], [np.inf, 180, 0, np.inf, 7],
                    [np.nan, 2, 2, np.nan, np.nan])
    one = answers([7.5, np.nan], [REPAIR, NO_DATA], [365, np.inf], [4, np.nan])
    before = {n: v.copy() for n, v in alone.items()}
    take_graver(alone, one, np.array([0, 1, 2, 3]), np.array([0, 0, 1, 1]))
    np.testing.assert_array_equal(alone["safe_pressure"], [7.5, 7.5, np.nan, np.nan, 5])
    np.testing.assert_array_equal(alone["depth_used"], [75, 75, np.nan, np.nan, 50])  # sizes go with the pressure
    # what cannot be judged as one never takes a repair away
    assert alone["disposition"].tolist() == [REPAIR, REPAIR, REPAIR, NO_DATA, NO]
    assert alone["deadline_days"].tolist() == [365, 180, 0, np.inf, 7]
    assert alone["deadline"].tolist() == [20, 51, 52, 21, 54]
    np.testing.assert_array_equal(alone["layers"], [4, 4, 2, np.nan, np.nan])
    assert all(v[4] == before[n][4] or np.isnan(v[4]) for n, v in alone.items())


def test_columns_that_only_the_answer_as_one_has_come_in():
    alone = {n: v for n, v in answers([8, 9], [NO, NO], [np.inf, np.inf], [np.nan] * 2).items() if n != "layers"}
    take_graver(alone, answers([7], [REPAIR], [np.inf], [6]), np.array([1]), np.array([0]))
    np.testing.assert_array_equal(alone["layers"], [np.nan, 6])


def test_a_wrap_does_not_stay_where_another_repair_is_needed():
    alone = answers([8], [REPAIR], [np.inf], [3])
    take_graver(alone, answers([7], [OTHER], [np.inf], [np.nan]), np.array([0]), np.array([0]))
    assert alone["disposition"].tolist() == [OTHER] and np.isnan(alone["layers"][0]) and not alone["wrap_feasible"][0]


def test_the_gravest_word_of_each_group():
    words, of = np.array([NO, NO_DATA, REPAIR, NO_DATA, REDUCE, NO]), np.array([0, 0, 1, 1, 2, 2])
    assert gravest(words, of, 3).tolist() == [NO_DATA, REPAIR, REDUCE]


def test_codes_in_the_end_do_not_depend_on_which_text_came_up_first():
    one, two = Words(), Words()
    a, b = [one.code(t) for t in ("b", "a", "c", "a")], [two.code(t) for t in ("c", "b", "a", "a")]
    (texts, new), (same, other) = one.sorted(), two.sorted()
    assert texts == same == ("", "a", "b", "c")
    assert [texts[new[k]] for k in a] == ["b", "a", "c", "a"] and [texts[other[k]] for k in b] == ["c", "b", "a", "a"]

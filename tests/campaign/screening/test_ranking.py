"""The order of the ranking, held against a plain sort in Python, whatever the order of the rows and their blocks."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wrapcalc.campaign.screening import ranking
from wrapcalc.campaign.tables import spill, tables
from wrapcalc.campaign.tables.tables import CODE, NUMBER, TEXT, WHOLE, Column

COLUMNS = (Column("row", WHOLE), Column("feature_id", TEXT), Column("late", NUMBER, "d"), Column("factor"),
           Column("share"), Column("place", NUMBER, "mm"), Column("kind", CODE, words=("a", "b")))
NAMES = ["feature_id", "late", "factor", "share", "place", "kind"]


def listing(count: int, seed: int = 3) -> dict[str, np.ndarray]:
    """Rows with many equal keys and some that are not known."""
    random = np.random.default_rng(seed)

    def pick(*values):
        return random.choice(np.array(values, float), count)
    return {"row": np.arange(count), "feature_id": np.array([f"F{random.integers(9)}" for _ in range(count)], object),
            "late": pick(0, 180, np.inf, np.inf), "factor": pick(0.5, 1.2, np.nan), "share": pick(0.1, 0.7, np.nan),
            "place": pick(0, 10, 20, np.nan), "kind": random.integers(0, 2, count)}


def plain_key(b, i):
    """The order in words of Python; what is left equal is told by the ranking's own number."""
    def greatest(x):
        return -math.inf if math.isnan(x) else -x
    return (b["late"][i], greatest(b["factor"][i]), greatest(b["share"][i]),
            math.inf if math.isnan(b["place"][i]) else b["place"][i])


def order_of(b, step, budget, tmp_path, rows=7, bucket=ranking.BUCKET):
    keys, store = ranking.Keys(), spill.Store(tmp_path / "rows.arrow", tables.schema(COLUMNS), budget)
    for i in range(0, len(b["row"]), step):
        part = {k: v[i:i + step] for k, v in b.items()}
        made = tables.batch(COLUMNS, part)
        keys.add(part["late"], part["factor"], part["share"], part["place"], ranking.mixed(made, NAMES))
        store.add(made)
    out = list(ranking.ranked(store, keys.order(), tmp_path, rows, bucket))
    store.drop()
    return out


def taken(b, at):
    return {k: v[at] for k, v in b.items()}


def plain(batches):
    return [tuple(r.values()) for p in batches for r in p.to_pylist()]


@pytest.mark.parametrize("budget", [0, 3000, 10 ** 9])
@pytest.mark.parametrize("count", [0, 1, 6, 7, 8, 200])
def test_the_order_is_that_of_a_plain_sort(tmp_path, budget, count):
    b = listing(count)
    rows = plain(order_of(b, 16, budget, tmp_path, bucket=21))
    assert sorted(r[0] for r in rows) == list(range(count))  # nobody is lost, nobody stands twice
    keys = [plain_key(b, r[0]) for r in rows]
    assert keys == sorted(keys)
    assert not list(tmp_path.iterdir())


@given(st.integers(0, 2 ** 32), st.integers(1, 60))
def test_neither_order_nor_blocks_of_the_rows_matter(tmp_path_factory, seed, step):
    b = listing(60, seed % 7)
    folder = tmp_path_factory.mktemp("ranks")
    one = order_of(b, 60, 10 ** 9, folder)
    shuffled = taken(b, np.random.default_rng(seed).permutation(60))
    two = order_of(shuffled, step, seed % 2 * 10 ** 9, folder, bucket=14)
    assert [r[1:] for r in plain(one)] == [r[1:] for r in plain(two)]


def test_what_could_not_be_judged_is_not_behind_what_could(tmp_path):
    b = taken(listing(3), [0, 0, 0]) | {"row": np.arange(3), "late": np.full(3, np.inf),
                                        "factor": np.array([5.0, np.nan, 0.1])}
    assert [r[0] for r in plain(order_of(b, 3, 0, tmp_path))] == [1, 0, 2]


@pytest.mark.parametrize("budget", [0, 10 ** 9])
def test_batches_have_the_size_asked_for(tmp_path, budget):
    assert [p.num_rows for p in order_of(listing(50), 8, budget, tmp_path, rows=20, bucket=20)] == [20, 20, 10]


def test_the_number_of_a_row_rests_on_all_that_stands_in_it():
    long = "x" * 200
    texts = ["", "a", "b", "ab", "ba", "abcdefgh", "abcdefghi", "abcdefgh\0", long, long + "y", "x" * 64, "é"]
    part = tables.batch(COLUMNS, taken(listing(1), [0] * len(texts)) | {"feature_id": np.array(texts, object)})
    whole = ranking.mixed(part, NAMES)
    assert len(set(whole.tolist())) == len(texts)
    alone = [int(ranking.mixed(part.slice(i, 1), NAMES)[0]) for i in range(len(texts))]
    assert alone == whole.tolist()


def test_another_number_in_any_column_gives_another_number_of_the_row():
    b = listing(1) | {"late": np.array([1.0]), "factor": np.array([1.0])}
    base = ranking.mixed(tables.batch(COLUMNS, b), NAMES)
    for name in NAMES[1:]:
        other = ranking.mixed(tables.batch(COLUMNS, b | {name: b[name] * 0 + (1 - b["kind"][0] if name == "kind"
                                                                              else 77)}), NAMES)
        assert other[0] != base[0]


def test_files_on_the_way_are_taken_away_when_the_reader_stops(tmp_path):
    b, keys = listing(100), ranking.Keys()
    store = spill.Store(tmp_path / "rows.arrow", tables.schema(COLUMNS), 0)
    made = tables.batch(COLUMNS, b)
    store.add(made)
    keys.add(b["late"], b["factor"], b["share"], b["place"], ranking.mixed(made, NAMES))
    reader = ranking.ranked(store, keys.order(), tmp_path, 10, 20)
    next(reader)
    reader.close()
    store.drop()
    assert not list(tmp_path.iterdir())

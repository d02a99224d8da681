"""Batches between two passes, and the faults of rows that go through them."""

import csv
import io

import numpy as np
import pyarrow as pa
import pytest

from wrapcalc.campaign.listing.blocks import RowFault
from wrapcalc.campaign.screening.faults_file import FaultsFile
from wrapcalc.campaign.tables.spill import Store, recut

SCHEMA = pa.schema([("n", pa.int64()), ("t", pa.string())])


def batches(*sizes):
    start, out = 0, []
    for n in sizes:
        out.append(pa.record_batch([pa.array(np.arange(start, start + n)), pa.array([f"t{i}" for i in range(n)])],
                                   schema=SCHEMA))
        start += n
    return out


@pytest.mark.parametrize("budget", [0, 100, 10 ** 6])
def test_what_went_in_comes_out_in_its_order(tmp_path, budget):
    store = Store(tmp_path / "x.arrow", SCHEMA, budget)
    for b in batches(3, 0, 5, 2):
        store.add(b)
    assert (store.rows, store.sizes) == (10, [3, 5, 2])
    for _ in range(2):  # as often as it is asked for
        assert pa.Table.from_batches(store.batches()) == pa.Table.from_batches(batches(3, 5, 2))
    assert (tmp_path / "x.arrow").exists() == (store.kept is None)
    store.drop()
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("rows", [1, 4, 5, 10, 99])
def test_batches_are_cut_anew(rows):
    got = list(recut(batches(3, 0, 5, 2), rows))
    assert [g.num_rows for g in got] == [rows] * (10 // rows) + ([10 % rows] if 10 % rows else [])
    plain = [r for b in batches(3, 5, 2) for r in b.to_pylist()]
    assert [r for g in got for r in g.to_pylist()] == plain


def test_faults_stand_in_the_order_of_the_rows_and_are_safe(tmp_path):
    made = tmp_path / "out"
    made.mkdir()
    with FaultsFile(made / "faults.csv", tmp_path) as faults:
        assert faults.add([RowFault(9, "Depth", "'x'", "a number", "write it"),
                           RowFault(9, "Width", "=1+1", "a number", "write it")]) == 1
        faults.add([])
        faults.add([RowFault(4, "Clock", "'24:30'", "a clock", "write 4:30")])
    rows = list(csv.reader(io.StringIO((made / "faults.csv").read_bytes().decode("utf-8-sig"))))
    assert rows[0] == ["row", "column", "found", "allowed", "mend"]
    assert [r[:3] for r in rows[1:]] == [["4", "Clock", "'24:30'"], ["9", "Depth", "'x'"], ["9", "Width", "'=1+1"]]
    assert faults.rows == 2 and [p.name for p in tmp_path.iterdir()] == ["out"]


def test_faults_of_a_run_that_failed_are_not_written(tmp_path):
    with pytest.raises(KeyboardInterrupt), FaultsFile(tmp_path / "faults.csv", tmp_path) as faults:
        faults.add([RowFault(9, "Depth", "'x'", "a number", "write it")])
        raise KeyboardInterrupt
    assert not list(tmp_path.iterdir())

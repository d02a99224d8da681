"""Small listings and mappings for the tests of the reader."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from wrapcalc.campaign.listing.blocks import Block, RowFault
from wrapcalc.campaign.listing.mapping import Mapping, load_mapping
from wrapcalc.campaign.listing.read import read_blocks
from wrapcalc.errors import CaseFaults

HEADINGS = ["Id", "Type", "Log", "Depth", "Length", "Clock", "Note"]
COLUMNS = {"feature_id": '{ column = "Id" }', "log_distance": '{ column = "Log", unit = "m" }',
           "kind": '{ column = "Type", words = { "ML ext" = "external metal loss" } }',
           "depth": '{ column = "Depth", unit = "% of nominal wall" }', "length": '{ column = "Length", unit = "mm" }',
           "clock": '{ column = "Clock", unit = "h:mm" }', "comment": '{ column = "Note" }'}
ROW = ["F1", "ML ext", "12.5", "45", "30", "4:30", "near seam"]


def mapping_text(listing: str = 'decimal = "point"', more: str = "", table: str = '[line]\nbase = "base.toml"',
                 **columns: str | None) -> str:
    """A mapping file; columns: our name -> its table, None for none."""
    stated = {n: c for n, c in (COLUMNS | columns).items() if c is not None}
    rows = "\n".join(f"{n} = {c}" for n, c in stated.items())
    return f'schema_version = "1"\n[listing]\n{listing}\n[columns]\n{rows}\n{table}\n{more}\n'


def mapping(folder: Path, *args: str, **columns: str | None) -> Mapping:
    path = folder / "mapping.toml"
    path.write_text(mapping_text(*args, **columns), encoding="utf-8")
    return load_mapping(path)


def csv_file(folder: Path, *rows: list[str], head: list[str] | None = None, name: str = "listing.csv",
             delimiter: str = ",") -> Path:
    path = folder / name
    lines = [delimiter.join(r) for r in [HEADINGS if head is None else head, *rows]]
    path.write_bytes(("\n".join(lines) + "\n").encode())
    return path


def row(**cells: Any) -> list:
    """ROW with other cells, by heading."""
    return [cells.get(h, c) for h, c in zip(HEADINGS, ROW, strict=True)]


def whole(blocks: Any) -> Block:
    """All blocks as one."""
    blocks = list(blocks)
    return Block(np.concatenate([b.row for b in blocks]),
                 {n: np.concatenate([b.columns[n] for b in blocks]) for n in blocks[0].columns},
                 [f for b in blocks for f in b.faults])


def read(path: Path, how: Mapping, rows: int = 65_536) -> Block:
    return whole(read_blocks(path, how, rows))


def only_fault(path: Path, how: Mapping) -> RowFault:
    found = read(path, how).faults
    assert len(found) == 1, found
    return found[0]


def refused(call: Any, *args: Any) -> str:
    """What is said of a file that is refused."""
    try:
        out = call(*args)
        if hasattr(out, "__next__"):
            list(out)
    except CaseFaults as e:
        return str(e)
    raise AssertionError("it was not refused")

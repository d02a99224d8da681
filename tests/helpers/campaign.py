"""A small campaign whose screening is a table of ours and whose cases are copies of the example.

For tests of what comes after the screening. As a program it runs such a campaign, so that it can be killed.
"""

from __future__ import annotations

import sys
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np

from wrapcalc.campaign import run as runs
from wrapcalc.campaign.cases import sources

COLUMNS: dict[str, Any] = {
    "row": 0, "feature_id": "", "kind": "external metal loss", "survey [mm]": 0.0, "clock [h]": 6.0,
    "depth [mm]": 3.4, "relative depth": 0.4,
    "length [mm]": 180.0, "wall [mm]": 8.7, "disposition": "repair", "reason": "", "deadline days [d]": np.inf,
    "repair factor": 1.2, "safe pressure [MPa]": 7.0, "repair": "", "under repair": ""}

CAMPAIGN = """schema_version = "1"
[campaign]
name = "season of 2026 (invented)"
listing = "listing.csv"
mapping = "mapping.toml"
prepared_by = "E. Example"
"""


def rows(*given: dict[str, Any]) -> list[dict[str, Any]]:
    """Rows of a ranked table, what is not given as in COLUMNS."""
    return [COLUMNS | {"row": i + 2, "feature_id": f"M-{i + 1:02d}"} | g for i, g in enumerate(given)]


def write_ranked(path: Path, table: list[dict[str, Any]]) -> None:
    import pyarrow as pa
    from pyarrow import parquet
    parquet.write_table(pa.table({n: [r[n] for r in table] for n in COLUMNS}), path)


def block(table: list[dict[str, Any]]) -> dict[str, np.ndarray]:
    """The same rows as arrays, headings without units."""
    from wrapcalc.campaign.cases.selection import plain_heading
    return {plain_heading(n): np.array([r[n] for r in table], dtype=object if isinstance(d, str) else None)
            for n, d in COLUMNS.items()}


def campaign(folder: Path, count: int, more: str = "") -> Path:
    """The folder of a campaign with `count` rows to repair; its CAMPAIGN.toml."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "listing.csv").write_text(f"{count}\n", encoding="utf-8")
    (folder / "mapping.toml").write_text("", encoding="utf-8")
    path = folder / "CAMPAIGN.toml"
    path.write_text(CAMPAIGN + more, encoding="utf-8")
    return path


def fake_screen(plan: Any, folder: Path) -> None:
    """As many rows as the listing says."""
    folder.mkdir()
    write_ranked(folder / "ranked.parquet", rows(*[{}] * int(plan.listing.read_text())))
    (folder / "screening.json").write_text('{"totals": {"faulty": 0}}', encoding="utf-8")


class FakeCases:
    """Copies of one case of the example, with a depth of its own each."""

    def __init__(self, plan: Any, measured: Any, allowed: Any = None):
        with resources.as_file(resources.files("wrapcalc.example")) as example:
            self.text = (Path(example) / "HB-02.toml").read_text(encoding="utf-8")

    def files(self, chosen: Any) -> tuple[dict[str, bytes], list]:
        text = self.text.replace('id = "HB-02"', f'id = "{chosen.case_id}"')
        return {f"{chosen.case_id}.toml": f"# row {chosen.lead['row']}\n{text}".encode()}, []

    def as_measured(self, blocks: Any) -> dict:
        return {}

    def reaching(self, blocks: Any) -> list[str]:
        return []

    def told(self) -> list[str]:
        return []


def fake() -> None:
    sources.screen = fake_screen  # type: ignore[assignment]
    sources.Cases = FakeCases  # type: ignore[assignment, misc]


def records(out: Path) -> dict[str, bytes]:
    """Package -> bytes of its record."""
    return {p.parent.name: p.read_bytes() for p in sorted((out / "packages").glob("*/record.json"))}


def main() -> int:
    """CAMPAIGN OUT WORKERS [SCHEDULER]"""
    fake()
    from wrapcalc.errors import WrapcalcError
    path, out, workers, *scheduler = sys.argv[1:]
    try:
        runs.run_campaign(Path(path), Path(out), workers=int(workers), scheduler=scheduler[0] if scheduler else None,
                          progress=lambda p: print(p.finished, p.total, p.result.state, flush=True),
                          fail=lambda line: print("FAILED", line, flush=True))
    except WrapcalcError as e:
        print(e, flush=True)
        return 2
    except KeyboardInterrupt:
        print("stopped", flush=True)
        return 130
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""The bias of the run carried as an allowance on depth, when the user chooses so.

The listing is screened once as it is; the depths of its rows against those of the ditch give the allowance; then it is
screened again with a base case whose allowance on depth is that much greater. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from wrapcalc import units
from wrapcalc.campaign.cases.sources import base_case
from wrapcalc.campaign.ledger import inputs
from wrapcalc.campaign.measured.measured import Measured
from wrapcalc.campaign.measured.run_bias import FEWEST, Bias, Pair, run_bias
from wrapcalc.campaign.model import Plan
from wrapcalc.errors import CaseFaults, Fault
from wrapcalc.reading import line_numbers, shown_name


def pairs(blocks: Iterable[Mapping[str, np.ndarray]], measured: Measured) -> list[Pair]:
    """Listing and field depth of the features that were measured, in the order of the ranking. measured: as
    `measured_rows.matched` gives it."""
    field = {measured.at[i]: r.sizes["depth"] for i, r in measured.rows.items() if "depth" in r.sizes}
    out = []
    for block in blocks:
        known = np.isin(block["row"], list(field)) & np.isfinite(block["depth"]) & np.isfinite(block["wall"])
        for i in np.flatnonzero(known).tolist():
            out.append(Pair(str(block["feature_id"][i]), float(block["depth"][i]), field[int(block["row"][i])],
                            float(block["wall"][i])))
    return out


def carried(plan: Plan, found: list[Pair]) -> tuple[float, Bias]:
    """The allowance that is carried, rounded to what is written in the base case, and the bias it comes from. Raises
    CaseFaults when the pairs are too few."""
    if len(found) < FEWEST:
        raise CaseFaults([Fault(shown_name(plan.path), "bias.carry", f"'yes', with {len(found)} features that have a "
                                "depth in the listing and in the field measurements", f"at least {FEWEST} of them",
                                "measure more, or write carry = \"no\"",
                                line_numbers(plan.raw).get("bias.carry"))])
    bias = run_bias(found, tolerance=None)
    return float(np.ceil(bias.allowance(str(plan.sheet.bias.reason)) * 1000 - 1e-9) / 1000), bias


def with_allowance(plan: Plan, more: float, folder: Path) -> Plan:
    """The campaign with a copy of mapping and base case, in `folder`, whose allowance on depth is `more` greater."""
    import tomlkit
    base = base_case(plan.mapping)
    assert base is not None  # it was screened with it
    folder.mkdir(parents=True, exist_ok=True)
    for name, raw in inputs(base)[1].items():
        (folder / name).write_bytes(raw)
    text = tomlkit.parse(base.read_text(encoding="utf-8-sig"))
    defect: Any = text.setdefault("defect", tomlkit.table())
    stated = defect.get("depth_allowance", "")
    stated = stated.get("value", "") if isinstance(stated, dict) else stated
    magnitude, unit = units.parse(str(stated), "length") if stated else (0.0, "mm")
    cell = tomlkit.inline_table()
    cell.update({"value": f"{units.to_base(magnitude, unit, 'length') + more:.6g} mm", "source_kind": "derived",
                 "source": f"{stated or '0 mm'} of the base case and {more:g} mm for the bias of the run against field "
                           f"depths: {plan.sheet.bias.reason}"})
    defect["depth_allowance"] = cell
    (folder / base.name).write_text(tomlkit.dumps(text), encoding="utf-8", newline="\n")
    mapping = tomlkit.parse(plan.mapping.read_text(encoding="utf-8-sig"))
    mapping["line"]["base"] = base.name  # type: ignore[index]
    path = folder / plan.mapping.name
    path.write_text(tomlkit.dumps(mapping), encoding="utf-8", newline="\n")
    return replace(plan, mapping=path)

"""The end of a campaign: order, dig list, report and workbook beside its packages, and the outcome in lines."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from wrapcalc.campaign.folder import BY_SITE, DIG_LIST, HTML, ORDER, PDF, SEASON, WORKBOOK, put_in_place
from wrapcalc.campaign.report.report import write_report
from wrapcalc.campaign.report.roll_up import roll_up
from wrapcalc.campaign.run import SCREENING, TOLD, CampaignRun, told_bytes
from wrapcalc.campaign.screening.screen import FAULTS

TEMPLATE = "campaign.ipynb"


def finish(run: CampaignRun) -> list[str]:
    """Write all that is made of the packages; lines for the user. For `then` of run_campaign, which keeps other runs
    out of the folder until this one is through.

    All of it is made aside and put in place together. Raises PackageError when the folder cannot be written.
    """
    aside = Path(tempfile.mkdtemp(prefix=".aside-", dir=run.out))
    try:
        (aside / TOLD).write_bytes(told_bytes(run))
        data = roll_up(run, aside)
        write_report(aside)
        _workbook(aside)
        put_in_place(run.out, aside)
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    s = run.selection
    wraps = sum(p.decision == "wrap" for p in run.packaged)
    out = [f"{s.rows} anomalies ranked: {len(s.chosen)} repairs chosen, {len(s.left)} rows left with a reason",
           f"{len(run.packaged)} packages ({run.kept} of them finished before), {wraps} of them wrap, "
           f"{len(run.failures)} failed"]
    if run.faulty_rows:
        out.append(f"{run.faulty_rows} rows of the listing have faults and are in no ranking: {SCREENING}/{FAULTS}")
    out += [f"FAILED {f.case_id}: {f.message.splitlines()[0]}" for f in run.failures]
    out += data["missed"]
    if data["shortages"]:
        out.append(f"short: {'; '.join(data['shortages'])}")
    return [*out, *(f"wrote {run.out / n}" for n in (ORDER, BY_SITE, DIG_LIST, SEASON, HTML, PDF, WORKBOOK))]


def _workbook(folder: Path) -> None:
    """The workbook of the campaign, run in the folder that holds campaign.json and its roll-up."""
    from wrapcalc.package.build import template
    from wrapcalc.package.engine import run_notebook
    run_notebook(template(TEMPLATE), folder / WORKBOOK, {"campaign_folder": "."}, cwd=folder, isolated=False)

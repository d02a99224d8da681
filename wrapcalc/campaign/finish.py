"""The end of a campaign: order, dig list, report and workbook beside its packages, and the outcome in lines."""

from __future__ import annotations

from pathlib import Path

from wrapcalc.campaign.report.report import write_report
from wrapcalc.campaign.report.roll_up import BY_SITE, DIG_LIST, ORDER, SEASON, roll_up
from wrapcalc.campaign.run import SCREENING, CampaignRun, held
from wrapcalc.campaign.screening.screen import FAULTS

WORKBOOK, TEMPLATE = "campaign.ipynb", "campaign.ipynb"


def finish(run: CampaignRun) -> list[str]:
    """Write all that is made of the packages; lines for the user. Raises PackageError when the folder cannot be
    written or another run works in it."""
    with held(run.out):
        data = roll_up(run)
        html, pdf = write_report(run.out)
        _workbook(run.out)
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
        out.append(f"short: {', '.join(data['shortages'])}")
    return [*out, *(f"wrote {run.out / n}" for n in (ORDER, BY_SITE, DIG_LIST, SEASON, html.name, pdf.name, WORKBOOK))]


def _workbook(folder: Path) -> None:
    """The workbook of the campaign, run in its folder."""
    from wrapcalc.package.build import template
    from wrapcalc.package.engine import run_notebook
    aside = folder / f".aside-{WORKBOOK}"
    try:
        run_notebook(template(TEMPLATE), aside, {"campaign_folder": "."}, cwd=folder, isolated=False)
        aside.replace(folder / WORKBOOK)
    finally:
        aside.unlink(missing_ok=True)

"""The report of a campaign, from the files in its folder alone: HTML, PDF, and the parts that the workbook shows."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wrapcalc.campaign.folder import HTML, PDF, ROLL_UP, write_aside
from wrapcalc.campaign.report import anomalies, work
from wrapcalc.campaign.report.numbers import several
from wrapcalc.campaign.report.sections import Section
from wrapcalc.errors import PackageError
from wrapcalc.package.report import WARNING, environment

TOLD = "campaign.json"
CAUTIONS = (
    "NOT APPROVED: nothing of this is for construction before its package is approved. Local codes and licensed "
    "practice decide.",
    "Sizes are those that the inspection run reported, with the allowances of the base case, where nobody measured in "
    "the ditch. What is found there is held against each package before anybody begins (wrapcalc as-found).",
    "Until a repair is accepted its pressure limit holds for the whole hydraulic section: it is held at its lowest.")


@dataclass(frozen=True)
class Report:
    """What a campaign left, ready to print. about: texts of the first page."""

    about: dict[str, Any]
    sections: tuple[Section, ...]


def read_report(folder: Path) -> Report:
    """The report of a campaign's folder. Raises PackageError when its files are not there, cannot be read, or are not
    of one run."""
    raw = _read(folder, TOLD, "name the folder of a campaign that was run")
    rolled = _read(folder, ROLL_UP, "the campaign was stopped before its order, dig list and report were made: run it "
                   "again to go on")
    try:
        told, data = json.loads(raw), json.loads(rolled)
    except ValueError:
        raise PackageError(f"{folder}: {TOLD} or {ROLL_UP} is damaged; run the campaign again") from None
    if not isinstance(data, dict) or data.get("of") != hashlib.sha256(raw).hexdigest():
        raise PackageError(f"{folder}: {ROLL_UP} was made of another {TOLD} than the one beside it: order, dig list "
                           "and report are not of these cases; run the campaign again")
    return Report(_about(told, data), (*anomalies.sections(told, data), *work.sections(told, data)))


def _read(folder: Path, name: str, mend: str) -> bytes:
    try:
        return (folder / name).read_bytes()
    except OSError as e:
        raise PackageError(f"{folder}: {name} cannot be read ({e.strerror or e}); {mend}") from None


def write_report(folder: Path) -> tuple[Path, Path]:
    """Write campaign.html and campaign.pdf into a folder with campaign.json and its roll-up; the same files give the
    same bytes."""
    from jinja2 import ChoiceLoader, PackageLoader
    from markupsafe import Markup

    from wrapcalc.package.glyphs import share_glyphs
    from wrapcalc.package.pdf import html_to_pdf
    from wrapcalc.render import items
    report = read_report(folder)
    env = environment()
    env.loader = ChoiceLoader([PackageLoader("wrapcalc.campaign.report", "templates"), env.loader])  # type: ignore[list-item]
    html = share_glyphs(env.get_template("campaign.html").render(
        s=report.about, sections=report.sections, warning=WARNING,
        bodies=[tuple(map(Markup, x.lead_and_rest())) for x in report.sections], fragment_style=Markup(items.STYLE)))
    write_aside(folder / HTML, html.encode())
    html_to_pdf(html, folder / PDF)
    return folder / HTML, folder / PDF


def _about(told: Mapping[str, Any], data: Mapping[str, Any]) -> dict[str, Any]:
    c, chosen = told["campaign"], told["chosen"]
    wraps = sum(p["decision"] == "wrap" for p in told["packages"])
    asked = sum(n for w, n in data["dispositions"].items() if w in ("repair", "other repair needed"))
    failed = f", {len(told['failures'])} failed" if told["failures"] else ""
    missed = len(data["missed"])
    dug = sum(len(x["rows"]) for x in chosen)
    return {
        "name": c["name"], "paper": c["paper"], "version": told["wrapcalc"],
        "listing_sha256": str(told["made_from"].get("listing", "")),
        "headline": f"{several(told['ranked_rows'], 'anomaly', 'anomalies')} ranked, "
                    f"{several(len(chosen), 'repair', 'repairs')} chosen, {len(told['left'])} left with a reason",
        "sentences": [
            f"By the listing {several(asked, 'anomaly asks', 'anomalies ask')} for a repair. The repairs chosen hold "
            f"{several(dug, 'anomaly', 'anomalies')}: {several(len(told['packages']), 'package', 'packages')}{failed}; "
            f"{wraps} of them wrap.",
            f"Selection: {told['rule']}.",
            *([f"{missed} deadline{'s are' if missed > 1 else ' is'} not met or not known to be: see Season."]
              if missed else [])],
        "cautions": CAUTIONS}

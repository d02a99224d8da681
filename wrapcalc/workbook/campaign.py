"""The calls of the campaign's workbook: open its folder, show its parts."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

from wrapcalc.campaign.report.report import Report, read_report
from wrapcalc.errors import CaseFaults, PackageError, UnknownItem, WrapcalcError
from wrapcalc.workbook.named import named
from wrapcalc.workbook.shown import Shown

#: JupyterLab aligns the cells of every table to the right.
_TABLES = (".wc table.list th, .wc table.list td { text-align: left; } "
           ".wc table.list th.n, .wc table.list td.n { text-align: right; white-space: nowrap; }")


class CampaignNotOpened(WrapcalcError):
    """A folder that holds no campaign; a notebook shows the message without a traceback."""

    def _render_traceback_(self) -> list[str]:
        return [str(self)]


@dataclass(frozen=True)
class Campaign:
    """A campaign that was run, as its folder tells it."""

    report: Report

    def _shown(self) -> Shown:
        about = self.report.about
        lines = [about["name"], f"{about['headline']}.", *about["sentences"], *about["cautions"]]
        return Shown("".join(f"<p>{escape(t)}</p>" for t in lines), "\n".join(lines))

    def _repr_html_(self) -> str:
        return self._shown()._repr_html_()

    def __repr__(self) -> str:
        return self._shown().text


def open_campaign(campaign_folder: str) -> Campaign:
    """Read the folder of a campaign. Raises CampaignNotOpened, whose text says what is missing."""
    try:
        return Campaign(read_report(named("campaign_folder", campaign_folder, "campaign")))
    except (CaseFaults, PackageError) as e:
        raise CampaignNotOpened(str(e)) from None


def part(campaign: Campaign, title: str) -> Shown:
    """One part of the report, by its heading. Raises UnknownItem for another heading."""
    for section in campaign.report.sections:
        if section.title == title:
            return Shown(f"<style>{_TABLES}</style>{section.html()}", section.text())
    raise UnknownItem("part", title, [s.title for s in campaign.report.sections])

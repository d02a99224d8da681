"""Something to look at in a notebook."""

from __future__ import annotations

from wrapcalc.render import items as render

#: JupyterLab aligns the cells of every table to the right and stripes them; ours say where their numbers are.
_STYLE = render.STYLE + """
.wc .wc-table th, .wc .wc-table td { text-align: left; white-space: normal; }
.wc .wc-table td.wc-number, .wc .wc-table th.wc-number { text-align: right; white-space: nowrap; }
"""


class Shown:
    """Something to look at: HTML for a notebook, plain text for a terminal and for comparison."""

    def __init__(self, html: str, text: str):
        self.html, self.text = html, text

    def _repr_html_(self) -> str:
        return f'<style>{_STYLE}</style><div class="wc">{self.html}</div>'

    def __repr__(self) -> str:
        return self.text

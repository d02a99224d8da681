"""Parts of the report of a campaign: paragraphs, tables and figures under a heading. The workbook shows the same."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

#: So many lines before a figure stay with it on one page.
_FEW = 6


@dataclass(frozen=True)
class Table:
    """Cells as they are printed. widths: shares of the width in %; right: columns of numbers."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[int, ...]
    right: tuple[int, ...] = ()

    def html(self) -> str:
        """The table as HTML, every cell escaped."""
        cols = "".join(f'<col style="width:{w}%">' for w in self.widths)
        head = "".join(f'<th scope="col"{self._side(i)}>{escape(h)}</th>' for i, h in enumerate(self.head))
        body = "".join("<tr>" + "".join(f"<td{self._side(i)}>{escape(c)}</td>" for i, c in enumerate(row)) + "</tr>"
                       for row in self.rows)
        return (f'<div class="wide"><table class="list"><colgroup>{cols}</colgroup><thead><tr>{head}</tr></thead>'
                f"<tbody>{body}</tbody></table></div>")

    def text(self) -> str:
        """The table for a terminal and for comparison: one line for each row."""
        return "\n".join("  ".join(row) for row in (self.head, *self.rows))

    def _side(self, column: int) -> str:
        return ' class="n"' if column in self.right else ""


@dataclass(frozen=True)
class Figure:
    """A drawing (inline SVG, made by us) and what it shows."""

    svg: str
    caption: str

    def html(self) -> str:
        """The figure with its caption."""
        return f"<figure>{self.svg}<figcaption>{escape(self.caption)}</figcaption></figure>"

    def text(self) -> str:
        """The caption in brackets."""
        return f"[{self.caption}]"


@dataclass(frozen=True)
class Section:
    """A heading and what stands below it: texts (a paragraph each), tables and figures."""

    key: str
    title: str
    parts: Sequence[str | Table | Figure]

    def html(self) -> str:
        """What stands below the heading, as HTML."""
        return "".join(self.lead_and_rest())

    def lead_and_rest(self) -> tuple[str, str]:
        """The same in two: a figure that stands first or after a few lines, with these, which stays with the heading
        when pages are broken, and the rest."""
        parts = [f"<p>{escape(p)}</p>" if isinstance(p, str) else p.html() for p in self.parts]
        first = next((i for i, p in enumerate(self.parts) if not isinstance(p, str)), len(parts))
        head = first + 1 if first < _FEW and first < len(parts) and isinstance(self.parts[first], Figure) else 0
        return "".join(parts[:head]), "".join(parts[head:])

    def text(self) -> str:
        """What stands below the heading, as text."""
        return "\n".join(p if isinstance(p, str) else p.text() for p in self.parts)

"""The small pieces of a page: a badge, a verdict, an origin, a symbol; and the style they need.

Every text goes through `text`, so that markup in it prints as text. Numbers are printed as they stand in the
record. Severity never rests on colour: each badge and each verdict is a word, verdicts have a sign as well.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from html import escape
from typing import Any

from wrapcalc.render.maths import tex_svg
from wrapcalc.units import tidy

SENSES = {"<=": "≤", "<": "<", ">=": "≥", ">": ">"}
SIGNS = {"met": "✓", "not met": "✗", "outside scope": "⊘", "no data": "○"}
STATUS_WORDS = {
    "from memory": "from memory, unverified",
    "seen": "seen in the document",
    "derived": "derived here",
    "": "no status",
}
#: One set of words for the kinds of checks, everywhere.
KIND_WORDS = {
    "limit": "criterion",
    "gate": "gate",
    "scope": "limit of validity",
    "information": "for information",
}
_MATHS_SIZE = 12.0
#: People in the names of quantities: never with a small letter.
_NAMES = ("Poisson",)
_VIEW = re.compile(r'height="([\d.]+)" viewBox="\S+ (\S+) ')
_GREEK = {
    "alpha": "α",
    "beta": "β",
    "gamma": "γ",
    "delta": "δ",
    "theta": "θ",
    "eta": "η",
    "lambda": "λ",
    "chi": "χ",
    "mu": "μ",
    "nu": "ν",
    "rho": "ρ",
    "sigma": "σ",
    "tau": "τ",
    "phi": "φ",
    "Delta": "Δ",
    "varepsilon": "ε",
}
_SYMBOL = re.compile(r"(\\?[A-Za-z]+|\\mathrm\{[^{}]*\})(?:_\{(?:\\mathrm\{([^{}]*)\}|(\\?[A-Za-z0-9]+))\})?")

#: Style of the fragments, for a page of ours and for a notebook; colours follow the page that they stand in.
STYLE = """
.wc-step { margin: 0 0 .9em; padding: 0 0 .2em .8em; border-left: 2px solid #0b5c63; break-inside: avoid; }
.wc-step.wc-out { border-left-style: dashed; border-left-color: #666; }
.wc-head { display: flex; flex-wrap: wrap; gap: 0 .7em; align-items: baseline; margin-bottom: .25em; }
.wc-id { font-weight: bold; min-width: 2.2em; }
.wc-title { font-weight: bold; flex: 1 1 16em; min-width: 0; }
.wc-head, .wc-small, .wc-reason, .wc-line { overflow-wrap: break-word; }
.wc-cite { max-width: 100%; font-size: .82em; text-align: right; color: var(--jp-ui-font-color2, #4a5557); }
.wc-maths { padding-left: 3.2em; text-indent: -1.4em; }
.wc-maths > span { display: inline-block; text-indent: 0; margin: .15em .55em .15em 0; max-width: 100%; }
.wc-maths svg { max-width: 100%; }
.wc-result { font-variant-numeric: tabular-nums; }
.wc-small { font-size: .82em; line-height: 1.4; margin: .15em 0 0 2.2em; color: var(--jp-ui-font-color2, #4a5557); }
.wc-small a { white-space: nowrap; }
.wc-details { border-collapse: collapse; font-size: .82em; line-height: 1.4; margin: .15em 0 .2em 2.2em;
  color: var(--jp-ui-font-color2, #4a5557); }
table.wc-details td { padding: 0 1.2em 0 0; text-align: left; vertical-align: top; border: 0; background: none; }
table.wc-details td:first-child { width: 38%; }
.wc-reason { margin: .15em 0 .15em 1.8em; font-weight: bold; }
.wc-badge { display: inline-block; border: 1px solid #777; border-radius: 3px; padding: 0 .35em;
  font-size: .9em; white-space: nowrap; }
.wc-badge.wc-doubt { border: 1.5px solid #333; font-weight: bold; }
.wc-verdict { white-space: nowrap; }
.wc-verdict.wc-bad { font-weight: bold; }
.wc-check { margin: 0 0 .8em; padding: .3em .8em; border: 1px solid #9aa5a8; break-inside: avoid; }
.wc-check.wc-failed { border: 2px solid #333; }
.wc-check .wc-line { margin-left: 2.2em; display: flex; flex-wrap: wrap; gap: 0 1.6em; align-items: baseline;
  font-variant-numeric: tabular-nums; }
.wc-value { white-space: nowrap; }
.wc-quiet, .wc-field { font-size: .86em; color: var(--jp-ui-font-color2, #4a5557); }
.wc-table { border-collapse: collapse; width: 100%; font-size: .88em; margin: .3em 0 1.2em;
  font-variant-numeric: tabular-nums; }
.wc-table th, .wc-table td { padding: .32em .5em; text-align: left; vertical-align: top;
  border-bottom: 1px solid #c9d1d3; overflow-wrap: break-word; }
.wc-table thead th { border-bottom: 1.5px solid #0b5c63; font-weight: bold; vertical-align: bottom; }
.wc-table tr { break-inside: avoid; }
.wc-table td a, .wc-field { display: inline-block; max-width: 100%; }
.wc-table .wc-number { text-align: right; white-space: nowrap; }
.wc-table .wc-group { display: block; font-weight: bold; padding: .9em 0 .3em; }
.wc-table .wc-first td { vertical-align: bottom; }
.wc-mark { font-weight: bold; }
@media screen { .wc-scroll { overflow-x: auto; } .wc-scroll table { min-width: 36em; } }
@media screen and (max-width: 600px) {
  .wc-scroll table.wc-table { table-layout: auto !important; min-width: 48em; }
  .wc-maths { padding-left: 1em; text-indent: 0; overflow-x: auto; }
  .wc-maths svg { max-width: none; }
  .wc-small, .wc-check .wc-line { margin-left: .6em; }
  .wc-badge { white-space: normal; }
}
""".strip()


def text(value: object) -> str:
    """Any text as HTML text."""
    return escape(str(value))


def place(kind: str, ref: str) -> str:
    """The id of the element that an origin points to: `step-A7`, `in-pipe.smys`, `val-…`, `sys-…`."""
    if kind in ("step", "procedure"):
        return "step-" + _word(ref.partition("/")[0])
    if kind == "system":
        return "sys-" + _word(re.sub(r"[/.]\d+$", "", ref.partition("/")[2]))  # an item of a list stands in its row
    return {"case": "in-", "table": "val-"}.get(kind, "ref-") + _word(ref)


def _word(ref: str) -> str:
    return re.sub(r"[^\w.]+", "-", ref).strip("-")


def origin(source: Mapping[str, str], links: bool = False, shown: str = "") -> str:
    """Where a value comes from, in a few words (or as `shown`); a link when asked for."""
    kind, ref = source["kind"], source["ref"]
    named = {"case": "case: " + ref, "table": ref.partition("/")[0], "system": "system sheet"}
    words = shown or named.get(kind, ref)
    if not links:
        return text(words)
    return f'<a href="#{text(place(kind, ref))}">{text(words)}</a>'


def status(word: str, mark: str = "") -> str:
    """The status of a formula or a value as a badge; `mark`: who verified it, against which copy."""
    doubt = " wc-doubt" if word == "from memory" else ""
    more = f" {text(mark)}" if mark else ""
    return f'<span class="wc-badge{doubt}">{text(STATUS_WORDS.get(word, word))}</span>{more}'


def verdict(word: str) -> str:
    """The verdict of a check: sign and word."""
    bad = "" if word == "met" else " wc-bad"
    return f'<span class="wc-verdict{bad}">{SIGNS.get(word, "?")} {text(word)}</span>'


def symbol(tex: str) -> str:
    """The symbol of a quantity as HTML, for running text: S_{\\mathrm{flow}} with a lowered "flow"."""
    found = _SYMBOL.fullmatch(tex)
    if found is None:
        return text(tex)
    head, upright, below = found.groups()
    out = f"<i>{_letter(head)}</i>" if not head.startswith(r"\mathrm") else text(head[8:-1])
    if upright or below:
        out += f"<sub>{text(upright) if upright else _letter(below)}</sub>"
    return out


def _letter(name: str) -> str:
    return _GREEK.get(name[1:], text(name)) if name.startswith("\\") else text(name)


def maths(tex: str) -> str:
    """A displayed formula that stands on the baseline of its line, so that parts side by side line up."""
    svg = tex_svg(tex, display=True, size=_MATHS_SIZE)
    found = _VIEW.search(svg)
    if found is None:
        return svg
    depth = float(found[1]) + float(found[2])
    return svg.replace("<svg ", f'<svg style="vertical-align:{-depth:.2f}px" ', 1)


def with_unit(number: str, label: str) -> str:
    """A printed number with the label of its unit."""
    return f'<span class="wc-value">{text(f"{tidy(number)} {label}".rstrip())}</span>'


def table(
    head: list[str], rows: list[str], widths: list[int] | None = None, numbers: tuple[int, ...] = ()
) -> str:
    """A table whose head is repeated on each page. head: texts; rows: ready `<tr>`; widths in percent."""
    fixed, columns = "", ""
    if widths:
        fixed = ' style="table-layout:fixed"'
        columns = "".join(f'<col style="width:{w}%">' for w in widths)
        columns = f"<colgroup>{columns}</colgroup>"
    heads = "".join(f'<th scope="col"{_aligned(i, numbers)}>{text(h)}</th>' for i, h in enumerate(head))
    return (
        f'<div class="wc-scroll"><table class="wc-table"{fixed}>{columns}<thead><tr>{heads}</tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    )


def row(cells: list[str], *, numbers: tuple[int, ...] = (), name: str = "", style: str = "") -> str:
    """A table row of ready HTML cells; numbers: columns set to the right; name, style: id and class of it."""
    tds = "".join(f"<td{_aligned(i, numbers)}>{cell}</td>" for i, cell in enumerate(cells))
    marks = (f' id="{text(name)}"' if name else "") + (f' class="{style}"' if style else "")
    return f"<tr{marks}>{tds}</tr>"


def _aligned(column: int, numbers: tuple[int, ...]) -> str:
    return ' class="wc-number"' if column in numbers else ""


def short(name: str) -> str:
    """How a quantity is called inside a sentence: without its remark, the first letter small."""
    name = name.partition(";")[0]
    first = name.split(" ", 1)[0]
    # "MAOP", "Young's", "Poisson": an abbreviation or a name stays as it is.
    kept = not first[1:].islower() or "'" in first or first in _NAMES
    return name if kept else name[0].lower() + name[1:]


def value(found: Mapping[str, Any] | None, missing: str = "–") -> str:
    """A value of the record as printed there."""
    return text(missing) if found is None else f'<span class="wc-value">{text(found["shown"])}</span>'

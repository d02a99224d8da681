"""Controls of field data, alike in both notebooks."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from typing import Any

import ipywidgets as w

from wrapcalc.workbook import calm

#: Labels of controls may be whole questions: they wrap, and their row grows. A field takes no more than the page has.
_LABELS = ("<style>.wb-view .widget-label { white-space: normal; text-align: left; line-height: 1.25; height: auto; }"
           ".wb-view .widget-inline-hbox { height: auto; max-width: 100%; }"
           ".wb-view .widget-inline-hbox > :is(input, select, textarea) { min-width: 0; }"
           ".wb-view .widget-inline-hbox > :is(input, select) { height: 28px; }"
           ".wb-view .wb-beside { overflow-wrap: anywhere; }"
           ".wb-view .widget-html-content { line-height: 1.4; }"
           ".wb-view table.wc-table th, .wb-view table.wc-table td { text-align: left; padding: 2px 10px 2px 2px; }"
           ".wb-view table.wc-table th.wc-number, .wb-view table.wc-table td.wc-number { text-align: right; }</style>")


def quiet(text: str) -> str:
    """A remark, as HTML."""
    return f'<span class="wb-quiet">{escape(text)}</span>'


def html(name: str, value: str = "") -> w.HTML:
    """A piece of the page."""
    out = w.HTML(value)
    out.add_class(name)
    return out


def head(name: str, inner: str) -> w.HTML:
    """The head of a page, with the style of its controls."""
    return html(name, _LABELS + calm.page(inner))


def inner(piece: str) -> str:
    """A piece of the page; its style stands in the head."""
    return f'<div class="wb">{piece}</div>' if piece else ""


def show(where: w.HTML, piece: str) -> None:
    """Put HTML of ours there; nothing is sent when it is there already."""
    value = inner(piece)
    if where.value != value:
        where.value = value
    where.layout.display = "" if piece else "none"


def button(label: str, act: Callable[[], None], tell: Callable[[str], None], *, primary: bool = False) -> w.Button:
    """A button whose faults become messages."""
    out = w.Button(description=label, button_style="primary" if primary else "", layout=w.Layout(width="auto"))

    def pressed(_: Any) -> None:
        act()
    out.on_click(calm.told(tell)(pressed))
    return out


def field(control: Any, label: str, width: str = "46em", of_label: str = "24em") -> Any:
    """A control with its label before it."""
    control.description = label
    control.layout.width = width
    control.style.description_width = of_label
    return control


def beside(*parts: w.Widget, margin: str = "0") -> w.HBox:
    """Side by side where there is room, else one below the other."""
    return w.HBox(list(parts), layout=w.Layout(flex_flow="row wrap", margin=margin))

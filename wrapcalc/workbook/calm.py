"""What all views of the workbench share: one accent, messages that say in words what they are, tables that scroll
inside themselves, and callbacks whose faults become messages.

Contrast is at least 4.5 : 1 for text on its ground (WCAG 2.1, 1.4.3) and 3 : 1 for edges of controls (1.4.11);
`tests/workbook/test_calm.py` works it out. Colour is never the only signal: every message begins with its kind.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import wraps
from html import escape
from threading import RLock
from typing import TYPE_CHECKING, Any, Literal

from wrapcalc.errors import CaseFaults, Fault, WrapcalcError
from wrapcalc.workbook.shown import Shown

if TYPE_CHECKING:
    import ipywidgets

#: Colours: text, quiet text, ground, edge of a control; the one accent; fault and its ground.
INK, QUIET, GROUND, EDGE = "#1f2a30", "#4d5b63", "#ffffff", "#76848c"
ACCENT, FAULT, FAULT_GROUND, NOTE_GROUND = "#0b5c6b", "#9c1c1c", "#fdf1f0", "#eef4f5"

#: JupyterLab may hand the messages of controls to several threads of one kernel: one callback after the other.
ONE_AT_A_TIME = RLock()

#: What stands over a view whose kernel is gone: its controls still move, and nothing answers any more.
DEAD = "The kernel was restarted: run all cells (Run > Run All Cells)"

Kind = Literal["Fault", "Warning", "Note", "Done"]

STYLE = f"""
.wb {{ color: {INK}; font-size: 14px; line-height: 1.4; }}
.wb-quiet {{ color: {QUIET}; }}
.wb-message {{ border-left: 4px solid {ACCENT}; background: {NOTE_GROUND}; padding: 4px 10px; margin: 4px 0; }}
.wb-message.wb-fault {{ border-left-color: {FAULT}; background: {FAULT_GROUND}; }}
.wb-message.wb-warning {{ border-left-style: double; border-left-width: 6px; }}
.wb-scroll {{ max-height: 26em; overflow: auto; border: 1px solid {EDGE}; }}
.wb-scroll table {{ margin: 0 !important; }}
.wb-scroll thead th {{ position: sticky; top: 0; background: {GROUND}; }}
.wb h3 {{ color: {ACCENT}; margin: 12px 0 4px; }}
.wb-view button:focus-visible, .wb-view input:focus-visible, .wb-view select:focus-visible,
.wb-view textarea:focus-visible, .wb-scroll:focus-visible {{ outline: 3px solid {ACCENT} !important;
  outline-offset: 1px; }}
.wb-view .jupyter-button.mod-primary {{ background: {ACCENT}; color: {GROUND}; }}
.wb-view input, .wb-view select, .wb-view textarea {{ border: 1px solid {EDGE} !important; color: {INK}; }}
.wb-view .noUi-connects {{ background: {EDGE} !important; }}
.wb-view .widget-html, .wb-view .widget-html-content {{ min-width: 0; overflow-wrap: break-word; }}
.wb-view .jupyter-widgets-disconnected::before {{ content: none; }}
.wb-view.jupyter-widgets-disconnected {{ overflow: visible; min-width: 0; }}
.wb-view.jupyter-widgets-disconnected::before {{ content: "{DEAD}"; position: sticky; top: 0; z-index: 10;
  font: bold 14px/1.4 var(--jp-ui-font-family, sans-serif); color: {INK}; background: {FAULT_GROUND};
  border: 2px solid {FAULT}; padding: 8px 12px; margin: 4px 0; }}
.wb-view.jupyter-widgets-disconnected > * {{ opacity: 0.5; }}
.wb-view.jupyter-widgets-disconnected * {{ pointer-events: none !important; }}
.wb-view.jupyter-widgets-disconnected .noUi-handle {{ visibility: hidden; }}
.jp-OutputArea:has(.wb-view.jupyter-widgets-disconnected),
.jp-OutputArea :has(.wb-view.jupyter-widgets-disconnected) {{ overflow: visible; min-width: 0; }}
"""


def page(html: str) -> str:
    """HTML of ours inside its style, for an `ipywidgets.HTML` or a `Shown`."""
    return f'<style>{STYLE}</style><div class="wb">{html}</div>'


def message(kind: Kind, text: str, mend: str = "") -> str:
    """One message: its kind in words, what it is, how to mend it. Text is escaped here."""
    low = kind.lower()
    role = "alert" if kind == "Fault" else "status"
    more = f' <span class="wb-quiet">{escape(mend)}</span>' if mend else ""
    return f'<div class="wb-message wb-{low}" role="{role}"><b>{kind}:</b> {escape(text)}{more}</div>'


def fault(f: Fault, *, with_field: bool = True) -> str:
    """A fault as a message: what was found, what is allowed, how to mend it."""
    where = f"{f.field}: " if with_field and f.field else ""
    return message("Fault", f"{where}found {f.found}; allowed: {f.allowed}.", f"To mend it: {f.mend}.")


def messages(e: WrapcalcError) -> str:
    """All that an error of ours tells."""
    if isinstance(e, CaseFaults):
        return "".join(fault(f) for f in e.faults)
    return message("Fault", str(e))


def scrolling(table_html: str, label: str) -> str:
    """A long table that scrolls inside itself and can be reached with the keyboard. label: what it is, for readers."""
    return f'<div class="wb-scroll" tabindex="0" role="region" aria-label="{escape(label)}">{table_html}</div>'


def table(head: Sequence[str], rows: Sequence[Sequence[str]], *, numbers: Sequence[int] = ()) -> str:
    """A plain table; cells are escaped; `numbers`: columns whose cells hold numbers and are aligned to the right."""
    def cell(tag: str, k: int, text: str) -> str:
        return f'<{tag}{" class=wc-number" if k in numbers else ""}>{escape(text)}</{tag}>'

    top = "".join(cell("th", k, h) for k, h in enumerate(head))
    body = "".join("<tr>" + "".join(cell("td", k, str(c)) for k, c in enumerate(row)) + "</tr>" for row in rows)
    return f'<table class="wc-table"><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>'


def told(tell: Callable[[str], None]) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Decorator of a callback of a widget: an error of ours becomes a message given to `tell`, never a traceback; one
    callback runs after the other.

    What is no error of ours is told, too, as a defect of wrapcalc, with its kind; the view goes on as it was.
    """
    def decorate(callback: Callable[..., Any]) -> Callable[..., Any]:
        @wraps(callback)
        def guarded(*args: Any, **kwargs: Any) -> Any:
            with ONE_AT_A_TIME:
                try:
                    return callback(*args, **kwargs)
                except WrapcalcError as e:
                    tell(messages(e))
                except OSError as e:
                    tell(message("Fault", f"{e.filename or 'the folder'}: {e.strerror or e}", "Choose another folder, "
                                 "or ask for leave to write there."))
                except Exception as e:  # a view must not end in a traceback: whoever works with it is no programmer
                    tell(message("Fault", f"this is a defect of wrapcalc ({type(e).__name__}: {e}); nothing was saved",
                                 "Save what you have typed, run the notebook again from the top, and report it."))
                return None
        return guarded
    return decorate


class View:
    """A view of the workbench: widgets in JupyterLab, HTML where no widgets run (papermill, nbconvert, a plain kernel).

    `box` is the widget; `still` gives what the page shows without widgets: the state that stands in files.
    """

    box: ipywidgets.Widget

    def still(self) -> Shown:
        """What stands in files, as HTML and as text."""
        raise NotImplementedError

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        """The widget, and beside it what stands in files, for those who read the notebook without a kernel."""
        shown = self.still()
        return self.box._repr_mimebundle_() | {"text/html": shown._repr_html_(), "text/plain": shown.text}

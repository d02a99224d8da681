"""A real JupyterLab and a real browser for the tests of the workbench.

How to use it: put a test into tests/browser/test_<part>.py and ask for the fixture `notebook`.
`notebook("what_if.ipynb", {"case_file": "example/HB-07.toml"})` writes a copy with these parameters into the folder
of the lab, opens it in Chromium, runs all cells, waits until the kernel is idle and returns Playwright's `Page`
(synchronous API). Find controls with `page.get_by_label`, `page.get_by_role`, `page.locator(".wb-...")` and text in
`shown(page)`, the outputs, for the source of a cell is on the page, too. Playwright waits by itself: use
`expect(...)`, never `sleep`. The fixture `lab` is the server: `lab.folder` (written as `wrapcalc lab` does, with the
example in `example/`), `lab.url`, `lab.token`; `lab.wrapcalc("package", "example/HB-07.toml", "--out",
"example/packages")` runs the tool there. `run_all(page)` runs a page again from the top, `restart(page)` loses the
kernel as a user would, `settled(page)` waits for its idle state, `saved(page)` saves the notebook, and
`reaction(page, act, watch)` measures milliseconds from the first input event to the last change in what the selector
`watch` finds; `beyond(page)` lists texts of the view that end outside their box, at both sizes of window, and
`edges(page)` the colours of the edges of its fields. Pages and kernels are closed after each test, and the test fails
if a request left the machine (from page, server or kernel), if a traceback came out of a cell or a callback, or if
the page logged an error. The lab lives as long as the worker: one test sees the files of another, so write under
names of your own.
"""

from __future__ import annotations

import json
import os
import re
import secrets
import shutil
import urllib.parse
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tests.browser.server import Lab

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Locator, Page

#: Names under which Chromium is installed; Debian's is the first.
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
#: What does not leave the machine.
LOCAL = re.compile(r"^(?:(?:https?|wss?)://(?:127\.0\.0\.1|localhost)(?:[:/?#]|$)|data:|blob:|about:|chrome-error:)")
#: Errors that JupyterLab itself logs and that say nothing about us, each with what it is.
KNOWN_NOISE: tuple[str, ...] = ()
#: Seconds until a notebook must have run, and until a page must show what is expected: ample, for a busy machine.
RUN, WAIT = 240, 60

def chromium() -> str:
    """The path of the browser, or "" where there is none. WRAPCALC_CHROMIUM names one that stands elsewhere."""
    named = os.environ.get("WRAPCALC_CHROMIUM")
    if named:
        return shutil.which(named) or ""
    return next((found for name in NAMES if (found := shutil.which(name))), "")


def missing() -> str:
    """What the browser tests lack on this machine, or ""."""
    try:
        import jupyterlab  # noqa: F401
        import playwright  # noqa: F401
    except ImportError as e:
        return f"BROWSER TESTS DID NOT RUN: {e.name} is not installed; pip install -e \".[report,lab,test]\""
    if not chromium():
        return ("BROWSER TESTS DID NOT RUN: no Chromium; on Debian: apt-get install chromium, elsewhere name one in "
                "WRAPCALC_CHROMIUM")
    return ""


# -- the browser ------------------------------------------------------------------------------------------------------
@contextmanager
def running_browser() -> Iterator[Browser]:
    """Debian's Chromium, without a window, that finds no other machine by name."""
    from playwright.sync_api import expect, sync_playwright
    expect.set_options(timeout=WAIT * 1000)
    args = ["--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
            "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage",
            "--host-resolver-rules=MAP * ~NOTFOUND , EXCLUDE 127.0.0.1 , EXCLUDE localhost"]
    if getattr(os, "geteuid", lambda: 1)() == 0:
        args.append("--no-sandbox")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium(), headless=True, args=args)
        try:
            yield browser
        finally:
            browser.close()


@dataclass
class Desk:
    """One user at the lab: opens pages, and is asked at the end what went wrong."""

    lab: Lab
    context: BrowserContext
    left: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    pages: list[Page] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.context.set_default_timeout(WAIT * 1000)
        self.context.on("request", lambda r: None if LOCAL.match(r.url) else self.left.append(r.url))
        outside = re.compile(rf"^(?!{LOCAL.pattern[1:]})")
        self.context.route(outside, lambda route: route.abort())
        self.context.route_web_socket(outside, lambda ws: (self.left.append(ws.url), ws.close()))

    def open(self, path: str = "") -> Page:
        """A page of the lab: a file, or what JupyterLab shows first. Signed in with the token."""
        page = self.context.new_page()
        page.on("pageerror", lambda e: self.errors.append(f"uncaught in the page: {e}"))
        page.on("console", self._hear)
        # A workspace of its own: what another test left open must not come back.
        place = f"lab/workspaces/t{secrets.token_hex(4)}/tree/{urllib.parse.quote(path)}" if path else ""
        page.goto(f"{self.lab.url}/{place}?token={self.lab.token}")
        page.wait_for_function("() => window.jupyterapp")
        page.evaluate("() => window.jupyterapp.restored.then(() => true)")
        self.pages.append(page)
        return page

    def notebook(self, path: str, parameters: dict[str, Any] | None = None, run: bool = True) -> Page:
        """Open a notebook of the lab's folder; see the head of this file."""
        page = self.open(with_parameters(self.lab.folder, path, parameters) if parameters else path)
        page.wait_for_selector(".jp-NotebookPanel .jp-Notebook .jp-Cell")
        page.evaluate(_LISTEN)
        settled(page)
        if run:
            run_all(page)
        return page

    def _hear(self, message: Any) -> None:
        where = message.location.get("url", "")
        text = f"{message.text} ({where})"
        if message.type == "error" and not any(re.search(n, text) for n in KNOWN_NOISE):
            self.errors.append(f"the page logged an error: {text}")

    def faults(self) -> list[str]:
        """All that must not have happened."""
        found = [f"a request left the machine: {url}" for url in self.left] + self.errors
        for page in self.pages:
            if not page.is_closed():
                found += tracebacks(page)
        if self.lab.fence.exists():
            found.append(f"server or kernel left the machine: {self.lab.fence.read_text(encoding='utf-8')}")
            self.lab.fence.unlink()
        return found


def with_parameters(folder: Path, path: str, parameters: dict[str, Any]) -> str:
    """A copy of the notebook beside it, with these values in its parameters cell; returns its path in the folder."""
    source = folder / path
    content = json.loads(source.read_text(encoding="utf-8"))
    cells = [c for c in content["cells"] if "parameters" in c["metadata"].get("tags", [])]
    assert len(cells) == 1, f"{path} has {len(cells)} cells with parameters"
    known = re.findall(r"^(\w+) *=", "".join(cells[0]["source"]), re.M)
    assert set(parameters) <= set(known), f"{path} knows the parameters {known}"
    cells[0]["source"] = "".join(f"{name} = {value!r}\n" for name, value in parameters.items())
    copy = source.with_name(f"{source.stem}-{secrets.token_hex(3)}.ipynb")
    copy.write_text(json.dumps(content), encoding="utf-8")
    return copy.relative_to(folder).as_posix()


_PANEL = "const panel = window.jupyterapp.shell.currentWidget; const context = panel.sessionContext;"

#: Errors of cells and of callbacks of widgets, as the kernel sends them.
_LISTEN = f"""() => {{ {_PANEL}
    if (window.wbErrors) return;
    window.wbErrors = [];
    context.iopubMessage.connect((_, m) => {{
        const text = {{error: c => c.traceback.join('\\n'), stream: c => c.text}}[m.header.msg_type]?.(m.content);
        if (m.header.msg_type === 'error' || text?.includes('Traceback (most')) window.wbErrors.push(text);
    }});
}}"""


def _within(seconds: float, what: str, body: str) -> str:
    """JavaScript that waits for `body` (a promise) and fails after some seconds."""
    return f"""() => {{ {_PANEL} return Promise.race([{body}, new Promise((_, no) => setTimeout(
        () => no(new Error('{what} took longer than {seconds} s')), {seconds * 1000}))]); }}"""


def settled(page: Page, seconds: float = RUN) -> None:
    """Wait until the kernel of the notebook is there and has nothing to do."""
    page.evaluate(_within(seconds, "the kernel", """context.ready.then(async () => {
        let quiet = 0;
        while (quiet < 3) {
            quiet = context.session?.kernel?.status === 'idle' && !context.pendingInput ? quiet + 1 : 0;
            await new Promise(go => setTimeout(go, 20));
        }
    })"""))


def run_all(page: Page, seconds: float = RUN) -> None:
    """Run all cells from the top and wait until the kernel is idle again."""
    page.evaluate(_within(seconds, "the notebook", "window.jupyterapp.commands.execute('notebook:run-all-cells')"))
    settled(page, seconds)
    page.evaluate(f"() => {{ {_PANEL} panel.content.activeCellIndex = 0; return panel.content.scrollToItem(0); }}")


def shown(page: Page) -> Locator:
    """What the cells put out, widgets and pages alike, without their source; look for text in here."""
    return page.locator(".jp-OutputArea-output")


def restart(page: Page) -> None:
    """The kernel is lost and starts anew; nothing is run."""
    page.evaluate(_within(RUN, "the restart", "context.restartKernel()"))
    settled(page)


def saved(page: Page) -> Path:
    """Save the notebook; returns its path as JupyterLab names it, relative to the folder of the lab."""
    return Path(page.evaluate(_within(WAIT, "saving", "panel.context.save().then(() => panel.context.path)")))


def outputs(page: Page) -> list[dict[str, Any]]:
    """All outputs of the notebook, in the order of its cells."""
    # A page of which nothing is open yet, as a lab that has just been started, has no panel and no outputs.
    return page.evaluate("() => window.jupyterapp.shell.currentWidget?.content?.model?.toJSON?.().cells?.flatMap("
                         "c => c.outputs ?? []) ?? []")


def tracebacks(page: Page) -> list[str]:
    """Errors of cells and of callbacks, also those that a view shows inside itself."""
    found = [f"a cell ended in an error: {o['ename']}: {o['evalue']}" for o in outputs(page)
             if o["output_type"] == "error"]
    found += [f"the kernel sent a traceback: {t}" for t in page.evaluate("() => window.wbErrors ?? []")]
    if page.get_by_text("Traceback (most recent call last)").count():
        found.append("there is a traceback on the page")
    return found


# -- what is to be seen ------------------------------------------------------------------------------------------------
#: Windows that everything must be read in: a desk, and a small laptop.
SIZES = ((1400, 1000), (1000, 800))
#: Texts that end to the right of their own box, of a box that cuts them off, or of the notebook; labels also below the
#: row of their control. What scrolls inside itself may be wider, and drawings are no text of the page.
_BEYOND = """() => {
    const found = [], own = '.wb-beside, .widget-html-content, .widget-label', name = e => e.className || e.tagName;
    for (const box of document.querySelectorAll('.wb-view .widget-html-content, .wb-view .widget-label')) {
        const texts = document.createTreeWalker(box, NodeFilter.SHOW_TEXT);
        for (let t = texts.nextNode(); t; t = texts.nextNode()) {
            const e = t.parentElement;
            if (!t.data.trim() || !e.checkVisibility({visibilityProperty: true})
                || e.closest('.wb-scroll, .wc-scroll, .wc-maths, svg, style')) continue;
            const range = document.createRange();
            range.selectNodeContents(t);
            const rects = [...range.getClientRects()].filter(r => r.width > 1);
            if (!rects.length) continue;
            const right = Math.max(...rects.map(r => r.right)), bottom = Math.max(...rects.map(r => r.bottom));
            for (let a = e; a; a = a.parentElement) {
                const cuts = getComputedStyle(a).overflowX !== 'visible', r = a.getBoundingClientRect();
                const edge = r.left + a.clientLeft + a.clientWidth;
                if ((a.matches(own) || cuts) && a.clientWidth && right > edge + 1)
                    { found.push(`${t.data.trim()}: ${Math.round(right - edge)} px beyond ${name(a)}`); break; }
                if (a.matches('.widget-inline-hbox') && box.matches('.widget-label') && bottom > r.bottom + 3)
                    { found.push(`${t.data.trim()}: ${Math.round(bottom - r.bottom)} px below ${name(a)}`); break; }
                if (a.matches('.jp-WindowedPanel-outer')) break;
            }
        }
    }
    return found;
}"""


def beyond(page: Page) -> list[str]:
    """Texts of the view that cannot be read whole, in each window of `SIZES`; the window is as before afterwards."""
    found, before = [], page.viewport_size
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        # JupyterLab lays its panels out in frames of its own after the window has changed.
        page.wait_for_function("w => window.innerWidth === w && document.querySelector('.jp-WindowedPanel-outer')"
                               ".getBoundingClientRect().right <= w", arg=width)
        page.evaluate("() => new Promise(go => setTimeout(go, 300))")
        found += [f"at {width} x {height}: {text}" for text in page.evaluate(_BEYOND)]
    page.set_viewport_size(before)
    return found


def edges(page: Page) -> set[str]:
    """Colours, as #rrggbb, of the edges of all fields of the view: text, lists and areas."""
    colours = page.evaluate("() => [...document.querySelectorAll('.wb-view :is(input:not([type=checkbox], [type=file]),"
                            " select, textarea)')].map(e => getComputedStyle(e).borderTopColor)")
    return {"#" + "".join(f"{int(part):02x}" for part in re.findall(r"\d+", colour)[:3]) for colour in colours}


# -- how long it takes ------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Reaction:
    """Milliseconds from the first input event until the first and the last change were painted."""

    first: float
    last: float


_WATCH = """([watch, quiet, limit]) => {
    window.wbReaction = new Promise((done, fail) => {
        let start = null, first = null, last = null, timer = null;
        const kinds = ['pointerdown', 'keydown', 'input', 'change', 'click', 'wheel'];
        const begin = e => { if (start === null) start = e.timeStamp; };
        const within = n => { const e = n.nodeType === 1 ? n : n.parentElement;
            return e && (e.closest(watch) || (n.nodeType === 1 && n.querySelector(watch))); };
        const ours = m => m.target.isConnected && (
            (m.target.nodeType === 1 ? m.target : m.target.parentElement)?.closest(watch)
            || [...m.addedNodes].some(within));
        const observer = new MutationObserver(list => {
            if (start === null || !list.some(ours)) return;
            // The frame after the next one starts when this change has been painted.
            requestAnimationFrame(() => requestAnimationFrame(() => {
                last = performance.now() - start;
                first ??= last;
                clearTimeout(timer);
                timer = setTimeout(() => end(() => done([first, last])), quiet);
            }));
        });
        const end = then => { observer.disconnect(); clearTimeout(over);
            kinds.forEach(k => document.removeEventListener(k, begin, true)); then(); };
        const over = setTimeout(() => end(() => fail(new Error('nothing changed in ' + watch))), limit);
        kinds.forEach(k => document.addEventListener(k, begin, true));
        observer.observe(document.body, {subtree: true, childList: true, characterData: true, attributes: true});
    });
    window.wbReaction.catch(() => null);
}"""


def reaction(page: Page, act: Callable[[], object], watch: str, *, quiet: float = 300,
             limit: float = 10_000) -> Reaction:
    """Do `act` (a key, a click, a drag) and measure until what `watch` selects has changed and stays quiet for a while.

    Both times are taken in the page, from the time stamp of the first input event to the frame that shows the change.
    """
    page.evaluate(_WATCH, [watch, quiet, limit])
    act()
    first, last = page.evaluate("() => window.wbReaction")
    return Reaction(first, last)

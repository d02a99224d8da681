"""What a user starts from: the example, blank files with every question, a folder for JupyterLab."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import sysconfig
import tempfile
from collections.abc import Iterator
from html import escape
from importlib import resources
from pathlib import Path
from typing import Any

from wrapcalc import __version__
from wrapcalc.case.model import Case
from wrapcalc.errors import PackageError
from wrapcalc.fields import Sheet, choices, walk
from wrapcalc.systems.model import System

NEEDS = {"assess": "always", "gas": "gas line", "design": "when a wrap is designed", "lay-up": "wet lay-up",
         "primer": "system with primer", "layered sleeve": "layered sleeve", "wet lay-up": "wet lay-up", "": "optional",
         "loss": "metal loss", "plant": "plant piping", "plant strength": "plant piping, metal loss",
         "leak": "a leak in plant piping", "long term": "long-term tests", "through wall": "openings may be wrapped",
         "dent": "a dent", "gouge": "a gouge", "crack": "a crack", "site": "for the site sheets",
         "end seal": "system with end seal", "dose table": "dose table", "dose as a share": "dose as a share",
         "per pack": "dose per pack"}


def write_example(folder: Path) -> list[str]:
    """Copy the example into an empty or new folder. Raises PackageError rather than overwrite anything."""
    _empty(folder)
    source = resources.files("wrapcalc.example")
    written = []
    for item in _files(source):
        target = folder / item[0]
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(item[1].read_bytes())
        written.append(target)
    return [f"wrote {p}" for p in written] + [
        f"next: wrapcalc check {folder}", f"      wrapcalc package {folder} --out {folder / 'packages'}"]


def _files(source: Any, prefix: str = "") -> Iterator[tuple[str, Any]]:
    for item in sorted(source.iterdir(), key=lambda i: i.name):
        if item.is_dir() and item.name != "__pycache__":
            yield from _files(item, f"{prefix}{item.name}/")
        elif item.name.endswith((".toml", ".csv", ".md")):
            yield prefix + item.name, item


def _empty(folder: Path) -> None:
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise PackageError(f"{folder}: {'this is a file' if not folder.is_dir() else 'this folder is not empty'}; "
                           "name a new or an empty folder, nothing is overwritten")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as e:
        raise PackageError(f"{folder}: cannot write here ({e.strerror or e}); choose another folder") from None


def write_new(folder: Path) -> list[str]:
    """Write a blank case, blank system sheets and the owner's form. Raises PackageError rather than overwrite."""
    _empty(folder)
    files = {"case.toml": blank_case(), "sleeve_system.toml": blank(System, _SYSTEM_HEAD, skip="lay_up"),
             "lay_up_system.toml": blank(System, _SYSTEM_HEAD, skip="sleeve"), "owner_form.html": owner_form()}
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    from wrapcalc.package.pdf import html_to_pdf
    html_to_pdf(files["owner_form.html"], folder / "owner_form.pdf", paper="A4")
    return [f"wrote {folder / n}" for n in [*files, "owner_form.pdf"]] + [
        f"next: fill in {folder / 'case.toml'}, then: wrapcalc check {folder / 'case.toml'}"]


_CASE_HEAD = """\
# A case: one anomaly. Quantities are a number and a unit in quotation marks, with a decimal point: "8.2 mm".
# A value may carry its source, and should:
#   nominal_wall = { value = "9.53 mm", source = "mill certificate 4471", source_kind = "document" }
# source_kind is measured, document, assumed or derived. All pressures are gauge.
# Leave "" what is not known: the decision is then "insufficient data" and names it.
"""

_SYSTEM_HEAD = """\
# Data sheet of a wrap system. Complete or refused: every value below must be there, from the sheet and the test
# reports of the system that will be used. Put this file beside the case and name it: system = "my_system.toml"
"""


#: Tables that a file may hold several times.
LISTED = ("evidence", "blister", "restriction", "joint", "keep_out", "stock", "mix", "consumable", "tool")
#: Fields that hold a list.
_LISTS = ("widths", "diameters", "temperatures", "doses", "pack_doses", "pot_life_temperatures", "pot_lives", "times")


def blank_case() -> str:
    """A case file with every question and no answer."""
    return blank(Case, _CASE_HEAD)


def blank(model: type[Sheet], head: str, *, skip: str = "") -> str:
    """A TOML file with every field of the model, blank, its question behind it."""
    out, table = [head.rstrip()], None
    for name, info in walk(model):
        section, _, key = name.rpartition(".")
        if section == skip and skip:
            continue
        extra = info.json_schema_extra
        if section and section != table:
            table = section
            heading = f"[[{section}]]" if section in LISTED else f"[{section}]"
            out.append(f"\n{heading}")
        example = extra["example"]
        need = NEEDS[extra["need"]]
        words = choices(info)
        hint = (", one of: " + ", ".join(f'"{w}"' for w in words)) if len(words) > 1 else (
            f", such as {example}" if example else "")
        comment = f"# {info.description}{hint} ({need})"
        value = {"schema_version": '"1"', "case.id": '"NEW-1"', "system.id": '"my-system"',
                 "system.system_type": '"wet lay-up"' if skip == "sleeve" else '"layered sleeve"'}.get(name, '""')
        if key in _LISTS:
            value = "[]"
        line = f"{key or name} = {value}"
        out.append(f"{line:<36}{comment}")
    return "\n".join(out) + "\n"


def owner_form() -> str:
    """The printable form of all that the owner must supply, as one HTML page."""
    parts = []
    for title, model in (("The anomaly", Case), ("The wrap system, from its data sheet", System)):
        rows, table = [], None
        for name, info in walk(model):
            if name == "schema_version" or (model is Case and name.split(".")[0] == "documents"):
                continue
            section = name.split(".")[0]
            if section != table:
                table = section
                heading = escape(section.replace("_", " ").capitalize())
                rows.append(f'<tr class="part"><th colspan="4">{heading}</th></tr>')
            extra = info.json_schema_extra
            words = choices(info)
            example = escape("one of: " + ", ".join(words) if len(words) > 1 else
                             re.sub(r'[\["\]]', "", extra["example"]))
            rows.append(f"<tr><td>{escape(info.description)}</td><td>{NEEDS[extra['need']]}</td>"
                        f"<td>{example}</td><td></td></tr>")
        parts.append(f"<h2>{title}</h2><table><thead><tr><th>Question</th><th>Needed</th><th>For example</th>"
                     f"<th>Answer, with unit and source</th></tr></thead><tbody>{''.join(rows)}</tbody></table>")
    return _FORM.replace("<!--parts-->", "".join(parts))


_FORM = """<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Data for a wrap repair</title><style>
@page { size: A4; margin: 16mm 14mm 18mm; @bottom-right { content: "page " counter(page) " of " counter(pages);
font-size: 8pt } }
body { font-family: "DejaVu Sans", Arial, Helvetica, sans-serif; font-size: 9pt; color: #222; max-width: 190mm;
margin: auto }
h1 { font-size: 15pt; margin: 0 0 2mm } h2 { font-size: 12pt; margin: 6mm 0 2mm }
table { border-collapse: collapse; width: 100% } thead { display: table-header-group }
th { text-align: left } td, th { border: 0.4pt solid #999; padding: 1.2mm 1.6mm; vertical-align: top }
tr { break-inside: avoid } .part { break-after: avoid } .part th { background: #e8efee } td:nth-child(1) { width: 38% }
td:nth-child(2) { width: 13%; color: #444 } td:nth-child(3) { width: 17%; color: #444 }
</style></head><body><h1>What the owner supplies for a wrap repair</h1>
<p>Every value with its unit and where it comes from (measured, document, assumed, derived). Pressures are gauge;
clock positions face downstream. What stays blank is reported as unanswered, never assumed.</p>
<p>Anomaly ________________________ &nbsp; Filled in by ________________________ &nbsp; Date ______________</p>
<!--parts--><h2>Depth grid</h2><p>A CSV file: unit in the first cell, axial stations along the first row, growing
downstream; one row per circumferential station, clockwise facing downstream; depths of metal loss, 0 on sound wall,
ending on sound wall on all four sides.</p></body></html>
"""


# -- JupyterLab ---------------------------------------------------------------------------------------------------
#: The page that JupyterLab shows first.
WELCOME = "welcome.md"


def write_lab(folder: Path) -> list[str]:
    """Put welcome page, workbooks and example into the folder where they are not there yet; never overwrite.

    Returns what was written, and which of the user's files differ from those of this version. Raises PackageError where
    the folder cannot be written.
    """
    from wrapcalc.package.build import template
    shipped = template().parent
    if folder.exists() and not folder.is_dir():
        raise PackageError(f"{folder}: this is a file; name a folder")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lines = []
        for source in (shipped / WELCOME, *sorted(shipped.glob("*.ipynb"))):
            lines += _offer(source, folder / source.name)
        if not (folder / "example").exists():
            with tempfile.TemporaryDirectory(prefix=".example-", dir=folder) as aside:
                write_example(Path(aside) / "example")
                (Path(aside) / "example").rename(folder / "example")
            lines.append(f"wrote {folder / 'example'}")
    except OSError as e:
        raise PackageError(f"{folder}: cannot write here ({e.strerror or e}); choose another folder") from None
    return lines


def _offer(source: Path, target: Path) -> list[str]:
    """Copy a file that is not there yet; say so where the user's own is another one."""
    if not target.exists():
        aside = target.with_name(f".{target.name}-{os.getpid()}")
        try:
            shutil.copyfile(source, aside)
            aside.replace(target)
        finally:
            aside.unlink(missing_ok=True)
        return [f"wrote {target}"]
    if _substance(target) == _substance(source):
        return []
    return [f"{target} is not the one of wrapcalc {__version__} (changed by you, or from another version); it was left "
            "as it is. To get the one of this version, rename yours and start again"]


def _substance(file: Path) -> Any:
    """What makes a file the same one: of a notebook the cells, but neither their outputs nor the parameters."""
    text = file.read_text(encoding="utf-8", errors="replace")
    if file.suffix != ".ipynb":
        return text
    try:
        return [(c["cell_type"], "".join(c["source"])) for c in json.loads(text)["cells"]
                if "parameters" not in c.get("metadata", {}).get("tags", ())]
    except (ValueError, LookupError, TypeError, AttributeError):
        return text  # no notebook any more


#: What JupyterLab is told: fetch no news from the network, show Markdown as a page.
_LAB_SETTINGS = {
    "@jupyterlab/apputils-extension:notification": {"fetchNews": "false", "checkForUpdates": False},
    # A click must not overtake the text that was typed before it, which several threads of a kernel would allow.
    "@jupyterlab/apputils-extension:kernels-settings": {"commsOverSubshells": "disabled"},
    "@jupyterlab/docmanager-extension:plugin": {"defaultViewers": {"markdown": "Markdown Preview"}}}
#: And that nobody wants to build it anew: each page would otherwise start a check for that.
_LAB_PAGE = {"buildAvailable": False, "buildCheck": False}


def lab_command(folder: Path, settings: Path, *, no_browser: bool, port: int) -> list[str]:
    """The command line that runs JupyterLab on the folder: loopback with its token, offline, welcome page first.

    settings: an empty folder of this run's own; what JupyterLab must know beforehand is written there.
    """
    for name, content in (("overrides", _LAB_SETTINGS), ("page_config", _LAB_PAGE)):
        (settings / f"{name}.json").write_text(json.dumps(content), encoding="utf-8")
    command = [sys.executable, "-m", "jupyterlab", "--ip=127.0.0.1", f"--port={port}",
               "--ServerApp.port_retries=0", f"--ServerApp.root_dir={folder.resolve()}", "--LabApp.news_url=None",
               "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
               "--LabApp.extension_manager=readonly", f"--LabApp.app_settings_dir={settings}",
               f"--LabApp.default_url=/lab/tree/{WELCOME}"]
    if no_browser:
        command.append("--no-browser")
    if getattr(os, "geteuid", lambda: 1)() == 0:
        command.append("--allow-root")
    return command


def lab_environment() -> dict[str, str]:
    """The environment of JupyterLab: in its terminals `wrapcalc` is the one that started it."""
    return os.environ | {"PATH": os.pathsep.join((sysconfig.get_path("scripts"), os.environ.get("PATH", os.defpath)))}


def start_lab(folder: Path, *, no_browser: bool, port: int) -> int:
    """Run JupyterLab on the folder, on loopback with its token; returns its exit status."""
    try:
        import jupyterlab  # noqa: F401
    except ImportError:
        raise PackageError("JupyterLab is not installed; install it with: "
                           "pip install \"wrapcalc[report,lab]\"") from None
    with socket.socket() as s:
        if s.connect_ex(("127.0.0.1", port)) == 0:
            raise PackageError(f"port {port} is in use; choose another with --port")
    with tempfile.TemporaryDirectory(prefix="wrapcalc-lab-") as settings:
        command = lab_command(folder, Path(settings), no_browser=no_browser, port=port)
        with subprocess.Popen(command, env=lab_environment()) as process:
            # At the first Ctrl-C JupyterLab asks, at the second it ends its kernels: it is not killed over that.
            before = {signal.SIGINT: signal.signal(signal.SIGINT, lambda *_: None),
                      signal.SIGTERM: signal.signal(signal.SIGTERM, lambda *_: process.terminate())}
            try:
                return process.wait()
            finally:
                for number, handler in before.items():
                    signal.signal(number, handler)

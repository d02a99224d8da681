"""Reading a small file of a user: its bytes, its text, its TOML, and the line of each key; faults in one language."""

from __future__ import annotations

import re
import stat
from pathlib import Path

from wrapcalc import units
from wrapcalc.errors import CaseFaults, Fault

MAX_BYTES = 1_000_000
_DEEP_KEY = re.compile(r"""(?<![\w-])(?:(?:[\w-]+|"[^"\n]*"|'[^'\n]*')[ \t]*\.[ \t]*){17}""")


def read_toml(path: Path, *, shown_as: str | None = None) -> tuple[dict, bytes]:
    """Parsed TOML and its bytes. Raises CaseFaults when it is missing, too big, not UTF-8, empty or not TOML."""
    name = shown_as or shown_name(path)
    raw = read_bytes(path, name)
    return parse_toml(raw, name), raw


def shown_name(path: Path) -> str:
    """Name of a file as it may stand in a message."""
    return units.printable(path.name)[:120]


def parse_toml(raw: bytes, name: str) -> dict:
    """The bytes of a TOML file parsed. Raises CaseFaults."""
    import tomllib
    text = decoded(raw, name, "save it as UTF-8")

    def fault(found: str, allowed: str, mend: str, line: int | None = None) -> CaseFaults:
        return CaseFaults([Fault(name, "the file", found, allowed, mend, line)])

    if not text.strip():
        raise fault("nothing: it is empty", "a TOML file", "start from `wrapcalc new`")
    if m := _DEEP_KEY.search(text):  # the time that tomllib takes grows with the square of the depth
        raise fault("a name of more than 16 parts", "plain tables", "remove it", text.count("\n", 0, m.start()) + 1)
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise fault("brackets nested too deeply", "plain tables", "remove them") from None
    except ValueError as e:  # TOMLDecodeError, and Python's own refusal of a number of thousands of digits
        m = re.search(r"\(at line (\d+)", str(e))
        line = int(m[1]) if m else text.rstrip().count("\n") + 1 if "end of document" in str(e) else None
        what = units.printable(re.sub(r" ?\(at .*", "", str(e)))[:120]
        if any(word in what for word in ("overwrite", "twice", "Duplicate")):
            raise fault(f"a name that is given twice ({what})", "each name once in its table",
                        "look at that line: remove one of the two", line) from None
        raise fault(f"text that is not TOML: {what}",
                    'lines such as nominal_wall = "9.53 mm" under a heading such as [pipe]',
                    "look at that line: quotation marks, brackets, equals sign", line) from None


def decoded(raw: bytes, name: str, mend: str) -> str:
    """The text of a UTF-8 file, a byte order mark taken off. Raises CaseFaults with the line."""
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as e:
        raise CaseFaults([Fault(name, "the file", f"a byte that is not UTF-8 at position {e.start}", "UTF-8 text",
                                mend, raw.count(b"\n", 0, e.start) + 1)]) from None


def read_bytes(path: Path, name: str, *, most: int = MAX_BYTES) -> bytes:
    """The bytes of a small file. Raises CaseFaults when it is not a readable file of at most `most` bytes."""
    limit = f"{most / 1e6:g} MB"

    def fault(found: str, mend: str) -> CaseFaults:
        return CaseFaults([Fault(name, "the file", found, f"a readable text file of at most {limit}", mend)])
    try:
        about = path.stat()
        if stat.S_ISDIR(about.st_mode):
            raise fault("a folder", "name the file itself")
        if not stat.S_ISREG(about.st_mode):
            raise fault("something that is not a file", "name a file")
        if about.st_size > most:
            raise fault(f"{about.st_size / 1e6:.3g} MB", "name the right file; depth grids belong in CSV files, "
                        "and a grid this fine can be thinned to its local maxima")
        return path.read_bytes()
    except FileNotFoundError:
        raise fault("no such file", "check the name and the folder") from None
    except (OSError, ValueError) as e:
        raise fault(f"a file that cannot be read ({type(e).__name__})", "check the name and the permissions") from None


def line_numbers(raw: bytes) -> dict[str, int]:
    """Line of each dotted key of a TOML text, headings and keys at the start of a line."""
    out: dict[str, int] = {}
    table, inside = "", ""
    counts: dict[str, int] = {}
    for number, text in enumerate(raw.decode("utf-8-sig", "replace").split("\n"), 1):
        if inside:  # a text of several lines
            inside = "" if inside in text else inside
        elif m := re.match(r"\s*\[\[\s*([\w.-]+)\s*\]\]", text):
            counts[m[1]] = counts.get(m[1], -1) + 1
            table = f"{m[1]}.{counts[m[1]]}."
            out[table[:-1]] = number
        elif m := re.match(r"\s*\[\s*([\w.-]+)\s*\]", text):
            table = m[1] + "."
            out[m[1]] = number
        elif m := re.match(r"""\s*["']?([\w.-]+)["']?\s*=\s*(\"{3}|'{3})?""", text):
            out[table + m[1]] = number
            inside = m[2] if m[2] and text.count(m[2]) == 1 else ""
    return out

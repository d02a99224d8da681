"""The template of the readings: rows that a repair asks for, with limits and how each is read, as CSV."""

from __future__ import annotations

import csv
import io
from typing import Any

from wrapcalc.case import Bundle
from wrapcalc.case.readings import COLUMNS, HELP_COLUMNS
from wrapcalc.stages.closeout.expected_readings import Wanted, wanted

#: So many signs of the digest of the record name it.
DIGEST_SIGNS = 12


def template_csv(record: dict[str, Any], bundle: Bundle, *, revision: int, digest: str) -> str:
    """readings-template.csv of a package that decides "wrap".

    RFC 4180, UTF-8 with a byte order mark, by which a spreadsheet reads °C and µm. The rows "package" and
    "record" are filled in: they say which repair is read.

    Text cells that a spreadsheet could run are defused with an apostrophe.
    """
    wrap = record["geometry"]["wrap"]
    rows = wanted(bundle, sum(len(r["widths"]) for r in wrap["repairs"]), int(wrap["layers"]))
    known = {"package": f"{record['case']['id']}-r{revision}",
             "record": "sha256:" + digest[:DIGEST_SIGNS]}
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow([*COLUMNS, *HELP_COLUMNS])
    for n, row in enumerate(rows, 1):
        cells = (str(n), row.what, row.where, known.get(row.what, ""), "", "", "", "", row.limit, _how(row))
        writer.writerow([_inert(t) for t in cells])
    return "\ufeff" + buffer.getvalue()


def _how(row: Wanted) -> str:
    return row.how + ("" if row.needed else "; where it applies")


def _inert(text: str) -> str:
    return "'" + text if text[:1] in ("=", "+", "-", "@", "\t") else text

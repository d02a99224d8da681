"""The file or folder that a notebook is given by name: a text that can be a name here, or one clear message."""

from __future__ import annotations

import os
from pathlib import Path

from wrapcalc import units
from wrapcalc.errors import CaseFaults, Fault


def named(field: str, given: object, example: str) -> Path:
    """The path of what a notebook is given. Raises CaseFaults, with the name of the parameter, for what is no name.

    What does not exist may be asked for: that is told by who opens it.
    """
    def fault(found: str) -> CaseFaults:
        return CaseFaults([Fault("the notebook", field, found, "the name of a file or folder, as a text",
                                 f'write it in the cell of the parameters, such as {field} = "{example}"')])

    if not isinstance(given, (str, os.PathLike)):
        raise fault("nothing (None)" if given is None else f"{units.shown(given)}, which is no text")
    try:
        text = os.fspath(given)
        if not isinstance(text, str) or not text.strip():
            raise fault(f"{units.shown(text)}, which names nothing")
        path = Path(text)
        path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return path
    except (OSError, ValueError) as e:
        why = getattr(e, "strerror", None) or e
        raise fault(f"{units.shown(text)}, which cannot be opened ({why})") from None
    return path

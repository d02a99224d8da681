"""The command line in a process that is killed (SIGKILL) at a place: python -m tests.helpers.killed PLACE ARGS."""

from __future__ import annotations

import os
import signal
import sys


def kill(*args, **kwargs) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def in_screening() -> None:
    """When the screening is through and nothing of it is in its place."""
    from wrapcalc.campaign.cases import sources
    screen = sources.screen

    def screened(plan, folder):
        screen(plan, folder)
        kill()
    sources.screen = screened


def in_finish() -> None:
    """When three of the outputs are in their place."""
    from wrapcalc.campaign import folder
    put_in_place = folder.OUTPUTS[:3]

    class Outputs(tuple):
        def __iter__(self):
            yield from put_in_place
            kill()

        def __reversed__(self):
            return reversed(tuple.__getitem__(self, slice(None)))
    folder.OUTPUTS = Outputs(folder.OUTPUTS)


PLACES = {"screening": in_screening, "finish": in_finish}

if __name__ == "__main__":
    PLACES[sys.argv[1]]()
    from wrapcalc.cli import main
    sys.exit(main(sys.argv[2:]))

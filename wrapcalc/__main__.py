"""`python -m wrapcalc` is the same as `wrapcalc`."""

import sys

from wrapcalc.cli import main

if __name__ == "__main__":
    sys.exit(main())

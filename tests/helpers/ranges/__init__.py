"""Where the symbols of the newer formulas live, one file per topic: (formula, symbol) -> (low, high) in the declared
unit. Each file has one dict RANGES."""

from importlib import import_module
from pathlib import Path

BY_FORMULA: dict[tuple[str, str], tuple[float, float]] = {}
for _file in sorted(Path(__file__).parent.glob("[a-z]*.py")):
    BY_FORMULA |= import_module(f"{__name__}.{_file.stem}").RANGES

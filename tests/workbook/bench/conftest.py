"""A bench on a fresh copy of the example."""

from collections.abc import Callable

import pytest

from wrapcalc.workbook.bench.bench import Bench


@pytest.fixture
def bench(example) -> Callable[[str], Bench]:
    """bench("HB-07"): that case on the bench."""
    return lambda name: Bench.open(example / f"{name}.toml")

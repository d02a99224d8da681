"""JupyterLab and Chromium for the tests in this folder; `harness.py` says how to use them."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.browser import harness, server


class NotRun(pytest.File):
    """A file of tests that cannot run on this machine: skipped with its reason, a failure in CI."""

    def collect(self) -> Any:
        lack = harness.missing()
        if os.environ.get("CI"):
            pytest.fail(lack, pytrace=False)
        pytest.skip(lack, allow_module_level=True)


def pytest_pycollect_makemodule(module_path: Path, parent: Any) -> Any:
    """Asked before the file is imported, which would fail where Playwright is not installed."""
    return NotRun.from_parent(parent, path=module_path) if harness.missing() else None


@pytest.fixture(scope="session")
def lab(tmp_path_factory) -> Iterator[server.Lab]:
    """A real JupyterLab on loopback with its token, on a folder of its own."""
    with server.running_lab(tmp_path_factory.mktemp("jupyter")) as lab:
        yield lab


# Of one module, not of the session: while Playwright runs, other tests of this process could start no event loop.
@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Chromium, opened once for a file of tests."""
    with harness.running_browser() as browser:
        yield browser


@pytest.fixture
def desk(lab, browser) -> Iterator[harness.Desk]:
    """A user with a browser profile of their own; at the end nothing may have gone wrong."""
    context = browser.new_context(viewport={"width": 1400, "height": 1000}, service_workers="block")
    desk = harness.Desk(lab, context)
    try:
        yield desk
        faults = desk.faults()
    finally:
        context.close()
        lab.stop_kernels()
    assert not faults, "\n".join(faults)


@pytest.fixture
def notebook(desk) -> Callable[..., Any]:
    """notebook(path, parameters=None, run=True): a page of Playwright with the notebook run."""
    return desk.notebook

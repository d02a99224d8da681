"""Fixtures shared by all tests."""

import os
import shutil
import sys
from importlib import resources
from pathlib import Path

import pytest
from hypothesis import settings

# CI runs the same examples every time, so that a red run can be repeated; elsewhere new ones are tried. No test is
# timed: machines are shared and noisy.
settings.register_profile("ci", derandomize=True, deadline=None)
settings.register_profile("here", deadline=None)
settings.load_profile("ci" if os.environ.get("CI") else "here")

# A slow import in jsonschema's chain (0.7 s per process) that a notebook's schema does not use.
sys.modules.setdefault("rfc3987_syntax", None)


@pytest.fixture
def example(tmp_path) -> Path:
    """A fresh copy of the shipped example."""
    folder = tmp_path / "example"
    with resources.as_file(resources.files("wrapcalc.example")) as source:
        shutil.copytree(source, folder, ignore=shutil.ignore_patterns("__*"))
    return folder


@pytest.fixture(scope="session")
def packages(tmp_path_factory) -> Path:
    """The packages of the example, made once per worker and never written to: tests that change one copy it."""
    from wrapcalc.cli import main
    root = tmp_path_factory.mktemp("packages")
    with resources.as_file(resources.files("wrapcalc.example")) as source:
        shutil.copytree(source, root / "example", ignore=shutil.ignore_patterns("__*"))
    assert main(["package", str(root / "example"), "--out", str(root / "out")]) == 0
    return root / "out"

"""Packages to review, built once for these tests."""

import shutil

import pytest

from tests.helpers import review


@pytest.fixture(scope="session")
def review_built(tmp_path_factory):
    """Folders `first` and `second` of packages."""
    out = tmp_path_factory.mktemp("reviewer")
    review.build(out)
    return out


@pytest.fixture
def first(review_built, tmp_path):
    """A copy of the first packages, to be written beside."""
    return shutil.copytree(review_built / "first", tmp_path / "out")


@pytest.fixture
def said_before(review_built, tmp_path):
    """HB-02-r1 reviewed, then HB-02-r2 issued beside it."""
    return review.review_then_issue(review_built, tmp_path / "said")

"""Packages of the tests of the review; built once, never written to."""

import shutil

import pytest

from tests.helpers import review


@pytest.fixture(scope="session")
def review_built(tmp_path_factory):
    """Folders `first` and `second` of packages."""
    out = tmp_path_factory.mktemp("review")
    review.build(out)
    return out


@pytest.fixture
def first(review_built, tmp_path):
    """A copy of the first packages, to be written beside."""
    return shutil.copytree(review_built / "first", tmp_path / "out")


@pytest.fixture
def later(review_built, tmp_path):
    """A copy of them with a second revision of HB-02."""
    return shutil.copytree(review_built / "second", tmp_path / "later")


@pytest.fixture
def said_before(review_built, tmp_path):
    """HB-02-r1 reviewed, then HB-02-r2 issued beside it."""
    return review.review_then_issue(review_built, tmp_path / "said")

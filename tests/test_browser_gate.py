"""Where there is no browser, the tests that need one are skipped and say so; in CI they fail."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.mark.parametrize(("ci", "status", "told"), [("", 5, "SKIPPED"), ("true", 2, "ERROR collecting")],
                         ids=["elsewhere", "in CI"])
def test_without_a_browser_the_tests_are_skipped_with_a_reason_and_fail_in_ci(ci, status, told):
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "tests/browser/test_package_workbook.py"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, encoding="utf-8",
                          env=os.environ | {"CI": ci, "WRAPCALC_CHROMIUM": "no-such-browser"})
    assert told in done.stdout
    assert "BROWSER TESTS DID NOT RUN: no Chromium; on Debian: apt-get install chromium" in done.stdout
    assert done.returncode == status

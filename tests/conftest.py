"""What all tests share."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

settings.register_profile("trimgeo", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("trimgeo")

_skipped: list[str] = []


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    # The real photograph may not be shipped: a clone without it cannot compare with it, and says so.
    if report.skipped and "photograph" not in str(report.longrepr):
        _skipped.append(report.nodeid)


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Where skipping is forbidden, a skipped check fails the run (the continuous check sets this)."""
    if os.environ.get("TRIMGEO_FORBID_SKIPS") and _skipped and not hasattr(session.config, "workerinput"):
        print("\nskipped, though nothing may be skipped here:", *sorted(set(_skipped)), sep="\n  ")
        session.exitstatus = 1

"""No screen, no surprises: windows draw offscreen, and in CI a skip that nobody allowed is a failure."""

from __future__ import annotations

import os
from collections.abc import Generator

import pytest
from hypothesis import settings

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
IN_CI = os.environ.get("CI", "").lower() in {"1", "true", "yes"}

#: beginnings of the reasons for which a test may be skipped in CI
ALLOWED_SKIPS = (
    "the real tables are not part of the project",
    "measured files of the shop are not beside this checkout",
    "surfalize comes with the dev extra only",
)

settings.register_profile("steady", deadline=None, derandomize=IN_CI)
settings.load_profile("steady")


def skip_reason(report: pytest.TestReport | pytest.CollectReport) -> str:
    """The words given to a skip."""
    where_and_why = report.longrepr
    text = where_and_why[2] if isinstance(where_and_why, tuple) else str(where_and_why)
    return text.removeprefix("Skipped: ")


def refuse_skip(report: pytest.TestReport | pytest.CollectReport) -> None:
    """In CI, turn a skip into a failure unless its reason is allowed."""
    if not IN_CI or not report.skipped or hasattr(report, "wasxfail"):
        return
    reason = skip_reason(report)
    if not reason.startswith(ALLOWED_SKIPS):
        report.outcome = "failed"
        report.longrepr = f"skipped in CI without leave: {reason}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    refuse_skip(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    report = yield
    refuse_skip(report)
    return report

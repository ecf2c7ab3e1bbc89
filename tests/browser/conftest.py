"""Browser tests need Chromium from the system. Without it they are skipped, except where they must run."""

import os
import shutil

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")


@pytest.fixture(scope="session", autouse=True)
def _chromium() -> None:
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine: install the package chromium to run the browser tests")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item):
    """Where BROWSER_TESTS_MUST_RUN is set a skipped test is a failed one."""
    report = yield
    if report.skipped and os.environ.get("BROWSER_TESTS_MUST_RUN"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped, but the browser tests must run: {report.longrepr}"
    return report

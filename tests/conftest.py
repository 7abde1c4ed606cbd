"""What all tests share: on continuous integration no test that needs an outside program may be skipped."""

import os
from collections.abc import Generator

import pytest
from hypothesis import settings

os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # else each of some thousand starts of the program compiles it anew

settings.register_profile("quick", max_examples=25, deadline=None, derandomize=True)
settings.register_profile("deep", max_examples=1000, deadline=None)
settings.load_profile(os.environ.get("DRILL_HYPOTHESIS", "quick"))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if report.skipped and os.environ.get("DRILL_TESTS_NEED_ALL") and item.get_closest_marker("outside"):
        report.outcome = "failed"
        report.longrepr = f"skipped although every outside program must be installed here: {report.longrepr}"
    return report

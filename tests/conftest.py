"""What every test may use, where one that ran out of time stood, and the system tools that were missing."""

import asyncio
import gc
import io
import os
import shutil
from collections.abc import Generator

import hypothesis
import pytest

hypothesis.settings.register_profile("stile", deadline=None, derandomize=True)
"""The same examples in every run, and no limit of time for one: a loaded machine makes no test fail."""

hypothesis.settings.register_profile("nightly", deadline=None, max_examples=1000, print_blob=True)
"""Others in every run, and more: `STILE_EXAMPLES=nightly tests/run`. What fails says how to make it fail again."""

hypothesis.settings.load_profile(os.environ.get("STILE_EXAMPLES", "stile"))

MISSING_TOOL = "missing tool"


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--no-skips", action="store_true", help="a test that would be skipped fails the run")


def pytest_runtest_setup(item: pytest.Item) -> None:
    for marker in item.iter_markers("needs"):
        tool, package = marker.args
        if shutil.which(tool) is None:
            item.user_properties.append((MISSING_TOOL, f"{tool}: apt-get install {package}"))
            pytest.skip(f"{tool} is not installed")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(call: pytest.CallInfo[None]) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """The stack of a test that ran out of time ends in the event loop: show what its tasks wait for."""
    report = yield
    if call.excinfo is not None and "from pytest-timeout" in str(call.excinfo.value):
        stacks = io.StringIO()
        for each in gc.get_objects():
            if isinstance(each, asyncio.Task) and not each.done():
                each.print_stack(file=stacks)
        report.sections.append(("where its tasks stood", stacks.getvalue()))
    return report


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say which tools were missing. The reports carry it, since each of several processes runs a part of the tests."""
    skipped: list[pytest.TestReport] = terminalreporter.stats.get("skipped", [])
    missing = {str(value) for report in skipped for name, value in report.user_properties if name == MISSING_TOOL}
    if missing:
        terminalreporter.section("skipped for want of a tool")
        for line in sorted(missing):
            terminalreporter.line(line)


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    skipped = len(reporter.stats.get("skipped", [])) if reporter else 0
    if session.config.getoption("--no-skips") and skipped and reporter and exitstatus == pytest.ExitCode.OK:
        reporter.line(f"{skipped} tests were skipped, and --no-skips was given", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED

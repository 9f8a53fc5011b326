"""Rules for every test run: nothing is left out, and long campaigns only when asked for."""

from __future__ import annotations

import os

import pytest


class NothingLeftOut:
    """A skipped test, an expected failure, a module skipped as a whole: each fails the run, with its reason."""

    def __init__(self) -> None:
        self.left_out: list[str] = []

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.skipped:
            self._note(report.nodeid, report.longrepr)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if hasattr(report, "wasxfail"):
            self._note(report.nodeid, f"expected to fail: {report.wasxfail}")
        elif report.skipped:
            self._note(report.nodeid, report.longrepr)

    def _note(self, where: str, why: object) -> None:
        reason = why[2] if isinstance(why, tuple) else why  # pytest gives (file, line, reason) for a skip
        self.left_out.append(f"{where}: {reason}")

    def pytest_sessionfinish(self, session: pytest.Session) -> None:
        if self.left_out and session.exitstatus in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED):
            session.exitstatus = pytest.ExitCode.TESTS_FAILED

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        if self.left_out:
            terminalreporter.section("left out, which counts as failed", red=True)
            for line in self.left_out:
                terminalreporter.line(line)


def pytest_configure(config: pytest.Config) -> None:
    config.pluginmanager.register(NothingLeftOut(), "nothing-left-out")


@pytest.fixture(scope="session")
def long_campaign() -> bool:
    """Whether the run was asked to take its time: sh tests/run --long."""
    return os.environ.get("FIELDCTL_TESTS_LONG") == "1"

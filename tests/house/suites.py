"""The suites of sh tests/run: one table, each with a budget in minutes, run one after the other.

A suite that fails or overruns its budget does not stop the others; the run fails all the same. Whatever a suite
starts is ended with it: this process is the one to which orphans fall (Linux), and a process still running when
its suite is through is ended and counts as a failure, since the next suite would share the machine with it.
"""

from __future__ import annotations

import argparse
import contextlib
import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import psutil

ROOT = Path(__file__).parents[2]
BIN = Path(sys.executable).parent
LONG_TIMES = 12  # budget of a suite under --long, in budgets of a usual run
LEAVE_S = 3.0  # Python's own helper of worker processes goes a moment after the program that it served
GRACE_S = 10.0  # for pytest to say which test it was in, after it was interrupted
PR_SET_CHILD_SUBREAPER = 36  # linux/prctl.h

Command = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Suite:
    """What is run under one name, and within how many minutes."""

    name: str
    minutes: float
    commands: tuple[Command, ...]


def pytest(*args: str) -> Command:
    return (sys.executable, "-m", "pytest", *args)


SHELL_SCRIPTS = "git -c safe.directory='*' grep -lIE '^#! ?/(usr/)?bin/(env )?(ba|da)?sh' | xargs shellcheck"

# Folders of tests/ with a suite of their own; what is in none of these belongs to "unit".
OWN = (
    "house",
    "cli",
    "upkeep",
    "backup",
    "published",
    "sims",
    "links",
    "certify",
    "firmware",
    "browser",
    "faults",
    "demo",
)

SUITES = (
    Suite(
        "lint",
        1,
        (
            (str(BIN / "ruff"), "check", "."),
            (str(BIN / "ruff"), "format", "--check", "."),
            ("sh", "-c", SHELL_SCRIPTS),
        ),
    ),
    Suite("types", 1, ((sys.executable, "-m", "mypy", "--strict", "fieldctl", "sims"),)),
    Suite("directions", 2, ((str(BIN / "lint-imports"), "--no-logo", "--no-cache"), pytest("tests/house"))),
    Suite("unit", 14, (pytest("tests", *(f"--ignore=tests/{folder}" for folder in OWN)),)),
    Suite("cli", 10, (pytest("tests/cli"),)),
    Suite("upkeep", 4, (pytest("tests/upkeep"), pytest("tests/backup"))),
    Suite("published", 2, (pytest("tests/published"),)),
    Suite("sims", 1, (pytest("tests/sims"),)),
    Suite("links", 1, (pytest("tests/links"),)),
    Suite("certify", 2.5, (pytest("tests/certify"),)),
    Suite("firmware", 7, (pytest("tests/firmware"),)),
    Suite("browser", 17, (pytest("tests/browser"),)),
    Suite("faults", 8.5, (pytest("tests/faults"),)),
    Suite("demo", 2.5, (pytest("tests/demo"),)),
    Suite("bench", 10.5, ((sys.executable, "tests/bench/run.py"),)),
)


def adopt_orphans() -> None:
    """Let whatever a suite leaves behind become our child, so that it can be found."""
    if ctypes.CDLL(None, use_errno=True).prctl(PR_SET_CHILD_SUBREAPER, 1, 0, 0, 0) != 0:
        raise OSError(ctypes.get_errno(), "cannot become the one to which orphans fall")


def _reap() -> Iterator[tuple[int, int]]:
    """Every child that has ended since: (process id, wait status)."""
    with contextlib.suppress(ChildProcessError):
        while (ended := os.waitpid(-1, os.WNOHANG))[0]:
            yield ended


def _wait(pid: int, within_s: float) -> int | None:
    """The exit code of our child `pid`, or None when it has not ended in time; orphans are reaped meanwhile."""
    until = time.monotonic() + within_s
    while True:
        for ended, status in _reap():
            if ended == pid:
                return os.waitstatus_to_exitcode(status)
        if time.monotonic() > until:
            return None
        time.sleep(0.02)


def _alive() -> bool:
    """Whether any process below this one still runs."""
    for process in psutil.Process().children(recursive=True):
        with contextlib.suppress(psutil.NoSuchProcess):
            if process.status() != psutil.STATUS_ZOMBIE:
                return True
    return False


def _end_the_rest() -> list[str]:
    """End every process below this one that does not end by itself in a moment; what they were."""
    until = time.monotonic() + LEAVE_S
    while _alive() and time.monotonic() < until:
        for _ in _reap():
            pass
        time.sleep(0.05)
    for _ in _reap():
        pass
    names = []
    while left := psutil.Process().children(recursive=True):
        for process in left:
            with contextlib.suppress(psutil.NoSuchProcess):
                if process.status() != psutil.STATUS_ZOMBIE:
                    names.append(" ".join(process.cmdline()) or process.name())
                process.kill()
        psutil.wait_procs(left, timeout=1)
    return names


def run_command(command: Command, within_s: float) -> str:
    """Run one command to its end; "passed", or what was wrong with it."""
    sys.stdout.flush()
    # A group of its own: whoever presses Ctrl-C ends the suite through us, once.
    child = subprocess.Popen(command, cwd=ROOT, stdin=subprocess.DEVNULL, process_group=0)
    try:
        code = _wait(child.pid, within_s)
        if code is None:
            os.kill(child.pid, signal.SIGINT)
            code = _wait(child.pid, GRACE_S)
            result = "over its budget"
        else:
            result = "passed" if code == 0 else f"failed ({code})"
    except KeyboardInterrupt:
        os.kill(child.pid, signal.SIGINT)
        code = _wait(child.pid, GRACE_S)
        _end_the_rest()
        raise
    finally:
        child.returncode = -signal.SIGKILL if code is None else code  # reaped above, not by Popen
    left = _end_the_rest()
    if result == "passed" and left:
        print(f"still running when {command[0]} had ended, ended now:", *left, sep="\n  ")
        result = "left processes running"
    return result


def run_suite(suite: Suite, times: float = 1) -> tuple[str, float]:
    """Run all commands of a suite within its one budget; the first bad result, and the seconds used."""
    began = time.monotonic()
    bad: list[str] = []
    for command in suite.commands:
        print(f"\n== {suite.name}: {' '.join(Path(part).name if part.startswith('/') else part for part in command)}")
        result = run_command(command, suite.minutes * times * 60 - (time.monotonic() - began))
        if result != "passed":
            bad.append(result)
    return (bad[0] if bad else "passed"), time.monotonic() - began


def _row(name: str, budget: str, used_s: float | None, result: str) -> str:
    used = "-" if used_s is None else f"{int(used_s // 60)}:{used_s % 60:04.1f}"
    return f"{name:<12} {budget:>8} {used:>8}  {result}"


def run(suites: Sequence[Suite], times: float = 1, setup_s: float | None = None) -> int:
    """Run the suites, print the table; 0 when each passed."""
    rows = [f"{'suite':<12} {'budget':>8} {'used':>8}  result"]
    if setup_s is not None:
        rows.append(_row("(set-up)", "", setup_s, ""))
    passed, code = 0, 0
    try:
        for suite in suites:
            result, used_s = run_suite(suite, times)
            rows.append(_row(suite.name, f"{suite.minutes * times:g} min", used_s, result))
            passed += result == "passed"
    except KeyboardInterrupt:
        rows.append("interrupted: the other suites did not run")
        code = 130
    print("", *rows, f"suites: {passed} passed, {len(suites) - passed} failed", sep="\n", flush=True)
    return code or int(passed != len(suites))


def main(args: Sequence[str] | None = None) -> int:
    """Read the command line and run."""
    parser = argparse.ArgumentParser(prog="sh tests/run", description="Run the tests, one suite after the other.")
    names = [suite.name for suite in SUITES]
    parser.add_argument("suite", nargs="*", metavar="SUITE", help=f"only these: {', '.join(names)}")
    parser.add_argument("--long", action="store_true", help=f"long campaigns, and {LONG_TIMES} times the budgets")
    parser.add_argument("--list", action="store_true", help="show the suites with their budgets, and run nothing")
    chosen = parser.parse_args(args)
    if unknown := sorted(set(chosen.suite) - set(names)):
        parser.error(f"no suite is called {', '.join(unknown)}; there are {', '.join(names)}")
    suites = [suite for suite in SUITES if not chosen.suite or suite.name in chosen.suite]
    if chosen.list:
        print(*(f"{suite.name:<12} {suite.minutes:>3g} min" for suite in suites), sep="\n")
        return 0
    if chosen.long:
        os.environ |= {"FIELDCTL_TESTS_LONG": "1", "PYTEST_TIMEOUT": "0"}  # the suite's budget still holds
    adopt_orphans()
    # SIGINT too: a shell starts what it runs in the background deaf to it, and every suite would inherit that.
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, signal.default_int_handler)
    setup_s = os.environ.get("SETUP_S")
    return run(suites, LONG_TIMES if chosen.long else 1, None if setup_s is None else float(setup_s))


if __name__ == "__main__":
    sys.exit(main())

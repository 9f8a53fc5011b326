"""The runner of the suites: nobody is let off, nothing is left running, nothing is left out."""

from __future__ import annotations

import contextlib
import importlib.util
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest

ROOT = Path(__file__).parents[2]
RUNNER = Path(__file__).with_name("suites.py")

DRIVER = """
import importlib.util, sys
spec = importlib.util.spec_from_file_location("suites", sys.argv[1])
suites = sys.modules["suites"] = importlib.util.module_from_spec(spec)
spec.loader.exec_module(suites)
suites.GRACE_S = 0.2
suites.adopt_orphans()
def python(text): return (sys.executable, "-c", text)
S = suites.Suite
sys.exit(suites.run([{table}]))
"""


def run(table: str) -> subprocess.CompletedProcess[str]:
    """Run these suites with the real runner, in a process of its own (it adopts orphans)."""
    driver = DRIVER.replace("{table}", table)
    return subprocess.run([sys.executable, "-c", driver, str(RUNNER)], capture_output=True, text=True, timeout=60)


def rows(done: subprocess.CompletedProcess[str]) -> dict[str, str]:
    """The table at the end: suite -> result."""
    table = done.stdout.partition("\nsuite ")[2].splitlines()[1:-1]
    return {line.split()[0]: " ".join(line.split()[4:]) for line in table}


def test_all_passed() -> None:
    done = run("S('one', 1, (python('print(1)'), python('')))")
    assert done.returncode == 0
    assert rows(done) == {"one": "passed"}
    assert done.stdout.splitlines()[-1] == "suites: 1 passed, 0 failed"


def test_a_failing_suite_does_not_stop_the_others_and_fails_the_run() -> None:
    done = run("S('one', 1, (python('raise SystemExit(3)'), python('print(\"second\")'))), S('two', 1, (python(''),))")
    assert done.returncode == 1
    assert "second" in done.stdout
    assert rows(done) == {"one": "failed (3)", "two": "passed"}
    assert done.stdout.splitlines()[-1] == "suites: 1 passed, 1 failed"


def test_a_suite_over_its_budget_is_ended_with_all_that_it_started(tmp_path: Path) -> None:
    # The grandchild has a session of its own and ignores SIGTERM and SIGINT; the child ignores SIGINT too.
    deaf = "import signal, time; signal.signal(2, 1); signal.signal(15, 1); "
    child = (
        f"import subprocess, sys, pathlib; {deaf}"
        f"p = subprocess.Popen([sys.executable, '-c', {deaf + 'time.sleep(600)'!r}], start_new_session=True);"
        f"pathlib.Path({str(tmp_path / 'pid')!r}).write_text(str(p.pid)); time.sleep(600)"
    )
    began = time.monotonic()
    done = run(f"S('slow', 0.02, (python({child!r}),)), S('next', 1, (python(''),))")
    assert time.monotonic() - began < 30
    assert done.returncode == 1
    assert rows(done) == {"slow": "over its budget", "next": "passed"}
    assert not psutil.pid_exists(int((tmp_path / "pid").read_text()))


def test_the_budget_is_the_suites_not_each_commands() -> None:
    nap = "import time; time.sleep(0.9)"
    done = run(f"S('slow', 0.02, (python({nap!r}), python({nap!r})))")
    assert rows(done) == {"slow": "over its budget"}


def test_a_process_left_behind_fails_its_suite_and_is_ended(tmp_path: Path) -> None:
    child = (
        "import subprocess, sys, pathlib; p = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(600)'],"
        f"start_new_session=True); pathlib.Path({str(tmp_path / 'pid')!r}).write_text(str(p.pid))"
    )
    done = run(f"S('messy', 1, (python({child!r}),))")
    assert done.returncode == 1
    assert rows(done) == {"messy": "left processes running"}
    assert "time.sleep(600)" in done.stdout
    assert not psutil.pid_exists(int((tmp_path / "pid").read_text()))


def test_an_unknown_suite_is_refused_with_the_names_there_are() -> None:
    done = subprocess.run([sys.executable, str(RUNNER), "speed"], capture_output=True, text=True)
    assert done.returncode == 2
    assert "no suite is called speed" in done.stderr
    assert "published" in done.stderr


@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM])
def test_interrupted_even_where_the_shell_made_it_deaf(sent: signal.Signals, tmp_path: Path) -> None:
    mark = tmp_path / "began"
    napping: list[psutil.Process] = []
    nap = f"import pathlib, time; pathlib.Path({str(mark)!r}).touch(); time.sleep(600)"
    text = RUNNER.read_text()
    head, tail = text.index("SUITES = ("), text.index("def adopt_orphans")
    planted = f"SUITES = (Suite('nap', 1, ((sys.executable, '-c', {nap!r}),)), Suite('next', 1, ()))\n\n\n"
    (tmp_path / "suites.py").write_text(text[:head] + planted + text[tail:].replace("cwd=ROOT", "cwd=None"))
    deaf = (
        "import os, signal, sys; signal.signal(2, signal.SIG_IGN); "
        "os.execv(sys.executable, [sys.executable, sys.argv[1]])"
    )
    child = subprocess.Popen(
        [sys.executable, "-c", deaf, str(tmp_path / "suites.py")], stdout=subprocess.PIPE, text=True
    )
    try:
        until = time.monotonic() + 30
        while not mark.exists() and time.monotonic() < until:
            time.sleep(0.02)
        began = time.monotonic()
        napping = psutil.Process(child.pid).children(recursive=True)
        child.send_signal(sent)
        said, _ = child.communicate(timeout=20)
    finally:  # a runner that did not hear it must not leave its suite behind
        for process in napping:
            with contextlib.suppress(psutil.NoSuchProcess):
                process.kill()
        child.kill()
        child.wait()
    assert child.returncode == 130
    assert time.monotonic() - began < 8  # the suite heard it, and was not waited for until its grace was over
    assert "interrupted: the other suites did not run" in said


def test_every_folder_of_tests_belongs_to_one_suite_and_ci_has_the_time() -> None:
    spec = importlib.util.spec_from_file_location("suites", RUNNER)
    assert spec is not None
    assert spec.loader is not None
    suites = sys.modules["suites"] = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(suites)
    unit = next(suite for suite in suites.SUITES if suite.name == "unit")
    said = [" ".join(command) for suite in suites.SUITES for command in suite.commands if suite is not unit]
    for folder in suites.OWN:
        assert sum(line.endswith(f"-m pytest tests/{folder}") for line in said) == 1, folder
        assert f"--ignore=tests/{folder}" in unit.commands[0]
    assert len(unit.commands[0]) == 4 + len(suites.OWN)  # python -m pytest tests, and nothing else left out
    assert sum(suite.minutes for suite in suites.SUITES) <= 84  # 90 minutes at most in CI, set-up among them


def pytest_run(folder: Path, text: str, *args: str) -> subprocess.CompletedProcess[str]:
    """Run pytest under tests/conftest.py on one planted file."""
    shutil.copy(ROOT / "tests/conftest.py", folder / "conftest.py")
    (folder / "pytest.ini").write_text("[pytest]\n")
    (folder / "test_planted.py").write_text(text)
    clean = {key: value for key, value in os.environ.items() if not key.startswith("PYTEST")}
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", *args, str(folder)]
    return subprocess.run(command, capture_output=True, text=True, cwd=folder, env=clean)


LEFT_OUT = {
    "skip": "import pytest\n@pytest.mark.skip(reason='too cold')\ndef test_a(): pass\n",
    "skip inside": "import pytest\ndef test_a(): pytest.skip('too cold')\n",
    "skip in a fixture": (
        "import pytest\n@pytest.fixture\ndef warm(): pytest.skip('too cold')\ndef test_a(warm): pass\n"
    ),
    "whole module": "import pytest\npytest.skip('too cold', allow_module_level=True)\n",
    "missing library": "import pytest\npytest.importorskip('not_there_at_all', reason='too cold')\n",
    "expected to fail": "import pytest\n@pytest.mark.xfail(reason='too cold')\ndef test_a(): assert False\n",
    "passed all the same": "import pytest\n@pytest.mark.xfail(reason='too cold')\ndef test_a(): pass\n",
}


@pytest.mark.parametrize("kind", LEFT_OUT)
def test_what_is_left_out_fails_the_run_with_its_reason(kind: str, tmp_path: Path) -> None:
    beside = "\ndef test_beside(): pass\n" if kind != "whole module" else ""
    done = pytest_run(tmp_path, LEFT_OUT[kind] + beside)
    assert done.returncode == 1, done.stdout
    assert "too cold" in done.stdout.partition("left out, which counts as failed")[2], done.stdout


def test_a_suite_without_a_test_fails(tmp_path: Path) -> None:
    assert pytest_run(tmp_path, "").returncode == pytest.ExitCode.NO_TESTS_COLLECTED


def test_an_honest_file_passes(tmp_path: Path) -> None:
    done = pytest_run(tmp_path, "def test_a(): pass\n")
    assert done.returncode == 0, done.stdout
    assert "1 passed" in done.stdout

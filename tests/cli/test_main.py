"""The program's own ends: wrong use as JSON, output that nobody takes, a plug-in that cannot be loaded, Ctrl-C."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from served import FIELDCTL

from fieldctl.cli import main

BUFFERED = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}


def run(*words: str, **more: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [FIELDCTL, *words], capture_output=True, text=True, check=False, timeout=60, env={**BUFFERED, **more}
    )


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("statsu", "--json"), "status"),
        (("status", "--jsno", "--json"), "--json"),
        (("exercise", "show", "--json"), "Missing argument"),
        (("drill", "preview", "x", "--runs", "many", "--json"), "--runs"),
    ],
)
def test_wrong_use_as_json(words: tuple[str, ...], said: str) -> None:
    done = run(*words)
    assert done.returncode == 2
    row = json.loads(done.stdout)
    assert (row["schema"], row["error"]["code"]) == (1, "bad-input")
    assert said in row["error"]["what"]
    assert done.stderr.count(said) >= 1
    assert "--help" in row["error"]["remedy"]


def test_wrong_use_for_people_says_it_once() -> None:
    done = run("exercise", "strt")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("Did you mean") == 1


@pytest.mark.parametrize("words", [("--help",), ("drill", "list"), ("status",), ("status", "--json")])
def test_output_that_has_no_room(words: tuple[str, ...], tmp_path: Path) -> None:
    site = tmp_path / "larch"
    run("site", "new", str(site))
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [FIELDCTL, *words], cwd=site, stdout=full, stderr=subprocess.PIPE, text=True, check=False, env=BUFFERED
        )
    assert done.returncode in (1, 4)
    assert "Traceback" not in done.stderr
    assert "Exception ignored" not in done.stderr
    assert "To do:" in done.stderr


def test_a_reader_that_has_enough(tmp_path: Path) -> None:
    child = subprocess.Popen(
        [FIELDCTL, "--help"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=BUFFERED
    )
    assert child.stdout is not None
    assert child.stderr is not None
    child.stdout.close()
    said = child.stderr.read()
    child.stderr.close()
    assert (child.wait(), said) == (1, "")


def test_a_terminal_that_knows_no_plus_minus(tmp_path: Path) -> None:
    (tmp_path / "drills").mkdir()
    (tmp_path / "drills" / "one.toml").write_text('title = "± Lärche"\nlimit_min = 5\n[[burial]]\nname = "A"\n')
    done = run("drill", "list", "--site", str(tmp_path), PYTHONIOENCODING="ascii")
    assert done.returncode == 0, done.stderr
    assert "\\xb1 L\\xe4rche" in done.stdout


def test_ctrl_c(tmp_path: Path) -> None:
    site = tmp_path / "larch"
    run("site", "new", str(site))
    words = ("drill", "preview", "one-burial", "--runs", "100000")
    child = subprocess.Popen([FIELDCTL, *words], cwd=site, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True)
    assert child.stderr is not None
    child.stderr.readline()  # it is at work
    child.send_signal(signal.SIGINT)
    said = child.communicate(timeout=30)[1]
    assert (child.returncode, "Traceback" in said) == (130, False)


class Broken:
    name = "demo"

    def load(self) -> object:
        raise ImportError("its half was not installed")


def test_a_plug_in_that_cannot_be_loaded_is_said_and_no_more(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(main, "entry_points", lambda group: [Broken()])
    monkeypatch.setattr(sys, "argv", ["fieldctl", "--version"])
    with pytest.raises(SystemExit) as end:
        main.main()
    assert not end.value.code
    out, err = capsys.readouterr()
    assert out.startswith("fieldctl ")
    assert "'demo' could not be loaded: its half was not installed" in err


def test_a_command_of_ours_waits_for_no_plug_in(monkeypatch: pytest.MonkeyPatch) -> None:
    def asked(group: str) -> list[object]:
        raise AssertionError(f"{group} was looked for")

    monkeypatch.setattr(main, "entry_points", asked)
    monkeypatch.setattr(sys, "argv", ["fieldctl", "drill", "--help"])
    with pytest.raises(SystemExit):
        main.main()

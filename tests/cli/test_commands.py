"""The command line without a field: help, exit codes, JSON, errors in words and never a traceback."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

FIELDCTL = Path(sys.executable).parent / "fieldctl"


def run(*words: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [FIELDCTL, *words],
        capture_output=True,
        text=True,
        check=False,
        cwd=cwd,
        timeout=60,
        env={**os.environ, "NO_COLOR": "1"},
    )


@pytest.fixture
def site(tmp_path: Path) -> Path:
    folder = tmp_path / "larch"
    assert run("site", "new", str(folder)).returncode == 0
    return folder


def test_help_names_every_command_and_the_caution() -> None:
    said = run("--help").stdout
    for word in ("serve", "status", "day", "exercise", "all-off", "target", "drill", "site", "ledger", "doctor",
                 "bridge", "demo", "sim"):  # fmt: skip
        assert word in said
    assert "Any signal is a person until proved otherwise" in said.replace("\n  ", " ")


@pytest.mark.parametrize(
    "words",
    [
        ("day", "--help"), ("exercise", "start", "--help"), ("target", "add", "--help"), ("all-off", "--help"),
        ("drill", "preview", "--help"), ("ledger", "--help"), ("demo", "--help"), ("sim", "faults", "--help"),
    ],
)  # fmt: skip
def test_every_help_is_there(words: tuple[str, ...]) -> None:
    done = run(*words)
    assert done.returncode == 0
    assert "Usage" in done.stdout


def test_a_slip_is_met_with_what_was_meant() -> None:
    done = run("exercise", "strt")
    assert done.returncode == 2
    assert "start" in done.stderr


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("status",), 4),
        (("all-off",), 4),
        (("exercise", "start", "one-burial"), 4),
        (("target", "list"), 4),
        (("site", "check", "--site", "nowhere"), 4),
        (("ledger", "verify", "--site", "nowhere"), 4),
        (("drill", "check", "nothing.toml"), 4),
        (("serve", "--site", "nowhere"), 4),
    ],
)
def test_nobody_there(words: tuple[str, ...], code: int, tmp_path: Path) -> None:
    done = run(*words, cwd=tmp_path)
    assert done.returncode == code, done.stderr
    assert "To do:" in done.stderr
    assert "Traceback" not in done.stderr


def test_an_error_as_json(tmp_path: Path) -> None:
    done = run("status", "--json", cwd=tmp_path)
    row = json.loads(done.stdout)
    assert row["schema"] == 1
    assert set(row["error"]) >= {"code", "what", "expected", "remedy"}


def test_a_new_site_has_its_key_and_touches_nothing_there(site: Path) -> None:
    key = site / "private" / "site.key"
    assert key.stat().st_mode & 0o777 == 0o600
    before = key.read_text()
    again = run("site", "new", str(site))
    assert again.returncode != 0
    assert key.read_text() == before
    assert run("site", "check", "--site", str(site), "--json").returncode == 0


def test_faults_in_files_all_at_once_with_their_lines(site: Path) -> None:
    text = (
        (site / "site.toml")
        .read_text()
        .replace("grant_s = 30", "grant_s = 3")
        .replace('zone = "upper"', 'zone = "up"', 1)
    )
    (site / "site.toml").write_text(text)
    (site / "drills" / "bad.toml").write_text('titel = "x"\n')
    done = run("site", "check", "--site", str(site), "--json")
    assert done.returncode == 1
    faults = json.loads(done.stdout)["error"]["faults"]
    assert {f["file"] for f in faults} == {"site.toml", "drills/bad.toml"}
    assert all(f["line"] > 0 and f["expected"] and f["remedy"] for f in faults if f["key"] != "title")


def test_a_key_that_others_can_read_is_refused(site: Path) -> None:
    (site / "private" / "site.key").chmod(0o644)
    done = run("serve", "--site", str(site))
    assert done.returncode == 5
    assert "chmod 600" in done.stderr


def test_drills_are_listed_and_previewed_without_a_serve(site: Path) -> None:
    rows = json.loads(run("drill", "list", "--json", "--site", str(site)).stdout)["drills"]
    assert [r["drill"] for r in rows] == ["close-pair", "one-burial", "probe-line", "three-in-sequence"]
    picture = site / "map.svg"
    done = run(
        "drill", "preview", "drills/one-burial.toml", "--runs", "40", "--json", "--picture", str(picture), cwd=site
    )
    assert done.returncode == 0, done.stderr
    assert "rehearsing" in done.stderr
    row = json.loads(done.stdout)
    assert row["schema"] == 1
    assert "<svg" in picture.read_text()


def test_a_ledger_altered_behind_its_back(site: Path) -> None:
    import sqlite3

    from fieldctl.events import SurfaceRenewed
    from fieldctl.ledger.store import Ledger
    from fieldctl.units import HostTime, PersonId

    path = site / "ledger.sqlite"
    with Ledger.open(path, inline=True) as ledger:
        for n in range(3):
            at = HostTime("boot", n)
            ledger.append([SurfaceRenewed(None, f"tilled {n}", PersonId("p"), at)], at=at)
    assert run("ledger", "verify", "--site", str(site)).returncode == 0
    with sqlite3.connect(path) as base:
        for (trigger,) in list(base.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")):
            base.execute(f"DROP TRIGGER {trigger}")
        base.execute("UPDATE entries SET body = replace(body, 'tilled 1', 'tilled 9')")
    base.close()
    done = run("ledger", "verify", "--site", str(site))
    assert done.returncode == 1
    assert "2" in done.stderr


def test_doctor_names_what_is_missing(site: Path) -> None:
    done = run("doctor", "--json", "--site", str(site))
    assert done.returncode == 3
    checks = json.loads(done.stdout)["checks"]
    bus = next(c for c in checks if c["what"] == "bus bus")
    assert not bus["ok"]
    assert bus["remedy"]
    assert next(c for c in checks if c["what"] == "safe commits a second")["ok"]


def test_the_broker_s_files(site: Path, tmp_path: Path) -> None:
    folder = tmp_path / "broker"
    done = run("broker", "config", str(folder), "--site", str(site), "--no-tls")
    assert done.returncode == 0, done.stderr
    for name in ("mosquitto.conf", "acl", "passwords", "clear-passwords.txt"):
        assert (folder / name).stat().st_mode & 0o077 == 0
    assert "5ee0000c" in (folder / "passwords").read_text()

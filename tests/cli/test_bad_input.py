"""What bad input gets: a fault in words with a remedy and its exit code, one JSON object, never a traceback."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from served import FIELDCTL

from fieldctl.cli.outside import SystemClock
from fieldctl.events import ControllerStarted, GrantGiven, SurfaceRenewed, TargetAdded
from fieldctl.ledger.export import load_lines
from fieldctl.ledger.store import Ledger
from fieldctl.units import US_PER_S, BootId, HostTime, NodeTicks, PersonId, TargetId


def run(*words: str | bytes, site: Path | None = None) -> subprocess.CompletedProcess[str]:
    at = () if site is None else ("--site", str(site))
    return subprocess.run([FIELDCTL, *words, *at], capture_output=True, text=True, check=False, timeout=60)


@pytest.fixture
def site(tmp_path: Path) -> Path:
    folder = tmp_path / "larch"
    assert run("site", "new", str(folder)).returncode == 0
    return folder


def key_of_bytes(site: Path) -> None:
    (site / "private" / "site.key").write_bytes(b"\xff\xfe\x00")


def key_is_folder(site: Path) -> None:
    (site / "private" / "site.key").unlink()
    (site / "private" / "site.key").mkdir()


def key_is_gone(site: Path) -> None:
    (site / "private" / "site.key").unlink()


def link_is_gone(site: Path) -> None:
    with Ledger.open(site / "ledger.sqlite", inline=True) as ledger:
        ledger.append([TargetAdded(TargetId("5ee00001"), "", "gone", 1, PersonId("p"))], at=HostTime("b", 1))


def ledger_is_another_file(site: Path) -> None:
    (site / "ledger.sqlite").write_bytes(b"no database at all" * 100)


def ledger_is_folder(site: Path) -> None:
    (site / "ledger.sqlite").mkdir()


def socket_is_a_file(site: Path) -> None:
    (site / "control.sock").write_text("a note")


def site_is_bytes(site: Path) -> None:
    (site / "site.toml").write_bytes(b"\x00\xff")


SERVE = {
    key_of_bytes: (5, "holds no key"),
    key_is_folder: (5, "cannot be read"),
    key_is_gone: (4, "backup"),
    link_is_gone: (2, "no longer names"),
    ledger_is_another_file: (1, "damaged"),
    ledger_is_folder: (1, "cannot be"),
    socket_is_a_file: (5, "is no socket"),
    site_is_bytes: (1, "UTF-8"),
}


@pytest.mark.parametrize("harm", SERVE, ids=lambda harm: harm.__name__)
def test_serve_says_what_is_in_the_way(harm: Callable[[Path], None], site: Path) -> None:
    harm(site)
    code, word = SERVE[harm]
    done = run("serve", site=site)
    assert (done.returncode, "Traceback" in done.stderr) == (code, False), done.stderr
    assert word in done.stderr
    assert "To do:" in done.stderr


def test_a_new_site_whose_key_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "private").write_text("in the way")
    done = run("site", "new", str(tmp_path))
    assert (done.returncode, "Traceback" in done.stderr) == (5, False)
    assert "key cannot be written" in done.stderr


def test_a_path_that_cannot_be_written(site: Path) -> None:
    (site / "file").write_text("x")
    done = run("broker", "config", str(site / "file"), "--no-tls", site=site)
    assert (done.returncode, "Traceback" in done.stderr) == (1, False)
    assert "File exists" in done.stderr
    assert "To do:" in done.stderr


def test_a_slip_in_the_name_of_any_command(tmp_path: Path) -> None:
    for slip, meant in (("staus", "status"), ("dmeo", "demo"), ("excercise", "exercise")):
        done = run(slip)
        assert done.returncode == 2
        assert f"'{meant}'" in done.stderr


def test_options_of_release_before_the_word_are_not_taken_for_another_site(site: Path) -> None:
    done = run("all-off", "--site", str(site), "release", "--reason", "x")
    assert done.returncode == 2
    assert "after the word release" in done.stderr


def test_status_of_a_field_that_nobody_serves(site: Path) -> None:
    clock = SystemClock()
    target = TargetId("5ee00002")

    def grant(number: int, boot: str, limit_s: int) -> GrantGiven:
        limit = HostTime(boot, clock.now() + limit_s * US_PER_S)
        ticks = (NodeTicks(0), NodeTicks(1), NodeTicks(2))
        return GrantGiven(number, target, "exercise", "x1", "A", BootId(1), *ticks, limit, 1000, 100, 100, 0, 1)

    with Ledger.open(site / "ledger.sqlite", inline=True) as ledger:
        at = HostTime(clock.boot, clock.now())
        facts = [grant(1, clock.boot, 600), grant(2, clock.boot, 5), grant(3, "an earlier boot", 600)]
        ledger.append([ControllerStarted("0", at, 1, True), *facts], at=at, wall="2026-01-31T10:00:00.000Z")
    done = run("status", "--json", site=site)
    assert done.returncode == 4
    row = json.loads(done.stdout)  # one object, nothing beside it
    assert (row["schema"], row["live"], row["as_of"]) == (1, False, "2026-01-31T10:00:00.000Z")
    assert row["day"]["open"] is False
    assert row["error"]["code"] == "unreachable"
    first, second, third = row["may_still_send"]
    assert first["place"].startswith("upper")
    assert 25 <= first["may_send_for_s"] <= 30  # not its limit of 600 s: nobody renews it any more
    assert 0 < second["may_send_for_s"] <= 5
    assert third["may_send_for_s"] <= 30
    people = run("status", site=site)
    assert people.returncode == 4
    assert "may send for" in people.stdout
    assert "fieldctl serve" in people.stderr


def test_an_export_is_read_back_entry_for_entry(site: Path) -> None:
    at = HostTime("b", 1)
    with Ledger.open(site / "ledger.sqlite", inline=True) as ledger:
        wrote = ledger.append([SurfaceRenewed(None, f"n {n}", PersonId("p"), at) for n in range(5)], at=at)
    head, entries = load_lines(run("ledger", "export", site=site).stdout.splitlines(keepends=True))
    assert head.exercise is None
    assert [e.hash for e in entries] == [e.hash for e in wrote]
    assert run("ledger", "export", "--csv", site=site).stdout.count("\n") == 1


def test_a_tail_that_was_cut_off_with_care_shows_against_a_noted_head(site: Path) -> None:
    at = HostTime("b", 1)
    with Ledger.open(site / "ledger.sqlite", inline=True) as ledger:
        ledger.append([SurfaceRenewed(None, f"n {n}", PersonId("p"), at) for n in range(5)], at=at)
    row = json.loads(run("ledger", "verify", "--json", site=site).stdout)
    assert row["ok"]
    noted = f"{row['head']['seq']}:{row['head']['hash']}"
    assert run("ledger", "verify", "--noted", noted, site=site).returncode == 0
    base = sqlite3.connect(site / "ledger.sqlite")
    for (trigger,) in list(base.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")):
        base.execute(f"DROP TRIGGER {trigger}")
    base.execute("DELETE FROM entries WHERE seq = 5")
    base.execute("UPDATE sqlite_sequence SET seq = 4 WHERE name = 'entries'")
    base.commit()
    base.close()
    assert run("ledger", "verify", site=site).returncode == 0
    done = run("ledger", "verify", "--json", "--noted", noted, site=site)
    assert done.returncode == 1
    assert [f["what"] for f in json.loads(done.stdout)["flaws"]] == ["other-head"]
    assert run("ledger", "verify", "--noted", "5", site=site).returncode == 2


def test_text_that_is_no_utf_8_on_the_command_line(site: Path) -> None:
    done = run("drill", "check", os.fsencode(str(site)) + b"/\xff.toml")
    assert (done.returncode, "Traceback" in done.stderr) == (4, False)

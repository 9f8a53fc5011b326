"""What doctor sees, each time with one thing spoilt: it says which, and what to do, and never falls over itself."""

from __future__ import annotations

import datetime
import os
import socket as sockets
import sqlite3
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from fieldctl.cli import doctor
from fieldctl.cli.outside import make_key
from fieldctl.events import BackupRestored, GenerationRaised, SurfaceRenewed
from fieldctl.ledger.store import Ledger
from fieldctl.links.port_notes import Holder
from fieldctl.site.new import new_site
from fieldctl.units import HostTime, PersonId


@pytest.fixture
def site(tmp_path: Path) -> Path:
    folder = tmp_path / "larch"
    new_site(folder)
    make_key(folder)
    return folder


def seen(folder: Path) -> dict[str, dict[str, Any]]:
    rows = doctor.look(folder)
    assert all(row["remedy"] for row in rows if not row["ok"])
    assert len({row["what"] for row in rows}) == len(rows)
    return {row["what"]: row for row in rows}


def test_a_new_site_is_well_but_for_what_is_not_plugged_in(site: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(doctor, "IN_MEMORY", ())  # where /tmp is held in memory
    bad = {what for what, row in seen(site).items() if not row["ok"]}
    assert bad - {"mosquitto"} == {"bus bus", "broker broker"}


def test_a_log_put_back_from_a_backup_steers_nobody_before_a_person_says_so(site: Path) -> None:
    assert "who steers" not in seen(site), "there is no log yet"
    here = HostTime("boot", 1)
    with Ledger.open(site / "ledger.sqlite", inline=True) as ledger:
        ledger.append([GenerationRaised(3, PersonId("p-1"), "invented")], at=here)
        assert seen(site)["who steers"]["ok"]
        ledger.append([BackupRestored(None, here)], at=here)
        row = seen(site)["who steers"]
        assert not row["ok"]
        assert "steers no target" in row["seen"]
        assert "fieldctl generation raise" in row["remedy"]
        ledger.append([GenerationRaised(4, PersonId("p-1"), "this one steers")], at=here)
        assert seen(site)["who steers"]["ok"]


def test_no_site_at_all(tmp_path: Path) -> None:
    rows = seen(tmp_path / "nowhere")
    assert not rows["site files"]["ok"]
    assert not rows["site key"]["ok"]
    assert "bus bus" not in rows


def test_every_fault_of_the_site_file_is_named(site: Path) -> None:
    text = (site / "site.toml").read_text().replace("grant_s = 30", "grant_s = 3")
    (site / "site.toml").write_text(text + "\nshoe = 3\n")
    row = seen(site)["site files"]
    assert not row["ok"]
    assert "grant_s" in row["seen"]
    assert "shoe" in row["seen"]


@pytest.mark.parametrize(("mode", "well"), [(0o600, True), (0o640, False), (0o604, False)])
def test_a_key_that_others_can_read(site: Path, mode: int, well: bool) -> None:
    (site / "private" / "site.key").chmod(mode)
    assert seen(site)["site key"]["ok"] is well


def test_a_private_folder_that_others_can_look_into(site: Path) -> None:
    (site / "private").chmod(0o755)
    row = seen(site)["private folder"]
    assert not row["ok"]
    assert "chmod 700" in row["remedy"]


def test_the_broker_s_password(site: Path) -> None:
    text = (site / "site.toml").read_text()
    here = text.index("[[mqtt]]") + len("[[mqtt]]")
    (site / "site.toml").write_text(text[:here] + '\npassword_file = "private/broker"' + text[here:])
    assert not seen(site)["password broker"]["ok"]
    (site / "private" / "broker").write_text("x")
    (site / "private" / "broker").chmod(0o644)
    assert "chmod 600" in seen(site)["password broker"]["remedy"]
    (site / "private" / "broker").chmod(0o600)
    assert seen(site)["password broker"]["ok"]


def test_a_disk_in_memory_is_no_disk(site: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    mounts = tmp_path / "mounts"
    mounts.write_text(f"/dev/sda1 / ext4 rw 0 0\nnone {site.resolve()} tmpfs rw 0 0\nhalf a line\n")
    monkeypatch.setattr(doctor, "MOUNTS", mounts)
    assert not seen(site)["ledger's disk"]["ok"]
    mounts.write_text("/dev/sda1 / ext4 rw 0 0\n")
    assert seen(site)["ledger's disk"]["seen"] == "ext4"


def test_a_disk_that_is_full_or_cannot_be_written(site: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_path: Path) -> tuple[str, float]:
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr(doctor, "_commits", full)
    row = seen(site)["ledger's folder"]
    assert not row["ok"]
    assert "full" in row["seen"]


def test_a_slow_card_and_a_journal_that_cannot_be_kept(site: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(doctor, "_commits", lambda _path: ("delete", 4.0))
    rows = seen(site)
    assert not rows["write-ahead log"]["ok"]
    assert not rows["safe commits a second"]["ok"]


@pytest.mark.parametrize(("days", "well"), [(1, False), (-1, True)])
def test_a_clock_behind_the_log(site: Path, days: int, well: bool) -> None:
    wall = (datetime.datetime.now(datetime.UTC) + datetime.timedelta(days=days)).isoformat(timespec="milliseconds")
    with Ledger.open(site / "ledger.sqlite", inline=True) as ledger:
        at = HostTime("boot", 1)
        ledger.append([SurfaceRenewed(None, "tilled", PersonId("p"), at)], at=at, wall=wall.replace("+00:00", "Z"))
    assert seen(site)["wall clock"]["ok"] is well


def test_a_ledger_that_is_junk_is_no_crash(site: Path) -> None:
    (site / "ledger.sqlite").write_bytes(os.urandom(4096))
    assert seen(site)["wall clock"]["ok"]


@pytest.fixture
def socket_file(site: Path) -> Iterator[tuple[Path, sockets.socket]]:
    with sockets.socket(sockets.AF_UNIX) as listener:
        path = site / "control.sock"
        old = os.getcwd()
        os.chdir(site)
        try:
            listener.bind("control.sock")
        finally:
            os.chdir(old)
        path.chmod(0o600)
        yield path, listener


def test_a_serve_that_answers(site: Path, socket_file: tuple[Path, sockets.socket]) -> None:
    _, listener = socket_file
    listener.listen()

    def answer() -> None:
        line, _ = listener.accept()
        with line:
            line.recv(1000)
            line.sendall(b'{"id": 1, "ok": false}\n')

    thread = threading.Thread(target=answer)
    thread.start()
    row = seen(site)["serve"]
    thread.join()
    assert row["ok"]
    assert row["seen"] == "runs, and answers"


def test_a_serve_that_hangs(
    site: Path, socket_file: tuple[Path, sockets.socket], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(doctor, "ANSWER_WITHIN_S", 0.1)
    socket_file[1].listen()
    row = seen(site)["serve"]
    assert not row["ok"]
    assert "does not answer" in row["seen"]


def test_a_serve_that_was_killed_and_a_socket_for_everybody(
    site: Path, socket_file: tuple[Path, sockets.socket]
) -> None:
    path, _ = socket_file
    path.chmod(0o666)
    rows = seen(site)
    assert rows["serve"]["ok"]
    assert "killed" in rows["serve"]["seen"]
    assert not rows["control socket"]["ok"]


def test_a_bus_that_somebody_else_has(site: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    main, end = os.openpty()
    text = (site / "site.toml").read_text().replace("/dev/ttyUSB0", os.ttyname(end))
    (site / "site.toml").write_text(text)
    os.close(end)
    try:
        assert seen(site)["bus bus"]["ok"]
        monkeypatch.setattr("fieldctl.links.port_notes.holder_of", lambda *_: Holder(4711, "larch-hollow"))
        assert seen(site)["bus bus"]["ok"]  # its own serve
        monkeypatch.setattr("fieldctl.links.port_notes.holder_of", lambda *_: Holder(4711, "", "another"))
        row = seen(site)["bus bus"]
        assert not row["ok"]
        assert "4711" in row["seen"]
    finally:
        os.close(main)


def test_a_broker_that_answers(site: Path) -> None:
    with sockets.create_server(("127.0.0.1", 0)) as listener:
        text = (site / "site.toml").read_text()
        here = text.index("[[mqtt]]") + len("[[mqtt]]")
        lines = [line for line in text[here:].split("\n") if not line.startswith("port =")]
        (site / "site.toml").write_text(text[:here] + f"\nport = {listener.getsockname()[1]}" + "\n".join(lines))
        row = seen(site)["broker broker"]
        assert row["ok"], row["seen"]

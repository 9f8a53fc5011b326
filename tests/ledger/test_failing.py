"""When the disk says no: told once with a remedy, nothing half written, nothing afterwards."""

from __future__ import annotations

import asyncio
import os
import sqlite3
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from fieldctl.errors import InUse, LedgerFailed, NotFound, Refused
from fieldctl.events import SignalDue
from fieldctl.ledger import writer
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.store import Ledger
from fieldctl.ledger.telemetry import Telemetry
from fieldctl.ledger.verify import verify
from fieldctl.units import HostTime, TargetId

T = HostTime("b-1", 5_000_000)


def due(n: int, because: str = "start") -> SignalDue:
    return SignalDue("e1", f"B{n}", T.plus(n), because)


LONG = "because of " + "x" * 3_000


def fill(ledger: Ledger) -> None:
    for n in range(100):
        ledger.append([due(n, LONG)], at=T)


@pytest.mark.parametrize("inline", [True, False])
def test_a_full_disk_fails_the_ledger_until_it_is_opened_again(tmp_path: Path, inline: bool) -> None:
    told: list[int] = []
    path = tmp_path / "l.db"
    with Ledger.open(path, inline=inline) as ledger:
        ledger.subscribe(lambda entries: told.extend(each.seq for each in entries))
        ledger.limit_pages(8)
        with pytest.raises(LedgerFailed, match="disk is full") as first:
            fill(ledger)
        good = len(told)
        assert 0 < good < 20
        assert "Free some space" in first.value.remedy
        for _ in range(2):
            with pytest.raises(LedgerFailed, match="disk is full"):
                ledger.append([due(0)], at=T)
        with pytest.raises(LedgerFailed, match="disk is full"):
            ledger.put_telemetry([Telemetry(TargetId("0a1b2c3d"), T), Telemetry(TargetId("0a1b2c3d"), T.plus(10**9))])
        assert ledger.failed is not None
        assert [each.seq for each in ledger.entries()] == told == list(range(1, good + 1))
    with Ledger.open(path, inline=inline) as again:
        assert verify(again).ok
        assert again.append([due(1)], at=T)[0].seq == good + 1


async def test_everybody_who_waits_is_told_of_a_full_disk(tmp_path: Path) -> None:
    with Ledger.open(tmp_path / "l.db", inline=False) as ledger:
        ledger.limit_pages(8)
        ended = await asyncio.gather(*(ledger.commit([due(n, LONG)], at=T) for n in range(200)), return_exceptions=True)
        failed = [each for each in ended if isinstance(each, LedgerFailed)]
        done = [each for each in ended if isinstance(each, tuple)]
        assert len(failed) + len(done) == 200
        assert failed
        assert len({id(each) for each in failed}) == len(failed)
        assert len(list(ledger.entries())) == len(done)
        with pytest.raises(LedgerFailed):
            await ledger.commit([due(1)], at=T)


async def test_after_a_failure_nothing_that_waited_behind_it_is_written(tmp_path: Path) -> None:
    path = tmp_path / "l.db"
    with Ledger.open(path, inline=False) as ledger:
        commit, failures = ledger._pen.commit, iter([sqlite3.OperationalError("a cable came loose for a moment")])

        def shaky() -> None:
            for failure in failures:
                raise failure
            commit()

        ledger._pen.commit = shaky  # type: ignore[method-assign]
        waiting = [ledger.commit([due(n)], at=T) for n in range(500)]
        ended = await asyncio.gather(*waiting, return_exceptions=True)
        assert {type(each) for each in ended} == {LedgerFailed}
        assert all("came loose" in str(each) for each in ended)
    with Ledger.open(path, inline=False) as again:
        assert list(again.entries()) == []
        assert (await again.commit([due(1)], at=T))[0].seq == 1


def test_all_or_none_of_one_call(tmp_path: Path) -> None:
    with Ledger.open(tmp_path / "l.db", inline=True) as ledger:
        ledger.append([due(0)], at=T)
        ledger.limit_pages(8)
        with pytest.raises(LedgerFailed):
            ledger.append([due(n, LONG) for n in range(100)], at=T)
        assert list(ledger.facts()) == [due(0)]


def test_another_program_that_writes_into_the_file_fails_the_ledger(tmp_path: Path) -> None:
    path = tmp_path / "l.db"
    with Ledger.open(path, inline=True) as ledger:
        ledger.append([due(0)], at=T)
        raw = sqlite3.connect(path)
        raw.execute("INSERT INTO entries VALUES (2, 'Forged', NULL, NULL, 'b', 1, NULL, '{}', '', '')")
        raw.commit()
        raw.close()
        with pytest.raises(LedgerFailed, match="other entries than this program wrote"):
            ledger.append([due(1)], at=T)


async def test_a_full_queue_is_told_and_counted_and_does_not_fail_what_is_queued(monkeypatch) -> None:
    monkeypatch.setattr(writer, "QUEUE_MAX", 10)
    with Ledger.open(":memory:", inline=False) as ledger:
        go_on = threading.Event()
        begin = ledger._pen.begin
        ledger._pen.begin = lambda: (go_on.wait(10), begin())  # type: ignore[method-assign]
        tasks = [asyncio.create_task(ledger.commit([due(n)], at=T)) for n in range(12)]
        await asyncio.sleep(0)
        assert [n for n, task in enumerate(tasks) if task.done()] == [10, 11]
        with pytest.raises(LedgerFailed, match="10 entries wait for the disk"):
            ledger.append([due(13)], at=T)
        go_on.set()
        ended = await asyncio.gather(*tasks, return_exceptions=True)
        assert [type(each) for each in ended] == [tuple] * 10 + [LedgerFailed] * 2
        assert ledger.counts["refused: queue full"] == 3
        assert len(await ledger.commit([due(n) for n in range(30)], at=T)) == 30


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("SQLITE_IOERR_FSYNC", "the disk reports an error"),
        ("SQLITE_READONLY_DBMOVED", "read-only"),
        ("SQLITE_CORRUPT_INDEX", "is damaged"),
        ("SQLITE_BUSY", "another program holds the file"),
        ("SQLITE_MISUSE", "OperationalError"),
    ],
)
@pytest.mark.parametrize("step", ["begin", "commit"])
@pytest.mark.parametrize("inline", [True, False])
def test_whatever_sqlite_reports_ends_writing_with_words_and_a_remedy(
    tmp_path: Path, name: str, words: str, step: str, inline: bool
) -> None:
    def fail() -> None:
        bad = sqlite3.OperationalError("it broke")
        bad.sqlite_errorname = name
        raise bad

    told: list[object] = []
    with Ledger.open(tmp_path / "l.db", inline=inline) as ledger:
        ledger.subscribe(told.append)
        setattr(ledger._pen, step, fail)
        with pytest.raises(LedgerFailed, match=words) as failed:
            ledger.append([due(1)], at=T)
        assert failed.value.remedy
        assert failed.value.expected
        assert told == []
        delattr(ledger._pen, step)
        with pytest.raises(LedgerFailed, match=words):
            ledger.append([due(1)], at=T)
    with Reader.read(tmp_path / "l.db") as reader:
        assert list(reader.entries()) == []


def test_two_writers_the_second_says_who_has_it(tmp_path: Path) -> None:
    path = tmp_path / "l.db"
    with Ledger.open(path, inline=True, who="fieldctl serve") as ledger:
        with pytest.raises(InUse, match=rf"written by fieldctl serve \(process {os.getpid()}\)"):
            Ledger.open(path, inline=True)
        child = subprocess.run(
            [
                sys.executable,
                "-c",
                f"from fieldctl.ledger.store import Ledger; Ledger.open({str(path)!r}, inline=True)",
            ],
            capture_output=True,
            text=True,
            timeout=30,
        )
        assert child.returncode == 1
        assert f"written by fieldctl serve (process {os.getpid()})" in child.stderr
        ledger.append([due(1)], at=T)
    Ledger.open(path, inline=True).close()


def test_a_reader_works_beside_a_writer_and_cannot_write(tmp_path: Path) -> None:
    path = tmp_path / "l.db"
    with Ledger.open(path, inline=False) as ledger, Reader.read(path) as reader:
        ledger.append([due(1)], at=T)
        assert list(reader.facts()) == [due(1)]
        ledger.append([due(2)], at=T)
        assert list(reader.facts(after_seq=1)) == [due(2)]
        assert verify(reader).ok
        with pytest.raises(LedgerFailed, match="read-only"), reader.connection() as connection:
            connection.exec_driver_sql("INSERT INTO settings VALUES ('a', '1')")


def test_a_long_look_does_not_hold_the_writer_up_even_in_a_file_that_came_from_elsewhere(tmp_path: Path) -> None:
    path = tmp_path / "l.db"
    with Ledger.open(path, inline=True) as ledger:
        ledger.append([due(1)], at=T)
    raw = sqlite3.connect(path)
    assert raw.execute("PRAGMA journal_mode=DELETE").fetchone() == ("delete",)  # as a restored copy may be
    raw.close()
    with Ledger.open(path, inline=True) as ledger, Reader.read(path) as reader, reader.connection() as connection:
        connection.exec_driver_sql("BEGIN")
        assert connection.exec_driver_sql("SELECT count(*) FROM entries").scalar() == 1
        ledger.append([due(2)], at=T)
        assert connection.exec_driver_sql("SELECT count(*) FROM entries").scalar() == 1


def test_there_is_nothing_to_read(tmp_path: Path) -> None:
    with pytest.raises(NotFound, match="There is no ledger"):
        Reader.read(tmp_path / "none.db")
    with pytest.raises(LedgerFailed, match="cannot be opened: No such file"):
        Ledger.open(tmp_path / "none" / "l.db", inline=True)


@pytest.fixture
def common_folder() -> Iterator[Path]:
    """A folder as somebody without any right over others sees it."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        with Ledger.open(folder / "l.db", inline=True) as ledger:
            ledger.append([due(1)], at=T)
        root = os.geteuid() == 0
        folder.chmod(0o555)
        if root:
            os.seteuid(65_534)  # root may write anywhere: nobody may not
        try:
            yield folder
        finally:
            if root:
                os.seteuid(0)
            folder.chmod(0o755)


def test_a_read_only_folder_is_told_when_writing_and_does_not_hinder_reading(common_folder: Path) -> None:
    with pytest.raises(LedgerFailed, match=r"Permission denied.*To do: Check that the folder exists and is writable"):
        Ledger.open(common_folder / "new.db", inline=True)
    with pytest.raises(LedgerFailed, match="Permission denied"):
        Ledger.open(common_folder / "l.db", inline=True)
    with Reader.read(common_folder / "l.db") as reader:
        assert list(reader.facts()) == [due(1)]
        assert verify(reader).ok
    assert sorted(each.name for each in common_folder.iterdir()) == ["l.db", "l.db.lock"]


def test_a_database_of_another_program_is_refused_and_not_touched(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    raw = sqlite3.connect(path)
    raw.execute("CREATE TABLE songs (name)")
    raw.commit()
    raw.close()
    before = path.read_bytes()
    with pytest.raises(Refused, match="another program"):
        Ledger.open(path, inline=True)
    with pytest.raises(Refused, match="another program"):
        Reader.read(path)
    assert path.read_bytes() == before

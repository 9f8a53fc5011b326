"""Committing and telling, inline and with the writer's thread."""

from __future__ import annotations

import asyncio
import sqlite3
import threading
from itertools import pairwise
from pathlib import Path

import pytest

from fieldctl.errors import BadInput, LedgerFailed
from fieldctl.events import DayOpened, SignalDue, StrikeRecorded, SurfaceRenewed
from fieldctl.ledger.entry import Entry
from fieldctl.ledger.store import Ledger
from fieldctl.units import BootId, HostTime, HostUs, NodeTicks, PersonId, Stamp, TargetId

T = HostTime("b-1", 5_000_000)
ONE = TargetId("0a1b2c3d")


def due(n: int, exercise: str = "e1") -> SignalDue:
    return SignalDue(exercise, f"B{n}", T.plus(n), "start")


def strike(number: int, *, boot: int = 1, target: TargetId = ONE) -> StrikeRecorded:
    stamp = Stamp(T.plus(number), 900)
    return StrikeRecorded(
        target, BootId(boot), number, NodeTicks(77 + number), stamp, (4, 5), "probe", "r1", "e1", "A", "bus1"
    )


@pytest.fixture(params=["memory inline", "memory thread", "file inline", "file thread"])
def ledger(request, tmp_path):
    where, how = request.param.split()
    path = ":memory:" if where == "memory" else tmp_path / "l.db"
    with Ledger.open(path, inline=how == "inline", durable=False, clock=lambda: HostUs(42)) as opened:
        yield opened


def test_what_is_appended_is_read_in_order(ledger: Ledger) -> None:
    made = ledger.append([due(1), due(2)], at=T, wall="2030-01-02T10:00:00Z")
    made += ledger.append([due(3)], at=T.plus(9))
    assert [each.seq for each in made] == [1, 2, 3]
    assert list(ledger.entries()) == list(made)
    assert [each.wall for each in made] == ["2030-01-02T10:00:00Z"] * 2 + [None]
    assert list(ledger.facts()) == [due(1), due(2), due(3)]
    assert ledger.head() == (3, made[-1].hash)
    assert ledger.last_commit_us == 42


async def test_commit_returns_after_it_is_on_file(ledger: Ledger) -> None:
    made = await asyncio.gather(*(ledger.commit([due(n)], at=T) for n in range(100)))
    assert [each[0].seq for each in made] == list(range(1, 101))
    assert list(ledger.facts()) == [due(n) for n in range(100)]
    assert ledger.counts["entries"] == 100


async def test_subscribers_are_told_in_order_after_the_commit_on_the_callers_thread(ledger: Ledger) -> None:
    told: list[Entry] = []

    def hear(entries: tuple[Entry, ...]) -> None:
        assert threading.current_thread() is threading.main_thread()
        assert list(ledger.entries(after_seq=entries[0].seq - 1))[: len(entries)] == list(entries)
        told.extend(entries)

    end = ledger.subscribe(hear)
    waiting = [asyncio.create_task(ledger.commit([due(n)], at=T)) for n in range(10)]
    await asyncio.sleep(0)
    ledger.append([due(99)], at=T)
    assert told[-1].fact == due(99)
    await asyncio.gather(*waiting)
    assert [each.seq for each in told] == list(range(1, 12))
    end()
    await ledger.commit([due(100)], at=T)
    assert len(told) == 11


def test_a_subscriber_that_fails_undoes_nothing_and_the_others_are_told(ledger: Ledger, caplog) -> None:
    told: list[Entry] = []

    def bad(entries: tuple[Entry, ...]) -> None:
        raise RuntimeError("my screen broke")

    ledger.subscribe(bad)
    ledger.subscribe(told.extend)
    made = ledger.append([due(1)], at=T)
    assert told == list(made) == list(ledger.entries())
    assert ledger.counts["subscriber errors"] == 1
    assert "my screen broke" in caplog.text
    assert ledger.append([due(2)], at=T)[0].seq == 2


def test_a_subscriber_that_writes_is_told_afterwards_and_everybody_in_order(ledger: Ledger) -> None:
    told: list[int] = []

    def answer(entries: tuple[Entry, ...]) -> None:
        if entries[0].fact == due(1):
            assert ledger.append([due(2)], at=T)[0].seq == 2

    ledger.subscribe(answer)
    ledger.subscribe(lambda entries: told.extend(each.seq for each in entries))
    ledger.append([due(1)], at=T)
    assert told == [1, 2]


def test_a_known_strike_is_its_first_entry_and_not_told_again(ledger: Ledger) -> None:
    told: list[Entry] = []
    ledger.subscribe(told.extend)
    first, other = ledger.append([strike(1), strike(1, boot=2)], at=T)
    again, new, twice = ledger.append([strike(1), strike(2), strike(2)], at=T.plus(50))
    assert (again.seq, again.hash, again.at, again.known) == (first.seq, first.hash, T, True)
    assert (other.known, new.known, twice.known, twice.seq) == (False, False, True, new.seq)
    assert [each.seq for each in told] == [1, 2, 3]
    assert ledger.counts["strikes known already"] == 2
    assert ledger.strike(ONE, 1, 1) == first
    assert ledger.strike(ONE, 3, 1) is None


def test_entries_by_exercise_target_kind_and_limit(ledger: Ledger) -> None:
    facts = [due(1), due(2, "e2"), strike(1), SurfaceRenewed(None, "tilled", PersonId("p"), T)]
    ledger.append(facts, at=T)
    assert list(ledger.facts(exercise="e1")) == [facts[0], facts[2]]
    assert list(ledger.facts(target=ONE)) == [facts[2]]
    assert list(ledger.facts(kinds=[SurfaceRenewed, "StrikeRecorded"])) == facts[2:]
    assert list(ledger.facts(after_seq=1, limit=2)) == facts[1:3]
    assert list(ledger.facts(limit=0)) == []


def test_more_entries_than_a_page(ledger: Ledger) -> None:
    ledger.append([due(n) for n in range(1_300)], at=T)
    assert [each.seq for each in ledger.entries()] == list(range(1, 1_301))
    assert [each.seq for each in ledger.entries(after_seq=5, limit=1_000)] == list(range(6, 1_006))


def test_a_value_that_cannot_be_written_is_refused_and_the_ledger_goes_on(ledger: Ledger) -> None:
    bad = DayOpened(PersonId("p"), T, "low", float("nan"), (), (), (), "done")
    with pytest.raises(BadInput, match="cannot be written"):
        ledger.append([due(1), bad], at=T)
    with pytest.raises(BadInput):
        ledger.append([SignalDue("e1", "\ud800", T, "start")], at=T)
    assert list(ledger.entries()) == []
    assert ledger.append([due(1)], at=T)[0].seq == 1


def test_a_closed_ledger_says_so(ledger: Ledger) -> None:
    ledger.close()
    ledger.close()
    with pytest.raises(LedgerFailed, match="closed"):
        ledger.append([due(1)], at=T)


async def test_what_is_queued_at_closing_is_written_and_told(tmp_path: Path) -> None:
    told: list[Entry] = []
    ledger = Ledger.open(tmp_path / "l.db", inline=False)
    ledger.subscribe(told.extend)
    waiting = [asyncio.create_task(ledger.commit([due(n)], at=T)) for n in range(200)]
    await asyncio.sleep(0)
    ledger.close()
    assert [each[0].seq for each in await asyncio.gather(*waiting)] == list(range(1, 201))
    assert len(told) == 200
    with Ledger.open(tmp_path / "l.db", inline=True) as again:
        assert again.append([due(201)], at=T)[0].seq == 201


async def test_a_commit_that_is_no_longer_waited_for_is_still_written_and_told(tmp_path: Path) -> None:
    told: list[Entry] = []
    with Ledger.open(tmp_path / "l.db", inline=False) as ledger:
        ledger.subscribe(told.extend)
        task = asyncio.create_task(ledger.commit([due(1)], at=T))
        await asyncio.sleep(0)
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task
        await ledger.commit([due(2)], at=T)
        assert [each.fact for each in told] == [due(1), due(2)]


async def test_settings_count_as_a_commit_and_are_kept(ledger: Ledger) -> None:
    assert ledger.last_commit_us is None
    await ledger.commit_settings({"seen": {ONE: 5}, "epoch": 3})
    assert ledger.last_commit_us == 42
    ledger.put_settings({"epoch": 4})
    assert (ledger.setting("epoch"), ledger.setting("seen"), ledger.setting("none", 7)) == (4, {ONE: 5}, 7)


def test_a_clock_set_back_an_hour_changes_no_order(ledger: Ledger) -> None:
    walls = ["2030-01-02T10:00:00Z", "2030-01-02T09:00:01Z", None, "2030-01-02T09:00:03Z"]
    for n, wall in enumerate(walls):
        ledger.append([due(n)], at=T.plus(n), wall=wall)
    assert [each.wall for each in ledger.entries()] == walls
    assert list(ledger.facts()) == [due(n) for n in range(4)]
    hashes = [each.hash for each in ledger.entries()]
    assert all(a != b for a, b in pairwise(hashes))


def test_a_file_is_safe_unless_it_is_said_not_to_be(tmp_path: Path) -> None:
    for durable, level in ((True, 2), (False, 0)):
        with Ledger.open(tmp_path / f"{level}.db", inline=True, durable=durable) as ledger:
            assert ledger._held.exec_driver_sql("PRAGMA synchronous").scalar() == level
            assert ledger._held.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
            assert ledger._held.exec_driver_sql("PRAGMA secure_delete").scalar() == 1


async def test_commits_that_wait_together_share_a_transaction(tmp_path: Path) -> None:
    with Ledger.open(tmp_path / "l.db", inline=False) as ledger:
        await asyncio.gather(*(ledger.commit([due(n)], at=T) for n in range(256)))
        assert 4 <= ledger.counts["commits"] <= 20  # at most 64 in each; the first may have gone alone
        raw = sqlite3.connect(tmp_path / "l.db")
        assert raw.execute("SELECT count(*) FROM entries").fetchone() == (256,)
        raw.close()


async def test_other_threads_read_while_the_loop_commits(ledger: Ledger) -> None:
    def look() -> int:
        seen = 0
        for _ in range(20):
            numbers = [each.seq for each in ledger.entries()]
            assert numbers == list(range(1, len(numbers) + 1))
            assert len(numbers) >= seen
            seen = len(numbers)
        return seen

    async def write() -> None:
        for n in range(100):
            await ledger.commit([due(n)], at=T)
            await asyncio.sleep(0)

    await asyncio.gather(write(), *(asyncio.to_thread(look) for _ in range(3)))
    assert look() == 100


def test_a_ledger_used_by_a_loop_that_is_gone_still_tells(tmp_path: Path) -> None:
    told: list[int] = []
    with Ledger.open(tmp_path / "l.db", inline=False) as ledger:
        ledger.subscribe(lambda entries: told.extend(each.seq for each in entries))

        async def one() -> None:
            await ledger.commit([due(1)], at=T)

        thread = threading.Thread(target=lambda: asyncio.run(one()))
        thread.start()
        thread.join()
        ledger.append([due(2)], at=T)
        assert told == [1, 2]

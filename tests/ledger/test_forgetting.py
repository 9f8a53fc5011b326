"""A forgotten name is in no byte of any file, comes back with no backup, and its id is nobody else's."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path
from random import Random

import pytest

from fieldctl.errors import LedgerFailed, Refused
from fieldctl.events import TargetNamed
from fieldctl.ledger import forgetting
from fieldctl.ledger.beside import Kept
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.store import Ledger
from fieldctl.ledger.verify import verify
from fieldctl.units import HostTime, PersonId, TargetId

T = HostTime("b-1", 1)
MARK = b"of-the-fixture"


def holds(folder: Path, text: bytes) -> list[str]:
    return [each.name for each in folder.iterdir() if text in each.read_bytes()]


@pytest.mark.parametrize("seed", [0, 18, 19, 29, 34, 35, 43, 45, 51])
def test_whatever_moved_about_before_no_byte_of_a_forgotten_name_is_left(tmp_path: Path, seed: int) -> None:
    """Names of all lengths, renamed and forgotten in any order among other writing, over many pages.

    SQLite overwrites what it deletes, yet leaves copies where rows moved about: all seeds but 0 showed it.
    """
    rng = Random(seed)
    people = [PersonId(f"p-{rng.randrange(10**9):010d}") for _ in range(300)]
    with Ledger.open(tmp_path / "l.db", inline=True, durable=False) as ledger:
        for n, person in enumerate(people):
            ledger.name_person(person, f"{person}-of-the-fixture-" + "x" * rng.randrange(200))
            if n % 40 == 0:
                ledger.append([TargetNamed(TargetId("0a1b2c3d"), "upper", person)], at=T)
        for person in rng.sample(people, 200):
            ledger.name_person(person, f"{person}-of-the-fixture-" + "y" * rng.randrange(200))
        gone = rng.sample(people, 150)
        for person in gone:
            assert ledger.forget_person(person, "2026-02-01")
        assert not ledger.log_left
        left = b"".join(each.read_bytes() for each in tmp_path.iterdir())
        assert [person for person in gone if f"{person}-of".encode() in left] == []
        assert set(ledger.names()) == set(people) - set(gone)
        ledger.forget_people(people)
        assert holds(tmp_path, MARK) == []
        assert verify(ledger).ok


def test_somebody_who_reads_holds_it_up_and_it_is_done_afterwards(tmp_path: Path) -> None:
    path = tmp_path / "l.db"
    with Ledger.open(path, inline=True) as ledger:
        ledger.name_person(PersonId("p-1"), "Tove-of-the-fixture")
        with Reader.read(path) as reader, reader.connection() as reading:
            reading.exec_driver_sql("BEGIN")
            reading.exec_driver_sql("SELECT count(*) FROM people").all()
            raw = ledger._held.connection.driver_connection
            assert raw is not None
            raw.execute("PRAGMA busy_timeout=50")
            assert ledger.forget_person(PersonId("p-1"))
            assert ledger.log_left
            assert holds(tmp_path, MARK)
            reading.rollback()
        assert ledger.empty_log()
        assert not ledger.log_left
        assert holds(tmp_path, MARK) == []


def test_a_backup_made_later_has_no_name_and_one_made_earlier_forgets_again(tmp_path: Path) -> None:
    path, early, late = tmp_path / "l.db", tmp_path / "early", tmp_path / "late"
    early.mkdir()
    late.mkdir()
    with Ledger.open(path, inline=True) as ledger:
        ledger.name_person(PersonId("p-1"), "Tove-of-the-fixture")
        ledger.name_person(PersonId("p-2"), "Jon")
    shutil.copy(path, early / "l.db")
    with Ledger.open(path, inline=True) as ledger:
        ledger.forget_person(PersonId("p-1"), "2026-02-01")
        assert ledger.forgotten() == {"p-1": "2026-02-01"}
    shutil.copy(path, late / "l.db")
    assert holds(late, MARK) == []
    with Ledger.open(late / "l.db", inline=True) as ledger:  # even without the file beside it
        assert ledger.names() == {"p-2": "Jon"}
        assert ledger.forgotten() == {"p-1": "2026-02-01"}

    assert holds(early, MARK)
    shutil.copy(path.with_name("l.db.forgotten"), early / "l.db.forgotten")
    with Reader.read(early / "l.db") as reader:  # who only reads shows no name either
        assert reader.names() == {"p-2": "Jon"}
        assert reader.forgotten() == {"p-1": None}
    with Ledger.open(early / "l.db", inline=True) as ledger:
        assert ledger.counts["names forgotten again"] == 1
        assert ledger.names() == {"p-2": "Jon"}
        assert ledger.forgotten() == {"p-1": "2026-02-01"}
    assert holds(early, MARK) == []


def test_the_file_beside_the_ledger_is_made_again_and_odd_lines_do_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "l.db"
    with Ledger.open(path, inline=True) as ledger:
        ledger.forget_person(PersonId("p-1"), "2026-02-01")
    beside = forgetting.side_file(path)
    assert beside.read_text() == "p-1 2026-02-01\n"
    assert beside.stat().st_mode & 0o777 == 0o600
    beside.write_bytes(b"# a note\n\n\xff\xfe junk\np-2\n")
    with Ledger.open(path, inline=True) as ledger:
        assert {"p-1", "p-2"} <= ledger.forgotten().keys()
    assert forgetting.read_side_file(path)[PersonId("p-1")] == "2026-02-01"


def test_it_is_written_beside_first_so_that_no_name_goes_without_its_tombstone(tmp_path: Path) -> None:
    path = tmp_path / "l.db"
    with Ledger.open(path, inline=True) as ledger:
        ledger.name_person(PersonId("p-1"), "Tove")
        forgetting.side_file(path).mkdir()
        with pytest.raises(LedgerFailed):
            ledger.forget_person(PersonId("p-1"))
        assert ledger.names() == {"p-1": "Tove"}


def test_a_forgotten_id_is_given_to_nobody(tmp_path: Path) -> None:
    for where in (":memory:", tmp_path / "l.db"):
        with Ledger.open(where, inline=True) as ledger:
            ledger.forget_person(PersonId("p-1"))
            with pytest.raises(Refused, match="was forgotten"):
                ledger.name_person(PersonId("p-1"), "Tove")


def test_when_people_were_named_last_only_goes_forward() -> None:
    with Ledger.open(":memory:", inline=True) as ledger:
        ledger.see_people({PersonId("p-1"): "2026-02-01", PersonId("p-2"): "2026-01-01"})
        ledger.see_people({PersonId("p-1"): "2026-01-01", PersonId("p-2"): "2026-01-02"})
        ledger.see_people({})
        assert ledger.people_seen() == {"p-1": "2026-02-01", "p-2": "2026-01-02"}
        ledger.forget_people([PersonId("p-1")])
        assert ledger.people_seen() == {"p-2": "2026-01-02"}


def test_summaries_are_kept_by_version_never_go_back_and_can_be_thrown_away(tmp_path: Path) -> None:
    with Ledger.open(tmp_path / "l.db", inline=True) as ledger:
        ledger.put_summaries([])
        ledger.put_summaries([Kept("x1", "1", 9, "a"), Kept("x1", "2", 12, "b"), Kept("x2", "2", 5, "c")])
        ledger.put_summaries([Kept("x1", "2", 11, "older"), Kept("x2", "2", 5, "again")])
        assert ledger.summaries_of("x1") == [Kept("x1", "1", 9, "a"), Kept("x1", "2", 12, "b")]
        assert ledger.summaries("2") == [Kept("x1", "2", 12, "b"), Kept("x2", "2", 5, "again")]
        assert ledger.head()[0] == 0
        assert ledger.throw_away_summaries() == 3
        assert ledger.summaries("2") == []


def test_the_last_entry_of_each_exercise(tmp_path: Path) -> None:
    from fieldctl.events import SignalDue

    with Ledger.open(tmp_path / "l.db", inline=True) as ledger:
        assert ledger.last_entries() == {}
        for exercise in ("x1", "x2", "x1", "x10"):
            ledger.append([SignalDue(exercise, "A", T, "start"), TargetNamed(TargetId("1"), "n", PersonId("p"))], at=T)
        assert ledger.last_entries() == {"x1": 5, "x2": 3, "x10": 7}
    raw = sqlite3.connect(tmp_path / "l.db")
    plan = " ".join(
        str(row) for row in raw.execute("EXPLAIN QUERY PLAN SELECT max(seq) FROM entries WHERE exercise='x'")
    )
    assert "entries_by_exercise" in plan
    raw.close()

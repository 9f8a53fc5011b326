"""Whatever is done to a ledger behind its back, the walk names it."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from fieldctl.errors import LedgerBroken
from fieldctl.events import SignalDue, StrikeRecorded
from fieldctl.ledger.chain import entry_hash
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.store import Ledger
from fieldctl.ledger.verify import Verdict, verify
from fieldctl.units import BootId, HostTime, NodeTicks, Stamp, TargetId

T = HostTime("b-1", 5_000_000)


def strike(number: int) -> StrikeRecorded:
    return StrikeRecorded(
        TargetId("0a1b2c3d"),
        BootId(1),
        number,
        NodeTicks(number),
        Stamp(T, 900),
        (),
        "probe",
        "r",
        "e1",
        "A",
        "bus1",
    )


@pytest.fixture
def path(tmp_path: Path) -> Path:
    file = tmp_path / "l.db"
    with Ledger.open(file, inline=True, durable=False) as ledger:
        for n in range(1, 61):
            ledger.append([strike(n) if n % 10 == 5 else SignalDue("e1", f"B{n}", T, "start")], at=T.plus(n))
    return file


def tamper(path: Path, *statements: str) -> None:
    raw = sqlite3.connect(path, isolation_level=None)
    raw.execute("DROP TRIGGER entries_refuse_update")
    raw.execute("DROP TRIGGER entries_refuse_delete")
    for statement in statements:
        assert raw.execute(statement).rowcount != 0, statement
    raw.close()


def walk(path: Path, noted: tuple[int, str] | None = None) -> Verdict:
    with Reader.read(path) as reader:
        return verify(reader, noted)


def test_a_ledger_as_it_was_written_holds(path: Path) -> None:
    with Reader.read(path) as reader:
        head = reader.head()
    found = walk(path, head)
    assert (found.ok, found.entries, found.head, found.flaws) == (True, 60, head, ())
    found.raise_if_broken()
    assert walk(path, (0, walk(path).head[1])).flaws[0].what == "other-head"


def test_an_empty_ledger_holds() -> None:
    with Ledger.open(":memory:", inline=True) as ledger:
        assert verify(ledger).ok
        assert verify(ledger, ledger.head()).ok


@pytest.mark.parametrize(
    ("statements", "seq", "what"),
    [
        (["UPDATE entries SET body = replace(body, 'start', 'delay') WHERE seq = 20"], 20, "altered"),
        (["UPDATE entries SET wall = '2030-01-01T00:00:00Z' WHERE seq = 20"], 20, "altered"),
        (["UPDATE entries SET at_us = at_us + 1 WHERE seq = 20"], 20, "altered"),
        (["UPDATE entries SET host_boot = 'b-2' WHERE seq = 20"], 20, "altered"),
        (["UPDATE entries SET kind = 'SplitMade' WHERE seq = 20"], 20, "altered"),
        (["UPDATE entries SET prev = hash WHERE seq = 20"], 20, "unlinked"),
        (["UPDATE entries SET hash = prev WHERE seq = 20"], 20, "altered"),
        (["UPDATE entries SET exercise = 'e2' WHERE seq = 20"], 20, "mislaid"),
        (["UPDATE entries SET target = NULL WHERE seq = 25"], 25, "mislaid"),
        (["UPDATE entries SET body = x'00ff' WHERE seq = 25"], 25, "altered"),
        (["UPDATE entries SET body = '{' WHERE seq = 20"], 20, "altered"),
        (["DELETE FROM entries WHERE seq = 20"], 20, "gap"),
        (["DELETE FROM entries WHERE seq BETWEEN 20 AND 30"], 20, "gap"),
        (["DELETE FROM entries WHERE seq = 1"], 1, "gap"),
        (["DELETE FROM entries WHERE seq = 60"], 60, "cut-off"),
        (["DELETE FROM entries"], 1, "cut-off"),
        (["DELETE FROM strikes WHERE number = 25"], 25, "strike-key"),
        (["UPDATE strikes SET number = 99 WHERE number = 25"], 25, "strike-key"),
        (["UPDATE strikes SET seq = 26 WHERE number = 25"], 25, "strike-key"),
        (
            [
                "UPDATE entries SET seq = 1000 WHERE seq = 20",
                "UPDATE entries SET seq = 20 WHERE seq = 40",
                "UPDATE entries SET seq = 40 WHERE seq = 1000",
                "UPDATE sqlite_sequence SET seq = 60",
            ],
            20,
            "unlinked",
        ),
    ],
)
def test_what_was_done_is_named_at_its_entry(path: Path, statements: list[str], seq: int, what: str) -> None:
    tamper(path, *statements)
    found = walk(path)
    assert not found.ok
    assert (found.flaws[0].seq, found.flaws[0].what) == (seq, what)
    assert str(seq) in found.flaws[0].says
    with pytest.raises(LedgerBroken, match=f"{seq}"):
        found.raise_if_broken()


def test_a_tail_cut_off_with_care_shows_against_a_noted_head(path: Path) -> None:
    noted = walk(path).head
    tamper(path, "DELETE FROM entries WHERE seq > 59", "UPDATE sqlite_sequence SET seq = 59")
    assert walk(path).ok
    assert [(flaw.seq, flaw.what) for flaw in walk(path, noted).flaws] == [(60, "other-head")]


def forge(path: Path, seq: int) -> None:
    """Alter an entry and give it a hash that fits, as somebody who knows the rule would."""
    raw = sqlite3.connect(path)
    row = raw.execute("SELECT prev, seq, kind, host_boot, at_us + 9, wall, body FROM entries WHERE seq = ?", (seq,))
    fits = entry_hash(*row.fetchone())
    raw.close()
    tamper(path, f"UPDATE entries SET at_us = at_us + 9, hash = '{fits}' WHERE seq = {seq}")


def test_an_entry_forged_with_a_hash_that_fits_no_longer_carries_the_next(path: Path) -> None:
    forge(path, 57)
    assert [(flaw.seq, flaw.what) for flaw in walk(path).flaws] == [(58, "unlinked")]
    with pytest.raises(LedgerBroken, match="Entry 58"):
        Ledger.open(path, inline=True)


def test_the_first_flaw_is_the_first_by_number_whatever_found_it(path: Path) -> None:
    tamper(path, "UPDATE entries SET at_us = 0 WHERE seq = 40", "DELETE FROM strikes WHERE number = 15")
    assert [flaw.seq for flaw in walk(path).flaws] == [15, 40]


def test_flaws_beyond_the_first_twenty_are_counted(path: Path) -> None:
    tamper(path, "UPDATE entries SET at_us = 0")
    found = walk(path)
    assert len(found.flaws) == 20
    assert found.more == 40


@pytest.mark.parametrize("change", ["UPDATE entries SET wall = 'x'", "DELETE FROM entries WHERE seq = 60"])
def test_the_file_itself_refuses_changes(path: Path, change: str) -> None:
    raw = sqlite3.connect(path)
    with pytest.raises(sqlite3.IntegrityError, match="never changed"):
        raw.execute(change)
    raw.close()
    assert walk(path).ok


@pytest.mark.parametrize("change", ["at_us = 0", "prev = hash", "hash = prev", "kind = 'SplitMade'"])
def test_opening_checks_the_tail(path: Path, change: str) -> None:
    tamper(path, f"UPDATE entries SET {change} WHERE seq = 58")
    with pytest.raises(LedgerBroken, match="Entry 58"):
        Ledger.open(path, inline=True)


def test_opening_notices_a_tail_cut_off(path: Path) -> None:
    tamper(path, "DELETE FROM entries WHERE seq = 60")
    with pytest.raises(LedgerBroken, match="Entries 60 to 60 are missing"):
        Ledger.open(path, inline=True)


def damage_head(data: bytearray) -> None:
    data[0:16] = b"not a database.."


def damage_middle(data: bytearray) -> None:
    for at in range(4096, len(data)):
        data[at] ^= 0x5A


@pytest.mark.parametrize("damage", [damage_head, damage_middle])
def test_a_damaged_file_is_told_with_a_remedy(path: Path, damage: Callable[[bytearray], None]) -> None:
    data = bytearray(path.read_bytes())
    damage(data)
    path.write_bytes(data)
    with pytest.raises(LedgerBroken, match=r"damaged.*To do: Keep the file"):
        Ledger.open(path, inline=True)
    assert path.read_bytes() == bytes(data)


def test_a_damaged_page_is_named_by_the_walk(path: Path) -> None:
    data = bytearray(path.read_bytes())
    where = data.index(b'"burial":"B20"')
    page = where // 4096 * 4096
    data[page : page + 200] = bytes(range(200))
    path.write_bytes(data)
    found = walk(path)
    assert {flaw.what for flaw in found.flaws} == {"damaged"}
    assert found.flaws[-1].seq == found.entries + 1 <= 20
    with Reader.read(path) as reader, pytest.raises(LedgerBroken, match="damaged"):
        list(reader.entries())

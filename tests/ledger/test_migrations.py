"""Databases of every version open for ever; the quick way to a new one leads to the same tables as the long way."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from sqlalchemy import Engine

from fieldctl.errors import Refused
from fieldctl.events import KINDS, SignalDue, StrikeRecorded
from fieldctl.ledger import migrations, opening
from fieldctl.ledger.entry import Unknown
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.schema import HEAD
from fieldctl.ledger.store import Ledger
from fieldctl.ledger.verify import verify
from fieldctl.units import HostTime

OLD = Path(__file__).parent / "old"
T = HostTime("b-9", 1)
ENTRIES = {"0001": 38, "0002": 43, "0003": 76}  # one of each kind that there was


def tables(engine: Engine) -> dict[str, str]:
    with engine.connect() as connection:
        rows = connection.exec_driver_sql("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL").all()
    return {name: " ".join(sql.split()) for name, sql in rows}


def test_the_quick_way_and_the_long_way_make_the_same_tables() -> None:
    quick = opening.writing_engine(opening.MEMORY, durable=False)
    with quick.connect() as connection:
        opening.prepare(connection, opening.MEMORY)
    long = opening.writing_engine(opening.MEMORY, durable=False)
    with long.connect() as connection:
        migrations.upgrade(connection)
        assert opening.revision(connection) == HEAD
    made = tables(quick)
    assert {"entries", "strikes", "people", "telemetry", "settings", "entries_refuse_delete"} <= made.keys()
    assert made == tables(long)
    quick.dispose()
    long.dispose()


def test_head_is_the_newest_version_and_each_has_its_fixture() -> None:
    assert max(migrations.known()) == HEAD
    assert {each.stem for each in OLD.glob("*.sql")} == migrations.known()


def restore(version: str, path: Path) -> None:
    raw = sqlite3.connect(path, isolation_level=None)
    raw.executescript((OLD / f"{version}.sql").read_text())
    raw.close()


@pytest.mark.parametrize("version", sorted(each.stem for each in OLD.glob("*.sql")))
def test_an_old_database_opens_holds_and_goes_on(tmp_path: Path, version: str) -> None:
    path = tmp_path / "l.db"
    restore(version, path)
    with Ledger.open(path, inline=True) as ledger:
        assert verify(ledger).ok
        old = list(ledger.entries())
        assert {type(each.fact).__name__ for each in old} <= KINDS.keys()
        assert not [each for each in old if isinstance(each.fact, Unknown) or each.extra]
        assert len(old) == ENTRIES[version]
        (struck,) = ledger.facts(kinds=[StrikeRecorded])
        assert ledger.append([struck], at=T)[0].known
        assert ledger.append([SignalDue("e", "B", T, "start")], at=T)[0].seq == len(old) + 1
        assert ledger.names() == {"p-1": "Mira"}
        assert (ledger.setting("generation"), ledger.setting("epoch")) == (3, 12)
        assert [row.volts_rest for row in ledger.telemetry()] == [3.6]
    with Reader.read(path) as reader:
        assert verify(reader).ok


NEXT = """
import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade():
    op.add_column("people", sa.Column("note", sa.Text))
    with op.batch_alter_table("settings") as table:
        table.add_column(sa.Column("by", sa.Text))
    {then}
"""


@pytest.fixture
def next_version(tmp_path, monkeypatch):
    """The version after this one, as somebody will write it: proves today that what is on file can be brought along."""

    def write(then: str) -> None:
        folder = tmp_path / "versions"
        folder.mkdir(exist_ok=True)
        (folder / "0004_next.py").write_text(NEXT.format(then=then))
        ours = Path(migrations.__file__).parent / "versions"
        plain = migrations._config

        def config():
            made = plain()
            made.set_main_option("version_locations", os.pathsep.join([str(ours), str(folder)]))
            return made

        monkeypatch.setattr(migrations, "_config", config)
        monkeypatch.setattr(opening, "HEAD", "0004")

    return write


def test_an_older_database_is_brought_along_by_alembic(tmp_path: Path, next_version) -> None:
    path = tmp_path / "l.db"
    restore("0003", path)
    next_version("pass")
    with pytest.raises(Refused, match="of an older version"):
        Reader.read(path)
    with Ledger.open(path, inline=True) as ledger:
        assert verify(ledger).ok
        assert ledger.append([SignalDue("e", "B", T, "start")], at=T)[0].seq == ENTRIES["0003"] + 1
        ledger.put_settings({"epoch": 13})
        ledger.name_person("p-2", "Jon")
        assert (ledger.names(), ledger.setting("epoch")) == ({"p-1": "Mira", "p-2": "Jon"}, 13)
    raw = sqlite3.connect(path)
    assert raw.execute("SELECT id, name, note FROM people WHERE id = 'p-1'").fetchone() == ("p-1", "Mira", None)
    assert raw.execute("SELECT version_num FROM alembic_version").fetchone() == ("0004",)
    raw.close()


def test_a_migration_that_breaks_leaves_the_file_as_it_was(tmp_path: Path, next_version) -> None:
    path = tmp_path / "l.db"
    restore("0003", path)
    before = path.read_bytes()
    next_version("raise RuntimeError('power cut')")
    with pytest.raises(RuntimeError, match="power cut"):
        Ledger.open(path, inline=True)
    assert path.read_bytes() == before


def test_a_newer_database_is_refused_with_a_remedy_and_not_touched(tmp_path: Path) -> None:
    path = tmp_path / "l.db"
    Ledger.open(path, inline=True).close()
    raw = sqlite3.connect(path)
    raw.execute("UPDATE alembic_version SET version_num = '0917'")
    raw.commit()
    raw.close()
    before = path.read_bytes()
    for way in (lambda: Ledger.open(path, inline=True), lambda: Reader.read(path)):
        with pytest.raises(Refused, match=r"newer fieldctl \(schema 0917\).*To do: Install that newer version"):
            way()
    assert path.read_bytes() == before


def test_an_empty_file_becomes_a_ledger(tmp_path: Path) -> None:
    path = tmp_path / "l.db"
    path.touch()
    with pytest.raises(Refused, match="empty"):
        Reader.read(path)
    with Ledger.open(path, inline=True) as ledger:
        assert ledger.append([SignalDue("e", "B", T, "start")], at=T)[0].seq == 1


def test_the_package_itself_is_light_and_an_entry_needs_no_database() -> None:
    heavy = "sqlalchemy", "alembic", "pydantic"
    code = f"import sys, fieldctl.ledger, fieldctl.ledger.entry; print([m for m in {heavy} if m in sys.modules])"
    child = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=30, check=True)
    assert child.stdout.strip() == "[]"


def test_a_fresh_ledger_does_not_wait_for_alembic(tmp_path: Path) -> None:
    code = (
        "import sys; from fieldctl.ledger.store import Ledger\n"
        f"Ledger.open({str(tmp_path / 'l.db')!r}, inline=True).close(); Ledger.open(':memory:', inline=True).close()\n"
        "print('alembic' in sys.modules)"
    )
    child = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=30, check=True)
    assert child.stdout.strip() == "False"

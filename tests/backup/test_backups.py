"""A backup made, checked, put back: whole beside a running writer, never over anything, nothing half when it fails."""

from __future__ import annotations

import io
import os
import socket
import sqlite3
import stat
import subprocess
import sys
import tarfile
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sites import LEDGER, SALT, WALL, WORDS, T, back_up, files_of, make_site, put_back, renewed

from fieldctl.backup import passphrase, stamp
from fieldctl.backup.archive import ArchiveWriter
from fieldctl.backup.create import create
from fieldctl.backup.header import Header
from fieldctl.backup.manifest import Manifest
from fieldctl.backup.sealing import Sealer
from fieldctl.backup.verify import verify
from fieldctl.errors import BackupBroken, BadInput, FieldctlError, InUse, LedgerBroken, NotFound, Refused
from fieldctl.events import BackupRestored
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.store import Ledger
from fieldctl.ledger.verify import verify as walk
from fieldctl.units import PersonId


@pytest.fixture
def site(tmp_path: Path) -> Path:
    return make_site(tmp_path / "larch", names={"p-1": "Tove-of-the-fixture", "p-2": "Jon"})


@pytest.fixture(autouse=True, scope="module")
def quick() -> Iterator[None]:
    """A passphrase that costs less to try; the real cost is in the tests of the command line."""
    whole = passphrase.derive
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(passphrase, "derive", lambda words, salt, **kw: whole(words, salt, **{**kw, "n": 1024, "p": 1}))
        yield


def test_what_lay_there_lies_there_again(site: Path, tmp_path: Path) -> None:
    (site / "surveys" / "kept.txt").write_text("x_m,y_m\n1,2\n")
    (site / "notes").mkdir()
    (site / "notes" / "Larch 3.txt").write_text("its mast leans (invented)\n")
    (site / "notes" / "tool").write_text("#!/bin/sh\n")
    (site / "notes" / "tool").chmod(0o755)
    (site / "broker.password").symlink_to("private/broker")
    (site / "private" / "broker").write_text("secret")
    made = back_up(site, tmp_path)
    assert made.file == tmp_path / "larch-hollow-2026-02-01T120000.fieldbackup"
    assert stat.S_IMODE(made.file.stat().st_mode) == 0o600
    assert made.bytes == made.file.stat().st_size
    before, done = files_of(site), put_back(made.file, tmp_path / "new")
    after = files_of(tmp_path / "new")
    gone = {LEDGER + ".lock", LEDGER + stamp.SUFFIX}
    assert after.keys() == before.keys() - gone
    assert {k: v for k, v in after.items() if k != LEDGER} == {k: before[k] for k in after if k != LEDGER}
    assert (done.flaws, done.forgotten, done.interrupted, done.all_off) == ((), 0, (), False)
    modes = {name: stat.S_IMODE((tmp_path / "new" / name).stat().st_mode) for name in after}
    assert modes["private/site.key"] == modes["private/broker"] == 0o600
    assert modes["notes/tool"] == 0o755
    assert stat.S_IMODE((tmp_path / "new" / "private").stat().st_mode) == 0o700
    with Reader.read(site / LEDGER) as old, Reader.read(tmp_path / "new" / LEDGER) as new:
        kept = list(new.entries())
        assert kept[:3] == list(old.entries())
        assert [entry.fact for entry in kept[3:]] == [BackupRestored(WALL, kept[-1].at)]
        assert new.names() == old.names()
        assert walk(new, (made.manifest.entries, made.manifest.head)).ok


def test_the_label_says_what_is_in_it(site: Path, tmp_path: Path) -> None:
    label = back_up(site, tmp_path).manifest
    assert (label.site, label.targets, label.entries, label.last_entry) == ("larch-hollow", 12, 3, WALL)
    with Reader.read(site / LEDGER) as reader:
        assert (label.entries, label.head) == reader.head()
    assert label.key_check is not None
    assert [line.partition(":")[0] for line in label.lacks] == [
        "The broker's own files (mosquitto.conf, its users, its certificate)"
    ]
    assert stamp.read(site / LEDGER) == stamp.Stamp(WALL, 3, label.head, "larch-hollow-2026-02-01T120000.fieldbackup")
    checked = verify(tmp_path / "larch-hollow-2026-02-01T120000.fieldbackup", WORDS)
    assert (checked.flaws, replace(checked.manifest)) == ((), label)


def test_what_a_field_needs_and_a_backup_lacks_is_named(site: Path, tmp_path: Path) -> None:
    text = (site / "site.toml").read_text()
    here = text.index("[[mqtt]]") + len("[[mqtt]]")
    lines = f'\npassword_file = "{tmp_path}/elsewhere"\ntls = true\nca_file = "ca.pem"'
    (site / "site.toml").write_text(text[:here] + lines + text[here:])
    (tmp_path / "elsewhere").write_text("x")
    (site / "private" / "site.key").unlink()
    (site / LEDGER).unlink()
    lacks = back_up(site, tmp_path).manifest.lacks
    for words in (
        "key: private/site.key is not there",
        "A log",
        "password of link broker",
        "lies outside",
        "ca.pem is",
    ):
        assert any(words in line for line in lacks), words


def test_it_is_whole_and_of_one_moment_while_somebody_writes(site: Path, tmp_path: Path) -> None:
    stop = threading.Event()
    with Ledger.open(site / LEDGER, inline=False) as ledger:

        def hail() -> None:
            n = 0
            while not stop.is_set():
                ledger.append([renewed(n), renewed(-n)], at=T)
                n += 1

        thread = threading.Thread(target=hail)
        thread.start()
        try:
            made = [back_up(site, tmp_path / f"{n}.fieldbackup") for n in range(5)]
        finally:
            stop.set()
            thread.join()
        assert ledger.failed is None
        heads = {entry.seq: entry.hash for entry in ledger.entries()}
    counts = [each.manifest.entries for each in made]
    assert counts == sorted(set(counts)), "each later one holds more"
    for each in made:
        assert each.flaws == ()
        assert each.manifest.entries % 2 == 1, "3, and two at a time: never half a commit"
        assert heads[each.manifest.entries] == each.manifest.head
        assert verify(each.file, WORDS).flaws == ()


def test_a_site_without_a_log_and_one_with_a_fault_in_its_file(tmp_path: Path) -> None:
    site = make_site(tmp_path / "larch", entries=0)
    (site / "site.toml").write_text((site / "site.toml").read_text() + "\nshoe = 3\n")
    made = back_up(site, tmp_path / "b.fieldbackup")
    assert (made.manifest.entries, made.manifest.head, made.manifest.site) == (0, "", "")
    assert any("cannot be read as it is" in line for line in made.manifest.lacks)
    done = put_back(made.file, tmp_path / "new")
    assert len(done.flaws) == 1
    assert "shoe" in done.flaws[0]
    assert not (tmp_path / "new" / LEDGER).exists()


def test_backups_sockets_and_links_to_nowhere_are_left_out(site: Path, tmp_path: Path) -> None:
    inside = back_up(site, site)
    (site / "nowhere").symlink_to("not-there")
    (site / "elsewhere").symlink_to(tmp_path)
    with socket.socket(socket.AF_UNIX) as listener:
        old = os.getcwd()
        os.chdir(site)
        try:
            listener.bind("control.sock")
        finally:
            os.chdir(old)
        made = back_up(site, tmp_path / "b.fieldbackup")
    assert sorted(line.partition(":")[0] for line in made.left_out) == sorted(
        ["elsewhere", inside.file.name, "nowhere"]
    )
    assert not any("sock" in part.path or "fieldbackup" in part.path for part in made.manifest.parts)


# ---- nothing half, nothing over anything --------------------------------------------------------------------------


def leavings(folder: Path) -> set[str]:
    return {p.name for p in folder.rglob("*") if "part" in p.name or p.name.startswith((".backup", ".restoring"))}


def test_it_is_never_written_over_a_file(site: Path, tmp_path: Path) -> None:
    there = tmp_path / "b.fieldbackup"
    there.write_text("something else")
    with pytest.raises(Refused, match="there already"):
        back_up(site, there)
    back_up(site, tmp_path)
    with pytest.raises(Refused, match="there already"):
        back_up(site, tmp_path)  # the same second
    with pytest.raises(NotFound, match="no folder"):
        back_up(site, tmp_path / "nowhere" / "b")
    assert there.read_text() == "something else"
    assert leavings(tmp_path) == set()


def test_a_file_that_appears_at_the_last_moment_is_not_written_over(site: Path, tmp_path: Path) -> None:
    there = tmp_path / "b.fieldbackup"

    def quicker(what: str, _done: int, _all: int) -> None:
        if what == "reading back":
            there.write_text("quicker")

    with pytest.raises(Refused, match="there already"):
        create(site, there, WORDS, wall=WALL, salt=SALT, told=quicker)
    assert there.read_text() == "quicker"
    assert leavings(tmp_path) == set()


def test_on_a_stick_that_knows_no_hard_links(site: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def none(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", none)
    made = back_up(site, tmp_path)
    assert verify(made.file, WORDS).flaws == ()
    assert leavings(tmp_path) == set()


FULL = """
import resource, sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from sites import back_up, put_back
from fieldctl.errors import Refused
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[4]), int(sys.argv[4])))
try:
    back_up(Path(sys.argv[2]), Path(sys.argv[3])) if sys.argv[5] == "create" else \
        put_back(Path(sys.argv[2]), Path(sys.argv[3]))
except Refused as error:
    print(error)
"""


def in_little_room(source: Path, to: Path, limit: int, what: str) -> str:
    here = str(Path(__file__).parent)
    words = [sys.executable, "-c", FULL, here, str(source), str(to), str(limit), what]
    done = subprocess.run(words, capture_output=True, text=True, check=True, timeout=60)
    assert done.stderr == ""
    return done.stdout


@pytest.mark.parametrize("limit", [0, 20_000, 100_000])  # at once, in the copy of the log, in the backup itself
def test_a_disk_that_fills_up_leaves_nothing(site: Path, tmp_path: Path, limit: int) -> None:
    (site / "picture").write_bytes(os.urandom(300_000))
    before = files_of(site)
    (tmp_path / "out").mkdir()
    said = in_little_room(site, tmp_path / "out", limit, "create")
    assert "room" in said
    assert "To do:" in said
    assert list((tmp_path / "out").iterdir()) == []
    assert leavings(tmp_path) == set()
    assert files_of(site) == before


def test_a_full_disk_at_the_restore_leaves_nothing(site: Path, tmp_path: Path) -> None:
    file = tmp_path / "b.fieldbackup"
    in_little_room(site, file, -1, "create")
    for limit in (0, 5_000, 30_000):
        said = in_little_room(file, tmp_path / "new", limit, "restore")
        assert "room" in said, said
        assert not (tmp_path / "new").exists()


KILLED = """
import os, sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
import sites
from fieldctl.backup.create import create
def told(what, done, in_all):
    if what == sys.argv[4]:
        os._exit(9)
create(Path(sys.argv[2]), Path(sys.argv[3]), sites.WORDS, wall=None, salt=sites.SALT, told=told)
"""


@pytest.mark.parametrize("when", ["writing", "reading back"])
def test_one_that_was_killed_is_no_backup_and_the_next_goes_on(site: Path, tmp_path: Path, when: str) -> None:
    out = tmp_path / "b.fieldbackup"
    words = [sys.executable, "-c", KILLED, str(Path(__file__).parent), str(site), str(out), when]
    assert subprocess.run(words, timeout=60).returncode == 9
    assert not out.exists()
    assert leavings(tmp_path) != set()
    made = back_up(site, out)
    assert verify(made.file, WORDS).flaws == ()
    assert leavings(tmp_path) == set()
    assert not any("backup-work" in part.path for part in made.manifest.parts)


def test_two_at_once_are_one_too_many(site: Path, tmp_path: Path) -> None:
    def again(what: str, _done: int, _all: int) -> None:
        if what == "writing":
            with pytest.raises(InUse):
                back_up(site, tmp_path / "second.fieldbackup")

    create(site, tmp_path / "first.fieldbackup", WORDS, wall=WALL, salt=SALT, told=again)
    assert sorted(p.name for p in tmp_path.glob("*.fieldbackup")) == ["first.fieldbackup"]


def test_what_the_disk_gives_back_otherwise_is_found_before_it_counts(
    site: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def rots(file: int) -> None:
        os.pwrite(file, b"?", 200)

    monkeypatch.setattr("fieldctl.backup.create.os.fsync", rots)
    with pytest.raises(BackupBroken):
        back_up(site, tmp_path / "b.fieldbackup")
    assert not (tmp_path / "b.fieldbackup").exists()


def test_what_cannot_be_read_or_changes_ends_it(site: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    diary = site / "diary.txt"
    diary.write_text("x" * 1000)

    def grows(what: str, _done: int, _all: int) -> None:
        if what == "writing":
            with diary.open("a") as file:
                file.write("more")

    with pytest.raises(Refused, match=r"diary\.txt changed"):
        create(site, tmp_path / "b.fieldbackup", WORDS, wall=WALL, salt=SALT, told=grows)
    assert leavings(tmp_path) == set()

    def barred(_path: Path) -> bool:
        raise PermissionError(13, "Permission denied", str(diary))

    monkeypatch.setattr("fieldctl.backup.gathering._is_backup", barred)
    with pytest.raises(Refused, match=r"diary\.txt: Permission denied"):
        back_up(site, tmp_path / "b.fieldbackup")


def test_a_damaged_log_is_told_and_one_whose_chain_is_broken_is_kept(site: Path, tmp_path: Path) -> None:
    base = sqlite3.connect(site / LEDGER)
    base.execute("DROP TRIGGER entries_refuse_update")
    base.execute("UPDATE entries SET wall = 'another' WHERE seq = 2")
    base.commit()
    base.close()
    made = back_up(site, tmp_path / "b.fieldbackup")
    assert any("Entry 2" in line for line in made.flaws)
    assert any("Entry 2" in line for line in verify(made.file, WORDS).flaws)
    with pytest.raises(LedgerBroken):
        put_back(made.file, tmp_path / "new")  # within the tail that every opening checks: it cannot be written on
    assert not (tmp_path / "new").exists()
    (site / LEDGER).write_bytes(os.urandom(8192))
    with pytest.raises(LedgerBroken):
        back_up(site, tmp_path / "c.fieldbackup")
    assert not (tmp_path / "c.fieldbackup").exists()


# ---- opening it ---------------------------------------------------------------------------------------------------


def test_a_restore_goes_into_an_empty_folder_alone(site: Path, tmp_path: Path) -> None:
    made = back_up(site, tmp_path / "b.fieldbackup")
    before = files_of(site)
    with pytest.raises(Refused, match="not empty"):
        put_back(made.file, site)
    assert files_of(site) == before
    with pytest.raises(Refused, match="not empty"):
        put_back(made.file, made.file)
    (tmp_path / "new").mkdir()
    (tmp_path / "new" / ".restoring").mkdir()
    (tmp_path / "new" / ".restoring" / "half").write_text("what a killed one left")
    put_back(made.file, tmp_path / "new")
    assert leavings(tmp_path / "new") == set()
    with pytest.raises(Refused, match="not empty"):
        put_back(made.file, tmp_path / "new")


def test_a_wrong_passphrase_leaves_nothing(site: Path, tmp_path: Path) -> None:
    made = back_up(site, tmp_path / "b.fieldbackup")
    with pytest.raises(Refused, match="not the passphrase"):
        verify(made.file, WORDS + "!")
    from fieldctl.backup.restore import restore

    with pytest.raises(Refused, match="not the passphrase"):
        restore(made.file, tmp_path / "new", "wrong", at=T, wall=None)
    assert not (tmp_path / "new").exists()
    with pytest.raises(NotFound):
        verify(tmp_path / "nothing", WORDS)


@given(data=st.data())
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_any_flipped_byte_of_a_whole_backup_is_found(data: st.DataObject, tmp_path: Path) -> None:
    whole = tmp_path / "b.fieldbackup"
    if not whole.exists():
        back_up(make_site(tmp_path / "larch"), whole)
    raw = bytearray(whole.read_bytes())
    at = data.draw(st.one_of(st.integers(0, 80), st.integers(0, len(raw) - 1)))
    raw[at] ^= data.draw(st.integers(1, 255))
    spoilt = tmp_path / "spoilt"
    spoilt.write_bytes(raw)
    with pytest.raises(FieldctlError) as bad:
        verify(spoilt, WORDS)
    assert bad.value.remedy
    spoilt.write_bytes(whole.read_bytes()[:at])
    with pytest.raises(FieldctlError):
        verify(spoilt, WORDS)


def forged(path: Path, files: dict[str, bytes], label: Manifest | None, kind: bytes = tarfile.REGTYPE) -> Path:
    """What somebody who knows the passphrase might seal instead."""
    key, head = passphrase.new_key(WORDS, Header(SALT[:16], SALT[16:], b""))
    with path.open("wb") as out:
        writer = ArchiveWriter(Sealer(out, key, head), lambda _n: None)
        for name, text in files.items():
            info = tarfile.TarInfo(name)
            info.size, info.type, info.linkname = len(text) if kind == tarfile.REGTYPE else 0, kind, "/etc/passwd"
            writer._tar.addfile(info, io.BytesIO(text))
        if label is not None:
            writer.close(label)
        else:
            writer._tar.close()
            writer._gzip.close()
            writer._sealer.finish()
    return path


@pytest.mark.parametrize("name", ["site/../../out", "/etc/out", "site//etc/out", "out", "site/", "site/.."])
def test_a_path_that_leads_elsewhere_is_not_followed(site: Path, tmp_path: Path, name: str) -> None:
    label = back_up(site, tmp_path / "b.fieldbackup").manifest
    bad = forged(tmp_path / "bad", {name: b"x"}, label)
    with pytest.raises(BackupBroken):
        put_back(bad, tmp_path / "a" / "new")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a", "b.fieldbackup", "bad", "larch"]
    assert list((tmp_path / "a").iterdir()) == []


def test_links_inside_and_a_list_that_is_missing_or_another_are_refused(site: Path, tmp_path: Path) -> None:
    label = back_up(site, tmp_path / "b.fieldbackup").manifest
    for what, files, of, kind in (
        ("a link", {"site/x": b""}, label, tarfile.SYMTYPE),
        ("a hard link", {"site/x": b""}, label, tarfile.LNKTYPE),
        ("no list", {"site/x": b"x"}, None, tarfile.REGTYPE),
        ("another list", {"site/x": b"x"}, label, tarfile.REGTYPE),
        ("a list that is none", {"manifest.json": b"[1"}, None, tarfile.REGTYPE),
    ):
        with pytest.raises(BackupBroken):
            verify(forged(tmp_path / what, files, of, kind), WORDS)


def test_a_key_a_log_or_a_site_that_the_label_does_not_mean_is_named(site: Path, tmp_path: Path) -> None:
    made = back_up(site, tmp_path / "b.fieldbackup")
    inside = {part.path: (site / part.path).read_bytes() for part in made.manifest.parts}
    key = {**inside, "private/site.key": b"ff" * 16 + b"\n"}
    other = make_site(tmp_path / "other", entries=0)
    with Ledger.open(other / LEDGER, inline=True) as ledger:
        ledger.append([renewed(100 + n) for n in range(3)], at=T)
    log = {**inside, LEDGER: (other / LEDGER).read_bytes()}
    toml = {**inside, "site.toml": inside["site.toml"] + b"\nshoe = 3\n"}
    for what, files, words in (("key", key, "key"), ("log", log, "Entry 3"), ("toml", toml, "shoe")):
        folder = tmp_path / what
        for name, text in files.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(text)
        head = Header(SALT[:16], SALT[16:], b"")
        secret, head = passphrase.new_key(WORDS, head)
        with (tmp_path / f"{what}.fieldbackup").open("wb") as out:
            writer = ArchiveWriter(Sealer(out, secret, head), lambda _n: None)
            for name in files:
                writer.put(name, folder / name)
            writer.close(replace(made.manifest, parts=tuple(writer.parts)))
        flaws = verify(tmp_path / f"{what}.fieldbackup", WORDS).flaws
        assert any(words in flaw for flaw in flaws), (what, flaws)


# ---- who was forgotten --------------------------------------------------------------------------------------------


def holds(folder: Path, text: bytes) -> list[str]:
    return [name for name, raw in files_of(folder).items() if text in raw]


@pytest.mark.parametrize("where", ["given", "beside", "there"])
def test_who_was_forgotten_since_is_forgotten_again(site: Path, tmp_path: Path, where: str) -> None:
    made = back_up(site, tmp_path / "b.fieldbackup")
    with Ledger.open(site / LEDGER, inline=True) as ledger:
        ledger.forget_person(PersonId("p-1"), "2026-02-03")
    since = (site / (LEDGER + ".forgotten")).read_bytes()
    new, given = tmp_path / "new", None
    match where:
        case "given":
            given = tmp_path / "list"
            given.write_bytes(since)
        case "beside":
            (tmp_path / (LEDGER + ".forgotten")).write_bytes(since)
        case "there":
            new.mkdir()
            (new / (LEDGER + ".forgotten")).write_bytes(b"# kept as it is\n" + since + b"p-9 2026-02-04\n")
    done = put_back(made.file, new, given)
    assert done.forgotten_again == 1
    assert holds(new, b"Tove-of-the-fixture") == []
    with Reader.read(new / LEDGER) as reader:
        assert reader.names() == {"p-2": "Jon"}
        assert reader.forgotten()[PersonId("p-1")] == "2026-02-03"
    beside = (new / (LEDGER + ".forgotten")).read_text()
    assert "p-1 2026-02-03" in beside
    if where == "there":
        assert beside.startswith("# kept as it is\n")
        assert "p-9 2026-02-04" in beside
        assert done.forgotten == 2


def test_without_that_list_the_name_is_there_again_and_later_backups_have_none(site: Path, tmp_path: Path) -> None:
    early = back_up(site, tmp_path / "early.fieldbackup")
    with Ledger.open(site / LEDGER, inline=True) as ledger:
        ledger.forget_person(PersonId("p-1"), "2026-02-03")
    late = back_up(site, tmp_path / "late.fieldbackup")
    assert put_back(early.file, tmp_path / "a").forgotten == 0
    assert holds(tmp_path / "a", b"Tove-of-the-fixture") == [LEDGER]
    done = put_back(late.file, tmp_path / "b")
    assert (done.forgotten, done.forgotten_again) == (1, 0)
    assert holds(tmp_path / "b", b"Tove-of-the-fixture") == []


def test_another_file_is_no_list_of_the_forgotten(site: Path, tmp_path: Path) -> None:
    made = back_up(site, tmp_path / "b.fieldbackup")
    with pytest.raises(BadInput, match="no list of forgotten"):
        put_back(made.file, tmp_path / "new", site / "site.toml")
    with pytest.raises(NotFound):
        put_back(made.file, tmp_path / "new", tmp_path / "nothing")
    assert not (tmp_path / "new").exists()


# ---- memory -------------------------------------------------------------------------------------------------------

MEMORY = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from sites import WORDS, back_up, put_back
from fieldctl.backup import passphrase
from fieldctl.backup.verify import verify
whole = passphrase.derive  # whose 64 MiB would hide what the rest takes
passphrase.derive = lambda words, salt, **cost: whole(words, salt, **{**cost, "n": 1024})
folder, out = Path(sys.argv[2]), Path(sys.argv[3])
made = back_up(folder, out / "b.fieldbackup")
assert verify(made.file, WORDS).flaws == ()
assert put_back(made.file, out / "new").flaws == ()
# not ru_maxrss, which remembers the process that started this one
print(next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")))
"""
BIG_MB = 32
MORE_MB = 14.0  # buffers of SQLite and zlib; a ledger that was held whole would be the 32


def test_a_big_ledger_takes_no_more_memory_than_a_small_one(tmp_path: Path) -> None:
    used = []
    for size in (0, BIG_MB):
        site = make_site(tmp_path / f"larch{size}")
        base = sqlite3.connect(site / LEDGER)
        for n in range(size * 4):
            base.execute("INSERT INTO settings VALUES (?, ?)", (f"invented {n}", f'"{n:08d}{"invented" * (1 << 15)}"'))
        base.commit()
        base.close()
        (tmp_path / f"out{size}").mkdir()
        words = [sys.executable, "-c", MEMORY, str(Path(__file__).parent), str(site), str(tmp_path / f"out{size}")]
        done = subprocess.run(words, capture_output=True, text=True, check=True, timeout=100)
        used.append(int(done.stdout) / 1024)
    assert used[1] - used[0] < MORE_MB, used

"""fieldctl backup as people use it: typed, piped, from a file; beside a running serve; put back, and served."""

from __future__ import annotations

import datetime
import json
import os
import pty
import subprocess
import time
from pathlib import Path
from typing import Any

import pytest
from served import FIELDCTL, Served, served

from fieldctl.backup import stamp
from fieldctl.cli import backed_up
from fieldctl.cli.outside import ledger_path, make_key
from fieldctl.events import SurfaceRenewed
from fieldctl.ledger.store import Ledger
from fieldctl.site.checks import STEERS_NOBODY
from fieldctl.site.new import new_site
from fieldctl.units import HostTime, PersonId

pytestmark = pytest.mark.timeout(200)

WORDS = "larch horn plate wind"
T = HostTime("boot", 1)


def run(*words: object, typed: str = WORDS + "\n") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [FIELDCTL, "backup", *map(str, words)], capture_output=True, text=True, check=False, timeout=60, input=typed
    )


def row(done: subprocess.CompletedProcess[str]) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(done.stdout)
    assert found["schema"] == 1
    return found


def write_entry(folder: Path) -> None:
    with Ledger.open(ledger_path(folder), inline=True) as ledger:
        ledger.append([SurfaceRenewed(None, "tilled", PersonId("p-1"), T)], at=T)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("site") / "larch"
    new_site(folder)
    make_key(folder)
    write_entry(folder)
    return folder


@pytest.fixture(scope="module")
def backup(site: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("backup") / "larch.fieldbackup"
    done = run("create", path, "--site", site)
    assert done.returncode == 0, done.stderr
    assert "without it nothing can be read back" in done.stdout
    return path


def test_made_checked_and_put_back_for_programs(site: Path, backup: Path, tmp_path: Path) -> None:
    made = row(run("create", "--to", tmp_path, "--site", site, "--json"))
    assert Path(made["file"]).parent == tmp_path
    assert Path(made["file"]).name.startswith("larch-hollow-2")
    checked = row(run("verify", made["file"], "--json"))
    assert checked["ok"] is True
    for key in ("site", "made", "entries", "head", "targets", "key_check", "files", "lacks", "bytes"):
        assert checked[key] == made[key], key
    back = row(run("restore", made["file"], "--to", tmp_path / "new", "--json"))
    assert (back["entries"], back["interrupted"], back["all_off"], back["flaws"]) == (1, [], False, [])
    assert any("fieldctl generation raise" in line for line in back["next"])
    verify = [FIELDCTL, "ledger", "verify", "--site", tmp_path / "new", "--noted"]
    head = f"{made['head']['seq']}:{made['head']['hash']}"
    assert subprocess.run([*verify, head], capture_output=True, check=False).returncode == 0


def test_what_is_in_it_in_words(backup: Path, tmp_path: Path) -> None:
    said = run("verify", backup).stdout
    for words in (
        "whole",
        "Larch Hollow (invented): 12 targets",
        "1 entries",
        "Its head: 1:",
        "Site's key:",
        "not in it:",
    ):
        assert words in said, words
    said = run("restore", backup, "--to", tmp_path / "new").stdout
    for words in ("put back", "generation raise", "superseded", "rights list", "ledger.sqlite.forgotten"):
        assert words in said, words


def test_the_passphrase_from_a_file_that_others_cannot_read(backup: Path, tmp_path: Path) -> None:
    file = tmp_path / "words"
    file.write_text(WORDS + "\nand a second line that does not count\n")
    file.chmod(0o600)
    assert run("verify", backup, "--passphrase-file", file, typed="").returncode == 0
    file.chmod(0o640)
    done = run("verify", backup, "--passphrase-file", file, typed="")
    assert done.returncode == 5
    assert "chmod 600" in done.stderr
    assert run("verify", backup, "--passphrase-file", tmp_path / "none", typed="").returncode == 4


def at_a_terminal(words: list[str], answers: list[str]) -> tuple[int, str]:
    """Run a command at a terminal, and answer each question that ends in a colon."""
    child, terminal = pty.fork()
    if child == 0:
        os.execv(FIELDCTL, [str(FIELDCTL), *words])
    said, asked = b"", 0
    while True:
        try:
            more = os.read(terminal, 4096)
        except OSError:
            break
        if not more:
            break
        said += more
        if said.count(b": ") > asked and answers and said.rstrip(b" ").endswith(b":"):
            asked = said.count(b": ")
            os.write(terminal, answers.pop(0).encode() + b"\n")
    os.close(terminal)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), said.decode()


def test_the_passphrase_typed_unseen_and_twice(site: Path, tmp_path: Path) -> None:
    file = str(tmp_path / "b.fieldbackup")
    code, said = at_a_terminal(["backup", "create", file, "--site", str(site)], [WORDS, WORDS])
    assert code == 0, said
    assert WORDS not in said
    assert "nobody can read it back" in said
    assert run("verify", file).returncode == 0
    code, said = at_a_terminal(["backup", "verify", file], [WORDS])
    assert code == 0, said
    assert WORDS not in said


@pytest.mark.parametrize(
    ("words", "typed", "code", "says"),
    [
        (("create", "b"), "short\n", 2, "12 characters"),
        (("create", "b"), "", 2, "12 characters"),
        (("create",), WORDS, 2, "a FILE, or --to"),
        (("create", "b", "--to", "."), WORDS, 2, "a FILE, or --to"),
        (("create", "--to", "nowhere"), WORDS, 4, "no folder nowhere"),
        (("create", "."), WORDS, 2, "is a folder"),
        (("verify", "nothing"), WORDS, 4, "no file nothing"),
        (("verify", "site.toml"), WORDS, 2, "no backup of fieldctl"),
        (("restore", "nothing", "--to", "new"), WORDS, 4, "no file nothing"),
    ],
)
def test_what_does_not_go_is_said_with_a_remedy(
    site: Path, words: tuple[str, ...], typed: str, code: int, says: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(site)
    before = sorted(p.name for p in site.iterdir())
    done = run(*words, "--json", typed=typed)
    assert done.returncode == code, done.stderr
    assert says in done.stderr.replace("\n", " ")
    assert "To do:" in done.stderr
    assert "Traceback" not in done.stderr
    assert row(done)["error"]["remedy"]
    assert sorted(p.name for p in site.iterdir()) == before


def test_a_wrong_passphrase_a_flipped_byte_and_a_cut(backup: Path, tmp_path: Path) -> None:
    done = run("verify", backup, typed="another passphrase\n")
    assert done.returncode == 5
    assert "not the passphrase" in done.stderr
    raw = bytearray(backup.read_bytes())
    raw[len(raw) // 2] ^= 1
    (tmp_path / "flipped").write_bytes(raw)
    (tmp_path / "cut").write_bytes(raw[: len(raw) // 3])
    for name in ("flipped", "cut"):
        for words in (("verify", tmp_path / name), ("restore", tmp_path / name, "--to", tmp_path / "new")):
            done = run(*words)
            assert done.returncode == 1, done.stderr
            assert "To do: Take another copy" in done.stderr
            assert "Traceback" not in done.stderr
    assert not (tmp_path / "new").exists()


def test_never_over_anything(site: Path, backup: Path) -> None:
    before = backup.read_bytes()
    assert run("create", backup, "--site", site).returncode == 5
    assert run("restore", backup, "--to", site).returncode == 5
    assert backup.read_bytes() == before


# ---- doctor -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("made", "days", "more", "well", "seen"),
    [
        ("2026-02-01T12:00:00.000Z", 3, 2, True, "2 entries ago, 3 days old"),
        ("2026-02-01T12:00:00.000Z", 8, 2, False, "2 entries ago, 8 days old"),
        ("2026-02-01T12:00:00.000Z", 80, 0, True, "0 entries ago, 80 days old"),
        ("2026-02-01T12:00:00.000Z", -3, 1, False, "1 entries ago"),
        (None, 0, 1, False, "without a clock"),
        (None, 0, 0, True, "without a clock"),
    ],
)
def test_how_old_the_last_one_is(tmp_path: Path, made: str | None, days: int, more: int, well: bool, seen: str) -> None:
    now = datetime.datetime(2026, 2, 1, 12, tzinfo=datetime.UTC) + datetime.timedelta(days=days)
    assert backed_up.last_backup(tmp_path, now) == (True, "no log yet", "")
    write_entry(tmp_path)
    assert not backed_up.last_backup(tmp_path, now)[0]
    stamp.write(ledger_path(tmp_path), stamp.Stamp(made, 1, "x", "larch.fieldbackup"))
    for _ in range(more):
        write_entry(tmp_path)
    found = backed_up.last_backup(tmp_path, now)
    assert found[0] is well
    assert seen in found[1]
    assert well or "fieldctl backup create" in found[2]
    stamp.stamp_file(ledger_path(tmp_path)).write_text("[junk")
    assert backed_up.last_backup(tmp_path, now)[1] == "none was ever made"


# ---- beside a running serve, and put back -------------------------------------------------------------------------


LONE = """
title = "One that nobody walks to (invented)"
limit_min = 15
[[burial]]
name = "A"
signal = "start"
target = "5ee00004"
"""


def test_an_exercise_goes_on_here_and_is_interrupted_there(tmp_path: Path) -> None:
    """Real processes on a pseudo-terminal: made beside serve; the old one dies; the new one waits for a person."""
    with served(tmp_path / "old", seed=5, grant_s=6) as old:
        (old.folder / "drills" / "lone.toml").write_text(LONE)
        old.start()
        old.open_day()
        name = old.ask("exercise-start", drill="lone", by="Mira", searchers=["Jon"])["exercise"]
        old.until(lambda s: any(t["signal"] == "sending" for t in s["targets"]), 20)
        file = tmp_path / "b.fieldbackup"
        made = row(run("create", file, "--site", old.folder, "--json"))
        assert made["flaws"] == []
        assert old.ask("exercise-show", exercise=name)["state"] == "running"
        old.kill()
        back = row(run("restore", file, "--to", tmp_path / "new", "--json"))
        assert back["interrupted"] == [name]
        time.sleep(6)
        new = Served(tmp_path / "new", old.targets, old.truth)
        words = f"{STEERS_NOBODY.wrong} {STEERS_NOBODY.remedy}"
        assert words in new.cli("status").stdout, "without a serve too"
        doctor = {check["what"]: check for check in row(new.cli("doctor", "--json"))["checks"]}
        assert doctor["who steers"] == {
            "what": "who steers", "ok": False, "seen": STEERS_NOBODY.wrong, "remedy": STEERS_NOBODY.remedy
        }  # fmt: skip
        try:
            new.start()
            assert words in new.cli("status").stdout
            assert STEERS_NOBODY.wrong in new.cli("day", "check").stdout
            new.until(lambda s: all(t["life"] == "online" for t in s["targets"]), 20)
            until = time.monotonic() + 8
            while time.monotonic() < until:
                status = new.ask("status")
                assert status["generation"] == 0
                assert not any(t["signal"] == "sending" for t in status["targets"])
                time.sleep(0.5)
            assert all("superseded" in t["odd"] for t in status["targets"])
            assert new.ask("exercise-show", exercise=name)["state"] == "interrupted"
            raised = new.cli("generation", "raise", "--reason", "the old one died", "--json")
            assert row(raised)["generation"] == 2
            assert words not in new.cli("status").stdout
            assert "LOOK  who steers" not in new.cli("doctor").stdout
            new.until(lambda s: not any(t["odd"] for t in s["targets"]), 10)
            resumed = new.cli("exercise", "resume", name, "--json")
            assert resumed.returncode == 0, resumed.stderr
            new.until(lambda s: any(t["signal"] == "sending" for t in s["targets"]), 20)
        finally:
            if new.serve is not None:
                new.terminate()

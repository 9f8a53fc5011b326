"""The commands against a served site: the day, an exercise from start to result, all off, the end."""

from __future__ import annotations

import json
import os
import stat
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from served import FIELDCTL, Served, served

pytestmark = pytest.mark.timeout(200)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("served") / "site", seed=5) as made:
        made.start()
        made.until(lambda s: all(t["life"] == "online" for t in s["targets"]), 20)
        yield made


def row(done: subprocess.CompletedProcess[str]) -> dict[str, object]:
    found: dict[str, object] = json.loads(done.stdout)
    assert found["schema"] == 1
    return found


def test_a_start_is_refused_while_the_field_is_closed(site: Served) -> None:
    done = site.cli("exercise", "start", "three")
    assert done.returncode == 5
    assert "The field is closed." in done.stderr
    assert "Traceback" not in done.stderr


def test_opening_names_everything_that_is_in_the_way(site: Served) -> None:
    done = site.cli("day", "open", "--by", "Ansel", "--json")
    assert done.returncode == 5
    error = row(done)["error"]
    assert isinstance(error, dict)
    assert error["code"] == "refused"
    for word in ("hazard", "snow depth", "stray signals", "touch:5ee00001"):
        assert word in str(error["what"])


def test_an_exercise_from_the_command_line(site: Served) -> None:
    signed = [w for n in range(1, 5) for w in ("--exception", f"touch:5ee0000{n}")]
    opened = site.cli(
        "day",
        "open",
        "--by",
        "Ansel",
        "--hazard",
        "low (invented)",
        "--snow",
        "1.9",
        "--sweep",
        "Tove, nothing",
        *signed,
    )
    assert opened.returncode == 0, opened.stderr
    check = row(site.cli("exercise", "check", "three", "--json"))
    assert check["hindrances"] == []
    assert "Any signal is a person until proved otherwise" in str(check["cards"])
    start = ("exercise", "start", "three", "--searcher", "Jon", "--request", "mine-1", "--json")
    first, second = row(site.cli(*start)), row(site.cli(*start))
    assert first["exercise"] == second["exercise"] == "x1"
    site.until(lambda s: [e for e in s["exercises"] if any(b["find"] for b in e["burials"])], 40)
    called = site.cli("exercise", "call", "x1", "--burial", "A", "--searcher", "Jon", "--ago", "2", "--json")
    assert called.returncode == 0, called.stderr
    wrong = site.cli("exercise", "correct", "x1", "void", "nothing", "--why", "x")
    assert wrong.returncode == 2
    assert "no 'nothing'" in wrong.stderr
    call = str(row(called)["call"])
    voided = site.cli("exercise", "correct", "x1", "void", call, "--why", "the wrong burial", "--json")
    assert voided.returncode == 0, voided.stderr
    undone = site.cli("exercise", "correct", "x1", "undo", str(row(voided)["correction"]), "--why", "it was right")
    assert undone.returncode == 0, undone.stderr
    site.until(lambda s: [e for e in s["exercises"] if e["state"] == "complete"], 90)
    earlier = site.cli("exercise", "correct", "x1", "shift-start", "x1", "-20", "--why", "begun too late", "--json")
    assert earlier.returncode == 0, earlier.stderr
    assert row(earlier)["corrections"][-1]["value"] == -20
    shown = site.cli("exercise", "show", "x1")
    assert "complete" in shown.stdout
    assert "±" in shown.stdout


def test_status_and_targets_for_people(site: Served) -> None:
    assert "Larch 2" in site.cli("status").stdout
    named = site.cli("target", "name", "5ee00004", "Lone larch", "--json")
    assert named.returncode == 0
    assert "Lone larch" in site.cli("target", "list").stdout
    assert row(site.cli("target", "find", "lone larch", "--json"))["sending"] is False
    sends = site.cli("target", "find", "lone larch", "--send")
    assert sends.returncode == 5
    assert "The field is open." in sends.stderr
    nobody = site.cli("target", "find", "larch 99")
    assert nobody.returncode == 4


def test_a_second_serve_says_who_has_it(site: Served) -> None:
    done = site.cli("serve")
    assert done.returncode == 5
    assert site.serve is not None
    assert str(site.serve.pid) in done.stderr


def test_the_socket_is_for_its_owner_alone(site: Served) -> None:
    mode = stat.S_IMODE(os.stat(site.folder / "control.sock").st_mode)
    assert mode == 0o600


def test_all_off_and_its_release(site: Served) -> None:
    off = row(site.cli("all-off", "--json"))["all_off"]
    assert isinstance(off, dict)
    assert off["in_force"]
    assert len(off["confirmed"]) == 4
    assert site.cli("exercise", "start", "three").returncode == 5
    assert site.cli("all-off", "release").returncode == 2  # without a reason
    assert site.cli("all-off", "release", "--reason", "looked at", "--by", "Ansel").returncode == 0


def test_the_site_file_broken_while_in_use(site: Served) -> None:
    path = site.folder / "site.toml"
    text = path.read_text()
    path.write_text(text.replace("grant_s = 30", "grant_s = 9999\nshoe = 3"))
    try:
        assert site.cli("status").returncode == 0
        check = site.cli("site", "check")
        assert check.returncode == 1
        assert "grant_s" in check.stderr
        assert "shoe" in check.stderr
    finally:
        path.write_text(text)


def test_the_ledger_beside_a_running_serve(site: Served) -> None:
    assert row(site.cli("ledger", "verify", "--json"))["ok"] is True
    assert row(site.cli("ledger", "replay", "--json"))["stamps_that_differ"] == []
    lines = site.cli("ledger", "export").stdout.splitlines()
    assert len(lines) > 20
    assert "Jon" not in "".join(lines)
    assert "taken_for" in site.cli("ledger", "export", "--csv").stdout.splitlines()[0]


def test_the_end_switches_off_and_status_then_says_as_of(site: Served) -> None:
    assert site.terminate() == 0
    done = site.cli("status", "--json")
    assert done.returncode == 4
    first = json.loads(done.stdout.splitlines()[0])
    assert first["live"] is False
    assert first["as_of"]
    off = site.cli("all-off")
    assert off.returncode == 4
    assert "Nothing could be ordered" in off.stderr
    assert "runs out by itself" in off.stderr


def test_the_adapter_pulled_out_is_a_state_and_not_a_crash(tmp_path: Path) -> None:
    with served(tmp_path / "site") as made:
        made.start()
        made.until(lambda s: all(t["life"] == "online" for t in s["targets"]), 20)
        made.end()
        link = made.until(lambda s: next((ln for ln in s["links"] if not ln["up"]), None), 10)
        assert link["name"] == "bus"
        status = made.until(lambda s: all(t["life"] != "online" for t in s["targets"]) and s, 20)
        assert "when last heard" in status["targets"][0]["signal"]
        assert made.terminate() == 0


def test_a_port_in_use_names_its_holder(tmp_path: Path) -> None:
    with served(tmp_path / "one") as made:
        made.start()
        made.until(lambda s: any(ln["up"] for ln in s["links"]), 10)
        other = tmp_path / "two"
        other.mkdir()
        subprocess.run([FIELDCTL, "site", "new", str(other)], capture_output=True, check=True)
        (other / "site.toml").write_text((made.folder / "site.toml").read_text())
        second = subprocess.Popen(
            [FIELDCTL, "serve", "--site", str(other)], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        try:
            assert second.stdout is not None
            while "Serving" not in second.stdout.readline():
                pass
            said = ""
            for _ in range(50):
                said = subprocess.run(
                    [FIELDCTL, "ledger", "export", "--site", str(other)], capture_output=True, text=True, check=True
                ).stdout
                if "LinkChanged" in said:
                    break
            assert made.serve is not None
            assert str(made.serve.pid) in said
        finally:
            second.terminate()
            second.communicate(timeout=20)

"""`fieldctl certify` as a user runs it: a port, a socket, a broker; bench keys and a site's; Ctrl-C; pages."""

import json
import signal
import subprocess
import time
from pathlib import Path

import pytest
from served_target import FIELDCTL, served

from fieldctl.certify.requirements import REQUIREMENTS
from fieldctl.certify.side_door import Socketed
from fieldctl.cli.outside import make_key, read_key

SOME = ("seal-tag", "replay-cached", "late", "alloff-answered", "reboot-named", "strike-resent")
ONLY = [word for requirement in SOME for word in ("--only", requirement)]


def test_on_a_port_with_the_secret_of_the_label(tmp_path: Path) -> None:
    with served(tmp_path) as target:
        page = tmp_path / "page.html"
        done = target.certify(
            "--secret-file",
            target.secret_file(),
            "--door",
            target.where["door"],
            "--json",
            "--report",
            str(page),
            *ONLY,
        )
        left = target.end()
    assert done.returncode == 3, done.stderr + done.stdout  # some of all are a part, however well they passed
    row = json.loads(done.stdout)
    assert (row["schema"], row["certificate"], row["result"], row["left_quiet"]) == (1, 1, "in part", True)
    assert (row["passed"], row["not_asked_for"]) == (len(SOME), len(REQUIREMENTS) - len(SOME))
    assert [r["id"] for r in row["requirements"]] == list(SOME)
    assert {r["verdict"] for r in row["requirements"]} == {"passed"}
    assert row["abilities"] == ["pad", "thermometer", "sleep", "button", "transmitter", "levels", "traces"]
    assert left == {"keys": False, "granted": False}
    text = page.read_text()
    assert "signature" in text
    assert "IN PART: 6 passed, 0 failed" in text
    assert f"{len(REQUIREMENTS) - 6} not asked for" in text
    assert "http" not in text


def test_without_a_side_door_what_needs_one_is_not_tried_and_the_result_is_in_part(tmp_path: Path) -> None:
    site, page = tmp_path / "site", tmp_path / "page.txt"
    site.mkdir()
    key = read_key_of(site)
    with served(tmp_path, "--socket", "--site-key", key) as target:
        words = ("--site", str(site), "--target", target.where["target"], "--report", str(page))
        done = target.certify(*words, "--only", "late", "--only", "reboot-named", "--only", "leave")
        left = target.end()
    assert done.returncode == 3, done.stderr + done.stdout
    assert page.read_text() == done.stdout
    assert "IN PART: 1 passed, 0 failed, 0 not applicable, 2 not tried" in done.stdout
    assert "not tried, the port offers no reboot: 69\n" in done.stdout
    assert "not tried, the port offers no press; the keys are those of a site, and could be lost" in done.stdout
    assert "not asked for: 1-38, 40-68, 70-88\n" in done.stdout
    assert left == {"keys": True, "granted": False}


def test_by_hand_the_operator_is_asked_in_words_and_may_give_up(tmp_path: Path) -> None:
    key = read_key_of(tmp_path)
    with served(tmp_path, "--site-key", key) as target:
        words = ("--site", str(tmp_path), "--target", target.where["target"], "--by-hand", "--only", "generation-kept")
        for typed, code, says in (("\n", 3, "IN PART: 1 passed"), ("", 3, "broken off  it was broken off by hand")):
            done = subprocess.run(
                target.command(*words), input=typed, capture_output=True, text=True, check=False, timeout=60
            )
            assert (done.returncode, says in done.stdout) == (code, True), done.stderr + done.stdout
            assert ">>> Take the power off the target for a second and give it back, then press Enter." in done.stderr
        assert target.end() == {"keys": True, "granted": False}


def read_key_of(site: Path) -> str:
    make_key(site)
    return read_key(site).hex()


def test_over_a_broker_a_retained_order_is_not_carried_out(tmp_path: Path) -> None:
    with served(tmp_path, "--mqtt") as target:
        words = ("--secret-file", target.secret_file(), "--door", target.where["door"])
        done = target.certify(*words, "--only", "retained", "--only", "alloff-forged")
        left = target.end()
    assert done.returncode == 3, done.stderr + done.stdout
    assert "IN PART: 2 passed, 0 failed, 0 not applicable, 0 not tried" in done.stdout
    assert left == {"keys": False, "granted": False}


def test_on_a_disk_that_is_full_what_took_minutes_was_printed_before(tmp_path: Path) -> None:
    full = tmp_path / "full.txt"
    full.symlink_to("/dev/full")
    with served(tmp_path) as target:
        words = ("--secret-file", target.secret_file(), "--door", target.where["door"], "--only", "late", "--json")
        done = target.certify(*words, "--report", str(full))
        assert target.end() == {"keys": False, "granted": False}
    assert json.loads(done.stdout)["passed"] == 1
    assert done.returncode == 1
    assert "full.txt could not be written: No space left on device" in done.stderr
    assert "fault of fieldctl" not in done.stderr


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_broken_off_while_it_sends_it_is_left_quiet(tmp_path: Path, how: signal.Signals) -> None:
    with served(tmp_path) as target:
        words = ("--secret-file", target.secret_file(), "--door", target.where["door"], "--json")
        only = ("--only", "grant-dropping-out", "--only", "quiet")
        child = subprocess.Popen(
            target.command(*words, *only), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        door = Socketed(target.where["door"])
        deadline = time.monotonic() + 60
        while not door.do("gate"):  # until a grant of 4 s has begun
            assert time.monotonic() < deadline
            time.sleep(0.05)
        door.close()
        child.send_signal(how)
        out, err = child.communicate(timeout=30)
        left = target.end()
    row = json.loads(out)
    assert row["stopped"] == "it was broken off by hand", err
    assert child.returncode == 3
    assert row["left_quiet"]
    assert row["passed"] == 0
    assert left == {"keys": False, "granted": False}


def test_a_target_of_another_site_is_said_not_to_answer(tmp_path: Path) -> None:
    make_key(tmp_path)
    with served(tmp_path, "--site-key", bytes(16).hex()) as target:
        assert read_key(tmp_path) != bytes(16)
        done = target.certify("--site", str(tmp_path), "--target", target.where["target"])
    assert done.returncode == 4
    assert "No answer from target 5ee00001 under the keys of this site" in done.stderr


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        ((), 2, "one of --port, --socket and --mqtt"),
        (("--port", "/dev/none", "--secret-file", "LABEL"), 4, "There is no serial port /dev/none"),
        (("--socket", "127.0.0.1:1", "--secret-file", "LABEL"), 4, "Nobody listens at 127.0.0.1:1"),
        (("--socket", "here", "--secret-file", "LABEL"), 2, "HOST:PORT"),
        (("--mqtt", "mqtt://u@127.0.0.1/word", "--secret-file", "LABEL"), 2, "--target ID"),
        (("--mqtt", "http://u@127.0.0.1/word", "--target", "5ee00001"), 2, "names no broker"),
        (("--mqtt", "mqtt://u:pw@127.0.0.1/word", "--target", "5ee00001"), 2, "names no broker"),
        (("--socket", "127.0.0.1:1", "--target", "nobody"), 2, "eight hexadecimal digits"),
        (("--socket", "127.0.0.1:1", "--door", "127.0.0.1:1", "--secret-file", "LABEL"), 4, "The side door"),
        (("--socket", "127.0.0.1:1", "--only", "nothing"), 2, "fieldctl certify --list"),
        (("--socket", "127.0.0.1:1"), 2, "--secret-file"),
        (("--socket", "127.0.0.1:1", "--secret-file", "BAD"), 2, "32 hexadecimal digits"),
        (("--socket", "127.0.0.1:99999", "--secret-file", "LABEL"), 2, "the port from 1 to 65535"),
        (("--socket", "127.0.0.1:0", "--secret-file", "LABEL"), 2, "the port from 1 to 65535"),
        (("--socket", "[::1", "--secret-file", "LABEL"), 2, "is no address"),
        (("--socket", "[::1]:1", "--secret-file", "LABEL"), 4, "Nobody listens at [::1]:1"),
        (("--socket", "127.0.0.1:1", "--door", "127.0.0.1:99999", "--secret-file", "LABEL"), 2, "is no address"),
        (("--mqtt", "mqtt://[::1/x", "--target", "5ee00001"), 2, "names no broker"),
        (("--mqtt", "mqtt://u@127.0.0.1:99999/x", "--target", "5ee00001"), 2, "names no broker"),
        (("--socket", "127.0.0.1:1", "--secret-file", "LABEL", "--report", "/nowhere/page.html"), 2, "no folder"),
        (("--socket", "127.0.0.1:1", "--secret-file", "LABEL", "--report", "a.html"), 2, "a.html cannot be written"),
        (("--socket", "127.0.0.1:1", "--secret-file", "LABEL", "--report", "/proc/a.txt"), 2, "cannot be written"),
        (("--socket", "127.0.0.1:1", "--secret-file", "LABEL", "--report", "a.pdf"), 2, ".html or .htm or .txt"),
        (("--socket", "127.0.0.1:1", "--secret-file", "LABEL", "--report", "/tmp"), 2, "no ending of a report"),
    ],
)
def test_wrong_use_is_said_before_anything_is_tried(tmp_path, words, code, says) -> None:
    (tmp_path / "LABEL").write_text("00" * 16)
    (tmp_path / "BAD").write_text("secret")
    (tmp_path / "a.html").mkdir()
    done = subprocess.run(
        [FIELDCTL, "certify", *words], capture_output=True, text=True, check=False, timeout=60, cwd=tmp_path
    )
    assert (done.returncode, done.stdout) == (code, "")
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_the_list_can_be_read_without_a_target() -> None:
    done = subprocess.run([FIELDCTL, "certify", "--list"], capture_output=True, text=True, check=True, timeout=60)
    assert all(f" {r.id}: {r.words}\n" in done.stdout for r in REQUIREMENTS)
    rows = subprocess.run(
        [FIELDCTL, "certify", "--list", "--json"], capture_output=True, text=True, check=True, timeout=60
    )
    found = json.loads(rows.stdout)["requirements"]
    assert [row["id"] for row in found] == [r.id for r in REQUIREMENTS]
    assert found[11] == {
        "number": 12,
        "id": "seal-tag",
        "words": REQUIREMENTS[11].words,
        "abilities": [],
        "medium": None,
        "door": [],
        "switch": "BREAK_SEAL_TAG",
        "breaks": "it compares only the first seven bytes of the tag",
    }

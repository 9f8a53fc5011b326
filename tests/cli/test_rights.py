"""Rights and phones from the command line of the machine itself, where whoever has the socket may do everything."""

from __future__ import annotations

import contextlib
import datetime
import json
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from served import FIELDCTL

from fieldctl.cli.rights import _end


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = tmp_path_factory.mktemp("rights") / "larch"
    subprocess.run([FIELDCTL, "site", "new", str(folder)], check=True, capture_output=True, timeout=60)
    text = (folder / "site.toml").read_text()
    (folder / "site.toml").write_text(text.replace('"0.0.0.0"', '"127.0.0.1"').replace("port = 8457", "port = 0"))
    child = subprocess.Popen(
        [FIELDCTL, "serve", "--site", str(folder)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    try:
        assert child.stdout is not None
        assert "Serving" in child.stdout.readline()
        yield folder
    finally:
        child.terminate()
        with contextlib.suppress(subprocess.TimeoutExpired):
            child.communicate(timeout=20)
        if child.poll() is None:
            child.kill()


def cli(site: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [FIELDCTL, *words, "--site", str(site)], capture_output=True, text=True, timeout=60, check=False
    )


def row(done: subprocess.CompletedProcess[str]) -> dict[str, Any]:
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    assert found["schema"] == 1
    return found


def test_a_right_from_given_to_taken(site: Path) -> None:
    given = row(cli(site, "rights", "give", "Tove", "instruct", "--by", "Ansel", "--json"))
    assert given["rights"][0]["holds"] is True
    assert 13 * 3600 < given["rights"][0]["left_s"] <= 14 * 3600
    cli(site, "rights", "give", "Mira", "in-charge", "--until", "good")
    shown = cli(site, "rights", "list").stdout
    assert re.search(r"^Tove +instruct until 20\d\d-", shown, re.M)
    assert re.search(r"^Mira +in-charge for good", shown, re.M)
    refused = cli(site, "rights", "take", "Mira", "in-charge")
    assert refused.returncode == 5
    assert "Nobody would be in charge" in refused.stderr
    assert row(cli(site, "rights", "take", "tove", "instruct", "--json"))["rights"] == []


def test_codes_are_printed_alone_on_their_line(site: Path) -> None:
    cli(site, "rights", "give", "Jon", "watch", "--until", "good")
    for words, page in ((("rights", "code"), "/first"), (("phone", "code", "Jon"), "/pair")):
        done = cli(site, *words)
        assert done.returncode == 0, done.stderr
        code, where = done.stdout.splitlines()
        assert re.fullmatch(r"[0-9A-Z]{4}(-[0-9A-Z]{4}){3}", code)
        assert page in where
    assert row(cli(site, "rights", "code", "--json"))["ends_s"] == 600


@pytest.mark.parametrize(
    ("words", "exits", "says"),
    [
        (("rights", "give", "Jon", "captain"), 2, "watch, instruct, upkeep, in-charge"),
        (("rights", "give", "Jon", "watch", "--until", "soon"), 2, "RFC 3339"),
        (("rights", "give", "Jon", "watch", "--until", "2026-01-01"), 2, "over already"),
        (("rights", "give", "field", "watch"), 2, "another name"),
        (("rights", "take", "Nobody", "watch"), 4, "Nobody here is called"),
        (("phone", "code", "Nobody"), 4, "Give that name a right first"),
        (("phone", "end", "0123"), 4, "fieldctl phone list"),
    ],
)
def test_what_cannot_be_is_said_with_a_remedy(site: Path, words: tuple[str, ...], exits: int, says: str) -> None:
    done = cli(site, *words)
    assert done.returncode == exits, done.stderr
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_phones_and_their_end(site: Path) -> None:
    cli(site, "rights", "give", "Jon", "watch", "--until", "good")
    assert cli(site, "phone", "list").stdout.split() == ["phone", "name", "kind", "seen"]
    ended = row(cli(site, "phone", "end-all", "Jon", "--json"))
    assert (ended["ended"], [r["right"] for r in ended["rights"]]) == (0, ["watch"])


def test_a_day_is_meant_to_its_end() -> None:
    end = datetime.datetime.fromisoformat(_end("2031-04-30"))
    assert end.tzinfo is not None
    assert (end.month, end.day, end.hour, end.minute) == (5, 1, 0, 0)
    assert [_end(word) for word in ("today", "good", "2031-04-30T22:00:00Z")] == [
        "today",
        "good",
        "2031-04-30T22:00:00Z",
    ]

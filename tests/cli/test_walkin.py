"""The walk-in from the command line, on a served site: plates touched, released for hours, started, stopped, ended."""

from __future__ import annotations

import datetime
import json
from collections.abc import Iterator
from typing import Any

import pytest
from served import TARGETS, Served, served

pytestmark = pytest.mark.timeout(120)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("walk-in") / "site", seed=9) as made:
        made.start()
        made.until(lambda s: all(t["life"] == "online" for t in s["targets"]), 20)
        yield made


def row(site: Served, *words: str, code: int = 0) -> dict[str, Any]:
    done = site.cli(*words, "--json")
    assert "Traceback" not in done.stderr
    assert done.returncode == code, done.stdout + done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


OPEN = ("day", "open", "--by", "Ansel", "--hazard", "low (invented)", "--snow", "1.9", "--sweep", "Tove, nothing")
SIGNED = [w for t in TARGETS for w in ("--exception", f"touch:{t}")]


def test_a_walk_in_from_its_release_to_its_end(site: Served) -> None:
    touching = site.cli("day", "touch", "--for", "5", "--by", "Tove")
    assert touching.returncode == 0
    assert "every pad is asked to listen" in touching.stdout
    assert (
        "field is closed"
        in row(site, "walk-in", "release", "three", "--zone", "upper", "--for", "60", code=5)["error"]["what"]
    )
    row(site, *OPEN, *SIGNED)
    wrong = row(site, "walk-in", "release", "three", "--zone", "upper", "--until", "quarter to four", code=2)
    assert "is no time of today" in wrong["error"]["what"]
    later = (datetime.datetime.now() + datetime.timedelta(minutes=90)).time()
    if later > datetime.datetime.now().time():  # not across midnight
        told = row(
            site, "walk-in", "release", "three", "--zone", "upper", "--until", f"{later:%H:%M:%S}", "--by", "Ansel"
        )
        assert told["ends_in_s"] == pytest.approx(5400, abs=30)
        row(site, "walk-in", "end", told["release"])
    told = row(site, "walk-in", "release", "three", "--zone", "upper", "--for", "60", "--by", "Ansel")
    shown = site.cli("walk-in", "status").stdout
    assert f"{told['release']}: " in shown
    assert "upper  free" in shown
    assert site.cli("walk-in", "start", "upper").stdout == "started\n"
    again = site.cli("walk-in", "start", "upper")
    assert (again.returncode, "nothing was started" in again.stdout) == (0, True)
    assert row(site, "walk-in", "stop", "upper")["stopped"] is True
    assert "a pause after the last party" in site.cli("walk-in", "start", "upper").stdout
    assert row(site, "walk-in", "end", "--by", "Ansel")["ended"] == [told["release"]]
    assert row(site, "walk-in", "start", "upper", code=5)["error"]["remedy"]
    assert row(site, "walk-in", "end", "w99", code=4)["error"]["expected"] == "none"

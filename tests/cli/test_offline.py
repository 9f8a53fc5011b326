"""Commands that need no serve: drills by name, pictures, the log as one object, broker's users, a label's secret."""

from __future__ import annotations

import datetime
import json
import os
import subprocess
from pathlib import Path
from typing import Any

import pytest
from served import FIELDCTL

from fieldctl.events import ExerciseEnded, SnowMeasured, SurfaceRenewed, TargetBarred
from fieldctl.ledger.store import Ledger
from fieldctl.site.files import load_site
from fieldctl.units import HostTime, PersonId


def run(*words: str, site: Path | None = None, typed: str = "") -> subprocess.CompletedProcess[str]:
    at = () if site is None else ("--site", str(site))
    done = subprocess.run([FIELDCTL, *words, *at], input=typed, capture_output=True, text=True, check=False, timeout=60)
    assert "Traceback" not in done.stderr
    return done


@pytest.fixture
def site(tmp_path: Path) -> Path:
    folder = tmp_path / "larch"
    assert run("site", "new", str(folder)).returncode == 0
    return folder


def test_a_drill_by_its_name_or_its_file(site: Path) -> None:
    done = run("drill", "check", "close-pair", str(site / "drills" / "probe-line.toml"), "--json", site=site)
    assert (done.returncode, len(json.loads(done.stdout)["checked"])) == (0, 2)
    nobody = run("drill", "check", "pair", site=site)
    assert nobody.returncode == 4
    assert "close-pair" in nobody.stderr
    assert run("drill", "preview", "one-burial", "--runs", "5", site=site).returncode == 0


def previewed(site: Path, drill: str) -> dict[str, Any]:
    done = run("drill", "preview", drill, "--runs", "5", "--json", site=site)
    assert done.returncode == 0, done.stderr
    row: dict[str, Any] = json.loads(done.stdout)
    return row


def test_a_preview_knows_what_the_log_knows_of_snow_and_targets(site: Path) -> None:
    (site / "drills" / "any.toml").write_text('title = "Any"\nlimit_min = 9\n[[burial]]\nname = "A"\n')
    before = previewed(site, "any")
    assert any("day of the survey" in row for row in before["assumptions"])
    target, at = before["burials"][0]["target"], HostTime("b", 1)
    place = load_site(site).place(target)
    assert place.surveyed_on is not None
    with Ledger.open(site / "ledger.sqlite", inline=True) as ledger:
        for day, snow_m in ((place.surveyed_on.isoformat(), 1.0), (_today(), 2.0)):
            ledger.append([SnowMeasured(None, day, snow_m, PersonId("p"), at)], at=at)
    now = previewed(site, "any")
    assert any("those of today" in row for row in now["assumptions"])
    assert 0.5 < now["burials"][0]["depth_m"] - before["burials"][0]["depth_m"] < 1.6  # a metre more, and it settles
    with Ledger.open(site / "ledger.sqlite", inline=True) as ledger:
        ledger.append([TargetBarred(target, "its gate read on", PersonId("p"))], at=at)
    assert previewed(site, "any")["burials"][0]["target"] != target


def _today() -> str:
    return datetime.datetime.now(datetime.UTC).date().isoformat()


def test_a_drill_that_cannot_be_staffed_names_the_burial_and_the_nearest(site: Path) -> None:
    (site / "drills" / "no.toml").write_text(
        'title = "No"\nlimit_min = 9\n[[burial]]\nname = "A"\ntarget = "deadbeef"\n'
    )
    done = run("drill", "preview", "no", site=site)
    assert done.returncode == 5
    assert "\n  burial A: target deadbeef is named outright" in done.stderr
    assert "). To do: Change the wishes named." in done.stderr


@pytest.mark.parametrize("name", ["map.pdf", "map", "nowhere/map.svg"])
def test_a_picture_that_cannot_be_is_refused_before_the_work(name: str, site: Path) -> None:
    done = run("drill", "preview", "one-burial", "--picture", str(site / name), site=site)
    assert done.returncode == 2
    assert ".svg or .png" in done.stderr
    assert "rehearsing" not in done.stderr
    assert not (site / name).exists()


def test_the_log_as_one_object(site: Path) -> None:
    at = HostTime("b", 1)
    with Ledger.open(site / "ledger.sqlite", inline=True) as ledger:
        ledger.append([SurfaceRenewed(None, "tilled", PersonId("p"), at)], at=at)
        ledger.append([ExerciseEnded("x1", "stopped", PersonId("p"), at)], at=at)
    row = json.loads(run("ledger", "export", "--json", site=site).stdout)
    assert (row["schema"], len(row["entries"])) == (1, 2)
    one = json.loads(run("ledger", "export", "--json", "--exercise", "x1", site=site).stdout)
    assert len(one["entries"]) == 1
    for what in ("export", "replay"):
        nothing = run("ledger", what, "--exercise", "x9", site=site)
        assert nothing.returncode == 4
        assert "x9" in nothing.stderr
    assert run("ledger", "export", "--csv", "--json", site=site).returncode == 2


def test_the_broker_knows_a_bridge_and_keeps_its_passwords(site: Path, tmp_path: Path) -> None:
    folder = tmp_path / "broker"
    done = run("broker", "config", str(folder), "--no-tls", "--bridge", "far=lower", "--json", site=site)
    assert "bridge-far" in json.loads(done.stdout)["users"]
    acl = (folder / "acl").read_text()
    assert "user bridge-far" in acl
    before = (folder / "passwords").read_text()
    again = run("broker", "config", str(folder), "--no-tls", site=site)
    assert again.returncode == 5
    assert "--anew" in again.stderr
    assert (folder / "passwords").read_text() == before
    assert run("broker", "config", str(folder), "--no-tls", "--anew", site=site).returncode == 0
    assert (folder / "passwords").read_text() != before
    assert all((folder / name).stat().st_mode & 0o077 == 0 for name in os.listdir(folder))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--bridge", "far"), "NAME=ZONE"),
        (("--bridge", "far=nowhere"), "upper, lower"),
        (("--bridge", "Far Zone=lower"), "Far Zone"),
    ],
)
def test_a_bridge_that_cannot_be(words: tuple[str, ...], said: str, site: Path, tmp_path: Path) -> None:
    done = run("broker", "config", str(tmp_path / "broker"), *words, site=site)
    assert done.returncode == 2
    assert said in done.stderr
    assert not (tmp_path / "broker").exists()


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--link", "none", "--zone", "lower"), 4, "Expected: broker"),
        (("--link", "broker", "--zone", "nowhere"), 2, "upper, lower"),
        (("--link", "broker"), 2, "--target or --zone"),
        (("--link", "broker", "--target", "5ee0000a"), 2, "--name"),
        (("--link", "broker", "--target", "seven"), 2, "eight hexadecimal digits"),
        (("--link", "broker", "--zone", "lower", "--password-file", "nothing"), 4, "cannot be read"),
    ],
)
def test_a_bridge_asked_wrong(words: tuple[str, ...], code: int, said: str, site: Path) -> None:
    done = run("bridge", "--port", "/dev/null", *words, site=site)
    assert done.returncode == code, done.stderr
    assert said in done.stderr


def test_a_label_s_secret_is_no_argument(site: Path) -> None:
    secret = "00112233445566778899aabbccddeeff"
    assert run("target", "add", "bus", "696e766400000001", secret, site=site).returncode == 2
    typed = run("target", "add", "bus", "696e766400000001", site=site, typed=secret + "\n")
    assert typed.returncode == 4  # nobody serves
    assert secret not in typed.stdout + typed.stderr
    nothing = run("target", "add", "bus", "696e766400000001", "--secret-file", str(site / "no"), site=site)
    assert nothing.returncode == 1
    assert "To do:" in nothing.stderr

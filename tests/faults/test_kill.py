"""SIGKILL of a real serve, ten times in an exercise, targets in another process: nothing lost, nothing past a grant."""

from __future__ import annotations

import json
import time
from collections import Counter
from pathlib import Path
from random import Random

import pytest
from served import TARGETS, served

from fieldctl.cli.outside import SystemClock
from fieldctl.events import ExerciseInterrupted, StrikeRecorded
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.verify import verify

KILLS = 10


@pytest.mark.timeout(240)
@pytest.mark.parametrize("seed", [3])
def test_killed_ten_times_in_one_exercise(tmp_path: Path, seed: int) -> None:
    rng = Random(f"kill {seed}")
    with served(tmp_path / "site", seed) as site:
        site.start()
        site.open_day()
        name = site.ask("exercise-start", drill="three", by="Mira", searchers=["Jon"])["exercise"]
        for kill in range(KILLS):
            time.sleep(rng.uniform(0.0, 2.5))
            site.kill()
            if kill % 3 == 2:  # and once more while it still starts
                site.begin()
                time.sleep(rng.uniform(0.0, 0.8))
                site.kill()
            site.start()
        done = site.until(
            lambda s: next(
                (e for e in s["exercises"] if e["exercise"] == name and e["state"] in ("complete", "interrupted")), None
            ),
            90,
        )
        off = site.cli("all-off", "--json")
        assert off.returncode == 0, off.stdout + off.stderr
        row = json.loads(off.stdout)["all_off"]
        assert row["unconfirmed"] == []
        assert site.terminate() == 0
        truth = site.end()
        with Reader.read(tmp_path / "site" / "ledger.sqlite") as reader:
            strikes = [f for f in reader.facts(kinds=(StrikeRecorded,)) if isinstance(f, StrikeRecorded)]
            recorded = {(f.target, f.boot, f.number): f for f in strikes}
            assert len(recorded) == len(strikes) >= 3
            assert verify(reader).ok
            # no gap was longer than a grant, so it went on by itself each time
            assert not list(reader.facts(kinds=(ExerciseInterrupted,)))
        made = {(t, boot, n): us for t, said in truth.items() for boot, n, us in said["made"]}
        assert made.keys() == recorded.keys()
        assert all(abs(made[k] - f.at.at.us) <= f.at.plus_minus_us for k, f in recorded.items())
        assert max(said["past_grant_us"] for said in truth.values() if said["sent"]) <= 0
        assert done["state"] == "complete"


GRANT_S = 5
AWAY_S = GRANT_S + 1.5


@pytest.mark.timeout(120)
def test_killed_for_longer_than_a_grant_it_is_interrupted_until_a_person_presses(tmp_path: Path) -> None:
    clock = SystemClock()
    with served(tmp_path / "site", 4, grant_s=GRANT_S) as site:
        site.start()
        site.open_day()
        name = site.ask("exercise-start", drill="three", by="Mira", searchers=["Jon"])["exercise"]
        sending = [TARGETS[0], TARGETS[2]]
        site.until(lambda s: {t["target"] for t in s["targets"] if t["signal"] == "sending"} == set(sending), 15)
        site.kill()
        killed = clock.now()
        time.sleep(AWAY_S)
        site.start()
        row = site.ask("exercise-show", exercise=name)
        assert row["state"] == "interrupted"
        site.until(lambda s: all(t["life"] == "online" for t in s["targets"]), 15)
        time.sleep(1.0)  # long enough for an order that nobody gave to have its effect
        assert {t["signal"] for t in site.ask("target-list")["targets"]} == {"says quiet"}
        pressed = clock.now()
        resumed = site.cli("exercise", "resume", name, "--json")
        assert resumed.returncode == 0, resumed.stderr
        assert json.loads(resumed.stdout)["state"] == "running"
        site.until(lambda s: any(t["signal"] == "sending" for t in s["targets"]), 10)
        assert site.cli("exercise", "stop", name).returncode == 0
        # somebody drives past meanwhile: what a pad felt while it was armed is fetched, then nothing more is felt
        site.until(lambda s: not any(t["armed"] for t in s["targets"]), 15)
        time.sleep(1.5)
        assert site.terminate() == 0
        truth = site.end()
    with Reader.read(tmp_path / "site" / "ledger.sqlite") as reader:
        cuts = [f for f in reader.facts(kinds=(ExerciseInterrupted,)) if isinstance(f, ExerciseInterrupted)]
        recorded = Counter((f.target, f.boot, f.number) for f in reader.facts(kinds=(StrikeRecorded,)))  # type: ignore[attr-defined]
    assert ["away" in cut.why for cut in cuts] == [True]
    assert recorded == Counter((t, boot, n) for t, said in truth.items() for boot, n, _ in said["made"])
    spans = [(t, begin, end) for t, said in truth.items() for begin, end in said["sent"]]
    assert {t for t, begin, _ in spans if begin < killed} == set(sending)
    assert any(begin > pressed for _, begin, _ in spans)
    assert not [s for s in spans if s[1] < pressed and s[2] > killed + GRANT_S * 1_000_000]  # quiet by itself, and so
    assert max(said["past_grant_us"] for said in truth.values() if said["sent"]) <= 0

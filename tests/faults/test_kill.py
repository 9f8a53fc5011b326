"""SIGKILL of a real serve, ten times in an exercise, targets in another process: nothing lost, nothing past a grant."""

from __future__ import annotations

import json
import time
from pathlib import Path
from random import Random

import pytest
from served import served

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
        for _ in range(KILLS):
            time.sleep(rng.uniform(0.2, 2.5))
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
            recorded = {(f.target, f.boot, f.number): f for f in reader.facts(kinds=(StrikeRecorded,))}  # type: ignore[attr-defined]
            assert verify(reader).ok
            # no gap was longer than a grant, so it went on by itself each time
            assert not list(reader.facts(kinds=(ExerciseInterrupted,)))
        made = {(t, boot, n): us for t, said in truth.items() for boot, n, us in said["made"]}
        assert made.keys() == recorded.keys()
        assert all(abs(made[k] - f.at.at.us) <= f.at.plus_minus_us for k, f in recorded.items())  # type: ignore[attr-defined]
        assert max(said["past_grant_us"] for said in truth.values() if said["sent"]) <= 0
        assert done["state"] == "complete"

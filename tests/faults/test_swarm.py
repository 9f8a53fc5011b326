"""The command that shakes the whole field: its contract, and that whatever broke is shrunk to a script."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from planted import sends_past_its_grant

from sims.plan import EVENTS, Plan, draw
from sims.shrink import shrink
from sims.swarm import run, twice

FIELDCTL = Path(sys.executable).parent / "fieldctl"
SEEDS = "0:3000" if os.environ.get("FIELDCTL_TESTS_LONG") == "1" else "0:300"


@pytest.mark.timeout(0 if os.environ.get("FIELDCTL_TESTS_LONG") == "1" else 600)
def test_the_command_over_many_seeds() -> None:
    done = subprocess.run(
        [FIELDCTL, "sim", "faults", "--seeds", SEEDS, "--json"], capture_output=True, text=True, check=False
    )
    row = json.loads(done.stdout)
    assert row["broken"] == [], done.stderr[-3000:]
    assert row["lost_strikes"] == 0
    assert row["past_grant_ms_max"] <= 0
    assert row["same_trace_twice"] is True
    assert row["never_struck"] == []
    assert set(EVENTS) <= set(row["struck"])
    assert row["seeds"] == SEEDS
    assert done.returncode == 0


def test_a_seed_is_the_same_run_in_another_process() -> None:
    code = "from sims.swarm import run; from sims.plan import draw; print(run(draw(12)).trace)"
    said = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONHASHSEED": "77"},
    )
    outcome, repeats = twice(12)
    assert repeats
    assert said.stdout.strip() == outcome.trace


def test_a_broken_promise_is_shrunk_to_a_script_that_can_be_run(monkeypatch: pytest.MonkeyPatch) -> None:
    sends_past_its_grant(monkeypatch)
    seed = next(s for s in range(100) if run(draw(s)).broken)
    text = shrink(seed)
    code, _, found = text.partition("# breaks: ")
    assert "nothing sends past its grant" in found
    from sims.network import Weather
    from sims.plan import Happening

    plan = eval(code, {"Plan": Plan, "Happening": Happening, "Weather": Weather})
    assert len(plan.script) <= len(draw(seed).script)
    assert "nothing sends past its grant" in {name for name, _ in run(plan).broken}


def test_a_range_that_is_none() -> None:
    done = subprocess.run([FIELDCTL, "sim", "faults", "--seeds", "x"], capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "FROM:TO" in done.stderr

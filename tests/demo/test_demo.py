"""`fieldctl demo` as a new user runs it: its contract, over a real pseudo-terminal and a real Mosquitto."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

FIELDCTL = Path(sys.executable).parent / "fieldctl"


@pytest.mark.timeout(240)
def test_the_headless_demo_keeps_its_contract(tmp_path: Path) -> None:
    done = subprocess.run(
        [FIELDCTL, "demo", "--headless", "--json", "--seed", "7", "--keep", str(tmp_path / "kept")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    row = json.loads(done.stdout)
    assert row["schema"] == 1
    exercise = row["exercise"]
    assert {"id", "drill", "state", "burials"} <= set(exercise)
    assert exercise["state"] == "complete"
    assert len(exercise["burials"]) == 3
    for b in exercise["burials"]:
        assert set(b) == {
            "burial", "target", "link", "sent_from_s", "found_at_s", "plus_minus_ms", "searcher",
        }  # fmt: skip
        assert b["sent_from_s"] < b["found_at_s"]
        assert b["searcher"] == "Mira"
    assert {b["link"] for b in exercise["burials"]} == {"serial", "mqtt"}
    first, second = exercise["burials"][:2]
    assert second["sent_from_s"] > first["found_at_s"]  # switched on by the first find
    strikes = row["strikes"]
    assert strikes["lost"] == 0
    assert strikes["made"] == strikes["recorded"] == sum(strikes["taken_for"].values())
    assert strikes["taken_for"]["probe"] == 3
    assert strikes["taken_for"].keys() >= {"step", "vehicle"}
    assert row["stamps"]["outside"] == 0
    for kind, limit_ms in (("serial", 2.0), ("mqtt", 15.0)):
        found = row["stamps"]["plus_minus_ms"][kind]
        assert 0 < found["p50"] <= found["max"] <= limit_ms
    assert len(row["all_off"]["confirmed"]) == 12
    assert row["all_off"]["unconfirmed"] == []
    assert row["all_off"]["took_s"] > 0
    kept = [FIELDCTL, "ledger", "replay", "--json", "--site", str(tmp_path / "kept")]
    again = json.loads(subprocess.run(kept, capture_output=True, text=True, check=True).stdout)
    replayed = {b["burial"]: b["found_at_s"] for b in again["exercises"][0]["burials"]}
    assert replayed == {b["burial"]: b["found_at_s"] for b in exercise["burials"]}
    assert again["stamps_that_differ"] == []

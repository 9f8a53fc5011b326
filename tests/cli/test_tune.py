"""fieldctl target tune reads the log, and changes nothing until told to."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from typer.testing import CliRunner

from fieldctl.cli.main import app
from fieldctl.cli.outside import ledger_path
from fieldctl.drill.files import plan_to_mapping
from fieldctl.drill.plan import Burial, Drill
from fieldctl.errors import FieldctlError, NotFound
from fieldctl.events import Corrected, ExerciseStarted, StrikeRecorded, TargetTuned
from fieldctl.ledger.store import Ledger
from fieldctl.units import BootId, HostTime, NodeTicks, PersonId, Stamp, TargetId

SITE = """
name = "invented"
title = "An invented field"

[[zone]]
name = "upper"

[[target]]
id = "5ee00001"
name = "Larch 1"
zone = "upper"
x_m = 1.0
y_m = 2.0
depth_m = 1.0
"""


@pytest.fixture
def site(tmp_path):
    """A site whose log holds 20 probes and two faint touches at one pad, and one touch at another."""
    (tmp_path / "site.toml").write_text(SITE)
    with Ledger.open(ledger_path(tmp_path), inline=True, who="a test") as ledger:
        peaks = [(f"{t}", peak, kind) for t, peak, kind in (("5ee00001", 75, "unsure"), ("5ee00001", 90, "unsure"))]
        peaks += [("5ee00001", 400 + n, "probe") for n in range(20)] + [("5ee00002", 300, "probe")]
        facts = [
            StrikeRecorded(
                TargetId(target),
                BootId(1),
                n,
                NodeTicks(n),
                Stamp(HostTime("boot", n), 5),
                (peak, 1000, 9000, 200, 5, 0, 0),
                kind,
                "a rule",
                None,
                None,
                "bus",
            )
            for n, (target, peak, kind) in enumerate(peaks)
        ]
        ledger.append(facts, at=HostTime("boot", 99))
    return tmp_path


def run(*words: object):
    return CliRunner().invoke(app, ["target", "tune", *map(str, words)])


def test_it_proposes_shows_and_changes_nothing(site) -> None:
    before = ledger_path(site).read_bytes()
    said = run("--site", site, "--json")
    assert said.exit_code == 0, said.output
    first, second = json.loads(said.stdout)["targets"]
    assert (first["target"], first["threshold"]) == ("5ee00001", 200)
    assert first["effects"][-1] == {
        "threshold": 200,
        "stored": {"unsure": 2, "probe": 20},
        "not_begun": {"unsure": 2, "probe": 0},
    }
    assert (second["threshold"], len(second["effects"])) == (70, 1)
    assert ledger_path(site).read_bytes() == before


def test_for_people_and_for_one(site) -> None:
    said = run("5ee00002", "--site", site)
    assert said.exit_code == 0, said.output
    assert "5ee00002" in said.output
    assert "5ee00001" not in said.output
    assert "too few to tell" in said.output
    assert "Nothing was changed" in said.output
    assert "its own" in said.output


def test_by_name_and_what_is_in_force(site) -> None:
    with Ledger.open(ledger_path(site), inline=True, who="a test") as ledger:
        tuned = TargetTuned(TargetId("5ee00001"), 120, PersonId("p1"), HostTime("boot", 200))
        ledger.append([tuned], at=HostTime("boot", 200))
    (row,) = json.loads(run("larch 1", "--site", site, "--json").stdout)["targets"]
    assert (row["target"], row["name"], row["in_force"]) == ("5ee00001", "Larch 1", 120)


def test_of_nobody_it_says_so_with_the_code_for_it(site) -> None:
    said = run("nobody", "--site", site, "--json")
    assert isinstance(said.exception, NotFound)
    assert (said.stdout, said.exception.exit_code) == ("", 4)
    assert said.exception.expected == "5ee00001 (Larch 1), 5ee00002 (-)"


def test_a_target_that_has_told_of_no_strike_yet_is_there(site) -> None:
    (site / "site.toml").write_text(SITE + SITE[SITE.index("[[target]]") :].replace("1", "4"))
    (row,) = json.loads(run("Larch 4", "--site", site, "--json").stdout)["targets"]
    assert (row["target"], row["threshold"], row["effects"][0]["stored"]) == ("5ee00004", 70, {})
    assert "0 strikes taken for probes are too few" in row["why"]


PLAN = plan_to_mapping(Drill("larch", "Larch Hollow, invented", 600.0, (Burial("A"),)))
JUDGEMENTS = {
    "void": ({"probe": 20, "unsure": 2, "void": 1}, 200),
    "judge": ({"probe": 20, "step": 1, "unsure": 2}, 200),
    "merge": ({"merged": 1, "probe": 21, "unsure": 2}, 200),
    "undone": ({"probe": 21, "unsure": 2}, 70),
}


@pytest.mark.parametrize("change", JUDGEMENTS)
def test_it_believes_people_before_the_table(site, change) -> None:
    """A touch of 15 × the noise, taken for a probe, would hold the threshold down, had nobody judged it."""
    stamp = Stamp(HostTime("boot", 1000), 5)
    started = ExerciseStarted("x1", "larch", PLAN, 7, {"A": TargetId("5ee00001")}, ("Ida",), PersonId("p1"), stamp)
    touch = StrikeRecorded(
        TargetId("5ee00001"), BootId(1), 99, NodeTicks(99), stamp, (150, 1000, 9000, 200, 5, 0, 0), "probe", "a rule",
        "x1", "A", "bus",
    )  # fmt: skip
    value = {"judge": "step", "merge": "5ee00001-1-98"}.get(change)
    first = Corrected("x1", "c1", "void" if change == "undone" else change, "5ee00001-1-99", PersonId("p1"), "a foot",
                      HostTime("boot", 2000), value, 1)  # fmt: skip
    undo = Corrected("x1", "c2", "undo", "c1", PersonId("p1"), "no", HostTime("boot", 3000), None, 2)
    other = replace(touch, number=98, features=(400, 1000, 9000, 200, 5, 0, 0), at=Stamp(HostTime("boot", 1001), 5))
    facts = [started, touch, *([other] if change == "merge" else []), first, *([undo] if change == "undone" else [])]
    with Ledger.open(ledger_path(site), inline=True, who="a test") as ledger:
        ledger.append(facts, at=HostTime("boot", 4000))
    (row,) = json.loads(run("5ee00001", "--site", site, "--json").stdout)["targets"]
    stored, proposed = JUDGEMENTS[change]
    assert (row["effects"][0]["stored"], row["threshold"]) == (stored, proposed)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--proposed",), "not clear what to change"),
        (("Larch 1", "--own", "--set", "9"), "not clear what to change"),
        (("5ee00002", "--proposed"), "Nothing is proposed"),
        (("5ee00003", "--proposed"), "There is no target '5ee00003'"),
        (("Larch 1", "--set", "nan"), "nan × the noise is no threshold"),
        (("Larch 1", "--set", "1e400"), "inf × the noise is no threshold"),
        (("Larch 1", "--set", "1e300"), "1e+300 × the noise is no threshold"),
        (("Larch 1", "--set", "0.01"), "0.01 × the noise is no threshold"),
        (("Larch 1", "--set", "-9"), "-9 × the noise is no threshold"),
    ],
)
def test_told_wrongly_it_changes_nothing(site, words, says) -> None:
    before = ledger_path(site).read_bytes()
    said = run(*words, "--site", site)
    assert isinstance(said.exception, FieldctlError)
    assert says in str(said.exception)
    assert ledger_path(site).read_bytes() == before


def test_setting_needs_the_one_who_arms(site) -> None:
    said = run("Larch 1", "--proposed", "--site", site)
    assert "fieldctl serve" in f"{said.exception} {getattr(said.exception, 'remedy', '')}"

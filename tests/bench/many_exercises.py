"""A ledger of many exercises, made fast: invented winters of an invented field, for benches and tests of the season.

    build(path, exercises=10_000, seed=1) -> Built

The entries are spelled and chained as the ledger does it (`verify` holds), in one transaction and without a controller.
A body is made once a kind by the ledger's own codec, with marks in the place of what differs; 10 000 exercises take
seconds. What the invented people are slow at is known (`Truth`), so that a test can ask whether a season book finds it.

Larch Hollow, its people and their times are invented.
"""

from __future__ import annotations

import datetime
import json
import math
import sqlite3
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any

from fieldctl import __version__
from fieldctl.drill.files import plan_to_mapping
from fieldctl.drill.plan import Apart, Burial, Drill, Signal
from fieldctl.events import (
    CallMade,
    Corrected,
    ExerciseEnded,
    ExerciseStarted,
    Fact,
    GrantEnded,
    GrantGiven,
    SignalDue,
    SignalOff,
    SignalOn,
    SplitMade,
    StrikeRecorded,
)
from fieldctl.ledger.chain import entry_hash
from fieldctl.ledger.codec import encode
from fieldctl.ledger.entry import GENESIS
from fieldctl.ledger.store import Ledger
from fieldctl.units import BootId, HostTime, NodeTicks, PersonId, Stamp, TargetId, micros

NICKNAMES = ("Mira", "Tove", "Jon", "Ansel", "Runa", "Odd", "Siv", "Bo", "Kaia", "Leif", "Nilo", "Una")
FIRST_DAY = datetime.date(2025, 12, 1)
EXERCISES_A_DAY = 20
LIMIT_S = 900.0
DRILLS = (
    Drill("one-burial", "One burial", LIMIT_S, (Burial("A", zone="upper"),)),
    Drill(
        "three-in-sequence",
        "Three, one after the other",
        LIMIT_S,
        (
            Burial("A"),
            Burial("B", Signal("after-find", 0.0, "A")),
            Burial("C", Signal("after-find", 0.0, "B"), find="call"),
        ),
    ),
    Drill("close-pair", "Two close together", LIMIT_S, (Burial("A"), Burial("B", apart=(Apart("A", 2, 10),)))),
    Drill("two-at-once", "Two far apart", LIMIT_S, (Burial("A"), Burial("B", apart=(Apart("A", 20, 60),)))),
)


@dataclass(frozen=True, slots=True)
class Truth:
    """What is so in the invented field: a burial takes this many times as long, and people become this much quicker."""

    base_s: float = 150.0
    deep: float = 1.6  # 1.3 m and deeper
    close: float = 1.5  # another signal within 15 m, not yet found
    later: float = 1.2  # second and later finds
    spread: float = 0.45  # of the natural logarithm of a time
    quicker_a_winter: float = 0.7  # times at the end of the ledger against its beginning
    never: float = 0.04  # burials that nobody finds
    voided: float = 0.02  # finds that were voided and made again by hand


USUAL = Truth()


@dataclass(frozen=True, slots=True)
class Built:
    """What was made: the file, how many entries, the people by id, the places by target."""

    path: Path
    exercises: int
    entries: int
    people: Mapping[PersonId, str]
    places: Mapping[TargetId, Mapping[str, Any]]


class Shape:
    """The body of a kind of fact, with marks that are filled in later."""

    def __init__(self, fact: Fact, marks: Mapping[str, str]) -> None:
        self.kind = type(fact).__name__
        text = encode(fact).replace("{", "{{").replace("}", "}}")
        for mark, name in marks.items():
            assert mark in text, f"{self.kind} has no {mark}"
            text = text.replace(mark, "{" + name + "}")
        self.fill = text.format


EXERCISE, BURIAL, TARGET, WHO, BOOT, NAME = "@exercise@", "@burial@", "@target@", "@who@", "@boot@", "@name@"
AT, GRANT, NUMBER, LIMIT, PM = 910_000_001, 910_000_002, 910_000_003, 910_000_004, 910_000_005
MARKS = {
    EXERCISE: "exercise", BURIAL: "burial", TARGET: "target", WHO: "who", BOOT: "boot", NAME: "name", str(AT): "at",
    str(GRANT): "grant", str(NUMBER): "number", str(LIMIT): "limit", str(PM): "pm",
}  # fmt: skip


def _shape(fact: Fact) -> Shape:
    text = encode(fact)
    return Shape(fact, {mark: name for mark, name in MARKS.items() if mark in text})


def _shapes() -> dict[str, Shape]:
    at, limit, target, who = HostTime(BOOT, AT), HostTime(BOOT, LIMIT), TargetId(TARGET), PersonId(WHO)
    stamp, ticks, tap = Stamp(at, PM), NodeTicks(AT), Stamp(at, 1_000_000)
    made: tuple[Fact, ...] = (
        SignalDue(EXERCISE, BURIAL, at, "start"),
        GrantGiven(
            GRANT, target, "exercise", EXERCISE, BURIAL, BootId(3), ticks, ticks, ticks, limit, 1000, 100, 100, 1, 1
        ),
        SignalOn(EXERCISE, BURIAL, target, GRANT, stamp),
        StrikeRecorded(
            target, BootId(3), NUMBER, ticks, stamp, (900, 12, 40, 3), "probe", "one sharp pulse", EXERCISE, BURIAL,
            "bus",
        ),
        CallMade(EXERCISE, NAME, BURIAL, WHO, tap, who),
        SplitMade(EXERCISE, NAME, "signal", BURIAL, tap, who),
        SignalOff(EXERCISE, BURIAL, target, GRANT, stamp, "stopped"),
        GrantEnded(GRANT, target, "stopped", at),
        Corrected(EXERCISE, NAME, "void", "@about@", who, "seen from the side", at, None, 1),
        ExerciseEnded(EXERCISE, NAME, who, at),
    )  # fmt: skip
    shapes = {type(fact).__name__: _shape(fact) for fact in made}
    void = made[8]
    shapes["Corrected"] = Shape(void, {**{m: n for m, n in MARKS.items() if m in encode(void)}, "@about@": "about"})
    return shapes


def _starts() -> dict[str, Shape]:
    """The body of a start of each drill; searchers, picks and conditions are filled in as JSON."""
    shapes = {}
    for drill in DRILLS:
        start = Stamp(HostTime(BOOT, AT), 0)
        conditions = {"@conditions@": 1}
        picks = {"@picks@": TargetId("1")}
        fact = ExerciseStarted(
            EXERCISE, drill.name, plan_to_mapping(drill), 7, picks, ("@searchers@",), PersonId(WHO), start, conditions
        )
        text = encode(fact)
        marks = {mark: name for mark, name in MARKS.items() if mark in text}
        marks |= {'{{"@conditions@":1}}': "conditions", '{{"@picks@":"1"}}': "picks", '["@searchers@"]': "searchers"}
        shapes[drill.name] = Shape(fact, marks)
    return shapes


Row = tuple[int, str, str | None, str | None, str, int, str, str, str, str]


class _Writer:
    """Rows in the order in which they happened, chained as they come."""

    def __init__(self) -> None:
        self.rows: list[Row] = []
        self.strikes: list[tuple[str, int, int, int]] = []
        self.seq, self.hash = 0, GENESIS

    def put(self, kind: str, exercise: str | None, target: str | None, boot: str, at: int, wall: str, body: str) -> int:
        prev, self.seq = self.hash, self.seq + 1
        self.hash = entry_hash(prev, self.seq, kind, boot, at, wall, body)
        self.rows.append((self.seq, kind, exercise, target, boot, at, wall, body, prev, self.hash))
        return self.seq


def places_of(rng: Random, count: int = 24) -> dict[TargetId, dict[str, Any]]:
    """Where the invented targets lie: pairs close together, some deep."""
    places: dict[TargetId, dict[str, Any]] = {}
    for n in range(count):
        pair = n // 2
        x, y = 20.0 * (pair % 6), 40.0 * (pair // 6)
        if n % 2:
            x += 6.0
        places[TargetId(f"5ee0{n + 1:04x}")] = {
            "x_m": x,
            "y_m": y,
            "depth_m": round(rng.choice((0.6, 0.8, 1.0, 1.1, 1.4, 1.6)), 2),
            "azimuth_deg": float(rng.randrange(0, 180, 5)),
            "tilt_deg": float(rng.choice((0, 30, 60, 90))),
            "struck": rng.randrange(4),
        }
    return places


def build(
    path: Path, exercises: int = 10_000, *, seed: int = 1, people: int = 60, truth: Truth = USUAL, named: bool = True
) -> Built:
    """Write a new ledger at `path` (or fail where there is one); the same seed gives the same ledger."""
    rng = Random(seed)
    places = places_of(rng)
    who = {
        PersonId(f"p-{n + 1:04d}"): f"{NICKNAMES[n % len(NICKNAMES)]} {n // len(NICKNAMES) + 1}" for n in range(people)
    }
    skill = {person: math.exp(rng.gauss(0, 0.3)) for person in who}
    writer = _Writer()
    story = _Story(writer, rng, places, list(who), skill, truth, exercises)
    for n in range(exercises):
        story.one(n)
    _write(path, writer, who if named else {})
    return Built(path, exercises, writer.seq, who, places)


def _write(path: Path, writer: _Writer, people: Mapping[PersonId, str]) -> None:
    assert not path.exists(), f"{path} is there already"
    Ledger.open(path, inline=True, durable=False).close()
    raw = sqlite3.connect(path, isolation_level=None)
    raw.execute("PRAGMA synchronous=OFF")
    raw.execute("BEGIN")
    raw.executemany("INSERT INTO entries VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", writer.rows)
    raw.executemany("INSERT INTO strikes VALUES (?, ?, ?, ?)", writer.strikes)
    raw.executemany("INSERT INTO people (id, name) VALUES (?, ?)", people.items())
    raw.execute("COMMIT")
    raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    raw.close()


class _Story:
    """One exercise after the other, twenty a day, each day a host boot of its own."""

    def __init__(
        self,
        writer: _Writer,
        rng: Random,
        places: Mapping[TargetId, Mapping[str, Any]],
        people: Sequence[PersonId],
        skill: Mapping[PersonId, float],
        truth: Truth,
        exercises: int,
    ) -> None:
        self.writer, self.rng, self.places, self.people, self.skill = writer, rng, places, people, skill
        self.truth, self.exercises = truth, exercises
        self.shapes, self.starts = _shapes(), _starts()
        self.grant = self.number = 0

    def one(self, n: int) -> None:
        """Exercise number n."""
        rng, day = self.rng, n // EXERCISES_A_DAY
        drill = DRILLS[rng.randrange(len(DRILLS))]
        boot, name = f"boot-{day:04d}", f"x{n + 1}"
        start = 60_000_000 + (n % EXERCISES_A_DAY) * 1_200_000_000
        when = datetime.datetime.combine(FIRST_DAY + datetime.timedelta(days=day), datetime.time(8), datetime.UTC)
        begun = when + datetime.timedelta(seconds=(n % EXERCISES_A_DAY) * 1200)
        team = tuple(rng.sample(self.people, 1 if rng.random() < 0.6 else 2))
        picks = self._picks(drill)
        conditions = {
            "version": __version__,
            "snow_m": 2.0,
            "places": {b: dict(self.places[t]) for b, t in picks.items()},
            "request": "",
        }
        body = self.starts[drill.name].fill(
            exercise=name,
            who=team[0],
            boot=boot,
            at=start,
            searchers=_json(team),
            picks=_json(picks),
            conditions=_json(conditions),
        )
        events = sorted(self._events(drill, name, boot, start, team, picks, n), key=lambda row: row[0])
        last = events[-1][0] if events else start
        found_all = all(kind != "missed" for _, kind, *_ in events)
        events = [row for row in events if row[1] != "missed"]
        how = "complete" if found_all else "time-up"
        end = last + 500_000 if found_all else start + micros(LIMIT_S)
        self._put("ExerciseStarted", name, None, boot, start - 2_000_000, begun, body, start)
        for at, kind, target, filled in events:
            seq = self._put(kind, name if kind != "GrantEnded" else None, target, boot, at, begun, filled, start)
            if kind == "StrikeRecorded":
                self.writer.strikes.append((str(target), 3, json.loads(filled)["number"], seq))
        for grant, burial, target in self._open:
            fill = {
                "boot": boot,
                "at": end,
                "grant": grant,
                "target": target,
                "exercise": name,
                "burial": burial,
                "pm": 900,
            }
            off, over = self.shapes["SignalOff"], self.shapes["GrantEnded"]
            self._put("SignalOff", name, target, boot, end, begun, off.fill(**fill), start)
            self._put("GrantEnded", None, target, boot, end, begun, over.fill(**fill), start)
        ended = self.shapes["ExerciseEnded"].fill(exercise=name, name=how, who="field", boot=boot, at=end)
        self._put("ExerciseEnded", name, None, boot, end, begun, ended, start)

    def _put(
        self, kind: str, exercise: str | None, target: str | None, boot: str, at: int, begun: Any, body: str, start: int
    ) -> int:
        wall = begun + datetime.timedelta(microseconds=at - start)
        text = wall.isoformat(timespec="milliseconds").replace("+00:00", "Z")
        return self.writer.put(kind, exercise, target, boot, at, text, body)

    def _picks(self, drill: Drill) -> dict[str, TargetId]:
        targets = list(self.places)
        pair = 2 * self.rng.randrange(len(targets) // 2)
        if drill.name == "close-pair":
            return {"A": targets[pair], "B": targets[pair + 1]}
        chosen = [targets[(pair + 2 * step) % len(targets)] for step in range(len(drill.burials))]
        return {b.name: target for b, target in zip(drill.burials, chosen, strict=True)}

    def _events(
        self,
        drill: Drill,
        name: str,
        boot: str,
        start: int,
        team: Sequence[PersonId],
        picks: Mapping[str, TargetId],
        n: int,
    ) -> Iterator[tuple[int, str, str | None, str]]:
        rng, truth, shapes = self.rng, self.truth, self.shapes
        quicker = truth.quicker_a_winter ** (n / max(1, self.exercises))
        best = min(self.skill[person] for person in team)
        self._open: list[tuple[int, str, TargetId]] = []
        clock_s, on_s, missed = 0.0, 0.0, False
        for order, burial in enumerate(drill.burials):
            if missed and burial.signal.kind == "after-find":
                yield start + micros(LIMIT_S), "missed", None, ""
                continue
            target, place = picks[burial.name], self.places[picks[burial.name]]
            self.grant += 1
            on_us = start + micros(on_s if burial.signal.kind == "after-find" else 0.1)
            base = {
                "exercise": name,
                "burial": burial.name,
                "target": target,
                "boot": boot,
                "grant": self.grant,
                "pm": 900,
            }
            limit = start + micros(LIMIT_S)
            yield on_us - 2000, "SignalDue", None, shapes["SignalDue"].fill(**base, at=on_us)
            yield on_us - 1000, "GrantGiven", target, shapes["GrantGiven"].fill(**base, at=on_us, limit=limit)
            yield on_us, "SignalOn", target, shapes["SignalOn"].fill(**base, at=on_us)
            self._open.append((self.grant, burial.name, target))
            took = truth.base_s * best * quicker * math.exp(rng.gauss(0, truth.spread))
            took *= truth.deep if place["depth_m"] >= 1.3 else 1.0
            took *= truth.close if drill.name == "close-pair" and order == 0 else 1.0
            took *= truth.later if order else 1.0
            if rng.random() < truth.never or clock_s + took > LIMIT_S - 5:
                missed = True
                yield start + micros(LIMIT_S), "missed", None, ""
                continue
            hit = start + micros(clock_s + took)
            tap = {"exercise": name, "burial": burial.name, "boot": boot, "who": team[0]}
            self.number += 1
            yield hit, "StrikeRecorded", target, shapes["StrikeRecorded"].fill(**base, at=hit, number=self.number)
            if rng.random() < truth.voided:
                about = f"{target}-3-{self.number}"
                made = shapes["Corrected"].fill(**tap, name=f"{name}-c{order}", about=about, at=hit + 14_000_000)
                yield hit + 14_000_000, "Corrected", None, made
                self.number += 1
                took += 30
                hit += 30_000_000
                yield hit, "StrikeRecorded", target, shapes["StrikeRecorded"].fill(**base, at=hit, number=self.number)
            for share, split in ((0.3, "signal"), (0.6, "coarse"), (0.8, "fine")):
                at = start + micros(clock_s + share * took)
                made = shapes["SplitMade"].fill(**tap, name=f"{name}-{split}-{order}", at=at)
                yield at, "SplitMade", None, made.replace('"name":"signal"', f'"name":"{split}"')
            called = hit + micros(rng.uniform(1, 9))
            yield called, "CallMade", None, shapes["CallMade"].fill(**tap, name=f"{name}-call-{order}", at=called)
            clock_s += took
            if burial.find == "call":
                clock_s = (called - start) / 1e6
            on_s = clock_s + 0.4


def _json(value: Any) -> str:
    return json.dumps(value, sort_keys=True, separators=(",", ":"))


if __name__ == "__main__":
    began = time.perf_counter()
    made = build(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 10_000)
    print(f"{made.exercises} exercises, {made.entries} entries in {time.perf_counter() - began:.1f} s: {made.path}")

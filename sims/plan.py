"""What one seed decides: the field, the weather, and a script of things that go wrong, all drawn before anything runs.

A plan is a value: it can be printed, shrunk and run again. Some seeds leave whole classes of faults out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from random import Random

from fieldctl.units import US_PER_S
from sims.network import Weather

EVENTS = (
    "kill",  # the controller, with -9
    "terminate",  # the controller, politely
    "host-reboot",
    "wall-back",  # the wall clock is set back an hour
    "unplug",  # the adapter of the bus
    "branch-cut",  # the cable to one target
    "broker-stop",
    "air-drop",  # one target's connection
    "link-drop",  # the controller's connection to the broker
    "reboot",  # one target, by its watchdog
    "power-cut",  # one target, for some seconds
    "write-cut",  # one target's power, in the middle of a write
    "die",
    "clock-jump",
    "gate-stuck",
    "gate-lies",
    "repeats-numbers",
    "foreign-address",
    "twin",  # a second unit with the same id and keys
    "retained",  # a broker that retains orders
    "disk-full",
    "all-off",
    "stop-exercise",
    "void",
)
"""Every kind of thing that goes wrong, or that people do in the worst moment."""

RARE = {"die", "gate-stuck", "gate-lies", "repeats-numbers", "foreign-address", "twin", "disk-full", "host-reboot"}
DAMAGE_S = (60, 180)
FULL_S = 900
FULL_ONE_IN = 20
CALM_S = 150  # one lease, the longest backoff of a link, and an exercise


@dataclass(frozen=True, slots=True)
class Happening:
    """One thing of the script: when (µs of true time), what, to which target (index), and an amount in 0..1."""

    at_us: int
    kind: str
    who: int
    amount: float


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything that a seed decides."""

    seed: int
    serial: int
    air: int
    grant_s: int
    damage_us: int
    weather: Weather
    script: tuple[Happening, ...]

    def without(self, *, kind: str = "", index: int = -1) -> Plan:
        """The plan without a class of happenings, or without one happening."""
        kept = tuple(h for i, h in enumerate(self.script) if h.kind != kind and i != index)
        return replace(self, script=kept)


def draw(seed: int) -> Plan:
    """The plan of a seed."""
    rng = Random(f"fieldctl plan {seed}")
    serial, air = rng.randrange(1, 7), rng.choice((0, 0, 0, 1, 2))
    if serial + air < 2:
        serial = 2
    full = seed % FULL_ONE_IN == FULL_ONE_IN - 1
    damage_us = (FULL_S if full else rng.randrange(*DAMAGE_S)) * US_PER_S
    kinds = [k for k in EVENTS if rng.random() < (0.25 if k in RARE else 0.6)]
    count = rng.randrange(2, 9) + (4 if full else 0)
    script = []
    for _ in range(count if kinds else 0):
        kind = rng.choice(kinds)
        at = rng.randrange(8 * US_PER_S, damage_us)
        script.append(Happening(at, kind, rng.randrange(serial + air), rng.random()))
    script.sort(key=lambda h: (h.at_us, h.kind, h.who))
    return Plan(seed, serial, air, rng.choice((8, 12, 20, 30)), damage_us, _weather(rng), tuple(script))


def _weather(rng: Random) -> Weather:
    """Some seeds have none of one sort, a few have none at all."""
    if rng.random() < 0.15:
        return Weather()

    def share(most: float) -> float:
        return rng.random() * most if rng.random() < 0.6 else 0.0

    return Weather(
        loss=share(0.25),
        corrupt=share(0.1),
        truncate=share(0.05),
        duplicate=share(0.2),
        reorder=share(0.2),
        junk=share(0.05),
        delay=share(0.2),
    )


def as_script(plan: Plan) -> str:
    """The plan as a few lines that a test can hold."""
    lines = [
        f"Plan(seed={plan.seed}, serial={plan.serial}, air={plan.air}, grant_s={plan.grant_s}, "
        f"damage_us={plan.damage_us}, weather={plan.weather!r}, script=("
    ]
    lines += [f"    {h!r}," for h in plan.script]
    return "\n".join([*lines, "))"])

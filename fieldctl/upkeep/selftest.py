"""The self-test before the season: what each target can be seen to do, check by check, each in words.

    judge(seen) -> {check: "good" | "bad" | "open"}     what is seen now
    fold(facts) -> Round                                what was kept of the latest round

Two checks are proofs that somebody walked for: the pad by a touch, and the transmitter by a receiver while the target
sends under a grant to find it. What was proved once counts for the whole round; the others count as they were seen
last. A new round begins a new season.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal, get_args

from fieldctl.events import Fact, SelfTested, SendingHeard
from fieldctl.site.model import Battery
from fieldctl.units import TargetId
from fieldctl.upkeep.curves import CELLS
from fieldctl.upkeep.readings import COLDEST_C, HOTTEST_C, LEAST_OF_END

Check = Literal["heard", "greeting", "abilities", "gate", "clock", "battery", "noise", "pad", "receiver"]
Result = Literal["good", "bad", "open"]

CHECKS: tuple[Check, ...] = get_args(Check)
PROOFS: frozenset[Check] = frozenset(("pad", "receiver"))
KINDS = (SelfTested, SendingHeard)
"""What a self-test is folded from."""

REPORT_S = 300.0  # a battery report older than that says nothing of today
LOAD_MOST_OF_REST = 1.02  # under load a battery has no more volts than at rest, save for the last digit
UNKNOWN_V = (0.5, 30.0)  # where nobody said what battery is in it: what any board could run on
NOISE = (
    1.0,
    4000.0,
)  # units of the pad's converter: none at all is a pad that is not connected, more is one that drowns


@dataclass(frozen=True, slots=True)
class Seen:
    """What the field sees of one target now; None where it was not told."""

    heard: bool
    greeted: bool = False
    sends: bool = False  # has a transmitter
    feels: bool = False  # has a pad
    gate_off: bool | None = None
    clock_us: int | None = None
    clock_most_us: int = 0
    report_age_s: float | None = None
    rest_v: float = 0.0
    load_v: float = 0.0
    celsius: float = 0.0
    noise: float = 0.0
    battery: Battery | None = None
    touched: bool = False
    is_post: bool = False  # its button is proved by a press; it has no pad and sends nothing


def judge(seen: Seen) -> dict[str, str]:
    """Every check that a target of its kind needs; "open" where nothing can be said yet."""
    made: dict[str, str] = {"heard": "good" if seen.heard else "bad"}
    if not seen.heard:
        made.update(dict.fromkeys(("greeting", "abilities", "gate", "clock", "battery", "noise"), "open"))
    else:
        made["greeting"] = "good" if seen.greeted else "open"
        made["abilities"] = "open" if not seen.greeted else _of(seen.is_post or (seen.sends and seen.feels))
        made["gate"] = "open" if seen.gate_off is None else _of(seen.gate_off)
        made["clock"] = "open" if seen.clock_us is None else _of(seen.clock_us <= seen.clock_most_us)
        fresh = seen.report_age_s is not None and seen.report_age_s <= REPORT_S
        made["battery"] = _of(_plausible(seen)) if fresh else "open"
        made["noise"] = _of(NOISE[0] <= seen.noise <= NOISE[1]) if fresh else "open"
    made["pad"] = "good" if seen.touched else "open"
    if seen.is_post:
        made.pop("noise")
    else:
        made["receiver"] = "open"
    return made


def _of(right: bool) -> Result:
    return "good" if right else "bad"


def _plausible(seen: Seen) -> bool:
    """Whether volts and temperature can be those of the battery that is said to be in it."""
    least, most = UNKNOWN_V
    if seen.battery is not None:
        cell = CELLS[seen.battery.chemistry]
        least, most = LEAST_OF_END * cell.end_v * seen.battery.cells, cell.hottest_v * seen.battery.cells
    return (
        least <= seen.rest_v <= most
        and 0 < seen.load_v <= seen.rest_v * LOAD_MOST_OF_REST
        and COLDEST_C <= seen.celsius <= HOTTEST_C
    )


@dataclass(frozen=True, slots=True)
class Standing:
    """What is kept of one target in a round: each check, and the day of the last test and of the receiver's proof."""

    checks: Mapping[str, str]
    day: str
    heard_sending: SendingHeard | None = None

    @property
    def lacks(self) -> tuple[str, ...]:
        """The checks that are not good."""
        return tuple(check for check in CHECKS if self.checks.get(check, "good") != "good")

    @property
    def says(self) -> tuple[str, ...]:
        """What to say of each, as result and check; of a target that is not heard that alone: the rest is not known."""
        if self.checks.get("heard") == "bad":
            return ("bad_heard",)
        return tuple(f"{self.checks[check]}_{check}" for check in self.lacks)


@dataclass(frozen=True, slots=True)
class Round:
    """The latest round; 0 and empty before the first."""

    number: int = 0
    targets: Mapping[TargetId, Standing] = field(default_factory=dict)


def fold(facts: Iterable[Fact]) -> Round:
    """The latest round of the self-test."""
    number = 0
    found: dict[TargetId, Standing] = {}
    for fact in facts:
        if not isinstance(fact, SelfTested | SendingHeard):
            continue
        if fact.round > number:
            number, found = fact.round, {}
        if fact.round == number:
            found[fact.target] = _after(found.get(fact.target), fact)
    return Round(number, found)


def _after(before: Standing | None, fact: SelfTested | SendingHeard) -> Standing:
    old = {} if before is None else dict(before.checks)
    heard = None if before is None else before.heard_sending
    if isinstance(fact, SendingHeard):
        return Standing({**old, "receiver": "good"}, "" if before is None else before.day, fact)
    checks = dict(fact.checks)
    checks.update({check: "good" for check in PROOFS if old.get(check) == "good" and check in checks})
    if heard is not None:
        checks["receiver"] = "good"
    return Standing(checks, fact.day, heard)

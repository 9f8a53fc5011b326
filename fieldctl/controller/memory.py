"""What a controller that starts learns from the ledger: a fold over facts, nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fieldctl.controller.alarms import Latched, after
from fieldctl.controller.known import RESTORED_GENERATION
from fieldctl.controller.ports import Outside
from fieldctl.events import (
    AllOffOrdered,
    AllOffReleased,
    BackupRestored,
    ControllerStarted,
    ControllerStopped,
    ExerciseStarted,
    Fact,
    GenerationRaised,
    GrantEnded,
    GrantGiven,
    KeysRotated,
    SignalOn,
    TargetAdded,
    TargetNamed,
    TargetTakenOut,
    TargetTuned,
)
from fieldctl.site.day import Day
from fieldctl.site.day import fold as day_fold
from fieldctl.site.whereabouts import Snow
from fieldctl.units import US_PER_S, HostTime, TargetId
from fieldctl.upkeep.snow_log import take

if TYPE_CHECKING:
    from fieldctl.ledger.reader import Reader


@dataclass(slots=True)
class Memory:
    """The folded ledger."""

    added: dict[TargetId, TargetAdded] = field(default_factory=dict)
    names: dict[TargetId, str] = field(default_factory=dict)
    generation: int = 1
    highest: int = 1  # that this ledger knows of
    epoch: int = 0
    all_off: bool = False
    next_grant: int = 1
    open_grants: dict[int, GrantGiven] = field(default_factory=dict)
    began: set[int] = field(default_factory=set)
    exercise_facts: list[Fact] = field(default_factory=list)
    day_facts: list[Fact] = field(default_factory=list)
    closed: bool = True  # the controller before had closed the book
    restored: bool = False  # from a backup, and no controller has kept it since
    last_known: HostTime | None = None  # when a controller was last alive
    heard: dict[TargetId, str] = field(default_factory=dict)
    thresholds: dict[TargetId, int] = field(default_factory=dict)
    exercises: int = 0
    requests: dict[str, str] = field(default_factory=dict)
    snow: Snow = field(default_factory=Snow)
    alarms: Latched = field(default_factory=Latched)

    def day(self, zone_of: Mapping[TargetId, str]) -> Day:
        """The field's day."""
        return day_fold(self.day_facts, zone_of)

    def gap_us(self, here: HostTime) -> int | None:
        """How long no controller was alive; None when the host was rebooted meanwhile, or the ledger restored."""
        if self.restored or self.last_known is None or self.last_known.boot != here.boot:
            return None
        return here - self.last_known

    def grant_until(self, fact: GrantGiven, outside: Outside) -> int:
        """Until when a grant may send at the latest: a renewal just before the end, and never past its limit."""
        here = outside.here()
        if fact.limit_at.boot != here.boot or self.last_known is None or self.last_known.boot != here.boot:
            return here.us + outside.site.grant_s * US_PER_S
        # between two signs of life a renewal may have gone out: count from now back at most one lease
        return min(fact.limit_at.us, here.us + outside.site.grant_s * US_PER_S)


def remember(ledger: Reader) -> Memory:
    """Read the whole ledger once, and the settings beside it."""
    memory = Memory()
    for entry in ledger.entries():
        _take(memory, entry.fact)
        memory.alarms = after(memory.alarms, entry)
        memory.snow = take(memory.snow, entry)
        memory.last_known = entry.at
    alive = ledger.setting("alive")
    if alive is not None:
        at = HostTime(alive[0], alive[1])
        if memory.last_known is None or at.boot != memory.last_known.boot or at.us > memory.last_known.us:
            memory.last_known = at
    memory.heard = dict(ledger.setting("heard", {}))
    return memory


def _take(memory: Memory, fact: Fact) -> None:
    memory.day_facts.append(fact)
    if getattr(fact, "exercise", None) is not None or isinstance(fact, GrantEnded):
        memory.exercise_facts.append(fact)
    match fact:
        case TargetAdded():
            memory.added[fact.target] = fact
            if fact.name:
                memory.names[fact.target] = fact.name
        case KeysRotated():
            old = memory.added.get(fact.target)
            if old is not None:
                memory.added[fact.target] = TargetAdded(
                    old.target, old.hardware, old.link, fact.key_version, old.by, old.name
                )
        case TargetTakenOut():
            memory.added.pop(fact.target, None)
            memory.thresholds.pop(fact.target, None)  # what comes back under this id may have another pad
        case TargetTuned():
            memory.thresholds[fact.target] = fact.threshold
        case TargetNamed():
            memory.names[fact.target] = fact.name
        case GenerationRaised():
            memory.generation = memory.highest = fact.generation
        case BackupRestored():
            memory.generation, memory.restored = RESTORED_GENERATION, True
        case AllOffOrdered():
            memory.epoch, memory.all_off = fact.epoch, True
        case AllOffReleased():
            memory.all_off = False
        case GrantGiven():
            memory.next_grant = fact.grant + 1
            memory.open_grants[fact.grant] = fact
        case GrantEnded():
            memory.open_grants.pop(fact.grant, None)
        case SignalOn():
            memory.began.add(fact.grant)
        case ExerciseStarted():
            memory.exercises += 1
            if request := fact.conditions.get("request"):
                memory.requests[request] = fact.exercise
        case ControllerStarted():
            memory.closed, memory.restored = False, False
        case ControllerStopped():
            memory.closed = True

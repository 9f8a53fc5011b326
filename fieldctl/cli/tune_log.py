"""What the log says of pads' thresholds: every target's strikes as people judged them, and what people set."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from fieldctl.cli.outside import ledger_path
from fieldctl.errors import NotFound

if TYPE_CHECKING:
    from fieldctl.ledger.reader import Reader

Strikes = list[tuple[str, tuple[int, ...]]]


@dataclass(slots=True)
class TuneLog:
    """By target: name, threshold in tenths of the noise where people set one, and strikes as (taken for, features)."""

    names: dict[str, str] = field(default_factory=dict)
    tuned: dict[str, int] = field(default_factory=dict)
    strikes: dict[str, Strikes] = field(default_factory=dict)

    def target(self, said: str) -> str:
        """The target of that id or name; NotFound with those that there are."""
        low = said.strip().lower()
        known = {**dict.fromkeys(self.strikes, ""), **self.names}
        for target, name in known.items():
            if low in (target, name.lower()):
                return target
        listed = ", ".join(f"{target} ({name or '-'})" for target, name in sorted(known.items())) or "none"
        raise NotFound(f"There is no target {said!r}.", expected=listed, remedy="Name one of these.")


def read(site: Path) -> TuneLog:
    """All of it, beside a running serve or without."""
    from fieldctl.drill.corrections import strike_id
    from fieldctl.events import StrikeRecorded, TargetAdded, TargetNamed, TargetTakenOut, TargetTuned
    from fieldctl.ledger.reader import Reader
    from fieldctl.site.files import load_site

    log = TuneLog({place.target: place.name for place in load_site(site).places})
    with Reader.read(ledger_path(site)) as reader:
        for fact in reader.facts(kinds=(TargetAdded, TargetNamed, TargetTuned, TargetTakenOut)):
            match fact:
                case TargetAdded() | TargetNamed():
                    log.names[fact.target] = fact.name or log.names.get(fact.target, "")
                case TargetTuned():
                    log.tuned[fact.target] = fact.threshold
                case TargetTakenOut():
                    log.tuned.pop(fact.target, None)
        judged = _judged(reader)
        for fact in reader.facts(kinds=(StrikeRecorded,)):
            if isinstance(fact, StrikeRecorded):
                kind = judged.get(strike_id(fact), fact.taken_for)
                log.strikes.setdefault(fact.target, []).append((kind, fact.features))
    return log


def _judged(reader: Reader) -> dict[str, str]:
    """What people made of strikes: another kind, or "void" or "merged"; by the rules of every result."""
    from fieldctl.drill.corrections import amend
    from fieldctl.drill.files import drill_from_plan
    from fieldctl.drill.timeline import timeline
    from fieldctl.events import Corrected, ExerciseStarted

    kinds: dict[str, str] = {}
    corrected = dict.fromkeys(f.exercise for f in reader.facts(kinds=(Corrected,)) if isinstance(f, Corrected))
    for exercise in corrected:
        facts = list(reader.facts(exercise=exercise))
        start = next((f for f in facts if isinstance(f, ExerciseStarted)), None)
        if start is None:  # written by a newer version: no correction of it can be understood
            continue
        amended = amend(drill_from_plan(start.plan), facts, timeline(facts))
        kinds |= amended.judged | dict.fromkeys(amended.merged, "merged") | dict.fromkeys(amended.void, "void")
    return kinds

"""Every requirement in turn, at one target; whatever happens, it is left quiet.

A requirement is passed, failed with what was seen, not applicable (an ability that is not declared, or another medium),
or not tried (the side door does not offer what it needs); those that nobody asked for are named too. Between two the
target is brought back to rest; one that does not answer any more is woken by its side door where that can be, and else
nothing more is tried.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from fieldctl.certify.checks_keys import BENCH
from fieldctl.certify.requirements import REQUIREMENTS
from fieldctl.certify.row import Requirement
from fieldctl.certify.talk import Failed, NotTried, Talk
from fieldctl.errors import FieldctlError
from fieldctl.units import target_from_address
from fieldctl.wire import messages
from fieldctl.wire.messages import Ability, Greeting

Verdict = Literal["passed", "failed", "not applicable", "not tried"]


@dataclass(frozen=True, slots=True)
class Row:
    """One requirement's result; `seen` is what was seen, or why not."""

    number: int
    requirement: Requirement
    verdict: Verdict
    seen: str = ""
    took_us: int = 0


@dataclass(frozen=True, slots=True)
class Certificate:
    """All results, who the target said that it is, and how it was left."""

    target: str
    greeting: Greeting
    medium: str
    door: tuple[str, ...]
    rows: tuple[Row, ...]
    quiet: bool
    epoch_before: int
    epoch: int
    generation_before: int
    generation: int
    stopped: str = ""
    keyless: bool = False  # the keys of this bench were forgotten, so that nothing can make it send
    not_asked: tuple[int, ...] = ()  # numbers of the requirements that were not to be tried at all

    def count(self, verdict: Verdict) -> int:
        """How many requirements came out so."""
        return sum(row.verdict == verdict for row in self.rows)

    @property
    def passed(self) -> bool:
        """Whether everything that could be tried and applies was met, and the target was left quiet."""
        return not self.count("failed") and self.quiet and not self.stopped


Progress = Callable[[Row | Requirement, int, int], None]


def certify(
    talk: Talk,
    *,
    requirements: Sequence[Requirement] = REQUIREMENTS,
    progress: Progress = lambda _what, _number, _of: None,
) -> Certificate:
    """Try every requirement; the caller leaves the bench. KeyboardInterrupt ends the trying and not the quiet."""
    first = talk.open()
    greeting = talk.greeting()
    talk.abilities = greeting.abilities
    talk.hardware = greeting.hardware
    rows: list[Row] = []
    stopped = ""
    numbered = {r.id: n for n, r in enumerate(REQUIREMENTS, start=1)}
    asked = {r.id for r in requirements}
    quiet = False
    try:
        for requirement in requirements:
            number = numbered[requirement.id]
            progress(requirement, number, len(REQUIREMENTS))
            row = _stopped_row(number, requirement, stopped) if stopped else _try(talk, number, requirement)
            rows.append(row)
            progress(row, number, len(REQUIREMENTS))
            if not stopped and row.verdict in ("passed", "failed") and not _at_rest(talk):
                stopped = f"the target did not come back to rest after {requirement.id}"
    except KeyboardInterrupt:
        stopped = "it was broken off by hand"
    except FieldctlError as error:
        stopped = error.what
    finally:
        quiet = leave_quiet(talk)
    tried = {row.requirement.id for row in rows}
    rows += [_stopped_row(numbered[r.id], r, stopped) for r in requirements if r.id not in tried]
    return Certificate(
        str(target_from_address(talk.address)),
        greeting,
        talk.bench.medium,
        tuple(sorted(talk.bench.door.offers)),
        tuple(rows),
        quiet,
        first.epoch,
        talk.epoch,
        first.generation,
        talk.generation,
        stopped,
        quiet and talk.secret is not None,
        tuple(n for r, n in numbered.items() if r not in asked),
    )


def leave_quiet(talk: Talk) -> bool:
    """All off, confirmed; a target whose keys were made for this bench forgets them. Ctrl-C is tried out once."""
    for _ in range(2):
        try:
            quiet = talk.rest()
            if quiet and talk.secret is not None:
                talk.outcome(messages.Leave(talk.boot, talk.generation))
        except KeyboardInterrupt:
            continue
        except (Failed, FieldctlError, AssertionError):
            return False
        return quiet
    return False


def _stopped_row(number: int, requirement: Requirement, why: str) -> Row:
    return Row(number, requirement, "not tried", why)


def _try(talk: Talk, number: int, requirement: Requirement) -> Row:
    if why := _does_not_apply(talk, requirement):
        return Row(number, requirement, "not applicable", why)
    if why := _cannot(talk, requirement):
        return Row(number, requirement, "not tried", why)
    began = talk.bench.now()
    verdict: Verdict = "passed"
    seen = ""
    try:
        requirement.check(talk)
    except Failed as failed:
        verdict, seen = "failed", str(failed)
    except AssertionError as beyond:  # our own encoder refuses what would have to be said next
        verdict, seen = "failed", f"its numbers leave nothing to go on with: {beyond}"
    except NotTried as why_not:
        verdict, seen = "not tried", str(why_not)
    return Row(number, requirement, verdict, seen, talk.bench.now() - began)


def _does_not_apply(talk: Talk, requirement: Requirement) -> str:
    if requirement.medium and requirement.medium != talk.bench.medium:
        return f"only {'on a bus' if requirement.medium == 'bus' else 'over radio'}"
    lacks = [str(a.name).lower().replace("_", " ") for a in Ability if a & requirement.needs & ~talk.abilities]
    return f"it declares no {' and no '.join(lacks)}" if lacks else ""


def _cannot(talk: Talk, requirement: Requirement) -> str:
    offers = set(talk.bench.door.offers)
    offers |= {BENCH} if talk.secret is not None else set()
    offers |= {"retain"} if talk.bench.retains else set()
    lacks = [_LACKS.get(word, f"the port offers no {word}") for word in requirement.door if word not in offers]
    return "; ".join(lacks)


_LACKS = {
    BENCH: "the keys are those of a site, and could be lost: only with the factory secret",
    "retain": "this broker cannot be made to retain",
    "many": "only a port that gives many touches by itself",
}


def _at_rest(talk: Talk) -> bool:
    """Back to rest, by its side door if it has to be."""
    for last in (False, True):
        try:
            talk.settle()
        except (Failed, AssertionError):
            if last or "power" not in talk.bench.door.offers:
                return False
            talk.door("power", 300)
            continue
        return True
    return False

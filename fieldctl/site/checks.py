"""What is in the way of opening or closing a field, each with its remedy, and what a person may sign for by name.

    opening_problems(site, day, opening)          what still stands in the way; empty means the field may open
    closing_problems(site, day, closing, quiet)   the same for closing
    bars(day, closing)                            the facts that bar targets heard though they say quiet

A problem has a stable `key` such as "roll-call:5ee00001". Where `may_sign` is true, a person in charge may name the
key among the exceptions and go on; the exception is then part of the record. Elsewhere nothing helps but the remedy.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from fieldctl.events import TargetBarred
from fieldctl.site.day import Day
from fieldctl.site.model import Site
from fieldctl.units import PersonId, TargetId

SNOW_MOST_M = 30.0


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing in the way: a stable key, what is wrong, the remedy, and whether it may be signed for by name."""

    key: str
    wrong: str
    remedy: str
    may_sign: bool = False


STEERS_NOBODY = Problem(
    "steers-nobody",
    "This log was put back from a backup: this controller steers no target.",
    "If it is the one that steers from now on, a person raises its generation: "
    "fieldctl generation raise --reason 'why this one'.",
)
"""As long as the log of a backup goes on without a person's word; the old controller may still steer them all."""


@dataclass(frozen=True, slots=True)
class Opening:
    """What the person in charge decided and saw before opening."""

    by: PersonId
    hazard: str = ""
    snow_m: float | None = None
    heard: tuple[TargetId, ...] = ()  # targets that answered the roll-call
    touched: tuple[TargetId, ...] = ()  # plates proved by touch
    stray_sweep: str = ""  # what a receiver heard while everything was quiet
    exceptions: tuple[str, ...] = ()  # keys of problems signed for


@dataclass(frozen=True, slots=True)
class Closing:
    """What the person in charge saw before closing."""

    by: PersonId
    own_units_back: bool = False
    listening_walk: str = ""  # who walked where with a receiver, and what was heard
    heard_sending: tuple[TargetId, ...] = ()  # targets found sending on the walk
    exceptions: tuple[str, ...] = ()
    signed: str = ""


@dataclass(frozen=True, slots=True)
class Quiet:
    """What the field itself says at the moment of closing."""

    exercises: tuple[str, ...] = ()  # still going on
    confirmed: tuple[TargetId, ...] = ()  # targets that confirmed that they do not send, or sleep without a grant


def opening_problems(site: Site, day: Day, opening: Opening) -> tuple[Problem, ...]:
    """What is in the way of opening, without what was signed for."""
    return _unsigned(_opening(site, day, opening), opening.exceptions)


def closing_problems(site: Site, day: Day, closing: Closing, quiet: Quiet) -> tuple[Problem, ...]:
    """What is in the way of closing, without what was signed for."""
    return _unsigned(_closing(site, day, closing, quiet), closing.exceptions)


def bars(day: Day, closing: Closing) -> tuple[TargetBarred, ...]:
    """Each target that was heard on the listening walk: barred by name until it is dug out."""
    reason = (
        f"heard on the listening walk though it says quiet ({closing.listening_walk.strip() or 'walk not described'})"
    )
    new = [target for target in dict.fromkeys(closing.heard_sending) if target not in day.barred]
    return tuple(TargetBarred(target, reason, closing.by) for target in new)


def _unsigned(problems: Iterable[Problem], signed: Collection[str]) -> tuple[Problem, ...]:
    """Problems left, and one for each exception that names no problem: a slip must not pass for a signature."""
    rows = list(problems)
    keys = {problem.key for problem in rows}
    left = [problem for problem in rows if not (problem.may_sign and problem.key in signed)]
    for key in signed:
        if key not in keys:
            left.append(
                Problem(f"exception:{key}", f"The exception {key!r} names nothing that is in the way.", "Leave it out.")
            )
    return tuple(left)


def _opening(site: Site, day: Day, opening: Opening) -> Iterable[Problem]:
    if day.open:
        yield Problem("open", f"The field is open already, with {day.in_charge} in charge.", "Close it first.")
    yield from _person(opening.by)
    if not opening.hazard.strip():
        yield Problem(
            "hazard",
            "Nobody has written down the hazard decision of today.",
            "Read the bulletin, look at the slope, decide with the patrol, and write the decision down.",
        )
    if opening.snow_m is None:
        yield Problem("snow", "The snow depth is missing.", "Measure it at the field's stake, in metres.")
    elif not 0 <= opening.snow_m <= SNOW_MOST_M:
        yield Problem(
            "snow", f"A snow depth of {opening.snow_m:g} m cannot be right.", f"Give metres, 0 to {SNOW_MOST_M:g}."
        )
    for place in site.places:
        target, label = place.target, _label(site, place.target)
        if not day.usable(target):
            continue  # cannot be used today anyway; it stays on the list of the barred
        if target not in opening.heard:
            yield Problem(
                f"roll-call:{target}",
                f"{label} did not answer the roll-call.",
                "Look at its link and its battery; or sign for it, and it takes no part today.",
                may_sign=True,
            )
        elif target not in opening.touched:
            yield Problem(
                f"touch:{target}",
                f"The plate of {label} was not proved by touch.",
                "Touch it with a probe and see the strike arrive; or sign for it.",
                may_sign=True,
            )
    for post in site.posts:
        if not day.usable(post.target):
            continue
        label = f"post {post.name} ({post.zone})"
        if post.target not in opening.heard:
            yield Problem(
                f"roll-call:{post.target}",
                f"{label} did not answer the roll-call.",
                "Look at its link and its battery; or sign for it, and nobody can start or switch off there today.",
                may_sign=True,
            )
        elif post.target not in opening.touched:
            yield Problem(
                f"touch:{post.target}",
                f"The button of {label} was not proved by a press.",
                "Press it shortly and see the press arrive (while the field is closed it starts nothing); or sign.",
                may_sign=True,
            )
    if not opening.stray_sweep.strip():
        yield Problem(
            "stray-sweep",
            "Nobody swept the field for stray signals.",
            "With everything quiet, walk the field with a receiver. Any signal is a person until proved otherwise.",
        )
    yield from _strangers(site, (*opening.heard, *opening.touched))
    yield from _manual(day)


def _closing(site: Site, day: Day, closing: Closing, quiet: Quiet) -> Iterable[Problem]:
    if not day.open:
        yield Problem("closed", "The field is closed already.", "Nothing to do.")
    yield from _person(closing.by)
    for exercise in quiet.exercises:
        yield Problem(f"exercise:{exercise}", f"Exercise {exercise} still goes on.", "Stop it first.")
    for place in site.places:
        if place.target not in quiet.confirmed and place.target not in day.taken_out:
            yield Problem(
                f"quiet:{place.target}",
                f"{_label(site, place.target)} has not confirmed that it is quiet.",
                "Order all off and wait for its answer; if none comes, listen for it on the walk and sign for it.",
                may_sign=True,
            )
    if not closing.own_units_back:
        yield Problem(
            "own-units",
            "Nobody has said that everybody's own unit is back to send.",
            "Count heads, and check each unit at the gate.",
        )
    yield from _manual(day)
    if not closing.listening_walk.strip():
        yield Problem(
            "listening-walk",
            "The listening walk was not done: quiet on a screen is only what targets say.",
            "Walk the field with a receiver and write down who walked, where, and what was heard.",
        )
    for target in dict.fromkeys(closing.heard_sending):
        says = "says quiet" if target in quiet.confirmed else "has not confirmed quiet"
        yield Problem(
            f"heard:{target}",
            f"{_label(site, target)} was heard sending, though it {says}.",
            "Any signal is a person until proved otherwise: search it out and prove what it is. Then sign for it by "
            "name; it is barred from use and stays on the list until it is dug out.",
            may_sign=True,
        )
    yield from _strangers(site, closing.heard_sending)
    if not closing.signed.strip():
        yield Problem("signature", "The closing is not signed.", "The person in charge signs with a name.")


def _person(by: PersonId) -> Iterable[Problem]:
    if not by.strip() or by in ("field", "anybody"):
        yield Problem("in-charge", "Nobody is named as the person in charge.", "Say who is in charge.")


def _manual(day: Day) -> Iterable[Problem]:
    """Hand-buried units that are out, or of which nobody saw that they are off."""
    for unit, out in sorted(day.manual_out.items()):
        yield Problem(
            f"manual-out:{unit}",
            f"Hand-buried unit {unit} is still out ({out.zone}, {out.place}); it cannot be switched off from here.",
            "Dig it out, switch it off, count it in; or sign for it by name.",
            may_sign=True,
        )
    for unit in sorted(day.manual_unseen):
        yield Problem(
            f"manual-on:{unit}",
            f"Hand-buried unit {unit} came back, but nobody saw that it is off.",
            "Look at it, switch it off, and count it in again.",
            may_sign=True,
        )


def _strangers(site: Site, targets: Iterable[TargetId]) -> Iterable[Problem]:
    posts = {post.target for post in site.posts}
    for target in dict.fromkeys(targets):
        if target not in site.targets and target not in posts:
            yield Problem(f"unknown:{target}", f"No target {target} belongs to this site.", "Check the id.")


def _label(site: Site, target: TargetId) -> str:
    if target not in site.targets:
        return f"target {target}"
    place = site.place(target)
    return f"target {target} ({place.name}, {place.zone})"

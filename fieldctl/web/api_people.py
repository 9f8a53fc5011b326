"""People with their rights and phones, and the walk-in, as the API's document names them."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from fieldctl.controller.verbs import Right
from fieldctl.web.api_shapes import Answer


class RightHeld(Answer):
    """A granted right and its end."""

    right: Right
    for_good: bool
    until: str | None
    left_s: int | None
    holds: bool | None = Field(description="Whether it is in force; none (it gives nothing) where nobody can tell.")


class Phone(Answer):
    """A paired phone."""

    phone: str
    label: str
    paired: str | None
    seen: str | None
    seen_s_ago: int | None


class Person(Answer):
    """Somebody with rights, phones or a password."""

    person: str
    name: str
    rights: list[RightHeld]
    phones: list[Phone]
    password: bool


class People(Answer):
    """Everybody who has a right, a phone or a password."""

    people: list[Person]


class FirstCode(Answer):
    """A code for whoever is in charge then: single use."""

    code: str
    path: str
    ends_s: float


class PhoneCode(FirstCode):
    """A code that pairs one phone with a person: single use."""

    person: str
    name: str


class PhonesEnded(Person):
    """A person whose phones act for nobody any more."""

    ended: int


class NamedRow(Answer):
    """Somebody's name, when it was said last, and when it goes."""

    person: str
    name: str
    last_named: str | None
    goes_on: str | None


class Names(Answer):
    """Everybody who has a name here, and whose name was forgotten."""

    people: list[NamedRow]
    forgotten: list[str]
    keep_names_days: int | None
    log_left: bool = Field(description="A forgotten name may still stand in the ledger's own log for a while.")


class Renamed(Answer):
    """A person and the name from now on."""

    person: str
    name: str


class Forgotten(Answer):
    """A person without a name from now on."""

    person: str
    log_left: bool


class Released(Answer):
    """A drill that anybody may start in some zones for a while."""

    release: str
    drill: str
    title: str
    zones: list[str]
    begins_in_s: float
    ends_in_s: float
    until: str
    pause_s: float
    limit_s: float


class WalkInReleased(Released):
    """A release, and what would keep a party from starting now, by zone."""

    in_the_way_now: dict[str, list[str]]


class WalkInZone(Answer):
    """A zone with a walk-in; no name, and no hint before the party has ended. Moments are the host's µs."""

    zone: str
    name: str
    drill: str | None
    state: Literal["ended", "later", "free", "goes-on", "pause"]
    begins_us: int | None
    ends_us: int | None
    limit_s: float | None
    free_us: int | None
    exercise: str | None
    zero_us: int | None
    found: int | None
    of: int | None
    over_us: int | None
    others: bool = Field(description="Another exercise sends at the same time.")


class WalkInState(Answer):
    """What is released, and what goes on."""

    open: bool
    all_off: bool
    host_us: int
    wall: str | None
    released: list[Released]
    zones: list[WalkInZone]


class WalkInStarted(Answer):
    """What a press on start did."""

    started: bool
    did: str
    wait_s: int
    zone: WalkInZone | None


class WalkInStopped(Answer):
    """What a press on stop did."""

    stopped: bool
    zone: WalkInZone | None


class WalkInEnded(Answer):
    """The releases that were ended."""

    ended: list[str]

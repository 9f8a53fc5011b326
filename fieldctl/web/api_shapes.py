"""The field, its targets and its exercises as the API's document names them: the shapes of `controller.snapshot`."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from fieldctl.controller.known import Life
from fieldctl.drill.phases import Phase
from fieldctl.drill.plan import FindBy, SignalKind
from fieldctl.drill.score import FindKind, State


class Answer(BaseModel):
    """A JSON object; fields are only ever added."""

    model_config = ConfigDict(strict=True)


class Fresh(Answer):
    """How many fresh targets each zone has left."""

    fresh_left: dict[str, int]


class Unconfirmed(Answer):
    """A target that has not confirmed all off."""

    target: str
    name: str
    place: str
    heard_s_ago: float | None
    may_send_for_s: float = Field(description="Counting down; 0 where its last grant has ended.")
    says: str


class AllOff(Answer):
    """All off: whether it is in force, who has confirmed, and who has not."""

    in_force: bool
    epoch: int
    confirmed: list[str] = Field(description="Targets that answered this order with their gate read back off.")
    took_s: float | None = Field(description="Until the last of them had.")
    unconfirmed: list[Unconfirmed]


class LedgerState(Answer):
    """Whether the log takes entries."""

    failed: str | None
    last_commit_s_ago: float | None


class DayState(Answer):
    """The day of the field."""

    open: bool
    in_charge: str | None
    hazard: str
    snow_m: float
    fresh_left: dict[str, int]
    barred: dict[str, str]
    closed_with: list[str]


class Link(Answer):
    """A link and what was counted on it."""

    name: str
    kind: str
    up: bool
    targets: int
    counts: dict[str, int]


class StandsSince(Answer):
    """A state that holds, and since when: the wall's label, and microseconds of this boot of the host."""

    state: Literal["barred", "faulty", "not heard", "overdue", "asleep", "weak", "online"]
    since: str | None
    since_us: int | None


class Target(Answer):
    """One target as it is known now: what it said last, and how long ago."""

    target: str
    name: str
    place: str
    link: str
    life: Life
    heard_s_ago: float | None
    heard_before: str | None
    signal: str = Field(description="What it said last of its signal; never more than that.")
    granted: int | None
    may_send_for_s: float
    armed: bool | None
    plus_minus_ms: float | None = Field(description="The ± of a stamp made now.")
    volts_load: float | None
    volts_rest: float | None
    celsius: float | None
    reported_s_ago: float | None
    battery_low: bool | None
    struck: int = Field(description="How often it was struck since the surface was renewed.")
    odd: dict[str, str]
    trouble: dict[str, int]
    states: list[StandsSince] = Field(description="Everything that holds of it, what matters most first.")


class Manual(Answer):
    """A hand-buried unit that is out."""

    unit: str
    zone: str
    place: str
    says: str


class Moment(Answer):
    """A moment of an exercise: seconds since its start, its ±, and the entry that it comes from."""

    at_s: float
    plus_minus_ms: float
    source: str


class Find(Moment):
    """What ended a burial."""

    kind: FindKind
    searcher: str


class Split(Moment):
    """A moment on the way."""

    name: str


class Span(Answer):
    """From when until when something was sent; no end where it still goes on."""

    from_s: float
    until_s: float | None


class BurialPlayed(Answer):
    """The part that one target plays."""

    burial: str
    target: str
    name: str
    phase: Phase
    sent: list[Span]
    may_send_for_s: float
    signal: SignalKind
    find_by: FindBy
    hits: list[Moment]
    calls: list[Moment]
    splits: list[Split]
    find: Find | None
    in_time: bool | None


class CorrectionMade(Answer):
    """A correction, and whether it was undone."""

    correction: str
    change: str
    about: str
    value: str | float | None
    by: str | None
    why: str
    undone: bool


class ToJudge(Answer):
    """A strike or call that a person has to look at."""

    source: str
    burial: str | None
    at_s: float | None
    why: str


class Question(Answer):
    """Something that the field asks a person."""

    question: str
    what: str
    choices: list[str]


class Exercise(Answer):
    """One exercise with its result so far."""

    exercise: str
    drill: str
    title: str
    assessed: bool
    state: State
    clock_s: float | None = Field(description="Seconds since the start, negative before it.")
    limit_s: float
    searchers: list[str | None]
    by: str | None
    seed: int | None
    burials: list[BurialPlayed]
    splits: list[Split]
    corrections: list[CorrectionMade]
    to_judge: list[ToJudge]
    questions: list[Question]
    anomalies: list[str]


class Called(Exercise):
    """The exercise after a call, and the call's id."""

    call: str


class SplitTaken(Exercise):
    """The exercise after a split, and the split's id."""

    split: str


class Corrected(Exercise):
    """The exercise after a correction, and the correction's id."""

    correction: str


class Status(Answer):
    """The whole field."""

    schema_: int = Field(alias="schema")
    site: str
    version: str
    wall: str | None
    host_us: int
    generation: int
    steers: bool = Field(description="False after a restore, until a person raises the generation.")
    ledger: LedgerState
    day: DayState
    all_off: AllOff
    links: list[Link]
    targets: list[Target]
    manual: list[Manual]
    exercises: list[Exercise]
    outcomes: dict[str, int]

"""What each verb answers over HTTP, as the API's document names it; `ANSWERS` is the table.

Nothing is converted by these models: an answer is what the verb gave. A test holds real answers to them, field by
field, so that the document stays true. A client reads over fields that it does not know: more may come.
"""

from __future__ import annotations

from typing import Any, Literal, get_type_hints

from pydantic import Field, create_model

from fieldctl.drill.plan import Drill, FindBy, SignalKind
from fieldctl.events import KINDS
from fieldctl.web.api_alarm_shapes import Alarms, AlarmTested
from fieldctl.web.api_people import (
    FirstCode,
    Forgotten,
    Names,
    People,
    Person,
    PhoneCode,
    PhonesEnded,
    Renamed,
    WalkInEnded,
    WalkInReleased,
    WalkInStarted,
    WalkInState,
    WalkInStopped,
)
from fieldctl.web.api_places import Located, LocateEnded, Moved, SnowKept, SnowReadings, SnowTakenIn
from fieldctl.web.api_shapes import AllOff, Answer, Called, Corrected, Exercise, Fresh, SplitTaken, Status, Target
from fieldctl.web.api_traces import Traced
from fieldctl.web.api_visits import VISIT_ANSWERS


class Generation(Answer):
    """The controller's generation: targets obey the highest that they have heard."""

    generation: int


class GroupLink(Answer):
    """A link to an exercise's debrief for the group."""

    exercise: str
    path: str
    until: str


class SaidThen(Answer):
    """What earlier versions said of an exercise, where that would now be otherwise."""

    exercise: str
    differs: bool
    versions: list[str]
    says: list[str]


class InTheWay(Answer):
    """Something in the way of opening or closing."""

    key: str
    wrong: str
    remedy: str
    may_sign: bool


class DayCheck(Answer):
    """What is in the way of opening, or of closing where the field is open."""

    open: bool
    problems: list[InTheWay]
    warnings: list[InTheWay] = Field(
        description="What to know of targets' places before opening; keeps nobody from it."
    )
    heard: list[str]
    touched: dict[str, str] = Field(description="Plates proved by touch since the pads were asked to listen, and how.")
    listens_until_us: int | None = Field(description="Until when the pads listen, by the host's clock.")
    armed: list[str] = Field(description="Targets whose pad says that it listens.")


class DayOpen(Fresh):
    """The field is open."""

    open: Literal[True]
    in_charge: str


class DayClose(Answer):
    """The field is closed."""

    open: Literal[False]
    exceptions: list[str]


class ManualUnits(Answer):
    """Which hand-buried units are out."""

    out: list[str]


class ManualBack(ManualUnits):
    """Which hand-buried units are out, and which came back without anybody having seen that they are off."""

    not_seen_off: list[str]


class BurialShort(Answer):
    """A burial as a drill asks for it, in short."""

    burial: str
    signal: SignalKind
    after: str | None = Field(description="The burial whose find switches it on.")
    find: FindBy


class DrillShort(Answer):
    """A drill on file."""

    drill: str
    title: str
    limit_s: float
    burials: list[BurialShort]


class DrillFaulty(Answer):
    """A drill whose file has faults."""

    drill: str
    faults: list[str]


class Drills(Answer):
    """Every drill on file."""

    drills: list[DrillShort | DrillFaulty]


class Hindrance(Answer):
    """Something in the way of an exercise; one that does not block is a warning."""

    key: str
    wrong: str
    remedy: str
    blocks: bool


class Check(Answer):
    """Who would play what, what is in the way, and the briefing cards."""

    drill: str
    seed: int
    picks: dict[str, str]
    notes: list[str]
    hindrances: list[Hindrance]
    cards: list[str]


class Started(Exercise):
    """The exercise that was started, and the warnings that it was started over."""

    warnings: list[Hindrance]


class Exercises(Answer):
    """Every exercise that is still in mind, oldest first."""

    exercises: list[Exercise]


class Targets(Answer):
    """Every target."""

    targets: list[Target]


class FoundTarget(Answer):
    """A target that has no keys of this site."""

    hardware: str
    pressed: bool


class Search(Answer):
    """Who is new on a bus."""

    link: str
    found: list[FoundTarget]


class Added(Answer):
    """A target that has keys of this site now."""

    target: str
    hardware: str
    link: str


class Named(Answer):
    """A target and its name."""

    target: str
    name: str


class Rotated(Answer):
    """A target and the version of its keys."""

    target: str
    key_version: int


class TakenOut(Answer):
    """A target that belongs to the field no more."""

    target: str
    how: Literal["lost", "taken-out"]
    forgot_its_keys: bool
    still_listed: str


class Tuned(Answer):
    """A pad's threshold in tenths of its noise, and the one before; 0: the target's own."""

    target: str
    threshold: int
    before: int


class Barred(Answer):
    """Every barred target, and why."""

    barred: dict[str, str]


class BatterySwapped(Answer):
    """A target that was given fresh cells, or was not after all, and the day as it is kept."""

    target: str
    name: str
    day: str


class KitRead(Answer):
    """What was read or seen of the base's supply or a piece of kit, and the day as it is kept."""

    item: str
    kind: str
    found: Literal["read", "fine", "broken", "lent", "missing"]
    day: str


class Entry(Answer):
    """One entry of the log: a committed fact, its number and its place in the chain."""

    seq: int
    kind: str = Field(description="One of: " + ", ".join(sorted(KINDS)) + "; a newer version may have more.")
    wall: str | None = Field(description="The wall clock's label; nothing is computed from it.")
    at_us: int = Field(description="Microseconds of the host's clock since it booted.")
    boot: str = Field(description="Which boot of the host that was.")
    hash: str
    fact: dict[str, Any]


class Log(Answer):
    """Entries of the log after a number, the names of people in them, and the number to go on from."""

    entries: list[Entry]
    people: dict[str, str]
    next: int | None = Field(description="`after` of the next page; null where there are no more entries now.")


class Lag(Answer):
    """How late the loop was, over the last minute."""

    p95: float
    max: float
    over_s: float


class Alive(Answer):
    """The server lives."""

    status: Literal["alive"]
    version: str
    uptime_s: float
    loop_lag_ms: Lag | None
    counts: dict[str, int] = Field(description="What the API counted since it began: asked, busy, again, faults …")


class Ready(Answer):
    """Whether the controller is ready, and if not, why."""

    ready: bool
    why: str


class FaultRow(Answer):
    """One fault of a request (`file` is "request", `key` names the value) or of a file of the site."""

    file: str
    line: int
    key: str
    wrong: str
    expected: str
    remedy: str


class Problem(Answer):
    """What went wrong, after RFC 9457: `detail` for people, `code` for programs, and what to do."""

    type: str = Field(description="A reference that says what a problem of this kind means.")
    title: str
    status: int
    detail: str
    code: str
    expected: str
    remedy: str
    faults: list[FaultRow]
    instance: str


class Meaning(Answer):
    """What a problem of one kind means."""

    type: str
    title: str
    status: int
    means: str


class VerbRow(Answer):
    """A verb in the list of verbs."""

    verb: str
    right: str
    summary: str
    methods: list[str]
    takes: list[str]


class Verbs(Answer):
    """Every verb, and where the whole contract stands."""

    verbs: list[VerbRow]
    openapi: str


class Candidates(Answer):
    """Who is to be assessed by a drill."""

    drill: str
    candidates: list[str]


class Assessment(Answer):
    """A sheet: what the field measured, what was seen, what was decided and who signed; more fields than these."""

    exercise: str
    candidate: str


def _drill_shown() -> type[Answer]:
    """A drill as its file says it: all fields of the plan."""
    hints = get_type_hints(Drill)
    fields: dict[str, Any] = {"drill": (str, ...), **{name: (hint, ...) for name, hint in hints.items()}}
    made: type[Answer] = create_model("DrillShown", __base__=Answer, __doc__=_drill_shown.__doc__, **fields)
    return made


ANSWERS: dict[str, type[Answer]] = {
    "status": Status,
    "all-off": AllOff,
    "all-off-release": AllOff,
    "generation-raise": Generation,
    "day-check": DayCheck,
    "day-touch": DayCheck,
    "day-open": DayOpen,
    "day-close": DayClose,
    "day-renewed": Fresh,
    "manual-out": ManualUnits,
    "manual-in": ManualBack,
    "drill-list": Drills,
    "drill-show": _drill_shown(),
    "exercise-check": Check,
    "exercise-start": Started,
    "exercise-stop": Exercise,
    "exercise-reopen": Exercise,
    "exercise-resume": Exercise,
    "exercise-call": Called,
    "exercise-split": SplitTaken,
    "exercise-correct": Corrected,
    "exercise-answer": Exercise,
    "exercise-link": GroupLink,
    "exercise-list": Exercises,
    "exercise-show": Exercise,
    "exercise-then": SaidThen,
    "assessment-candidates": Candidates,
    "assessment-show": Assessment,
    "assessment-tick": Assessment,
    "assessment-decide": Assessment,
    "assessment-sign": Assessment,
    "walkin-status": WalkInState,
    "walkin-start": WalkInStarted,
    "walkin-stop": WalkInStopped,
    "walkin-release": WalkInReleased,
    "walkin-end": WalkInEnded,
    "alarm-list": Alarms,
    "alarm-clear": Alarms,
    "alarm-test": AlarmTested,
    "right-list": People,
    "right-give": Person,
    "right-take": Person,
    "phone-code": PhoneCode,
    "phone-end": Person,
    "phone-end-all": PhonesEnded,
    "first-code": FirstCode,
    "person-list": Names,
    "person-rename": Renamed,
    "person-forget": Forgotten,
    "target-list": Targets,
    "target-search": Search,
    "target-add": Added,
    "target-name": Named,
    "target-rotate": Rotated,
    "target-take-out": TakenOut,
    "target-tune": Tuned,
    "target-trace": Traced,
    "target-bar": Barred,
    "target-clear": Barred,
    "target-locate": Located,
    "target-locate-end": LocateEnded,
    "target-moved": Moved,
    "snow-measured": SnowKept,
    "snow-import": SnowTakenIn,
    "snow-list": SnowReadings,
    "battery-swapped": BatterySwapped,
    "battery-swap-undo": BatterySwapped,
    "kit-read": KitRead,
    **VISIT_ANSWERS,
}
"""The answer of each verb; a verb that is not here answers a JSON object of no named shape."""

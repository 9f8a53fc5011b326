"""Visits, the self-test and the retrieval as the API's document names them."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from fieldctl.upkeep.visits import State, What
from fieldctl.web.api_shapes import Answer


class ChangedMeanwhile(Answer):
    """What somebody else did to a target between the list and the tick."""

    what: What
    by: str | None
    day: str


class TickOfVisit(Answer):
    """One tick in force."""

    tick: str
    done: bool
    why: str
    by: str | None
    day: str
    told_later_s: float | None = Field(description="After it was made; null where the host was rebooted between.")
    plus_minus_s: float | None
    late: bool = Field(description="It came after the visit was signed for.")
    meanwhile: list[ChangedMeanwhile]


class ItemOfVisit(Answer):
    """One item of a visit; more than one tick only where phones did not know of each other."""

    item: str
    target: str
    name: str
    key: str
    state: State
    two_say: bool = Field(description="Two ticks that did not know of each other say different things.")
    ticks: list[TickOfVisit]


class VisitShort(Answer):
    """A visit in short."""

    visit: str
    day: str
    by: str | None
    open: bool
    signed: str | None
    signed_day: str | None
    why: str = Field(description="Why items were left when it was signed for.")
    done: int
    unsettled: int


class VisitRow(VisitShort):
    """A visit in a list."""

    items: int


class Visits(Answer):
    """Every visit, the latest first."""

    visits: list[VisitRow]


class Visit(VisitShort):
    """A visit with every tick."""

    items: list[ItemOfVisit]
    tick: str | None = Field(default=None, description="The tick that was made.")


class SelfTestRow(Answer):
    """What one target has shown in this round: checks as good, bad or open."""

    target: str
    name: str
    place: str
    tested: bool
    day: str
    checks: dict[str, str]
    lacks: list[str]
    says: list[str] = Field(description="What to say of what it lacks: result and check, as in bad_gate or open_gate.")
    heard_by: str | None
    heard_day: str | None


class SelfTest(Answer):
    """The latest round of the self-test; `whole` counts the targets that lack nothing."""

    round: int
    targets: list[SelfTestRow]
    whole: int


class SaidOfTarget(Answer):
    """What was said of a target in a retrieval."""

    tick: str
    what: Literal["got", "lost"]
    why: str
    by: str | None
    day: str
    told_later_s: float | None = Field(description="After it was made; null where the host was rebooted between.")
    plus_minus_s: float | None


class RetrievalRow(Answer):
    """One target of a retrieval."""

    target: str
    name: str
    place: str
    state: Literal["open", "got", "lost", "conflict"]
    said: list[SaidOfTarget]


class LostTarget(Answer):
    """A target that was given up or taken out as lost; it stays here, found or not."""

    target: str
    name: str
    last_place: str
    last_heard: str
    told: str
    reason: str
    by: str | None
    day: str
    found_day: str | None


class Retrieval(Answer):
    """A retrieval: `n` of `of` are in the box or given up by name."""

    retrieval: str | None
    open: bool
    n: int
    of: int
    targets: list[RetrievalRow]
    units_out: list[str]
    lost: list[LostTarget]
    day: str | None = None
    by: str | None = None
    signed: str | None = None
    signed_day: str | None = None
    tick: str | None = Field(default=None, description="The tick that was made, or that stands already.")


VISIT_ANSWERS: dict[str, type[Answer]] = {
    "visit-begin": Visit,
    "visit-tick": Visit,
    "visit-untick": Visit,
    "visit-close": Visit,
    "visit-list": Visits,
    "visit-show": Visit,
    "self-test": SelfTest,
    "self-test-heard": SelfTest,
    "self-test-show": SelfTest,
    "retrieval-begin": Retrieval,
    "retrieval-got": Retrieval,
    "retrieval-lost": Retrieval,
    "retrieval-undo": Retrieval,
    "retrieval-close": Retrieval,
    "retrieval-show": Retrieval,
}
"""The answers of the verbs about visits, self-test and retrieval."""

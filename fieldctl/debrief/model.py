"""A debrief as values: what one exercise comes to, in microseconds since its start, sentences not yet in any language.

Everything is computed by `fieldctl.debrief.account.debrief` from the exercise's facts; nothing here is ever stored.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from fieldctl.debrief.words import Said
from fieldctl.units import TargetId

SCHEMA = 1

By = Literal["pad", "thumb", "hand", "target"]
AwayKind = Literal["signal", "dark", "technical", "stopped"]


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment of a burial: a split's name, hit, call or on; its own ±, who said so, and the entry it comes from."""

    name: str
    at_us: int
    plus_minus_us: int
    by: By
    source: str = ""
    counts: bool = True
    who: str = ""


@dataclass(frozen=True, slots=True)
class Stretch:
    """The time between two marks that follow each other; `net_us` without what the gaps took."""

    burial: str
    what: Said
    kind: str  # signal, coarse, fine, probing, noticing, digging, between, open
    from_us: int
    to_us: int
    net_us: int
    plus_minus_us: int
    first: Said
    last: Said


@dataclass(frozen=True, slots=True)
class Away:
    """A gap: a burial's signal was away, the controller was dark, a technical gap, or the exercise had ended.

    `until_us` None: it never came back. `measured` False: the host's clock began anew, so its length is not known.
    """

    kind: AwayKind
    from_us: int
    until_us: int | None
    text: Said
    burial: str | None = None
    measured: bool = True


@dataclass(frozen=True, slots=True)
class Touch:
    """What the pad felt against what was called: `kind` unnoticed, never-called, noticed, early or never."""

    kind: str
    burial: str
    touched_us: int | None
    called_us: int | None
    gap_us: int | None
    text: Said
    void: bool = False


@dataclass(frozen=True, slots=True)
class StrikeRow:
    """One strike in the exercise, what it was taken for, and what became of it."""

    source: str
    burial: str | None
    target: TargetId
    at_us: int | None
    plus_minus_us: int
    taken_for: str
    rule: str
    judged: str | None
    became: str  # counts, no-hit, void, merged, to-judge
    late: bool


@dataclass(frozen=True, slots=True)
class CorrectionRow:
    """One correction: who, when, why, and whether it is in force: usable, not undone, not replaced."""

    correction: str
    change: str
    about: str
    value: str
    by: str
    why: str
    at_us: int | None
    wall: str | None
    in_force: bool
    usable: bool
    text: Said
    replaced: bool = False  # by a later one about the same


@dataclass(frozen=True, slots=True)
class Judge:
    """What a person still has to look at."""

    source: str
    burial: str | None
    at_us: int | None
    why: str


@dataclass(frozen=True, slots=True)
class Usual:
    """Earlier times: how many (with those who did not find), the median and the middle half, None where beyond."""

    count: int
    median_us: int | None
    low_us: int | None
    high_us: int | None
    text: Said


@dataclass(frozen=True, slots=True)
class Alive:
    """What the site's study says of one burial's time, with its interval as shares; None outside the study's data."""

    minutes: float
    counted: str  # airway, call
    alive: float | None
    low: float | None
    high: float | None
    text: Said


@dataclass(frozen=True, slots=True)
class Where:
    """Where a burial lay on that day; None: not known."""

    x_m: float
    y_m: float
    depth_m: float
    azimuth_deg: float | None
    tilt_deg: float | None


@dataclass(frozen=True, slots=True)
class BurialDebrief:
    """One burial: when it sent, what is known of its search, its find, and what stands beside it."""

    burial: str
    target: TargetId
    target_name: str
    sends: bool
    level: int
    find_by: str
    sent: tuple[tuple[int, int | None], ...]  # as long as somebody heard; None: no end is known
    marks: tuple[Mark, ...]
    stretches: tuple[Stretch, ...]
    found: Mark | None
    find_kind: str | None
    searcher: str
    in_time: bool | None
    gross_us: int | None
    net_us: int | None
    search_us: int | None  # since its own signal (a no-signal burial: since the start), gaps taken out
    touches: tuple[Touch, ...]
    where: Where | None
    before: Usual | None = None
    usual: Usual | None = None
    alive: Alive | None = None


@dataclass(frozen=True, slots=True)
class GridChance:
    """A probing grid: the chance of one pass for a pad and for a body by geometry, and what trials published."""

    across_m: float
    along_m: float
    pad: float
    body: float
    published: float
    source: str


@dataclass(frozen=True, slots=True)
class ProbeLine:
    """What can be said of a probe line: area, area a minute (`measured` when a pass was tapped), chances by grid."""

    area_m2: float | None
    m2_per_min: float | None
    measured: bool
    pad_m: float
    grids: tuple[GridChance, ...]
    text: Said


@dataclass(frozen=True, slots=True)
class Survival:
    """The study that the site named, and what is said with it."""

    study: str
    cite: str
    burials: int
    digging_s: float | None
    texts: tuple[Said, ...]


@dataclass(frozen=True, slots=True)
class Debrief:
    """The debrief of one exercise."""

    exercise: str
    drill: str
    title: str
    started: str | None  # a wall label, RFC 3339
    state: str
    limit_us: int
    length_us: int | None  # until its end, or its last entry where no end is known; None where there is neither
    start_plus_minus_us: int
    shift_us: int
    searchers: tuple[str, ...]
    by: str
    burials: tuple[BurialDebrief, ...]
    order: tuple[tuple[str, ...], ...]  # of the finds; those of one group lie inside their ±
    marks: tuple[Mark, ...]  # tapped for the exercise as a whole
    strikes: tuple[StrikeRow, ...]
    gaps: tuple[Away, ...]
    corrections: tuple[CorrectionRow, ...]
    longest: Said
    anomalies: tuple[Said, ...]
    missing: tuple[Said, ...]
    to_judge: tuple[Judge, ...]
    repeat: bool
    outline_m: tuple[tuple[float, float], ...]
    entry_m: tuple[float, float] | None
    seen_m: tuple[float, float] | None
    probe_line: ProbeLine | None
    survival: Survival | None
    then: tuple[Said, ...] = ()  # what earlier versions said of it, where that would now be otherwise, and why

    def burial(self, name: str) -> BurialDebrief:
        """One burial by its name; StopIteration when there is none."""
        return next(b for b in self.burials if b.burial == name)

    @property
    def ended(self) -> bool:
        """Whether the log holds its end."""
        return self.state not in ("running", "interrupted")

    @property
    def end_shown_us(self) -> int | None:
        """When it ended, where an end is known."""
        return self.length_us if self.ended else None

"""What a drill says: how somebody is buried and when the signal comes, not which target plays it.

Pure values; reading them from TOML is `fieldctl.drill.files`. A plan is written whole into the ledger when an
exercise starts, so that the exercise can be judged for ever by what was asked that day.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from fieldctl.keying import Keying
from fieldctl.units import TargetId

SignalKind = Literal["start", "delay", "after-find", "never"]
FindBy = Literal["hit", "call"]
AfterFind = Literal["keeps-sending", "falls-quiet"]
Orientation = Literal["any", "lying", "upright"]

USUAL_KEYING = Keying()
LEVEL_FULL = 100
LEVEL_WEAK = 40  # per cent of the full moment; common practice is "weak", no source says how weak


@dataclass(frozen=True, slots=True)
class Signal:
    """When a burial begins to send: at the start, after a delay, after another burial's find, or never."""

    kind: SignalKind = "start"
    delay_s: float = 0.0
    after: str | None = None  # the burial whose find triggers this one


@dataclass(frozen=True, slots=True)
class Apart:
    """A wish: this burial lies between `least_m` and `most_m` from burial `other`."""

    other: str
    least_m: float
    most_m: float


@dataclass(frozen=True, slots=True)
class Burial:
    """The part that one target plays in a drill: wishes for the picker, and how and when it sends."""

    name: str
    signal: Signal = Signal()
    target: TargetId | None = None  # named outright; else the picker chooses by the wishes below
    zone: str | None = None
    depth_m: tuple[float, float] | None = None
    orientation: Orientation = "any"
    apart: tuple[Apart, ...] = ()
    keying: Keying = USUAL_KEYING
    level: int = LEVEL_FULL
    drop_on_s: float = 0.0  # a signal that drops out: on for this long …
    drop_off_s: float = 0.0  # … then away for this long, over and over; 0 and 0 mean steady
    find: FindBy = "hit"
    after_find: AfterFind = "keeps-sending"
    sends_at_most_s: float | None = None  # the burial's hard limit; the drill's limit where None
    dig_place: str = ""  # where to dig instead: installed targets are never dug to


@dataclass(frozen=True, slots=True)
class Cue:
    """Something that happens at a minute of the scene: a second wave, people who arrive later."""

    at_min: float
    text: str


@dataclass(frozen=True, slots=True)
class Scene:
    """What the searchers are told and find: last-seen point, outline of the debris, a clue, cues by minute."""

    story: str = ""
    last_seen_m: tuple[float, float] | None = None
    outline_m: tuple[tuple[float, float], ...] = ()
    clue: str = ""
    cues: tuple[Cue, ...] = ()


@dataclass(frozen=True, slots=True)
class Drill:
    """A plan on file."""

    name: str
    title: str
    limit_s: float
    burials: tuple[Burial, ...]
    scene: Scene = Scene()
    assessed: bool = False
    children: bool = False  # children search: no survival figure is ever shown
    notes: str = ""

    def burial(self, name: str) -> Burial:
        """The burial of that name; KeyError when there is none."""
        for burial in self.burials:
            if burial.name == name:
                return burial
        raise KeyError(name)

    @property
    def sends(self) -> bool:
        """Whether any burial ever sends."""
        return any(b.signal.kind != "never" for b in self.burials)

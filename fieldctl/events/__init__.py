"""The facts that the ledger holds: frozen, plain, committed before anybody is told.

Each class is one kind of fact; its name on file is `KINDS`' key. Fields are plain values (numbers, text, tuples,
mappings of plain values, stamps), so that a fact written today opens for ever: fields are only ever added, with a
default. Who did it is a `by`: a person's id, or "field" where the field itself acted.

Nothing here is ever changed afterwards. What turns out to be wrong is amended by `Corrected`, a later fact.

    fact   the base, and the authors who are no person      life       the controller, all off, grants
    targets      day      exercise      assessment      people      access      walkin      visits      alarms
    snow
"""

from __future__ import annotations

from fieldctl.events.access import (
    AccountMade,
    CodeMade,
    PasswordChanged,
    PhoneEnded,
    PhonePaired,
    RightEnded,
    RightGranted,
    SignInFailed,
)
from fieldctl.events.alarms import AlarmCleared, AlarmRaised
from fieldctl.events.assessment import AssessmentDecided, AssessmentListed, AssessmentSigned, AssessmentTicked
from fieldctl.events.day import DayClosed, DayOpened, ManualIn, ManualOut, SurfaceRenewed
from fieldctl.events.exercise import (
    CallMade,
    Corrected,
    ExerciseEnded,
    ExerciseInterrupted,
    ExerciseReopened,
    ExerciseResumed,
    ExerciseStarted,
    QuestionAnswered,
    QuestionAsked,
    SignalDue,
    SignalOff,
    SignalOn,
    SplitMade,
    StrikeRecorded,
    StrikesDropped,
)
from fieldctl.events.fact import ANYBODY, FIELD, Fact
from fieldctl.events.kit import KitRead
from fieldctl.events.life import (
    AllOffConfirmed,
    AllOffOrdered,
    AllOffReleased,
    BackupRestored,
    ControllerStarted,
    ControllerStopped,
    GenerationRaised,
    GrantEnded,
    GrantGiven,
    LinkChanged,
    OrderEnded,
)
from fieldctl.events.people import PersonForgotten
from fieldctl.events.snow import SnowMeasured, TargetMoved
from fieldctl.events.targets import (
    BatterySwapped,
    KeysRotated,
    TargetAdded,
    TargetBarred,
    TargetCleared,
    TargetGreeted,
    TargetNamed,
    TargetOdd,
    TargetTakenOut,
    TargetTuned,
)
from fieldctl.events.traces import TraceRead
from fieldctl.events.visits import (
    RetrievalBegun,
    RetrievalClosed,
    RetrievalUnticked,
    SelfTested,
    SendingHeard,
    SwapTakenBack,
    TargetGivenUp,
    TargetRetrieved,
    VisitBegun,
    VisitClosed,
    VisitTicked,
    VisitUnticked,
)
from fieldctl.events.walkin import PostPressed, TouchAsked, WalkInEnded, WalkInReleased

__all__ = [
    "ANYBODY",
    "FIELD",
    "KINDS",
    "AccountMade",
    "AlarmCleared",
    "AlarmRaised",
    "AllOffConfirmed",
    "AllOffOrdered",
    "AllOffReleased",
    "AssessmentDecided",
    "AssessmentListed",
    "AssessmentSigned",
    "AssessmentTicked",
    "BackupRestored",
    "BatterySwapped",
    "CallMade",
    "CodeMade",
    "ControllerStarted",
    "ControllerStopped",
    "Corrected",
    "DayClosed",
    "DayOpened",
    "ExerciseEnded",
    "ExerciseInterrupted",
    "ExerciseReopened",
    "ExerciseResumed",
    "ExerciseStarted",
    "Fact",
    "GenerationRaised",
    "GrantEnded",
    "GrantGiven",
    "KeysRotated",
    "KitRead",
    "LinkChanged",
    "ManualIn",
    "ManualOut",
    "OrderEnded",
    "PasswordChanged",
    "PersonForgotten",
    "PhoneEnded",
    "PhonePaired",
    "PostPressed",
    "QuestionAnswered",
    "QuestionAsked",
    "RetrievalBegun",
    "RetrievalClosed",
    "RetrievalUnticked",
    "RightEnded",
    "RightGranted",
    "SelfTested",
    "SendingHeard",
    "SignInFailed",
    "SignalDue",
    "SignalOff",
    "SignalOn",
    "SnowMeasured",
    "SplitMade",
    "StrikeRecorded",
    "StrikesDropped",
    "SurfaceRenewed",
    "SwapTakenBack",
    "TargetAdded",
    "TargetBarred",
    "TargetCleared",
    "TargetGivenUp",
    "TargetGreeted",
    "TargetMoved",
    "TargetNamed",
    "TargetOdd",
    "TargetRetrieved",
    "TargetTakenOut",
    "TargetTuned",
    "TouchAsked",
    "TraceRead",
    "VisitBegun",
    "VisitClosed",
    "VisitTicked",
    "VisitUnticked",
    "WalkInEnded",
    "WalkInReleased",
]

KINDS: dict[str, type[Fact]] = {cls.__name__: cls for cls in Fact.__subclasses__()}
"""Every kind of fact by its name on file."""

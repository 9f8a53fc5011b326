"""What each verb takes over HTTP: a model for each, made of its signature and of one table of arguments.

`asked(verb)` gives the model: exactly the verb's arguments without those that we fill in (`by`, `via`, its own id),
each with a description, bounds and an example that is valid. What the table does not name yet is taken as the verb's
signature says, so that a new verb never keeps the pages from coming up; a test asks for the row.
"""

from __future__ import annotations

import inspect
from dataclasses import dataclass, field
from typing import Annotated, Any, Literal, get_type_hints

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, create_model

from fieldctl.controller.verbs import Verb
from fieldctl.web.asking import FILLED, OWN_IDS, parameters, reads

NAME_MAX = 80  # of a target, a zone, a person: longer ones fit on no screen
FILE_MAX = 60  # of a drill: in UTF-8 the name of a file has at most 255 bytes
TEXT_MAX = 2000
MANY_MAX = 256  # targets, as the design says

Name = Annotated[str, StringConstraints(max_length=NAME_MAX, pattern=r"^[^\u0000-\u001f\u007f]*$")]
FileName = Annotated[str, StringConstraints(max_length=FILE_MAX, pattern=r"^[^\u0000-\u001f\u007f]*$")]
Text = Annotated[str, StringConstraints(max_length=TEXT_MAX, pattern=r"^[^\u0000-\u0008\u000b-\u001f\u007f]*$")]
Csv = Annotated[str, StringConstraints(max_length=30_000)]
Names = Annotated[tuple[Name, ...], Field(max_length=MANY_MAX)]
Texts = Annotated[tuple[Text, ...], Field(max_length=MANY_MAX)]
Items = Annotated[tuple[Name, ...], Field(max_length=4 * MANY_MAX)]
Picks = Annotated[dict[Name, Name], Field(max_length=MANY_MAX)]
Seed = Annotated[int, Field(ge=0, lt=2**31)]
Count = Annotated[int, Field(ge=0, lt=2**32)]
Metres = Annotated[float, Field(ge=0, le=30, allow_inf_nan=False)]
Finite = Annotated[float, Field(allow_inf_nan=False)]  # the verb says what can be
Number = Annotated[float, Field(ge=-86_400, le=86_400, allow_inf_nan=False)]
Minutes = Annotated[float, Field(ge=0, le=1440, allow_inf_nan=False)]
Hours = Annotated[float, Field(ge=0, le=1000, allow_inf_nan=False)]
Ago = Annotated[float, Field(ge=0, le=3600, allow_inf_nan=False)]
HostMoment = Annotated[int, Field(ge=0, lt=2**63)]
Volts = Annotated[float, Field(ge=-110, le=110, allow_inf_nan=False)]
Celsius = Annotated[float, Field(ge=-100, le=100, allow_inf_nan=False)]
Percent = Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)]
Granted = Literal["watch", "instruct", "upkeep", "in-charge"]
Ahead = Annotated[float, Field(ge=2, le=600, allow_inf_nan=False)]


@dataclass(frozen=True, slots=True)
class Argument:
    """One argument as it is taken over HTTP."""

    kind: Any
    says: str
    example: Any
    plain: bool = field(default=True)  # fits into a query


ARGUMENTS: dict[str, Argument] = {
    "reason": Argument(Text, "Why, in a few words; it goes into the log.", "Everybody back at the hut, field walked"),
    "epoch": Argument(Count | None, "Which order of all off was seen; a newer one is not released by it.", 2),
    "why": Argument(Text, "Why this is corrected, in a few words.", "Stepped on the plate on the way in"),
    "hazard": Argument(Text, "The hazard decision of today.", "low, decided with the patrol (invented)"),
    "snow_m": Argument(Metres | None, "Snow depth at the field's stake, in metres.", 1.9),
    "touched": Argument(Names, "Targets whose plate was proved by touch.", ["5ee00001"], plain=False),
    "stray_sweep": Argument(Text, "What the sweep for stray signals heard; no names.", "nothing heard (invented)"),
    "exceptions": Argument(Texts, "Keys of problems that are signed for.", ["touch:5ee00002"], plain=False),
    "notes": Argument(Text, "Anything else to keep.", "Fresh snow over the lower part (invented)"),
    "signed": Argument(Name, "Who signs the closing.", "Ansel"),
    "own_units_back": Argument(bool, "Everybody's own unit is back to send.", True),
    "listening_walk": Argument(
        Text, "Where somebody walked with a receiver, and what was heard; no names.", "whole field, quiet"
    ),
    "heard_sending": Argument(Names, "Targets that were heard sending on the walk.", [], plain=False),
    "how": Argument(Text, "How the surface was renewed.", "tilled"),
    "zone": Argument(Name, "A zone of the site.", "upper"),
    "zones": Argument(Names, "Zones of the site.", ["upper"], plain=False),
    "begins": Argument(Text, "From when on, as a time with its offset; empty for now.", "2026-01-24T13:00:00+01:00"),
    "ends": Argument(Text, "Until when, as a time with its offset.", "2026-01-24T16:00:00+01:00"),
    "begins_in_min": Argument(Minutes | None, "From how many minutes from now on, instead of a time.", 0.0),
    "ends_in_min": Argument(Minutes | None, "Until how many minutes from now, instead of a time.", 90.0),
    "pause_s": Argument(Ago, "The pause after one party before the next may start, in seconds.", 60.0),
    "limit_min": Argument(Minutes, "How long one party may last at most, in minutes.", 20.0),
    "release": Argument(Name, "A walk-in's release; empty for all.", "w1"),
    "minutes": Argument(Minutes, "For how many minutes the pads listen.", 30.0),
    "unit": Argument(Name, "What is written on a hand-buried unit.", "M3"),
    "place": Argument(Text, "Where it lies, in words.", "by the third stake, 1 m deep"),
    "seen_off": Argument(bool, "Somebody saw that it is off.", True),
    "drill": Argument(FileName, "The name of a drill on file.", "three"),
    "seed": Argument(Seed | None, "Draws the same targets again; none for a draw of its own.", 7),
    "targets": Argument(
        Picks | None, "Burial to target, where targets are named outright.", {"A": "5ee00001"}, plain=False
    ),
    "searchers": Argument(Names, "Who searches.", ["Jon"], plain=False),
    "start_in_s": Argument(Ahead, "Seconds until the clock begins.", 2.0),
    "exercise": Argument(Name, "An exercise.", "x1"),
    "hours": Argument(Hours, "After so many hours the link is dead.", 12.0),
    "burial": Argument(Name | None, "A burial of the exercise.", "A"),
    "searcher": Argument(Name | None, "Who called.", "Jon"),
    "ago_s": Argument(Ago, "How many seconds ago it was.", 0.0),
    "name": Argument(Name, "A name for people.", "Larch 1"),
    "change": Argument(Name, "What the correction does: void, judge, merge, add-hit, place-call, give, undo …", "void"),
    "about": Argument(Name, "What it is about: a strike, call, split, burial or correction.", "5ee00001-1-1"),
    "value": Argument(Name | Finite | None, "What the correction puts in its place, where it puts something.", None),
    "candidates": Argument(Names, "Who is to be assessed, in this order.", ["Jon"], plain=False),
    "candidate": Argument(Name | None, "Who is assessed; needed where several search together.", "Jon"),
    "item": Argument(Name, "An item of the sheet, or a free one.", "probing"),
    "by_hand": Argument(bool, "Entered by hand, with a reason, for what the field would have measured.", False),
    "verdict": Argument(Name, "passed, failed or repeat.", "passed"),
    "role": Argument(Name, "assessor or second.", "assessor"),
    "question": Argument(Name, "An open question of the exercise.", "q1"),
    "answer": Argument(Name, "One of the question's choices.", "keep"),
    "link": Argument(Name, "A link of the site.", "bus"),
    "hardware": Argument(Name, "The hardware id of a new target.", "696e766435656530"),
    "secret": Argument(Name, "The factory secret on its label.", "00112233445566778899aabbccddeeff"),
    "target": Argument(Name, "A target, by id or by name.", "5ee00001"),
    "threshold": Argument(
        Annotated[int, Field(ge=0, le=65_535)],
        "Tenths of the pad's noise that begin a strike; 0: the target's own.",
        85,
    ),
    "number": Argument(Count, "A strike's number within the target's boot; 0: the last one heard.", 12),
    "lost": Argument(bool, "Lost or stolen: nothing of it is believed any more.", False),
    "person": Argument(Name, "Somebody, by name or id; a nickname will do.", "Tove"),
    "right": Argument(Granted, "What that person may do.", "instruct"),
    "until": Argument(Name, '"today", "good", or a moment as RFC 3339.', "today"),
    "phone": Argument(Name, "The id of a paired phone.", "0011223344556677"),
    "day": Argument(Name, "The day on which it was done, as YEAR-MONTH-DAY; empty for today.", "2026-01-24"),
    "visit": Argument(Name, "A visit; empty for the latest.", "v1"),
    "items": Argument(Items, "What is to be done, as the carry list names it.", ["5ee00001:battery"], plain=False),
    "found": Argument(Items, "Everything that was found by then.", ["5ee00001:battery"], plain=False),
    "done": Argument(bool, "It was done.", True),
    "knew": Argument(Names | None, "The ticks of it that were shown; none for all so far.", ["k-00"], plain=False),
    "at_us": Argument(HostMoment | None, "When it was ticked, by the host's clock; none for now.", 0),
    "boot": Argument(Name, "The host's boot that the moment is of.", ""),
    "plus_minus_s": Argument(Number, "The ± of that moment, in seconds.", 2.0),
    "tick": Argument(Name, "A tick of the visit.", "k-00"),
    "anew": Argument(bool, "Begin the round of a new season.", False),
    "retrieval": Argument(Name, "A retrieval; empty for the latest.", "r1"),
    "note": Argument(Text, "Anything to keep, in a few words.", "lay 20 cm beside its place"),
    "told": Argument(Name, "Who was told.", "Ansel"),
    "volts": Argument(Volts | None, "Volts of the whole battery at rest, by a meter.", 12.4),
    "celsius": Argument(Celsius | None, "How cold the battery was then, in °C.", -5.0),
    "percent": Argument(Percent | None, "The charge that the thing shows itself, in percent.", None),
    "fine": Argument(bool, "Looked at, and fine.", False),
    "broken": Argument(Text, "What is broken; empty where nothing is.", ""),
    "lent_to": Argument(Name, "Who has it on loan; empty where nobody has.", ""),
    "missing": Argument(bool, "It was not there at the count.", False),
    "send": Argument(bool, "Let it send under a grant, so that a receiver finds it.", False),
    "elsewhere": Argument(bool, "It was put elsewhere without a survey: its place is not trusted any more.", False),
    "csv": Argument(Csv, "Readings of the snow under a header date,snow_m,zone.", "date,snow_m\n2026-01-24,1.9\n"),
    "file": Argument(Name, "The file's name; it is kept as the readings' source.", "winter.csv"),
}
"""Every argument of a verb by its name."""

OTHERWISE: dict[tuple[str, str], Argument] = {
    ("alarm-clear", "about"): Argument(Name, "A target, by id or by name, or a link.", "5ee00001"),
    ("alarm-clear", "what"): Argument(Name, "The alarm's word, as alarm-list has it.", "battery"),
    ("alarm-clear", "reason"): Argument(Text, "What was mended, and how it was seen.", "Fresh cells, 3.4 V under load"),
    ("target-trace", "boot"): Argument(Count, "A boot of the target; 0: the present one.", 0),
    ("kit-read", "item"): Argument(Name, "The base, or a piece of kit, as site.toml names it.", "base"),
    ("snow-measured", "zone"): Argument(Name | None, "A zone of the site; none for all.", "upper"),
    ("snow-measured", "snow_m"): Argument(Metres, "How deep the snow is there, in metres.", 1.9),
    ("day-renewed", "zone"): Argument(Name | None, "A zone of the site; none for all.", "upper"),
    ("exercise-check", "seed"): Argument(Seed, "Draws the same targets again.", 7),
    ("visit-tick", "item"): Argument(Name, "An item of the visit's list.", "5ee00001:battery"),
    ("visit-tick", "why"): Argument(Text, "Why it was not done.", "ice as hard as stone"),
    ("visit-close", "why"): Argument(Text, "Why the rest was left.", "fog"),
    ("visit-close", "signed"): Argument(Name, "Who signs for the visit.", "Tove"),
    ("visit-close", "visit"): Argument(Name, "A visit.", "v1"),
    ("retrieval-lost", "place"): Argument(Text, "Where it lay last; empty for its place on file.", "below stake 3"),
    ("retrieval-lost", "reason"): Argument(Text, "Why it is given up.", "probed for an hour, nothing"),
    ("retrieval-close", "signed"): Argument(Name, "Who signs for the retrieval.", "Ansel"),
    ("assessment-tick", "value"): Argument(Name, "What was seen: yes, no, not seen, or a value.", "yes"),
    ("assessment-tick", "why"): Argument(Text, "A note; a reason where it is entered by hand.", "seen from above"),
    ("assessment-decide", "why"): Argument(Text, "Why, where the field proposes something else.", "seen from above"),
    ("exercise-split", "name"): Argument(Name, "signal, coarse, fine, airway, or a free name.", "coarse"),
}
"""Where an argument of the same name is something else."""


class Asked(BaseModel):
    """The arguments of a verb."""

    model_config = ConfigDict(extra="forbid", strict=True)


def argument(verb: Verb, name: str) -> Argument:
    """How an argument is taken: as the table says, else as the verb's signature does."""
    row = OTHERWISE.get((verb.name, name)) or ARGUMENTS.get(name)
    return row or Argument(get_type_hints(verb.call)[name], "", None, plain=False)


def takes(verb: Verb) -> list[inspect.Parameter]:
    """What is asked of whoever asks: the verb's parameters without those that we fill in."""
    filled = {*FILLED, OWN_IDS.get(verb.name, "")}
    return [p for name, p in parameters(verb).items() if name not in filled]


def by_query(verb: Verb) -> bool:
    """Whether it can be asked with GET as well: it changes nothing, and all that it takes is plain."""
    return reads(verb) and all(argument(verb, p.name).plain for p in takes(verb))


def asked(verb: Verb) -> type[Asked]:
    """The model of a verb's arguments."""
    fields: dict[str, Any] = {}
    for p in takes(verb):
        row = argument(verb, p.name)
        default = ... if p.default is p.empty else p.default
        fields[p.name] = (row.kind, Field(default, description=row.says, examples=[row.example]))
    title = "".join(part.capitalize() for part in verb.name.split("-"))
    made: type[Asked] = create_model(f"{title}Asked", __base__=Asked, __doc__=f"What {verb.name} takes.", **fields)
    return made

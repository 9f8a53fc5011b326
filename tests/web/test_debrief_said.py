"""What the controller had said, inside a debrief, in the reader's language; what people wrote is left alone."""

from __future__ import annotations

from dataclasses import dataclass

from fieldctl.debrief.assessment import Standing, digest_of
from fieldctl.debrief.model import Judge
from fieldctl.debrief.words import ENGLISH, Said, said
from fieldctl.web.debrief_said import HELD, in_language, sheet_in_language
from fieldctl.web.sayings import speaker

GERMAN = speaker("de")


@dataclass(frozen=True, slots=True)
class Part:
    title: str
    rows: tuple[Said, ...] = ()
    judge: tuple[Judge, ...] = ()
    inside: Part | None = None


def test_sentences_of_the_controller_are_said_wherever_they_stand() -> None:
    gap = said("gap.technical-open", first="6:30", why="the controller was away for 200 s")
    odd = said("odd.target", target="upper 3", burial="A", detail="its gate reads on although nothing was granted")
    made = Part("before the start", (gap,), (Judge("s", "A", 7, "before the start"),), Part("t", (odd,)))
    found = in_language(GERMAN, made)
    assert found.rows == (said("gap.technical-open", first="6:30", why="die Steuerung war 200 s weg"),)
    assert found.judge == (Judge("s", "A", 7, "vor dem Start"),)
    assert dict(found.inside.rows[0].values)["detail"] == (
        "sein Sender meldet sich als an, obwohl nichts erlaubt wurde"
    )
    assert found.title == "before the start"


def test_what_people_wrote_and_what_holds_no_sentence_is_left_alone() -> None:
    written = said("touch.void", text=said("as-it-is", text="x"), why="before the start")
    made = Part("t", (written, said("as-it-is", text="before the start")))
    assert in_language(GERMAN, made) is made


def test_the_table_names_sentences_and_placeholders_that_there_are() -> None:
    for key, name in HELD.items():
        assert f"{{{name}}}" in ENGLISH[key]


def test_a_sheet_is_shown_in_the_language_and_stays_the_one_that_was_signed() -> None:
    sheet = {
        "technical": [
            {"key": "interrupted", "about": "", "says": "the host was rebooted"},
            {"key": "dropped", "about": "A", "says": "3"},
        ],
        "to_judge": [{"source": "s", "burial": "A", "why": "before the start"}],
        "title": "before the start",
    }
    it = Standing(sheet, digest_of(sheet), None, {}, 0, altered=False, now=())
    shown = sheet_in_language(GERMAN, it)
    assert [row["says"] for row in shown.sheet["technical"]] == ["der Rechner wurde neu gestartet", "3"]
    assert shown.sheet["to_judge"][0]["why"] == "vor dem Start"
    assert shown.sheet["title"] == "before the start"
    assert shown.digest == digest_of(it.sheet) == it.digest
    assert it.sheet["technical"][0]["says"] == "the host was rebooted"

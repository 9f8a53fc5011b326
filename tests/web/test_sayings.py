"""What the controller says, in German, French and Italian: every sentence has its saying, and each is found."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from sayings_kit import FIELD, numbered, spoken

import fieldctl
from fieldctl.errors import Fault
from fieldctl.web.on_page import on_page
from fieldctl.web.sayings import KEPT, SAID, SHORT, Rows, say, say_rows, sayings_of, speaker

FIELDCTL = Path(fieldctl.__file__).parent
OTHERS = ("de", "fr", "it")
AS_THEY_ARE = ("Content-Type: application/json", "X-Fieldctl: 1")  # no language
ALIKE = re.compile(r"[^\W\d_]{4,}")

STANDS_IN = {
    "finding": "this target's clock jumped back by at least 300 µs",
    "lines": "The field is closed. A person in charge opens it: fieldctl day open. [closed]",
    "remedy": "Wait until then.",
    "expected": "none",
}
"""What a placeholder holds that is said itself; a number stands in every other."""


def shape(template: str) -> str:
    return FIELD.sub("{}", template)


def fields(template: str) -> set[str]:
    return set(FIELD.findall(template))


def test_the_source_is_read_as_people_would_read_it() -> None:
    found = spoken()
    assert "The field is closed." in found  # a plain sentence
    assert "There is no drill {name}." in found  # a value in it
    assert "{burial}: {label} plays in exercise {exercise}." in found  # put together by a helper
    assert "{burial}: {label} is {life}, last heard {not_heard_s} s ago." in found  # one of two ends
    assert "post {name} ({zone}) did not answer the roll-call." in found  # a local name holds its first half
    assert "before the start" in found  # given back by a function
    assert "The field cannot open yet:\n  {lines}" in found  # two lines
    assert len(found) > 500


@pytest.mark.parametrize("language", OTHERS)
def test_every_sentence_that_can_reach_a_page_has_a_saying(language: str) -> None:
    known = {shape(template) for template in sayings_of(language)[0]}
    missing = [f"{where}: {template!r}" for template, where in spoken().items() if shape(template) not in known]
    assert [row for row in missing if not any(text in row for text in AS_THEY_ARE)] == []


@pytest.mark.parametrize("language", OTHERS)
def test_a_saying_has_the_placeholders_of_its_sentence_and_is_another_sentence(language: str) -> None:
    for template, said in sayings_of(language)[0].items():
        assert fields(template) == fields(said), template
        assert template == numbered(template), "a placeholder stands once"
        assert template != said or not ALIKE.search(FIELD.sub("", template)), template
        assert said.strip() == said != "", template


def test_all_languages_have_the_same_sayings_and_words() -> None:
    for nth in (0, 1):
        keys = [list(sayings_of(language)[nth]) for language in OTHERS]
        assert keys[0] == keys[1] == keys[2]


def test_no_two_sayings_are_of_one_shape() -> None:
    templates = list(sayings_of("de")[0])
    assert len({shape(template) for template in templates}) == len(templates)


@pytest.mark.parametrize("language", OTHERS)
def test_each_saying_is_found_by_a_sentence_made_from_it(language: str) -> None:
    said = speaker(language)
    for template, translated in sayings_of(language)[0].items():
        values = {name: STANDS_IN.get(name, "7") for name in fields(template)}
        inside = {name: said(value) for name, value in values.items()}
        assert said(template.format(**values)) == on_page(language, translated.format(**inside)), template


@pytest.mark.parametrize("language", OTHERS)
def test_a_saying_is_found_whatever_names_stand_in_it(language: str) -> None:
    name = "Höhe 3 Süd-Ost"
    for template, translated in sayings_of(language)[0].items():
        own = "".join(FIELD.sub("", template).split())
        if len(own) < SHORT or not fields(template):
            continue  # too short to be told from other sentences: a number or one word only
        values = {f: STANDS_IN.get(f, name) for f in fields(template)}
        inside = {f: say(language, value) for f, value in values.items()}
        assert say(language, template.format(**values)) == on_page(language, translated.format(**inside)), template


@pytest.mark.parametrize("language", ["en", *OTHERS])
def test_keys_go_from_the_ends_of_lines_and_from_nowhere_else(language: str) -> None:
    lines = "The field is closed. [closed]\n  The field is closed.  [wish:A b:depth]"
    closed = say(language, "The field is closed.")
    assert say(language, lines) == f"{closed}\n  {closed}"
    for text in ("Add [battery] with chemistry", "the table [pages]"):
        assert say(language, text) == text


def test_a_fault_that_asks_ends_as_a_question() -> None:
    wrong = "'startt' is none of these; did you mean 'start'?"
    fault = str(Fault("d.toml", 4, "signal", wrong, "start or after-find", "Go."))
    assert "did you mean 'start'? Expected: " in fault
    assert say("de", fault).startswith("d.toml:4: signal: 'startt' ist nichts davon; war 'start' gemeint? Erwartet")


def test_german_is_written_so_that_it_is_right_in_switzerland_too() -> None:
    files = [file for file in FIELDCTL.rglob("*.toml") if "de" in (file.stem, file.parent.name)]
    assert {file.parents[1].name for file in files} >= {"texts", "upkeep"}
    assert [file for file in files if "ß" in file.read_text(encoding="utf-8")] == []


def test_several_sentences_and_lines_are_said_one_by_one() -> None:
    refused = (
        "Larch cannot start:\n"
        "  A: upper 3 may not be used: barred until it is dug out and seen to be quiet: its gate reads on although "
        "nothing was granted. Choose another target. [barred:5ee00001]\n"
        "  The field is closed. A person in charge opens it: fieldctl day open. [closed]"
    )
    assert say("de", refused) == (
        "Larch kann nicht starten:\n"
        "  A: upper 3 darf nicht benutzt werden: gesperrt, bis es ausgegraben und still gesehen ist: sein Sender "
        "meldet sich als an, obwohl nichts erlaubt wurde. Ein anderes Ziel wählen.\n"
        "  Das Feld ist geschlossen. Wer die Verantwortung hat, öffnet es: Seite „Tag“."
    )
    known_and_not = "Something else. The field is closed."
    assert say("fr", known_and_not) == "Something else. Le terrain est fermé."


def test_the_sentence_of_an_error_as_a_whole_is_said() -> None:
    whole = (
        "The ledger x.db cannot be written: the disk is full (boo). Expected: a writable folder on a sound disk with "
        "room left. To do: Free some space, then start fieldctl again. Nothing may send until then."
    )
    assert say("de", whole) == (
        "Das Protokoll x.db kann nicht geschrieben werden: der Datenträger ist voll (boo). Erwartet: ein "
        "beschreibbarer Ordner auf einem gesunden Datenträger mit freiem Platz. Zu tun: Platz schaffen, "
        "dann fieldctl neu starten. Bis dahin darf nichts senden."
    )


def test_of_several_that_match_the_one_that_explains_most_counts() -> None:
    assert say("de", "A: upper is overdue, last heard 30 s ago.") == "A: upper ist überfällig, zuletzt gehört vor 30 s."
    unusable = "correction c1 cannot be used: 'z' is no strike, call or split of this exercise"
    assert say("de", unusable).startswith("Berichtigung c1 kann nicht verwendet werden: 'z' ist weder Schlag")


def test_wishes_in_a_row_are_said() -> None:
    unmet = "target 5ee00001 once it can be used (never added to this site); target 5ee00002 at 0.8 m"
    assert say("it", unmet) == (
        "il bersaglio 5ee00001, appena si potrà usare (mai aggiunto a questo campo); il bersaglio 5ee00002 a 0.8 m"
    )
    assert say("de", "stopped or complete or time-up") == "gestoppt oder vollständig oder Zeit ist um"


def test_a_wish_that_is_not_met_is_said_after_the_name_of_its_burial() -> None:
    line = "Mira 2: no target that fits is lying. The nearest that can be had: target 5ee00001 in zone up."
    assert say("de", "B: no target that fits lies 4 to 5 m deep.") == "B: kein passendes Ziel liegt 4 bis 5 m tief."
    assert say("de", "None: its zone leaves no way for all burials together.") == (
        "None: dieser Wunsch lässt keinen Weg für alle Verschütteten zusammen: Zone."
    )
    assert say("de", line).startswith("Mira 2: kein passendes Ziel liegt so: liegend. Das")
    assert say("de", line).endswith(". Das Nächste, das zu haben ist: Ziel 5ee00001 in Zone up.")
    assert say("de", "A: start") == "A: start"


def test_a_name_is_never_taken_for_a_word_of_the_controller() -> None:
    assert say("de", "There is no drill 'found'.") == "Es gibt keine Aufgabe 'found'."
    assert say("de", "Unit probe is out already.") == "Gerät probe ist schon draussen."
    assert say("de", "probe") == "probe"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "x1, x2, x3",
        "Go back to start",
        "Take it from here to there.",
        "What is that? It is no answer.",
        "drills/larch.toml:3: limit_s",
        "{braces} and \\d+ (brackets",
        "A thing nobody has foreseen; and another one.",
    ],
)
def test_what_no_saying_fits_stays_as_it_is(text: str) -> None:
    for language in ("en", *OTHERS):
        assert say(language, text) == text


def test_english_stays_english_and_a_language_that_there_is_not_too() -> None:
    assert say("en", "The field is closed.") == "The field is closed."
    assert say("rm", "The field is closed.") == "The field is closed."


def test_what_was_said_is_kept_within_bounds() -> None:
    for n in range(KEPT + 100):
        say("de", f"There is no drill 'd{n}'.")
    kept = say.cache_info()
    assert kept.currsize <= KEPT == kept.maxsize


def test_every_placeholder_that_is_said_is_one_of_a_saying() -> None:
    used = {name.rstrip("0123456789") for template in sayings_of("de")[0] for name in fields(template)}
    assert used >= SAID


# ---- rows ----------------------------------------------------------------------------------------------------


def rows() -> Rows:
    return {
        "field": {
            "all_off": {
                "in_force": True,
                "unconfirmed": [{"name": "u1", "place": "place not surveyed", "says": "its gate reads on"}],
            },
            "failed": None,
        },
        "target:5ee00001": {
            "place": "upper, x 1 m, y 2 m, 0.8 m deep",
            "odd": {"clock": "its gate reads on although nothing was granted"},
        },
        "exercise:x1": {
            "title": "before the start",
            "to_judge": [{"source": "s", "why": "before the start"}],
            "questions": [{"question": "q", "what": "The signal of A is away (lost). May it send again?"}],
            "anomalies": ["A was found before its signal was on"],
        },
        "walkin:upper": {"drill": "before the start"},
    }


def test_rows_are_said_where_the_controller_speaks_and_nowhere_else() -> None:
    given = rows()
    said = say_rows("de", given)
    assert said["field"]["all_off"]["unconfirmed"][0] == {
        "name": "u1",
        "place": "Ort nicht vermessen",
        "says": "its gate reads on",  # a word of the contract: the page has its own sentence for it
    }
    assert said["target:5ee00001"]["place"] == "upper, x 1 m, y 2 m, 0.8 m tief"
    assert said["target:5ee00001"]["odd"] == {"clock": "sein Sender meldet sich als an, obwohl nichts erlaubt wurde"}
    assert said["exercise:x1"]["title"] == "before the start"
    assert said["exercise:x1"]["to_judge"][0]["why"] == "vor dem Start"
    assert said["exercise:x1"]["questions"][0]["what"] == (
        "Das Signal von A ist weg (Befehl verloren). Darf es wieder senden?"
    )
    assert said["exercise:x1"]["anomalies"] == ["A wurde gefunden, bevor das Signal an war"]
    assert said["walkin:upper"] is given["walkin:upper"]
    assert given == rows(), "what was computed for everybody is left as it is"


def test_rows_in_english_say_the_same() -> None:
    assert say_rows("en", rows()) == rows()


def test_rows_of_those_who_look_on_hold_no_sentence() -> None:
    given: Rows = {
        "field": {"all_off": {"in_force": False}, "failed": None},
        "exercise:x1": {"title": "t", "called_s": []},
    }
    assert say_rows("it", given) == given

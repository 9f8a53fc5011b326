"""Refusals, what is in the way, what is to be judged: on pages and in answers, as the reader's browser asks for it."""

from __future__ import annotations

from typing import Any

from api_kit import is_problem
from edge_pages_kit import Pages, pages, tell
from test_stream import Air, Listener
from test_stream import tell as tell_air

from fieldctl.web import pages as field_pages
from fieldctl.web.board import Board

FRENCH = {"Accept-Language": "fr-CH, fr;q=0.9"}
GERMAN = {"Accept-Language": "de"}


def with_pages(found: Pages) -> Pages:
    found.app.include_router(field_pages.router())
    return found


async def asked(found: Pages, path: str, **headers: str) -> dict[str, Any]:
    row: dict[str, Any] = (await found.send("GET", path, headers=headers)).json()
    return row


def test_a_refusal_is_answered_in_the_language_that_the_browser_asks_for() -> None:
    async def story(found: Pages) -> None:
        row = is_problem(await found.send("GET", "/api/v1/exercise-show?exercise=x9", headers=FRENCH), 404, "not-found")
        assert row["title"] == "Rien de ce nom"
        assert row["detail"] == "Il n'y a pas d'exercice 'x9'."
        assert row["expected"] == "aucun"
        assert row["remedy"] == "Nommer l'un d'eux."
        assert row["type"] == "/api/problems/not-found"
        row = await asked(found, "/api/v1/exercise-show?exercise=x9", **{"Accept-Language": "ja"})
        assert row["detail"] == "There is no exercise 'x9'."
        row = await asked(found, "/api/v1/nothing", **GERMAN)
        assert row["detail"] == "Unter /api/v1/nothing gibt es nichts."

    tell(story)


def test_a_reader_who_chose_a_language_is_refused_in_it_whatever_the_browser_says() -> None:
    async def story(found: Pages) -> None:
        chosen = {"Cookie": "fieldctl_language=it", **GERMAN}
        row = await asked(found, "/api/v1/exercise-show?exercise=x9", **chosen)
        assert row["detail"] == "Non c'è nessun esercizio 'x9'."

    tell(story)


def test_the_door_refuses_in_the_readers_language_too() -> None:
    async def story(found: Pages) -> None:
        answer = await found.send("POST", "/api/v1/exercise-start", content=b"drill=one", headers=GERMAN)
        row = is_problem(answer, 415, "not-json")
        assert row["detail"] == "Eine Anfrage, die etwas ändert, ist JSON."
        answer = await found.send("GET", "/api/v1/status", headers={**GERMAN, "Host": "elsewhere.test"})
        row = is_problem(answer, 421, "other-host")
        assert row["detail"] == "Dieses Feld antwortet nicht auf den Hostnamen 'elsewhere.test'."

    tell(story)


def test_what_a_kind_of_problem_means_is_a_page_in_the_readers_language() -> None:
    async def story(found: Pages) -> None:
        answer = await found.send("GET", "/api/problems/refused", headers={**FRENCH, "Accept": "text/html"})
        assert '<html lang="fr">' in answer.text
        assert "Quelque chose fait obstacle" in answer.text

    tell(story)


def test_every_line_of_a_refused_start_is_said() -> None:
    async def story(found: Pages) -> None:
        headers = {**GERMAN, "X-Fieldctl": "1", "Idempotency-Key": "key-00000001"}
        row = (await found.send("POST", "/api/v1/exercise-start", json={"drill": "one"}, headers=headers)).json()
        assert row["title"] == "Das Feld darf das jetzt nicht"
        lines = row["detail"].split("\n")
        assert lines[0].endswith(" kann nicht starten:")
        assert "  Das Feld ist geschlossen. Wer die Verantwortung hat, öffnet es: Seite „Tag“." in lines
        assert row["remedy"] == "Tun, was jede Zeile sagt."

    tell(story)


def test_the_ready_check_of_a_drill_is_said_on_its_page_and_in_the_answer() -> None:
    async def story(found: Pages) -> None:
        with_pages(found)
        page = await found.page("/drills/one", **GERMAN)
        assert "Das Feld ist geschlossen." in page.one(id="hindrances").text
        assert "Wer die Verantwortung hat, öffnet es: Seite „Tag“." in page.one(id="hindrances").text
        headers = {**FRENCH, "X-Fieldctl": "1"}
        row = (await found.send("POST", "/api/v1/exercise-check", json={"drill": "one"}, headers=headers)).json()
        assert "Le terrain est fermé." in {one["wrong"] for one in row["hindrances"]}

    tell(story)


def test_a_page_that_cannot_be_shown_says_why_in_the_readers_language() -> None:
    async def story(found: Pages) -> None:
        with_pages(found)
        answer = await found.send("GET", "/drills/none", headers=FRENCH)
        assert answer.status_code == 404
        assert "Il n&#39;y a pas de scénario &#39;none&#39;." in answer.text

    tell(story)


def test_a_line_of_the_day_that_its_page_has_no_words_for_is_said_as_elsewhere() -> None:
    async def story(found: Pages) -> None:
        answer = await found.send(
            "POST", "/day/lines", json={"exceptions": ["touch:none"]}, headers={**GERMAN, "X-Fieldctl": "1"}
        )
        lines = {line["key"]: line for line in answer.json()["lines"]}
        assert lines["exception:touch:none"]["wrong"] == "Die Ausnahme 'touch:none' nennt nichts, was im Weg steht."
        assert lines["exception:touch:none"]["remedy"] == "Weglassen."

    tell(story)


def test_the_stream_says_where_a_target_lies_in_each_language() -> None:
    with pages() as found:
        assert found.made.life is not None
        board = Board(found.made.life.controller)
        rows = {language: board.follow("watch", language).news()[0] for language in ("en", "de")}
    key = next(key for key in rows["en"] if key.startswith("target:"))
    assert " m deep" in rows["en"][key]
    assert " m tief" in rows["de"][key]
    assert " m deep" not in rows["de"][key]


def test_a_stream_is_in_the_language_of_the_browser_that_dials() -> None:
    async def story(air: Air) -> None:
        async def in_german(scope: Any, receive: Any, send: Any) -> None:
            await air.app({**scope, "headers": [*scope["headers"], (b"accept-language", b"de")]}, receive, send)

        english = await air.dial()
        german = Listener(in_german)  # type: ignore[arg-type]
        air.listeners.append(german)
        await german.dial(browser="browser-0002")
        places = [
            next(row["place"] for key, row in one.named("snapshot")[0]["rows"].items() if key.startswith("target:"))
            for one in (english, german)
        ]
        assert places[0].endswith(" m deep")
        assert places[1].endswith(" m tief")

    tell_air(story)

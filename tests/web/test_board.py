"""The board: rows with numbers for whoever follows a view, nothing kept for a dark phone, each language once."""

from __future__ import annotations

import asyncio
import json
from collections import Counter
from types import SimpleNamespace
from typing import Any

import pytest

from fieldctl.web import board as boards
from fieldctl.web.board import Board
from fieldctl.web.sayings import Rows


class Views:
    """Stands in for what the controller is seen as: two views, and how often each was computed."""

    def __init__(self) -> None:
        self.rows: Rows = {"exercise:x1": exercise("before the start"), "walkin:upper": {"state": "free"}}
        self.computed: Counter[str] = Counter()

    def watch(self, _controller: Any) -> Rows:
        self.computed["watch"] += 1
        return dict(self.rows)

    def everybody(self, _controller: Any) -> Rows:
        self.computed["everybody"] += 1
        return {"walkin:upper": self.rows["walkin:upper"]}


def exercise(why: str) -> dict[str, Any]:
    return {"to_judge": [{"source": "s", "why": why}], "questions": [], "anomalies": []}


@pytest.fixture
def views(monkeypatch: pytest.MonkeyPatch) -> Views:
    made = Views()
    monkeypatch.setattr(boards, "VIEWS", {"watch": made.watch, "everybody": made.everybody})
    return made


@pytest.fixture
def controller() -> Any:
    return SimpleNamespace(ledger=SimpleNamespace(head=lambda: (7, "")), watchers=[])


@pytest.fixture
def board(views: Views, controller: Any) -> Board:
    return Board(controller)


def why(text: str) -> str:
    """The one reason to judge in a row as JSON."""
    return str(json.loads(text)["to_judge"][0]["why"])


def test_the_first_news_are_everything_and_the_next_what_changed(views: Views, board: Board) -> None:
    follower = board.follow("watch")
    rows, gone = follower.news()
    assert set(rows) == {"exercise:x1", "walkin:upper"}
    assert gone == []
    board.look()
    assert follower.news() == ({}, [])
    views.rows["walkin:upper"] = {"state": "goes-on"}
    board.look()
    assert follower.news() == ({"walkin:upper": '{"state":"goes-on"}'}, [])
    assert follower.news() == ({}, [])


def test_a_row_that_came_back_to_what_it_was_is_no_news_unless_somebody_saw_it(views: Views, board: Board) -> None:
    saw, dark = board.follow("watch"), board.follow("watch")
    saw.news(), dark.news()
    before = views.rows["walkin:upper"]
    for state in ({"state": "goes-on"}, before):
        views.rows["walkin:upper"] = state
        board.look()
        assert set(saw.news()[0]) == {"walkin:upper"}
    assert dark.news()[0] == {"walkin:upper": '{"state":"free"}'}, "as it is now, once, and none of what was between"


def test_nothing_is_queued_for_a_phone_that_is_dark(views: Views, board: Board) -> None:
    dark = board.follow("watch")
    dark.news()
    for n in range(500):
        views.rows["walkin:upper"] = {"state": str(n)}
        board.look()
    assert dark.news() == ({"walkin:upper": '{"state":"499"}'}, [])


def test_a_row_that_is_gone_is_told_once_to_whoever_had_it(views: Views, board: Board) -> None:
    follower = board.follow("watch")
    follower.news()
    row = views.rows.pop("exercise:x1")
    board.look()
    assert follower.news() == ({}, ["exercise:x1"])
    assert follower.news() == ({}, [])
    late = board.follow("watch")
    assert late.news() == ({"walkin:upper": '{"state":"free"}'}, []), "who comes later never had it"
    views.rows["exercise:x1"] = row
    board.look()
    assert follower.news()[1] == []
    assert set(late.news()[0]) == {"exercise:x1"}


def test_each_language_has_its_own_sentences(views: Views, board: Board) -> None:
    followers = {language: board.follow("watch", language) for language in ("en", "de", "fr", "it")}
    said = {language: why(follower.news()[0]["exercise:x1"]) for language, follower in followers.items()}
    assert said == {"en": "before the start", "de": "vor dem Start", "fr": "avant le départ", "it": "prima dell'inizio"}
    views.rows["exercise:x1"] = exercise("for which burial?")
    board.look()
    said = {language: why(follower.news()[0]["exercise:x1"]) for language, follower in followers.items()}
    assert said == {
        "en": "for which burial?",
        "de": "für wen?",
        "fr": "pour quel enseveli ?",
        "it": "per quale sepolto?",
    }


def test_a_view_is_computed_once_for_all_languages_and_only_while_it_is_followed(views: Views, board: Board) -> None:
    followers = [board.follow("watch", language) for language in ("en", "de", "de", "fr")]
    views.computed.clear()
    board.look()
    assert views.computed == {"watch": 1}
    for follower in followers:
        follower.close()
    assert board.followers == 0
    views.computed.clear()
    board.look()
    assert not views.computed


def test_the_last_to_leave_a_language_leaves_the_others_as_they_are(views: Views, board: Board) -> None:
    german, french, second = board.follow("watch", "de"), board.follow("watch", "fr"), board.follow("watch", "de")
    for follower in (german, french, second):
        follower.news()
    german.close()
    assert board.followers == 2
    second.close()
    views.rows["exercise:x1"] = exercise("for which burial?")
    board.look()
    assert why(french.news()[0]["exercise:x1"]) == "pour quel enseveli ?"
    again = board.follow("watch", "de")
    assert set(again.news()[0]) == {"exercise:x1", "walkin:upper"}
    assert why(board.follow("watch", "de").news()[0]["exercise:x1"]) == "für wen?"


def test_views_do_not_hear_of_each_other(views: Views, board: Board) -> None:
    watching, anybody = board.follow("watch", "de"), board.follow("everybody", "de")
    watching.news(), anybody.news()
    views.rows["exercise:x1"] = exercise("for which burial?")
    board.look()
    assert set(watching.news()[0]) == {"exercise:x1"}
    assert anybody.news() == ({}, [])


def test_there_is_no_view_of_another_name(board: Board) -> None:
    with pytest.raises(KeyError):
        board.follow("secrets")
    assert board.followers == 0
    board.look()


def test_a_commit_moves_the_cursor_and_wakes_whoever_waits(views: Views, board: Board, controller: Any) -> None:
    async def tried() -> int:
        task = asyncio.create_task(board.run())
        follower = board.follow("watch")
        follower.news()
        await asyncio.sleep(0)
        (watcher,) = controller.watchers
        views.rows["walkin:upper"] = {"state": "goes-on"}
        watcher((SimpleNamespace(seq=9),))
        found: dict[str, str] = {}
        while not found:
            await board.changed(5.0)
            found, _ = follower.news()
        watcher(())
        watcher((SimpleNamespace(seq=8),))  # an earlier one does not move it back
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        return len(found)

    assert board.cursor == 7
    assert asyncio.run(tried()) == 1
    assert board.cursor == 9
    assert controller.watchers == []


def test_waiting_for_a_change_ends_when_none_comes(board: Board) -> None:
    asyncio.run(asyncio.wait_for(board.changed(0.01), 5))

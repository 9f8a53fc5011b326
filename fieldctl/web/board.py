"""The rows that pages show, each with a number that rises whenever the row changes; computed only while somebody looks.

One board for all phones: a view is computed once for all that follow it, after each commit and four times a second, and
said once in each language that somebody reads it in.
A follower is given what changed since what it was given last, however long that was ago: nothing is queued for a phone
that is slow or dark, and nothing old is played back to it.
"""

from __future__ import annotations

import asyncio
import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fieldctl.web.sayings import ENGLISH, say_rows
from fieldctl.web.views import VIEWS, Rows

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller
    from fieldctl.ledger.entry import Entry

LOOK_EVERY_S = 0.25  # what changes without an entry: heard, overdue, a gate that reads on
AFTER_COMMIT_S = 0.02  # entries of one moment come in groups


@dataclass(slots=True)
class _Shown:
    """One view in one language, as it was computed last."""

    rows: dict[str, tuple[int, str]] = field(default_factory=dict)  # key -> (number, JSON)
    gone: dict[str, int] = field(default_factory=dict)  # key -> the number with which it went
    number: int = 0
    followers: int = 0


class Board:
    """What `views` says, with numbers; `run()` until cancelled."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller
        self._shown: dict[tuple[str, str], _Shown] = {}  # (view, language) that somebody follows
        self._changed = asyncio.Condition()
        self._wake = asyncio.Event()
        self.cursor = controller.ledger.head()[0]  # number of the last entry that is committed

    async def run(self) -> None:
        """Look again and again, and after each commit; tell followers what is new."""
        self._c.watchers.append(self._committed)
        try:
            while True:
                self.look()
                async with self._changed:
                    self._changed.notify_all()
                try:
                    async with asyncio.timeout(LOOK_EVERY_S):
                        await self._wake.wait()
                    await asyncio.sleep(AFTER_COMMIT_S)
                except TimeoutError:
                    pass
                self._wake.clear()
        finally:
            self._c.watchers.remove(self._committed)

    def _committed(self, entries: tuple[Entry, ...]) -> None:
        if entries:
            self.cursor = max(self.cursor, entries[-1].seq)
            self._wake.set()

    def look(self) -> None:
        """Compute every view that somebody follows, and say it in each language that it is followed in."""
        computed = {view: VIEWS[view](self._c) for view in {view for view, _ in self._shown}}
        for (view, language), shown in self._shown.items():
            _renew(shown, say_rows(language, computed[view]))

    def follow(self, view: str, language: str = ENGLISH) -> Follower:
        """Begin to follow a view in a language; KeyError where there is no view of that name."""
        rows = say_rows(language, VIEWS[view](self._c))
        shown = self._shown.setdefault((view, language), _Shown())
        shown.followers += 1
        _renew(shown, rows)
        return Follower(self, shown)

    def left(self, shown: _Shown) -> None:
        """Somebody follows no more; what nobody follows is forgotten."""
        shown.followers -= 1
        self._shown = {key: one for key, one in self._shown.items() if one.followers}

    async def changed(self, within_s: float) -> None:
        """Wait until the board was looked at again, or so long."""
        try:
            async with asyncio.timeout(within_s), self._changed:
                await self._changed.wait()
        except TimeoutError:
            pass

    @property
    def followers(self) -> int:
        """How many streams are open."""
        return sum(shown.followers for shown in self._shown.values())


def _renew(shown: _Shown, rows: Rows) -> None:
    number = shown.number + 1
    changed = False
    for key, row in rows.items():
        text = json.dumps(row, ensure_ascii=False, separators=(",", ":"))
        if key not in shown.rows or shown.rows[key][1] != text:
            shown.rows[key] = (number, text)
            shown.gone.pop(key, None)
            changed = True
    for key in [key for key in shown.rows if key not in rows]:
        del shown.rows[key]
        shown.gone[key] = number
        changed = True
    shown.number += changed


class Follower:
    """One stream's place on the board; `close()` when it ends."""

    def __init__(self, board: Board, shown: _Shown) -> None:
        self._board = board
        self._shown = shown
        self._seen = 0

    def news(self) -> tuple[dict[str, str], list[str]]:
        """(rows as JSON that changed since the last time, keys that went); everything at the first time."""
        seen, self._seen = self._seen, self._shown.number
        rows = {key: text for key, (number, text) in self._shown.rows.items() if number > seen}
        gone = [key for key, number in self._shown.gone.items() if number > seen > 0]
        return rows, gone

    @property
    def number(self) -> int:
        """That of what it was given last."""
        return self._seen

    def close(self) -> None:
        """Follow no more."""
        self._board.left(self._shown)

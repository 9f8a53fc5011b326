"""A drill's preview on its page: of what the page shows now; kept as long as that holds; a failure is not kept."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from api_kit import Web, tell

from fieldctl.errors import Refused
from fieldctl.ledger.store import Ledger
from fieldctl.site.snow import Burial
from fieldctl.web import rehearsing

ONE = 'title = "One"\nlimit_min = 15\n[[burial]]\nname = "A"\ntarget = "5ee00001"\n'


class Elsewhere:
    """The other process, here: what it was asked for, and what goes wrong with it."""

    def __init__(self, folder: Path) -> None:
        self.ledger = str(folder / "ledger.sqlite")  # empty: that of the story lives in memory
        Ledger.open(self.ledger, inline=True).close()
        self.asked: list[tuple[Any, ...]] = []
        self.fails: Exception | None = None

    async def run(self, work: Callable[..., Any], *given: Any, progress: Any = None) -> Any:
        self.asked.append(given)
        if self.fails is not None:
            raise self.fails
        site, _in_memory, *rest = given
        return work(site, self.ledger, *rest)


def previews(w: Web) -> Elsewhere:
    """Put the routes of previews beside the API."""
    found = Elsewhere(w.app.state.house.controller.outside.folder)
    w.app.include_router(rehearsing.router())
    w.app.state.house.elsewhere = found
    return found


async def asked(w: Web, drill: str, **wish: Any) -> Any:
    """The answer once the work is through."""
    for _ in range(3):
        answer = await w.send("GET", f"/drills/{drill}/preview", params=wish)
        if answer.status_code != 202:
            return answer
    raise AssertionError("it is never through")


@pytest.fixture(autouse=True)
def few(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rehearsing, "RUNS", 5)


def test_it_is_made_once_and_anew_when_the_drill_the_snow_or_the_times_change(monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(w: Web) -> None:
        elsewhere, controller = previews(w), w.app.state.house.controller
        file = controller.outside.folder / "drills" / "one.toml"
        file.write_text(ONE)
        first = (await asked(w, "one")).json()
        assert (await asked(w, "one")).json() == first
        assert len(elsewhere.asked) == 1
        assert (await w.send("GET", "/drills/one/preview.svg", params={"nth": first["picture"]})).status_code == 200
        file.write_text(ONE + 'signal = "never"\n')
        second = (await asked(w, "one")).json()
        assert second["burials"][0]["hard"][0]["kind"] == "no-signal"
        assert second["picture"] != first["picture"]
        monkeypatch.setattr(controller.snow, "burial", lambda place: Burial(2.8))
        third = (await asked(w, "one")).json()
        assert third["burials"][0]["depth_m"] == 2.8
        assert any("those of today" in row for row in third["assumptions"])
        controller.exercises.all["x1"] = SimpleNamespace(
            id="x1", drill=SimpleNamespace(name="one"), status="time-up", facts=[None]
        )
        await asked(w, "one")
        del controller.exercises.all["x1"]
        assert len(elsewhere.asked) == 4

    tell(story)


@pytest.mark.parametrize("fails", [Refused("Too many pages are worked out.", remedy="Wait."), ZeroDivisionError()])
def test_a_failure_is_told_once_and_not_kept(fails: Exception) -> None:
    async def story(w: Web) -> None:
        elsewhere = previews(w)
        (w.app.state.house.controller.outside.folder / "drills" / "one.toml").write_text(ONE)
        elsewhere.fails = fails
        answer = await asked(w, "one")
        assert answer.status_code == 409
        assert ("Too many" in answer.text) or ("could not be worked out" in answer.text)
        elsewhere.fails = None
        assert (await asked(w, "one")).status_code == 200
        nowhere = await asked(w, "no-such")
        assert nowhere.status_code == 409
        assert "no-such" in nowhere.text

    tell(story)


def test_the_same_again_is_rehearsed_with_the_same_targets_and_as_many_people() -> None:
    async def story(w: Web) -> None:
        previews(w)
        folder = w.app.state.house.controller.outside.folder
        (folder / "drills" / "any.toml").write_text('title = "Any"\nlimit_min = 15\n[[burial]]\nname = "A"\n')
        for target in ("5ee00001", "5ee00003"):
            found = (await asked(w, "any", seed=1, same=json.dumps({"A": target}), searchers=3)).json()
            assert found["burials"][0]["target"] == target
            assert found["searchers"] == 3
        for wrong in ({"same": "[1]"}, {"same": "{"}, {"searchers": 31}, {"searchers": 0}):
            assert (await w.send("GET", "/drills/any/preview", params=wrong)).status_code == 422

    tell(story)

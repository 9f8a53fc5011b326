"""The carry list and the retrieval as pages: what they hold, for whom, in whose words, and the sheets to print."""

from __future__ import annotations

import asyncio
import contextlib
import json
import re
import tomllib
from importlib import resources
from types import SimpleNamespace
from typing import Any

import pytest
from api_kit import somebody
from edge_pages_kit import Pages, read, tell

from fieldctl.ledger.reader import Reader
from fieldctl.web import carry_pages, words
from fieldctl.web.rights import NOBODY

ITEMS = ["5ee00001:battery", "5ee00002:battery", "5ee00003:deaf"]


def with_pages(w: Pages, monkeypatch: pytest.MonkeyPatch) -> None:
    """These pages too, worked out in this process."""
    monkeypatch.setattr(Reader, "read", lambda _where: contextlib.nullcontext(w.made.ledger))

    async def run(work: Any, *given: Any) -> Any:
        return work(*given)

    w.app.state.house.elsewhere = SimpleNamespace(run=run)
    w.app.include_router(carry_pages.router())


def told(monkeypatch: pytest.MonkeyPatch, story: Any) -> None:
    async def whole(w: Pages) -> None:
        with_pages(w, monkeypatch)
        await asyncio.sleep(1)
        await story(w)

    tell(whole)


def test_before_a_visit_the_list_can_be_begun_and_a_barred_target_is_on_it(monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(w: Pages) -> None:
        await w.ok("target-bar", target="5ee00002", reason="heard on the walk")
        page = await w.page("/upkeep/carry")
        (job,) = page.every("section", data_item="5ee00002:barred")
        assert "Barred: heard on the walk" in job.text
        assert not job.every("button"), "nothing is ticked before a visit was begun"
        assert page.one("button", data_part="begin").text == "Begin the visit"
        carry = page.one("div", id="carry")
        assert json.loads(carry.attrs["data-items"]) == ["5ee00002:barred"]
        assert "A receiver, for the listening walk" in page.text
        assert "Any signal is a person until proved otherwise." in page.text

    told(monkeypatch, story)


def test_a_visit_that_goes_on_keeps_its_list_and_says_what_came_since(monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(w: Pages) -> None:
        await w.ok("visit-begin", items=ITEMS)
        await w.ok("target-bar", target="5ee00001", reason="heard")
        page = await w.page("/upkeep/carry")
        assert [job.attrs["data-item"] for job in page.every("section") if "data-item" in job.attrs] == ITEMS
        assert "Larch 1: barred" in page.text
        assert len(page.every("button", data_do="done")) == 3
        assert page.one("fc-hold", data_part="close")
        row = json.loads(page.one("div", id="carry").attrs["data-row"])
        assert (row["visit"], row["open"]) == ("v1", True)
        await w.ok("visit-close", visit="v1", signed="Mira", why="fog")
        page = await w.page("/upkeep/carry")
        assert "Visit v1 is closed, signed by Mira. What nobody ticked was left: fog" in page.text
        assert "Since the visit v1" in page.text
        assert "Newly barred: Larch 1" in page.text

    told(monkeypatch, story)


def test_whoever_may_only_look_presses_nothing_and_nobody_sees_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(w: Pages) -> None:
        await w.ok("visit-begin", items=ITEMS)
        await w.ok("retrieval-begin")
        for path in ("/upkeep/carry", "/upkeep/retrieval"):
            page = await w.page(path, somebody("watch", name="Jon"))
            assert "Ticking takes the right upkeep." in page.text
            assert not [b for b in page.every("button") if "data-do" in b.attrs]
            assert not page.every("fc-hold", data_part="close")
            answer = await w.send("GET", f"{path}?file=true")
            assert answer.status_code == 200
        w.who = NOBODY
        for path in ("/upkeep/carry", "/upkeep/retrieval", "/upkeep/carry?file=true", "/upkeep/retrieval?file=true"):
            answer = await w.send("GET", path)
            assert answer.status_code == 303
            assert "Larch" not in answer.text

    told(monkeypatch, story)


def test_the_retrieval_page_names_each_target_and_signing_takes_the_right_in_charge(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    async def story(w: Pages) -> None:
        page = await w.page("/upkeep/retrieval")
        assert "No retrieval goes on." in page.text
        await w.ok("retrieval-begin")
        await w.ok("retrieval-lost", target="5ee00002", told="Ansel", reason="the ground slid away")
        page = await w.page("/upkeep/retrieval")
        assert page.one("p", data_part="of").text == "1 of 3 in the box or given up by name"
        assert "Larch 2: last at" in page.text
        assert "told to Ansel: the ground slid away" in page.text
        assert page.one("fc-hold", data_part="close")
        page = await w.page("/upkeep/retrieval", somebody("upkeep", name="Tove"))
        assert not page.every("fc-hold", data_part="close")
        assert "Signing for it takes the right in charge." in page.text

    told(monkeypatch, story)


def test_the_sheets_hold_everything_and_nothing_that_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(w: Pages) -> None:
        await w.ok("target-bar", target="5ee00002", reason='</script><b onclick="x">')
        await w.ok("retrieval-begin")
        await w.ok("retrieval-got", target="5ee00001", note="<i>dry</i>")
        for path in ("/upkeep/carry", "/upkeep/retrieval"):
            answer = await w.send("GET", f"{path}?file=true")
            assert "attachment" in answer.headers["content-disposition"]
            assert "script-src" not in answer.headers["content-security-policy"]
            assert "<script" not in answer.text
            assert "<b onclick" not in answer.text
            assert "<i>dry" not in answer.text
            sheet = read(answer.text.partition("</head>")[2].removesuffix("</html>\n"))
            assert "Larch 2" in sheet.text
            assert "Signature" in sheet.text
            page = await w.send("GET", path)
            assert "<b onclick" not in page.text

    told(monkeypatch, story)


def test_the_self_test_s_page_names_what_is_lacking_and_lets_nobody_press_who_may_only_look(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    async def story(w: Pages) -> None:
        await w.ok("self-test")
        page = await w.page("/upkeep/self-test")
        row = json.loads(page.one("div", id="self-test").attrs["data-row"])
        assert row["targets"][0]["lacks"][-2:] == ["pad", "receiver"]
        assert len(page.every("button", data_do="hear")) == 3
        page = await w.page("/upkeep/self-test", somebody("watch", name="Jon"))
        assert not [b for b in page.every("button") if "data-do" in b.attrs]
        sheet = await w.send("GET", "/upkeep/self-test?file=true")
        assert "Larch 1 was not touched yet" in sheet.text
        w.who = NOBODY
        assert (await w.send("GET", "/upkeep/self-test")).status_code == 303

    told(monkeypatch, story)


def test_what_two_visits_said_is_compared(monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(w: Pages) -> None:
        found = ["5ee00001:never-read", "5ee00002:deaf"]
        await w.ok("visit-begin", items=["5ee00001:battery"], found=found)
        await w.ok("visit-tick", visit="v1", item="5ee00001:battery", done=True)
        await w.ok("visit-close", visit="v1", signed="Mira")
        await w.ok("battery-swapped", target="5ee00003")
        page = await w.page("/upkeep/carry")
        assert "Gone: Larch 2, what was found then (deaf)" in page.text
        assert "Fresh cells: Larch 1" in page.text
        assert "Fresh cells: Larch 3" in page.text

    told(monkeypatch, story)


# ---- languages ----------------------------------------------------------------------------------------------------


def catalogue(language: str) -> dict[str, str]:
    return tomllib.loads(
        resources.files("fieldctl.web").joinpath("texts", language, "carry.toml").read_text(encoding="utf-8")
    )


@pytest.mark.parametrize("language", words.LANGUAGES[1:])
def test_every_sentence_is_there_with_the_same_places_to_fill(language: str) -> None:
    english, other = catalogue("en"), catalogue(language)
    assert set(other) == set(english)
    for key, text in english.items():
        assert set(re.findall(r"\{(\w+)\}", other[key])) == set(re.findall(r"\{(\w+)\}", text)), key
        assert other[key].count("|") == text.count("|"), key
        assert other[key].strip() == other[key] != "", key
        assert (other[key][-1] == ".") == (text[-1] == "."), key


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_no_sentence_lets_anybody_discount_a_signal(language: str) -> None:
    taken_for = {"en": "person until proved", "de": "ein Mensch, bis", "fr": "personne jusqu'à", "it": "persona fino a"}
    for key in ("caution", "lost_caution"):
        assert taken_for[language] in catalogue(language)[key]


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_both_pages_are_said_in_each_language(language: str, monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(w: Pages) -> None:
        await w.ok("target-bar", target="5ee00002", reason="heard")
        await w.ok("visit-begin", items=ITEMS)
        await w.ok("retrieval-begin")
        for path in ("/upkeep/carry", "/upkeep/retrieval", "/upkeep/self-test"):
            page = await w.page(path, **{"Accept-Language": language})
            assert catalogue(language)["caution" if path.endswith("carry") else "to_carry"] in page.text

    told(monkeypatch, story)

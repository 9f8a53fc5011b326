"""The day's page: opened and closed in a few taps, every line with its remedy, read-only without the right."""

from __future__ import annotations

import asyncio
import json
import re
import tomllib
from importlib import resources
from typing import Any

import pytest
from edge_pages_kit import ANSEL, NOBODY, Node, Pages, somebody, tell

from fieldctl.events import DayClosed, DayOpened, ManualIn, ManualOut, SurfaceRenewed, TargetBarred
from fieldctl.web import words
from sims import pad

TAPS_AT_MOST = 6


def facts(w: Pages, *kinds: Any) -> list[Any]:
    return list(w.made.ledger.facts(kinds=kinds))


def walk(form: Node, *, pick: int = 0) -> tuple[dict[str, Any], int]:
    """Fill a form in as a thumb does: one tap for each group without a choice yet, none for what is filled in already.

    Gives what the page would send and the taps so far. A group of radio buttons counts one tap, a box one, the button
    that signs for every line one; typing counts as many taps as there are signs, so whatever has to be typed shows.
    """
    given: dict[str, Any] = {}
    taps = 0
    for control in form.every("input"):
        name, kind = control.attrs.get("name", ""), control.attrs.get("type", "")
        if "required" not in control.attrs or name in given:
            continue
        if kind == "radio":
            group = form.every("input", name=name, type="radio")
            checked = [one for one in group if "checked" in one.attrs]
            given[name] = (checked or [group[pick]])[0].attrs["value"]
            taps += 0 if checked else 1
        elif kind == "checkbox":
            given[name] = True
            taps += 1
        else:
            given[name] = control.attrs["value"]
            taps += 0 if control.attrs["value"] else 4
    return given, taps


def signing(form: Node) -> tuple[tuple[str, ...], int]:
    """The keys that one press of "sign for all" takes in, and that tap; none where nothing is to be signed for."""
    keys = tuple(button.attrs["data-sign"] for button in form.every("button") if "data-sign" in button.attrs)
    together = form.one("button", data_part="sign-all")
    assert ("hidden" in together.attrs) == (not keys)
    return keys, 1 if keys else 0


def as_asked(form: Node, given: dict[str, Any], keys: tuple[str, ...]) -> dict[str, Any]:
    """What the page sends of it: the names are the verb's, but for the snow, which is shown in centimetres."""
    sent = {**given, "exceptions": list(keys)}
    if "snow_cm" in sent:
        sent["snow_m"] = float(sent.pop("snow_cm")) / 100
    if form.attrs["data-verb"] == "day-close":
        sent["signed"] = ANSEL.name
    return sent


async def by_thumb(w: Pages) -> tuple[dict[str, Any], int]:
    """Open or close the field by its page alone; the answer, and the taps that it took."""
    form = next(f for f in (await w.page("/day")).every("form") if "data-verb" in f.attrs)
    given, taps = walk(form)
    keys, more = signing(form)
    assert form.one("fc-hold", data_part="submit").attrs["ms"] == "700"
    answer = await w.ok(form.attrs["data-verb"], **as_asked(form, given, keys))
    return answer, taps + more + 1


async def touched(w: Pages) -> None:
    """Everybody's plate is touched, as the page asked for it."""
    await w.ok("day-touch")
    await asyncio.sleep(4)
    for target in w.made.site.targets:
        pad.play(w.made.world, w.made.nodes[target], pad.probe(w.made.world.rng("hand")))
    await asyncio.sleep(4)


def test_a_good_day_opens_and_closes_within_six_taps() -> None:
    taps: dict[str, int] = {}

    async def story(w: Pages) -> None:
        await w.ok("day-open", hazard="x", snow_m=1.87, stray_sweep="x", exceptions=await keys_of(w))
        await w.ok("day-close", signed="Ansel", own_units_back=True, listening_walk="x")
        await touched(w)  # one tap on the page, which counts
        _, taps["open"] = await by_thumb(w)
        assert w.made.life is not None
        assert w.made.life.controller.day.open
        _, taps["close"] = await by_thumb(w)
        opened, closed = facts(w, DayOpened)[-1], facts(w, DayClosed)[-1]
        assert opened.snow_m == pytest.approx(1.87), "the last value is filled in"
        assert opened.touched == w.made.site.targets
        assert opened.notes == ""
        assert (closed.exceptions, closed.own_units_back) == ((), True)
        who = w.made.life.controller.people
        assert (who[opened.by], who[closed.signed]) == ("Ansel", "Ansel")
        assert "Ansel" not in f"{opened} {closed}", "the log holds ids, and no name by the back door"

    tell(story)
    assert taps == {"open": 3, "close": 3}
    assert all(n + 1 <= TAPS_AT_MOST for n in taps.values()), "and one to let the plates listen"


async def keys_of(w: Pages) -> list[str]:
    return [p["key"] for p in (await w.ok("day-check"))["problems"] if p["may_sign"]]


def test_a_bad_day_too_with_every_exception_named() -> None:
    async def story(w: Pages) -> None:
        w.made.nodes[w.made.site.targets[2]].die()
        await w.ok("manual-out", unit="M1", zone="upper", place="by the larch")
        await asyncio.sleep(70)
        page = await w.page("/day")
        lines = page.one("ul", data_part="lines").text
        assert "Larch 3 (Upper hollow) did not answer the roll-call." in lines
        assert "Look at its link and its battery" in lines
        assert "The plate of Larch 1 (Upper hollow) was not proved by touch." in lines
        assert "Hand-buried unit M1 is still out (upper, by the larch)" in lines
        assert "not proved" in lines
        _, taps = await by_thumb_of_the_first_day(w)
        assert taps <= TAPS_AT_MOST
        opened = facts(w, DayOpened)[-1]
        assert opened.not_heard == (w.made.site.targets[2],)
        assert {"manual-out:M1", f"roll-call:{w.made.site.targets[2]}"} <= set(opened.notes.split("; "))
        page = await w.page("/day")
        assert f"{w.made.site.targets[2]}" in {k.partition(":")[2] for k in signing(page.one("form", id="closing"))[0]}
        _, taps = await by_thumb(w)
        assert taps <= TAPS_AT_MOST
        page = await w.page("/day")
        assert "Closed with these exceptions" in page.text
        assert "Larch 3 (Upper hollow) has not confirmed that it is quiet." in page.text

    tell(story)


async def by_thumb_of_the_first_day(w: Pages) -> tuple[dict[str, Any], int]:
    """Nothing is filled in for the snow before it was ever measured: one tap into the field, and its digits typed."""
    form = (await w.page("/day")).one("form", id="opening")
    given, taps = walk(form)
    assert given["snow_cm"] == ""
    steps = [int(button.attrs["data-step-cm"]) for button in form.every("button") if "data-step-cm" in button.attrs]
    assert steps == [-10, -1, 1, 10]
    given["snow_cm"] = "190"
    keys, more = signing(form)
    answer = await w.ok("day-open", **as_asked(form, given, keys))
    return answer, taps - 4 + 1 + more + 1


def test_what_is_refused_shows_each_line_and_the_choices_are_part_of_the_question() -> None:
    async def story(w: Pages) -> None:
        bare = await w.lines()
        assert [row["key"] for row in bare["lines"]][:2] == ["hazard", "snow"]
        assert bare["lines"][-1]["key"] == "stray-sweep"
        assert all(row["wrong"] and row["remedy"] for row in bare["lines"])
        some = await w.lines(hazard="2 moderate", snow_m=1.9, exceptions=[f"touch:{w.made.site.targets[0]}"])
        keys = [row["key"] for row in some["lines"]]
        assert keys == [f"touch:{t}" for t in w.made.site.targets[1:]] + ["stray-sweep"]
        assert [row["key"] for row in some["signed"]] == [f"touch:{w.made.site.targets[0]}"]
        assert "Larch 1" in some["signed"][0]["wrong"]
        error = await w.post("day-open", hazard="2 moderate", snow_m=1.9)
        assert error.status_code == 409
        assert facts(w, DayOpened) == []

    tell(story)


def test_something_heard_on_the_sweep_opens_nothing() -> None:
    async def story(w: Pages) -> None:
        form = (await w.page("/day")).one("form", id="opening")
        group = form.every("input", name="stray_sweep", type="radio")
        assert [one.attrs["value"] for one in group] == ["nothing heard", ""]
        given, _ = walk(form)
        given["stray_sweep"] = group[1].attrs["value"]
        given["snow_cm"] = "190"
        answer = await w.post("day-open", **as_asked(form, given, signing(form)[0]))
        assert answer.status_code == 409
        assert "stray signals" in answer.json()["detail"]
        assert "person until proved otherwise" in form.one("p", data_part="swept").text

    tell(story)


def test_plates_appear_as_they_are_touched() -> None:
    async def story(w: Pages) -> None:
        assert "0 of 3" in (await w.page("/day")).one("p", data_part="plates").text
        await w.ok("day-touch")
        await asyncio.sleep(4)
        found = await w.lines()
        assert (found["armed"], found["listens_until_us"] is not None) == (3, True)
        pad.play(w.made.world, w.made.nodes[w.made.site.targets[1]], pad.probe(w.made.world.rng("hand")))
        await asyncio.sleep(4)
        found = await w.lines()
        assert found["touched"] == ["Larch 2 (Upper hollow)"]
        assert "1 of 3: Larch 2 (Upper hollow)" in (await w.page("/day")).one("p", data_part="plates").text.replace(
            "  ", " "
        )

    tell(story)


def test_a_target_heard_on_the_walk_is_named_signed_for_and_barred() -> None:
    async def story(w: Pages) -> None:
        target = w.made.site.targets[0]
        form = (await w.page("/day")).one("form", id="closing")
        assert form.one("input", type="checkbox", value=target)
        given, _ = walk(form, pick=1)
        given["heard_sending"] = [target]
        refused = await w.post("day-close", **as_asked(form, given, ()))
        assert refused.status_code == 409
        assert [fact.target for fact in facts(w, TargetBarred)] == [target], "barred either way"
        asked = {**as_asked(form, given, ()), "heard_sending": [target]}
        left = await w.lines(**asked)
        assert [row["key"] for row in left["lines"]] == [f"heard:{target}"]
        assert "until it is dug out" in left["lines"][0]["remedy"]
        await w.ok("day-close", **{**asked, "exceptions": [f"heard:{target}"]})
        closed = facts(w, DayClosed)[-1]
        assert (closed.heard_sending, closed.exceptions) == ((target,), (f"heard:{target}",))
        assert closed.listening_walk.startswith("whole field: heard sending")

    tell(story, opened=True)


def test_a_running_exercise_stands_in_the_way_of_closing_and_is_stopped_from_here() -> None:
    async def story(w: Pages) -> None:
        row = await w.ok("exercise-start", drill="one", searchers=["Jon"])
        page = await w.page("/day")
        assert page.one("button", data_stop=row["exercise"]).text == "Stop it"
        assert "not signed" not in page.text, "the press below signs"
        assert f"Exercise {row['exercise']} still goes on." in page.one("ul", data_part="lines").text
        form = page.one("form", id="closing")
        given, _ = walk(form)
        answer = await w.post("day-close", **as_asked(form, given, signing(form)[0]))
        assert answer.status_code == 409
        await w.ok("exercise-stop", exercise=row["exercise"])
        await asyncio.sleep(5)
        await by_thumb(w)
        assert facts(w, DayClosed)

    tell(story, opened=True)


def test_the_count_of_the_quiet_holds_nobody_who_did_not_say_so() -> None:
    async def story(w: Pages) -> None:
        first, second, _ = w.made.site.targets
        assert "3 of 3 targets say" in (await w.page("/day")).one("p", data_part="quiet").text
        await w.ok("target-take-out", target=first, reason="a test", lost=True)
        w.made.nodes[second].die()
        await asyncio.sleep(70)
        assert "1 of 2 targets say" in (await w.page("/day")).one("p", data_part="quiet").text
        signed = await w.lines(exceptions=[f"quiet:{second}"])
        assert (signed["quiet"], signed["targets"]) == (1, 2), "a signature makes nobody quiet"

    tell(story, opened=True)


def test_hand_buried_units_are_counted_out_and_in_on_the_page() -> None:
    async def story(w: Pages) -> None:
        form = (await w.page("/day")).one("form", id="unit-out")
        assert [one.attrs["value"] for one in form.every("input", name="unit")] == ["M1", "M2"]
        assert form.one("input", name="stake").attrs["value"] == "by stake red"
        await w.ok("manual-out", unit="M1", zone="upper", place="by stake red")
        page = await w.page("/day")
        assert "It cannot be switched off from here." in page.text
        assert page.one("button", data_unit_in="M1")
        form = page.one("form", id="unit-out")
        assert [one.attrs["value"] for one in form.every("input", name="unit")] == ["M2"]
        await w.ok("manual-in", unit="M1", seen_off=True)
        assert not (await w.page("/day")).every("button", data_unit_in="M1")
        assert len(facts(w, ManualOut, ManualIn)) == 2

    tell(story, opened=True)


def test_the_surface_is_renewed_in_a_tap_and_fresh_ones_are_shown() -> None:
    async def story(w: Pages) -> None:
        page = await w.page("/day", somebody("instruct", name="Mira"))
        assert "Upper hollow 3" in re.sub(" +", " ", page.text)
        form = page.one("form", id="renewed")
        hows = [button.attrs["data-renewed"] for button in form.every("button")]
        assert hows == ["tilled", "snowed over"]
        assert form.every("input", name="zone")[0].attrs == {
            "type": "radio",
            "name": "zone",
            "value": "",
            "checked": "",
        }
        await w.ok("day-renewed", how=hows[0])
        assert facts(w, SurfaceRenewed)[-1].zone is None

    tell(story, opened=True)


@pytest.mark.parametrize("opened", [False, True])
@pytest.mark.parametrize("right", ["watch", "instruct", "upkeep"])
def test_without_the_right_in_charge_it_is_read_only(right: Any, opened: bool) -> None:
    async def story(w: Pages) -> None:
        page = await w.page("/day", somebody(right, name="Jon"))
        assert "Opening and closing takes the right in charge." in page.text
        assert not page.every("fc-hold", data_part="submit")
        assert not [b for b in page.every("button") if "data-sign" in b.attrs or "data-stop" in b.attrs]
        assert not page.every("input", name="hazard")
        assert bool(page.every("button", data_touch="")) == (right == "upkeep" and not opened)
        assert bool(page.every("form", id="renewed")) == (right == "instruct")
        for verb in ("day-open", "day-close"):
            assert (await w.post(verb)).status_code == 403
        allowed = 409 if opened else 200
        assert (await w.post("day-touch")).status_code == (allowed if right == "upkeep" else 403)

    tell(story, opened=opened)


def test_nobody_is_sent_to_sign_in_and_learns_nothing() -> None:
    async def story(w: Pages) -> None:
        w.who = NOBODY
        for answer in (
            await w.send("GET", "/day"),
            await w.send("POST", "/day/lines", json={}, headers={"X-Fieldctl": "1"}),
        ):
            assert answer.status_code == 303
            assert answer.headers["location"].startswith("/sign-in")
            assert "Larch" not in answer.text

    tell(story)


BAD: list[dict[str, Any]] = [
    {"snow_m": -1},
    {"snow_m": "2"},
    {"hazard": "x" * 2001},
    {"exceptions": ["x"] * 1025},
    {"by": "Mira"},
    {"hazard": None},
]


def test_bad_choices_are_refused_and_change_nothing() -> None:
    async def story(w: Pages) -> None:
        for choices in BAD:
            answer = await w.send("POST", "/day/lines", json=choices, headers={"X-Fieldctl": "1"})
            assert answer.status_code == 422, choices
        half = await w.send(
            "POST",
            "/day/lines",
            content=b'{"hazard": "\\ud800"}',
            headers={"X-Fieldctl": "1", "Content-Type": "application/json"},
        )
        assert half.status_code == 422
        assert facts(w, DayOpened) == []

    tell(story)


def test_what_somebody_typed_is_text_on_the_page() -> None:
    async def story(w: Pages) -> None:
        await w.ok("manual-out", unit="M1", zone="upper", place='</script><b onclick="x">')
        answer = await w.send("GET", "/day")
        assert "<b onclick" not in answer.text
        assert "</script><b" not in answer.text

    tell(story, opened=True)


def test_a_touched_name_is_kept_whole_in_what_the_page_embeds() -> None:
    async def story(w: Pages) -> None:
        await w.ok("target-name", target=w.made.site.targets[0], name='Larch "1" & <one>')
        page = await w.page("/day")
        found = json.loads(page.one("div", id="day").attrs["data-found"])
        assert any('Larch "1" & <one>' in row["wrong"] for row in found["lines"])

    tell(story)


# ---- languages ----------------------------------------------------------------------------------------------------


def catalogue(language: str, part: str) -> dict[str, str]:
    text = resources.files("fieldctl.web").joinpath("texts", language, f"{part}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@pytest.mark.parametrize("part", ["day", "walkin"])
@pytest.mark.parametrize("language", words.LANGUAGES[1:])
def test_every_sentence_is_there_with_the_same_places_to_fill(part: str, language: str) -> None:
    english, other = catalogue("en", part), catalogue(language, part)
    assert set(other) == set(english)
    for key, text in english.items():
        assert set(re.findall(r"\{(\w+)\}", other[key])) == set(re.findall(r"\{(\w+)\}", text)), key
        assert other[key].count("|") == text.count("|"), key
        assert other[key].strip() == other[key] != ""


def test_every_problem_has_a_sentence_and_a_remedy_of_its_own() -> None:
    english = catalogue("en", "day")
    source = resources.files("fieldctl.site").joinpath("checks.py").read_text(encoding="utf-8")
    kinds = {key.partition(":")[0] for key in re.findall(r'Problem\(\s*f?"([a-z-]+[:"])', source)}
    kinds = {kind.rstrip('"') for kind in kinds} - {"exception"}
    assert len(kinds) >= 14
    assert {f"wrong_{kind}" for kind in kinds} <= set(english)
    assert {f"remedy_{kind}" for kind in kinds} <= set(english)


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_no_sentence_lets_anybody_discount_a_signal(language: str) -> None:
    """Wherever a page says what to do about something heard, it says first what it is taken for."""
    day, walkin = catalogue(language, "day"), catalogue(language, "walkin")
    taken_for = {"en": "person until proved", "de": "ein Mensch, bis", "fr": "personne jusqu'à", "it": "persona fino a"}
    for text in (day["sweep_stop"], day["walk_stop"], day["remedy_heard"], day["remedy_stray-sweep"]):
        assert taken_for[language] in text
    for key in ("cautions", "after_lines", "others"):
        assert taken_for[language] in walkin[key]


@pytest.mark.parametrize(
    ("language", "asks"), [("en", "without names"), ("de", "ohne Namen"), ("fr", "sans noms"), ("it", "senza nomi")]
)
def test_what_stays_in_the_log_is_asked_for_without_names(language: str, asks: str) -> None:
    """The log forgets nothing, so no line that goes into it as it was typed may ask who it was."""
    texts = resources.files("fieldctl.web").joinpath("texts", language)
    lines = {"day": ("sweep_by", "walk_by"), "exercise": ("correct_typed_why",), "assessment": ("reason_own",)}
    for part, keys in lines.items():
        said = tomllib.loads(texts.joinpath(f"{part}.toml").read_text(encoding="utf-8"))
        assert all(asks in said[key] for key in keys)

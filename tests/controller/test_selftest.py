"""The self-test: what targets show by themselves, a touch, a receiver; kept, and who lacks what is named."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from typing import Any

import pytest
from kit import ask, facts, probe, ready, refused, sends, tell

from fieldctl.controller.known import Known
from fieldctl.events import SelfTested, SendingHeard
from fieldctl.units import TargetId
from fieldctl.upkeep.selftest import PROOFS, Seen, Standing, judge
from fieldctl.web.carry_sheet import lacks_words
from fieldctl.web.words import LANGUAGES, words
from sims.field import Field


async def up(made: Field) -> None:
    made.begin()
    await asyncio.sleep(30)


async def let_send(made: Field) -> tuple[TargetId, Known]:
    """The first target, ordered to send so that it can be found."""
    life = made.begin()
    await asyncio.sleep(30)
    first = made.site.targets[0]
    await ask(made, "target-locate", target=first, send=True)
    return first, life.controller.known[first]


def of(row: dict[str, Any], target: str) -> dict[str, Any]:
    return next(one for one in row["targets"] if one["target"] == target)


def test_what_targets_show_by_themselves_and_what_is_left_to_walk_for() -> None:
    async def story(made: Field) -> None:
        await up(made)
        row = await ask(made, "self-test-show")
        assert (row["round"], row["whole"], [one["tested"] for one in row["targets"]]) == (0, 0, [False] * 3)
        row = await ask(made, "self-test", by="Tove")
        assert row["round"] == 1
        for one in row["targets"]:
            assert one["lacks"] == ["pad", "receiver"], one
            assert one["checks"]["battery"] == "good"
        assert len(facts(made, SelfTested)) == 3

    tell(story)


def test_a_target_that_is_silent_lacks_nearly_everything() -> None:
    async def story(made: Field) -> None:
        await up(made)
        dead = made.site.targets[1]
        made.nodes[dead].die()
        await asyncio.sleep(90)
        row = await ask(made, "self-test", by="Tove")
        assert of(row, dead)["checks"]["heard"] == "bad"
        assert set(of(row, dead)["lacks"]) >= {"heard", "gate", "clock", "battery", "pad", "receiver"}
        assert of(row, dead)["says"] == ["bad_heard"], "its gate and its transmitter are not known: no word of them"
        assert of(row, made.site.targets[0])["lacks"] == ["pad", "receiver"]
        assert of(row, made.site.targets[0])["says"] == ["open_pad", "open_receiver"]

    tell(story)


HEARD = Seen(
    True, greeted=True, sends=True, feels=True, gate_off=True, clock_us=100, clock_most_us=1000, report_age_s=10.0,
    rest_v=3.0, load_v=2.9, noise=40.0,
)  # fmt: skip
LESS = {
    "greeting": ({"greeted": False}, {}),
    "abilities": ({"greeted": False}, {"feels": False}),
    "gate": ({"gate_off": None}, {"gate_off": False}),
    "clock": ({"clock_us": None}, {"clock_us": 2000}),
    "battery": ({"report_age_s": None}, {"load_v": 0.0}),
    "noise": ({"report_age_s": None}, {"noise": 0.0}),
}


@pytest.mark.parametrize("check", LESS)
@pytest.mark.parametrize("language", LANGUAGES)
def test_what_is_not_known_is_said_in_other_words_than_what_is_bad(check: str, language: str) -> None:
    says = {}
    for result, less in zip(("open", "bad"), LESS[check], strict=True):
        standing = Standing(judge(replace(HEARD, **less)), "2026-11-02")
        assert (f"{result}_{check}" in standing.says) == bool(less)
        says[result] = lacks_words({"tested": True, "says": standing.says}, words(language))
    assert not set(says["open"]) & set(says["bad"]) - {words(language)(f"carry.open_{proof}") for proof in PROOFS}
    assert all(not text.startswith("carry.") for text in (*says["open"], *says["bad"]))


def test_a_target_that_was_heard_with_a_receiver_alone_was_not_tested() -> None:
    async def story(made: Field) -> None:
        await up(made)
        first = made.site.targets[0]
        await ask(made, "target-locate", target=first, send=True)
        await asyncio.sleep(2)
        row = await ask(made, "self-test-heard", target=first, by="Tove")
        assert (of(row, first)["tested"], row["whole"]) == (False, 0)

    tell(story)


def test_both_proofs_are_kept_over_later_tests_and_gone_with_a_new_round() -> None:
    async def story(made: Field) -> None:
        await up(made)
        first, second, _ = made.site.targets
        await ask(made, "day-touch", by="Tove")
        await asyncio.sleep(3)
        probe(made, first)
        await asyncio.sleep(5)
        assert of(await ask(made, "self-test", by="Tove"), first)["checks"]["pad"] == "good"
        await ask(made, "target-locate", target=first, send=True)
        await asyncio.sleep(2)
        assert sends(made, first)
        row = await ask(made, "self-test-heard", target=first, by="Tove")
        assert (of(row, first)["heard_by"], of(row, first)["checks"]["receiver"]) == ("Tove", "good")
        assert len(facts(made, SendingHeard)) == 1
        await ask(made, "target-locate-end", target=first)
        await asyncio.sleep(2)
        assert await made.open_day()  # what was touched before is asked for anew
        row = await ask(made, "self-test", by="Tove")
        assert (row["whole"], of(row, first)["lacks"]) == (1, [])
        assert of(row, second)["lacks"] == ["pad", "receiver"]
        row = await ask(made, "self-test", by="Tove", anew=True)
        assert (row["round"], row["whole"]) == (2, 0)
        assert of(row, first)["lacks"] == ["pad", "receiver"]

    tell(story)


def test_nobody_hears_a_target_that_does_not_send_to_be_found() -> None:
    async def story(made: Field) -> None:
        await up(made)
        first, second, _ = made.site.targets
        error = await refused(made, "self-test-heard", target=first, by="Tove")
        assert "person until proved otherwise" in error.remedy
        await ask(made, "target-locate", target=first, send=True)
        await refused(made, "self-test-heard", target=first, by="Tove")  # it has not said yet that it sends
        await asyncio.sleep(2)
        await refused(made, "self-test-heard", target=second, by="Tove")
        await ask(made, "target-locate-end", target=first)
        await asyncio.sleep(2)
        await refused(made, "self-test-heard", target=first, by="Tove")
        assert facts(made, SendingHeard) == []

    tell(story)


def test_a_signal_that_another_word_than_its_status_told_of_first_is_heard_all_the_same() -> None:
    async def story(made: Field) -> None:
        first, known = await let_send(made)
        while known.says_quiet():
            known.asked_report_us = known.reported_us = None  # it is asked for reports without end
            await asyncio.sleep(0.001)
        assert known.grant_id == 0, "a report was its first word with the gate on, which names no grant"
        row = await ask(made, "self-test-heard", target=first, by="Tove")
        assert of(row, first)["heard_by"] == "Tove"

    tell(story)


def test_a_grant_is_gone_with_the_first_word_that_says_so() -> None:
    async def story(made: Field) -> None:
        first, known = await let_send(made)
        await asyncio.sleep(2)
        assert known.grant_id
        await ask(made, "target-locate-end", target=first)
        while not known.says_quiet():
            await asyncio.sleep(0.001)
        assert known.grant_id == 0, "the answer to the order says that it holds none; its status comes a second later"

    tell(story)


def test_an_open_field_lets_nobody_send_for_it() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        target = made.site.targets[0]
        assert "open" in (await refused(made, "target-locate", target=target, send=True)).what
        await refused(made, "self-test-heard", target=target, by="Tove")

    tell(story)

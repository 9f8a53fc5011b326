"""The spring retrieval closes only at n of n; who is lost stays on a list for ever, and may still be heard."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from typing import Any

import pytest
from kit import ask, facts, refused, tell

from fieldctl.events import (
    DayOpened,
    Fact,
    RetrievalClosed,
    SelfTested,
    TargetAdded,
    TargetGivenUp,
    TargetMoved,
    TargetRetrieved,
    TargetTakenOut,
)
from fieldctl.units import HostTime, PersonId, TargetId
from fieldctl.upkeep.retrieval import in_the_box
from sims.field import Field


async def begun(made: Field) -> tuple[str, ...]:
    made.begin()
    await asyncio.sleep(5)
    row = await ask(made, "retrieval-begin", by="Ansel")
    assert (row["retrieval"], row["n"], row["of"]) == ("r1", 0, 3)
    return tuple(str(target) for target in made.site.targets)


async def shown(made: Field, target: str) -> dict[str, Any]:
    rows = (await ask(made, "retrieval-show"))["targets"]
    return next(row for row in rows if row["target"] == target)


def test_it_closes_only_when_each_is_in_or_given_up_by_name() -> None:
    async def story(made: Field) -> None:
        first, second, third = await begun(made)
        close = {"signed": "Ansel", "by": "Ansel"}
        assert "Larch 1, Larch 2, Larch 3" in (await refused(made, "retrieval-close", **close)).what
        row = await ask(made, "retrieval-got", target="Larch 1", by="Tove", note="20 cm off")
        assert (row["n"], row["of"]) == (1, 3)
        await ask(made, "retrieval-got", target=second, by="Tove")
        assert "Larch 3" in (await refused(made, "retrieval-close", **close)).what
        lost = {"target": third, "by": "Tove", "told": "the patrol", "reason": "probed for an hour"}
        for missing in ("told", "reason"):
            await refused(made, "retrieval-lost", **{**lost, missing: " "})
        row = await ask(made, "retrieval-lost", **lost)
        (given_up,) = facts(made, TargetGivenUp)
        assert given_up.last_heard.startswith((made.world.clock.wall() or "")[:10])
        assert "upper" in given_up.last_place
        assert row["lost"][0]["told"] == "the patrol"
        row = await ask(made, "retrieval-close", **close)
        assert (row["open"], row["signed"], row["n"], row["of"]) == (False, "Ansel", 3, 3)
        (closed,) = facts(made, RetrievalClosed)
        assert (set(closed.retrieved), closed.given_up) == ({first, second}, (third,))
        assert "signed" in (await refused(made, "retrieval-got", target=third, by="Tove")).what
        assert facts(made, TargetTakenOut) == []
        life = {t["target"]: t["life"] for t in (await ask(made, "target-list"))["targets"]}
        assert life[third] == "online", "what is lost is still listened to"

    tell(story)


def test_what_a_signed_retrieval_brought_in_is_not_sent_for_again_before_it_lies_out_there_again() -> None:
    async def story(made: Field) -> None:
        targets = await begun(made)
        for target in targets:
            await ask(made, "retrieval-got", target=target, by="Tove")
        await ask(made, "retrieval-close", signed="Ansel", by="Ansel")
        error = await refused(made, "retrieval-got", target=targets[0], by="Tove")
        assert ("every target is in the box" in error.what, "another" in error.remedy) == (True, False)
        assert "in the box" in (await refused(made, "retrieval-begin", by="Ansel")).what
        await made.kill()
        made.begin()
        await asyncio.sleep(5)
        assert "in the box" in (await refused(made, "retrieval-begin", by="Ansel")).what, "after a restart too"
        row = await ask(made, "self-test", by="Tove")
        assert len(row["targets"]) == 3, "they are tested before they are buried again"
        row = await ask(made, "retrieval-begin", by="Ansel")
        assert [one["target"] for one in row["targets"]] == list(targets)

    tell(story)


def said_of(target: TargetId, day: str) -> tuple[TargetRetrieved, RetrievalClosed]:
    got = TargetRetrieved("r1", target, f"t-{target}", "", (), None, day, WHO, AT)
    return got, RetrievalClosed("r1", (target,), (), WHO, day, WHO, AT)


LARCH, SPRUCE = TargetId("5ee00001"), TargetId("5ee00002")
WHO, AT = PersonId("p-1"), HostTime("boot", 1)


@pytest.mark.parametrize(
    "later",
    [
        TargetAdded(LARCH, "hw", "bus", 1, WHO),
        TargetMoved(LARCH, "2026-11-01", WHO, AT),
        SelfTested(SPRUCE, 2, {}, "2026-11-01", WHO, AT),
        DayOpened(WHO, AT, "low", 1.0, (LARCH,), (), (), ""),
    ],
    ids=lambda fact: type(fact).__name__,
)
def test_what_ends_the_box(later: Fact) -> None:
    before = SelfTested(LARCH, 1, {}, "2025-11-01", WHO, AT)
    facts: list[Fact] = [before, *said_of(LARCH, "2026-04-20")]
    assert in_the_box(facts, {LARCH: "2026-01-10"}) == {LARCH: "2026-04-20"}
    assert in_the_box([later, *facts], {}) == {LARCH: "2026-04-20"}, "what was before says nothing of it"
    assert in_the_box([*facts, later], {}) == {}
    assert in_the_box([*facts, replace(before, target=SPRUCE)], {}) != {}, "the same round goes on"


@pytest.mark.parametrize(("survey", "boxed"), [("", True), ("2026-04-20", True), ("2026-04-21", False)])
def test_a_survey_of_a_later_day_takes_it_out_of_the_box(survey: str, boxed: bool) -> None:
    assert bool(in_the_box(said_of(LARCH, "2026-04-20"), {LARCH: survey})) == boxed


def test_what_was_got_is_in_the_box_with_the_signature_alone() -> None:
    got, closed = said_of(LARCH, "2026-04-20")
    assert in_the_box([got], {}) == {}
    assert in_the_box([got, replace(closed, retrieved=(), given_up=(LARCH,))], {}) == {}


def test_a_lost_one_stays_on_the_list_for_ever_and_is_looked_for_again() -> None:
    async def story(made: Field) -> None:
        first, second, third = await begun(made)
        for target in (first, second):
            await ask(made, "retrieval-got", target=target, by="Tove")
        await ask(made, "retrieval-lost", target=third, by="Tove", told="Ansel", reason="not found")
        await ask(made, "retrieval-close", signed="Ansel", by="Ansel")
        await made.kill()
        made.begin()
        await asyncio.sleep(5)
        row = await ask(made, "retrieval-begin", by="Ansel")
        assert third in [one["target"] for one in row["targets"]]
        assert [one["found_day"] for one in row["lost"]] == [None]
        row = await ask(made, "retrieval-got", target=third, by="Jon")
        assert [one["found_day"] is not None for one in row["lost"]] == [True], "found, and still listed"
        row = await ask(made, "retrieval-undo", target=third, by="Jon")
        assert [one["found_day"] for one in row["lost"]] == [None]

    tell(story)


def test_who_was_taken_out_as_lost_has_to_be_answered_for_too_and_who_was_taken_out_is_in_the_box() -> None:
    async def story(made: Field) -> None:
        first, second, third = await begun(made)
        await ask(made, "target-take-out", target=first, by="Tove", reason="stolen?", lost=True)
        await ask(made, "target-take-out", target=second, by="Tove", reason="to the workshop")
        await ask(made, "retrieval-got", target=third, by="Tove")
        row = await ask(made, "retrieval-show")
        assert [one["target"] for one in row["lost"]] == [first]
        error = await refused(made, "retrieval-close", signed="Ansel", by="Ansel")
        assert "Larch 1" in error.what
        assert "Larch 2" in error.what, "it was on this list: somebody says what became of it"
        await ask(made, "retrieval-lost", target=first, by="Tove", told="Ansel", reason="not found")
        await ask(made, "retrieval-got", target=second, by="Tove", note="at the workshop")
        await ask(made, "retrieval-close", signed="Ansel", by="Ansel")
        again = await ask(made, "retrieval-begin", by="Ansel")
        assert [one["target"] for one in again["targets"]] == [first], "what was brought in is in the box"

    tell(story)


def test_two_phones_that_did_not_know_of_each_other_keep_it_open() -> None:
    async def story(made: Field) -> None:
        first, second, third = await begun(made)
        await ask(made, "retrieval-got", target=first, by="Tove", knew=(), tick="a")
        await ask(made, "retrieval-lost", target=first, by="Jon", told="Ansel", reason="no", knew=(), tick="b")
        for target in (second, third):
            await ask(made, "retrieval-got", target=target, by="Tove")
        assert (await shown(made, first))["state"] == "conflict"
        error = await refused(made, "retrieval-close", signed="Ansel", by="Ansel")
        assert error.what == "Two say different things of: Larch 1."
        for _ in range(2):
            await ask(made, "retrieval-got", target=first, by="Ansel", knew=("a", "b"), tick="c")
        assert (await shown(made, first))["state"] == "got"
        row = await ask(made, "retrieval-close", signed="Ansel", by="Ansel")
        assert [one["found_day"] is not None for one in row["lost"]] == [True]

    tell(story)


def test_a_hand_buried_unit_that_is_out_keeps_it_open() -> None:
    async def story(made: Field) -> None:
        targets = await begun(made)
        await ask(made, "manual-out", unit="M1", zone="upper", place="by the stake", by="Tove")
        for target in targets:
            await ask(made, "retrieval-got", target=target, by="Tove")
        assert "M1" in (await refused(made, "retrieval-close", signed="Ansel", by="Ansel")).what
        await ask(made, "manual-in", unit="M1", by="Tove")
        assert "M1" in (await refused(made, "retrieval-close", signed="Ansel", by="Ansel")).what, "not seen off"
        await ask(made, "manual-in", unit="M1", by="Tove", seen_off=True)
        await ask(made, "retrieval-close", signed="Ansel", by="Ansel")

    tell(story)


def test_one_at_a_time_and_nothing_of_nobody() -> None:
    async def story(made: Field) -> None:
        made.begin()
        await asyncio.sleep(5)
        row = await ask(made, "retrieval-show")
        assert (row["retrieval"], row["targets"], row["lost"]) == (None, [], [])
        assert "begun" in (await refused(made, "retrieval-got", target="Larch 1", by="Tove")).what
        await ask(made, "retrieval-begin", by="Ansel", request="k-1")
        assert (await ask(made, "retrieval-begin", by="Ansel", request="k-1"))["retrieval"] == "r1"
        assert "goes on" in (await refused(made, "retrieval-begin", by="Jon")).what
        assert "no target" in (await refused(made, "retrieval-got", target="Spruce 9", by="Tove")).what
        assert "no retrieval" in (await refused(made, "retrieval-show", retrieval="r9")).what

    tell(story)

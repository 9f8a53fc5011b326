"""Visits over the real controller: ticks once and for good, two phones, changes meanwhile, after the signature."""

from __future__ import annotations

import asyncio
import datetime
from typing import Any

from kit import ask, facts, refused, tell

from fieldctl.events import BatterySwapped, SwapTakenBack, VisitTicked
from sims.field import Field

DAY_US = 86_400_000_000


def ago(made: Field, us: int) -> dict[str, Any]:
    """A moment of a phone, so long ago."""
    assert made.life is not None
    here = made.life.controller.outside.here()
    return {"at_us": here.us - us, "boot": here.boot}


async def begun(made: Field, *keys: str) -> list[str]:
    """A controller that hears everybody, and a visit with these jobs at each target; the host is three days up."""
    made.world.clock.begin_boot(3 * DAY_US)
    made.begin()
    await asyncio.sleep(5)
    items = [f"{target}:{key}" for target in made.site.targets for key in (keys or ("battery",))]
    row = await ask(made, "visit-begin", items=tuple(items), by="Tove", found=("5ee00001:silent",))
    assert (row["visit"], row["open"], row["done"]) == ("v1", True, 0)
    return items


async def states(made: Field) -> dict[str, str]:
    return {item["item"]: item["state"] for item in (await ask(made, "visit-show"))["items"]}


def only(row: dict[str, Any], item: str) -> dict[str, Any]:
    (found,) = [one for one in row["items"] if one["item"] == item]
    return dict(found)


def test_a_ticked_battery_is_a_change_of_battery_of_that_day_once() -> None:
    async def story(made: Field) -> None:
        first, second, _ = await begun(made)
        moment = ago(made, 2 * DAY_US)
        for _ in range(2):
            row = await ask(made, "visit-tick", visit="v1", item=first, done=True, by="Tove", **moment,
                            plus_minus_s=60.0, tick="phone-tick-1")  # fmt: skip
        wall = made.world.clock.wall()
        (swap,) = facts(made, BatterySwapped)
        assert wall is not None
        assert swap.target == made.site.targets[0]
        assert swap.day < wall[:10]
        (tick,) = only(row, first)["ticks"]
        assert (tick["day"], tick["plus_minus_s"]) == (swap.day, 60.0)
        assert abs(tick["told_later_s"] - 2 * 86_400) < 1
        assert len(facts(made, VisitTicked)) == 1, "the same press twice is one tick"
        assert "reason" in (await refused(made, "visit-tick", visit="v1", item=second, done=False, by="Tove")).what
        await ask(made, "visit-tick", visit="v1", item=second, done=False, why="ice", by="Tove")
        assert len(facts(made, BatterySwapped)) == 1
        assert list((await states(made)).values()) == ["done", "not-done", "open"]

    tell(story)


def test_taking_a_tick_back_takes_its_change_of_battery_back_and_it_can_be_ticked_again() -> None:
    async def story(made: Field) -> None:
        first, *_ = await begun(made)
        for n in (1, 2):
            row = await ask(made, "visit-tick", visit="v1", item=first, done=True, by="Tove")
            assert len(facts(made, BatterySwapped)) == n
            if n == 1:
                for _ in range(2):
                    await ask(made, "visit-untick", visit="v1", tick=row["tick"], by="Tove")
                assert len(facts(made, SwapTakenBack)) == 1
        assert (await states(made))[first] == "done"
        assert "no tick" in (await refused(made, "visit-untick", visit="v1", tick="k-none", by="Tove")).what

    tell(story)


def test_two_phones_that_did_not_know_of_each_other_are_shown_and_settled_by_a_third_tick() -> None:
    async def story(made: Field) -> None:
        first, *rest = await begun(made)
        await ask(made, "visit-tick", visit="v1", item=first, done=True, by="Tove", knew=(), tick="a")
        row = await ask(made, "visit-tick", visit="v1", item=first, done=False, why="gone", by="Jon", knew=(), tick="b")
        item = only(row, first)
        assert (item["state"], item["two_say"]) == ("conflict", True)
        assert [tick["by"] for tick in item["ticks"]] == ["Tove", "Jon"]
        for other in rest:
            await ask(made, "visit-tick", visit="v1", item=other, done=True, by="Tove")
        error = await refused(made, "visit-close", visit="v1", signed="Tove", by="Tove")
        assert "Larch 1" in error.what
        await ask(made, "visit-tick", visit="v1", item=first, done=False, why="it was the other", by="Tove",
                  knew=("a", "b"), tick="c")  # fmt: skip
        assert (await states(made))[first] == "not-done"
        assert [(f.target, f.day != "") for f in facts(made, SwapTakenBack)] == [(made.site.targets[0], True)]
        await ask(made, "visit-close", visit="v1", signed="Tove", by="Tove")

    tell(story)


def test_two_phones_that_say_the_same_are_no_conflict() -> None:
    async def story(made: Field) -> None:
        first, *_ = await begun(made)
        for who, tick in (("Tove", "a"), ("Jon", "b")):
            row = await ask(made, "visit-tick", visit="v1", item=first, done=True, by=who, knew=(), tick=tick)
        assert only(row, first)["state"] == "done"
        assert len(facts(made, BatterySwapped)) == 1

    tell(story)


def test_a_target_that_was_changed_meanwhile_is_shown() -> None:
    async def story(made: Field) -> None:
        first, second, third = await begun(made)
        await ask(made, "battery-swapped", target=made.site.targets[0], by="Jon")
        row = await ask(made, "visit-tick", visit="v1", item=first, done=True, by="Tove", tick="a")
        (change,) = only(row, first)["ticks"][0]["meanwhile"]
        assert (change["what"], change["by"]) == ("swapped", "Jon")
        await ask(made, "visit-untick", visit="v1", tick="a", by="Tove")
        assert facts(made, SwapTakenBack) == [], "somebody else said the same"
        await ask(made, "target-bar", target=made.site.targets[1], by="Jon", reason="heard on the walk")
        row = await ask(made, "visit-tick", visit="v1", item=second, done=True, by="Tove", tick="b")
        assert [c["what"] for c in only(row, second)["ticks"][0]["meanwhile"]] == ["barred"]
        assert "Larch 2" in (await refused(made, "visit-close", visit="v1", signed="T", by="T", why="fog")).what
        row = await ask(made, "visit-tick", visit="v1", item=second, done=True, by="Tove", knew=("b",), tick="c")
        assert only(row, second)["ticks"][0]["meanwhile"] == [], "who knew the conflict settled it"
        row = await ask(made, "visit-close", visit="v1", signed="Tove", by="Tove", why="fog")
        assert row["why"] == "fog"
        assert only(row, third)["state"] == "open"

    tell(story)


def test_a_tick_after_the_signature_is_kept_and_marked_and_what_was_signed_stays() -> None:
    async def story(made: Field) -> None:
        first, second, _ = await begun(made)
        done = await ask(made, "visit-tick", visit="v1", item=first, done=True, by="Tove")
        assert "Larch 2" in (await refused(made, "visit-close", visit="v1", signed="Tove", by="Tove")).what
        await ask(made, "visit-close", visit="v1", signed="Tove", by="Tove", why="snowfall")
        row = await ask(made, "visit-tick", visit="v1", item=second, done=True, by="Jon", tick="late",
                        **ago(made, 3_600_000_000))  # fmt: skip
        (tick,) = only(row, second)["ticks"]
        assert (tick["late"], tick["by"]) == (True, "Jon")
        assert len(facts(made, BatterySwapped)) == 2, "the cells are in, whenever it was told"
        assert "signed" in (await refused(made, "visit-untick", visit="v1", tick=done["tick"], by="Tove")).what
        assert "already" in (await refused(made, "visit-close", visit="v1", signed="Jon", by="Jon")).what

    tell(story)


def test_one_visit_at_a_time_and_a_press_sent_twice_is_one_even_after_a_restart() -> None:
    async def story(made: Field) -> None:
        items = await begun(made)
        assert "goes on" in (await refused(made, "visit-begin", items=tuple(items), by="Jon")).what
        await ask(made, "visit-tick", visit="v1", item=items[0], done=True, by="Tove", tick="k-1")
        await ask(made, "visit-close", visit="v1", signed="Tove", by="Tove", why="fog")
        await ask(made, "visit-begin", items=(), by="Jon", request="k-2")
        await made.kill()
        made.begin()
        await asyncio.sleep(5)
        assert (await ask(made, "visit-begin", items=(), by="Jon", request="k-2"))["visit"] == "v2"
        row = await ask(made, "visit-tick", visit="v1", item=items[0], done=True, by="Tove", tick="k-1")
        assert len(facts(made, VisitTicked)) == 1
        assert row["signed"] == "Tove"
        assert [row["visit"] for row in (await ask(made, "visit-list"))["visits"]] == ["v2", "v1"]

    tell(story)


def test_what_is_no_item_or_no_moment_is_refused_and_writes_nothing() -> None:
    async def story(made: Field) -> None:
        items = await begun(made, "pad-deaf")
        bad: list[dict[str, Any]] = [
            {"item": "5ee00001:other", "done": True},
            {"item": "5ee000ff:battery", "done": True},
            {"item": items[0], "done": True, **ago(made, 41 * DAY_US)},
            {"item": items[0], "done": True, "day": "24.1.2026"},
            {"item": items[0], "done": True, "why": "x" * 501},
            {"item": items[0], "done": False, "why": "  "},
        ]
        for arguments in bad:
            await refused(made, "visit-tick", visit="v1", by="Tove", **arguments)
        await refused(made, "visit-tick", visit="v9", item=items[0], done=True, by="Tove")
        assert facts(made, VisitTicked) == []
        await ask(made, "visit-tick", visit="v1", item="5ee00002:battery", done=True, by="Tove")
        assert len(facts(made, BatterySwapped)) == 1, "changed on the way, though it was not on the list"
        assert "signature" in (await refused(made, "visit-close", visit="v1", signed=" ", by="Tove", why="x")).what

    tell(story)


def test_a_moment_of_another_boot_of_the_host_is_nobody_s_and_the_phone_s_day_counts() -> None:
    async def story(made: Field) -> None:
        first, second, third = await begun(made)
        before = ago(made, 0)
        await made.kill()
        made.world.clock.begin_boot(60_000_000)
        made.begin()
        await asyncio.sleep(5)
        wall = (made.world.clock.wall() or "")[:10]
        before_that = (datetime.date.fromisoformat(wall) - datetime.timedelta(days=3)).isoformat()
        row = await ask(made, "visit-tick", visit="v1", item=first, done=True, by="T", **before, day=before_that)
        (tick,) = only(row, first)["ticks"]
        assert (tick["told_later_s"], tick["plus_minus_s"], tick["day"]) == (None, None, before_that)
        for wrong in ("1970-01-01", "2026-02-30", "0000-00-00"):
            await refused(made, "visit-tick", visit="v1", item=first, done=True, by="T", **before, day=wrong)
        row = await ask(made, "visit-tick", visit="v1", item=second, done=True, by="T", **before, day="2999-01-01")
        assert only(row, second)["ticks"][0]["day"] == wall, "a phone that is ahead of us has no day to come"
        ahead = {**ago(made, -60_000_000), "plus_minus_s": 0.0}
        row = await ask(made, "visit-tick", visit="v1", item=third, done=True, by="T", **ahead)
        (tick,) = only(row, third)["ticks"]
        assert (tick["told_later_s"], tick["plus_minus_s"]) == (0.0, 1.0), "a thumb is never surer than a second"

    tell(story)

"""The post at the edge: a short press starts the walk-in of its zone once, a held one is all off, from anybody."""

from __future__ import annotations

import asyncio

import pytest
from edge_kit import LOWER, UPPER, press, released, tell, zone
from kit import ask, facts, sends

from fieldctl.events import AllOffOrdered, ExerciseEnded, ExerciseStarted, PostPressed, WalkInEnded
from fieldctl.units import TargetId
from fieldctl.wire.messages import Why
from sims.field import Field
from sims.node import ABILITIES, Node
from sims.storage import Storage

BOTH = pytest.mark.parametrize("post", [UPPER, LOWER], ids=["on the bus", "over the air"])


def did(made: Field) -> list[str]:
    return [fact.did for fact in facts(made, PostPressed)]


@BOTH
def test_a_short_press_starts_the_walk_in_of_its_zone_and_blows_the_horn(post: TargetId) -> None:
    async def story(made: Field) -> None:
        await released(made)
        await press(made, post)
        await asyncio.sleep(3)
        assert (await zone(made, made.site.posts[post == LOWER].zone))["state"] == "goes-on"
        assert (await zone(made, made.site.posts[post == UPPER].zone))["state"] == "free"
        node = made.nodes[post]
        at_us, order = node.blown[0]
        started = facts(made, ExerciseStarted)[-1].start.at
        begins = node.true_us(order.from_)
        assert abs(made.world.clock.reading(started.boot, begins) - started.us) < 20_000
        assert at_us < begins
        await ask(made, "walkin-stop", zone=made.site.posts[post == LOWER].zone)
        await asyncio.sleep(2)
        assert [o.period for _, o in node.blown] == [1_000, 800]
        assert all(o.until - o.from_ <= 3_000_000 for _, o in node.blown)

    made = tell(story)
    assert did(made) == ["started"]
    (other,) = {UPPER, LOWER} - {post}
    assert made.nodes[other].blown == []


@BOTH
def test_a_child_presses_start_forty_times_in_a_minute(post: TargetId) -> None:
    async def story(made: Field) -> None:
        await released(made)
        for _ in range(40):
            made.nodes[post].press()
            await asyncio.sleep(1.5)

    made = tell(story)
    assert len(facts(made, ExerciseStarted)) == 1
    assert facts(made, AllOffOrdered) == []
    assert did(made).count("started") == 1
    assert facts(made, PostPressed)[-1].presses == 40, "every press is on record"


@BOTH
def test_a_held_press_is_all_off_whatever_goes_on(post: TargetId) -> None:
    async def story(made: Field) -> None:
        await released(made)
        await ask(made, "walkin-start", zone="upper")
        await asyncio.sleep(6)
        assert any(sends(made, t) for t in made.site.targets)
        made.nodes[post].hold()
        await asyncio.sleep(2.0 + 1.5)  # held for two seconds; then a turn of the ring, and the order's way
        assert not any(sends(made, t) for t in made.site.targets)
        status = await ask(made, "status")
        assert status["all_off"]["in_force"]
        await asyncio.sleep(5)
        assert (await ask(made, "status"))["all_off"]["unconfirmed"] == []
        await ask(made, "all-off-release", by="Ansel", reason="a test")
        await press(made, post)
        assert not any(sends(made, t) for t in made.site.targets)

        assert all(order.on == order.period for _, order in made.nodes[post].blown[1:]), "no three blasts between"

    made = tell(story)
    (order,) = facts(made, AllOffOrdered)
    assert (order.by, order.via.startswith("post")) == ("anybody", True)
    assert [fact.why for fact in facts(made, WalkInEnded)] == ["all-off"]
    assert did(made) == ["all-off", "refused"]


def test_a_held_press_needs_no_walk_in_no_open_field_and_no_right_and_is_heard_to_be_taken() -> None:
    async def story(made: Field) -> None:
        await press(made, UPPER, held=True)
        await asyncio.sleep(2)
        assert (await ask(made, "status"))["all_off"]["in_force"]
        for post in (UPPER, LOWER):
            assert [(o.period, o.on) for _, o in made.nodes[post].blown] == [(2_000, 2_000)], "without a pause"

    tell(story, opened=False)


def test_with_nothing_released_or_a_closed_field_a_short_press_starts_nothing() -> None:
    async def story(made: Field) -> None:
        await press(made, UPPER)
        assert await made.open_day()
        await press(made, UPPER)

    made = tell(story, opened=False)
    assert did(made) == ["closed", "refused"]
    assert "No walk-in is released" in facts(made, PostPressed)[-1].why
    assert facts(made, ExerciseStarted) == []


def test_a_press_that_is_heard_late_starts_nothing_and_a_held_one_still_is_all_off() -> None:
    async def story(made: Field) -> None:
        await released(made)
        made.unplug(30_000_000)
        await asyncio.sleep(1)
        made.nodes[UPPER].press()
        await asyncio.sleep(60)
        assert did(made) == ["too-late"]
        assert facts(made, ExerciseStarted) == []
        made.unplug(30_000_000)
        await asyncio.sleep(1)
        made.nodes[UPPER].hold()
        await asyncio.sleep(60)
        assert did(made) == ["too-late", "all-off"]
        assert (await ask(made, "status"))["all_off"]["in_force"]

    tell(story)


def test_what_was_pressed_while_no_controller_lived() -> None:
    async def story(made: Field) -> None:
        await released(made)
        await press(made, UPPER)
        await ask(made, "walkin-stop", zone="upper")
        await asyncio.sleep(1)
        await made.kill()
        made.nodes[UPPER].press()
        await asyncio.sleep(90)
        made.begin()
        await asyncio.sleep(8)
        assert did(made) == ["started", "too-late"]
        await made.kill()
        made.nodes[UPPER].hold()
        await asyncio.sleep(10)
        made.begin()
        await asyncio.sleep(8)
        assert did(made) == ["started", "too-late", "all-off"]
        await made.kill()
        made.begin()
        await asyncio.sleep(8)

    made = tell(story)
    assert len(facts(made, ExerciseStarted)) == 1
    assert did(made) == ["started", "too-late", "all-off"], "a restart obeys nothing twice"


def test_a_posts_reboot_makes_no_press() -> None:
    async def story(made: Field) -> None:
        await released(made)
        await press(made, UPPER)
        await ask(made, "walkin-stop", zone="upper")
        await asyncio.sleep(70)
        made.nodes[UPPER].reboot(Why.POWER)
        await asyncio.sleep(10)
        assert did(made) == ["started"]
        await press(made, UPPER)
        assert did(made) == ["started", "started"]

    tell(story)


def test_the_button_of_a_buried_target_and_of_a_stranger_does_nothing() -> None:
    async def story(made: Field) -> None:
        await released(made)
        buried = made.nodes[made.site.targets[0]]
        buried.press()
        await asyncio.sleep(3)
        buried.hold()
        await asyncio.sleep(6)
        stranger = Node(
            made.world,
            made.world.rng("stranger"),
            Storage(bytes([0] * 7 + [9]), b"nobody's secret."),
            abilities=ABILITIES,
        )
        made.hub.attach(stranger)
        stranger.hold()
        await asyncio.sleep(6)

    made = tell(story)
    assert facts(made, PostPressed, AllOffOrdered, ExerciseStarted) == []


def test_the_horn_tells_the_end_by_itself() -> None:
    async def story(made: Field) -> None:
        await released(made, limit_min=2.0)
        await press(made, UPPER)
        await asyncio.sleep(125)
        assert facts(made, ExerciseEnded)[-1].how == "time-up"
        assert [o.period for _, o in made.nodes[UPPER].blown] == [1_000, 800]

    tell(story)


def test_a_post_is_never_a_burial_and_belongs_to_the_roll_call() -> None:
    async def story(made: Field) -> None:
        check = await ask(made, "day-check")
        keys = {p["key"] for p in check["problems"]}
        assert {f"touch:{UPPER}", f"touch:{LOWER}"} <= keys
        await ask(made, "day-touch", by="Tove")
        await press(made, UPPER)
        made.nodes[LOWER].die()
        await asyncio.sleep(70)
        check = await ask(made, "day-check")
        keys = {p["key"] for p in check["problems"]}
        assert f"touch:{UPPER}" not in keys
        assert f"roll-call:{LOWER}" in keys
        assert check["touched"] == {UPPER: "button"}
        assert await made.open_day()
        shown = await ask(made, "exercise-check", drill="one")
        assert not set(shown["picks"].values()) & {UPPER, LOWER}
        assert sum((await ask(made, "status"))["day"]["fresh_left"].values()) == 4

    tell(story, opened=False)

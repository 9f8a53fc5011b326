"""A pad's threshold is the target's own until a person sets another; then every arming names it, over restarts too."""

from __future__ import annotations

import asyncio

from kit import ask, facts, ready, refused, started, tell

from fieldctl.events import StrikeRecorded, TargetTuned
from fieldctl.strikes import StrikeFeatures
from fieldctl.wire.messages import Why
from sims.field import Field

FAINT = StrikeFeatures(90, 1_000, 9_000, 200, 5).as_ints()
CLEAR = StrikeFeatures(400, 1_000, 9_000, 200, 5).as_ints()


async def touched(made: Field, target: str) -> int:
    """How many of a faint and a clear touch come to the ledger."""
    before = len(facts(made, StrikeRecorded))
    node = made.nodes[target]  # type: ignore[index]
    assert node.armed
    for features in (FAINT, CLEAR):
        node.strike(features)
        await asyncio.sleep(4)
    return len(facts(made, StrikeRecorded)) - before


async def playing(made: Field) -> tuple[str, str]:
    name = await started(made)
    return name, (await ask(made, "exercise-show", exercise=name))["burials"][0]["target"]


def test_armed_with_what_a_person_set_until_it_is_taken_back() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        _, target = await playing(made)
        assert made.nodes[target].threshold == 0  # type: ignore[index]
        error = await refused(made, "target-tune", target=target, threshold=200, by="Jon")
        assert "plays in an exercise" in error.what
        assert await touched(made, target) == 2  # the second is the find: its exercise is through

        row = await ask(made, "target-tune", target=target, threshold=200, by="Jon", reason="steps (invented)")
        assert row == {"target": target, "threshold": 200, "before": 0}
        await ask(made, "target-tune", target=target, threshold=200, by="Jon")  # said twice: written once
        assert [(f.target, f.threshold) for f in facts(made, TargetTuned)] == [(target, 200)]
        await ask(made, "exercise-start", drill="one", by="Mira", targets={"A": target})
        await asyncio.sleep(6)
        assert made.nodes[target].threshold == 200  # type: ignore[index]
        assert await touched(made, target) == 1
        await ask(made, "target-tune", target=target, threshold=0, by="Jon")
        await ask(made, "exercise-start", drill="one", by="Mira", targets={"A": target})
        await asyncio.sleep(6)
        assert await touched(made, target) == 2

    tell(story)


def test_a_restarted_controller_and_a_rebooted_target_are_armed_alike() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        targets = list(made.nodes)
        for target in targets:
            await ask(made, "target-tune", target=target, threshold=200, by="Jon")
        await made.kill()
        made.begin()
        await asyncio.sleep(5)
        _, target = await playing(made)
        made.nodes[target].reboot(Why.POWER)  # type: ignore[index]
        await asyncio.sleep(10)
        assert await touched(made, target) == 1

    tell(story)


def test_no_threshold_below_the_pads_own_or_beyond_every_strike() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        target = next(iter(made.nodes))
        for threshold in (1, 69, 1001, 65_535):
            error = await refused(made, "target-tune", target=target, threshold=threshold, by="Jon")
            assert "is no threshold" in error.what
        assert not facts(made, TargetTuned)

    tell(story)

"""All off is released only when nobody who has not confirmed may still send: with it the list of them goes too."""

from __future__ import annotations

import asyncio

from kit import ask, ready, refused, sends, started, tell

from sims.field import Field


def test_no_release_while_a_target_that_did_not_confirm_may_still_send() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made)
        target = (await ask(made, "exercise-show", exercise=name))["burials"][0]["target"]
        made.hub.cut(made.nodes[target])
        await ask(made, "all-off", by="Jon")
        await asyncio.sleep(1.0)
        assert sends(made, target)
        error = await refused(made, "all-off-release", by="Ansel", reason="nobody missing")
        assert "may still send for" in error.what
        assert (await ask(made, "status"))["all_off"]["unconfirmed"]
        await asyncio.sleep(made.site.grant_s + 1)
        assert not sends(made, target)
        assert not (await ask(made, "all-off-release", by="Ansel", reason="nobody missing"))["in_force"]
        await asyncio.sleep(5.0)
        assert not any(sends(made, node) for node in made.nodes)  # a release starts nothing

    tell(story)


def test_a_release_of_an_older_order_lifts_no_newer_one() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        seen = (await ask(made, "all-off", by="Jon"))["epoch"]
        await asyncio.sleep(2)
        newest = (await ask(made, "all-off", by="Tove"))["epoch"]
        await asyncio.sleep(2)
        assert newest > seen
        error = await refused(made, "all-off-release", by="Ansel", reason="nobody missing", epoch=seen)
        assert "ordered again" in error.what
        assert error.expected == str(newest)
        assert (await ask(made, "status"))["all_off"]["in_force"]
        assert not (await ask(made, "all-off-release", by="Ansel", reason="nobody missing", epoch=newest))["in_force"]
        await ask(made, "all-off-release", by="Ansel", reason="pressed twice", epoch=newest)  # nothing to release

    tell(story)

"""New targets found and added, keys rotated, targets taken out or lost; hand-buried units; the day."""

from __future__ import annotations

import asyncio

from kit import ask, facts, ready, refused, sends, started, tell

from fieldctl.events import KeysRotated, TargetAdded, TargetTakenOut
from sims.field import SECRET, Field
from sims.node import Node
from sims.storage import Storage


def newcomer(made: Field, n: int) -> Node:
    node = Node(made.world, made.world.rng(f"new {n}"), Storage(bytes([0, 0, 0, 1, 0x5E, 0xE1, 0, n]), SECRET))
    made.hub.attach(node)
    return node


def test_several_new_targets_answer_at_once_and_one_is_added() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        nodes = [newcomer(made, n) for n in range(1, 8)]
        nodes[2].press()
        row = await ask(made, "target-search", link="bus")
        assert {f["hardware"] for f in row["found"]} == {n.storage.hardware.hex() for n in nodes}
        assert [f["hardware"] for f in row["found"] if f["pressed"]] == [nodes[2].storage.hardware.hex()]
        wanted = nodes[2].storage.hardware.hex()
        added = await ask(made, "target-add", link="bus", hardware=wanted, secret=SECRET.hex(), by="Tove", name="New")
        assert added["target"] == nodes[2].target
        await asyncio.sleep(5)
        status = await ask(made, "status")
        shown = next(t for t in status["targets"] if t["target"] == added["target"])
        assert (shown["life"], shown["name"]) == ("online", "New")
        assert facts(made, TargetAdded)[-1].hardware == wanted
        await made.kill()
        made.begin()
        await asyncio.sleep(5)
        again = await ask(made, "status")
        assert next(t for t in again["targets"] if t["target"] == added["target"])["life"] == "online"

    tell(story)


def test_without_its_press_or_with_a_wrong_secret_nothing_is_added() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        node = newcomer(made, 1)
        hardware = node.storage.hardware.hex()
        error = await refused(made, "target-add", link="bus", hardware=hardware, secret=SECRET.hex(), by="Tove")
        assert "press" in error.remedy
        node.press()
        error = await refused(made, "target-add", link="bus", hardware=hardware, secret="00" * 16, by="Tove")
        assert "secret" in error.remedy
        assert node.storage.keys is None
        assert len((await ask(made, "status"))["targets"]) == 3

    tell(story)


def test_keys_are_rotated_under_the_old_ones_and_hold_after_a_restart() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        row = await ask(made, "target-rotate", target="Larch 2", by="Tove")
        assert row["key_version"] == 2
        await asyncio.sleep(5)
        assert facts(made, KeysRotated)[0].key_version == 2
        await made.kill()
        made.begin()
        await asyncio.sleep(5)
        status = await ask(made, "status")
        assert all(t["life"] == "online" for t in status["targets"])

    tell(story)


def test_taken_out_it_forgets_its_keys_and_lost_it_is_believed_no_more() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        first, second, _ = made.nodes.values()
        row = await ask(made, "target-take-out", target=first.target, by="Tove", reason="spring")
        assert row["forgot_its_keys"]
        assert first.storage.keys is None
        await ask(made, "target-take-out", target=second.target, by="Tove", reason="not there any more", lost=True)
        assert second.storage.keys is not None
        assert {t["target"] for t in (await ask(made, "status"))["targets"]} == set(made.nodes) - {
            first.target,
            second.target,
        }
        assert [f.how for f in facts(made, TargetTakenOut)] == ["taken-out", "lost"]
        assert all("upper" in f.last_place for f in facts(made, TargetTakenOut))

    tell(story)


def test_a_target_that_plays_is_left_alone() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made)
        target = (await ask(made, "exercise-show", exercise=name))["burials"][0]["target"]
        for verb, extra in (("target-rotate", {}), ("target-take-out", {"reason": "x"})):
            assert "plays" in (await refused(made, verb, target=target, by="Tove", **extra)).what
        assert "exercise" in (await refused(made, "target-search", link="bus")).what.lower()
        assert sends(made, target)

    tell(story)


def test_closing_counts_hand_buried_units_and_bars_what_was_heard() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        await ask(made, "manual-out", unit="M1", zone="upper", place="by the red post", by="Jon")
        status = await ask(made, "status")
        assert status["manual"][0]["says"] == "cannot be switched off from here"
        first = next(iter(made.nodes))
        error = await refused(
            made,
            "day-close",
            by="Ansel",
            signed="Ansel",
            own_units_back=True,
            listening_walk="Mira walked all of it",
            heard_sending=(first,),
        )
        assert "M1 is still out" in error.what
        assert first in (await ask(made, "status"))["day"]["barred"]  # whatever becomes of the closing
        await ask(made, "manual-in", unit="M1", by="Jon", seen_off=True)
        row = await ask(
            made,
            "day-close",
            by="Ansel",
            signed="Ansel",
            own_units_back=True,
            listening_walk="Mira walked all of it",
            heard_sending=(first,),
            exceptions=(f"heard:{first}",),
        )
        assert row["open"] is False
        assert "closed" in str(await refused(made, "exercise-start", drill="one", by="Mira")).lower()
        await ask(made, "target-clear", target=first, by="Ansel", reason="dug out, seen to be quiet")
        assert (await ask(made, "status"))["day"]["barred"] == {}

    tell(story)


def test_names_live_apart_from_the_ledger() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        await started(made)
        assert "Jon" in made.ledger.names().values()
        assert all("Jon" not in repr(f) and "Ansel" not in repr(f) for f in made.ledger.facts())

    tell(story)

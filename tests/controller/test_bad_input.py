"""What bad input gets: counted by kind, shown by name, a remedy; nothing lost, nothing sending, never an exception."""

from __future__ import annotations

import asyncio

from kit import ask, facts, probe, ready, refused, sends, started, tell

from fieldctl.controller.ports import Keys
from fieldctl.events import LinkChanged, StrikeRecorded, TargetOdd
from fieldctl.units import US_PER_S, HostTime
from fieldctl.wire import frames, messages, seal
from fieldctl.wire.messages import Quiet, Why
from sims.field import SECRET, SITE_KEY, Field
from sims.node import Node
from sims.storage import Storage


def test_a_megabyte_of_junk_is_counted_and_the_field_goes_on() -> None:
    async def story(made: Field) -> None:
        c = await ready(made)
        junk = made.world.rng("junk").randbytes(1 << 20)
        line = c.lines["bus"]
        assert line.link is not None
        for i in range(0, len(junk), 4096):
            line.bytes_arrived(line.link, junk[i : i + 4096], made.world.clock.now())
        lost = line.frames_lost()
        assert sum(lost.values()) > 1000
        assert set(lost) <= {"oversized", "not-cobs", "short", "crc"}
        await asyncio.sleep(3)
        assert all(k.life(made.world.clock.now()) == "online" for k in c.known.values())

    tell(story)


def test_wrongly_sealed_foreign_and_replayed_frames_are_counted_by_kind() -> None:
    async def story(made: Field) -> None:
        c = await ready(made)
        line = c.lines["bus"]
        assert line.link is not None
        known = next(iter(c.known.values()))
        body = messages.encode(messages.Status(1, 1, 0))
        wrong = seal.Sealer(b"another key 1234").seal(0x30, known.address, 9_999, body)
        foreign = seal.Sealer(b"another key 1234").seal(0x30, 0x0BADBEEF, 9_999, body)
        right = seal.Sealer(Keys(SITE_KEY).of(known.target, 1).own).seal(0x30, known.address, 0, body)
        before = made.world.clock.now()
        for payload in (wrong, foreign, right):
            line.bytes_arrived(line.link, frames.encode(payload), before)
        assert known.session.lost["bad-tag"] == 1
        assert line.counts["foreign"] == 1
        assert known.session.lost["replayed"] == 1

    tell(story)


def test_a_clock_that_jumps_is_a_finding_by_name() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        node = next(iter(made.nodes.values()))
        node.jump_clock(3 * US_PER_S)
        await asyncio.sleep(5)
        odd = [f for f in facts(made, TargetOdd) if f.target == node.target]
        assert [f.what for f in odd] == ["clock"]
        assert "To do:" in odd[0].detail

    tell(story)


def test_a_clock_that_leaps_back_holds_up_nothing_that_its_target_says() -> None:
    async def story(made: Field) -> None:
        c = await ready(made)
        name = await started(made, "chain")
        target = (await ask(made, "exercise-show", exercise=name))["burials"][0]["target"]
        await asyncio.sleep(60)
        made.nodes[target].jump_clock(-50 * US_PER_S)
        await asyncio.sleep(3)
        struck = HostTime(made.world.clock.boot, made.world.clock.now())
        probe(made, target)
        await asyncio.sleep(3)
        (strike,) = facts(made, StrikeRecorded)
        assert strike.at.holds(struck)
        assert c.known[target].trouble["set-back"] == 1

    tell(story)


def test_a_count_of_boots_that_was_put_back_holds_up_nothing_either() -> None:
    async def story(made: Field) -> None:
        c = await ready(made)
        node = next(iter(made.nodes.values()))
        known = c.known[node.target]
        for _ in range(3):
            node.reboot(Why.POWER)
            await asyncio.sleep(15)
        node.storage.boot = 0
        node.reboot(Why.POWER)
        await asyncio.sleep(30)
        assert known.boot == 1
        assert known.trouble["set-back"] == 1
        assert known.life(made.world.clock.now()) == "online"

    tell(story)


def test_a_target_that_repeats_numbers_is_shown_and_the_first_strike_stands() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made, "chain")
        target = (await ask(made, "exercise-show", exercise=name))["burials"][0]["target"]
        probe(made, target)
        await asyncio.sleep(2)
        made.nodes[target].faults.repeats_numbers = True
        probe(made, target)
        await asyncio.sleep(3)
        assert len(facts(made, StrikeRecorded)) == 1
        assert [f.what for f in facts(made, TargetOdd)] == ["repeats-numbers"]

    tell(story)


def test_an_answer_in_anothers_name_is_refused_and_shown() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        first, second, _ = made.nodes.values()
        first.faults.foreign_address = second.address
        await asyncio.sleep(10)
        odd = {(f.target, f.what) for f in facts(made, TargetOdd)}
        assert (first.target, "answers-for-another") in odd

    tell(story)


def test_two_units_with_one_id_are_told_by_name() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        node = next(iter(made.nodes.values()))
        twin = Node(
            made.world,
            made.world.rng("twin"),
            Storage(b"twin" + bytes.fromhex(node.target), SECRET, Keys(SITE_KEY).of(node.target, 1)),
        )
        node.power_off()
        await asyncio.sleep(3)
        made.hub.attach(twin)
        await asyncio.sleep(20)
        odd = [f for f in facts(made, TargetOdd) if f.target == node.target and f.what == "two-with-one-id"]
        assert len(odd) == 1
        assert twin.storage.hardware.hex() in odd[0].detail

    tell(story)


def test_the_adapter_is_unplugged_and_comes_back() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made)
        target = (await ask(made, "exercise-show", exercise=name))["burials"][0]["target"]
        made.unplug(10 * US_PER_S)
        await asyncio.sleep(5)
        status = await ask(made, "status")
        assert [ln["up"] for ln in status["links"]] == [False]
        probe(made, target)
        await asyncio.sleep(20)
        assert (await ask(made, "exercise-show", exercise=name))["state"] == "complete"
        assert [(f.link, f.up) for f in facts(made, LinkChanged)][-1] == ("bus", True)

    tell(story)


def test_the_broker_goes_and_comes_back() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        made.air.stop_broker(15 * US_PER_S)
        await asyncio.sleep(5)
        assert [ln["up"] for ln in (await ask(made, "status"))["links"] if ln["kind"] == "mqtt"] == [False]
        await asyncio.sleep(30)
        status = await ask(made, "status")
        assert all(ln["up"] for ln in status["links"])
        assert all(t["life"] == "online" for t in status["targets"])

    tell(story, serial=1, air=2)


def test_a_full_disk_ends_the_exercise_visibly_and_ends_sending() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made, "chain")
        target = (await ask(made, "exercise-show", exercise=name))["burials"][0]["target"]
        assert sends(made, target)
        made.ledger.limit_pages(0)
        for _ in range(40):
            probe(made, target)
            await asyncio.sleep(0.5)
            if made.ledger.failed is not None:
                break
        await asyncio.sleep(2)
        assert not sends(made, target)
        status = await ask(made, "status")
        assert "disk is full" in status["ledger"]["failed"]
        assert next(e for e in status["exercises"] if e["exercise"] == name)["state"] == "ledger-failed"
        error = await refused(made, "exercise-start", drill="one", by="Mira")
        assert "ledger takes no entries" in str(error)
        await ask(made, "all-off")  # works all the same
        await asyncio.sleep(2)
        assert all(n.storage.off for n in made.nodes.values())

    tell(story)


def test_the_wall_clock_set_back_an_hour_changes_nothing_but_a_label() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made)
        target = (await ask(made, "exercise-show", exercise=name))["burials"][0]["target"]
        made.world.clock.wall_offset_us -= 3600 * US_PER_S
        probe(made, target)
        await asyncio.sleep(2)
        row = await ask(made, "exercise-show", exercise=name)
        assert row["state"] == "complete"
        assert 3.0 < row["burials"][0]["find"]["at_s"] < 5.0

    tell(story)


def test_a_controller_of_a_lower_generation_steers_nothing_and_is_told_so() -> None:
    async def story(made: Field) -> None:
        c = await ready(made)
        await ask(made, "generation-raise", by="Ansel", reason="this one steers")
        name = await started(made)
        target = (await ask(made, "exercise-show", exercise=name))["burials"][0]["target"]
        known = c.known[target]
        assert made.nodes[target].storage.generation == 2
        ended = await c.ask(known, Quiet(0, 1, 0), "as an older controller would")
        assert ended.verdict == "superseded"
        assert sends(made, target)
        assert "superseded" in {f.what for f in facts(made, TargetOdd)}

    tell(story)


def test_verbs_take_no_nonsense() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        for verb, arguments in (
            ("no-such-verb", {}),
            ("exercise-start", {"drill": "../../secret", "by": "x"}),
            ("exercise-start", {"drill": 5, "by": "x"}),
            ("exercise-start", {"drill": "one"}),
            ("exercise-stop", {"exercise": "x99", "by": "x"}),
            ("target-name", {"target": "nobody", "name": "x", "by": "x"}),
            ("all-off-release", {"by": "x", "reason": ""}),
            ("day-renewed", {"by": "x", "how": "tilled", "zone": "nowhere"}),
            ("target-search", {"link": "nowhere"}),
            ("target-add", {"link": "bus", "hardware": "zz", "secret": "zz", "by": "x"}),
        ):
            error = await refused(made, verb, **arguments)
            assert error.remedy, verb

    tell(story)

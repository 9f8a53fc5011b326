"""A backup is restored onto an empty machine while the old one still runs: nothing sends by itself, and targets obey
one of the two.

Through a real backup file, in virtual time: two controllers at one broker, which throws the one out when the other
comes, and two on one pair of wires.
"""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest
from kit import ask, ready, refused, sends, started
from twins import back_up, since, tell_on_file, twin_of

from fieldctl.events import (
    BackupRestored,
    ControllerStarted,
    ExerciseInterrupted,
    GenerationRaised,
    GrantEnded,
    GrantGiven,
    LinkChanged,
    TargetOdd,
)
from fieldctl.wire.messages import Quiet
from sims.field import Field

LINKS = ({"air": 3}, {"serial": 3})
GRANT_S = 30


def share_the_wires(*fields: Field) -> None:
    """Let every controller on the pair hear what a target says, as it would."""

    def both(data: bytes, at_us: int) -> None:
        for link in [link for made in fields for link in made.links if link.alive]:
            link._arrived(data, at_us)  # type: ignore[attr-defined]

    fields[0].hub.on_bytes = both


async def both_run(made: Field, folder: Path) -> tuple[Field, str, str, int]:
    """An exercise goes on at the old machine, and a twin starts: the twin, the exercise, its target, the twin's end of
    what the backup held."""
    await ready(made)
    name = await started(made)
    target = (await ask(made, "exercise-show", exercise=name))["burials"][0]["target"]
    assert sends(made, target)
    backup = back_up(made, folder)
    assert (backup.flaws, backup.left_out) == ((), ())
    await asyncio.sleep(5)
    twin, done = twin_of(made, backup.file, folder / "new")
    assert (done.flaws, done.interrupted, done.all_off) == ((), (name,), False)
    held = backup.manifest.entries
    assert [type(entry.fact) for entry in twin.ledger.entries(after_seq=held)] == [BackupRestored]
    twin.begin()
    if made.site.serial:
        await asyncio.sleep(0.1)
        share_the_wires(made, twin)
    return twin, name, target, held


@pytest.mark.parametrize("links", LINKS, ids=lambda links: next(iter(links)))
def test_the_old_one_steers_and_the_twin_is_told_superseded(links: dict[str, int], tmp_path: Path) -> None:
    async def story(made: Field) -> None:
        twin, name, target, held = await both_run(made, tmp_path)
        for _ in range(90):
            await asyncio.sleep(1)
            assert sends(made, target)  # under the old one's grant, renewed all the while
            others = [each for each in made.nodes if each != target]
            assert not any(sends(made, each) for each in others)
        assert (await ask(made, "exercise-show", exercise=name))["state"] == "running"
        assert len(since(made, 0, LinkChanged)) <= 7, "the twin throws it out once a minute, and it is back at once"
        assert (await ask(twin, "exercise-show", exercise=name))["state"] == "interrupted"
        assert [f.why for f in since(twin, held, ExerciseInterrupted)] == ["the site was restored from a backup"]  # type: ignore[attr-defined]
        assert [f.generation for f in since(twin, held, ControllerStarted)] == [0]  # type: ignore[attr-defined]
        assert since(twin, held, GrantGiven, GenerationRaised) == []
        odd = {f.target: f for f in since(twin, held, TargetOdd) if f.what == "superseded"}  # type: ignore[attr-defined]
        assert odd.keys() == made.nodes.keys()
        assert all("fieldctl generation raise" in f.detail for f in odd.values())  # type: ignore[attr-defined]
        assert since(made, 0, TargetOdd) == []  # the old one is told nothing: it steers
        error = await refused(twin, "exercise-start", drill="one", by="Mira", searchers=("Jon",))
        assert made.site.mqtt or "higher generation" in str(error)  # at a broker the twin is not even connected
        assert since(twin, held, GrantGiven) == []
        await twin.kill()

    tell_on_file(story, tmp_path / "old", **links)


@pytest.mark.parametrize("links", LINKS, ids=lambda links: next(iter(links)))
def test_a_person_raises_the_generation_and_the_old_one_is_told(links: dict[str, int], tmp_path: Path) -> None:
    async def story(made: Field) -> None:
        twin, name, target, held = await both_run(made, tmp_path)
        await asyncio.sleep(20)
        assert (await ask(made, "status"))["steers"]
        assert not (await ask(twin, "status"))["steers"]
        check = await ask(twin, "day-check")
        assert (check["open"], [row["key"] for row in check["warnings"]]) == (True, ["steers-nobody"])
        assert "fieldctl generation raise" in check["warnings"][0]["remedy"]
        assert "reason" in (await refused(twin, "generation-raise", by="Ansel", reason=" \t")).what
        assert since(twin, held, GenerationRaised) == []
        assert await ask(twin, "generation-raise", by="Ansel", reason="the old machine is to go") == {"generation": 2}
        assert (await ask(twin, "status"))["steers"]
        assert (await ask(twin, "day-check"))["warnings"] == []
        await asyncio.sleep(GRANT_S + 5)
        assert not any(sends(made, each) for each in made.nodes), "what was sending ran out, and nothing was begun"
        assert since(twin, held, GrantGiven) == []
        await asyncio.sleep(65)  # the old one is back at the broker once a minute
        assert {node.storage.generation for node in made.nodes.values()} == {2}
        told = {f.target for f in since(made, 0, TargetOdd) if f.what == "superseded"}  # type: ignore[attr-defined]
        assert told == set(made.nodes)
        assert [f.target for f in since(made, 0, GrantEnded)] == [target]  # type: ignore[attr-defined]
        assert name in {row["exercise"] for row in (await ask(made, "status"))["exercises"]}

        # whatever the old one orders now is superseded, and changes nothing
        assert made.life is not None
        await refused(made, "exercise-start", drill="one", by="Mira", searchers=("Jon",))
        if made.site.serial:
            known = made.life.controller.known[target]  # type: ignore[index]
            made.life.controller.open_again(known)
            await asyncio.sleep(2)
            ended = await made.life.controller.ask(known, Quiet(0, 1, 0), "as it would")
            assert ended.verdict == "superseded"

        # the new one steers, through the old one's visits
        new = await started(twin)
        on = (await ask(twin, "exercise-show", exercise=new))["burials"][0]["target"]
        for _ in range(90):
            await asyncio.sleep(1)
            assert sends(made, on)
        # and all off is obeyed whoever orders it
        await ask(made, "all-off")
        await asyncio.sleep(GRANT_S)
        assert not any(sends(made, each) for each in made.nodes)
        assert all(node.storage.off for node in made.nodes.values())
        await twin.kill()

    tell_on_file(story, tmp_path / "old", **links)


@pytest.mark.parametrize("links", LINKS, ids=lambda links: next(iter(links)))
def test_the_old_one_is_gone_and_a_restart_changes_nothing(links: dict[str, int], tmp_path: Path) -> None:
    """The burnt base station: its grant runs out, and the new one waits for a person, also over restarts."""

    async def story(made: Field) -> None:
        twin, name, target, held = await both_run(made, tmp_path)
        await made.kill()
        await asyncio.sleep(GRANT_S)
        assert not any(sends(made, each) for each in made.nodes)
        await twin.kill()
        twin.begin()
        await asyncio.sleep(70)
        assert not any(sends(made, each) for each in made.nodes)
        assert [f.generation for f in since(twin, held, ControllerStarted)] == [0, 0]  # type: ignore[attr-defined]
        assert [f.exercise for f in since(twin, held, ExerciseInterrupted)] == [name]  # type: ignore[attr-defined]
        await ask(twin, "generation-raise", by="Ansel", reason="the old one burnt out")
        await asyncio.sleep(10)
        assert not any(sends(made, each) for each in made.nodes)
        await ask(twin, "exercise-resume", exercise=name, by="Mira")
        await asyncio.sleep(10)
        assert sends(made, target), "one press of a person goes on with it"
        await twin.kill()

    tell_on_file(story, tmp_path / "old", **links)


def test_all_off_stays_in_force(tmp_path: Path) -> None:
    async def story(made: Field) -> None:
        await ready(made)
        await ask(made, "all-off", by="Ansel")
        await asyncio.sleep(2)
        twin, done = twin_of(made, back_up(made, tmp_path).file, tmp_path / "new")
        assert done.all_off
        await made.kill()
        twin.begin()
        await asyncio.sleep(5)
        assert (await ask(twin, "status"))["all_off"]["in_force"]
        assert all(node.storage.off for node in made.nodes.values())
        await twin.kill()

    tell_on_file(story, tmp_path / "old", serial=3)


def test_the_highest_generation_of_the_log_is_gone_beyond_with_nobody_heard(tmp_path: Path) -> None:
    async def story(made: Field) -> None:
        await ready(made)
        for _ in range(3):
            await ask(made, "generation-raise", by="Ansel", reason="again")
        twin, _ = twin_of(made, back_up(made, tmp_path).file, tmp_path / "new")
        await made.kill()
        for node in made.nodes.values():
            node.power_off()
        twin.begin()
        await asyncio.sleep(2)
        assert await ask(twin, "generation-raise", by="Ansel", reason="a new one") == {"generation": 5}
        await twin.kill()

    tell_on_file(story, tmp_path / "old", serial=3)


def test_a_closed_twin_does_not_open_before_a_person_says_that_it_steers(tmp_path: Path) -> None:
    async def story(made: Field) -> None:
        made.begin()
        await asyncio.sleep(20)
        twin, _ = twin_of(made, back_up(made, tmp_path).file, tmp_path / "new")
        twin.begin()
        await asyncio.sleep(5)
        first = (await ask(twin, "day-check"))["problems"][0]
        assert (first["key"], first["may_sign"]) == ("steers-nobody", False)
        assert "fieldctl generation raise" in first["remedy"]
        said = await refused(twin, "day-open", by="Ansel", exceptions=("steers-nobody",))
        assert first["wrong"] in said.what
        await ask(twin, "generation-raise", by="Ansel", reason="the old one burnt out")
        assert "steers-nobody" not in {row["key"] for row in (await ask(twin, "day-check"))["problems"]}
        assert "steers no target" not in (await refused(twin, "day-open", by="Ansel")).what
        await twin.kill()

    tell_on_file(story, tmp_path / "old", serial=3)

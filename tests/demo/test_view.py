"""The demo's live picture: a look of its own for every phase, never more than a small terminal, readable in grey."""

from __future__ import annotations

import asyncio
import io
from pathlib import Path
from typing import Any

from rich.console import Console

from fieldctl.drill.phases import PHASES
from fieldctl.errors import FieldctlError
from fieldctl.events import StrikeRecorded
from sims import demo_view, pad
from sims.field import DRILLS, Field, make_field
from sims.network import Network
from sims.world import World


def test_every_phase_has_a_look_of_its_own() -> None:
    assert demo_view.PHASES.keys() == PHASES.keys()
    seen = {(shape, word) for shape, word, _ in demo_view.PHASES.values()}
    assert len(seen) == len(PHASES)
    assert len({shape for shape, word, _ in demo_view.PHASES.values() if word != "over"}) == len(PHASES) - 1


def drawn(status: dict[str, Any], exercise: str, strikes: list[StrikeRecorded]) -> list[str]:
    """The picture in a terminal of 80 columns without colours."""
    out = io.StringIO()
    Console(file=out, width=80, no_color=True).print(demo_view.picture(status, exercise, strikes))
    return out.getvalue().splitlines()


def test_the_picture_tells_the_drill_from_the_wait_to_all_off_in_24_lines(tmp_path: Path) -> None:
    (tmp_path / "drills").mkdir()
    (tmp_path / "drills" / "chain.toml").write_text(DRILLS["chain"], encoding="utf-8")
    shown: dict[str, str] = {}

    async def look(made: Field, when: str, exercise: str) -> None:
        status = await made.ask("status")
        assert not isinstance(status, FieldctlError)
        lines = drawn(status, exercise, list(made.ledger.facts(kinds=(StrikeRecorded,))))
        assert len(lines) <= 24, "\n".join(lines)
        shown[when] = "\n".join(lines)

    async def story(made: Field) -> None:
        made.begin()
        await asyncio.sleep(0.002)
        await look(made, "wait", "")
        await asyncio.sleep(8)
        assert await made.open_day()
        started = await made.ask("exercise-start", drill="chain", by="Ansel", searchers=("Mira",))
        assert not isinstance(started, FieldctlError)
        exercise, first = started["exercise"], made.nodes[started["burials"][0]["target"]]
        await look(made, "before", exercise)
        await asyncio.sleep(8)
        await look(made, "sending", exercise)
        pad.play(made.world, first, pad.probe(made.world.rng("probe")))
        await asyncio.sleep(4)
        await look(made, "found", exercise)
        made.unplug(60_000_000)
        await asyncio.sleep(1)
        await look(made, "unplugged", exercise)
        await made.ask("all-off")
        await asyncio.sleep(1)
        await look(made, "off", exercise)
        await made.kill()

    with World(5) as world:
        world.run(story(make_field(world, Network(world.rng("network")), serial=8, air=4, grant_s=30, folder=tmp_path)))
    assert "Waiting until every target is heard" in shown["wait"]
    assert "not heard" in shown["wait"]
    assert "starts in 2 s" in shown["before"]
    assert "○ waiting" in shown["before"]
    assert "● sending" in shown["sending"]
    assert "clock 0:0" in shown["sending"]
    assert "strikes: none yet" in shown["sending"]
    assert "■ found, sends on" in shown["found"]
    assert "taken for probe ±" in shown["found"]
    assert "Mira" in shown["found"]
    assert "all off is not in force" in shown["found"]
    assert "═ link bus: up, 8 targets" in shown["found"]
    assert "╳ link bus: down" in shown["unplugged"]
    assert "■ ALL OFF: 4 confirmed" in shown["off"]
    assert "not yet: Larch 1, " in shown["off"]

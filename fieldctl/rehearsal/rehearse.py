"""Many repetitions of one scene: in blocks, so that memory stays the same however many, by one worker or several.

A repetition's chances depend on the seed and its index only, and outcomes are counted in whole numbers; so neither the
size of the blocks nor the number of workers can change an answer.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from functools import partial

import numpy as np

from fieldctl.errors import BadInput
from fieldctl.rehearsal.scene import Scene
from fieldctl.rehearsal.searcher import Rehearsal, Ways, ways_of
from fieldctl.rehearsal.skill import Skill
from fieldctl.rehearsal.tally import Tally

RUNS_MOST = 100_000  # minutes of work; percentiles are steady long before
SEARCHERS_MOST = 30
WORKERS_MOST = 64
SEED_MOST = 2**63 - 1
BLOCK_SEARCHERS = 2000  # worked on at once: a few MB; more would hardly be quicker (measured) …
BLOCK_RUNS = (100, 500)  # … but never fewer or more repetitions than these

Progress = Callable[[float], None]
"""Told which share of the work is done, from 0 to 1, never falling; the last is 1."""


def check_wishes(runs: int, searchers: int, seed: int, workers: int = 1) -> None:
    """BadInput for what is out of bounds, with the nearest that can be had."""
    rows = (
        ("runs", runs, 1, RUNS_MOST),
        ("searchers", searchers, 1, SEARCHERS_MOST),
        ("seed", seed, 0, SEED_MOST),
        ("workers", workers, 1, WORKERS_MOST),
    )
    for name, value, least, most in rows:
        if not least <= value <= most:
            nearest = min(max(value, least), most)
            raise BadInput(f"{name} = {value} cannot be had.", expected=f"{least} to {most}", remedy=f"Take {nearest}.")


def rehearse(
    scene: Scene,
    skill: Skill,
    *,
    runs: int,
    searchers: int = 1,
    seed: int = 0,
    workers: int = 1,
    block: int | None = None,
    strip_m: float | None = None,
    progress: Progress | None = None,
) -> Tally:
    """Outcomes of repetitions 0 to runs − 1. `strip_m` walks strips of another width than the taught one; `block` is
    how many repetitions are worked at once. More workers are processes of their own, which needs a program that can
    be imported (fieldctl can, a script on stdin cannot). BadInput out of bounds."""
    check_wishes(runs, searchers, seed, workers)
    size = block or min(max(BLOCK_SEARCHERS // searchers, BLOCK_RUNS[0]), BLOCK_RUNS[1])
    spans = [(first, min(first + size, runs)) for first in range(0, runs, size)]
    work = partial(_block, scene, ways_of(scene, searchers, strip_m), skill, seed)
    total = Tally.empty(len(scene.names), int(np.floor(scene.limit_s)))
    say = progress or (lambda share: None)
    if workers == 1 or len(spans) == 1:
        for first, last in spans:
            total.join(work((first, last), lambda part, a=first, b=last: say(min(1.0, (a + (b - a) * part) / runs))))  # type: ignore[misc]
    else:
        # Spawned, not forked: a process with threads (the controller's) must not be copied as it stands.
        with ProcessPoolExecutor(min(workers, len(spans)), multiprocessing.get_context("spawn")) as pool:
            for (_, last), part in zip(spans, pool.map(work, spans), strict=True):
                total.join(part)
                say(last / runs)
    say(1.0)
    return total


def _block(
    scene: Scene, ways: Ways, skill: Skill, seed: int, span: tuple[int, int], tick: Progress | None = None
) -> Tally:
    """One block; at the top of the module so that it can be sent to a worker."""
    return Rehearsal(scene, ways, skill, seed, np.arange(*span)).run(tick)

"""Making a broken plan short: without whole classes, without single happenings, in calm weather, if it still breaks."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from sims.field import Field
from sims.network import Weather
from sims.plan import Plan, as_script, draw
from sims.swarm import run

TRIES_MOST = 60


def shrink(seed: int, change: Callable[[Field], None] | None = None, *, targets: str = "python") -> str:
    """The shortest plan found that still breaks what the seed broke, as text; says so when it no longer breaks."""
    plan = draw(seed)
    broken = {name for name, _ in run(plan, change=change, targets=targets).broken}
    if not broken:
        return f"seed {seed}: nothing is broken"
    tries = 0
    better = True
    while better and tries < TRIES_MOST:
        better = False
        for smaller in _smaller(plan):
            tries += 1
            still = {name for name, _ in run(smaller, change=change, targets=targets).broken}
            if still & broken:
                plan, better = smaller, True
                break
            if tries >= TRIES_MOST:
                break
    found = run(plan, change=change, targets=targets).broken
    return "\n".join([as_script(plan), *(f"# breaks: {name}: {detail}" for name, detail in found[:5])])


def _smaller(plan: Plan) -> Iterator[Plan]:
    if plan.weather != Weather():
        yield replace(plan, weather=Weather())
    for kind in sorted({h.kind for h in plan.script}):
        yield plan.without(kind=kind)
    for i in range(len(plan.script)):
        yield plan.without(index=i)

"""Each invariant catches the defect that was planted for it, within 300 seeds; the sound program breaks none."""

from __future__ import annotations

import pytest
from planted import IN_THE_END, PLANTED, Plant

from sims.invariants import CHECKERS
from sims.plan import draw
from sims.swarm import run

SEEDS = 300


def test_every_invariant_has_a_planted_defect() -> None:
    assert {name for name, _ in PLANTED} == {checker.name for checker in CHECKERS} | IN_THE_END


@pytest.mark.parametrize(("invariant", "plant"), PLANTED, ids=[plant.__name__ for _, plant in PLANTED])
@pytest.mark.timeout(240)
def test_the_swarm_catches(invariant: str, plant: Plant, monkeypatch: pytest.MonkeyPatch) -> None:
    plant(monkeypatch)
    for seed in range(SEEDS):
        broken = {name for name, _ in run(draw(seed)).broken}
        if invariant in broken:
            return
    raise AssertionError(f"{plant.__name__} went unseen in {SEEDS} seeds")

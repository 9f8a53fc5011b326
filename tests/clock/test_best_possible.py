"""How wide the ± must be: the linear programme over all samples, offset, rate and wander, by scipy."""

import random

import numpy as np
import pytest
from scipy.optimize import linprog

from fieldctl.clock import Exchange, TickMap
from fieldctl.units import HostUs, NodeTicks


@pytest.mark.parametrize("ppm", [-140, 0, 90])
@pytest.mark.parametrize("every_us", [250_000, 1_000_000])
def test_no_estimator_could_claim_much_less(ppm: int, every_us: int) -> None:
    rng = random.Random(ppm + every_us)
    clocks = TickMap()
    ticks, sent, received = [], [], []
    ours, best = [], []
    for i in range(1, 180_000_000 // every_us):
        at = i * every_us
        heard = at + rng.randrange(5_000, 100_000)
        back = heard + rng.randrange(5_000, 100_000)
        tick = int(heard * (1 + ppm * 1e-6))
        assert clocks.add(Exchange(HostUs(at), HostUs(back), NodeTicks(tick), 0, 0, byte_us=0.0)) is None
        ticks.append(tick)
        sent.append(at)
        received.append(back)
        if at < 60_000_000 or i % 10:
            continue
        stamp = clocks.to_host(NodeTicks(tick))
        assert stamp is not None
        age = (tick - np.array(ticks, float)) / 1e6
        strays = 0.1 * age**2  # µs: a rate that changes by at most 0.2 ppm a second
        line = np.stack([np.ones_like(age), -age], 1)  # host time = offset − age · (1 + rate in ppm)
        upper = np.array(received, float) - heard + age * 1e6 + strays
        lower = np.array(sent, float) - heard + age * 1e6 - strays
        ends = [
            linprog(
                [sign, 0],
                A_ub=np.concatenate([line, -line]),
                b_ub=np.concatenate([upper, -lower]),
                bounds=[(None, None), (-150, 150)],
            ).fun
            for sign in (1, -1)
        ]
        ours.append(stamp[1])
        best.append((-ends[1] - ends[0]) / 2)
    assert len(ours) >= 12
    ratio = np.array(ours) / np.array(best)
    assert ratio.mean() < 1.05
    assert ratio.max() < 1.25

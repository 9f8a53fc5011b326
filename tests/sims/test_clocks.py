"""The simulated crystal stays within what `fieldctl.clock` allows a sound one: the truth lies inside every ±."""

from itertools import pairwise
from random import Random

import pytest
from mountain import mountain

from fieldctl.clock import Exchange, TickMap
from fieldctl.clock.evidence import WANDER_PPB_PER_S
from fieldctl.units import HostUs, NodeTicks
from fieldctl.wire import frames
from sims.crystal import Crystal


@pytest.mark.parametrize("seed", range(60))
def test_rate_and_wander_stay_within_a_cold_crystal(seed: int) -> None:
    rng = Random(seed)
    crystal = Crystal(rng, rng.uniform(-145, 145), 5_000_000)
    step = 10_000_000
    rates = []
    for i in range(400):
        at = 5_000_000 + i * step
        rates.append((crystal.exact(at + step) - crystal.exact(at)) / step - 1)
    assert max(abs(rate) for rate in rates) <= 150e-6
    assert max(abs(b - a) / 10 for a, b in pairwise(rates)) <= WANDER_PPB_PER_S * 1e-9


@pytest.mark.parametrize("seed", range(20))
def test_true_time_is_the_first_microsecond_of_a_tick(seed: int) -> None:
    rng = Random(seed)
    crystal = Crystal(rng, rng.uniform(-145, 145), 123)
    for _ in range(200):
        ticks = rng.randrange(1_000_000, 4 * 3600 * 1_000_000)
        at = crystal.true_us(ticks)
        assert crystal.ticks(at) >= ticks > crystal.ticks(at - 1)


@pytest.mark.parametrize("base_ppm", [-145.0, 0.0, 145.0])
def test_stamps_made_from_this_bus_hold_the_truth(base_ppm: float) -> None:
    m = mountain(1, base_ppm=base_ppm)
    n = m.nodes[0]
    ticks_map = TickMap()
    rng = m.world.rng("strikes")
    outside, widths = 0, []
    for i in range(900):
        payload = m.sessions[n.address].token(m.world.now_us())
        sent = m.world.now_us()
        m.heard.clear()
        m.hub.write(frames.encode(payload))
        true = sent + rng.randrange(0, 1_000_000)
        m.go(1_000_000)
        at, data = m.heard[0]
        said = m.said[-1]
        exchange = Exchange(
            HostUs(sent),
            HostUs(at),
            NodeTicks(said.ticks),  # type: ignore[attr-defined]
            len(frames.encode(payload)),
            len(data),
            turnaround_us=200,
        )
        assert ticks_map.add(exchange) is None
        stamp = ticks_map.to_host(NodeTicks(n.ticks(true)))
        assert stamp is not None
        if i > 60:
            outside += abs(stamp[0] - true) > stamp[1]
            widths.append(stamp[1])
    assert outside == 0
    assert max(widths) <= 2_000  # design, section 9: asked once a second on serial
    assert sorted(widths)[len(widths) // 2] < 1_000

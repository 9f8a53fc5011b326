"""The truth is inside the ± always, while the physical limits hold; a step beyond the ± is a finding."""

import math
import random
from dataclasses import dataclass, field

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldctl.clock import SERIAL_BYTE_US, ClockEvidence, ClockJumped, Exchange, TickMap, restamp
from fieldctl.units import HostUs, NodeTicks


@dataclass
class Crystal:
    """A target's counter: drift, sinusoidal wander with its steepest change at the limit, steps."""

    drift: float
    swing: float
    phase: float
    start: float
    share: float = 0.99  # of the wander that is promised
    steps: list[tuple[float, float]] = field(default_factory=list)

    def smooth(self, host_us: float) -> float:
        swung = 0.0
        if self.swing:
            turn = self.share * WANDER_PPB_PER_S * 1e-15 / self.swing
            swung = self.swing * (math.cos(self.phase) - math.cos(turn * host_us + self.phase)) / turn
        return self.start + host_us * (1 + self.drift) + swung

    def ticks(self, host_us: float) -> int:
        return math.floor(self.smooth(host_us) + sum(by for at, by in self.steps if host_us >= at))


@st.composite
def crystals(draw: st.DrawFn) -> Crystal:
    swing = draw(st.sampled_from([0.0, 5e-6, 40e-6, 75e-6]))
    drift = draw(st.sampled_from([-1.0, 1.0, 0.0]) | st.floats(-1, 1)) * (150e-6 - swing)
    return Crystal(drift, swing, draw(st.floats(0, 6.3)), draw(st.sampled_from([0.0, 5e8, 3e14])))


@dataclass
class Way:
    """An invented link: least and most µs each way beside the bytes, which take `byte_us` times `pace`."""

    byte_us: float
    out: tuple[float, float]
    back: tuple[float, float]
    pace: float = 1.0
    turnaround: int = 0

    def ask(self, crystal: Crystal, at: float, rng: random.Random, resent: bool = False) -> Exchange:
        heard = at + rng.uniform(*self.out) + 12 * self.byte_us * self.pace
        back = heard + self.turnaround / 0.9999 + rng.uniform(*self.back) + 40 * self.byte_us * self.pace
        return Exchange(
            HostUs(math.floor(at)),
            HostUs(math.floor(back)),
            NodeTicks(crystal.ticks(heard)),
            12,
            40,
            self.byte_us,
            self.turnaround,
            resent,
        )


WAYS = st.sampled_from(
    [
        Way(SERIAL_BYTE_US, (0, 200), (0, 1_500), 0.985, 150),
        Way(SERIAL_BYTE_US, (0, 0), (0, 0), 0.981),  # hardly any slack: the worst case for the constants
        Way(SERIAL_BYTE_US, (0, 16_000), (0, 16_000), 1.02),
        Way(0.0, (5_000, 100_000), (5_000, 100_000)),
        Way(0.0, (0, 100), (400_000, 400_100)),  # one-sided
    ]
)

WANDER_PPB_PER_S = 200  # stated here anew: the promise, not the constant that keeps it
HOST_START = 8e9  # the host has been up for two hours


def check(clocks: TickMap, crystal: Crystal, at: float) -> int:
    """The stamp of what happens at `at` holds it, and comes out of its evidence again; its ±."""
    tick = NodeTicks(crystal.ticks(at))
    stamp = clocks.to_host(tick)
    evidence = clocks.evidence(tick)
    assert stamp is not None
    assert evidence is not None
    assert abs(stamp[0] - at) <= stamp[1], (stamp, at)
    assert restamp(ClockEvidence.from_ints(evidence.as_ints()), tick) == stamp
    return stamp[1]


def check_order(clocks: TickMap, crystal: Crystal, at: float) -> None:
    """The tick named for a host moment is the one shown then, within its ±."""
    order = clocks.to_ticks(HostUs(int(at)))
    assert order is not None
    assert abs(order[0] - crystal.ticks(int(at))) <= order[1]


GAPS = st.lists(st.sampled_from([0.02, 0.1, 0.25, 1.0, 1.0, 1.0, 5.0, 60.0, 1800.0]), min_size=2, max_size=10)


@settings(max_examples=200, deadline=None)
@given(crystals(), WAYS, GAPS, st.integers(0, 2**32))
def test_the_truth_is_inside_every_stamp(crystal: Crystal, way: Way, gaps: list[float], seed: int) -> None:
    rng = random.Random(seed)
    clocks = TickMap()
    at = HOST_START
    happened: list[float] = []
    for gap in gaps:
        for _ in range(rng.choice([1, 3, 30])):
            happened.append(at + rng.uniform(0, gap * 1e6))
            at += max(gap * 1e6, way.out[1] + way.back[1] + 6_000)
            if rng.random() < 0.2:
                continue  # lost
            resent = rng.random() < 0.1
            asked = at - rng.uniform(0, 2e6) if resent else at  # nobody knows which question was answered
            proof = way.ask(crystal, at, rng, resent)
            if resent:
                proof = Exchange(HostUs(int(at + 1e6)), proof.received_us, proof.ticks, 12, 40, resent=True)
            assert clocks.add(proof) is None, asked
            if clocks.exchanges:
                for past in happened[-3:]:
                    check(clocks, crystal, past)
                ahead = at + rng.choice([0, 1e5, 3e7, 4e9])
                check(clocks, crystal, ahead)
                check_order(clocks, crystal, ahead)
                width = clocks.width_now(HostUs(int(at)))
                assert width is not None
    if clocks.exchanges:
        for past in happened:
            check(clocks, crystal, past)
            check_order(clocks, crystal, past)


@settings(max_examples=100, deadline=None)
@given(crystals(), WAYS, st.integers(0, 2**32), st.sampled_from([-1, 1]), st.floats(1.05, 50), st.booleans())
def test_a_step_beyond_the_width_is_a_finding(
    crystal: Crystal, way: Way, seed: int, sign: int, times: float, long_after: bool
) -> None:
    rng = random.Random(seed)
    clocks = TickMap()
    at = HOST_START
    strikes = []
    for _ in range(40):
        at += 1e6
        assert clocks.add(way.ask(crystal, at, rng)) is None
        strikes.append(at - 3e5)
    before = [clocks.to_host(NodeTicks(crystal.ticks(s))) for s in strikes]
    # The first answer after the step may be as wide as the link allows.
    widest = way.out[1] + way.back[1] + 52 * way.byte_us + 1_000
    width = clocks.width_now(HostUs(int(at + 1e6)))
    assert width is not None
    step = sign * times * (2 * width + widest)
    crystal.steps.append((at + 5e5, step))
    at += 1e6
    finding = clocks.add(way.ask(crystal, at, rng))
    assert isinstance(finding, ClockJumped)
    assert (finding.by_us > 0) == (sign > 0)
    assert abs(finding.by_us) <= abs(step) * (1 + 151e-6) + 1  # the step is in ticks, the finding in host time
    assert abs(step) - abs(finding.by_us) <= 2 * width + widest
    assert "jumped" in str(finding)
    for _ in range(300 if long_after else 5):  # stamps go on, and the truth is inside them again
        now = at + rng.uniform(0, 9e5)
        check(clocks, crystal, now)
        at += 1e6
        assert clocks.add(way.ask(crystal, at, rng)) is None
    # Ticks from before the jump keep to the old piece; one that may belong to either side covers both.
    first_after = crystal.ticks(HOST_START + 41e6)
    for strike, old in zip(strikes, before, strict=True):
        tick = NodeTicks(crystal.ticks(strike))
        stamp = clocks.to_host(tick)
        assert stamp is not None
        assert old is not None
        assert abs(stamp[0] - strike) <= stamp[1]
        if step > 0 or tick < first_after - 3e6:
            assert stamp == old
    check(clocks, crystal, HOST_START + 40.2e6)  # between the last answer before it and the step
    check(clocks, crystal, HOST_START + 40.7e6)  # between the step and the first answer after it


def test_every_moment_of_a_day_with_pauses() -> None:
    """One long life: fast, slow, asleep, asleep for hours; each stamp checked at once and an hour later."""
    crystal = Crystal(-110e-6, 40e-6, 1.0, 1e6)
    way = Way(SERIAL_BYTE_US, (0, 200), (0, 1_500), 0.99, 150)
    rng = random.Random(3)
    clocks = TickMap()
    at, happened = HOST_START, []
    for gap, rounds in ((0.1, 2_000), (1.0, 900), (60.0, 60), (7_200.0, 3), (1.0, 300), (0.1, 600)):
        for _ in range(rounds):
            at += gap * 1e6
            assert clocks.add(way.ask(crystal, at, rng)) is None
            happened.append(at - gap * rng.uniform(0, 1e6))
            check(clocks, crystal, happened[-1])
    for past in happened[::7]:
        check(clocks, crystal, past)
    assert clocks.jumps == clocks.wanders == clocks.impossible == 0


@pytest.mark.parametrize("ppm", [-150, 150])
@pytest.mark.parametrize("side", [0, 60])
def test_the_full_drift_over_an_hour_with_no_slack_on_one_side(ppm: int, side: int) -> None:
    """The ends of the ± are met exactly: what 150 ppm of the target's clock are in the host's own must be known."""
    crystal = Crystal(ppm * 1e-6, 0.0, 0.0, 0.0)
    clocks = TickMap()
    heard = HOST_START + 60 - side
    clocks.add(
        Exchange(HostUs(int(HOST_START)), HostUs(int(HOST_START) + 60), NodeTicks(crystal.ticks(heard)), 0, 0, 0.0)
    )
    for hours in (1, 24):
        check(clocks, crystal, heard + hours * 3.6e9)
        check(clocks, crystal, heard - hours * 1.8e9)


def test_a_rate_that_wanders_at_the_limit_all_the_way() -> None:
    """From the slowest to the fastest at 0.2 ppm a second, on a link that proves the rate as well as any."""
    crystal = Crystal(0.0, 150e-6, 0.0, 0.0, share=0.999)
    way = Way(0.0, (0, 50), (0, 50))
    rng = random.Random(1)
    clocks = TickMap()
    at = HOST_START
    for i in range(6_000):
        at += 1e6
        assert clocks.add(way.ask(crystal, at, rng)) is None, i
        if i % 20 == 0:
            check(clocks, crystal, at + 60e6)
    assert clocks.wanders == 0

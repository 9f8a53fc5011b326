from __future__ import annotations

import numpy as np
import pytest

from fieldctl.drill.plan import Burial
from fieldctl.keying import Keying
from fieldctl.physics.dipole import RECEIVER_LIMIT_A_PER_M
from fieldctl.physics.pulses import Train, covered_ms
from fieldctl.rehearsal.chance import keys
from fieldctl.rehearsal.hearing import COVERED_SHARE, Trains, listen, pulses_in_second, sending, trains_of
from fieldctl.rehearsal.scene import scene_of

TWO = [(20.0, 25.0, 1.0, 0, 0), (30.0, 25.0, 1.0, 0, 0)]


def test_pulses_and_overlaps_are_those_of_the_time_axis():
    """Against physics.pulses, which works them out by another route."""
    rng = np.random.default_rng(2)
    keyings = [Keying(1000, 100), Keying(1130, 200), Keying(1300, 310)]
    phase = rng.uniform(0, 1000, 3)
    trains = [Train(k, float(p)) for k, p in zip(keyings, phase, strict=True)]
    ours = Trains(
        phase[None, :] / 1000,
        np.array([[k.period_ms / 1000 for k in keyings]]),
        np.array([[k.on_ms / 1000 for k in keyings]]),
    )
    on = np.ones((1, 3), dtype=bool)
    seen = [[] for _ in keyings]
    for second in range(2, 200):
        begins, touched = pulses_in_second(ours, on, float(second))
        for k in range(3):
            if begins[0, k]:
                seen[k].append(bool(touched[0, k].any()))
    for k, train in enumerate(trains):
        others = [t for i, t in enumerate(trains) if i != k]
        first = phase[k] + train.keying.period_ms * np.ceil((2000 - phase[k]) / train.keying.period_ms)
        expected = covered_ms(train, others, first - 1e-6, 200_000 - 1e-6)
        wanted = (expected > 0.0).tolist()
        if wanted != seen[k]:
            assert len(wanted) == len(seen[k])
        assert seen[k] == wanted


def test_targets_drift_by_their_own_clocks(tools):
    scene = scene_of(*tools.staffed([Burial("A"), Burial("B")], TWO))
    trains = trains_of(scene, [keys(0, np.arange(500), 1000 + i) for i in range(2)])
    part = trains.period_s / scene.period_s - 1.0
    assert np.abs(part).max() <= 150e-6
    assert part.std() == pytest.approx(150e-6 / np.sqrt(3), rel=0.1)
    assert ((trains.phase_s >= 0) & (trains.phase_s < 1.0)).all()
    assert abs(np.corrcoef(trains.phase_s.T)[0, 1]) < 0.15


def test_a_signal_starts_stops_and_drops_out(tools):
    burials = [Burial("A", drop_on_s=10.0, drop_off_s=5.0), Burial("B")]
    scene = scene_of(*tools.staffed(burials, TWO))
    starts, stops = np.array([[3.0, 20.0]]), np.array([[1e9, 30.0]])
    on = np.array([sending(scene, starts, stops, float(t))[0] for t in range(40)])
    assert on[:, 0].tolist() == [t >= 3 and (t - 3) % 15 < 10 for t in range(40)]
    assert on[:, 1].tolist() == [20 <= t < 30 for t in range(40)]


def test_a_covered_pulse_gives_no_reading_unless_it_is_much_stronger(tools):
    scene = scene_of(*tools.staffed([Burial("A"), Burial("B")], TWO))
    at = np.array([[25.0, 25.0], [20.5, 25.0], [29.5, 25.0], [10.0, 25.0]])
    begins = np.ones((1, 2), dtype=bool)
    apart, clash = np.zeros((1, 2, 2), dtype=bool), ~np.eye(2, dtype=bool)[None]
    arguments = (scene, at, np.full(4, 0.05), np.full(4, RECEIVER_LIMIT_A_PER_M), begins)
    free = listen(*arguments, apart, 4)
    assert free.read.all()
    held = listen(*arguments, clash, 4)
    assert held.loud.all()
    assert held.read.tolist() == [[False, False], [True, False], [False, True], [True, False]]
    weaker = held.strength[3, 1] / held.strength[3, 0]
    assert weaker < COVERED_SHARE


def test_out_of_range_nothing_is_heard_and_a_silent_burial_never(tools):
    scene = scene_of(*tools.staffed([Burial("A"), Burial("B", level=1)], TWO))
    at = np.array([[20.0, 25.0], [79.0, 49.0], [30.0, 32.0]])
    heard = listen(
        scene,
        at,
        np.ones(3),
        np.full(3, RECEIVER_LIMIT_A_PER_M),
        np.array([[True, True]]),
        np.zeros((1, 2, 2), dtype=bool),
        3,
    )
    assert heard.loud.tolist() == [[True, False], [False, False], [True, False]]
    quiet = listen(
        scene,
        at,
        np.ones(3),
        np.full(3, RECEIVER_LIMIT_A_PER_M),
        np.array([[False, True]]),
        np.zeros((1, 2, 2), dtype=bool),
        3,
    )
    assert not quiet.read[:, 0].any()

"""Stamps: coverage together with width, and what adding and stamping cost (design, section 9).

Run as a script; prints figure, limit, ratio for each line, and leaves 1 where a limit is not kept. Everything is
simulated (invented links, seeded): targets with a drift of up to ±150 ppm that wanders by up to 0.2 ppm a second.
No truth may ever lie outside its ±, and the usual ± must be clearly smaller than the largest.

minutes 1 to 4  the stamp made as the strike arrives, after 60 s of settling
after minute 4  the same, once the rate of the target is known
a minute later  any of these ticks, stamped again

Over MQTT with 5 to 100 ms each way and a rate known to ±150 ppm only, chance leaves about 2 stamps in 1000 of minutes
1 to 4 somewhat wider than the limit, and no estimator can help it: the linear programme over all samples, rate and
wander gives the same widths. There the limit is held against the 99th part of 100 and the share over it is printed.
The lines "hurried" ask four times as often while the ± is wider than 0.8 of the limit, which the controller should
do; they are held to the limit throughout.
"""

from __future__ import annotations

import argparse
import heapq
import itertools
import json
import math
import random
import sys
import time
from dataclasses import dataclass

from fieldctl.clock import SERIAL_BYTE_US, ClockEvidence, Exchange, TickMap, restamp
from fieldctl.units import HostUs, NodeTicks

SETTLING_S = 60
ADD_LIMIT_NS = 10_000
STAMP_LIMIT_NS = 10_000


@dataclass(frozen=True)
class Link:
    """An invented link: µs each way; 0 bytes of known wire time for MQTT."""

    name: str
    every_s: float
    limit_us: int
    byte_us: float
    turnaround_us: int
    lost: float
    hurried: bool = False


LINKS = (
    Link("serial, 1 a second", 1.0, 2_000, SERIAL_BYTE_US, 150, 0.0),
    Link("serial, 2 a second, 1 in 20 lost", 0.5, 2_000, SERIAL_BYTE_US, 150, 0.05),
    Link("serial, 10 a second", 0.1, 2_000, SERIAL_BYTE_US, 150, 0.01),
    Link("mqtt, 1 a second", 1.0, 15_000, 0.0, 0, 0.0),
    Link("mqtt, 4 a second", 0.25, 10_000, 0.0, 0, 0.0),
    Link("mqtt, 1 a second, hurried", 1.0, 15_000, 0.0, 0, 0.0, True),
    Link("mqtt, 4 a second, hurried", 0.25, 10_000, 0.0, 0, 0.0, True),
)


class NodeClock:
    """Ticks of a target: drift, and a sinusoidal wander whose steepest change is `ppm_per_s`."""

    def __init__(self, rng: random.Random, ppm_per_s: float = 0.198) -> None:
        self.swing = rng.uniform(0, 60e-6)
        self.drift = rng.uniform(-1, 1) * (150e-6 - self.swing)
        self.turn = ppm_per_s * 1e-6 / self.swing / 1e6 if self.swing else 0.0  # radians a µs
        self.phase = rng.uniform(0, 2 * math.pi)
        self.start = rng.uniform(0, 1e9)

    def ticks(self, host_us: float) -> float:
        swung = (math.cos(self.phase) - math.cos(self.turn * host_us + self.phase)) / self.turn if self.turn else 0.0
        return self.start + host_us * (1 + self.drift) + self.swing * swung

    def host(self, ticks: float) -> float:
        at = ticks - self.start
        for _ in range(6):
            at += ticks - self.ticks(at)
        return at


def exchange(link: Link, clock: NodeClock, rng: random.Random, at: float) -> tuple[float, Exchange]:
    """One question put at `at`; when its answer was read, and what it proved."""
    out_bytes, in_bytes = 12, 40
    if link.byte_us:
        byte_us = link.byte_us * rng.uniform(0.985, 1.02)
        heard = at + rng.uniform(0, 300) + out_bytes * byte_us
        back = heard + link.turnaround_us / 0.9999 + rng.uniform(0, 300) + in_bytes * byte_us + rng.uniform(0, 1_500)
    else:
        heard = at + rng.uniform(5_000, 100_000)
        back = heard + rng.uniform(5_000, 100_000)
    shown = NodeTicks(int(clock.ticks(heard)))
    proof = Exchange(HostUs(int(at)), HostUs(int(back)), shown, out_bytes, in_bytes, link.byte_us, link.turnaround_us)
    return back, proof


PHASES = ("minutes 1 to 4", "after minute 4", "a minute later")


def one_run(link: Link, seed: int, minutes: float) -> tuple[dict[str, list[int]], int, int]:
    """± of each phase, stamps outside, exchanges."""
    rng = random.Random(f"{link.name} {seed}")
    clock, clocks = NodeClock(rng), TickMap()
    queue: list[
        tuple[float, int, object]
    ] = []  # (host time, order, exchange, or true moment of a strike, or None: ask)
    order = itertools.count()
    end = minutes * 60e6
    heapq.heappush(queue, (1e6, next(order), None))
    strike = SETTLING_S * 1e6
    while (strike := strike + rng.expovariate(1 / 2e6)) < end - 62e6:
        # Over a wire a strike comes with an answer, so that the map has had at least one sample since.
        known = strike + (link.every_s * 1e6 + 8_000 if link.byte_us else rng.uniform(5_000, 100_000))
        heapq.heappush(queue, (known, next(order), strike))
        heapq.heappush(queue, (strike + 60e6, next(order), strike))
    widths: dict[str, list[int]] = {phase: [] for phase in PHASES}
    outside = asked = 0
    while queue and queue[0][0] < end:
        now, _, what = heapq.heappop(queue)
        if what is None:
            if rng.random() >= link.lost:
                back, proof = exchange(link, clock, rng, now)
                heapq.heappush(queue, (back, next(order), proof))
            asked += 1
            width = clocks.width_now(HostUs(int(now)))
            wide = link.hurried and width is not None and width > 0.8 * link.limit_us
            heapq.heappush(queue, (now + link.every_s * 1e6 / (4 if wide else 1), next(order), None))
        elif isinstance(what, Exchange):
            found = clocks.add(what)
            assert found is None, found
        else:
            assert isinstance(what, float)
            stamp = clocks.to_host(NodeTicks(int(clock.ticks(what))))
            assert stamp is not None
            late = now == what + 60e6
            widths[PHASES[2 if late else 1 if now > 240e6 else 0]].append(stamp[1])
            outside += abs(stamp[0] - what) > stamp[1]
    return widths, outside, asked


def costs() -> tuple[float, float, float, float]:
    """ns for one add at 10 a second and at 1 a second, for one stamp, for one tick of an order."""
    rng = random.Random(7)
    found = []
    for every in (0.1, 1.0):
        link = Link("cost", every, 0, SERIAL_BYTE_US, 150, 0.0)
        clock, clocks = NodeClock(rng), TickMap()
        proofs = [exchange(link, clock, rng, i * every * 1e6)[1] for i in range(20_000)]
        began = time.perf_counter_ns()
        for proof in proofs:
            clocks.add(proof)
        found.append((time.perf_counter_ns() - began) / len(proofs))
    last = proofs[-1].ticks
    ticks = [NodeTicks(last - rng.randrange(0, 300_000_000)) for _ in range(20_000)]
    began = time.perf_counter_ns()
    for tick in ticks:
        clocks.to_host(tick)
    found.append((time.perf_counter_ns() - began) / len(ticks))
    moments = [HostUs(proofs[-1].received_us + rng.randrange(30_000_000)) for _ in range(20_000)]
    began = time.perf_counter_ns()
    for moment in moments:
        clocks.to_ticks(moment)
    found.append((time.perf_counter_ns() - began) / len(moments))
    evidence = clocks.evidence(ticks[0])
    assert evidence is not None
    assert restamp(ClockEvidence.from_ints(evidence.as_ints()), ticks[0]) == clocks.to_host(ticks[0])
    return found[0], found[1], found[2], found[3]


def _line(row: dict[str, object]) -> str:
    """A row as figure | limit | ratio, with width and coverage together."""
    if "ns" in row:
        return f"{row['what']}: {row['ns']} ns | {row['limit_ns']} ns | {row['ratio']}"
    widths = f"p50 {row['p50_ms']:.2f} p99 {row['p99_ms']:.2f} max {row['max_ms']:.2f} ms"
    cover = f"{row['outside']} of {row['stamps']} outside, {row['over']:.2%} wider than the limit"
    return f"{row['what']}: {widths}; {cover} | {row['limit_ms']} ms | {row['ratio']}"


def main() -> int:
    """Run all links and print; 1 where a limit is not kept."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else None)
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args()
    rows: list[dict[str, object]] = []
    broken = False
    for link in LINKS:
        widths: dict[str, list[int]] = {phase: [] for phase in PHASES}
        outside = asked = 0
        for seed in range(args.seeds):
            one, out, n = one_run(link, seed, args.minutes)
            outside, asked = outside + out, asked + n
            for phase in PHASES:
                widths[phase] += one[phase]
        for phase in PHASES:
            found = sorted(widths[phase])
            p50, p99, most = found[len(found) // 2], found[len(found) * 99 // 100], found[-1]
            by_chance = not link.byte_us and not link.hurried and phase == PHASES[0]
            held = p99 if by_chance else most
            kept = not outside and held <= link.limit_us and p50 <= 0.9 * most
            broken |= not kept
            rows.append(
                {
                    "what": f"± {link.name}, {phase}",
                    "p50_ms": p50 / 1000,
                    "p99_ms": p99 / 1000,
                    "max_ms": most / 1000,
                    "limit_ms": link.limit_us / 1000,
                    "ratio": round(held / link.limit_us, 3),
                    "over": sum(w > link.limit_us for w in found) / len(found),
                    "stamps": len(found),
                    "outside": outside,
                    "asked_per_s": round(asked / args.seeds / args.minutes / 60, 2),
                    "kept": kept,
                }
            )
    best = [min(ns) for ns in zip(*(costs() for _ in range(5)), strict=True)]  # others use the machine too
    names = ("add, 10 a second", "add, 1 a second (every one a node)", "to_host", "to_ticks")
    limits = (ADD_LIMIT_NS, ADD_LIMIT_NS, STAMP_LIMIT_NS, 3 * STAMP_LIMIT_NS)
    for name, ns, limit in zip(names, best, limits, strict=True):
        broken |= ns > limit
        rows.append(
            {"what": name, "ns": round(ns), "limit_ns": limit, "ratio": round(ns / limit, 3), "kept": ns <= limit}
        )
    for row in rows:
        print(json.dumps(row) if args.json else _line(row))
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())

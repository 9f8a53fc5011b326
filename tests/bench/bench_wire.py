"""What the wire costs: a turn at both ends, a megabyte of junk, a round of 32 idle targets by the bytes' own time.

A turn is everything that either end does to bytes: token, frame, deframe, envelope, status, seal, frame, deframe,
check, window. A drill of 15 minutes with 16 simulated targets has about 47 000 turns in at most 5 s (design, section
9), so the wire may have half of the 107 µs that leaves for one. Junk: under a second for a megabyte, and a byte of
eight times as much costs the same (eight times as much where work is quadratic), whatever it consists of and however
the reads fall. Each figure is processor time, the best of several of this run.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable

from fieldctl.wire import envelope, frames, messages, seal
from fieldctl.wire.bus import BYTE_US
from fieldctl.wire.messages import Counters, Grant, Outcome, Status
from fieldctl.wire.session import Posted, Session

ADDRESS = 0x0A1B2C3D
KEY = bytes(range(16))
TURN_LIMIT_US = 53
ORDER_LIMIT_US = 107
JUNK_LIMIT_S = 1.0
GROWTH_LIMIT = 1.5
ROUND_LIMIT_MS = 170
TURNAROUND_US = 300
BATCH = 2_000
TIMES = 3
MEGABYTE = 1_000_000


def best(what: Callable[[], object]) -> float:
    """Seconds of the processor, least disturbed of several."""
    took = []
    for _ in range(TIMES):
        begin = time.process_time()
        what()
        took.append(time.process_time() - begin)
    return min(took)


class Pair:
    """Both ends, open, with frames between."""

    def __init__(self) -> None:
        self.mine = Session("controller", ADDRESS, KEY)
        self.theirs = Session("target", ADDRESS, KEY)
        self.down, self.up = frames.Deframer(), frames.Deframer()
        asked = self.across(self.down, self.mine.open(b"nonce  1", 0))
        assert self.theirs.take(asked, 0)
        counters = Counters(12, 0, 0, 0, 0, b"nonce  1", 1, self.theirs.down_high)
        taken = self.mine.take(self.across(self.up, self.theirs.answer(counters)), 1)
        assert taken is not None
        assert taken.opened

    @staticmethod
    def across(deframer: frames.Deframer, payload: bytes) -> envelope.Envelope:
        (got,) = deframer.feed(frames.encode(payload))
        env = envelope.read(got)
        assert env is not None
        return env

    def turn(self, now: int) -> None:
        """Token, status, take."""
        taken = self.theirs.take(self.across(self.down, self.mine.token(now)), now)
        assert taken is not None
        reply = self.theirs.answer(Status(12, now, 0, taken.counter, 9, now))
        heard = self.mine.take(self.across(self.up, reply), now)
        assert heard is not None
        assert heard.asked_us == now

    def order(self, now: int) -> None:
        """Grant, outcome, take."""
        self.mine.post(Posted(1, Grant(12, 1, 1, 9, now, now + 30, now + 900, 1000, 100), now + 1))
        payload = self.mine.pull(now)
        assert payload is not None
        taken = self.theirs.take(self.across(self.down, payload), now)
        assert taken is not None
        reply = self.theirs.answer(Outcome(12, now, 0, 1, 1, 9, 0, 0, 0, taken.counter), taken.counter)
        heard = self.mine.take(self.across(self.up, reply), now)
        assert heard is not None
        assert heard.ended is not None


def turns() -> tuple[float, float]:
    """µs of a turn with a token, and of one with an order, both ends together."""
    pair = Pair()
    clock = iter(range(5 * 10**9, 10**10))
    token = best(lambda: [pair.turn(next(clock)) for _ in range(BATCH)])
    order = best(lambda: [pair.order(next(clock)) for _ in range(BATCH)])
    return token / BATCH * 1e6, order / BATCH * 1e6


def junk() -> dict[str, bytes]:
    """A megabyte of each kind."""
    rng = random.Random(1)
    frame = frames.encode(envelope.token(ADDRESS, 7))
    return {
        "random": rng.randbytes(MEGABYTE),
        "no delimiter": b"\x55" * MEGABYTE,
        "delimiters only": bytes(MEGABYTE),
        "wrong sums": (b"\0\x05\x11\x22\x33\x44" * (MEGABYTE // 2))[:MEGABYTE],
        "frames without their ends": (frame[:-2] * (MEGABYTE // 2))[:MEGABYTE],
    }


def swallow(data: bytes, size: int) -> None:
    deframer = frames.Deframer()
    for at in range(0, len(data), size):
        for payload in deframer.feed(data[at : at + size]):
            envelope.read(payload)


def round_ms() -> float:
    """32 tokens and idle answers one after the other: bytes and turnaround, no software."""
    status = messages.encode(Status(12, 2 * 3_600_000_000, 0, 200))
    answer = frames.encode(seal.Sealer(KEY).seal(envelope.UP, ADDRESS, 100_000, status))
    token = frames.encode(envelope.token(ADDRESS, 200))
    return 32 * ((len(token) + len(answer)) * BYTE_US + TURNAROUND_US) / 1000


def main() -> int:
    """Print figure | limit | ratio; 1 when one is over its limit."""
    token, order = turns()
    rows = [
        (f"turn with a token, both ends: {token:.0f} µs", f"{TURN_LIMIT_US} µs", token / TURN_LIMIT_US),
        (f"turn with an order, both ends: {order:.0f} µs", f"{ORDER_LIMIT_US} µs", order / ORDER_LIMIT_US),
    ]
    for name, data in junk().items():
        for size in (4096, 1):
            part = best(lambda data=data, size=size: swallow(data[: MEGABYTE // 8], size))  # type: ignore[misc]
            whole = best(lambda data=data, size=size: swallow(data, size))  # type: ignore[misc]
            growth = whole / part / 8
            where = f"{name}, reads of {size}"
            rows.append((f"megabyte of junk, {where}: {whole:.3f} s", f"{JUNK_LIMIT_S} s", whole / JUNK_LIMIT_S))
            rows.append(
                (f"a byte of eight times as much, {where}: {growth:.2f}", f"{GROWTH_LIMIT}", growth / GROWTH_LIMIT)
            )
    ideal = round_ms()
    rows.append((f"round of 32 idle targets, computed: {ideal:.1f} ms", f"{ROUND_LIMIT_MS} ms", ideal / ROUND_LIMIT_MS))
    for figure, limit, ratio in rows:
        print(f"{figure} | {limit} | {ratio:.2f}")
    return int(any(ratio > 1 for _, _, ratio in rows))


if __name__ == "__main__":
    raise SystemExit(main())

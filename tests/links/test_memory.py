from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable, Iterable

from hypothesis import given
from hypothesis import strategies as st
from listening import Listening

from fieldctl.links.link import Link
from fieldctl.links.memory import IN_FLIGHT_MAX, Burst, Parcel, clean_wire, memory_pair
from fieldctl.units import HostUs, TargetId

TARGET = TargetId("0a1b2c3d")


class Pretended:
    """Virtual time in ten lines."""

    def __init__(self) -> None:
        self.us = 1_000
        self._due: list[tuple[int, int, Callable[[], None]]] = []
        self._order = itertools.count()

    def now(self) -> HostUs:
        return HostUs(self.us)

    def call_at(self, at: HostUs, callback: Callable[[], None]) -> None:
        heapq.heappush(self._due, (at, next(self._order), callback))

    def run(self) -> None:
        while self._due:
            self.us, _, callback = heapq.heappop(self._due)
            callback()


def pair(wire=clean_wire, **options):
    clock, left, right = Pretended(), Listening(), Listening()
    ends = memory_pair(left, right, now=clock.now, call_at=clock.call_at, wire=wire, **options)
    return clock, left, right, *ends


async def test_both_ways_at_the_time_that_the_wire_says():
    def slow(burst: Burst) -> Iterable[Parcel]:
        return [Parcel(burst.data, 250 if burst.towards == "right" else 70)]

    clock, left, right, near, far = pair(slow)
    assert isinstance(near, Link)
    assert near.send(b"poll") == 1_000
    assert right.reads == []
    clock.run()
    assert right.reads == [(b"poll", 1_250)]
    assert far.send(b"answer") == 1_250
    clock.run()
    assert left.reads == [(b"answer", 1_320)]
    assert near.counts() == {"sends": 1, "bytes_out": 4, "arrivals": 1, "bytes_in": 6}


async def test_loss_split_corruption_and_doubling_are_the_wires_to_decide():
    script = iter([[], [(b"ab", 5), (b"cd", 9)], [(b"abcX", 1)], [(b"abcd", 1), (b"abcd", 2)]])
    clock, _, right, near, _ = pair(lambda burst: [Parcel(d, after) for d, after in next(script)])
    seen = []
    for _ in range(4):
        near.send(b"abcd")
        clock.run()
        seen.append([d for d, _ in right.reads])
        right.reads.clear()
    assert seen == [[], [b"ab", b"cd"], [b"abcX"], [b"abcd", b"abcd"]]


async def test_messages_keep_their_target_and_everybody_is_none():
    clock, left, right, near, far = pair(messages=True)
    near.send(b"order", TARGET)
    near.send(b"all off")
    far.send(b"status", TARGET)
    clock.run()
    assert [(t, d) for t, d, _ in right.messages] == [(TARGET, b"order"), (None, b"all off")]
    assert [(t, d) for t, d, _ in left.messages] == [(TARGET, b"status")]
    assert left.reads == right.reads == []


async def test_a_cut_tells_both_ends_once_and_nothing_arrives_after_it():
    clock, left, right, near, far = pair(lambda burst: [Parcel(burst.data, 500)])
    near.send(b"on its way")
    near.cut()
    assert left.lost == []  # never from inside the caller's own call
    far.cut()
    clock.run()
    assert len(left.lost) == len(right.lost) == 1
    assert "left was cut" in left.lost[0].what
    assert "right was cut" in right.lost[0].what
    assert right.reads == []
    assert far.counts() == {"arrived_when_dead": 1}
    assert near.send(b"more") is None
    assert near.counts()["sent_when_dead"] == 1


async def test_after_closing_one_end_the_last_word_arrives_and_the_answer_is_counted():
    clock, left, right, near, far = pair(lambda burst: [Parcel(burst.data, 500)])
    near.send(b"all off")
    await near.close()
    await near.close()
    clock.run()
    assert [d for d, _ in right.reads] == [b"all off"]
    assert far.send(b"quiet") is not None
    clock.run()
    assert left.reads == []
    assert near.counts()["arrived_when_dead"] == 1
    assert left.lost == right.lost == []


async def test_a_full_wire_is_refused_and_counted_and_takes_again_once_it_has_drained():
    clock, _, right, near, _ = pair(lambda burst: [Parcel(burst.data, 1_000)])
    taken = 0
    while near.send(bytes(1000)) is not None:
        taken += 1
    assert near.counts()["full"] == 1
    assert taken * 1016 <= IN_FLIGHT_MAX < (taken + 1) * 1016
    clock.run()
    assert len(right.reads) == taken
    assert near.send(bytes(1000)) is not None


async def test_without_a_clock_answers_come_before_send_returns_and_never_nested():
    depth = deepest = 0

    class Echo(Listening):
        def bytes_arrived(self, link: Link, data: bytes, at: HostUs) -> None:
            nonlocal depth, deepest
            depth += 1
            deepest = max(deepest, depth)
            super().bytes_arrived(link, data, at)
            if len(data) < 500:
                link.send(data + b".")
            depth -= 1

    left, right = Echo(), Echo()
    near, _ = memory_pair(left, right, now=lambda: HostUs(5))
    near.send(b"")
    assert deepest == 1
    assert len(left.reads) + len(right.reads) == 501


@given(st.lists(st.lists(st.tuples(st.binary(max_size=40), st.integers(0, 5_000)), max_size=4), max_size=20))
async def test_whatever_the_wire_does_everything_it_hands_on_arrives_in_order_of_time(script):
    todo = iter(script)
    clock, _, right, near, far = pair(lambda burst: [Parcel(d, after) for d, after in next(todo)])
    for _ in script:
        near.send(b"x")
    clock.run()
    parcels = [p for burst in script for p in burst]
    assert [(d, at) for d, at in right.reads] == [(d, 1_000 + a) for d, a in sorted(parcels, key=lambda p: p[1])]
    assert far.counts().get("bytes_in", 0) == sum(len(d) for d, _ in parcels)
    assert near._in_flight == 0

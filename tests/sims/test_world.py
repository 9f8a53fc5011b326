"""Virtual time: whole microseconds, the next timer and no waiting, no threads, one trace for one seed."""

import asyncio
import os
import subprocess
import sys

import pytest

from fieldctl.units import HostTime
from sims.world import Standstill, World


def test_time_goes_from_timer_to_timer() -> None:
    with World(1) as world:
        seen: list[int] = []

        async def go() -> str:
            world.call_at(1_500_001, lambda: seen.append(world.now_us()))
            await asyncio.sleep(3600)
            return "done"

        assert world.run(go()) == "done"
        assert seen == [1_500_001]
        assert world.now_us() == 3_600_000_000


def test_timers_of_one_moment_run_in_the_order_of_their_calls_and_can_be_called_off() -> None:
    with World(1) as world:
        seen: list[str] = []
        world.call_at(10, seen.append, "b")
        world.call_at(10, seen.append, "never").cancel()
        world.call_at(10, seen.append, "c")
        world.call_at(9, seen.append, "a")
        world.run_for(20)
        assert seen == ["a", "b", "c"]


def test_a_moment_that_has_passed_is_now() -> None:
    with World(1) as world:
        world.run_for(100)
        seen: list[int] = []
        world.call_at(5, lambda: seen.append(world.now_us()))
        world.run_for(1)
        assert seen == [100]


def test_who_waits_for_nothing_meets_standstill() -> None:
    with World(1) as world, pytest.raises(Standstill, match="nothing is scheduled"):
        world.run(asyncio.Event().wait())


def test_threads_are_refused() -> None:
    with World(1) as world, pytest.raises(RuntimeError, match="no threads in virtual time"):
        world.run(asyncio.to_thread(lambda: None))


def test_an_error_in_a_timer_or_a_callback_ends_the_run() -> None:
    with World(1) as world:
        world.call_at(5, lambda: 1 // 0)
        with pytest.raises(ZeroDivisionError):
            world.run_for(10)
    with World(1) as world:

        async def go() -> None:
            asyncio.get_running_loop().call_soon(lambda: 1 // 0)
            await asyncio.sleep(1)

        with pytest.raises(ZeroDivisionError):
            world.run(go())


def test_timeouts_and_groups_work_and_many_cancelled_timers_leave_no_heap() -> None:
    with World(1) as world:

        async def go() -> int:
            for _ in range(5000):
                async with asyncio.timeout(1000):
                    await asyncio.sleep(0)
            with pytest.raises(TimeoutError):
                async with asyncio.timeout(0.25):
                    await asyncio.sleep(1)
            async with asyncio.TaskGroup() as group:
                tasks = [group.create_task(asyncio.sleep(i, i)) for i in range(3)]
            return sum(task.result() for task in tasks)

        assert world.run(go()) == 3
        assert len(world.loop._heap) < 2000
        assert world.now_us() == 2_250_000


def test_tasks_are_cancelled_in_the_same_order_every_time() -> None:
    def order(padding: int) -> list[int]:
        keep = [object() for _ in range(padding)]  # moves what is allocated afterwards
        seen: list[int] = []

        async def worker(i: int) -> None:
            try:
                await asyncio.sleep(100)
            finally:
                seen.append(i)

        async def go() -> None:
            async with asyncio.TaskGroup() as group:
                for i in range(40):
                    group.create_task(worker(i))
                await asyncio.sleep(1)
                raise RuntimeError("end")

        with World(1) as world, pytest.raises(ExceptionGroup):
            world.run(go())
        assert len(keep) == padding
        return seen

    assert order(0) == order(1001) == order(37)


def test_each_subsystem_has_a_generator_of_its_own() -> None:
    one, same, other = World(5), World(5), World(6)
    first = [one.rng("hub").random() for _ in range(3)]
    same.rng("node").random()  # what others draw moves nothing here
    assert [same.rng("hub").random() for _ in range(3)] == first
    assert [other.rng("hub").random() for _ in range(3)] != first
    assert one.rng("hub") is one.rng("hub")


def test_the_trace_tells_order_and_content_and_not_where_it_was_folded() -> None:
    def hashed(items: list[tuple[object, ...]], look: int = -1) -> str:
        world = World(1)
        for i, item in enumerate(items):
            world.trace(*item)
            if i == look:
                world.trace_hash()
        return world.trace_hash()

    items: list[tuple[object, ...]] = [("a", 1), ("b", b"\0"), ("c",)] * 1000
    assert hashed(items) == hashed(items, look=100)
    assert hashed(items) != hashed(items[::-1])
    assert hashed(items) != hashed(items[:-1])


def test_the_host_reads_a_clock_of_its_boot_and_a_wall_clock_that_can_be_wrong() -> None:
    world = World(3)
    clock = world.clock
    boot, start = clock.boot, clock.now()
    assert start > 0
    world.run_for(1_000_000)
    assert clock.now() - start == 1_000_000
    assert clock.wall() == "2031-01-18T08:00:01.000Z"
    clock.wall_offset_us = -3_600_000_000
    assert clock.wall() == "2031-01-18T07:00:01.000Z"
    clock.wall_known = False
    assert clock.wall() is None
    world.reboot_host()
    assert clock.boot != boot
    assert clock.now() == 20_000_000
    assert clock.of(0) == HostTime(boot, start)
    assert clock.of(1_000_000) == HostTime(clock.boot, 20_000_000)
    world.run_for(5)
    assert clock.of(1_000_003) == HostTime(clock.boot, 20_000_003)


_STORY = """
import sys; sys.path.insert(0, sys.argv[1])
from mountain import mountain
from sims.network import Weather
def story():
    m = mountain(4, seed=11, network=True)
    m.hub._network.set_weather(Weather(loss=.1, corrupt=.1, truncate=.05, junk=.1, delay=.2))
    for i in range(200):
        n = m.nodes[i % 4]
        m.token(n)
        if i == 50: m.arm(n)
        if i > 60 and i % 7 == 0: m.nodes[2].strike((100, 1, 2))
        if i % 41 == 0: n.reboot(2)
    return m.world.trace_hash(), sorted(m.hub._network.struck.items())
one, two = story(), story()
assert one == two
print(one)
"""


def test_one_seed_leaves_one_trace_in_every_process() -> None:
    """Two processes with different string hashing, each running the seed twice."""
    said = []
    for hashing in ("1", "2"):
        env = {**os.environ, "PYTHONHASHSEED": hashing}
        here = os.path.dirname(__file__)
        done = subprocess.run([sys.executable, "-c", _STORY, here], env=env, capture_output=True, text=True, check=True)
        said.append(done.stdout)
    assert said[0] == said[1]
    assert "loss" in said[0]
    assert "junk" in said[0]

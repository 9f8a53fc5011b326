"""What signing in costs everybody else: the loop's lag while a queue of passwords is hashed; whose request it is.

The limit of the lag is the house's for one call of the loop (design, section 9): 20 ms. The hashes are the product's
own (64 MiB, three passes), on a thread beside the loop, with the queue as full as it gets.
"""

from __future__ import annotations

import asyncio
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "web"))

from people_kit import Phone, there
from starlette.requests import Request

LAG_MS, IDENTIFY_US = 20.0, 200.0
LOOK_EVERY_S = 0.002
ASKED = 5_000


async def main() -> None:
    """Print the figures."""
    async with there(strong=True) as t:
        boss = await t.in_charge()
        crowd = [Phone(t, f"198.51.100.{n}") for n in range(8)]
        late: list[float] = []
        over = asyncio.Event()

        async def look() -> None:
            while not over.is_set():
                due = time.perf_counter() + LOOK_EVERY_S
                await asyncio.sleep(LOOK_EVERY_S)
                late.append(time.perf_counter() - due)

        looking = asyncio.create_task(look())
        began = time.perf_counter()
        answers = await asyncio.gather(
            *(p.post("sign-in", name=f"invented {n}", password="guess guess") for n, p in enumerate(crowd))
        )
        took = time.perf_counter() - began
        over.set()
        await looking
        assert {a.status_code for a in answers} == {401}
        p95 = sorted(late)[int(0.95 * len(late))] * 1000
        print(
            f"eight passwords in {took:.2f} s, {took / 9:.3f} s each (one is nobody's); {len(late)} looks at the loop"
        )
        print(f"loop lag while hashing, p95 {p95:.1f} ms | {LAG_MS:g} ms | {p95 / LAG_MS:.3f}")

        headers = [(b"cookie", f"fieldctl_session={boss.token}".encode())]
        requests = [Request({"type": "http", "headers": headers, "app": t.app}) for _ in range(ASKED)]
        began = time.perf_counter()
        for request in requests:
            assert t.accounts.identify(request).person is not None
        each_us = (time.perf_counter() - began) / ASKED * 1e6
        print(f"whose request it is, mean {each_us:.0f} µs | {IDENTIFY_US:g} µs | {each_us / IDENTIFY_US:.3f}")


if __name__ == "__main__":
    asyncio.run(main())

"""What goes wrong on the way: faults by line and direction, drawn from one seeded generator, each counted.

A `Network` owns the generator, the lines and `struck`; a `Line` is one direction of one link and says what arrives of
a burst. A fault that never struck is visible in `struck`: a test of faults that never happened proves nothing.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from random import Random

KINDS = ("loss", "delay", "duplicate", "reorder", "corrupt", "truncate", "junk", "cut")
REORDER_MAX_US = 60_000  # beyond the delays of a link, so that a later message overtakes
JUNK_MAX_BYTES = 48


@dataclass(frozen=True, slots=True)
class Weather:
    """How likely each fault is for one burst, as shares; delays in µs. All zero: calm."""

    loss: float = 0.0
    corrupt: float = 0.0  # one to three bits flipped
    truncate: float = 0.0
    duplicate: float = 0.0  # not on a bus: a wire has no memory
    reorder: float = 0.0  # not on a bus
    junk: float = 0.0  # a burst of noise near this one
    delay: float = 0.0  # share of bursts that are held up
    delay_max_us: int = 16_000  # what a USB adapter sits on bytes for

    @property
    def total(self) -> float:
        """Share of bursts that meet a fault other than junk and delay."""
        return self.loss + self.corrupt + self.truncate + self.duplicate + self.reorder


CALM = Weather()
Arrival = tuple[int, bytes]
"""Microseconds of extra delay, and the bytes that then arrive."""


class Line:
    """One direction of one link. `ordered` is a bus: nothing doubles or overtakes there."""

    __slots__ = ("_cuts", "_network", "_total", "name", "ordered", "weather")

    def __init__(self, network: Network, name: str, weather: Weather, *, ordered: bool) -> None:
        self._network = network
        self.name = name
        self.ordered = ordered
        self._cuts: list[tuple[int, int]] = []
        self.set_weather(weather)

    def set_weather(self, weather: Weather) -> None:
        """From now on."""
        self.weather = weather
        self._total = weather.total

    @property
    def clear(self) -> bool:
        """Whether nothing can go wrong here now."""
        return self.weather is CALM and not self._cuts

    def cut(self, from_us: int, until_us: int) -> None:
        """Nothing passes between two moments of true time."""
        self._cuts.append((from_us, until_us))

    def is_cut(self, now_us: int) -> bool:
        """Whether nothing passes now; forgets cuts that are over."""
        if not self._cuts:
            return False
        self._cuts = [cut for cut in self._cuts if now_us < cut[1]]
        return any(start <= now_us for start, _ in self._cuts)

    def carry(self, data: bytes, now_us: int) -> tuple[Arrival, ...]:
        """What arrives of a burst; `struck` counts what happened to it."""
        if self._cuts and self.is_cut(now_us):
            self._network.struck["cut"] += 1
            return ()
        weather = self.weather
        if weather is CALM:
            return ((0, data),)
        rng, struck = self._network.rng, self._network.struck
        delay = 0
        if weather.delay and rng.random() < weather.delay:
            struck["delay"] += 1
            delay = rng.randrange(1, weather.delay_max_us + 1)
        draw = rng.random()
        if draw >= self._total:
            return ((delay, data),)
        if draw < (edge := weather.loss):
            struck["loss"] += 1
            return ()
        if draw < (edge := edge + weather.corrupt):
            struck["corrupt"] += 1
            return ((delay, flip(data, rng)),)
        if draw < (edge := edge + weather.truncate):
            struck["truncate"] += 1
            return ((delay, data[: rng.randrange(len(data))]),)
        if self.ordered:
            return ((delay, data),)
        if draw < edge + weather.duplicate:
            struck["duplicate"] += 1
            return ((delay, data), (delay + rng.randrange(1, REORDER_MAX_US), data))
        struck["reorder"] += 1
        return ((delay + REORDER_MAX_US, data),)

    def noise(self) -> tuple[int, bytes] | None:
        """A burst of junk near this one: after how many µs, and its bytes; None most of the time."""
        weather = self.weather
        rng = self._network.rng
        if not weather.junk or rng.random() >= weather.junk:
            return None
        self._network.struck["junk"] += 1
        return rng.randrange(0, 4000), rng.randbytes(rng.randrange(1, JUNK_MAX_BYTES))


class Network:
    """All lines of one mountain, their one generator, and how often each fault really struck."""

    def __init__(self, rng: Random, weather: Weather = CALM) -> None:
        self.rng = rng
        self.weather = weather
        self.struck: Counter[str] = Counter()
        self.lines: dict[str, Line] = {}

    def line(self, name: str, *, ordered: bool) -> Line:
        """The line of that name, in the weather of the day."""
        found = self.lines.get(name)
        if found is None:
            found = self.lines[name] = Line(self, name, self.weather, ordered=ordered)
        return found

    def set_weather(self, weather: Weather) -> None:
        """The same weather on every line from now on; CALM ends all cuts too."""
        self.weather = weather
        for line in self.lines.values():
            line.set_weather(weather)
            if weather is CALM:
                line._cuts.clear()

    def calm(self) -> None:
        """Damage first, calm after: from now on nothing goes wrong."""
        self.set_weather(CALM)


def flip(data: bytes, rng: Random) -> bytes:
    """One to three bits of it the other way round."""
    out = bytearray(data)
    for _ in range(rng.randrange(1, 4)):
        out[rng.randrange(len(out))] ^= 1 << rng.randrange(8)
    return bytes(out)

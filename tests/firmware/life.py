"""A core in memory and whoever speaks to it under its key, who notes down what was said and answered."""

from __future__ import annotations

from csim import Sim

from fieldctl.wire import envelope, messages, seal
from fieldctl.wire import messages as m
from fieldctl.wire.messages import Result

S = 1_000_000
ADDRESS = 0x0A1B2C3D
KEYS = seal.derive_keys(bytes(range(16)), ADDRESS, 1)


class Life:
    """A target and whoever speaks to it, who notes down what was said and answered."""

    def __init__(self, log_max: int = 64) -> None:
        self.sim = Sim(keys=KEYS, log_max=log_max, abilities=385)
        self.ticks = S
        self.counter = 0
        self.up_high = 0
        self.made: set[tuple[int, int]] = set()
        self.acked: set[tuple[int, int]] = set()
        self.asked: set[tuple[int, int]] = set()
        self.epoch = self.generation = self.taken = 0

    @property
    def cut(self) -> bool:
        return bool(self.sim.c.cut)

    def hear(self, payload: bytes) -> m.Message | None:
        self.ticks += 1000
        reply = self.sim.hear(payload, self.ticks)
        if not reply:
            return None
        env = envelope.read(reply)
        assert env is not None
        assert env.counter > self.up_high, "a counter of its own came twice"
        self.up_high = env.counter
        return messages.decode(env.body)

    def order(self, message: m.Message) -> m.Message | None:
        self.counter += 1
        said = self.hear(seal.Sealer(KEYS.own).seal(envelope.DOWN, ADDRESS, self.counter, messages.encode(message)))
        if said is not None:
            self.taken = self.counter
        return said

    def token(self) -> m.Message | None:
        return self.hear(envelope.token(ADDRESS, self.counter % 256))

    def boot(self) -> int:
        return self.sim.look().boot

    def strike(self) -> None:
        self.ticks += 1000
        if self.sim.strike((200, 1000, 9000, 200, 5, 0, 0, *[255] * 8), self.ticks):
            self.made.add((self.boot(), self.sim.look().number))

    def ack(self, key: tuple[int, int]) -> None:
        self.asked.add(key)
        said = self.order(m.Ack(*key))
        if said is not None:
            assert said.result == Result.DONE
            self.acked.add(key)

    def again(self) -> None:
        """The power comes back."""
        self.sim.c.cut_in = 0
        self.sim.lib.fc_sim_power_off(self.sim.c)
        self.sim.power_on(0)
        assert not self.sim.look().held
        self.ticks = S

    def check(self) -> None:
        """Nothing acknowledged came back, nothing told is lost or doubled, nothing latched is forgotten."""
        waiting = self.sim.waiting()
        assert len(waiting) == len(set(waiting)), "a strike is there twice"
        assert not self.acked & set(waiting), "an acknowledged strike came back"
        assert self.made - self.asked <= set(waiting), "a strike was lost"
        seen = self.sim.look()
        assert seen.epoch >= self.epoch
        assert seen.generation >= self.generation
        assert seen.has_keys
        assert not seen.damaged
        assert seen.seen >= self.taken
        assert self.token() is not None

"""Scripts made by chance: Python and C say the same, byte for byte, and count the same."""

from __future__ import annotations

import os
import sys
from dataclasses import replace
from random import Random

import cbor2
from csim import PRESSED, ROOT, Sim
from hypothesis import given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(ROOT / "tests/vectors"))
from target import Body, Kept, Target

from fieldctl.strikes.features import SAMPLE_US
from fieldctl.units import EVERYBODY
from fieldctl.wire import adding, envelope, messages, obey, seal
from fieldctl.wire import messages as m
from fieldctl.wire.messages import Why

S = 1_000_000
EXAMPLES = 5_000 if os.environ.get("FIELDCTL_TESTS_LONG") else 400
SITE_KEY = bytes(range(16))
BODY = Body(abilities=385 | int(m.Ability.TRACES))
ADDRESS = adding.address_of(BODY.hardware)
KEYS = seal.derive_keys(SITE_KEY, ADDRESS, 1)
NEXT = seal.derive_keys(SITE_KEY, ADDRESS, 2)

OFFS = (0, 1, -1, S, 5 * S, 30 * S, 60 * S, 119 * S, obey.LEASE_MAX_US, obey.LEASE_MAX_US + 1, obey.LIMIT_MAX_US, -S)
PERIODS = (0, 699, 700, 1000, 1000, 1000, 1300, 1301, 65535)
ONS = (0, 69, 70, 100, 100, 100, 300, 301, 900, 901, 65535)


class Chance(Random):
    """What one step is made of."""

    def few(self) -> int:
        return self.choice((0, 0, 1, 1, 1, 2, 3, 1 << 31))

    def when(self, ticks: int) -> int:
        spread = self.choice(OFFS) if self.random() < 0.7 else self.randrange(-3 * S, 150 * S)
        return min(max(0, ticks + spread), (1 << 64) - 1) if self.random() < 0.95 else self.getrandbits(64)

    def grant(self, ticks: int) -> m.Message:
        good = m.Grant(1, 1, 0, 9, ticks, ticks + 30 * S, ticks + 900 * S, 1000, 100)
        odd = {
            "boot": self.few(),
            "generation": self.few(),
            "epoch": self.few(),
            "grant_id": self.choice((0, 9, 10)),
            "from_": self.when(ticks),
            "until": self.when(ticks),
            "limit": self.when(ticks),
            "period": self.choice(PERIODS),
            "on": self.choice(ONS),
            "level": self.randint(1, 100),
            "drop_on": self.choice((self.randrange(30), 10, 36_000, self.getrandbits(16))),
            "drop_off": self.choice((self.randrange(30), 42_940, 36_000, self.getrandbits(16))),
        }
        return replace(good, **{name: odd[name] for name in self.sample(sorted(odd), self.choice((0, 1, 1, 2, 3)))})

    def order(self, ticks: int) -> m.Message:
        nonce = self.randbytes(8)
        return self.choice(
            (
                self.grant(ticks),
                self.grant(ticks),
                self.grant(ticks),
                m.Renew(self.few(), self.few(), self.few(), self.choice((9, 9, 9, 0, 10)), self.when(ticks)),
                m.Renew(1, 1, 0, 9, ticks + 40 * S),
                m.Quiet(self.choice((0, self.when(ticks))), self.few(), self.choice((0, 0, 9, 10))),
                m.AllOff(self.few()),
                m.Ack(self.randrange(3), self.randrange(7)),
                m.Ask(nonce, self.randrange(5)),
                m.TraceAsk(self.randrange(7), self.choice((1, 1, 1, 2, self.few())), self.choice((0, 1, 2, 3, 4, 255))),
                m.Arm(self.choice((1, 1, 2)), self.few(), self.random() < 0.8, self.getrandbits(16)),
                m.Sleep(self.few(), self.few(), self.when(ticks), self.getrandbits(16)),
                m.Leave(self.few(), self.choice((0, 0, 3))),
                adding.make_rekey(KEYS.own, nonce, NEXT),
                m.Status(1, ticks, 3),
                m.Hail(nonce, 1 + self.randrange(255), 7),
            )
        )

    def body(self) -> bytes:
        """No message, or nearly one."""
        if self.random() < 0.3:
            return self.randbytes(self.randint(1, 104))
        values = (self.getrandbits(40), True, self.randbytes(3), [1, [2, {}]], None, -5, 1.5, "text", 3)
        some = {0: self.randrange(13)} | {
            self.choice((2, 3, 5, 6, 7, 9, 16, 99)): self.choice(values) for _ in range(4)
        }
        return cbor2.dumps(some)[:104]

    def felt(self) -> list[int]:
        """What a pad may show for some tenths of a second: rest, or a blow of any height, clipped where it is."""
        rest = self.choice((0, 1, 5, 40, 3000))
        samples = [self.randint(-rest, rest) for _ in range(self.choice((100, 900, 2_500)))]
        begin, height = self.randrange(100), self.choice((0, 30, 400, 9_000, 60_000)) * self.choice((-1, 1))
        for n, at in enumerate(range(begin, min(begin + 300, len(samples)))):
            samples[at] += round(height * min(1.0, n / 4) * 0.95**n * (1 - n % self.choice((2, 7, 30)) / 10))
        return [max(-32_768, min(32_767, sample + self.base)) for sample in samples]

    base = 0  # where this pad rests

    def spoilt(self, body: bytes) -> bytes:
        changed = bytearray(body)
        changed[self.randrange(len(changed))] ^= 1 + self.randrange(255)
        return bytes(changed)

    def appended(self, body: bytes) -> bytes:
        """With keys of a later contract behind its own."""
        more = {200 + n: self.choice((1, b"x", [1, {2: [3]}], {4: 5})) for n in range(self.randint(1, 6))}
        pairs = len(cbor2.loads(body)) + len(more)
        return ((bytes([0xA0 | pairs]) if pairs < 24 else bytes([0xB8, pairs])) + body[1:] + cbor2.dumps(more)[1:])[
            :104
        ]


class Both:
    """A Python and a C target that hear the same."""

    def __init__(self, radio: bool) -> None:
        window = seal.MQTT_WINDOW if radio else seal.STRICT
        self.py = Target(replace(BODY, window=window), Kept(KEYS))
        self.c = Sim(keys=KEYS, abilities=BODY.abilities)
        self.c.c.unit.radio = radio
        self.radio = radio
        self.ticks = S
        self.counter = 0
        self.last = b"\x01"
        self._embody()

    def _embody(self) -> None:
        unit = self.c.c.unit
        unit.awake_ua = unit.sending_ua = 0
        unit.weak_mv = unit.low_mv = 1
        self.c.c.rest_mv, self.c.c.load_mv, self.c.c.kelvin10 = BODY.rest_mv, BODY.load_mv, BODY.kelvin10
        self.c.lib.fc_sim_set_body(self.c.c, BODY.noise, BODY.charge)

    def hear(self, payload: bytes, retained: bool = False) -> None:
        self.py.nonce = b"my nonce"
        self.c.c.nonce_set = True
        self.c.c.nonce = b"my nonce"
        told = self.py.hear(payload, self.ticks, retained=retained) or b""
        said = self.c.hear(payload, self.ticks, retained=retained)
        assert said.hex() == told.hex()
        assert self.c.delay_us == self.py.delay_us
        assert sum(self.c.lost().values()) == self.py.lost.total()

    def cut(self) -> None:
        self.py.power_cut(Why.WATCHDOG)
        self.c.lib.fc_sim_power_off(self.c.c)
        self.c.power_on(int(Why.WATCHDOG))
        self._embody()
        self.ticks = S // 2


KINDS = ("order",) * 7 + (
    "token",
    "asked",
    "alloff",
    "again",
    "body",
    "spoilt",
    "appended",
    "press",
    "hail",
    "add",
    "cut",
)


FELT = ("strike", "samples", "traced")


def step(both: Both, kind: str, chance: Chance) -> None:
    both.ticks += chance.choice((1, 1000, S, S, 20 * S, 200 * S))
    key = chance.choice((KEYS.own,) * 6 + (NEXT.own, KEYS.all_off))
    counter = max(0, both.counter + chance.choice((1, 1, 1, 1, 0, -1, -5, 40)))
    match kind:
        case "order" | "spoilt" | "appended":
            body = messages.encode(chance.order(both.ticks))
            if kind == "spoilt":
                body = chance.spoilt(body)
            elif kind == "appended":
                body = chance.appended(body)
            both.last = seal.Sealer(key).seal(envelope.DOWN, ADDRESS, counter, body)
            both.hear(both.last, retained=chance.random() < 0.1)
            both.counter = max(both.counter, counter)
        case "traced":  # armed, at rest for long enough, struck, and asked about it
            both.counter += 1
            arm = m.Arm(both.py.kept.boot, both.py.kept.generation, True, chance.choice((0, 0, 35, 300)))
            both.hear(seal.Sealer(KEYS.own).seal(envelope.DOWN, ADDRESS, both.counter, messages.encode(arm)))
            chance.base = chance.randint(-500, 500)
            for felt in ([chance.base + chance.randint(-3, 3) for _ in range(2_100)], *(chance.felt() for _ in "12")):
                both.py.samples(felt, both.ticks)
                both.c.samples(felt, both.ticks)
                both.ticks += len(felt) * SAMPLE_US
            for part in (0, 1, 3):
                both.counter += 1
                ask = m.TraceAsk(both.py.number, both.py.kept.boot, part)
                both.hear(seal.Sealer(KEYS.own).seal(envelope.DOWN, ADDRESS, both.counter, messages.encode(ask)))
        case "body":
            both.hear(seal.Sealer(key).seal(envelope.DOWN, ADDRESS, counter, chance.body()))
        case "token":
            both.hear(envelope.token(ADDRESS, chance.randrange(256)))
        case "asked":
            body = messages.encode(m.Ask(chance.randbytes(8), chance.choice((3, 3, 3, 2))))
            both.hear(seal.Sealer(key).seal(envelope.ASKED, ADDRESS, 0, body))
        case "alloff":
            epoch = chance.few()
            address = chance.choice((EVERYBODY, ADDRESS))
            both.hear(
                seal.Sealer(KEYS.all_off).seal(envelope.ALL_OFF, address, epoch, messages.encode(m.AllOff(epoch)))
            )
        case "again":
            both.hear(both.last)
        case "press":
            both.py.press(both.ticks)
            both.c.step(both.ticks, PRESSED)
        case "hail":
            body = messages.encode(m.Hail(b"asker  1", 1 + chance.randrange(255), chance.randrange(256)))
            both.hear(envelope.bare(envelope.HAIL, chance.choice((EVERYBODY, ADDRESS)), body))
        case "add":
            add = adding.make_add(BODY.secret, BODY.hardware, b"asker  1", b"my nonce", KEYS)
            both.hear(envelope.bare(envelope.ADD, ADDRESS, messages.encode(add)))
        case "strike":
            features = tuple(chance.getrandbits(16) for _ in range(chance.randint(1, 14)))
            both.py.strike(features, both.ticks)
            both.c.strike(features, both.ticks)
        case "samples":
            felt = chance.felt()
            both.py.samples(felt, both.ticks)
            both.c.samples(felt, both.ticks)
            both.ticks += len(felt) * SAMPLE_US
        case "cut":
            both.cut()
            both.counter += 100


steps = st.tuples(
    st.sampled_from((*KINDS, "strike", "strike", "samples", "samples", "traced")), st.integers(0, (1 << 32) - 1)
)


@settings(max_examples=EXAMPLES, deadline=None)
@given(st.booleans(), st.lists(steps, min_size=1, max_size=40))
def test_a_script(radio, script) -> None:
    both = Both(radio)
    for kind, seed in script:
        if not (radio and kind in FELT):  # over radio they are pushed: the port's business in the vectors
            step(both, kind, Chance(seed))

"""Writes the vectors that Python and C share: frames.json, seal.json, session.json. Deterministic.

    .venv-test/bin/python tests/vectors/make.py [FOLDER]        this folder when none is named

All bytes are hexadecimal. In session.json a script is a list of steps to one fresh target, whose body is `body` with
the script's own changes; its keys are derived from the site key, or there are none. A step has `ticks` and one of

    hear      a payload; `reply` is the payload that comes back ("" for none), `delay_us` the slot of a hail answer,
              `retained` the flag of the medium, `nonce` the target's own randomness where it needs some,
              `lost` what the step added to the counts of what was dropped, `covers` the rows and rules it went through
    strike    features of a strike at the pad, which has no raw trace
    samples   samples of the pad at 4 kHz, two bytes each with the lower first, `times` times in a row, the first one at
              `ticks`; handed over in lots of 80 that begin anew each time
    press     its button is pressed
    cut       the power goes and comes back; the number says why (`Why`)
    set       fields of the body that change from here on
"""

from __future__ import annotations

import json
import math
import struct
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE)]

from target import Body, Kept, Target  # noqa: E402

from fieldctl.strikes.features import SAMPLE_US  # noqa: E402
from fieldctl.units import EVERYBODY  # noqa: E402
from fieldctl.wire import adding, envelope, frames, messages, obey, seal  # noqa: E402
from fieldctl.wire import messages as m  # noqa: E402
from fieldctl.wire.bus import slot_of  # noqa: E402
from fieldctl.wire.messages import Ability, What, Why  # noqa: E402

S = 1_000_000
SITE_KEY = bytes(range(0x40, 0x50))
ADDRESS = adding.address_of(Body().hardware)
KEYS = seal.derive_keys(SITE_KEY, ADDRESS, 1)
NEXT_KEYS = seal.derive_keys(SITE_KEY, ADDRESS, 2)
NONCE = b"vector 1"


def as_samples(data: str) -> list[int]:
    """The samples of a step."""
    return [n for (n,) in struct.iter_unpack("<h", bytes.fromhex(data))]


class Script:
    """Speaks to one target and writes down what comes back."""

    def __init__(self, name: str, *, keys: seal.TargetKeys | None = KEYS, **body: Any) -> None:
        self.name = name
        self.target = Target(Body(**body), Kept(keys))
        self.body = body
        self.steps: list[dict[str, Any]] = []
        self.ticks = 1 * S
        self.counter = 0
        self.keys = keys or KEYS

    def after(self, seconds: float) -> Script:
        """Time passes."""
        self.ticks += round(seconds * S)
        return self

    def hear(self, payload: bytes, *, retained: bool = False, nonce: bytes = b"") -> bytes | None:
        target = self.target
        before = target.lost.copy()
        target.nonce = nonce
        reply = target.hear(payload, self.ticks, retained=retained)
        step: dict[str, Any] = {"ticks": self.ticks, "hear": payload.hex(), "reply": (reply or b"").hex()}
        more = {
            "retained": retained,
            "nonce": nonce.hex(),
            "delay_us": target.delay_us,
            "lost": dict(sorted((target.lost - before).items())),
            "covers": list(target.covered),
        }
        self.steps.append(step | {key: value for key, value in more.items() if value})
        self.ticks += 1000
        return reply

    def token(self, number: int = 7) -> None:
        self.hear(envelope.token(ADDRESS, number))

    def order(
        self, message: m.Message, *, counter: int | None = None, key: bytes = b"", retained: bool = False
    ) -> bytes:
        """Under the next counter, or the one named."""
        if counter is None:
            self.counter += 1
            counter = self.counter
        payload = seal.Sealer(key or self.keys.own).seal(envelope.DOWN, ADDRESS, counter, messages.encode(message))
        self.hear(payload, retained=retained)
        return payload

    def raw(self, form: int, body: bytes, *, counter: int = 0, key: bytes = b"", address: int = ADDRESS) -> None:
        self.hear(seal.Sealer(key or self.keys.own).seal(form, address, counter, body))

    def asked(self, nonce: bytes = NONCE, key: bytes = b"") -> None:
        self.raw(envelope.ASKED, messages.encode(m.Ask(nonce, int(What.COUNTERS))), key=key)

    def all_off(self, epoch: int, *, key: bytes = b"", counter: int | None = None, address: int = EVERYBODY) -> None:
        body = messages.encode(m.AllOff(epoch))
        counter = epoch if counter is None else counter
        self.raw(envelope.ALL_OFF, body, counter=counter, key=key or self.keys.all_off, address=address)

    def strike(self, *features: int) -> None:
        self.target.strike(features, self.ticks)
        self.steps.append({"ticks": self.ticks, "strike": list(features)})

    def samples(self, samples: Sequence[int], times: int = 1) -> None:
        """Shown to the pad."""
        data = struct.pack(f"<{len(samples)}h", *samples).hex()
        self.steps.append({"ticks": self.ticks, "samples": data, "times": times})
        for _ in range(times):
            self.target.samples(samples, self.ticks)
            self.ticks += len(samples) * SAMPLE_US

    def press(self) -> None:
        self.target.press(self.ticks)
        self.steps.append({"ticks": self.ticks, "press": True})

    def cut(self, why: Why = Why.POWER) -> None:
        self.target.power_cut(why)
        self.steps.append({"ticks": self.ticks, "cut": int(why)})
        self.ticks = S // 2

    def set(self, **body: Any) -> None:
        for name, value in body.items():
            setattr(self.target.body, name, value)
        self.steps.append({"ticks": self.ticks, "set": body})

    def grant(self, **changed: Any) -> m.Grant:
        """A good one from now, with what is changed."""
        now = self.ticks
        good = m.Grant(self.target.kept.boot, 1, 0, 9, now, now + 30 * S, now + 900 * S, 1000, 100)
        return replace(good, **changed)

    def as_json(self) -> dict[str, Any]:
        keys = self.keys_at_start
        return {"name": self.name, "body": self.body, "keys": keys, "steps": self.steps}

    keys_at_start: Any = None


SCRIPTS: list[Callable[[], Script]] = []


def script(make: Callable[[Script], None], **kwargs: Any) -> None:
    def run() -> Script:
        one = Script(make.__name__.replace("_", " "), **kwargs)
        start = one.target.kept.keys
        one.keys_at_start = {"version": start.version} if start else None
        make(one)
        return one

    SCRIPTS.append(run)


def tokens_and_statuses(s: Script) -> None:
    s.token(1)
    s.token(255)
    s.order(s.grant(from_=s.ticks + 5 * S, until=s.ticks + 20 * S))
    s.token(2)  # granted, not begun
    s.after(6).token(3)  # sending
    s.after(20).token(4)  # over
    s.hear(envelope.token(ADDRESS ^ 1, 5))  # for another
    s.hear(envelope.token(EVERYBODY, 5))


def orders_once_and_again(s: Script) -> None:
    grant = s.order(s.grant())
    s.after(1).hear(grant)
    s.after(1).hear(grant)
    quiet = s.order(m.Quiet(0, 1, 9))
    s.hear(grant)  # seen before, not the last
    s.hear(quiet)
    s.order(m.Quiet(0, 1, 0), counter=1)
    s.order(m.Quiet(0, 1, 0), counter=0)
    s.order(m.Quiet(0, 1, 0), counter=0xFFFF_FFFF)
    s.order(m.Quiet(0, 1, 0), counter=0xFFFF_FFFE)


def a_window_of_32(s: Script) -> None:
    for counter in (5, 3, 4, 3, 40, 9, 8, 5, 41, 10, 9, 200, 168, 169, 200):
        s.order(m.Arm(1, 1, counter % 2 == 0, 0), counter=counter)


def seals_and_junk(s: Script) -> None:
    other = bytes(16)
    good = m.Quiet(0, 1, 0)
    s.order(good, key=other)
    s.order(m.AllOff(9), key=s.keys.all_off)  # that key has a form of its own
    s.asked(key=other)
    s.all_off(3, key=other)
    s.all_off(3, key=s.keys.own)
    s.order(good)
    for bit in (0, 9, 70, 80, 140):
        payload = bytearray(seal.Sealer(s.keys.own).seal(envelope.DOWN, ADDRESS, 50, messages.encode(good)))
        payload[bit // 8] ^= 1 << bit % 8
        s.hear(bytes(payload))
    for number, body in enumerate(MALFORMED, 60):
        s.raw(envelope.DOWN, bytes.fromhex(body), counter=number)
    for number, message in enumerate((m.Status(1, 2, 0), m.Hail(NONCE, 4, 1)), 90):
        s.raw(envelope.DOWN, messages.encode(message), counter=number)
    s.raw(envelope.UP, messages.encode(good), counter=95)
    s.raw(envelope.ASKED, messages.encode(m.Ask(NONCE, int(What.COUNTERS))), counter=1)
    s.raw(envelope.ASKED, messages.encode(m.Ask(NONCE, int(What.REPORT))))
    s.raw(envelope.ASKED, messages.encode(good))
    s.raw(envelope.DOWN, messages.encode(good), counter=97, address=EVERYBODY)
    for payload in (b"", b"\x10", b"\x10" + bytes(6), b"\x99" * 30, b"\x20" + bytes(120), b"\x20" + bytes(121)):
        s.hear(payload)
    s.hear(envelope.bare(envelope.HAIL_ANSWER, ADDRESS, b"\xa0"))
    s.counter = 100
    s.order(m.Ask(NONCE, int(What.REPORT)))  # how much of it was counted
    s.token()


def counters_over_power_cuts(s: Script) -> None:
    s.asked()
    s.order(s.grant())
    s.order(m.Arm(1, 1, True, 0))
    s.asked(b"vector 2")
    s.cut(Why.WATCHDOG)
    s.token()  # quiet, disarmed
    s.asked(b"vector 3")  # ahead of what was taken
    s.order(m.Quiet(0, 1, 0), counter=3)  # within what was persisted ahead: refused
    s.order(s.grant(boot=1), counter=200)
    s.order(s.grant(), counter=201)
    s.cut(Why.BROWN_OUT)
    s.order(m.Ask(NONCE, int(What.GREETING)), counter=400)
    s.asked(b"vector 4")


def all_off_and_release(s: Script) -> None:
    s.order(s.grant())
    s.all_off(2)
    s.token()
    s.all_off(2)  # repeated until everybody has confirmed
    s.order(m.AllOff(2))
    s.order(s.grant(epoch=1))
    s.order(m.Renew(1, 1, 1, 9, s.ticks + 30 * S))
    s.order(s.grant(epoch=2))  # released
    s.token()
    s.all_off(2)  # a recording
    s.all_off(1)
    s.token()
    s.all_off(5, counter=6)  # epoch and counter differ
    s.raw(envelope.ALL_OFF, messages.encode(m.Quiet(0, 1, 0)), counter=7, key=s.keys.all_off, address=EVERYBODY)
    s.all_off(5, address=ADDRESS)
    s.order(m.AllOff(1))  # sealed for it alone: obeyed, and the higher epoch stays
    s.cut()
    s.asked()
    s.order(s.grant(epoch=4), counter=300)


def rules_of_a_grant(s: Script) -> None:
    s.order(s.grant(generation=5, epoch=2))
    s.order(s.grant(generation=5, epoch=2), retained=True)
    s.order(s.grant(generation=4, epoch=2))
    s.order(s.grant(generation=5, epoch=1))
    s.order(s.grant(generation=5, epoch=2, boot=2))
    good = {"generation": 5, "epoch": 2}
    s.set(abilities=int(Ability.PAD))
    s.order(s.grant(**good))
    s.set(abilities=int(Ability.PAD | Ability.TRANSMITTER))
    s.order(m.Quiet(0, 5, 0))
    s.set(gate_stuck=True)
    s.order(s.grant(**good))
    s.token()
    s.set(gate_stuck=False, battery_ok=False)
    s.order(s.grant(**good))
    s.set(battery_ok=True)
    for keying in ((699, 70), (700, 70), (700, 300), (700, 301), (1000, 69), (1300, 900), (1300, 901), (1301, 70)):
        s.order(s.grant(**good, period=keying[0], on=keying[1]))
    now = s.ticks
    s.order(s.grant(**good, until=now))
    s.order(s.grant(**good, until=0))
    s.order(s.grant(**good, limit=s.ticks + 30 * S - 1))
    s.order(s.grant(**good, limit=s.ticks + obey.LIMIT_MAX_US))
    s.order(s.grant(**good, limit=s.ticks + obey.LIMIT_MAX_US + 1))
    s.order(s.grant(**good, until=s.ticks + obey.LEASE_MAX_US))
    s.order(s.grant(**good, until=s.ticks + obey.LEASE_MAX_US + 1))
    s.order(s.grant(**good, from_=s.ticks - 1))
    s.order(s.grant(**good, from_=0))
    s.order(s.grant(generation=7, epoch=3, grant_id=77, level=25, drop_on=12, drop_off=8))
    for _ in range(6):
        s.after(0.4).token()
    s.order(s.grant(generation=7, epoch=3, drop_on=10, drop_off=42_940))  # together more microseconds than 32 bits hold
    for _ in range(3):
        s.after(0.6).token()
    s.order(s.grant(generation=7, epoch=3, until=2**64 - 1, limit=2**64 - 1))
    s.order(s.grant(generation=7, epoch=3, from_=2**64 - 2, until=2**64 - 1, limit=2**64 - 1))
    s.after(1).token()


def rules_of_renewing(s: Script) -> None:
    s.order(m.Renew(1, 1, 0, 9, s.ticks + 30 * S))  # nothing to renew
    s.order(s.grant(generation=5, epoch=2, limit=s.ticks + 200 * S))
    for changed in (
        {},
        {"generation": 4},
        {"epoch": 1},
        {"boot": 2},
        {"grant_id": 8},
        {"until": s.ticks + 250 * S},
        {"until": s.ticks + 125 * S},
        {"until": s.ticks - 1},
        {"until": s.ticks + 10 * S},
        {"generation": 6, "epoch": 3},
    ):
        s.order(replace(m.Renew(1, 5, 2, 9, s.ticks + 60 * S), **changed))
    s.order(m.Renew(1, 6, 2, 9, s.ticks + 60 * S), retained=True)
    s.after(59).token()
    s.after(2).order(m.Renew(1, 6, 2, 9, s.ticks + 30 * S))  # it has run out
    s.token()


def rules_of_quiet(s: Script) -> None:
    s.order(m.Quiet(0, 3, 0))
    s.order(m.Quiet(0, 3, 9))
    s.order(s.grant(generation=3))
    s.order(m.Quiet(0, 3, 8))
    s.order(m.Quiet(0, 2, 9))
    s.order(m.Quiet(0, 3, 9), retained=True)
    s.order(m.Quiet(s.ticks + 10 * S, 3, 9))
    s.order(m.Renew(1, 3, 0, 9, s.ticks + 60 * S))  # not past the end that was set
    s.after(9).token()
    s.after(2).token()
    s.order(s.grant(generation=3, from_=s.ticks + 5 * S))
    s.order(m.Quiet(s.ticks + 1 * S, 3, 0))  # before it has begun
    s.after(6).token()
    s.order(s.grant(generation=3))
    s.order(m.Quiet(s.ticks, 4, 9))
    s.token()


def rules_of_arming_sleep_and_leaving(s: Script) -> None:
    s.order(m.Arm(1, 2, True, 70))
    s.order(m.Arm(1, 2, False, 0), retained=True)
    s.order(m.Arm(1, 1, False, 0))
    s.order(m.Arm(2, 2, False, 0))
    s.set(abilities=int(Ability.TRANSMITTER))
    s.order(m.Arm(1, 2, True, 0))
    s.order(m.Sleep(1, 2, s.ticks + 10 * S, 60))
    s.order(m.Sleep(1, 2, s.ticks + 10 * S, 60), retained=True)
    s.order(m.Sleep(1, 1, s.ticks + 10 * S, 60))
    s.order(m.Sleep(2, 2, s.ticks + 10 * S, 60))
    s.set(abilities=int(Ability.TRANSMITTER | Ability.PAD | Ability.SLEEP))
    s.order(m.Arm(1, 2, False, 0))
    s.order(m.Arm(1, 2, True, 0))
    s.token()
    s.order(m.Leave(1, 2), retained=True)
    s.order(m.Leave(1, 1))
    s.order(m.Leave(2, 2))
    s.order(s.grant(generation=2))
    s.order(m.Leave(1, 3))
    s.token()  # silent now
    s.order(s.grant(generation=3))
    s.asked()
    s.all_off(9)


def sleeping_ends_the_grant(s: Script) -> None:
    s.order(s.grant())
    s.order(m.Arm(1, 1, True, 0))
    s.order(m.Sleep(1, 1, s.ticks, 60))
    s.token()


def questions(s: Script) -> None:
    for what in (What.GREETING, What.REPORT, What.COUNTERS, 0, 255):
        s.order(m.Ask(NONCE, int(what)))
    s.set(battery_ok=False, gate_stuck=True)
    s.order(m.Ask(NONCE, int(What.REPORT)))
    s.asked()
    s.asked()


def strikes_until_acknowledged(s: Script) -> None:
    s.strike(1, 2, 3)  # nobody listens
    s.order(m.Arm(1, 1, True, 0))
    s.strike(85, 500, 1250, 300, 10, 0, 0)
    s.after(0.3).strike(65535, 2_000_000, 2_000_000, 2000, 100, 255, 3000, *[255] * 8)
    s.token(1)
    s.token(2)  # again, since nobody has acknowledged
    s.order(m.Ack(2, 1))  # of another boot
    s.token(3)
    s.order(m.Ack(1, 1))
    s.token(4)
    for number in range(5):  # the log holds four
        s.strike(number)
    s.token(5)
    s.cut()
    s.order(m.Arm(2, 1, True, 0), counter=100)
    s.order(m.Ack(1, 4), counter=101)  # that one alone
    s.strike(9, 9)
    s.token(6)
    s.order(m.Ack(2, 9), counter=102)  # no such strike
    s.token(7)
    s.order(m.Ack(1, 2), counter=103, retained=True)
    s.token(8)


REST = [(n * n * 7 + n * 3) % 7 - 3 for n in range(160)]  # invented


def knock(peak: int, decay: float, turn: float) -> list[int]:
    """A plate that rings off, over its rest (invented)."""
    ring = (peak * min(1.0, n / 5) * math.exp(-n / decay) * math.cos(turn * n) for n in range(240))
    return [round(level) + REST[n % 160] for n, level in enumerate(ring)]


def traces_of_strikes(s: Script) -> None:
    def ask(number: int, boot: int = 1, part: int = 0) -> None:
        s.order(m.TraceAsk(number, boot, part))

    s.set(abilities=int(Ability.PAD))
    ask(1)  # it has not that ability
    s.set(abilities=int(Ability.PAD | Ability.TRACES))
    ask(1)  # nothing was struck
    s.order(m.Arm(1, 1, True, 0))
    s.samples(REST, 14)
    s.samples(knock(90, 20.0, 0.35))
    s.samples(REST, 6)
    s.order(m.Ask(NONCE, int(What.REPORT)))
    for part in range(4):
        ask(1, part=part)
    ask(1)  # as often as it is asked for
    ask(1, part=4)
    ask(1, part=255)
    ask(1, boot=2)
    ask(0)
    ask(2)
    s.token()  # the strike itself
    s.order(m.Ack(1, 1))
    ask(1)  # it outlives its acknowledgement
    s.strike(9, 9)  # of a bench without samples
    ask(2)
    s.order(m.Ack(1, 2))
    for peak, decay in ((-700, 25.0), (3_000, 12.0), (-32_700, 8.0), (150, 40.0)):
        s.samples(knock(peak, decay, 0.2))
        s.samples(REST, 7)
    for number in range(1, 8):
        ask(number, part=0)
        ask(number, part=1)
    s.order(m.Arm(1, 1, False, 0))
    ask(6)  # nobody has to be armed
    s.order(m.Arm(1, 1, True, 35))
    s.order(m.TraceAsk(6, 1, 0), retained=True)
    for _ in range(4):
        s.token()
        s.order(m.Ack(1, s.target.kept.strikes[0][1]))
    s.cut()
    s.order(m.TraceAsk(6, 1, 0), counter=200)  # RAM forgets
    s.order(m.TraceAsk(6, 2, 0), counter=201)


def a_rest_that_becomes_another(s: Script) -> None:
    """Louder, then elsewhere: one strike of the longest kind each, and blows on it are seen again soon after."""
    s.order(m.Arm(1, 1, True, 0))
    s.samples(REST, 14)
    for rest in ([6 * step for step in REST], [400 + 6 * step for step in REST]):
        s.samples(rest, 68)
        s.order(m.Ask(NONCE, int(What.REPORT)))
        s.samples([step + rest[0] for step in knock(3_000, 20.0, 0.35)])
        s.samples(rest, 12)
    for _ in range(len(s.target.kept.strikes)):
        s.token()
        s.order(m.Ack(1, s.target.kept.strikes[0][1]))
    s.token()


def found_and_added(s: Script) -> None:
    s.token()
    s.asked()

    def hail(address: int = EVERYBODY, slots: int = 64, salt: int = 3, nonce: bytes = b"asker  1") -> None:
        body = messages.encode(m.Hail(nonce, slots, salt))
        s.hear(envelope.bare(envelope.HAIL, address, body), nonce=b"theirs 1")

    def add(**wrong: Any) -> None:
        made = adding.make_add(Body().secret, Body().hardware, b"asker  1", b"theirs 1", KEYS)
        s.hear(envelope.bare(envelope.ADD, ADDRESS, messages.encode(replace(made, **wrong))))

    add()  # before any hail
    hail()
    add()  # not pressed
    s.press()
    for slots, salt in ((1, 0), (4, 1), (255, 255)):
        hail(slots=slots, salt=salt)
    hail(address=ADDRESS)
    add(nonce=b"theirs 2")
    add(proof=bytes(8))
    add(wrapped=bytes(32))
    add(key_version=2)
    s.hear(envelope.bare(envelope.HAIL, EVERYBODY, messages.encode(m.Add(NONCE, 1, bytes(32), bytes(8)))))
    s.hear(envelope.bare(envelope.ADD, ADDRESS, b"\xa0"))
    add()
    add()  # the same again
    s.asked()
    s.order(s.grant())
    s.after(121).press()
    s.after(121)
    hail()  # it belongs to a site now, and was not pressed lately
    hail(address=ADDRESS)
    add()


def keys_rotated(s: Script) -> None:
    s.order(s.grant())
    rekey = s.order(adding.make_rekey(KEYS.own, NONCE, NEXT_KEYS))
    s.hear(rekey)  # the answer was lost: again, under the old key
    s.order(m.Quiet(0, 1, 0))  # nothing else is taken under it
    s.keys = NEXT_KEYS
    s.asked()
    s.token()
    s.order(m.Quiet(0, 1, 0), counter=70)
    s.hear(rekey)  # the old key is forgotten
    s.all_off(1, key=KEYS.all_off)  # all off has one key for the site, whatever the version
    s.token()


MALFORMED = [
    "ff", "05", "a10080", "a10605", "a200182a0605", "a10004", "a2f4040605", "a20004f9460005", "a2000406f5",
    "a2000406c24105", "a20004061805", "a20004061b0000000100000000", "bf00040605ff", "a206050004", "a3000406050605",
    "a20004060500",
]  # fmt: skip

for made in (
    tokens_and_statuses,
    orders_once_and_again,
    seals_and_junk,
    counters_over_power_cuts,
    all_off_and_release,
    rules_of_a_grant,
    rules_of_renewing,
    rules_of_quiet,
    rules_of_arming_sleep_and_leaving,
    questions,
    strikes_until_acknowledged,
    keys_rotated,
    traces_of_strikes,
    a_rest_that_becomes_another,
):
    script(made)
script(a_window_of_32, window=seal.MQTT_WINDOW)
script(sleeping_ends_the_grant, abilities=int(Ability.PAD | Ability.TRANSMITTER | Ability.SLEEP))
script(found_and_added, keys=None)


# ---- the files ----------------------------------------------------------------------------------------------------


def as_json(value: Any) -> Any:
    return value.hex() if isinstance(value, bytes) else value


def session_json() -> dict[str, Any]:
    body = {name: as_json(value) for name, value in asdict(Body()).items()}
    return {"schema": 1, "site_key": SITE_KEY.hex(), "body": body, "scripts": [make().as_json() for make in SCRIPTS]}


def frames_json() -> dict[str, Any]:
    payloads = [
        b"\0",
        b"\x01",
        b"\0\0",
        b"123456789",
        envelope.token(ADDRESS, 7),
        bytes(frames.PAYLOAD_MAX),
        bytes(range(1, 1 + frames.PAYLOAD_MAX)),
        bytes(range(100, 0, -1)) + bytes(10),
        b"\xff" * frames.PAYLOAD_MAX,
    ]
    one, other = frames.encode(b"one"), frames.encode(b"other")
    streams = {
        "two in a row": one + other,
        "one delimiter between": one[:-1] + other,
        "junk before": b"\x55\xaa\x01" + one,
        "half a frame before": one[:-3] + other,
        "oversized": b"\0" + b"\x11" * 127 + one,
        "endless, then a frame": b"\x11" * 500 + one,
        "longest": frames.encode(payloads[-1]),
        "zeros only": bytes(50),
        "not cobs": b"\0\x05\x01\x02\0" + one,
        "short": b"\0\x03\x11\x22\0" + one,
        "crc": one[:-2] + bytes([one[-2] ^ 1]) + b"\0" + other,
        "closing delimiter turned into 1": one[:-1] + b"\x01\0" + other,
        "all bytes": bytes(range(256)) * 2 + one,
    }
    found = []
    for name, stream in streams.items():
        deframer = frames.Deframer()
        got = [payload.hex() for byte in stream for payload in deframer.feed(bytes([byte]))]
        found.append(
            {"name": name, "stream": stream.hex(), "payloads": got, "lost": dict(sorted(deframer.lost.items()))}
        )
    return {
        "schema": 1,
        "frames": [{"payload": p.hex(), "frame": frames.encode(p).hex()} for p in payloads],
        "streams": found,
    }


def seal_json() -> dict[str, Any]:
    tags = []
    bodies = (b"\xa2\x00\x04\x06\x02", bytes(range(104)))
    for form, counter, body in ((envelope.DOWN, 1, bodies[0]), (envelope.UP, 0xFFFF_FFFF, bodies[1])):
        payload = seal.Sealer(KEYS.own).seal(form, ADDRESS, counter, body)
        tags.append({"key": KEYS.own.hex(), "payload": payload.hex()})
    payload = seal.Sealer(KEYS.all_off).seal(envelope.ALL_OFF, EVERYBODY, 2, bodies[0])
    tags.append({"key": KEYS.all_off.hex(), "payload": payload.hex()})
    windows = []
    walk = (5, 5, 3, 4, 0, 1, 36, 5, 6, 4, 37, 70, 69, 38, 39, 37, 200, 169, 168, 0xFFFF_FFFF, 0xFFFF_FFE0, 0xFFFF_FFDF)
    for size, start in ((1, 0), (1, 4), (32, 0), (32, 4)):
        window = seal.ReplayWindow(size, start)
        fresh = []
        for counter in walk:
            fresh.append(window.fresh(counter))
            if fresh[-1]:
                window.take(counter)
        windows.append({"size": size, "start": start, "counters": list(walk), "fresh": fresh})
    marks: list[int] = []
    steps = []
    counter = seal.StepCounter(1000, marks.append)
    for to in (1001, 1002, 1065, 1066, 5000, seal.COUNTER_MAX):
        counter.advance_to(to)
        steps.append({"value": to, "on_file": marks[-1]})
    derived = [
        {"site_key": SITE_KEY.hex(), "address": address, "version": version, "own": keys.own.hex()}
        | {"all_off": keys.all_off.hex()}
        for address, version in ((ADDRESS, 1), (ADDRESS, 2), (1, 0xFFFF_FFFF))
        for keys in [seal.derive_keys(SITE_KEY, address, version)]
    ]
    body = Body()
    add = adding.make_add(body.secret, body.hardware, b"asker  1", b"theirs 1", KEYS)
    rekey = adding.make_rekey(KEYS.own, NONCE, NEXT_KEYS)
    return {
        "schema": 1,
        "tags": tags,
        "windows": windows,
        "step_counter": {"start": 1000, "steps": steps},
        "derived": derived,
        "add": {"secret": body.secret.hex(), "hardware": body.hardware.hex(), "asker": b"asker  1".hex()}
        | {"theirs": b"theirs 1".hex(), "body": messages.encode(add).hex(), "own": KEYS.own.hex()},
        "rekey": {"own": KEYS.own.hex(), "body": messages.encode(rekey).hex(), "new": NEXT_KEYS.own.hex()},
        "slots": [
            {"hardware": body.hardware.hex(), "nonce": NONCE.hex(), "salt": salt, "slots": slots}
            | {"slot": slot_of(body.hardware, NONCE, salt, slots)}
            for salt, slots in ((0, 1), (1, 4), (2, 64), (255, 255))
        ],
    }


FILES = {"session.json": session_json, "frames.json": frames_json, "seal.json": seal_json}


def as_text(value: Any) -> str:
    """One step a line, so that a change shows in a diff as what it is."""

    def lines(item: Any, indent: int) -> str:
        flat = json.dumps(item)
        if len(flat) <= 118 - indent or not isinstance(item, dict | list) or not item:
            return flat
        if isinstance(item, dict) and ("hear" in item or "payload" in item or "stream" in item or "samples" in item):
            return flat
        pad = " " * (indent + 1)
        if isinstance(item, list):
            return "[\n" + ",\n".join(pad + lines(one, indent + 1) for one in item) + "\n" + pad[1:] + "]"
        rows = (f"{pad}{json.dumps(key)}: {lines(one, indent + 1)}" for key, one in item.items())
        return "{\n" + ",\n".join(rows) + "\n" + pad[1:] + "}"

    return lines(value, 0) + "\n"


def main(folder: Path) -> None:
    for name, make in FILES.items():
        (folder / name).write_text(as_text(make()))


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)

"""Finding a new target on the bench and giving it keys: hail, add; and letting it go again."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count

from fieldctl.certify.bench import Bench
from fieldctl.certify.talk import Failed, Silent, Talk
from fieldctl.errors import NotFound, Refused
from fieldctl.units import EVERYBODY, US_PER_S
from fieldctl.wire import adding, envelope, messages, seal
from fieldctl.wire.bus import SLOT_US
from fieldctl.wire.messages import Hail, HailAnswer

SLOTS = 8
HAILS = 6
PRESS_WITHIN_US = 30 * US_PER_S  # for somebody to read it, reach for the target and press its button
TIMES = 3  # that keys are given to a pressed target: a line may lose one


def hail(bench: Bench, address: int, nonce: bytes, salt: int) -> list[HailAnswer]:
    """Who answers one hail; `address` may be everybody's."""
    slots = SLOTS if address == EVERYBODY else 1
    bench.ear.forget()
    sent = bench.say(envelope.bare(envelope.HAIL, address, messages.encode(Hail(nonce, slots, salt & 0xFF))))
    bench.wait(sent + bench.answer_us + slots * SLOT_US)
    found = []
    for heard in bench.ear.heard:
        env = envelope.read(heard.payload)
        if env is None or env.form != envelope.HAIL_ANSWER:
            continue
        try:
            message = messages.decode(env.body)
        except messages.Malformed:
            continue
        if isinstance(message, HailAnswer):
            found.append(message)
    bench.ear.forget()
    return found


def give(bench: Bench, secret: bytes, answer: HailAnswer, asker: bytes, keys: seal.TargetKeys) -> None:
    """Say the message that gives keys to a target that answered the hail with the nonce `asker`."""
    add = adding.make_add(secret, answer.hardware, asker, answer.nonce, keys)
    address = adding.address_of(answer.hardware)
    sent = bench.say(envelope.bare(envelope.ADD, address, messages.encode(add)))
    bench.wait(sent + bench.answer_us)


def bench_keys(entropy: Callable[[int], bytes], version: int) -> seal.TargetKeys:
    """Keys of no site: made for this bench and forgotten with it."""
    return seal.TargetKeys(entropy(seal.KEY_BYTES), entropy(seal.KEY_BYTES), version)


def find(bench: Bench, entropy: Callable[[int], bytes], address: int = EVERYBODY) -> HailAnswer:
    """The one new target at the end of this line; NotFound or Refused in words."""
    found: dict[bytes, HailAnswer] = {}
    for salt in range(HAILS):
        for answer in hail(bench, address, entropy(8), salt):
            found[answer.hardware] = answer
        if found and salt >= HAILS // 3:
            break
    if not found:
        raise NotFound(
            "Nobody answers a hail on this line.",
            expected="one target without keys, or one whose button was just pressed",
            remedy="Look at power and line, press the target's button, and try again.",
        )
    if len(found) > 1:
        raise Refused(
            f"{len(found)} targets answer on this line: {', '.join(sorted(h.hex() for h in found))}.",
            expected="one target on the bench",
            remedy="Take the others off the line, or name one with --target.",
        )
    return next(iter(found.values()))


def join(bench: Bench, secret: bytes, entropy: Callable[[int], bytes], address: int, press: Callable[[], None]) -> Talk:
    """Give the one new target keys for this bench, after a press on its button."""
    new = find(bench, entropy, address)
    at = adding.address_of(new.hardware)
    if not new.pressed:
        press()
    keys = bench_keys(entropy, 1)
    talk = Talk(bench, at, keys, entropy, secret=secret, hardware=new.hardware)
    until = bench.now() + PRESS_WITHIN_US
    given = 0
    for salt in count():
        if bench.now() >= until or given >= TIMES:
            break
        nonce = entropy(8)
        answer = next((a for a in hail(bench, at, nonce, salt) if a.hardware == new.hardware and a.pressed), None)
        if answer is None:
            continue
        given += 1
        give(bench, secret, answer, nonce, keys)
        try:
            talk.open(3 * bench.answer_us)
        except Silent:
            continue
        return talk
    if not given:
        raise Refused(
            f"Nobody pressed the button of {new.hardware.hex()} within {PRESS_WITHIN_US // US_PER_S} s.",
            expected="a press on its button, so that nobody gives it keys from afar",
            remedy="Begin again, and press it or hold a magnet to it.",
        )
    raise Refused(
        f"The target {new.hardware.hex()} does not take keys.",
        expected="the factory secret on its label",
        remedy="Look at the secret, press the button, and try again.",
    )


def add_again(talk: Talk, keys: seal.TargetKeys) -> None:
    """Give keys to a target that was pressed just now; Failed where it does not take them."""
    assert talk.secret is not None
    nonce = talk.entropy(8)
    answer = next(iter(hail(talk.bench, talk.address, nonce, 1)), None)
    if answer is None:
        raise Failed("it does not answer a hail after a press")
    give(talk.bench, talk.secret, answer, nonce, keys)
    talk.use(keys)
    talk.generation, talk.epoch = 1, 0
    try:
        talk.open()
    except Silent:
        raise Failed("it does not take keys that were wrapped for it, after a press") from None

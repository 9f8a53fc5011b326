"""Seal, counters, and what a later contract may say."""

from __future__ import annotations

import itertools

import cbor2

from fieldctl.certify.row import Requirement, row
from fieldctl.certify.talk import JUMP, Failed, Silent, Talk, is_answer, verdict, words
from fieldctl.units import US_PER_S
from fieldctl.wire import envelope, messages
from fieldctl.wire.messages import Ability, Ask, Flags, Outcome, Reason, Result, What

ROWS: list[Requirement] = []
TOLD = 12  # things said, for rising counters


def _ask(t: Talk, what: What = What.GREETING) -> Ask:
    return Ask(t.entropy(8), int(what))


# ---- the seal ---------------------------------------------------------------------------------------------------


@row(ROWS, "it compares only the first seven bytes of the tag")
def seal_tag(t: Talk) -> None:
    """The whole tag is checked, and before the counter: an order with any byte of it changed is nothing."""
    ahead = t.counter + JUMP // 2
    payload = t.sealed(_ask(t), counter=ahead)
    for n in range(envelope.TAG_BYTES):
        forged = bytearray(payload)
        forged[-1 - n] ^= 1 << (n % 8)
        t.nothing(bytes(forged), f"an order with byte {envelope.TAG_BYTES - n} of its tag changed")
    try:
        t.order(_ask(t))
    except Silent:
        raise Failed("a forged order used up a counter: the true one below it was not answered") from None


@row(ROWS, "it also takes a tag made for the body with its last byte changed (exclusive or 3)")
def seal_body(t: Talk) -> None:
    """The tag covers the whole body."""
    for what in (What.REPORT, What.GREETING):
        body = messages.encode(_ask(t, what))
        for at in (len(body) - 1, len(body) // 2):
            changed = bytearray(body)
            changed[at] ^= 3
            t.nothing(
                t.sealed(bytes(changed), tag_over={"body": body}), f"an order with byte {at + 1} of its body changed"
            )


@row(ROWS, "it also takes a tag made for counter 0")
def seal_counter(t: Talk) -> None:
    """The tag covers the counter."""
    for sealed_for in (0, t.counter, t.counter + 2):
        t.nothing(t.sealed(_ask(t), tag_over={"counter": sealed_for}), f"an order sealed for counter {sealed_for}")


@row(ROWS, "it also takes a tag made for the direction up")
def seal_direction(t: Talk) -> None:
    """The tag covers the direction: what is sealed as a target's own word is no order."""
    for form in (envelope.UP, envelope.ASKED, envelope.ALL_OFF):
        t.nothing(t.sealed(_ask(t), tag_over={"form": form}), f"an order sealed under form {form:#x}")
    t.nothing(t.sealed(_ask(t), form=envelope.UP), "a message of the form that only targets use")


@row(ROWS, "it also takes a tag made for its address with the last bit changed")
def seal_target(t: Talk) -> None:
    """The tag covers the target: what is sealed for another one is no order here."""
    for other in (t.address ^ 1, 0xFFFF_FFFF):
        t.nothing(t.sealed(_ask(t), tag_over={"address": other}), f"an order sealed for {other:08x}")


@row(ROWS, "it also takes orders sealed with the all-off key")
def seal_alloff_key(t: Talk) -> None:
    """The all-off key can do nothing but switch off."""
    t.nothing(t.sealed(_ask(t), sealer=t.all_off_sealer), "an order sealed with the all-off key")
    t.nothing(t.sealed(_ask(t), sealer=t.all_off_sealer, form=envelope.ALL_OFF), "a question in the form of all off")


@row(ROWS, "the tag of a greeting is wrong in its last byte")
def seal_answers(t: Talk) -> None:
    """Whatever it says is sealed with its own key, in its own name."""
    t.hear()
    t.oddities.clear()
    t.open()
    t.token()
    t.greeting()
    t.report()
    t.quiet()
    wrong = {kind: count for kind, count in t.oddities.items() if count}
    if wrong:
        raise Failed("of five answers " + ", ".join(f"{count} {kind}" for kind, count in wrong.items()))


@row(ROWS, "every report goes out under the counter of the message before it")
def seal_rising(t: Talk) -> None:
    """The counters of what it says rise and never come twice."""
    t.hear()
    t.said.clear()
    for n in range(TOLD):
        t.report() if n % 3 == 2 else t.token()
    t.open()
    counters = [said.counter for said in t.said]
    if any(a >= b for a, b in itertools.pairwise(counters)):
        raise Failed(f"it counted {counters}")


# ---- replay -----------------------------------------------------------------------------------------------------


@row(ROWS, "it carries a repeated order out again (new keys apart)")
def replay_cached(t: Talk) -> None:
    """The same order under the same counter is answered again in the same words and not carried out again."""
    t.token()
    tx = bool(t.abilities & Ability.TRANSMITTER)
    made = t.grant(0.4, 1.0) if tx else messages.Arm(t.boot, t.generation, True, 0)
    counter = t.next()
    payload = t.sealed(made, counter=counter)
    first = t.deliver(payload, counter)
    if tx:
        t.wait(600_000)
    elif t.abilities & Ability.PAD:
        t.wait(50_000)
    again = t.deliver(payload, counter)
    if first != again:
        raise Failed(f"first it was answered {words(first)}, and repeated {words(again)}")
    if isinstance(first, Outcome) and tx and first.result != Result.DONE:
        raise Failed(f"a lawful grant was answered {words(first)}")


@row(ROWS, "it takes counters again that are three to eight behind the last one")
def replay_older(t: Talk) -> None:
    """An order under a counter that was taken before the last one is nothing."""
    old = [t.sealed(_ask(t), counter=t.counter + 1 + n) for n in range(6)]
    for payload in old:
        t.deliver(payload, t.next())
    for payload in reversed(old[:-1]):
        t.nothing(payload, "an order heard before")


@row(ROWS, "it takes the counter just below its highest where that was left out", medium="bus")
def replay_overtaken(t: Talk) -> None:
    """On a bus the counter only rises: one that was left out is not taken later."""
    left_out = t.sealed(_ask(t))
    t.greeting()
    t.nothing(left_out, "an order under a lower counter than the last")


@row(ROWS, "it takes only counters that rise, over radio too", medium="radio")
def replay_window(t: Talk) -> None:
    """Over radio an order that was overtaken is taken once, up to 31 counters behind, and none farther behind."""
    first = t.counter + 1
    behind = {n: t.sealed(_ask(t), counter=first + 40 - n) for n in (1, 31, 32, 39)}
    t.counter = first + 39
    t.greeting()
    for n, payload in behind.items():
        if n < 32:
            try:
                t.deliver(payload, first + 40 - n, tries=2)
            except Silent:
                raise Failed(f"an order {n} counters behind was not answered") from None
        else:
            t.nothing(payload, f"an order {n} counters behind")
    t.greeting()
    t.nothing(behind[31], "an order that was overtaken and heard before")


@row(ROWS, "the nonce that comes back is not the one that was sent")
def counters_asked(t: Talk) -> None:
    """Asked for its counters, it answers with the nonce that it was asked with."""
    for _ in range(2):
        t.bench.ear.forget()
        nonce = t.entropy(8)
        payload = t.sealed(Ask(nonce, int(What.COUNTERS)), counter=0, form=envelope.ASKED)
        answer = t.exchange(payload, lambda said: isinstance(said.message, messages.Counters))
        if answer is None:
            t.open()
            continue
        assert isinstance(answer.message, messages.Counters)
        if answer.message.nonce != nonce:
            raise Failed(f"asked with {nonce.hex()} it answered with {answer.message.nonce.hex()}")


@row(ROWS, "it names a highest counter one too low")
def counters_high(t: Talk) -> None:
    """The highest counter that it names is not below one that it has taken."""
    t.greeting()
    taken = t.counter
    high = t.open().down_high
    if high < taken:
        raise Failed(f"it had taken {taken} and named {high}")


@row(ROWS, "it carries out any order that comes in that form")
def counters_form(t: Talk) -> None:
    """In the form of the question for counters nothing but that question is taken."""
    t.token()
    orders = (
        _ask(t, What.GREETING),
        messages.AllOff(t.epoch),
        messages.Arm(t.boot, t.generation, True, 0),
        messages.Quiet(0, t.generation, 0),
    )
    for order in orders:
        t.nothing(t.sealed(order, counter=0, form=envelope.ASKED), f"{type(order).__name__} in the form of a question")
    if t.flags() & Flags.ARMED:
        raise Failed("an order in the form of a question was carried out")


@row(ROWS, "the highest counter that it has taken is not kept over a loss of power", door=("power",))
def counters_kept(t: Talk) -> None:
    """Counters are written ahead of use: after a loss of power none is taken or used again."""
    counter = t.next()
    old = t.sealed(_ask(t, What.REPORT), counter=counter)
    t.deliver(old, counter)
    used = max(said.counter for said in t.said)
    t.said.clear()
    t.door("power", 300)
    high = t.open().down_high
    if high < counter:
        raise Failed(f"before it had taken {counter}, afterwards it names {high}")
    t.nothing(old, "an order taken before the loss of power")
    if (again := min(said.counter for said in t.said)) <= used:
        raise Failed(f"before it had used {used} for its own words, afterwards {again}")


# ---- the contract -----------------------------------------------------------------------------------------------


@row(ROWS, "the last byte of the hardware id that it names is another")
def greeting(t: Talk) -> None:
    """Asked who it is, it names itself: hardware id, boot and key version agree with all else that it says."""
    counters, said = t.open(), t.greeting()
    wrong = []
    if int.from_bytes(said.hardware[-4:], "big") != t.address:
        wrong.append(f"hardware {said.hardware.hex()} at address {t.address:08x}")
    if said.boot != counters.boot:
        wrong.append(f"boot {said.boot} and {counters.boot}")
    if said.key_version != counters.key_version:
        wrong.append(f"key version {said.key_version} and {counters.key_version}")
    if not said.firmware.isprintable():
        wrong.append(f"firmware {said.firmware!r}")
    if wrong:
        raise Failed("; ".join(wrong))


@row(ROWS, "it says a contract version one higher")
def contract_version(t: Talk) -> None:
    """It speaks the version of the contract that this program speaks."""
    if (version := t.greeting().contract) != messages.CONTRACT:
        raise Failed(f"it speaks version {version}, not {messages.CONTRACT}")


@row(ROWS, "it does not declare Sleep and carries it out all the same")
def abilities_true(t: Talk) -> None:
    """What it declares it does; what it does not declare it refuses as no ability."""
    t.token()
    tries = (
        (Ability.TRANSMITTER, t.grant(0.4, 0.8)),
        (Ability.PAD, messages.Arm(t.boot, t.generation, True, 0)),
        (Ability.SLEEP, messages.Sleep(t.boot, t.generation, t.ticks() + US_PER_S, 1)),
    )
    for ability, order in tries:
        if ability is Ability.SLEEP and t.abilities & Ability.SLEEP:
            continue  # that has a requirement of its own
        answer = t.outcome(order)
        can = bool(t.abilities & ability)
        wanted = (Result.DONE, Reason.NONE) if can else (Result.REFUSED, Reason.NO_ABILITY)
        if (answer.result, answer.reason) != wanted:
            says = "declares" if can else "does not declare"
            raise Failed(f"it {says} {_plain(ability)} and answered {words(answer)}, not {verdict(*wanted)}")
        if ability is Ability.SLEEP and answer.result == Result.DONE:
            t.wait(1_200_000)
    kelvin = t.report().kelvin10
    if t.abilities & Ability.THERMOMETER and not 2_000 <= kelvin <= 3_600:
        raise Failed(f"it declares a thermometer and reads {kelvin / 10:.1f} K")


def _plain(ability: Ability) -> str:
    return str(ability.name).lower().replace("_", " ")


@row(ROWS, "its report names epoch 0 and generation 0")
def report(t: Talk) -> None:
    """Asked how it is, it says what it has latched, which grant it holds, and volts that a battery can have."""
    counters, said = t.open(), t.report()
    wrong = []
    if (said.generation, said.epoch) != (counters.generation, counters.epoch):
        wrong.append(
            f"generation {said.generation} and epoch {said.epoch}, not {counters.generation} and {counters.epoch}"
        )
    if said.grant_id:
        wrong.append(f"grant {said.grant_id:#x} though none is held")
    if not 0 < said.load_mv <= said.rest_mv:
        wrong.append(f"{said.load_mv} mV under load and {said.rest_mv} mV at rest")
    if wrong:
        raise Failed("; ".join(wrong))


@row(ROWS, "it declares a turnaround of 20 ms and answers as soon as ever", medium="bus")
def turnaround(t: Talk) -> None:
    """It answers no sooner than the turnaround that it declares."""
    if not t.bench.byte_us:
        t.token()
    declared = t.greeting().turnaround
    t.samples.clear()
    for _ in range(8):
        t.token()
    for _, sample in t.samples:
        lo, hi = sample.interval_ns()
        took_us = (hi - lo) // 1_000
        if took_us < declared * 0.9998 - 1:
            raise Failed(f"it declares {declared} µs and answered after at most {max(0, took_us)} µs")


@row(ROWS, "a body with a list under a key that it does not know is dropped")
def unknown_keys(t: Talk) -> None:
    """Keys that a later contract appended are passed over."""
    body = messages.encode(_ask(t))
    for more, what in (
        (b"\x18\xc8\x01", "a number"),
        (b"\x18\xc8\x43abc", "bytes"),
        (b"\x18\xc8\x82\x01\x02", "a list"),
    ):
        counter = t.next()
        try:
            t.deliver(t.sealed(bytes([body[0] + 1]) + body[1:] + more, counter=counter), counter)
        except Silent:
            raise Failed(f"a question with {what} under key 200 was not answered") from None


@row(ROWS, "it answers a sealed message of an unknown kind, naming its counter")
def unknown_kind(t: Talk) -> None:
    """A kind that it does not know, or that only targets say, is nothing."""
    bodies = [cbor2.dumps({0: kind, 2: t.boot}) for kind in (0, 11, 14, 21, 99, 70_000)]
    bodies.append(messages.encode(messages.Status(t.boot, 1, 0)))
    for body in bodies:
        t.nothing(t.sealed(body), f"a message of kind {cbor2.loads(body)[0]}")


@row(ROWS, "it takes a Quiet that lacks its grant id (key 7) for one that names 0")
def ill_formed(t: Talk) -> None:
    """A body with a key missing, of another type, in another order or in a longer form is nothing."""
    lawful = {0: 3, 3: 0, 5: t.generation, 7: 0}
    bodies = {
        "a key missing": cbor2.dumps({k: v for k, v in lawful.items() if k != 7}),
        "text for a number": cbor2.dumps({**lawful, 7: "0"}),
        "a number out of range": cbor2.dumps({**lawful, 7: 1 << 32}),
        "a negative number": cbor2.dumps({**lawful, 3: -1}),
        "its keys in another order": cbor2.dumps({k: lawful[k] for k in (0, 5, 3, 7)}),
        "a key twice": b"\xa5" + cbor2.dumps(lawful)[1:] + b"\x07\x00",
        "a longer form than the contract's": b"\xb8\x04" + cbor2.dumps(lawful)[1:],
        "bytes behind it": cbor2.dumps(lawful) + b"\x00",
    }
    for what, body in bodies.items():
        t.nothing(t.sealed(body), f"an order with {what}")
    if any(is_answer(said.message) for said in t.wait(0)):
        raise Failed("an ill-formed order was answered")

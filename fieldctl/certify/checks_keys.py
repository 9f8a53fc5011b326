"""Keys: rotating, hailing, adding and leaving; only on a bench that gave the keys itself."""

from __future__ import annotations

from fieldctl.certify.joining import add_again, bench_keys, give, hail
from fieldctl.certify.row import Requirement, row
from fieldctl.certify.talk import Failed, Silent, Talk
from fieldctl.units import US_PER_S
from fieldctl.wire import adding, envelope, messages, seal
from fieldctl.wire.adding import PRESS_COUNTS_US
from fieldctl.wire.messages import Ability, Flags, Message, Outcome, Result

ROWS: list[Requirement] = []
BENCH = "keys"  # offered where the bench gave the keys itself: nobody else's can be lost
SHORT_US = 2 * US_PER_S


def _rotation(t: Talk) -> tuple[seal.TargetKeys, int, bytes, Message]:
    """Order new keys; (them, the order's counter, its payload, the answer)."""
    keys = bench_keys(t.entropy, t.keys.version + 1)
    counter = t.next()
    payload = t.sealed(adding.make_rekey(t.keys.own, t.entropy(8), keys), counter=counter)
    answer = t.deliver(payload, counter)
    if not isinstance(answer, Outcome):
        raise Failed("new keys were not answered with an outcome")
    t.expect(answer, Result.DONE, what="new keys")
    return keys, counter, payload, answer


def _unpressed(t: Talk) -> None:
    """Wait until a press no longer counts."""
    if t.flags() & Flags.PRESSED:
        t.wait(PRESS_COUNTS_US + US_PER_S)


def _take_over(t: Talk, keys: seal.TargetKeys) -> None:
    before = t.keys
    t.use(keys)
    try:
        t.open(SHORT_US)
    except Silent:
        t.use(before)
        raise Failed("it answered that it holds new keys, and answers nothing under them") from None


@row(ROWS, "the keys before are obeyed for ever", door=(BENCH,))
def keys_rotated(t: Talk) -> None:
    """New keys under the old ones hold from its answer on; once they were used the old ones are nothing."""
    old = seal.Sealer(t.keys.own)
    keys, *_ = _rotation(t)
    _take_over(t, keys)
    if (version := t.greeting().key_version) != keys.version:
        raise Failed(f"it holds keys of version {keys.version} and names {version}")
    heard_before = t.oddities["bad-tag"]
    t.nothing(t.sealed(messages.Quiet(0, t.generation, 0), sealer=old), "an order under the keys before")
    if t.oddities["bad-tag"] > heard_before:
        raise Failed("an order under the keys before was answered")


@row(ROWS, "an order that rotated the keys is not answered when it is heard again", door=(BENCH,))
def keys_rotated_again(t: Talk) -> None:
    """The order that rotated the keys, heard again because its answer was lost, is answered under the old ones."""
    keys, counter, payload, first = _rotation(t)
    try:
        again = t.deliver(payload, counter, tries=2)
    except Silent:
        raise Failed("the order that rotated its keys was not answered when it came again") from None
    finally:
        _take_over(t, keys)
    if again != first:
        raise Failed("the order that rotated its keys was answered in other words when it came again")
    t.greeting()


@row(ROWS, "while it holds keys and was not pressed it does not answer a hail to its own address")
def hail_answered(t: Talk) -> None:
    """Hailed by its own address it answers with its hardware id and abilities, and does nothing else."""
    _unpressed(t)
    found = []
    for salt in range(3):
        found = hail(t.bench, t.address, t.entropy(8), salt)
        if found:
            break
    if not found:
        raise Failed("no answer to a hail of its own address")
    answer, said = found[0], t.greeting()
    if adding.address_of(answer.hardware) != t.address or answer.abilities != said.abilities:
        raise Failed(
            f"to a hail it is {answer.hardware.hex()} with abilities {answer.abilities:#x}, "
            f"to a question {t.address:08x} with {said.abilities:#x}"
        )


@row(ROWS, "it takes keys without a press on its button", needs=int(Ability.BUTTON), door=("press", BENCH))
def keys_need_press(t: Talk) -> None:
    """Keys are taken only after a press on its button, wrapped under its secret for both nonces of the last hail."""
    assert t.secret is not None
    _unpressed(t)
    mine = t.keys
    nonce, keys = t.entropy(8), bench_keys(t.entropy, mine.version + 1)
    answer = next(iter(hail(t.bench, t.address, nonce, 2)), None)
    if answer is not None:  # otherwise it has no nonce to wrap them for, and another requirement says so
        give(t.bench, t.secret, answer, nonce, keys)
        if _holds(t, keys):
            raise Failed("it took keys though nobody pressed its button")
    t.use(mine)
    t.door("press")
    t.wait(100_000)
    nonce = t.entropy(8)
    answer = next(iter(hail(t.bench, t.address, nonce, 3)), None)
    if answer is None:
        raise Failed("no answer to a hail after a press")
    for what, secret, asker in (("secret", bytes(16), nonce), ("nonce", t.secret, bytes(8))):
        give(t.bench, secret, answer, asker, keys)
        if _holds(t, keys):
            raise Failed(f"it took keys that were wrapped for another {what}")
    t.use(mine)
    add_again(t, keys)
    if t.flags() & (Flags.GATE_ON | Flags.GRANTED):
        raise Failed("keys made it send")


def _holds(t: Talk, keys: seal.TargetKeys) -> bool:
    """Whether these keys are in force; they are in use here only if they are."""
    before = t.keys
    t.use(keys)
    payload = t.sealed(messages.Ask(t.entropy(8), int(messages.What.COUNTERS)), counter=0, form=envelope.ASKED)
    bad = t.oddities["bad-tag"]
    answer = t.exchange(payload, lambda said: isinstance(said.message, messages.Counters))
    if answer is not None and t.oddities["bad-tag"] == bad:
        return True
    t.use(before)
    return False


@row(ROWS, "it answers on under its keys after it was told to leave", needs=int(Ability.BUTTON), door=("press", BENCH))
def leave(t: Talk) -> None:
    """Told to leave, it forgets its keys, is quiet, and answers nothing sealed until it is added again."""
    t.token()
    t.expect(t.outcome(messages.Leave(t.boot, t.generation)), Result.DONE, what="Leave")
    stays = _holds(t, t.keys)
    t.door("press")
    t.wait(100_000)
    add_again(t, bench_keys(t.entropy, t.keys.version + 1))
    if stays:
        raise Failed("it answered under its keys after it was told to leave")

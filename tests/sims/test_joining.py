"""New targets on the bus: found though several answer at once, and added after a press, end to end."""

from mountain import SECRET, SITE_KEY, Mountain, mountain

from fieldctl.units import EVERYBODY
from fieldctl.wire import adding, envelope, frames, messages, seal
from fieldctl.wire.bus import Search
from fieldctl.wire.session import Session


def search(m: Mountain) -> tuple[Search, int]:
    """Search as a bus master does; gives the search and how many rounds were garbled."""
    nonces = m.world.rng("nonce")
    looking = Search(lambda: nonces.randbytes(8))
    garbled_rounds = 0
    asked: dict[bytes, bytes] = {}
    while not looking.over:
        assert looking.round < 40, "the search never ends"
        nonce, slots, salt = looking.hail()
        m.heard.clear()
        hail = envelope.bare(envelope.HAIL, EVERYBODY, messages.encode(messages.Hail(nonce, slots, salt)))
        m.hub.write(frames.encode(hail))
        m.go(looking.listens_us + 20_000)
        deframer = frames.Deframer()
        answers = []
        for _, data in m.heard:
            for payload in deframer.feed(data):
                env = envelope.read(payload)
                assert env is not None
                said = messages.decode(env.body)
                assert isinstance(said, messages.HailAnswer)
                answers.append((said.hardware, said.nonce))
                asked[said.hardware] = nonce
        garbled = bool(deframer.lost)
        garbled_rounds += garbled
        looking.round_over(answers, garbled=garbled)
    m.asked = asked  # type: ignore[attr-defined]
    return looking, garbled_rounds


def test_a_dozen_new_targets_are_all_found_through_collisions() -> None:
    m = mountain(12, keyed=False, opened=False)
    looking, garbled = search(m)
    assert sorted(looking.found) == sorted(n.storage.hardware for n in m.nodes)
    assert garbled >= 1
    assert m.hub.collisions >= 1


def test_nobody_new_is_a_short_search() -> None:
    m = mountain(3)
    looking, garbled = search(m)
    assert looking.found == {}
    assert garbled == 0
    assert looking.round == 2


def test_a_target_is_added_only_after_a_press_and_then_speaks_sealed() -> None:
    m = mountain(1, keyed=False, opened=False)
    n = m.nodes[0]
    looking, _ = search(m)
    keys = seal.derive_keys(SITE_KEY, n.address, 1)
    theirs = looking.found[n.storage.hardware]
    asker = m.asked[n.storage.hardware]  # type: ignore[attr-defined]
    add = adding.make_add(SECRET, n.storage.hardware, asker, theirs, keys)
    payload = envelope.bare(envelope.ADD, n.address, messages.encode(add))
    m.ask(payload)
    assert n.storage.keys is None
    n.press()
    wrong = adding.make_add(b"another's secret", n.storage.hardware, asker, theirs, keys)
    m.ask(envelope.bare(envelope.ADD, n.address, messages.encode(wrong)))
    assert n.storage.keys is None
    m.ask(payload)
    assert n.storage.keys == keys
    session = m.sessions[n.address] = Session("controller", n.address, keys.own)
    counters = m.ask(session.open(bytes(8), m.world.now_us()))
    assert isinstance(counters, messages.Counters)
    status = m.token(n)
    assert isinstance(status, messages.Status)
    assert status.flags & messages.Flags.PRESSED
    assert status.flags & messages.Flags.ALL_OFF


def test_adding_can_never_cause_sending_and_ends_what_was_granted() -> None:
    m = mountain(1)
    n = m.nodes[0]
    m.grant(n, from_s=0.0, until_s=60.0)
    n.press()
    looking, _ = search(m)
    other = seal.derive_keys(b"another site key", n.address, 1)
    hardware = n.storage.hardware
    add = adding.make_add(SECRET, hardware, m.asked[hardware], looking.found[hardware], other)  # type: ignore[attr-defined]
    m.ask(envelope.bare(envelope.ADD, n.address, messages.encode(add)))
    assert n.storage.keys == other
    assert n.gate.held is None
    m.go(5_000_000)
    n.settle()
    assert n.past_grant_us <= 0
    assert m.token(n) is None


def test_a_press_counts_for_two_minutes() -> None:
    m = mountain(1)
    n = m.nodes[0]
    n.press()
    m.go(adding.PRESS_COUNTS_US - 1_000_000)
    assert search(m)[0].found
    m.go(2_000_000)
    assert not search(m)[0].found

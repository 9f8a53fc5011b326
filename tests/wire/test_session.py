"""Both ends of the conversation: every row of the table in `session`'s docstring, then the two ends back to back."""

from __future__ import annotations

import itertools
import re
from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made import anything

from fieldctl.wire import envelope, messages, seal, session
from fieldctl.wire import messages as m
from fieldctl.wire.session import Posted, Session

ADDRESS = 0x0A1B2C3D
KEY = bytes(range(16))
ALL_OFF_KEY = bytes(range(16, 32))
NONCE = b"nonce  1"
SEALER = seal.Sealer(KEY)


def up(message: m.Message, counter: int, sealer: seal.Sealer = SEALER) -> envelope.Envelope:
    return envelope.read(sealer.seal(envelope.UP, ADDRESS, counter, m.encode(message)))


def down(message: m.Message, counter: int, form: int = envelope.DOWN, sealer: seal.Sealer = SEALER):
    return envelope.read(sealer.seal(form, ADDRESS, counter, m.encode(message)))


def counters(nonce: bytes = NONCE, down_high: int = 10) -> m.Counters:
    return m.Counters(1, 0, 0, 0, 0, nonce, 1, down_high)


def outcome(re_: int | None, result: int = m.Result.DONE, reason: int = 0, late: int = 0) -> m.Outcome:
    return m.Outcome(1, 5, 0, 0, 0, 0, int(result), int(reason), late, re_)


def status(re_: int | None = None) -> m.Status:
    return m.Status(1, 5, 0, re_)


STRIKE = m.Strike(1, 5, 0, 1, (9,), 1, 0, 1, 4)
QUIET = m.Quiet(0, 1, 0)
GREETING = m.Ask(NONCE, int(m.What.GREETING))
HELLO = m.Greeting(1, 5, 0, bytes(8), "x", 1, 1, 0, 200, 1, 75)


def controller(state: str = "open", **kwargs) -> Session:
    """A controller's end; open: the target said that it took 10, so the next is 75, and it used 3."""
    one = Session("controller", ADDRESS, KEY, **kwargs)
    if state != "closed":
        one.open(NONCE, 100)
    if state == "open":
        assert one.take(up(counters(), 3), 200).opened
    assert one.state == state
    return one


def target(**kwargs) -> Session:
    return Session("target", ADDRESS, KEY, all_off_key=ALL_OFF_KEY, **kwargs)


def order(message: m.Message = QUIET, expires_us: int = 10_000, handle: int = 1) -> Posted:
    return Posted(handle, message, expires_us)


# ---- the table, row by row --------------------------------------------------------------------------------------


def c1():
    for state in ("closed", "asking", "open"):
        one = controller(state)
        env = envelope.read(one.open(b"nonce  2", 5))
        assert (env.form, env.counter, m.decode(env.body)) == (envelope.ASKED, 0, m.Ask(b"nonce  2", m.What.COUNTERS))
        assert SEALER.holds(env)
        assert one.state == "asking"
        assert one.pull(6) is None


def c2():
    one = controller("asking")
    taken = one.take(up(counters(down_high=10), 7), 200)
    assert taken.opened
    assert (taken.message, taken.asked_us, taken.question_bytes) == (counters(), 100, 9 + 17 + 8)
    assert one.state == "open"
    one.post(order())
    assert envelope.read(one.pull(300)).counter == 10 + seal.RESTART_JUMP + 1
    assert one.take(up(status(), 7), 300) is None, "their counter is believed: what was used is used"
    assert one.take(up(status(), 8), 300) is not None


def c3():
    for message in (counters(nonce=b"another."), status(), outcome(75), STRIKE):
        for state in ("closed", "asking"):
            one = controller(state)
            assert one.take(up(message, 7), 200) is None
            assert (one.state, one.lost) == (state, {"not-open": 1})
    one = controller("closed")
    assert one.take(up(counters(nonce=b"\0" * 8), 7), 200) is None


def c4():
    one = controller("asking")
    assert one.post(order(handle=1))
    assert one.post(order(handle=2))
    assert one.pull(1) is None, "not before it is open"
    one.take(up(counters(), 3), 2)
    first = one.pull(3)
    assert one.pull(4) == first, "the second waits while the first is under way, which is resent as the same bytes"
    one.take(up(outcome(75), 4), 5)
    assert envelope.read(one.pull(6)).counter == 76
    for handle in range(session.QUEUE_MAX):
        assert one.post(order(handle=handle + 10))
    assert not one.post(order(handle=99))
    assert one.lost == {"queue-full": 1}
    assert one.waiting == session.QUEUE_MAX + 1


def c5():
    cases = [
        (QUIET, outcome(75), "done", ""),
        (QUIET, outcome(75, m.Result.LATE, late=2500), "late", "late by 2.5 ms"),
        (QUIET, outcome(75, m.Result.SUPERSEDED), "superseded", "the target obeys generation 0"),
        (QUIET, outcome(75, m.Result.REFUSED, 200), "refused", "reason 200, which this version does not know"),
        (QUIET, outcome(75, 77), "refused", "reason 0, which this version does not know"),
        (GREETING, HELLO, "done", ""),
        (GREETING, outcome(75, m.Result.REFUSED, m.Reason.NO_ABILITY), "refused", "the target cannot do that"),
        *(
            (QUIET, outcome(75, m.Result.REFUSED, r), "refused", session.reason_in_words(r))
            for r in m.Reason
            if r is not m.Reason.NONE
        ),
    ]
    for message, answer, verdict, why in cases:
        one = controller()
        posted = order(message)
        one.post(posted)
        payload = one.pull(300)
        taken = one.take(up(answer, 4), 400)
        assert (taken.ended.order, taken.ended.verdict, taken.ended.why) == (posted, verdict, why)
        assert taken.ended.answer == taken.message == answer
        assert (taken.asked_us, taken.question_bytes) == (300, len(payload))
        assert one.waiting == 0
        assert one.pull(500) is None


def c6():
    one = controller()
    number = envelope.read(one.token(300)).counter
    taken = one.take(up(status(number), 4), 400)
    assert (taken.message, taken.asked_us, taken.question_bytes) == (status(number), 300, 6)
    again = one.take(up(status(number), 5), 500)
    assert again.asked_us is None, "a question gives one sample"
    number = envelope.read(one.token(600)).counter
    one.token(650)
    assert one.take(up(status(number), 6), 700).asked_us is None, "an answer to the token before gives none"


def c7():
    one = controller(window=seal.MQTT_WINDOW)
    for number, message in enumerate((STRIKE, status(), HELLO, outcome(75), outcome(None))):
        taken = one.take(up(message, 10 + number), 400)
        assert taken.message == message
        assert taken.asked_us is taken.ended is None


def c8():
    one = controller()
    sent, waits = order(expires_us=1000, handle=1), order(expires_us=900, handle=2)
    one.post(sent)
    one.post(waits)
    assert one.pull(10)
    assert one.next_deadline() == 900
    assert one.expire(899) == []
    assert [(e.order, e.verdict) for e in one.expire(900)] == [(waits, "expired")]
    assert one.expire(999) == []
    assert one.pull(1000) is None, "nothing is sent once its time has passed"
    assert [(e.order, e.verdict, e.why) for e in one.expire(1000)] == [(sent, "lost", "sent 1 times without an answer")]
    assert one.waiting == 0
    assert one.next_deadline() is None
    assert one.take(up(outcome(75), 4), 1100).ended is None, "an answer after the end changes no outcome"
    one.post(order(expires_us=2000))
    assert one.pull(2000) is None, "nor is it begun then"
    assert [e.verdict for e in one.expire(2000)] == ["expired"]


def c9():
    one = controller()
    assert one.take(up(status(), 4), 1) is not None
    for counter in (0, 1, 3, 4):
        assert one.take(up(status(), counter), 2) is None
    assert one.lost == {"replayed": 4}


def c10():
    wrong = seal.Sealer(ALL_OFF_KEY)
    for state in ("closed", "asking", "open"):
        one = controller(state)
        high = one.down_high
        assert one.take(up(counters(), 0xFFFF_FFFF, wrong), 2) is None
        assert one.take(up(counters(), 1, wrong), 2) is None, "the tag comes before the counter"
        assert (one.state, one.lost, one.down_high) == (state, {"bad-tag": 2}, high)


def c11():
    for down_high in (0xFFFF_FFFF, 0xFFFF_FFFF - seal.RESTART_JUMP):
        one = controller("asking")
        assert one.take(up(counters(down_high=down_high), 7), 200) is None
        assert (one.state, one.lost) == ("asking", {"counter-spent": 1})
    one = controller("asking")
    assert one.take(up(counters(down_high=0xFFFF_FFFE - seal.RESTART_JUMP), 7), 200).opened
    one.post(order())
    one.post(order())
    assert envelope.read(one.pull(300)).counter == 0xFFFF_FFFF
    one.take(up(outcome(0xFFFF_FFFF), 8), 400)
    assert one.pull(500) is None
    assert one.lost == {"counter-spent": 1}
    assert [e.verdict for e in one.expire(10_000)] == ["expired"]


def t1():
    one = target()
    taken = one.take(envelope.read(envelope.token(ADDRESS, 9)), 5)
    assert (taken.counter, taken.message, taken.reply) == (9, None, None)
    answer = envelope.read(one.answer(status(taken.counter)))
    assert (answer.form, answer.address, answer.counter) == (envelope.UP, ADDRESS, 1)
    assert SEALER.holds(answer)
    assert envelope.read(one.answer(STRIKE)).counter == 2


def t2():
    on_file: list[int] = []
    one = target(seen=seal.StepCounter(0, on_file.append))
    taken = one.take(down(QUIET, 7), 5)
    assert (taken.message, taken.counter, taken.reply) == (QUIET, 7, None)
    assert one.down_high == 7
    assert on_file == [7 + seal.COUNTER_STEP], "persisted ahead of what was taken"


def t3():
    one = target()
    one.take(down(QUIET, 7), 5)
    first = envelope.read(one.answer(outcome(7), 7))
    for number in range(3):
        again = one.take(down(QUIET, 7), 6)
        assert again.message is None
        env = envelope.read(again.reply)
        assert (env.body, env.counter) == (first.body, first.counter + number + 1), "said anew, under its own counter"
        one.answer(status(5), 0)
        assert SEALER.holds(env)
        first = envelope.read(one.take(down(QUIET, 7), 6).reply)
        first = envelope.Envelope(first.form, first.address, first.counter - number - 1, first.body, first.tag)
    assert not one.lost


def t4():
    one = target()
    for counter in (7, 8):
        one.take(down(QUIET, counter), 5)
        one.answer(outcome(counter), counter)
    for counter in (7, 3, 0):
        assert one.take(down(QUIET, counter), 6) is None
    assert one.lost == {"replayed": 3}
    fresh = target()
    fresh.take(down(QUIET, 7), 5)
    assert fresh.take(down(QUIET, 7), 6) is None, "again before it was answered: nothing to answer with"
    assert fresh.lost == {"replayed": 1}


def t5():
    one = target()
    ask = m.Ask(NONCE, int(m.What.COUNTERS))
    for _ in range(2):  # as often as it is asked
        taken = one.take(down(ask, 0, envelope.ASKED), 5)
        assert (taken.message, taken.counter) == (ask, 0)
    for env in (
        down(ask, 1, envelope.ASKED),
        down(GREETING, 0, envelope.ASKED),
        down(QUIET, 0, envelope.ASKED),
    ):
        assert one.take(env, 5) is None
    assert one.lost == {"wrong-form": 3}


def t6():
    all_off = seal.Sealer(ALL_OFF_KEY)
    one = target()
    for _ in range(2):
        taken = one.take(down(m.AllOff(4), 4, envelope.ALL_OFF, all_off), 5)
        assert (taken.message, taken.reply) == (m.AllOff(4), None)
    assert one.take(down(m.AllOff(4), 5, envelope.ALL_OFF, all_off), 5) is None
    assert one.take(down(QUIET, 4, envelope.ALL_OFF, all_off), 5) is None
    assert one.lost == {"wrong-form": 2}
    keyless = Session("target", ADDRESS, KEY)
    assert keyless.take(down(m.AllOff(4), 4, envelope.ALL_OFF, all_off), 5) is None
    assert keyless.lost == {"no-all-off-key": 1}


def t7():
    all_off = seal.Sealer(ALL_OFF_KEY)
    one = target()
    for env in (
        down(QUIET, 7, envelope.DOWN, all_off),  # the all-off key can do nothing else
        down(m.AllOff(4), 7, envelope.DOWN, all_off),
        down(m.AllOff(4), 4, envelope.ALL_OFF, SEALER),
        down(m.Ask(NONCE, int(m.What.COUNTERS)), 0, envelope.ASKED, all_off),
    ):
        assert one.take(env, 5) is None
    assert (one.lost, one.down_high) == ({"bad-tag": 4}, 0)


ROWS = {f.__name__.upper(): f for f in (c1, c2, c3, c4, c5, c6, c7, c8, c9, c10, c11, t1, t2, t3, t4, t5, t6, t7)}


def test_every_row_of_the_docstring_has_its_test():
    assert re.findall(r"^    ([CT]\d+) ", session.__doc__, re.MULTILINE) == list(ROWS)


@pytest.mark.parametrize("row", ROWS)
def test_row(row):
    ROWS[row]()


# ---- what belongs to no row -------------------------------------------------------------------------------------


@pytest.mark.parametrize("form", [*range(0x10, 0x43)])
def test_forms_of_the_other_end_are_counted(form):
    env = envelope.Envelope(form, ADDRESS, 1, b"x", bytes(8))
    mine = {envelope.TOKEN, envelope.DOWN, envelope.ASKED, envelope.ALL_OFF}
    for one, forms in ((controller(), {envelope.UP}), (target(), mine)):
        if form not in forms:
            assert one.take(env, 1) is None
            assert one.lost == {"wrong-form": 1}


@pytest.mark.parametrize("cls", [*m.DOWN, *m.UP, *m.UNSEALED])
def test_only_the_kinds_of_its_direction_are_taken(cls):
    """The key is right; but no target orders the controller, and none takes a status for an order."""
    from made import widest

    message = widest(cls)
    for one, env, kinds in ((controller(), up(message, 9), m.UP), (target(), down(message, 9), m.DOWN)):
        taken = one.take(env, 1)
        if cls in kinds:
            assert taken.message == message
        else:
            assert taken is None
            assert one.lost == {"wrong-kind": 1}


def test_an_order_is_confirmed_by_an_outcome_only():
    report = m.Report(1, 5, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 75)
    for asked, said in ((QUIET, HELLO), (QUIET, report), (m.Ask(NONCE, int(m.What.REPORT)), HELLO), (GREETING, report)):
        one = controller()
        one.post(order(asked))
        one.pull(1)
        assert one.take(up(said, 9), 2).ended is None
        assert (one.waiting, one.lost) == (1, {"wrong-answer": 1})


def test_malformed_bodies_under_the_right_key_are_counted_by_kind():
    one = target()
    for number, body in enumerate((b"\xff", b"\xa1\x00\x80", b"\xa1\x00\x04", b"\x05"), 1):
        assert one.take(envelope.read(SEALER.seal(envelope.DOWN, ADDRESS, number, body)), 1) is None
    assert one.lost == {"not-cbor": 1, "unknown-kind": 1, "missing-key": 1, "no-map": 1}


def test_a_resent_order_gives_no_sample():
    one = controller()
    one.post(order())
    assert one.pull(10) == one.pull(20)
    assert one.take(up(outcome(75), 4), 30).asked_us is None


def test_resends_over_radio_are_spaced_out():
    one = controller(resend_first_us=400_000)
    one.post(order(expires_us=60_000_000))
    sent = [now for now in range(0, 30_000_000, 100_000) if one.pull(now)]
    gaps = [b - a for a, b in itertools.pairwise(sent)]
    assert gaps[:5] == [400_000, 800_000, 1_600_000, 3_200_000, session.RESEND_MAX_US]
    assert set(gaps[4:]) == {session.RESEND_MAX_US}
    assert one.next_deadline() == sent[-1] + session.RESEND_MAX_US


def test_drop_and_overtake():
    one = controller()
    under_way, waits = order(handle=1), order(handle=2)
    one.post(under_way)
    one.post(waits)
    one.pull(1)
    all_off = order(m.AllOff(5), handle=3)
    ended = one.overtake(all_off)
    assert [(e.order, e.verdict, e.why) for e in ended] == [
        (under_way, "lost", "all off outranks it"),
        (waits, "expired", "all off outranks it"),
    ]
    env = envelope.read(one.pull(2))
    assert (m.decode(env.body), env.counter) == (m.AllOff(5), 76)
    assert one.take(up(outcome(75), 4), 3).ended is None, "what was overtaken has its outcome already"
    assert one.take(up(outcome(76), 5), 3).ended.order is all_off
    one.post(order(handle=4))
    assert [(e.order.handle, e.verdict, e.why) for e in one.drop("target taken out")] == [
        (4, "expired", "target taken out")
    ]
    assert one.waiting == 0


def test_opening_again_never_sets_the_counter_back():
    """A hundred orders went out unheard; the target still says 10. What was used stays used."""
    one = controller()
    for _ in range(100):
        one.post(order(expires_us=5))
        one.pull(1)
        one.expire(5)
    one.open(b"nonce  2", 10)
    assert one.take(up(counters(b"nonce  2"), 4), 20).opened
    one.post(order())
    assert envelope.read(one.pull(30)).counter == 74 + 100 + 1


def test_after_a_power_cut_the_target_takes_nothing_twice_and_opening_goes_on():
    on_file = {"used": 0, "seen": 0}

    def power_on() -> Session:
        counters = {
            name: seal.StepCounter(on_file[name], lambda v, name=name: on_file.update({name: v})) for name in on_file
        }
        return target(**counters)

    one, theirs = controller("closed"), power_on()
    carried_out = []
    for life in range(3):
        nonce = b"nonce %2d" % life
        asked = theirs.take(envelope.read(one.open(nonce, 1)), 1)
        answer = m.Counters(life, 0, 0, 0, 0, asked.message.nonce, 1, theirs.down_high)
        assert one.take(envelope.read(theirs.answer(answer)), 2).opened
        for handle in range(70):
            one.post(order(handle=handle))
            payload = one.pull(3)
            taken = theirs.take(envelope.read(payload), 4)
            carried_out.append(taken.counter)
            reply = theirs.answer(outcome(taken.counter), taken.counter)
            assert one.take(envelope.read(reply), 5).ended.verdict == "done"
        theirs = power_on()
        assert theirs.take(envelope.read(payload), 6) is None, "the order before the cut is not carried out again"
        assert theirs.lost == {"replayed": 1}
    assert len(set(carried_out)) == len(carried_out) == 210


# ---- two ends back to back --------------------------------------------------------------------------------------

wire = st.sampled_from(["pass", "pass", "pass", "lose", "twice", "hold", "garble"])
moves = st.lists(
    st.one_of(
        st.tuples(st.just("post"), st.integers(1, 30)),
        st.tuples(st.just("turn"), wire),
        st.tuples(st.just("deliver"), wire),
        st.tuples(st.just("release"), st.integers(0, 5)),
        st.tuples(st.just("time"), st.integers(1, 8)),
        st.tuples(st.just("open"), wire),
        st.tuples(st.just("cut"), st.just(0)),
        st.tuples(st.just("junk"), st.binary(min_size=1, max_size=40)),
        st.tuples(st.just("all off"), st.just(0)),
    ),
    max_size=120,
)


class Pair:
    """A controller and a target with a wire between that loses, doubles, holds back, reorders and garbles."""

    def __init__(self, window: int) -> None:
        self.window = window
        self.now = 1
        self.on_file = {"used": 0, "seen": 0}
        self.mine = Session("controller", ADDRESS, KEY, window=window)
        self.power_on()
        self.nonces = 0
        self.posted: dict[int, Posted] = {}
        self.ended: Counter[int] = Counter()
        self.verdicts: dict[int, str] = {}
        self.carried_out: Counter[int] = Counter()
        self.going_down: list[bytes] = []
        self.going_up: list[bytes] = []
        self.held: list[tuple[list[bytes], bytes]] = []

    def power_on(self) -> None:
        self.theirs = target(
            window=self.window,
            **{
                name: seal.StepCounter(self.on_file[name], lambda v, name=name: self.on_file.update({name: v}))
                for name in self.on_file
            },
        )

    def put(self, line: list[bytes], payload: bytes, how: str) -> None:
        if how == "garble":
            payload = payload[:-1] + bytes([payload[-1] ^ 1])
        if how == "hold":
            self.held.append((line, payload))
        elif how != "lose":
            line += [payload] * (2 if how == "twice" else 1)

    def end(self, ended: list[session.Ended]) -> None:
        for one in ended:
            self.ended[one.order.handle] += 1
            self.verdicts[one.order.handle] = one.verdict

    def move(self, what: str, how) -> None:
        match what:
            case "post" | "all off":
                handle = len(self.posted) + 1
                message = m.AllOff(handle) if what == "all off" else m.Quiet(handle, 0, 0)
                posted = Posted(handle, message, self.now + (how or 50))
                if what == "all off":
                    self.posted[handle] = posted
                    self.end(self.mine.overtake(posted))
                elif self.mine.post(posted):
                    self.posted[handle] = posted
            case "turn":
                payload = self.mine.pull(self.now)
                under_way = self.mine._under_way
                assert payload is None or self.now < under_way.expires_us
                self.put(self.going_down, payload or self.mine.token(self.now), how)
            case "deliver":
                lines = [line for line in (self.going_down, self.going_up) if line]
                if lines:
                    self.deliver(lines[self.now % len(lines)], how)
            case "release":
                if self.held:
                    line, payload = self.held.pop(how % len(self.held))
                    line.append(payload)
            case "time":
                self.now += how
                self.end(self.mine.expire(self.now))
            case "open":
                self.nonces += 1
                self.put(self.going_down, self.mine.open(b"%8d" % self.nonces, self.now), how)
            case "cut":
                self.power_on()
            case "junk":
                (self.going_down if len(how) % 2 else self.going_up).append(how)

    def deliver(self, line: list[bytes], how: str) -> None:
        env = envelope.read(line.pop(0))
        if env is None:
            return
        if line is self.going_up:
            taken = self.mine.take(env, self.now)
            if taken is not None and taken.ended is not None:
                self.end([taken.ended])
            return
        taken = self.theirs.take(env, self.now)
        if taken is None:
            return
        if taken.reply is not None:
            reply = taken.reply
        elif taken.message is None:
            reply = self.theirs.answer(status(taken.counter))
        elif isinstance(taken.message, m.Ask):
            reply = self.theirs.answer(counters(taken.message.nonce, self.theirs.down_high))
        else:
            handle = taken.message.epoch if isinstance(taken.message, m.AllOff) else taken.message.ticks
            self.carried_out[handle] += 1
            reply = self.theirs.answer(outcome(taken.counter), taken.counter)
        self.put(self.going_up, reply, how)


@pytest.mark.parametrize("window", [seal.STRICT, seal.MQTT_WINDOW])
@settings(max_examples=250, deadline=None)
@given(moves=moves)
def test_back_to_back(window, moves):
    """Exactly one outcome for every order; carried out at most once; done was carried out, expired was never sent."""
    pair = Pair(window)
    for what, how in [("open", "pass"), ("deliver", "pass"), ("deliver", "pass"), *moves]:
        pair.move(what, how)
    pair.now += 1000
    pair.end(pair.mine.expire(pair.now))
    assert pair.ended == dict.fromkeys(pair.posted, 1)
    assert pair.mine.waiting == 0
    assert all(times == 1 for times in pair.carried_out.values())
    for handle, verdict in pair.verdicts.items():
        assert verdict in ("done", "lost", "expired")
        if verdict == "done":
            assert pair.carried_out[handle] == 1
        if verdict == "expired":
            assert pair.posted[handle].sends == pair.carried_out[handle] == 0


def test_back_to_back_on_a_good_wire_all_is_done():
    """What the property above does not say: that anything gets through at all."""
    pair = Pair(seal.STRICT)
    for what, how in [("open", "pass"), ("deliver", "pass"), ("deliver", "pass")]:
        pair.move(what, how)
    for _ in range(40):
        pair.move("post", 30)
        pair.move("turn", "pass")
        pair.move("deliver", "twice")
        while pair.going_up:
            pair.deliver(pair.going_up, "pass")
        pair.move("time", 1)
    assert set(pair.verdicts.values()) == {"done"}
    assert len(pair.verdicts) == 40
    assert pair.mine.lost == {"replayed": 40} or not pair.mine.lost


@given(st.lists(st.binary(min_size=1, max_size=123), max_size=20), st.lists(anything, max_size=10))
def test_junk_never_raises(payloads, spoken):
    """Any bytes in any envelope, sealed rightly or not, to either end in any state."""
    ends = [controller(state) for state in ("closed", "asking", "open")] + [target()]
    for payload in payloads:
        for form in (None, *envelope.SEALED, *envelope.UNSEALED, envelope.TOKEN):
            env = envelope.read(payload if form is None else bytes([form]) + payload[1:])
            for one in ends:
                assert env is None or one.take(env, 1) is None or env.form == envelope.TOKEN
    for number, message in enumerate(spoken, 1):
        for form in envelope.SEALED:
            for key in (KEY, ALL_OFF_KEY):
                body = messages.encode(message)
                env = envelope.read(seal.Sealer(key).seal(form, ADDRESS, number, body))
                for one in ends:
                    one.take(env, 1)

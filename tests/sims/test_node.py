"""A simulated target: the gate's truth, orders, strikes over power cuts, faults that show."""

from dataclasses import replace

import pytest
from mountain import SITE_KEY, Mountain, mountain

from fieldctl.wire import adding, messages, seal
from fieldctl.wire.frames import encode
from fieldctl.wire.messages import Flags, Reason, Result, What, Why
from fieldctl.wire.session import Posted, Session
from sims.hub import bytes_us
from sims.node import LOG_MAX
from sims.storage import Storage

KNOCK = (120, 500, 4000, 300, 5, 0, 0)


def flags(m: Mountain) -> Flags:
    status = m.token(m.nodes[0])
    assert isinstance(status, messages.Status | messages.Strike)
    return Flags(status.flags)


# ---- the gate ---------------------------------------------------------------------------------------------------


def test_it_sends_from_the_ordered_tick_to_the_ordered_tick_and_then_is_quiet() -> None:
    m = mountain(1)
    n = m.nodes[0]
    now = n.ticks(m.world.now_us())
    assert m.grant(n).result == Result.DONE
    start, end = n.true_us(n.gate.held.from_), n.true_us(n.gate.held.until)
    assert flags(m) == Flags.GRANTED
    m.go(start - m.world.now_us() + 1000)
    assert flags(m) == Flags.GRANTED | Flags.GATE_ON
    m.go(5_000_000)
    assert flags(m) == Flags(0)
    n.settle()
    assert n.sent == [(start, end)]
    assert n.past_grant_us == 0
    assert n.ticks(start) == now + 500_000
    assert n.ticks(end) == now + 3_000_000


def test_the_truth_is_in_true_time_for_a_clock_that_runs_off() -> None:
    m = mountain(1, base_ppm=140.0)
    n = m.nodes[0]
    m.grant(n, until_s=100.5, limit_s=100.5)
    m.go(200_000_000)
    n.settle()
    [(start, end)] = n.sent
    assert 100_000_000 - 14_400 <= end - start <= 100_000_000 - 13_600  # 136 to 144 ppm of 100 s


def test_renewals_stop_at_the_limit() -> None:
    m = mountain(1)
    n = m.nodes[0]
    m.grant(n, until_s=2.0, limit_s=5.0)
    held = n.gate.held
    assert held is not None
    renew = messages.Renew(n.storage.boot, 1, 0, 7, held.limit)
    assert m.order(n, renew).result == Result.DONE
    beyond = m.order(n, replace(renew, until=held.limit + 1))
    assert (beyond.result, beyond.reason) == (Result.REFUSED, Reason.LIMIT)
    m.go(10_000_000)
    n.settle()
    assert n.sent[0][1] == n.true_us(held.limit)
    assert n.past_grant_us == 0


@pytest.mark.parametrize("how", ["power", "watchdog", "dead"])
def test_a_reboot_is_quiet_and_says_why(how: str) -> None:
    m = mountain(1)
    n = m.nodes[0]
    m.grant(n, from_s=0.1, until_s=60.0)
    m.go(1_000_000)
    now = m.world.now_us()
    if how == "dead":
        n.die()
    else:
        n.reboot(Why.WATCHDOG if how == "watchdog" else Why.POWER)
    m.go(2_000_000)
    n.settle()
    assert n.sent[-1][1] == now
    assert n.past_grant_us <= 0
    if how == "dead":
        assert m.token(n) is None
        return
    m.open(n)
    greeting = m.order(n, messages.Ask(bytes(8), int(What.GREETING)))
    assert greeting.boot == 2
    assert greeting.why == (Why.WATCHDOG if how == "watchdog" else Why.POWER)
    assert flags(m) == Flags(0)


def test_all_off_to_everybody_ends_sending_at_the_last_byte_and_is_latched_over_a_reboot() -> None:
    m = mountain(3)
    for n in m.nodes:
        m.grant(n, from_s=0.1, until_s=60.0)
    m.go(1_000_000)
    before = m.world.now_us()
    m.all_off(5)
    for n in m.nodes:
        n.settle()
        assert before < n.sent[-1][1] < before + 10_000
        assert n.past_grant_us <= 0
        n.reboot(Why.POWER)
    m.go(1_000_000)
    m.open(m.nodes[0])
    assert flags(m) == Flags.ALL_OFF
    late = m.grant(m.nodes[0], epoch=4)
    assert (late.result, late.reason) == (Result.REFUSED, Reason.OLDER_EPOCH)
    assert m.grant(m.nodes[0], epoch=5).result == Result.DONE
    assert not flags(m) & Flags.ALL_OFF
    m.all_off(5)  # a recording of an all off that was released
    assert flags(m) & Flags.GRANTED


def test_all_off_as_an_order_is_answered_with_the_gate_read_back() -> None:
    m = mountain(1)
    n = m.nodes[0]
    m.grant(n, from_s=0.0, until_s=60.0)
    m.go(1_000_000)
    answer = m.order(n, messages.AllOff(3))
    assert (answer.result, answer.epoch, answer.flags) == (Result.DONE, 3, Flags.ALL_OFF)


def test_dropping_out_is_in_the_truth() -> None:
    m = mountain(1, base_ppm=0.0)
    n = m.nodes[0]
    m.grant(n, from_s=0.1, until_s=10.1, drop_on=20, drop_off=10)
    m.go(4_000_000)
    n.settle()  # in the middle changes nothing
    m.go(10_000_000)
    n.settle()
    assert [round((end - start) / 1e5) for start, end in n.sent] == [20, 20, 20, 10]
    assert n.past_grant_us <= 0


def test_a_stuck_gate_shows_and_is_past_its_grant() -> None:
    m = mountain(1)
    n = m.nodes[0]
    n.break_gate(stuck=True)
    m.go(1_000_000)
    assert flags(m) == Flags.GATE_ON
    answer = m.order(n, messages.AllOff(1))
    assert answer.flags & Flags.GATE_ON
    refused = m.grant(n, epoch=1)
    assert (refused.result, refused.reason) == (Result.REFUSED, Reason.GATE_STUCK)
    n.settle()
    assert n.past_grant_us > 1_000_000
    assert len(n.sent) == 1


def test_a_gate_that_lies_reads_off_and_sends() -> None:
    m = mountain(1)
    n = m.nodes[0]
    n.break_gate(lies=True)
    m.go(1_000_000)
    assert flags(m) == Flags(0)
    n.settle()
    assert n.past_grant_us > 0
    start, end = n.sent[-1]
    assert end - start > 1_000_000
    m.grant(n, from_s=0.1, until_s=5.0)
    m.go(1_000_000)
    assert flags(m) == Flags.GRANTED


def test_permission_ends_with_a_reboot_and_is_not_renewed_after_its_end() -> None:
    """Planted bugs: a gate that goes on after a power cut, and one that starts again by a renewal."""
    m = mountain(1)
    n = m.nodes[0]
    m.grant(n, from_s=0.1, until_s=60.0)
    held = n.gate.held
    m.go(1_000_000)
    n.reboot(Why.POWER)
    m.go(1_000_000)
    n.gate.held = held
    m.go(3_000_000)
    n.settle()
    assert n.past_grant_us > 0

    m = mountain(1)
    n = m.nodes[0]
    m.grant(n, from_s=0.1, until_s=1.0)
    held = n.gate.held
    assert held is not None
    m.go(2_000_000)
    n.settle()
    assert n.past_grant_us == 0
    n.gate.renew(held.limit, n.crystal, m.world.now_us())
    n.gate.held = replace(held, until=held.limit)
    m.go(1_000_000)
    n.settle()
    assert n.past_grant_us > 0


def test_permission_is_told_apart_from_what_the_gate_does() -> None:
    """A planted bug: an all off that leaves the gate open has to show in past_grant_us."""
    m = mountain(1)
    n = m.nodes[0]
    m.grant(n, from_s=0.1, until_s=60.0)
    m.go(1_000_000)
    held = n.gate.held
    m.all_off(1)
    n.gate.held = held
    m.go(500_000)
    n.settle()
    assert n.past_grant_us > 400_000


# ---- orders -----------------------------------------------------------------------------------------------------


def test_a_retained_order_is_refused_and_a_retained_all_off_obeyed() -> None:
    m = mountain(1)
    n = m.nodes[0]
    session = m.sessions[n.address]
    now = n.ticks(m.world.now_us())
    grant = messages.Grant(1, 1, 0, 7, now + 500_000, now + 900_000, now + 900_000, 1000, 100)
    session.post(Posted(1, grant, m.world.now_us() + 10_000_000))
    payload = session.pull(m.world.now_us())
    assert payload is not None
    n.hear(payload, m.world.now_us(), retained=True)
    m.go()
    assert m.ended[-1].verdict == "refused"
    assert m.ended[-1].why == "it arrived as a retained message"
    assert n.gate.held is None


def test_a_late_order_says_how_late_and_starts_nothing() -> None:
    m = mountain(1)
    n = m.nodes[0]
    m.go(1_000_000)
    late = m.grant(n, from_s=-0.25)
    assert late.result == Result.LATE
    assert 250_000 < late.late < 280_000
    m.go(2_000_000)
    n.settle()
    assert n.sent == []


def test_a_repeated_order_is_answered_again_and_carried_out_once() -> None:
    m = mountain(1)
    n = m.nodes[0]
    session = m.sessions[n.address]
    session.post(Posted(1, messages.Arm(1, 1, True, 0), m.world.now_us() + 10_000_000))
    payload = session.pull(m.world.now_us())
    assert payload is not None
    m.hub.write(encode(payload))
    m.go(bytes_of(payload))
    writes = n.storage.writes
    m.hub.write(encode(payload))
    m.go()
    assert n.storage.writes == writes
    assert m.ended[-1].verdict == "done"


def bytes_of(payload: bytes) -> int:
    return bytes_us(len(encode(payload))) + 20_000


def test_an_order_from_before_a_power_cut_is_not_taken_again() -> None:
    m = mountain(1)
    n = m.nodes[0]
    session = m.sessions[n.address]
    session.post(Posted(1, messages.Ask(bytes(8), int(What.REPORT)), m.world.now_us() + 10_000_000))
    recorded = session.pull(m.world.now_us())
    assert recorded is not None
    m.ask(recorded)
    n.reboot(Why.POWER)
    m.go(1_000_000)
    m.heard.clear()
    m.ask(recorded)
    assert m.heard == []


def test_report_tells_of_the_cell_and_a_weak_one_sends_nothing() -> None:
    m = mountain(1)
    n = m.nodes[0]
    m.go(3600 * 1_000_000)
    report = m.order(n, messages.Ask(bytes(8), int(What.REPORT)))
    assert report.charge == pytest.approx(3 * 3600, rel=0.01)
    assert report.rest_mv > report.load_mv > 3000
    assert report.kelvin10 == 2612
    n.cell.use(10**13, 0)
    assert flags(m) == Flags.BATTERY_LOW
    refused = m.grant(n)
    assert (refused.result, refused.reason) == (Result.REFUSED, Reason.BATTERY)


def test_sending_costs_charge_however_often_it_is_looked_at() -> None:
    m = mountain(1)
    n = m.nodes[0]
    m.grant(n, from_s=0.1, until_s=100.1, limit_s=200.0)
    for _ in range(100):
        m.go(1_970_000)
        n.settle()
        m.token(n)
    assert n.cell.charge_mas == pytest.approx(200 * 3 + 100 * 12, rel=0.01)


def test_a_broken_storage_refuses_and_still_falls_quiet() -> None:
    m = mountain(1)
    n = m.nodes[0]
    m.grant(n, from_s=0.1, until_s=60.0)
    m.go(1_000_000)
    n.storage.broken = True
    answer = m.order(n, messages.AllOff(9))
    assert (answer.result, answer.reason) == (Result.REFUSED, Reason.STORAGE)
    n.settle()
    assert n.gate.held is None
    assert n.past_grant_us <= 0


def test_a_sleeper_is_deaf_between_its_waking_times() -> None:
    m = mountain(1)
    n = m.nodes[0]
    asleep = messages.Sleep(1, 1, n.ticks(m.world.now_us()) + 60_000_000, 10)
    assert m.order(n, asleep).flags & Flags.ASLEEP_SOON
    m.go(1_000_000)
    assert m.token(n) is None
    heard = 0
    for _ in range(60):
        m.go(150_000)
        heard += m.token(n) is not None
    assert heard > 1
    assert not flags(m) & Flags.ASLEEP_SOON


# ---- keys -------------------------------------------------------------------------------------------------------


def test_keys_are_rotated_and_a_lost_answer_is_repeated_under_the_old_key() -> None:
    m = mountain(1)
    n = m.nodes[0]
    session = m.sessions[n.address]
    old = seal.derive_keys(SITE_KEY, n.address, 1)
    new = seal.derive_keys(SITE_KEY, n.address, 2)
    session.post(Posted(1, adding.make_rekey(old.own, bytes(8), new), m.world.now_us() + 10_000_000))
    payload = session.pull(m.world.now_us())
    assert payload is not None
    n.hear(payload, m.world.now_us())
    n.power_off()  # before the answer was out
    m.go(1_000)
    n.power_on(Why.POWER)
    assert n.storage.keys == new
    assert n.storage.keys_before == old
    n.hear(payload, m.world.now_us())  # after the reboot it is an old counter: nobody answers
    m.go()
    assert m.ended == []
    m.sessions[n.address] = Session("controller", n.address, new.own)
    counters = m.ask(m.sessions[n.address].open(bytes(8), m.world.now_us()))
    assert isinstance(counters, messages.Counters)
    assert counters.key_version == 2
    assert m.token(n) is not None
    m.arm(n)
    assert n.storage.keys_before is None


def test_keys_are_rotated_and_the_answer_comes_under_the_old_key() -> None:
    m = mountain(1)
    n = m.nodes[0]
    old = seal.derive_keys(SITE_KEY, n.address, 1)
    answer = m.order(n, adding.make_rekey(old.own, bytes(8), seal.derive_keys(SITE_KEY, n.address, 2)))
    assert answer.result == Result.DONE
    assert n.storage.keys is not None
    assert n.storage.keys.version == 2
    m.heard.clear()
    m.arm(n)  # a fresh order under the old key
    assert m.heard == []
    assert not n.armed


def test_who_leaves_forgets_its_keys_and_answers_hails_again() -> None:
    m = mountain(1)
    n = m.nodes[0]
    assert m.order(n, messages.Leave(1, 1)).result == Result.DONE
    assert n.storage.keys is None
    n.reboot(Why.POWER)
    m.go(1_000_000)
    assert m.token(n) is None


# ---- strikes ----------------------------------------------------------------------------------------------------


def collect(m: Mountain, into: dict[tuple[int, int], messages.Strike]) -> None:
    """Ask until nothing is pending, as a controller does: commit, then acknowledge."""
    n = m.nodes[0]
    for _ in range(200):
        said = m.token(n)
        if said is None:
            m.go(500_000)
            m.open(n)
        elif isinstance(said, messages.Strike):
            key = (said.strike_boot, said.number)
            known = into.setdefault(key, said)
            assert (known.strike_ticks, known.features) == (said.strike_ticks, said.features)
            m.order(n, messages.Ack(*key))
        else:
            return
    raise AssertionError("it never came to an end")


def test_a_strike_is_told_until_it_is_acknowledged_and_only_while_armed() -> None:
    m = mountain(1)
    n = m.nodes[0]
    assert n.strike(KNOCK) is None
    assert n.unnoticed == 1
    m.arm(n)
    at = m.world.now_us()
    assert n.strike(KNOCK) == (1, 1)
    assert n.strike(KNOCK) == (1, 2)
    for _ in range(2):
        said = m.token(n)
        assert isinstance(said, messages.Strike)
        assert (said.number, said.pending, said.strike_ticks) == (1, 2, n.ticks(at))
        assert said.features == KNOCK
    m.order(n, messages.Ack(1, 1))
    said = m.token(n)
    assert isinstance(said, messages.Strike)
    assert said.number == 2
    m.order(n, messages.Ack(1, 2))
    assert flags(m) == Flags.ARMED


def test_a_full_log_counts_what_it_dropped() -> None:
    m = mountain(1)
    n = m.nodes[0]
    m.arm(n)
    for _ in range(LOG_MAX + 3):
        n.strike(KNOCK)
    said = m.token(n)
    assert isinstance(said, messages.Strike)
    assert (said.pending, said.dropped) == (LOG_MAX, 3)
    assert len(n.made) == LOG_MAX
    into: dict[tuple[int, int], messages.Strike] = {}
    collect(m, into)
    assert len(into) == LOG_MAX


def story(m: Mountain, into: dict[tuple[int, int], messages.Strike]) -> None:
    """An hour in the life of a target; every step may fail, and is then left out."""
    n = m.nodes[0]
    for i in range(6):
        if m.token(n) is None:
            m.go(500_000)
            m.open(n)
        m.arm(n)
        n.strike((100 + i, *KNOCK[1:]))
        m.grant(n, from_s=0.05, until_s=0.5, limit_s=1.0, epoch=max(m.epoch, n.storage.epoch))
        n.strike((200 + i, *KNOCK[1:]))
        said = m.token(n)
        if isinstance(said, messages.Strike):
            key = (said.strike_boot, said.number)
            assert into.setdefault(key, said).features == said.features
            m.order(n, messages.Ack(*key))
        if i == 3:
            m.all_off(1)
    collect(m, into)


def writes_of_the_story() -> int:
    m = mountain(1)
    before = m.nodes[0].storage.writes
    story(m, {})
    return m.nodes[0].storage.writes - before


@pytest.mark.parametrize("before", [True, False])
def test_a_power_cut_at_every_write_loses_no_strike_and_doubles_none(before: bool) -> None:
    count = writes_of_the_story()
    assert count > 25
    for nth in range(1, count + 1):
        m = mountain(1)
        n = m.nodes[0]
        n.storage.cut_at_write(nth, before=before)
        into: dict[tuple[int, int], messages.Strike] = {}
        story(m, into)
        assert n.storage.boot > 1, f"write {nth} was never reached"
        assert sorted(into) == sorted((s.boot, s.number) for s in n.made), nth
        assert all(into[s.boot, s.number].features == s.features for s in n.made)
        assert n.pending == ()
        n.settle()
        assert n.past_grant_us <= 0
        assert n.storage.epoch == 1 or nth < count


def test_a_power_cut_while_booting_counts_the_boot_or_not_but_never_back() -> None:
    for before in (True, False):
        m = mountain(1)
        n = m.nodes[0]
        n.storage.cut_at_write(1, before=before)
        n.reboot(Why.POWER)
        m.go(2_000_000)
        assert n.on
        assert n.storage.boot == (2 if before else 3)
        assert isinstance(m.open(n), messages.Counters)


# ---- illnesses --------------------------------------------------------------------------------------------------


def test_a_clock_that_jumps_moves_its_ticks_and_the_end_of_its_grant() -> None:
    m = mountain(1)
    n = m.nodes[0]
    m.grant(n, from_s=0.1, until_s=60.0)
    m.go(1_000_000)
    before = n.ticks(m.world.now_us())
    n.jump_clock(40_000_000)
    assert n.ticks(m.world.now_us()) - before == pytest.approx(40_000_000, abs=1)
    m.go(60_000_000)
    n.settle()
    assert sum(end - start for start, end in n.sent) == pytest.approx(19_900_000, rel=0.001)
    assert n.past_grant_us <= 1
    n.jump_clock(-(10**12))
    assert n.ticks(m.world.now_us()) >= 0


def test_quiet_at_a_tick_to_come_shortens_the_grant() -> None:
    m = mountain(1)
    n = m.nodes[0]
    m.grant(n, from_s=0.1, until_s=60.0)
    end = n.ticks(m.world.now_us()) + 2_000_000
    assert m.order(n, messages.Quiet(end, 1, 7)).result == Result.DONE
    renewed = m.order(n, messages.Renew(1, 1, 0, 7, end + 1_000_000))
    assert renewed.reason == Reason.LIMIT
    m.go(10_000_000)
    n.settle()
    assert n.sent[0][1] == n.true_us(end)
    assert n.past_grant_us == 0


def test_a_target_that_answers_in_anothers_name_is_not_believed() -> None:
    m = mountain(2)
    liar, victim = m.nodes
    liar.faults.foreign_address = victim.address
    assert m.token(liar) is None
    assert m.sessions[victim.address].lost["bad-tag"] == 1


def test_repeated_numbers_show_as_two_strikes_under_one() -> None:
    m = mountain(1)
    n = m.nodes[0]
    m.arm(n)
    n.faults.repeats_numbers = True
    assert n.strike(KNOCK) == (1, 1)
    m.go(10_000)
    assert n.strike(KNOCK) == (1, 1)
    assert n.made[0].ticks != n.made[1].ticks


def test_junk_of_every_form_is_counted_and_never_an_error() -> None:
    m = mountain(1)
    n = m.nodes[0]
    rng = m.world.rng("junk")
    head = n.address.to_bytes(4, "big")
    for form in (0x00, 0x10, 0x20, 0x21, 0x22, 0x30, 0x40, 0x41, 0x42, 0xFF):
        for size in (0, 1, 4, 20, 100):
            n.hear(bytes([form]) + head + rng.randbytes(size), m.world.now_us())
            n.hear(bytes([form]) + b"\xff\xff\xff\xff" + rng.randbytes(size), m.world.now_us())
    m.go(1_000_000)
    n.settle()
    assert n.sent == []
    assert n.junk > 10
    assert m.token(n) is not None


def test_storage_is_told_when_a_hardware_id_is_wrong() -> None:
    with pytest.raises(AssertionError, match="8 bytes"):
        Storage(b"short", b"secret")

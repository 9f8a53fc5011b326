"""TickMap and TargetClock: what each call gives, by small numbers that can be followed by hand."""

import pytest

from fieldctl.clock import (
    BootWentBack,
    ClockEvidence,
    ClockJumped,
    ClockSample,
    ClockWandered,
    Exchange,
    ImpossibleAnswer,
    TargetClock,
    TickMap,
    restamp,
)
from fieldctl.clock.evidence import DRIFT_PPB, carry
from fieldctl.clock.mapping import PIECES_MAX
from fieldctl.clock.piece import NODES_CUT, NODES_MAX, Piece
from fieldctl.clock.target import BOOTS_MAX
from fieldctl.units import BootId, HostUs, NodeTicks

S = 1_000_000


def mqtt(sent: int, received: int, ticks: int, resent: bool = False) -> Exchange:
    return Exchange(HostUs(sent), HostUs(received), NodeTicks(ticks), 0, 0, byte_us=0.0, resent=resent)


def test_nothing_is_known_before_the_first_answer() -> None:
    clocks = TickMap()
    assert clocks.to_host(NodeTicks(5)) is None
    assert clocks.to_ticks(HostUs(5)) is None
    assert clocks.evidence(NodeTicks(5)) is None
    assert clocks.width_now(HostUs(5)) is None
    assert clocks.rate_ppb() is None
    assert not clocks.settled(10**12)


def test_known_wire_time_and_turnaround_are_taken_off() -> None:
    # 10 bytes out and 20 back at 100 µs, of which 98 % are sure: 980 µs and 1 960 µs; turnaround 500 µs (499.9 sure).
    exchange = Exchange(HostUs(1_000), HostUs(5_000), NodeTicks(77), 10, 20, byte_us=100.0, turnaround_us=500)
    assert exchange.interval_ns() == (1_000_000 + 980_000 - 1_001, 5_000_000 + 1_000 - 1_960_000 - 499_900)
    clocks = TickMap()
    assert clocks.add(exchange) is None
    assert clocks.to_host(NodeTicks(77)) == (2_260, 283)  # 1 978.999 … 2 541.1 and the length of a tick
    assert clocks.settled(283)
    assert not clocks.settled(282)


def test_a_second_answer_narrows_and_a_resent_one_does_not() -> None:
    clocks = TickMap()
    clocks.add(mqtt(1 * S, 1 * S + 100_000, 500))
    wide = clocks.to_host(NodeTicks(500))
    clocks.add(mqtt(1 * S + 60_000, 1 * S + 160_000, 100_500, resent=True))
    assert clocks.to_host(NodeTicks(500)) == wide
    assert clocks.resent == 1
    clocks.add(mqtt(1 * S + 160_000, 1 * S + 260_000, 100_500))  # 100 ms later both ways: the last 40 ms in common
    narrow = clocks.to_host(NodeTicks(500))
    assert wide is not None
    assert narrow is not None
    assert wide[1] in range(50_000, 50_010)
    assert narrow[1] in range(20_000, 20_020)
    assert clocks.exchanges == 2


def test_the_width_grows_with_silence_by_150_ppm() -> None:
    clocks = TickMap()
    clocks.add(mqtt(0, 1_000, 0))
    widths = [clocks.width_now(HostUs(s * S)) for s in (0, 60, 3_600)]
    assert widths[0] in range(500, 505)
    assert widths[1] in range(500 + 9_000, 505 + 9_004)
    assert widths[2] in range(500 + 540_000, 505 + 540_200)
    for s in (60, 3_600):  # and a stamp of a coming tick is as wide
        stamp = clocks.to_host(NodeTicks(s * S))
        assert stamp is not None
        assert abs(stamp[1] - widths[(60, 3_600).index(s) + 1]) <= 3  # type: ignore[operator]


def test_the_rate_is_narrowed_by_what_is_observed() -> None:
    clocks = TickMap()
    for s in range(600):  # a crystal that runs 80 ppm slow: a tick lasts 80 ppm longer
        clocks.add(mqtt(s * S, s * S + 400, round((s * S + 200) * (1 - 80e-6))))
    bounds = clocks.rate_ppb()
    assert bounds is not None
    assert bounds[0] <= 80_006 <= bounds[1]
    assert bounds[1] - bounds[0] < 40_000  # of 300 060 at first
    asleep = clocks.width_now(HostUs(660 * S))
    assert asleep is not None
    assert asleep < 1_800  # of 9 200 with ±150 ppm


def test_silence_forgets_the_rate_again() -> None:
    clocks = TickMap()
    for s in range(300):
        clocks.add(mqtt(s * S, s * S + 400, s * S))
    clocks.add(mqtt(4_000 * S, 4_000 * S + 400, 4_000 * S + 300_000))  # 81 ppm over the hour: allowed
    bounds = clocks.rate_ppb()
    assert bounds is not None
    assert bounds[1] - bounds[0] > 200_000


def test_a_rate_that_changes_too_fast_is_a_finding() -> None:
    clocks = TickMap()
    findings = []
    for s in range(400):
        ticks = s * S if s < 200 else s * S + (s - 200) * 140  # +140 ppm at once
        found = clocks.add(mqtt(s * S, s * S + 2_000, ticks))
        findings += [found] if found else []
    assert findings
    assert isinstance(findings[0], ClockJumped | ClockWandered)
    assert clocks.jumps + clocks.wanders == len(findings)


def test_a_crystal_beyond_the_drift_is_a_finding() -> None:
    clocks = TickMap()
    findings = []
    for s in range(100):
        found = clocks.add(mqtt(s * S, s * S + 2_000, round(s * S * (1 + 400e-6))))
        findings += [found] if found else []
    assert findings
    assert isinstance(findings[0], ClockJumped)
    assert findings[0].by_us > 0


def test_a_wander_beyond_the_allowance_names_how_much() -> None:
    piece = Piece(0, 0, 1_000)
    finding = None
    for s in range(1, 100):  # the interval is wide, so that only the mean rate over an old node can contradict
        finding = piece.take(s * S, s * S * 1_000, s * S * 1_000 + 1_000)
        assert finding is None
    piece.head = ClockSample(99 * S, 99 * S * 1_000, 99 * S * 1_000 + 1_000, 100_000, 120_000)
    finding = piece.take(100 * S, 100 * S * 1_000 - 10**6, 100 * S * 1_000 + 10**6)
    assert isinstance(finding, ClockWandered)
    assert 50_000 < finding.by_ppb < 100_000
    assert "ppm" in str(finding)


def test_what_contradicts_the_past_is_not_carried_back_into_it() -> None:
    """Only a clock that breaks the limits gets here; its history must stay intervals all the same."""
    piece = Piece(0, 0, 1_000)
    assert piece.take(S, S * 1_000, S * 1_000 + 1_000) is None
    piece.head = ClockSample(S, S * 1_000 + 200_000, S * 1_000 + 201_000, 0, 0)
    assert piece.take(2 * S, 2 * S * 1_000 + 190_000, 2 * S * 1_000 + 210_000) is None
    for tick in (0, S // 2, S, 3 * S // 2):
        assert all(sample.lo_ns <= sample.hi_ns for sample in piece.around(tick))
    evidence = ClockEvidence((piece.around(3 * S // 2),))  # between the two that contradict: the ± covers both
    at, plus_minus = restamp(evidence, NodeTicks(3 * S // 2))
    assert at - plus_minus <= 3 * S // 2 + 75  # what the first can reach with 150 ppm
    assert at + plus_minus >= 3 * S // 2 + 199


def test_a_jump_begins_a_new_piece_and_old_ticks_keep_the_old_one() -> None:
    clocks = TickMap()
    for s in range(5):
        clocks.add(mqtt(s * S, s * S + 1_000, s * S))
    old = clocks.to_host(NodeTicks(3 * S))
    found = clocks.add(mqtt(5 * S, 5 * S + 1_000, 65 * S))
    assert isinstance(found, ClockJumped)
    assert 60 * S - 1_000 - 61 * 150 - 10 < found.by_us < 60 * S  # less the width and 150 ppm of 61 s
    assert clocks.jumps == 1
    assert clocks.to_host(NodeTicks(3 * S)) == old
    new = clocks.to_host(NodeTicks(65 * S + 10))
    assert new is not None
    assert abs(new[0] - 5 * S) < 1_000
    leapt_over = clocks.to_host(NodeTicks(30 * S))
    assert leapt_over is not None
    assert leapt_over[1] > 20 * S  # no such tick was ever counted: the ± says so
    assert len(clocks.evidence(NodeTicks(30 * S)).pieces) == 2  # type: ignore[union-attr]


def test_a_tick_counted_twice_covers_both_times() -> None:
    clocks = TickMap()
    for s in range(10):
        clocks.add(mqtt(s * S, s * S + 1_000, s * S))
    found = clocks.add(mqtt(10 * S, 10 * S + 1_000, 7 * S))  # three seconds back
    assert isinstance(found, ClockJumped)
    assert -3_010_000 < found.by_us < -2_990_000
    assert "back" in str(found)
    stamp = clocks.to_host(NodeTicks(8 * S))
    assert stamp is not None
    assert stamp[0] - stamp[1] <= 8 * S
    assert stamp[0] + stamp[1] >= 11 * S
    assert stamp[1] < 1_600_000


def test_a_late_answer_is_checked_and_counted() -> None:
    clocks = TickMap()
    for s in (0, 1, 2, 4):
        clocks.add(mqtt(s * S, s * S + 1_000, s * S))
    assert clocks.add(mqtt(3 * S, 4 * S + 500_000, 3 * S)) is None
    assert clocks.late == 1
    assert isinstance(clocks.add(mqtt(3 * S, 3 * S + 1_000, 2 * S)), ClockJumped)


@pytest.mark.parametrize("ticks", [-1, (1 << 62) + 1, 2**64 - 1, 2**200])
def test_a_count_that_cannot_be_is_a_finding(ticks: int) -> None:
    clocks = TickMap()
    found = clocks.add(mqtt(0, 10, ticks))
    assert isinstance(found, ImpossibleAnswer)
    assert clocks.impossible == 1
    assert clocks.exchanges == 0


def test_the_largest_count_is_taken_and_a_leap_across_all_of_it_is_a_finding() -> None:
    clocks = TickMap()
    assert clocks.add(mqtt(0, 10, 1 << 62)) is None
    assert isinstance(clocks.add(mqtt(S, S + 10, 0)), ClockJumped)
    assert isinstance(clocks.add(mqtt(2 * S, 2 * S + 10, 1 << 62)), ClockJumped)


def test_an_answer_faster_than_its_bytes_is_a_finding() -> None:
    clocks = TickMap()
    found = clocks.add(Exchange(HostUs(0), HostUs(3_000), NodeTicks(9), 12, 40))
    assert isinstance(found, ImpossibleAnswer)
    assert "sooner" in str(found)
    assert clocks.to_host(NodeTicks(9)) is None


def test_pieces_are_bounded_and_ticks_of_forgotten_ones_are_not_claimed() -> None:
    clocks = TickMap()
    for jump in range(12):
        clocks.add(mqtt(jump * S, jump * S + 1_000, jump * 100 * S))
    assert clocks.jumps == 11
    assert len(clocks.evidence(NodeTicks(150 * S)).pieces) == PIECES_MAX  # type: ignore[union-attr]


def test_history_is_bounded_and_older_ticks_are_only_wider() -> None:
    clocks = TickMap()
    piece = None
    for s in range(3 * NODES_MAX):
        clocks.add(mqtt(s * S, s * S + 1_000, s * S))
        piece = clocks._piece
        assert piece is not None
        assert len(piece) <= NODES_MAX
    assert piece is not None
    assert len(piece) > NODES_MAX - NODES_CUT
    known, forgotten = clocks.to_host(NodeTicks((3 * NODES_MAX - 400) * S + 5)), clocks.to_host(NodeTicks(100 * S))
    assert known is not None
    assert forgotten is not None
    assert known[1] < 600
    assert abs(forgotten[0] - 100 * S) <= forgotten[1] < 1_700 * S * 160e-6


def test_a_past_tick_learns_from_the_answers_after_it() -> None:
    clocks = TickMap()
    for s in range(10):
        clocks.add(mqtt(s * S, s * S + 200_000, s * S + 100_000))
    before = clocks.to_host(NodeTicks(5 * S + 150_000))
    clocks.add(mqtt(10 * S + 99_000, 10 * S + 101_000, 10 * S + 100_000))
    after = clocks.to_host(NodeTicks(5 * S + 150_000))
    assert before is not None
    assert after is not None
    assert before[1] > 90_000
    assert after[1] < 1_000 + 5 * 151 + 10


@pytest.mark.parametrize("ahead_s", [-50, 0, 30, 3_600])
def test_an_order_is_as_narrow_as_a_stamp(ahead_s: int) -> None:
    clocks = TickMap()
    for s in range(100):
        clocks.add(mqtt(s * S, s * S + 400, 7 * S + round((s * S + 200) * (1 - 100e-6))))
    at = (100 + ahead_s) * S
    order = clocks.to_ticks(HostUs(at))
    assert order is not None
    assert abs(order[0] - (7 * S + round(at * (1 - 100e-6)))) <= order[1]
    stamp = clocks.to_host(order[0])
    assert stamp is not None
    assert abs(stamp[0] - at) <= 1
    assert order[1] <= stamp[1] * (1 + 151e-6) + 5


def test_evidence_is_plain_numbers_and_gives_the_same_stamp() -> None:
    clocks = TickMap()
    for s in range(20):
        clocks.add(mqtt(s * S, s * S + 20_000, s * S + 7_000))
    for ticks in (-5, 0, 6_999, 9 * S, 19 * S, 19 * S + 7_000, 400 * S):
        evidence = clocks.evidence(NodeTicks(ticks))
        assert evidence is not None
        ints = evidence.as_ints()
        assert all(type(i) is int for i in ints)
        assert len(ints) <= 14
        again = ClockEvidence.from_ints(ints)
        assert again == evidence
        assert restamp(again, NodeTicks(ticks)) == clocks.to_host(NodeTicks(ticks))


def test_evidence_keeps_the_limits_it_was_made_under() -> None:
    sample = ClockSample(0, 0, 1_000_000, -DRIFT_PPB, DRIFT_PPB)
    now = restamp(ClockEvidence(((sample,),)), NodeTicks(100 * S))
    then = restamp(ClockEvidence(((sample,),), drift_ppb=20_000), NodeTicks(100 * S))
    assert now[1] > then[1] > 2_000


@pytest.mark.parametrize(
    "ints", [(), (1, 2, 3), (2, 0, 0, 1, 0, 0, 0, 0, 0), (1, 0, 0, 1, 5), (1, 0, 0, 0), (1, 0, 0, -1)]
)
def test_broken_evidence_says_what_was_expected(ints: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match="clock evidence"):
        ClockEvidence.from_ints(ints)


def test_a_sample_carried_there_and_back_only_widens() -> None:
    sample = ClockSample(1_000 * S, 5 * S * 1_000, 5 * S * 1_000 + 1_000, 10_000, 30_000)
    for d in (-300 * S, -1, 0, 1, 300 * S):
        lo, hi = carry(sample, sample.tick + d)
        back = carry(ClockSample(sample.tick + d, lo, hi, -DRIFT_PPB, DRIFT_PPB), sample.tick)
        assert back[0] <= sample.lo_ns
        assert back[1] >= sample.hi_ns
        assert hi - lo >= 1_000


def test_each_boot_has_its_map_and_boots_only_rise() -> None:
    target = TargetClock()
    assert target.newest is None
    assert target.boots == ()
    assert target.add(BootId(4), mqtt(0, 1_000, 50 * S)) is None
    assert target.add(BootId(5), mqtt(9 * S, 9 * S + 1_000, 20)) is None
    assert target.boots == (5, 4)
    assert target.newest is target.of(BootId(5))
    found = target.add(BootId(4), mqtt(10 * S, 10 * S + 1_000, 60 * S))
    assert found == BootWentBack(BootId(4), BootId(5))
    assert "boot 4" in str(found)
    old, new = target.to_host(BootId(4), NodeTicks(50 * S)), target.to_host(BootId(5), NodeTicks(20))
    assert old is not None
    assert new is not None
    assert (old[0] // S, new[0] // S) == (0, 9)
    evidence = target.evidence(BootId(4), NodeTicks(50 * S))
    assert evidence is not None
    assert restamp(evidence, NodeTicks(50 * S)) == old
    assert target.to_host(BootId(3), NodeTicks(0)) is None
    assert target.evidence(BootId(3), NodeTicks(0)) is None


def test_boots_are_bounded() -> None:
    target = TargetClock()
    for boot in range(10):
        target.add(BootId(boot), mqtt(boot * S, boot * S + 10, 5))
    assert target.boots == (9, 8, 7, 6)
    assert len(target.boots) == BOOTS_MAX

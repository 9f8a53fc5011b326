"""The compiled core on the emulated board: it says who it is, keys as ordered, keeps what it must, and falls quiet."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from itertools import pairwise
from pathlib import Path
from random import Random

import pytest

from fieldctl.errors import TimedOut
from fieldctl.keying import OFF_MIN_MS, ON_MIN_MS, PERIOD_MAX_MS, PERIOD_MIN_MS, longest_on_ms
from fieldctl.strikes.features import StrikeFeatures
from fieldctl.wire import messages, seal
from fieldctl.wire.messages import Flags, Reason, Result, Status, Strike, Why
from sims.board import Board, build_image
from sims.board_bench import FAULT, HANG, HANG_DEAF, RESET, SAMPLE_US, Label
from sims.board_pad import probe
from sims.board_talk import BoardTalk
from sims.board_truth import monotonic_us

LABEL = Label(bytes.fromhex("696e76640a1b2c3d"), bytes(range(16)))
SITE_KEY = bytes(range(32))
S = 1_000_000
NOISE = 4.0


@asynccontextmanager
async def target(folder: Path, *, virtual: bool = False) -> AsyncIterator[tuple[Board, BoardTalk]]:
    """A board with keys, spoken to. In virtual time it is kept awake, which is slow, but while `passes` waits."""
    image = await build_image()
    async with Board(folder, LABEL, image, virtual=virtual, noise=round(NOISE * 16)) as board:
        board.bench["awake"] = virtual
        await board.power_on()
        talk = BoardTalk(board)
        await talk.add(seal.derive_keys(SITE_KEY, talk.address, 1))
        yield board, talk


async def passes(board: Board, us: int) -> None:
    """Time passes at the board, unless its power goes."""
    until = board.bench.ticks() + us
    board.bench["awake"] = 0
    await board.stands(lambda bench: bench.ticks() >= until or bench["cut_done"])
    board.bench["awake"] = int(board.virtual)


async def again(board: Board, talk: BoardTalk) -> None:
    """The power comes back."""
    await board.power_off()
    await board.power_on()
    await talk.open()


def grant(talk: BoardTalk, from_s: float, until_s: float, **changes: int) -> messages.Grant:
    given = {
        "boot": talk.boot,
        "generation": 1,
        "epoch": 0,
        "grant_id": 77,
        "from_": talk.ticks + round(from_s * S),
        "until": talk.ticks + round(until_s * S),
        "limit": talk.ticks + 600 * S,
        "period": 1000,
        "on": 100,
    }
    return messages.Grant(**{**given, **changes})


async def told(board: Board, talk: BoardTalk) -> Strike:
    """The next strike that it tells."""
    for _ in range(200):
        if isinstance(answer := await talk.token(), Strike):
            return answer
        await passes(board, 20_000)
    raise AssertionError("it tells of no strike")


async def strike(board: Board, seed: int = 1) -> int:
    """Strike its pad; the tick at which the blow begins."""
    samples, (first,) = probe(Random(seed), NOISE)
    begin = board.bench.ticks() + S  # in counted time a busy host lets it go fast
    begin -= begin % SAMPLE_US
    board.bench.play(samples, begin)
    return begin + SAMPLE_US * first


async def arm(board: Board, talk: BoardTalk) -> None:
    """Arm it, and give it the time to learn its noise."""
    outcome = await talk.order(messages.Arm(talk.boot, 1, True, 0))
    assert outcome.result == Result.DONE
    await passes(board, 2_500_000)


async def test_it_says_who_and_how_it_is(tmp_path: Path) -> None:
    async with target(tmp_path) as (board, talk):
        hello = await talk.greeting()
        assert hello.hardware == LABEL.hardware
        assert hello.why == Why.POWER
        assert hello.contract == messages.CONTRACT
        assert hello.boot == 1
        assert hello.key_version == 1
        report = await talk.report()
        assert (report.rest_mv, report.load_mv, report.kelvin10) == (3560, 3400, 2610)
        assert report.bad_frames == 0
        board.bench["load_mv"] = 2000
        await talk.order(messages.Ask(bytes(8), int(messages.What.REPORT)))
        refused = await talk.order(grant(talk, 1, 5))
        assert (refused.result, refused.reason) == (Result.REFUSED, Reason.BATTERY)


async def test_its_clock_does_not_drift_while_it_is_spoken_to(tmp_path: Path) -> None:
    """The hardware timer is read, so that no flood of interrupts can make it lose time."""
    async with target(tmp_path) as (board, talk):

        async def ahead() -> int:
            least = 1 << 60
            for _ in range(100):
                await talk.token()
                least = min(least, monotonic_us() - board.bench.ticks())
            return least

        before, begun = await ahead(), monotonic_us()
        for _ in range(800):
            await talk.token()
        after, took = await ahead(), monotonic_us() - begun
        assert board.bench["overruns"] == 0
    assert abs(after - before) < took * 150 / 1e6 + 100, f"{after - before} µs in {took / 1e6:.1f} s"


CORNERS = [(p, on) for p in (PERIOD_MIN_MS, 1000, PERIOD_MAX_MS) for on in (ON_MIN_MS, longest_on_ms(p))]
PERIODS = 20


async def test_it_keys_as_ordered_at_every_legal_corner(tmp_path: Path) -> None:
    """Twenty periods each, at the gate, in counted instructions: edges on their grid to 0.1 ms."""
    async with target(tmp_path, virtual=True) as (board, talk):
        for n, (period, on) in enumerate(CORNERS):
            await talk.token()
            head = board.bench["gate_head"]
            order = grant(talk, 30, 30 + PERIODS * period / 1000, period=period, on=on, grant_id=100 + n)
            outcome = await talk.order(order)
            assert outcome.result == Result.DONE, outcome
            await passes(board, order.until + S - talk.ticks)
            spans = [(a, b) for _, a, b in board.bench.gate_spans()[head:]]
            assert len(spans) == PERIODS
            for k, (opened, closed) in enumerate(spans):
                assert 0 <= opened - (order.from_ + k * period * 1000) <= 100
                assert abs(closed - opened - on * 1000) <= 100
            for (_, closed), (opened, _) in pairwise(spans):
                assert opened - closed >= OFF_MIN_MS * 1000 - 100
            assert spans[-1][1] <= order.until
        for period, on in [(p, on) for p, on in CORNERS if on == ON_MIN_MS]:
            for wrong in ((period, on - 1), (period, longest_on_ms(period) + 1)):
                await talk.token()
                refused = await talk.order(grant(talk, 1, 5, period=wrong[0], on=wrong[1]))
                assert (refused.result, refused.reason) == (Result.REFUSED, Reason.KEYING), wrong
        for period in (PERIOD_MIN_MS - 1, PERIOD_MAX_MS + 1):
            refused = await talk.order(grant(talk, 1, 5, period=period, on=100))
            assert (refused.result, refused.reason) == (Result.REFUSED, Reason.KEYING), period


async def test_a_power_cut_keeps_strikes_counters_and_what_is_latched(tmp_path: Path) -> None:
    async with target(tmp_path, virtual=True) as (board, talk):
        await arm(board, talk)
        begin = await strike(board)
        first = await told(board, talk)
        assert (first.strike_boot, first.number) == (1, 1)
        assert abs(first.strike_ticks - begin) <= 2 * SAMPLE_US
        features = StrikeFeatures.from_ints(first.features)
        assert features.peak > 150
        assert features.rise_us < 5_000
        outcome = await talk.order(messages.AllOff(3))
        assert (outcome.result, outcome.epoch) == (Result.DONE, 3)
        raised = await talk.order(messages.Arm(talk.boot, 9, True, 0))
        assert (raised.result, raised.generation) == (Result.DONE, 9)
        old = talk.last
        await again(board, talk)
        assert (await talk.greeting()).boot == 2
        assert not (await talk.token()).flags & Flags.ARMED
        kept = await told(board, talk)
        assert (kept.strike_boot, kept.number, kept.strike_ticks) == (1, 1, first.strike_ticks)
        assert kept.features == first.features
        with pytest.raises(TimedOut):
            await talk.say(old, 0.2)  # its counter was taken before the power went
        below = await talk.order(messages.Arm(talk.boot, 8, True, 0))
        assert (below.result, below.generation, below.epoch) == (Result.SUPERSEDED, 9, 3)
        assert (await talk.order(messages.Ack(1, 1))).result == Result.DONE
        assert isinstance(await talk.token(), Status)
        await again(board, talk)
        assert isinstance(await talk.token(), Status)


async def test_a_power_cut_in_the_middle_of_any_word_of_a_strike_loses_nothing_that_was_told(tmp_path: Path) -> None:
    """The power goes half-way through word after word, until the strike is written and told whole."""
    async with target(tmp_path, virtual=True) as (board, talk):
        cuts = 0
        for word in range(1, 60):
            await arm(board, talk)
            board.bench["cut_done"], board.bench["cut_in"] = 0, word
            await strike(board, word)
            await passes(board, 3 * S)
            if not board.bench["cut_done"]:
                break
            cuts += 1
            await again(board, talk)
            for _ in range(5):
                answer = await talk.token()
                if not isinstance(answer, Strike):
                    break
                StrikeFeatures.from_ints(answer.features)
                assert answer.strike_boot < talk.boot
                assert answer.number == 1
                assert (await talk.order(messages.Ack(answer.strike_boot, answer.number))).result == Result.DONE
        assert cuts >= 3
        board.bench["cut_in"] = 0
        whole = await told(board, talk)
        assert (whole.strike_boot, whole.number) == (talk.boot, 1)


async def test_a_power_cut_in_the_middle_of_an_acknowledgement_doubles_nothing(tmp_path: Path) -> None:
    async with target(tmp_path, virtual=True) as (board, talk):
        answered = False
        for word in range(1, 20):
            await arm(board, talk)
            await strike(board, word)
            one = await told(board, talk)
            board.bench["cut_done"], board.bench["cut_in"] = 0, word
            ack = messages.Ack(one.strike_boot, one.number)
            with suppress(TimedOut):
                answered = (await talk.order(ack, within_s=0.3)).result == Result.DONE
            if board.bench["cut_done"]:
                await again(board, talk)
            board.bench["cut_in"] = 0
            left = await talk.token()
            if answered:
                assert isinstance(left, Status), "acknowledged, and it comes back"
                break
            if isinstance(left, Strike):
                assert (left.strike_boot, left.number, left.features) == (one.strike_boot, one.number, one.features)
                assert (await talk.order(ack)).result == Result.DONE
            assert isinstance(await talk.token(), Status)
        assert answered
        assert word > 1


async def test_whatever_stops_the_processor_it_falls_quiet_and_says_why(tmp_path: Path) -> None:
    async with target(tmp_path) as (board, talk):
        for order, why in ((HANG, Why.WATCHDOG), (HANG_DEAF, Why.WATCHDOG), (FAULT, Why.FAULT), (RESET, Why.ORDER)):
            boot = (await talk.greeting()).boot
            outcome = await talk.order(grant(talk, 0.1, 60, period=700, on=300))
            assert outcome.result == Result.DONE, outcome
            await board.stands(lambda bench, until=talk.ticks + S: bench.ticks() > until)
            starts, opened = board.bench["starts"], board.bench["gate_head"]
            hung_at = board.bench.ticks()
            board.bench.order(order)
            await board.stands(lambda bench, starts=starts: bench["starts"] != starts)
            await talk.open()
            hello = await talk.greeting()
            assert (hello.why, hello.boot) == (why, boot + 1)
            assert not hello.flags & (Flags.GATE_ON | Flags.GRANTED)
            await asyncio.sleep(0.8)
            spans = board.bench.gate_spans()
            assert len(spans) <= opened + 1, "a reboot does not send"
            assert spans[-1][2] <= hung_at + 350_000, "the one-shot lets the gate fall, whatever the processor does"


async def test_the_ram_that_it_needs_with_its_stack(tmp_path: Path) -> None:
    """Measured by the painted stack after adding, granting, striking and asking."""
    async with target(tmp_path, virtual=True) as (board, talk):
        await arm(board, talk)
        await talk.order(grant(talk, 0.1, 2))
        await strike(board)
        await told(board, talk)
        await talk.report()
        await passes(board, 30 * S)
        used, data = board.bench["stack_used"], board.bench["data_bytes"]
        print(f"stack {used} bytes, variables {data} bytes, the rings of this port included")
        assert used <= board.bench["stack_size"] - 64
        assert used + data <= 4096

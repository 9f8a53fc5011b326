"""Speaking to one emulated board alone, as the master of a bus with nobody else on it: to give it keys, and for tests.

talk = BoardTalk(board)
await talk.add(keys)                    hail, a press on its button, add: as on the day that it was installed
await talk.open()
outcome = await talk.order(messages.Arm(talk.boot, 1, True, 0))
"""

from __future__ import annotations

import asyncio
import secrets
from typing import Any

from fieldctl.errors import TimedOut
from fieldctl.wire import adding, envelope, frames, messages, seal
from fieldctl.wire.messages import Ask, Counters, HailAnswer, Message, What
from fieldctl.wire.session import Posted, Session
from sims.board import Board
from sims.ptybus import raw_us

ANSWERS_WITHIN_S = 2.0
NEVER_US = 1 << 60


class BoardTalk:
    """The only master of one board's bus; `boot` and `ticks` as it said last, `last` the order that went out last."""

    def __init__(self, board: Board, keys: seal.TargetKeys | None = None) -> None:
        self.board = board
        self.address = adding.address_of(board.bench.hardware)
        self.boot = 0
        self.ticks = 0
        self.last = b""  # the last order, as it went out
        self.heard: asyncio.Queue[bytes] = asyncio.Queue()
        self._ears = frames.Deframer()
        self._session: Session | None = None
        self._handle = 0
        if keys is not None:
            self.use(keys)
        board.on_bytes = self._bytes

    def use(self, keys: seal.TargetKeys) -> None:
        """Speak under these keys from now; `open` comes next."""
        self._session = Session("controller", self.address, keys.own)

    def _bytes(self, data: bytes) -> None:
        for payload in self._ears.feed(data):
            self.heard.put_nowait(payload)

    async def say(self, payload: bytes, within_s: float = ANSWERS_WITHIN_S) -> bytes:
        """One payload, and the next one that comes back; TimedOut when none does."""
        while not self.heard.empty():
            self.heard.get_nowait()
        self.board.write(frames.encode(payload))
        try:
            return await asyncio.wait_for(self.heard.get(), within_s)
        except TimeoutError:
            raise TimedOut(
                "An emulated board did not answer.", remedy="Look at its text and its emulator's log."
            ) from None

    async def add(self, keys: seal.TargetKeys) -> None:
        """Give it keys as a person does who stands beside it, and see that it has taken them."""
        bench = self.board.bench
        mine = secrets.token_bytes(messages.NONCE_BYTES)
        hail = messages.encode(messages.Hail(mine, 1, 0))
        bench.press()
        env = envelope.read(await self.say(envelope.bare(envelope.HAIL, self.address, hail)))
        answer = messages.decode(env.body) if env is not None else None
        assert isinstance(answer, HailAnswer), answer
        add = adding.make_add(bench.secret, bench.hardware, mine, answer.nonce, keys)
        self.board.write(frames.encode(envelope.bare(envelope.ADD, self.address, messages.encode(add))))
        self.use(keys)
        await self.open()

    async def open(self) -> Counters:
        """Begin the conversation."""
        session = self._talking
        session.reopen("begun anew")
        answer = await self._take(session.open(secrets.token_bytes(messages.NONCE_BYTES), raw_us()))
        assert isinstance(answer, Counters)
        return answer

    async def token(self) -> Any:
        """Ask as the bus does: its status or its oldest strike."""
        return await self._take(self._talking.token(raw_us()))

    async def order(self, message: Message, within_s: float = ANSWERS_WITHIN_S) -> Any:
        """An order or a question, and its answer."""
        session = self._talking
        self._handle += 1
        session.post(Posted(self._handle, message, NEVER_US))
        payload = session.pull(raw_us())
        assert payload is not None
        self.last = payload
        return await self._take(payload, within_s)

    async def greeting(self) -> Any:
        """Who it is."""
        return await self.order(Ask(secrets.token_bytes(messages.NONCE_BYTES), int(What.GREETING)))

    async def report(self) -> Any:
        """How it is."""
        return await self.order(Ask(secrets.token_bytes(messages.NONCE_BYTES), int(What.REPORT)))

    @property
    def _talking(self) -> Session:
        assert self._session is not None, "it has no keys yet"
        return self._session

    async def _take(self, payload: bytes, within_s: float = ANSWERS_WITHIN_S) -> Message:
        env = envelope.read(await self.say(payload, within_s))
        assert env is not None
        taken = self._talking.take(env, raw_us())
        assert taken is not None, dict(self._talking.lost)
        assert taken.message is not None
        message: Any = taken.message
        self.boot, self.ticks = message.boot, message.ticks
        return taken.message

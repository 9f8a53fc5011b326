"""What a check may do at a target: send bytes, let time pass, look at what was heard; nothing else.

The same checks run in virtual time (`sims.workbench`) and in real time (`live`). On a bus the bench is the only master
and carries bytes; over radio it carries whole messages.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, Protocol

from fieldctl.certify.side_door import SideDoor
from fieldctl.wire import frames

HEARD_MAX = 4096  # payloads and pieces kept: more than any check waits for
RAW_MAX = 1 << 16


@dataclass(frozen=True, slots=True)
class Heard:
    """One payload, when the last of it had come, and its bytes on the wire."""

    at_us: int
    payload: bytes
    size: int


class Ear:
    """What was heard since somebody last looked: whole payloads, and on a bus the bytes as they came."""

    def __init__(self) -> None:
        self.heard: list[Heard] = []
        self.raw = bytearray()
        self.missed = 0
        self._deframer = frames.Deframer()

    @property
    def garbled(self) -> Counter[str]:
        """What was no frame, by kind."""
        return self._deframer.lost

    def bytes_came(self, data: bytes, at_us: int) -> None:
        """Some bytes of a stream."""
        self.raw += data
        del self.raw[:-RAW_MAX]
        for payload in self._deframer.feed(data):
            self._keep(Heard(at_us, payload, len(frames.encode(payload))))

    def message_came(self, payload: bytes, at_us: int) -> None:
        """One whole message."""
        self._keep(Heard(at_us, payload, len(payload)))

    def forget(self) -> None:
        """Listen anew."""
        self.heard.clear()
        self.raw.clear()

    def _keep(self, heard: Heard) -> None:
        if len(self.heard) < HEARD_MAX:
            self.heard.append(heard)
        else:
            self.missed += 1


class Bench(Protocol):
    """One target at the end of one line."""

    medium: Literal["bus", "radio"]
    byte_us: float  # nominal time of a byte; 0 where nothing is known of it
    answer_us: int  # an answer that has not come whole by then does not come
    retains: bool  # whether it can deliver a message as retained
    ear: Ear
    door: SideDoor

    def now(self) -> int:
        """Microseconds of the host."""

    def write(self, data: bytes) -> int:
        """Bytes as they are, on a bus only; a moment not later than the first one's leaving."""

    def say(self, payload: bytes, *, everybody: bool = False, retained: bool = False) -> int:
        """One payload, framed where the medium frames; a moment not later than its leaving."""

    def wait(self, until_us: int, enough: Callable[[], bool] | None = None) -> None:
        """Let time pass until a moment, or until enough was heard."""

    def close(self) -> None:
        """Leave the line."""

"""What a port may offer beside its line: a declared fixture, never a look at the target's inside.

The same few words in every port, each with whole numbers behind it and whole numbers as its answer:

    reboot            restart as its watchdog would; it answers again within 3 s
    power MS          the power goes now and comes back after MS milliseconds
    cut N AFTER       the power goes at the N-th write to storage from now, before the record holds (0) or after (1),
                      and comes back by itself within 3 s
    touch             one sharp blow on the pad, clear of the noise
    pad S S S …       samples of the pad at 4 kHz in steps about the middle, each line following the one before without
                      a gap; answered when they are queued; the pad reads the middle when none are left
    gate              the edges of the carrier since the last `gate`: µs on, µs off, µs on … by one clock of the port
    stuck 0|1         the gate stays on whatever the target does, or no longer
    battery 0|1       the battery is too weak to send, or no longer
    press             its button is pressed

Over a socket (`Socketed`): one line a request, such as `power 200`, and one line an answer, `ok` with the numbers or
`no` with the reason in words. `offers` is answered with `ok` and the words that this port has. Lines have at most 1000
bytes. A person can be a side door too (`ByHand`).
"""

from __future__ import annotations

import socket
from collections.abc import Callable, Sequence
from typing import ClassVar, Protocol

from fieldctl.certify.address import host_and_port
from fieldctl.errors import BadInput, LinkDown, Unreachable

WORDS = ("reboot", "power", "cut", "touch", "pad", "gate", "stuck", "battery", "press")
LINE_MAX = 1000
MANY = "many"  # no word of a port: whoever offers touches and is no person can give hundreds of them
ANSWER_S = 5.0
PAD_A_LINE = 64  # samples in one line: at most 7 bytes each


class SideDoor(Protocol):
    """A port's fixture; `offers` says which of the words it knows."""

    @property
    def offers(self) -> frozenset[str]:
        """The words that this port has."""

    def do(self, word: str, *numbers: int) -> tuple[int, ...]:
        """Do it now; the numbers of the answer."""


class Shut:
    """No side door at all."""

    offers: frozenset[str] = frozenset()

    def do(self, word: str, *numbers: int) -> tuple[int, ...]:
        """Nothing can be done here."""
        raise AssertionError(f"{word} {numbers} at a door that offers nothing")


class ByHand:
    """The operator's hand: asked in words, believed when they press Enter."""

    offers = frozenset({"power", "touch", "press"})
    _SAYS: ClassVar[dict[str, str]] = {
        "power": "Take the power off the target for a second and give it back",
        "touch": "Strike the pad once with a probe",
        "press": "Press the target's button",
    }

    def __init__(self, ask: Callable[[str], None], offers: Sequence[str] = ()) -> None:
        self._ask = ask
        if offers:
            self.offers = frozenset(offers)

    def do(self, word: str, *_numbers: int) -> tuple[int, ...]:
        """Ask for it, and wait for the answer."""
        self._ask(f"{self._SAYS[word]}, then press Enter.")
        return ()


class Both:
    """Two doors: the first one that offers a word does it."""

    def __init__(self, first: SideDoor, second: SideDoor) -> None:
        self._first, self._second = first, second

    @property
    def offers(self) -> frozenset[str]:
        """What either offers."""
        return self._first.offers | self._second.offers

    def do(self, word: str, *numbers: int) -> tuple[int, ...]:
        """See `SideDoor`."""
        door = self._first if word in self._first.offers else self._second
        return door.do(word, *numbers)


class Socketed:
    """A side door at the end of a socket: HOST:PORT, or the path of a socket of this machine."""

    def __init__(self, where: str) -> None:
        self._where = where
        self._rest = b""
        self._socket: socket.socket | None = None
        try:
            if ":" in where and "/" not in where:
                self._socket = socket.create_connection(host_and_port(where), timeout=ANSWER_S)
            else:
                self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
                self._socket.settimeout(ANSWER_S)
                self._socket.connect(where)
        except ValueError:
            raise BadInput(
                f"{where!r} is no address.", expected="HOST:PORT or a path", remedy="Give one of these."
            ) from None
        except OSError as error:
            self.close()
            raise Unreachable(
                f"The side door {where} cannot be reached: {error.strerror or error}.",
                expected="a port that offers one there",
                remedy="Start the port with its side door, or go without: what needs it is then not tried.",
            ) from None
        try:
            words = self._line("offers").split()
        except LinkDown:
            self.close()
            raise
        self.offers = frozenset(words) & frozenset(WORDS)
        if "touch" in self.offers:
            self.offers |= {MANY}

    def do(self, word: str, *numbers: int) -> tuple[int, ...]:
        """See `SideDoor`."""
        answer = self._line(" ".join((word, *map(str, numbers))))
        try:
            return tuple(int(number) for number in answer.split())
        except ValueError:
            raise self._broken(f"answered {answer[:80]!r} to {word}") from None

    def close(self) -> None:
        """Leave."""
        if self._socket is not None:
            self._socket.close()

    def _line(self, request: str) -> str:
        assert self._socket is not None
        try:
            self._socket.sendall(request.encode("ascii") + b"\n")
            while b"\n" not in self._rest:
                if len(self._rest) > 64 * LINE_MAX:
                    raise self._broken("goes on without an end of line")
                data = self._socket.recv(4096)
                if not data:
                    raise self._broken("closed")
                self._rest += data
        except OSError as error:
            raise self._broken(f"failed ({error.strerror or error})") from None
        line, _, self._rest = self._rest.partition(b"\n")
        verdict, _, words = line.decode("ascii", "replace").strip().partition(" ")
        if verdict != "ok":
            raise self._broken(f"refused {request[:40]!r}: {words or repr(line)}")
        return words

    def _broken(self, what: str) -> LinkDown:
        return LinkDown(
            f"The side door {self._where} {what}.",
            expected="a port that does what it offers",
            remedy="See that the port still runs, and begin again.",
        )

"""Finding new targets and giving them keys of this site, on the lines that are at work."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from fieldctl.controller.bus_line import BusLine, SearchTurn
from fieldctl.controller.line import Line
from fieldctl.errors import BadInput, Refused, Unreachable
from fieldctl.events import TargetAdded
from fieldctl.units import EVERYBODY, PersonId, target_from_address
from fieldctl.wire import adding, bus, envelope, frames, messages
from fieldctl.wire.messages import Hail, HailAnswer

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

SEARCH_WITHIN_S = 60.0
SETTLES_WITHIN_S = 5.0
ADD_TRIES = 3  # within the time for which a press on its button counts


class Hails:
    """Makes hails, reads their answers, and remembers under which nonce each target answered."""

    def __init__(self) -> None:
        self.nonce = b""
        self.asked_under: dict[bytes, bytes] = {}
        self.pressed: dict[bytes, bool] = {}

    def __call__(self, nonce: bytes, slots: int, salt: int) -> bytes:
        """The payload of a hail."""
        self.nonce = nonce
        return envelope.bare(envelope.HAIL, EVERYBODY, messages.encode(Hail(nonce, slots, salt)))

    def read(self, payload: bytes) -> tuple[bytes, bytes] | None:
        """(hardware id, nonce) of an answer; None when it is none."""
        env = envelope.read(payload)
        if env is None or env.form != envelope.HAIL_ANSWER:
            return None
        try:
            answer = messages.decode(env.body)
        except messages.Malformed:
            return None
        if not isinstance(answer, HailAnswer):
            return None
        self.asked_under[answer.hardware] = self.nonce
        self.pressed[answer.hardware] = answer.pressed
        return answer.hardware, answer.nonce


async def search_bus(c: Controller, line: BusLine) -> list[tuple[str, bool]]:
    """(hardware id, whether its button was pressed) of every new target on a bus; Refused during exercises."""
    search, _ = await _search(c, line)
    return search


async def _search(c: Controller, line: BusLine) -> tuple[list[tuple[str, bool]], tuple[bus.Search, Hails]]:
    if any(c.exercises.running()):
        raise Refused("An exercise goes on.", remedy="New targets are added while nobody searches.")
    if line.link is None:
        raise Unreachable(f"The bus {line.name} is down.", remedy="Look at its adapter: fieldctl doctor.")
    if line.search is not None:
        raise Refused("A search goes on already.", remedy="Wait for its end.")
    search, hails = bus.Search(c.outside.nonce), Hails()
    turn = SearchTurn(search, line.garbled, hails)
    line.begin_search(turn)
    try:
        async with asyncio.timeout(SEARCH_WITHIN_S):
            await turn.done.wait()
    except TimeoutError:
        raise Unreachable(
            f"The search on {line.name} did not come to an end.", remedy="Look for noise on the cable."
        ) from None
    finally:
        line.search = None
    found = [(hardware.hex(), hails.pressed[hardware]) for hardware in sorted(search.found)]
    return found, (search, hails)


async def add_target(c: Controller, line: Line, hardware: str, secret: str, by: PersonId, name: str) -> TargetAdded:
    """Give a new target its keys: hail, add, then ask for its counters under the new key, which proves it."""
    try:
        wanted, shared = bytes.fromhex(hardware), bytes.fromhex(secret)
    except ValueError:
        wanted, shared = b"", b""
    if len(wanted) != messages.HARDWARE_BYTES or len(shared) != 16:
        raise BadInput(
            "A label holds the hardware id (16 hexadecimal digits) and the factory secret (32).",
            remedy="Read the label again.",
        )
    if not isinstance(line, BusLine):
        raise Refused("Keys are given over a bus or USB.", remedy="Connect the target to a bus to add it.")
    target = target_from_address(adding.address_of(wanted))
    other = c.added.get(target)
    if other is not None and other.hardware and other.hardware != hardware.lower():
        raise Refused(
            f"Another target has the id {target} already (hardware {other.hardware}).",
            remedy="Two targets with one id cannot share a site: take the other out first.",
        )
    version = other.key_version + 1 if other is not None else 1
    added = TargetAdded(target, hardware.lower(), line.name, version, by, name)
    for _ in range(ADD_TRIES):
        if await _give_keys(c, line, added, wanted, shared):
            await c.write(added)
            return added
        if other is not None:
            c.admit(other)
    raise Unreachable(
        f"{hardware} did not take the keys.",
        remedy="Check the secret on its label, press its button, and try again within two minutes.",
    )


async def _give_keys(c: Controller, line: BusLine, added: TargetAdded, hardware: bytes, secret: bytes) -> bool:
    """Hail, add, and see whether the conversation opens under the new key; if not, it is as before.

    A late answer to an earlier hail gives nonces that do not belong together, and a garbled frame gives none: so the
    whole of it is tried again, with fresh nonces.
    """
    _, (search, hails) = await _search(c, line)
    theirs = search.found.get(hardware)
    if theirs is None:
        raise Unreachable(
            f"{added.hardware} did not answer the hail.",
            remedy="Connect it, press its button, and try again within two minutes.",
        )
    keys = c.outside.keys.of(added.target, added.key_version)
    message = adding.make_add(secret, hardware, hails.asked_under[hardware], theirs, keys)
    line.say_aside(frames.encode(envelope.bare(envelope.ADD, int(added.target, 16), messages.encode(message))))
    known = c.admit(added)
    try:
        async with asyncio.timeout(SETTLES_WITHIN_S):
            while known.session.state != "open":
                await asyncio.sleep(0.05)
    except TimeoutError:
        c.part_with(added.target)
        return False
    return True

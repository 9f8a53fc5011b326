"""Who comes in, and how: by the machine's own code, by a code for a phone, by name and password; and whose phone asks.

`identify` is asked for every request and for every beat of every stream: one hash and two look-ups, nothing waits.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

from starlette.requests import HTTPConnection

from fieldctl.controller.access import Access, checked_name, fold_name
from fieldctl.controller.verbs import Right
from fieldctl.errors import FieldctlError, NotFound, Refused
from fieldctl.events import FIELD, SignInFailed
from fieldctl.units import US_PER_S, HostTime, PersonId
from fieldctl.web.backoff import BackOff, network_of
from fieldctl.web.passwords import Passwords
from fieldctl.web.problems import TooSoon, WrongSecret
from fieldctl.web.rights import NOBODY, Who, all_of

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

COOKIE = "fieldctl_session"
TIDY_EVERY_S = 60.0
GUESSES_WRITTEN_EVERY_US = 600 * US_PER_S  # one entry for ten minutes of guesses
ADDRESSES_MAX = 1024


@dataclass(frozen=True, slots=True)
class Entered:
    """Somebody came in: who, and the token that his phone keeps."""

    person: PersonId
    name: str
    token: str


class Accounts:
    """The ways in of one serve; `run()` until cancelled.

    Counts: entered, wrong_passwords, wrong_codes, put_off.
    """

    def __init__(self, controller: Controller, access: Access, passwords: Passwords | None = None) -> None:
        self._c = controller
        self.access = access
        self.passwords = passwords or Passwords(controller.outside.nonce)
        self.backoff = BackOff(controller.outside.clock.now)
        self.counts: Counter[str] = Counter()
        self._first: str | None = None
        self._guesses: Counter[str] = Counter()
        self._from: set[str] = set()
        self._since: HostTime | None = None
        self._written_us: int | None = None

    def identify(self, request: HTTPConnection) -> Who:
        """Whose request it is; NOBODY without a token that counts."""
        token = request.cookies.get(COOKIE)
        phone = None if not token else self.access.phone_of(token)
        name = None if phone is None else self._c.people.get(phone.person)
        if phone is None or name is None:
            return NOBODY
        rights = cast("frozenset[Right]", self.access.rights_of(phone.person))
        return Who(phone.person, name, all_of(rights), phone.id)

    def first_code(self) -> str | None:
        """The code that lets the first one in, while nobody in charge can come in; the same until it is used."""
        if self.access.somebody_can_come_in():
            return None
        if self._first is None or self.access.codes.look(self._first, "first") is None:
            self.access.codes.end(lambda code: code.until_us is None)  # of an earlier life of the pages
            self._first = self.access.codes.make("first", PersonId(""), FIELD, lives_s=None)
        return self._first

    # ---- ways in -------------------------------------------------------------------------------------------------

    async def first(self, code: str, name: str, password: str | None, label: str, address: str) -> Entered:
        """Come in by a code of the machine itself, in charge for good; a password only if one was given.

        WrongSecret, TooSoon, BadInput for a name or password that cannot be, Busy: nothing was done, the code is good.
        """
        self._may_try(address)
        if self.access.codes.look(code, "first") is None:
            raise self._wrong_code(address)
        name = checked_name(name)
        kept = None if password is None else await self.passwords.make(password)
        if self.access.codes.use(code, "first") is None:
            raise self._wrong_code(address)  # somebody else was quicker, while this password was hashed
        self.backoff.right(address)
        person = self.access.person(name)
        await self.access.first(person)
        if kept is not None:
            await self.access.set_password(person, kept, person)
        return await self._enter(person, label, "first", FIELD)

    async def pair(self, code: str, label: str, address: str) -> Entered:
        """Pair a phone by a code; WrongSecret for one that is not or no longer good, TooSoon for too many tries."""
        self._may_try(address)
        found = self.access.codes.use(code, "phone")
        if found is None:
            raise self._wrong_code(address)
        self.backoff.right(address)
        return await self._enter(found.person, label, "code", found.by)

    async def sign_in(self, name: str, password: str, label: str, address: str) -> Entered:
        """Come in by name and password; WrongSecret says nothing of which was wrong, TooSoon how long to wait."""
        folded = fold_name(name)
        self._may_try(address, folded)
        person = self.access.named(name)
        kept = None if person is None else self.access.passwords.get(person)
        if not await self.passwords.match(kept, password) or person is None:
            self._guessed("wrong_passwords", address)
            raise WrongSecret(
                "Name and password do not belong together.",
                expected="a person of this field who has a password",
                remedy="Look at both and try again; or let somebody in charge pair this phone.",
            )
        self.backoff.right(address, folded)
        return await self._enter(person, label, "password", person)

    async def sign_out(self, who: Who) -> None:
        """Let the asking phone act for nobody any more."""
        if who.person is not None:
            with contextlib.suppress(NotFound):  # it was ended meanwhile
                await self.access.end_phone(who.phone, who.person, "signed-out")

    async def set_password(self, who: Who, old: str | None, new: str | None, address: str) -> None:
        """Set, change or (None) drop one's own password; the old one has to be said where there is one."""
        assert who.person is not None
        kept = self.access.passwords.get(who.person)
        if kept is not None:
            self._may_try(address, who.person)
            if not await self.passwords.match(kept, old or ""):
                self._guessed("wrong_passwords", address)
                raise WrongSecret(
                    "The old password is not right.",
                    expected="the password that is in force",
                    remedy="Try again; or let somebody in charge end all phones of yours, which drops it.",
                )
            self.backoff.right(address, who.person)
        elif new is None:
            raise Refused("There is no password to drop.", remedy="Nothing needs to be done.")
        made = None if new is None else await self.passwords.make(new)
        await self.access.set_password(who.person, made, who.person)

    async def _enter(self, person: PersonId, label: str, how: str, by: PersonId) -> Entered:
        _, token = await self.access.pair(person, label, how, by)
        self.counts["entered"] += 1
        return Entered(person, self._c.people.get(person, ""), token)

    # ---- guesses -------------------------------------------------------------------------------------------------

    def _may_try(self, address: str, name: str | None = None) -> None:
        wait_s = self.backoff.try_(address, name)
        if wait_s > 0:
            self._guessed("put_off", address)
            raise TooSoon(wait_s)

    def _wrong_code(self, address: str) -> WrongSecret:
        self._guessed("wrong_codes", address)
        return WrongSecret(
            "This code is not good, or not any more.",
            expected="sixteen letters and digits; a code works once, for ten minutes",
            remedy="Look at it again, or have a new one made.",
        )

    def _guessed(self, what: str, address: str) -> None:
        self.counts[what] += 1
        self._guesses[what] += 1
        self._since = self._since or self._c.outside.here()
        if len(self._from) < ADDRESSES_MAX:
            self._from.add(network_of(address))

    async def run(self) -> None:
        """End what has run out and write guesses down, until cancelled; a failing ledger is the controller's matter."""
        try:
            while True:
                with contextlib.suppress(FieldctlError):
                    await self.access.tidy()
                    await self.write_guesses()
                await asyncio.sleep(TIDY_EVERY_S)
        finally:
            self.passwords.close()

    async def write_guesses(self) -> None:
        """One entry for all guesses since the last one, at most every ten minutes."""
        here = self._c.outside.here()
        fresh = self._written_us is not None and here.us - self._written_us < GUESSES_WRITTEN_EVERY_US
        if self._since is None or fresh:
            return
        n = self._guesses
        fact = SignInFailed(n["wrong_passwords"], n["wrong_codes"], n["put_off"], len(self._from), self._since, here)
        self._guesses, self._from, self._since, self._written_us = Counter(), set(), None, here.us
        await self._c.write(fact)

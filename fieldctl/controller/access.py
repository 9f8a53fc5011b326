"""People who may come in: their rights, their phones, the codes that pair one; kept over a restart.

What happened is in the ledger, as facts. What must stay secret (hashes of passwords and of phones' tokens) lies in its
settings beside the chain: backed up with it, never exported. The fact is written first: a crash between the two leaves
a phone that nobody can speak for, never one that the ledger does not know. All of it is read when first needed: a
controller without pages never does.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from fieldctl.controller.access_state import FOLDED, AccessState, end_of, instant, stands
from fieldctl.controller.codes import Codes, What
from fieldctl.errors import BadInput, NotFound, Refused
from fieldctl.events import (
    ANYBODY,
    FIELD,
    AccountMade,
    CodeMade,
    Fact,
    PasswordChanged,
    PersonForgotten,
    PhoneEnded,
    PhonePaired,
    RightEnded,
    RightGranted,
)
from fieldctl.units import US_PER_S, HostUs, PersonId

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller
    from fieldctl.ledger.entry import Entry

IN_CHARGE = "in-charge"
PHONES_SETTING = "access phones"
PASSWORDS_SETTING = "access passwords"
NAME_MAX = 60  # characters; longer ones fit on no line of a phone
PEOPLE_MAX = 256  # with rights at once
PHONES_MAX = 256  # paired at once: eight for each of a large staff
NOT_SEEN_S = 90 * 24 * 3600  # a phone that was away for a season's break is paired anew
SEEN_KEPT_US = 3600 * US_PER_S  # how stale "seen" may be on the disk

_ID = re.compile(r"p-[0-9a-f]+\Z")

Row = dict[str, Any]


@dataclass(slots=True)
class Phone:
    """A paired phone: for whom it acts, the hash of its token, and when it was seen last."""

    id: str
    person: PersonId
    secret: str
    label: str
    paired: str  # the wall's label, "" where nobody knew it
    seen: str
    seen_us: HostUs | None = None  # in this life of the controller


def fold_name(name: str) -> str:
    """A name as it is compared: one spelling of accents, capitals or not."""
    return unicodedata.normalize("NFC", name.strip()).casefold()


def checked_name(name: str) -> str:
    """A name that somebody may have here; BadInput for what is none."""
    text = unicodedata.normalize("NFC", " ".join(name.split()))
    if not 1 <= len(text) <= NAME_MAX or not text.isprintable() or text in (FIELD, ANYBODY) or _ID.match(text):
        raise BadInput(
            f"{name[:NAME_MAX]!r} cannot be somebody's name here.",
            expected=f"1 to {NAME_MAX} characters on one line, not {FIELD!r} or {ANYBODY!r}; a nickname will do",
            remedy="Give another name.",
        )
    return text


def hash_of(token: str) -> str:
    """What is kept of a token: it is 256 random bits, so that a plain hash cannot be turned round."""
    return hashlib.blake2s(token.encode("utf-8", "replace"), person=b"fc-phone").hexdigest()


class Access:
    """Rights, phones and codes of one controller; everything here runs on its loop."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller
        self.codes = Codes(controller.outside.nonce, controller.outside.clock.now)
        self.passwords: dict[PersonId, str] = {}
        self._phones: dict[str, Phone] = {}
        self._by_secret: dict[str, Phone] = {}
        self._stale = False  # what is kept holds more than there is

    @cached_property
    def _state(self) -> AccessState:
        """Rights and phones from the ledger, and the secrets that belong to them."""
        ledger, state = self._c.ledger, AccessState()
        for fact in ledger.facts(kinds=FOLDED):
            state.take(fact)
        for name, kept in ledger.setting(PHONES_SETTING, {}).items():
            paired = state.phones.get(name)
            if paired is None:
                self._stale = True
                continue
            self._keep(Phone(name, paired.person, kept["secret"], kept["label"], kept["paired"], kept["seen"]))
        self.passwords = {PersonId(person): text for person, text in ledger.setting(PASSWORDS_SETTING, {}).items()}
        for person in [person for person in self.passwords if person not in self._c.people]:
            del self.passwords[person]  # forgotten, perhaps while no controller lived
            self._stale = True
        self._c.watchers.append(self._committed)
        return state

    def _keep(self, phone: Phone) -> None:
        self._phones[phone.id] = phone
        self._by_secret[phone.secret] = phone

    def _committed(self, entries: tuple[Entry, ...]) -> None:
        for entry in entries:
            if not self._state.take(entry.fact):
                continue
            for name in [name for name in self._phones if name not in self._state.phones]:
                del self._by_secret[self._phones.pop(name).secret]
                self._stale = True
            if isinstance(entry.fact, PersonForgotten):
                person = entry.fact.person
                self._stale |= self.passwords.pop(person, None) is not None
                self.codes.end(lambda code, person=person: person in (code.person, code.by))  # type: ignore[misc]

    # ---- what is so ----------------------------------------------------------------------------------------------

    def rights_of(self, person: PersonId) -> frozenset[str]:
        """The rights that a person holds at this moment."""
        granted = self._state.granted.get(person)
        if not granted:
            return frozenset()
        here, wall = self._c.outside.here(), self._c.outside.clock.wall
        return frozenset(right for right, grant in granted.items() if stands(grant, here, wall()))

    def phone_of(self, token: str) -> Phone | None:
        """The phone that holds a token, noted as seen; None for a token that nobody holds."""
        _ = self._state
        phone = self._by_secret.get(hash_of(token))
        if phone is not None:
            phone.seen_us = self._c.outside.clock.now()
        return phone

    def somebody_can_come_in(self) -> bool:
        """Whether somebody in charge has a phone or a password: else the machine itself has to let somebody in."""
        in_charge = [person for person in self._state.granted if IN_CHARGE in self.rights_of(person)]
        return any(p in self.passwords or any(phone.person == p for phone in self._phones.values()) for p in in_charge)

    def named(self, name: str) -> PersonId | None:
        """Somebody whom this field knows, by name or id."""
        if name in self._c.people:
            return PersonId(name)
        folded = fold_name(name)
        return next((person for person, said in self._c.people.items() if fold_name(said) == folded), None)

    def rows(self) -> list[Row]:
        """Everybody who has a right, a phone or a password."""
        known = {*self._state.granted, *(phone.person for phone in self._phones.values()), *self.passwords}
        return sorted((self.row(person) for person in known), key=lambda row: str(row["name"]).casefold())

    def row(self, person: PersonId) -> Row:
        """One person: rights with their ends, phones, whether there is a password."""
        here, wall = self._c.outside.here(), self._c.outside.clock.wall()
        rights = []
        for right, grant in self._state.granted.get(person, {}).items():
            same = grant.ends_at is not None and grant.ends_at.boot == here.boot
            rights.append(
                {
                    "right": right,
                    "for_good": grant.ends_at is None,
                    "until": grant.until or None,
                    "left_s": max(0, (grant.ends_at.us - here.us) // US_PER_S) if same and grant.ends_at else None,
                    "holds": stands(grant, here, wall),
                }
            )
        return {
            "person": person,
            "name": self._c.people.get(person, ""),
            "rights": rights,
            "phones": [self._phone_row(phone) for phone in self._phones.values() if phone.person == person],
            "password": person in self.passwords,
        }

    def _phone_row(self, phone: Phone) -> Row:
        ago = None if phone.seen_us is None else (self._c.outside.clock.now() - phone.seen_us) // US_PER_S
        row = {"phone": phone.id, "label": phone.label, "paired": phone.paired or None}
        return {**row, "seen": phone.seen or None, "seen_s_ago": ago}

    def own_phone(self, person: PersonId, phone: str) -> Phone:
        """A phone of that person; NotFound otherwise."""
        found = self._phones.get(phone)
        if found is None or found.person != person:
            raise _no_phone(phone)
        return found

    # ---- what changes it -----------------------------------------------------------------------------------------

    def person(self, name: str) -> PersonId:
        """The id of somebody who is to have a right: known already, or new; BadInput for what is no name."""
        known = self.named(name)
        if known is not None:
            return known
        return self._c.person(checked_name(name))

    async def give(self, person: PersonId, right: str, until: str, by: PersonId) -> RightGranted:
        """Grant a right; BadInput or Refused for an end that cannot be, Refused for more people than are taken."""
        if person not in self._state.granted and len(self._state.granted) >= PEOPLE_MAX:
            raise Refused(f"{PEOPLE_MAX} people hold rights already.", remedy="Take a right from somebody first.")
        here = self._c.outside.here()
        label, ends_at = end_of(until, here, self._c.outside.clock.wall())
        fact = RightGranted(person, right, label, ends_at, by, here)
        await self._c.write(fact)
        return fact

    async def take(self, person: PersonId, right: str, by: PersonId) -> None:
        """End a right; NotFound where there is none, Refused where nobody would be in charge any more."""
        if right not in self._state.granted.get(person, {}):
            has = ", ".join(self._state.granted.get(person, {})) or "none"
            raise NotFound(
                f"{self._c.people.get(person, person)} does not hold the right {right!r}.",
                expected=has,
                remedy="Name one of these: fieldctl rights list.",
            )
        if right == IN_CHARGE:
            self.not_the_last(person)
        await self._c.write(RightEnded(person, right, "taken", by, self._c.outside.here()))
        if right == IN_CHARGE:  # codes for others that are still about were made with it
            self.codes.end(lambda code: code.by == person and code.person != person)

    def not_the_last(self, person: PersonId) -> None:
        """Refused for the only one who is in charge: without him nobody could be let in any more."""
        if IN_CHARGE not in self.rights_of(person):
            return
        if not any(IN_CHARGE in self.rights_of(other) for other in self._state.granted if other != person):
            raise Refused(
                "Nobody would be in charge any more.",
                expected="one person who is",
                remedy="Give somebody else the right in charge first.",
            )

    async def code(self, what: What, person: PersonId, by: PersonId) -> str:
        """A one-time code; Refused for a phone of somebody who holds no right."""
        if what == "phone" and not self.rights_of(person):
            raise Refused(
                f"{self._c.people.get(person, person)} holds no right, so a phone could do nothing.",
                remedy="Give a right first, for today or for longer.",
            )
        await self._c.write(CodeMade(what, person, by, self._c.outside.here()))
        return self.codes.make(what, person, by)

    async def pair(self, person: PersonId, label: str, how: str, by: PersonId) -> tuple[Phone, str]:
        """A new phone of somebody, and its token, which is never seen again; Refused for more than are taken."""
        _ = self._state
        if len(self._phones) >= PHONES_MAX:
            raise Refused(f"{PHONES_MAX} phones are paired already.", remedy="End some that are not used any more.")
        nonce = self._c.outside.nonce
        name, token = nonce().hex(), b"".join(nonce() for _ in range(4)).hex()
        await self._c.write(PhonePaired(name, person, how, by, self._c.outside.here()))
        wall = self._c.outside.clock.wall() or ""
        phone = Phone(name, person, hash_of(token), label, wall, wall, self._c.outside.clock.now())
        self._keep(phone)
        await self.keep()
        return phone, token

    async def first(self, person: PersonId) -> None:
        """Somebody came in by a code of the machine itself: in charge, for good."""
        here = self._c.outside.here()
        facts: list[Fact] = [AccountMade(person, here), RightGranted(person, IN_CHARGE, "", None, FIELD, here)]
        await self._c.write(*facts)

    async def set_password(self, person: PersonId, kept: str | None, by: PersonId) -> None:
        """Keep the hash of a person's password, or none."""
        _ = self._state
        await self._c.write(PasswordChanged(person, kept is not None, by, self._c.outside.here()))
        if kept is None:
            self.passwords.pop(person, None)
        else:
            self.passwords[person] = kept
        await self.keep()

    async def end_phone(self, phone: str, by: PersonId, why: str) -> Phone:
        """Let a phone act for nobody any more; NotFound for one that does not already."""
        _ = self._state
        found = self._phones.get(phone)
        if found is None:
            raise _no_phone(phone)
        await self._c.write(PhoneEnded(phone, found.person, why, by, self._c.outside.here()))
        await self.keep()
        return found

    async def end_all(self, person: PersonId, by: PersonId) -> int:
        """Lost, stolen or gone: every phone, every code and the password of a person; how many phones it were."""
        here, phones = self._c.outside.here(), [p for p in self._phones.values() if p.person == person]
        facts: list[Fact] = [PhoneEnded(p.id, person, "all-ended", by, here) for p in phones]
        if person in self.passwords:
            facts.append(PasswordChanged(person, False, by, here))
        self.codes.end(lambda code: person in (code.person, code.by))
        if facts:
            await self._c.write(*facts)
        self.passwords.pop(person, None)
        await self.keep()
        return len(phones)

    async def tidy(self) -> None:
        """End what has run out: rights, the phones of those who have none left, phones not seen for a season."""
        here, wall = self._c.outside.here(), self._c.outside.clock.wall()
        facts: list[Fact] = []
        for person, rights in self._state.granted.items():
            over = [right for right, grant in rights.items() if stands(grant, here, wall) is False]
            facts += [RightEnded(person, right, "ran-out", FIELD, here) for right in over]
            if over and len(over) == len(rights):
                mine = [phone for phone in self._phones.values() if phone.person == person]
                facts += [PhoneEnded(phone.id, person, "ran-out", FIELD, here) for phone in mine]
        ended = {fact.phone for fact in facts if isinstance(fact, PhoneEnded)}
        for phone in self._phones.values():
            if phone.id not in ended and _away_s(phone, wall) > NOT_SEEN_S:
                facts.append(PhoneEnded(phone.id, phone.person, "not-seen", FIELD, here))
        if facts:
            await self._c.write(*facts)
        for person in self._state.granted:
            if person in self._c.people:
                self._c.person(person)  # whoever holds a right is named by that: the name is kept as long
        if self._stale or (wall and any(_seen_is_old(phone, here.us, wall) for phone in self._phones.values())):
            await self.keep()

    async def keep(self) -> None:
        """Write the secrets down, beside the chain."""
        wall, now = self._c.outside.clock.wall(), self._c.outside.clock.now()
        for phone in self._phones.values():
            if wall and _seen_is_old(phone, now, wall):
                phone.seen = wall
        phones = {
            phone.id: {"secret": phone.secret, "label": phone.label, "paired": phone.paired, "seen": phone.seen}
            for phone in self._phones.values()
        }
        self._stale = False
        await self._c.ledger.commit_settings({PHONES_SETTING: phones, PASSWORDS_SETTING: dict(self.passwords)})


def _away_s(phone: Phone, wall: str | None) -> float:
    """How long a phone was not seen; 0 where nobody can tell."""
    if phone.seen_us is not None or not wall or not phone.seen:
        return 0.0
    return instant(wall) - instant(phone.seen)


def _seen_is_old(phone: Phone, now: int, wall: str) -> bool:
    """Whether a phone was seen in this hour, and what is kept says longer ago."""
    if phone.seen_us is None or now - phone.seen_us > SEEN_KEPT_US:
        return False
    return not phone.seen or instant(wall) - instant(phone.seen) > SEEN_KEPT_US / US_PER_S


def _no_phone(phone: str) -> NotFound:
    return NotFound(f"There is no paired phone {phone[:40]!r}.", remedy="Look at the list: fieldctl phone list.")

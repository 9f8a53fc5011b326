"""Who is who: names beside the ledger, which holds ids alone; when each was named last; names that go for good.

A name is kept for as long as the site says after somebody was named last (`[people] keep_names_days`). It cannot be
brought back, and the wall clock of a base station may be wrong: so whoever is due is noted first, and goes `GRACE_DAYS`
later if he still is; a clock that turns out to have been ahead takes the note back. Without a wall clock nobody goes.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any

from fieldctl.controller.ports import Outside
from fieldctl.errors import BadInput, NotFound, Refused
from fieldctl.events import ANYBODY, FIELD, Fact, PersonForgotten
from fieldctl.units import PersonId

if TYPE_CHECKING:
    from fieldctl.ledger.store import Ledger

GRACE_DAYS = 7
GOING = "names going"  # a setting of the ledger: who is due, and the day on which that was noticed
ASKED = "asked"
NAME_MOST = 80  # letters

Row = dict[str, Any]


class PeopleBook:
    """The names of one site; `names` is shared with whoever shows people."""

    def __init__(self, outside: Outside, ledger: Ledger, write: Callable[[Fact], None]) -> None:
        self._outside = outside
        self._ledger = ledger
        self._write = write
        self.names = ledger.names()
        self.forgotten = set(ledger.forgotten())
        self._seen = ledger.people_seen()
        self._seen_new: dict[PersonId, str] = {}

    # ---- who --------------------------------------------------------------------------------------------------

    def find(self, name: str) -> PersonId | None:
        """The id of somebody by name or id, None where nobody is called that."""
        name = name.strip()
        if name in self.names or name in self.forgotten:
            return PersonId(name)
        return next((who for who, said in self.names.items() if said.casefold() == name.casefold()), None)

    def person(self, name: str) -> PersonId:
        """The id of a person by name or id; a new name gets an id, so that the ledger never holds a name."""
        name = name.strip()
        if name in ("", FIELD, ANYBODY):
            return PersonId(name)
        person = self.find(name)
        if person is None:
            person = PersonId(f"p-{self._outside.nonce().hex()[:10]}")
            self.names[person] = name
            self._ledger.name_person(person, name)
        self._see(person)
        return person

    def known(self, name: str) -> PersonId:
        """As `find`; NotFound where nobody is called that."""
        person = self.find(name)
        if person is None:
            raise NotFound(f"Nobody here is called {name.strip()!r}.", remedy="Look at the list: fieldctl person list.")
        return person

    def rename(self, person: PersonId, name: str) -> None:
        """Give a person another name; Refused where somebody else has it, BadInput for none."""
        name = " ".join(name.split())
        if not name or len(name) > NAME_MOST or name in (FIELD, ANYBODY):
            raise BadInput(
                f"{name[:NAME_MOST]!r} is no name for a person.",
                expected=f"1 to {NAME_MOST} letters",
                remedy="Give one.",
            )
        other = self.find(name)
        if other is not None and other != person:
            raise Refused(f"Somebody else is called {name!r}.", remedy="Add a letter or a number.")
        if person in self.forgotten:
            raise Refused(
                f"{person} was forgotten and stays so.", remedy="Name the person anew where he takes part again."
            )
        self._ledger.name_person(person, name)
        self.names[person] = name

    # ---- names that go ----------------------------------------------------------------------------------------

    def forget(self, people: Iterable[PersonId], by: PersonId, why: str) -> None:
        """Take names away for good, and say so in the ledger; LedgerFailed where they could not be taken away."""
        going = [person for person in people if person not in self.forgotten]
        self._ledger.forget_people(going, self.today())
        here = self._outside.here()
        for person in going:
            self.names.pop(person, None)
            self._seen.pop(person, None)
            self._seen_new.pop(person, None)
            self.forgotten.add(person)
            self._write(PersonForgotten(person, by, why, here))

    @property
    def log_left(self) -> bool:
        """Whether a forgotten name may still stand in the ledger's log, since somebody read it at that moment."""
        return self._ledger.log_left

    def today(self) -> str | None:
        """The day by the wall clock, None where it was never set."""
        wall = self._outside.clock.wall()
        return None if wall is None else wall[:10]

    def goes_on(self, person: PersonId) -> str | None:
        """The day on which a name goes unless the person is named again; None where names are kept until asked for."""
        days, seen = self._outside.site.people.keep_names_days, self._seen.get(person)
        return None if days is None or seen is None else _later(seen, days + GRACE_DAYS)

    def last_named(self, person: PersonId) -> str | None:
        """The last day on which a person was named, as far as it is known."""
        return self._seen.get(person)

    def tick(self) -> None:
        """Note who was named, and take away what is due; LedgerFailed as the ledger says."""
        if self._ledger.log_left:
            self._ledger.empty_log()
        today = self.today()
        if today is None:
            return
        for person in self.names:
            if person not in self._seen:
                self._see(person)  # named before days were noted: from now on
        if self._seen_new:
            self._ledger.see_people(self._seen_new)
            self._seen_new = {}
        self._let_go(today)

    def _let_go(self, today: str) -> None:
        days = self._outside.site.people.keep_names_days
        noted: dict[str, str] = dict(self._ledger.setting(GOING, {}))
        due = {p for p in self.names if days is not None and _later(self._seen.get(p, today), days) <= today}
        still = {p: day for p, day in noted.items() if p in due and day <= today}
        still |= {p: today for p in due if p not in still}
        gone = [PersonId(p) for p, day in still.items() if _later(day, GRACE_DAYS) <= today]
        if gone:
            self.forget(gone, FIELD, f"names are kept for {days} days")
        left = {p: day for p, day in still.items() if p not in gone}
        if left != noted:
            self._ledger.put_settings({GOING: left})

    def _see(self, person: PersonId) -> None:
        today = self.today()
        if today is not None and self._seen.get(person, "") < today and person in self.names:
            self._seen[person] = self._seen_new[person] = today


def _later(day: str, days: int) -> str:
    return (datetime.date.fromisoformat(day) + datetime.timedelta(days=days)).isoformat()

"""People by name: list, rename, forget."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fieldctl.controller.people import ASKED
from fieldctl.errors import BadInput
from fieldctl.events import ANYBODY, FIELD

if TYPE_CHECKING:
    from fieldctl.controller.access import Access
    from fieldctl.controller.controller import Controller

Row = dict[str, Any]


class PeopleVerbs:
    """The verbs about people's names."""

    def __init__(self, controller: Controller, access: Access) -> None:
        self._c = controller
        self._access = access

    async def list_all(self) -> Row:
        """Everybody who has a name here, when each was named last, and when the name goes."""
        book = self._c.book
        return {
            "people": [
                {
                    "person": person,
                    "name": name,
                    "last_named": book.last_named(person),
                    "goes_on": book.goes_on(person),
                }
                for person, name in sorted(book.names.items(), key=lambda row: (row[1].casefold(), row[0]))
            ],
            "forgotten": sorted(book.forgotten),
            "keep_names_days": self._c.site.people.keep_names_days,
            "log_left": book.log_left,
        }

    async def rename(self, person: str, name: str, by: str) -> Row:
        """Give a person another name; the ledger keeps the id."""
        who = self._c.book.known(person)
        self._c.person(by)
        self._c.book.rename(who, name)
        return {"person": who, "name": self._c.book.names[who]}

    async def forget(self, person: str, by: str) -> Row:
        """Take a person's name away for good, here and from every later backup; entries keep the id.

        Refused for the only one who is in charge.
        """
        if person.strip() in ("", FIELD, ANYBODY):
            raise BadInput(f"{person!r} is no person.", remedy="Look at the list: fieldctl person list.")
        book = self._c.book
        who = book.known(person)
        if who not in book.forgotten:
            self._access.not_the_last(who)
            asked_by = self._c.person(by)
            book.forget((who,), asked_by, ASKED)
            await self._c.settle()
        return {"person": who, "log_left": book.log_left}

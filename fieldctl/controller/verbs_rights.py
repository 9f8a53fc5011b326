"""Who may what, asked for by whoever is in charge: rights, codes that pair phones, phones that act no more."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

from fieldctl.controller.access import Access
from fieldctl.controller.access_state import TODAY
from fieldctl.controller.codes import LIVES_S
from fieldctl.errors import NotFound
from fieldctl.units import PersonId

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

Granted = Literal["watch", "instruct", "upkeep", "in-charge"]
Row = dict[str, Any]


class RightsVerbs:
    """The verbs about people's rights and phones."""

    def __init__(self, controller: Controller, access: Access) -> None:
        self._c = controller
        self._access = access

    async def list_all(self) -> Row:
        """Everybody who has a right, a phone or a password."""
        return {"people": self._access.rows()}

    async def give(self, person: str, right: Granted, by: str, until: str = TODAY) -> Row:
        """Give somebody a right: for today, for good, or until a moment (RFC 3339)."""
        who = self._access.person(person)
        await self._access.give(who, right, until, self._c.person(by))
        return self._access.row(who)

    async def take(self, person: str, right: Granted, by: str) -> Row:
        """Take a right from somebody."""
        who = self._known(person)
        await self._access.take(who, right, self._c.person(by))
        return self._access.row(who)

    async def phone_code(self, person: str, by: str) -> Row:
        """A code that pairs one phone for somebody who holds a right: once, within ten minutes."""
        who = self._known(person)
        text = await self._access.code("phone", who, self._c.person(by))
        name = self._c.people.get(who, "")
        return {"code": text, "path": f"/pair/{text}", "ends_s": LIVES_S, "person": who, "name": name}

    async def phone_end(self, phone: str, by: str) -> Row:
        """Let one phone act for nobody any more."""
        ended = await self._access.end_phone(phone, self._c.person(by), "ended")
        return self._access.row(ended.person)

    async def phone_end_all(self, person: str, by: str) -> Row:
        """Lost or stolen: end every phone, every waiting code and the password of a person; the rights stay."""
        who = self._known(person)
        ended = await self._access.end_all(who, self._c.person(by))
        return {"ended": ended, **self._access.row(who)}

    async def first_code(self, by: str) -> Row:
        """A code that lets somebody in who is in charge then: once, within ten minutes; for when nobody can sign in."""
        text = await self._access.code("first", PersonId(""), self._c.person(by))
        return {"code": text, "path": f"/first/{text}", "ends_s": LIVES_S}

    def _known(self, name: str) -> PersonId:
        who = self._access.named(name)
        if who is None:
            names = ", ".join(sorted(row["name"] for row in self._access.rows())) or "nobody yet"
            raise NotFound(
                f"Nobody here is called {name[:60]!r}.", expected=names, remedy="Give that name a right first."
            )
        return who

"""Alarms: what is in force, what a person says was mended, and a trial of the webhook."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fieldctl.controller.alarms import Alarm
from fieldctl.errors import BadInput, NotFound

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

Row = dict[str, Any]

REASON_MOST = 500  # letters


class AlarmVerbs:
    """The verbs about alarms."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller

    async def list_all(self) -> Row:
        """What is in force, what matters most first, and how the webhook fares."""
        return {"alarms": self._c.alarms.rows(), "webhook": self._c.hook.state()}

    async def clear(self, about: str, what: str, by: str, reason: str) -> Row:
        """Somebody says that it was mended; ends the alarm and nothing else: what is barred stays barred.

        What is still bad raises it again.
        """
        if not reason.strip():
            raise BadInput("Clearing an alarm needs a reason.", remedy="Say what was mended, and how it was seen.")
        if len(reason) > REASON_MOST:
            raise BadInput("The reason is too long.", expected=f"at most {REASON_MOST} letters", remedy="Shorten it.")
        alarm = self._find(about, what)
        await self._c.write(self._c.alarms.cleared(alarm, self._c.person(by), reason))
        return await self.list_all()

    def _find(self, about: str, what: str) -> Alarm:
        """An alarm by its word and the name or id of what it is about."""
        low = about.strip().lower()
        in_force = self._c.alarms.latched.listed()
        for alarm in in_force:
            fact = alarm.fact
            names = (fact.link,) if fact.target is None else (fact.target, self._c.names.get(fact.target, ""))
            if fact.what == what and low in [name.lower() for name in names if name]:
                return alarm
        rows = [f"{row['target'] or row['link']} {row['what']}" for row in self._c.alarms.rows()]
        raise NotFound(
            f"There is no alarm {what!r} of {about!r}.",
            expected=", ".join(rows) or "none",
            remedy="Look at the list: fieldctl alarm list.",
        )

    async def test(self) -> Row:
        """Send one alert through the webhook that says it is a test."""
        return await self._c.hook.test()

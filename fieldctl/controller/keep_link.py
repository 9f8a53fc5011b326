"""A link is opened, used by its line until it is lost, and opened anew: for ever, ever less hastily.

A broker knows one controller: a second one throws the first out. Each then waits a moment, so that the other is heard
and hears, and a controller that nobody obeys waits long: the one that steers keeps the link.
"""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from fieldctl.controller.ports import LinkConfig
from fieldctl.errors import FieldctlError
from fieldctl.events import LinkChanged
from fieldctl.units import US_PER_S

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller
    from fieldctl.controller.line import Line

BACKOFF_FIRST_S = 0.5
BACKOFF_MAX_S = 10.0
STEADY_US = 10 * US_PER_S  # a link that lived so long was not lost for the same reason as the one before
SUPERSEDED_WAITS = 60  # seconds: long against what the other needs to be back


async def keep_link(c: Controller, config: LinkConfig) -> None:
    """Keep one link of a controller until cancelled."""
    line = c.line_of(config)
    attempt = 0
    said = ""
    while True:
        try:
            link = await c.outside.open_link(config, line)
        except FieldctlError as error:
            if said != error.what:
                said = error.what
                c.pen.write(LinkChanged(config.name, False, str(error), c.outside.here()))
            await asyncio.sleep(_backoff_s(attempt))
            attempt += 1
            continue
        said, opened_us = "", c.outside.clock.now()
        c.pen.write(LinkChanged(config.name, True, "", c.outside.here()))
        line.lost.clear()
        line.begin(link)
        if c.all_off.state.in_force:
            c.all_off.again()
        if _superseded(c, line):
            _ask_whom_they_obey(c, line)
        try:
            await line.lost.wait()
        finally:
            line.end()
            await link.close()
        attempt = 0 if c.outside.clock.now() - opened_us >= STEADY_US else attempt + 1
        await asyncio.sleep(_backoff_s(attempt))
        for _ in range(SUPERSEDED_WAITS):
            if not _superseded(c, line):
                break
            await asyncio.sleep(1)


def _backoff_s(attempt: int) -> float:
    return float(min(BACKOFF_FIRST_S * 1.5**attempt, BACKOFF_MAX_S))


def _ask_whom_they_obey(c: Controller, line: Line) -> None:
    """The question for counters tells it, and disturbs nobody."""
    for known in list(c.known.values()):
        if known.line == line.name:
            c.open_again(known)


def _superseded(c: Controller, line: Line) -> bool:
    """Whether somebody on a line said that it obeys another controller; all off is sent all the same."""
    heard = (k for k in c.known.values() if k.line == line.name and k.generation is not None)
    return any(k.obeys_another(c.grants.generation) for k in heard) and not c.all_off.state.in_force

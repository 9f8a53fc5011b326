"""The pages beside the controller: should they fail, the field goes on without them, and says so."""

from __future__ import annotations

import asyncio
import logging
import socket
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from fieldctl.cli.cautions import CAUTIONS
from fieldctl.site.model import Pages

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller
    from fieldctl.controller.verbs import Desk
    from fieldctl.web.board import Board

TEMPLATES_AFTER_S = 1.0
AGAIN_AFTER_S = 2.0

_log = logging.getLogger(__name__)


async def run_pages(
    controller: Controller,
    desk: Desk,
    folder: Path,
    config: Pages,
    listener: socket.socket,
    say: Callable[[str], None],
    looking: Callable[[Board], None] = lambda _board: None,
) -> None:
    """Serve pages and API until cancelled; what nobody foresaw ends them for a moment, never the controller.

    `looking` is given the board, which knows how many look on.
    """
    from fieldctl.web.accounts import Accounts
    from fieldctl.web.app import make_app
    from fieldctl.web.board import Board
    from fieldctl.web.house import House
    from fieldctl.web.listening import address, hosts
    from fieldctl.web.server import serve

    with listener:
        while True:
            board, accounts = Board(controller), Accounts(controller, desk.access)
            house = House(controller, desk, accounts, board, config, hosts(config), bool(config.certificate), CAUTIONS)
            looking(board)
            code = accounts.first_code()
            if code is not None:
                say(f"Nobody in charge can come in yet. The first one: {address(listener, config)}/first/{code}")
            try:
                async with asyncio.TaskGroup() as group:
                    group.create_task(board.run(), name="board")
                    group.create_task(accounts.run(), name="accounts")
                    group.create_task(house.upkeep.run(house), name="upkeep")
                    group.create_task(_read_templates(), name="templates")
                    group.create_task(serve(make_app(house), listener.dup(), folder, config), name="pages")
            except* Exception as errors:
                _log.exception("the pages ended")
                say(f"The pages ended and begin anew; the field goes on: {errors.exceptions[0]}")
            finally:
                house.elsewhere.close()
            await asyncio.sleep(AGAIN_AFTER_S)


async def _read_templates() -> None:
    """Each takes up to 50 ms to compile: in a thread, and once the pages answer, so that no reader's page does it."""
    from fieldctl.web.paper import read_templates

    await asyncio.sleep(TEMPLATES_AFTER_S)
    await asyncio.to_thread(read_templates)

"""What every part of the web is given: the controller and its desk, people, rows, words. One for each serve."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fastapi import Request

from fieldctl.site.model import Pages
from fieldctl.web.elsewhere import Elsewhere
from fieldctl.web.upkeep_kept import Kept

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller
    from fieldctl.controller.verbs import Desk
    from fieldctl.web.accounts import Accounts
    from fieldctl.web.board import Board


@dataclass(frozen=True, slots=True)
class House:
    """The parts that pages, API and stream share."""

    controller: Controller
    desk: Desk
    accounts: Accounts
    board: Board
    config: Pages
    hosts: frozenset[str]  # host names that count, besides plain addresses
    secure: bool  # whether it is served over TLS
    cautions: tuple[str, ...] = ()
    elsewhere: Elsewhere = field(default_factory=Elsewhere)
    upkeep: Kept = field(default_factory=Kept)


def house_of(request: Request) -> House:
    """The house that serves a request."""
    house: House = request.app.state.house
    return house

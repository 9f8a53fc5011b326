"""The pages of debriefs over a field in memory: drawn in this process, by whoever a test lets ask."""

from __future__ import annotations

import contextlib
from types import SimpleNamespace
from typing import Any

import pytest
from api_kit import Web

from fieldctl.ledger.reader import Reader
from fieldctl.web import debrief_pages


def serve(monkeypatch: pytest.MonkeyPatch, w: Web) -> None:
    """Serve these pages too."""
    monkeypatch.setattr(Reader, "read", lambda _where: contextlib.nullcontext(w.made.ledger))

    async def run(work: Any, *given: Any) -> Any:
        return work(*given)

    w.app.state.house.elsewhere = SimpleNamespace(run=run)
    w.app.state.house.secure = True
    w.app.include_router(debrief_pages.router())

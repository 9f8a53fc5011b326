"""uvicorn inside the controller's own loop: it takes no signals, and leaves when it is cancelled."""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import uvicorn

from fieldctl.site.model import Pages
from fieldctl.web.connections import Connections, bounded

if TYPE_CHECKING:
    from fastapi import FastAPI

LEAVES_WITHIN_S = 2  # open streams are ended then


class _Server(uvicorn.Server):
    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Whoever runs the loop takes the signals: the field is switched off first."""
        yield


async def serve(app: FastAPI, listener: socket.socket, folder: Path, config: Pages) -> None:
    """Serve until cancelled; the listener is closed afterwards."""
    settings = uvicorn.Config(
        app,
        http=bounded(Connections()),
        log_config=None,
        access_log=False,
        server_header=False,
        lifespan="on",
        timeout_graceful_shutdown=LEAVES_WITHIN_S,
        ssl_certfile=str(folder / config.certificate) if config.certificate else None,
        ssl_keyfile=str(folder / config.certificate_key) if config.certificate_key else None,
    )
    server = _Server(settings)
    serving = asyncio.create_task(server.serve(sockets=[listener]), name="pages")
    try:
        await asyncio.shield(serving)
    finally:
        server.should_exit = True
        await asyncio.wait([serving], timeout=LEAVES_WITHIN_S + 1)
        serving.cancel()
        listener.close()

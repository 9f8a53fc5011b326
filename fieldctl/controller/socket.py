"""The control socket: lines of JSON over a Unix socket of mode 0600, both ends.

    request   {"id": 1, "verb": "exercise-start", "arguments": {…}}
    answer    {"id": 1, "ok": true, "result": {…}}   or   {"id": 1, "ok": false, "error": {code, what, …}}

Who may open the socket may do everything: the file's mode is the lock. A stale socket of a dead process is replaced.
"""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import json
import os
import socket as sockets
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldctl.errors import BadInput, FieldctlError, InUse, Unreachable

if TYPE_CHECKING:
    from fieldctl.controller.verbs import Desk

LINE_MAX = 1 << 20  # bytes; a status of 256 targets has about 200 kB
CLIENTS_MAX = 32
PATH_MAX = 100  # the system takes 107 bytes
ANSWER_WITHIN_S = 90.0  # a search for new targets takes a minute


def socket_path(folder: Path) -> Path:
    """Where a site's socket lies: in its folder, or in a short place where that path is too long for the system."""
    path = folder.resolve() / "control.sock"
    if len(os.fsencode(path)) <= PATH_MAX:
        return path
    name = hashlib.sha256(os.fsencode(folder.resolve())).hexdigest()[:16]
    return Path(os.environ.get("XDG_RUNTIME_DIR") or "/tmp") / f"fieldctl-{name}.sock"


class ControlServer:
    """Answers requests with the desk's verbs until cancelled."""

    def __init__(self, desk: Desk, path: Path) -> None:
        self._desk = desk
        self.path = path
        self._clients = 0

    async def run(self, ready: asyncio.Event | None = None) -> None:
        """Listen; InUse when a living process has the socket already."""
        self._make_room()
        old = os.umask(0o177)
        try:
            server = await asyncio.start_unix_server(self._client, path=str(self.path), limit=LINE_MAX)
        finally:
            os.umask(old)
        try:
            async with server:
                if ready is not None:
                    ready.set()
                await server.serve_forever()
        finally:
            self.path.unlink(missing_ok=True)

    def _make_room(self) -> None:
        if not self.path.exists():
            return
        with contextlib.closing(sockets.socket(sockets.AF_UNIX)) as probe:
            try:
                probe.connect(str(self.path))
            except OSError:
                self.path.unlink(missing_ok=True)  # nobody listens: its process is gone
                return
        raise InUse("Another fieldctl serves this site already.", remedy="Use that one, or stop it first.")

    async def _client(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._clients += 1
        try:
            while self._clients <= CLIENTS_MAX:
                try:
                    line = await reader.readuntil(b"\n")
                except (asyncio.IncompleteReadError, asyncio.LimitOverrunError, ConnectionError):
                    return
                writer.write(json.dumps(await self._answer(line)).encode() + b"\n")
                await writer.drain()
        except ConnectionError:
            return
        finally:
            self._clients -= 1
            writer.close()

    async def _answer(self, line: bytes) -> dict[str, Any]:
        number: Any = None
        try:
            request = json.loads(line)
            if not isinstance(request, dict):
                raise BadInput("A request is a JSON object.", remedy="Send one with id, verb and arguments.")
            number = request.get("id")
            arguments = request.get("arguments", {})
            if not isinstance(arguments, dict):
                raise BadInput("`arguments` is a JSON object.", remedy="Send one.")
            return {"id": number, "ok": True, "result": await self._desk.ask(str(request.get("verb")), arguments)}
        except FieldctlError as error:
            return {"id": number, "ok": False, "error": {**error.as_json(), "exit": error.exit_code}}
        except ValueError as error:
            bad = BadInput(f"This is no JSON: {error}.", remedy="Send one JSON object a line.")
            return {"id": number, "ok": False, "error": {**bad.as_json(), "exit": bad.exit_code}}


class Said(FieldctlError):
    """An error that the controller answered with."""

    def __init__(self, error: Mapping[str, Any]) -> None:
        super().__init__(str(error["what"]), expected=str(error["expected"]), remedy=str(error["remedy"]))
        self.said_code = str(error["code"])
        self.said_exit = int(error["exit"])

    def as_json(self) -> dict[str, object]:
        """As the base, with the code that was answered."""
        return {**super().as_json(), "code": self.said_code}


def ask(folder: Path, verb: str, arguments: Mapping[str, Any]) -> dict[str, Any]:
    """Ask the serving controller of a site; Unreachable where none serves, `Said` for what it refuses."""
    path = socket_path(folder)
    with contextlib.closing(sockets.socket(sockets.AF_UNIX)) as line:
        line.settimeout(ANSWER_WITHIN_S)
        try:
            line.connect(str(path))
            line.sendall(json.dumps({"id": 1, "verb": verb, "arguments": arguments}).encode() + b"\n")
            with line.makefile("rb") as answers:
                text = answers.readline(LINE_MAX)
        except TimeoutError:
            raise Unreachable("The controller does not answer.", remedy="Look at it: fieldctl doctor.") from None
        except PermissionError:
            raise Unreachable(
                f"The socket {path} is not yours.", remedy="Use the account that runs `fieldctl serve`."
            ) from None
        except OSError:
            raise Unreachable(
                f"No fieldctl serves the site in {folder}.",
                remedy=f"Start it: fieldctl serve --site {folder}",
            ) from None
    if not text:
        raise Unreachable("The controller closed the connection.", remedy="Look at its output, and try again.")
    answer = json.loads(text)
    if not answer["ok"]:
        raise Said(answer["error"])
    result: dict[str, Any] = answer["result"]
    return result

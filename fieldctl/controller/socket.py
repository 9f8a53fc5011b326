"""The control socket: lines of JSON over a Unix socket of mode 0600, both ends.

    request   {"id": 1, "verb": "exercise-start", "arguments": {…}}
    answer    {"id": 1, "ok": true, "result": {…}}   or   {"id": 1, "ok": false, "error": {code, what, …}}
    watch     {"id": 1, "verb": "watch"} is answered with a line for each entry that is committed from then on:
              {"id": 1, "ok": true, "entry": {seq, kind, wall, exercise, target}}, or "missed": n for those left out

Who may open the socket may do everything: the file's mode is the lock. A stale socket of a dead process is replaced.
Requests of one client are answered in their order; an urgent one (all off) takes a connection of its own.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import logging
import os
import socket as sockets
import stat
import struct
from collections import Counter, deque
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from fieldctl.errors import BadInput, Fault, FieldctlError, FileFaults, InUse, Refused, TimedOut, Unreachable

if TYPE_CHECKING:
    from fieldctl.controller.verbs import Desk
    from fieldctl.ledger.entry import Entry

REQUEST_MAX = 1 << 16  # bytes; the longest request of the command line has a few thousand
ANSWER_MAX = 1 << 24  # a status of 256 targets has about 200 kB, every exercise in mind some more
CLIENTS_MAX = 32  # one more ends the one that was silent longest, so that idle ones never keep an all off out
WATCH_MAX = 1024  # entries that wait for a client that watches
PATH_MAX = 100  # the system takes 107 bytes
ANSWER_WITHIN_S = 90.0  # a search for new targets takes a minute

Watchers = list[Callable[[tuple["Entry", ...]], None]]

_log = logging.getLogger(__name__)


def socket_path(folder: Path) -> Path:
    """Where a site's socket lies."""
    return folder.resolve() / "control.sock"


@contextlib.contextmanager
def _address(path: Path) -> Iterator[str]:
    """The path as the system takes it: a long one by way of its folder, held open meanwhile."""
    if len(os.fsencode(path)) <= PATH_MAX:
        yield str(path)
        return
    folder = os.open(path.parent, os.O_PATH | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        yield f"/proc/self/fd/{folder}/{path.name}"
    finally:
        os.close(folder)


# ---- the controller's end --------------------------------------------------------------------------------------


class ControlServer:
    """Answers requests with the desk's verbs until cancelled.

    Counts: clients, requests, too_long, evicted, not_accepted, faults.
    """

    def __init__(self, desk: Desk, path: Path, watchers: Watchers | None = None) -> None:
        self._desk = desk
        self.path = path
        self.counts: Counter[str] = Counter()
        self._watchers: Watchers = [] if watchers is None else watchers
        self._silent_since: dict[asyncio.Task[None], float] = {}  # by the client's last request
        self._unopened: set[sockets.socket] = set()  # accepted, and their task has not begun

    async def run(self, ready: asyncio.Event | None = None) -> None:
        """Listen; InUse names the living process that has the socket already, Refused says why none can be made."""
        loop = asyncio.get_running_loop()
        with contextlib.closing(self._listen()) as listener:
            own = os.stat(self.path)
            try:
                if ready is not None:
                    ready.set()
                async with asyncio.TaskGroup() as group:
                    loop.add_reader(listener, self._accept, listener, group)
                    try:
                        await loop.create_future()  # until cancelled
                    finally:
                        loop.remove_reader(listener)
            finally:
                with contextlib.suppress(OSError):
                    if os.path.samestat(os.stat(self.path), own):
                        self.path.unlink()

    def _listen(self) -> sockets.socket:
        self._make_room()
        listener = sockets.socket(sockets.AF_UNIX)
        old = os.umask(0o177)
        try:
            with _address(self.path) as address:
                listener.bind(address)
            listener.listen(CLIENTS_MAX)
            listener.setblocking(False)
        except OSError as error:
            listener.close()
            raise Refused(
                f"The control socket {self.path} cannot be made: {error.strerror or error}.",
                expected="a folder of this account on a disk of this machine",
                remedy="Make the site's folder writable for this account, or move the site to such a disk.",
            ) from None
        finally:
            os.umask(old)
        return listener

    def _make_room(self) -> None:
        try:
            mode = os.lstat(self.path).st_mode
        except OSError:
            return
        if not stat.S_ISSOCK(mode):
            raise Refused(
                f"{self.path} is there and is no socket.",
                expected="nothing of that name, or the socket of an earlier serve",
                remedy="Look at what it is, and move it away.",
            )
        with contextlib.closing(sockets.socket(sockets.AF_UNIX)) as probe:
            try:
                with _address(self.path) as address:
                    probe.connect(address)
            except OSError:
                self.path.unlink(missing_ok=True)  # nobody listens: its process is gone
                return
            pid = _peer(probe)
        raise InUse(
            f"Another fieldctl (process {pid}) serves this site already.",
            expected="one controller a site",
            remedy="Use that one, or stop it first.",
        )

    def _evict_one(self) -> None:
        if len(self._silent_since) >= CLIENTS_MAX:
            longest = min(self._silent_since, key=lambda task: self._silent_since[task])
            del self._silent_since[longest]
            longest.cancel()
            self.counts["evicted"] += 1
            _log.warning("%d clients at the control socket: the one that was silent longest was let go", CLIENTS_MAX)

    def _accept(self, listener: sockets.socket, group: asyncio.TaskGroup) -> None:
        try:
            client, _ = listener.accept()
        except OSError:  # gone again, or no descriptor is free: then the next round of the loop tries once more
            self.counts["not_accepted"] += 1
            return
        self._evict_one()
        self.counts["clients"] += 1
        client.setblocking(False)
        self._unopened.add(client)
        task = group.create_task(self._client(client, group), name=f"control client {self.counts['clients']}")
        self._silent_since[task] = asyncio.get_running_loop().time()
        task.add_done_callback(partial(self._gone, client))

    def _gone(self, client: sockets.socket, task: asyncio.Task[None]) -> None:
        """A client's task has ended, perhaps before it began."""
        self._silent_since.pop(task, None)
        if client in self._unopened:
            self._unopened.remove(client)
            client.close()

    async def _client(self, client: sockets.socket, group: asyncio.TaskGroup) -> None:
        me = asyncio.current_task()
        assert me is not None
        reader, writer = await asyncio.open_unix_connection(sock=client, limit=REQUEST_MAX)
        self._unopened.remove(client)
        try:
            while True:
                line = await reader.readuntil(b"\n")
                self.counts["requests"] += 1
                self._silent_since[me] = asyncio.get_running_loop().time()
                request = _request(line)
                if request.get("verb") == "watch":
                    await self._watch(request.get("id"), reader, writer)
                    return
                # a verb that began is carried to its end, though its client goes away
                _send(writer, await asyncio.shield(group.create_task(self._answer(request))))
                await writer.drain()
        except (asyncio.IncompleteReadError, ConnectionError):
            return
        except asyncio.LimitOverrunError:
            self.counts["too_long"] += 1
            bad = BadInput(
                "A request is too long.", expected=f"at most {REQUEST_MAX} bytes a line", remedy="Ask for less at once."
            )
            _send(writer, _failed(None, bad))
        finally:
            writer.close()

    async def _answer(self, request: Mapping[str, Any]) -> dict[str, Any]:
        number = request.get("id")
        try:
            arguments = request.get("arguments", {})
            if not isinstance(arguments, dict):
                raise BadInput("`arguments` is a JSON object.", remedy="Send one.")
            if "bad" in request:
                raise request["bad"]
            return {"id": number, "ok": True, "result": await self._desk.ask(str(request.get("verb")), arguments)}
        except FieldctlError as error:
            return _failed(number, error)
        except Exception as error:  # a fault of ours: whoever asked is told, and the field goes on
            self.counts["faults"] += 1
            _log.exception("the verb %r failed", request.get("verb"))
            return _failed(number, fault_of_ours(error))

    async def _watch(self, number: Any, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Give each committed entry on until the client goes away."""
        waiting: deque[dict[str, Any]] = deque()
        missed = 0
        wake = asyncio.Event()

        def tell(entries: tuple[Entry, ...]) -> None:
            nonlocal missed
            for entry in entries:
                if len(waiting) < WATCH_MAX:
                    waiting.append(_entry(entry))
                else:
                    missed += 1
            wake.set()

        gone = asyncio.ensure_future(reader.read(1))  # who watches says nothing more: this is the end of the line
        gone.add_done_callback(lambda _: wake.set())
        self._watchers.append(tell)
        try:
            _send(writer, {"id": number, "ok": True, "result": {"watching": True}})
            while not gone.done():
                while waiting:
                    _send(writer, {"id": number, "ok": True, "entry": waiting.popleft()})
                    await writer.drain()
                if missed:
                    left, missed = missed, 0
                    _send(writer, {"id": number, "ok": True, "missed": left})
                await writer.drain()
                await wake.wait()
                wake.clear()
        finally:
            self._watchers.remove(tell)
            gone.cancel()
            await asyncio.wait([gone])
            if not gone.cancelled():
                gone.exception()


def fault_of_ours(error: BaseException) -> FieldctlError:
    """What people are told of an error that nobody foresaw."""
    return FieldctlError(
        f"A fault of fieldctl itself: {type(error).__name__}: {error}.",
        remedy="Try again; if it comes back, keep the ledger and report this line.",
    )


def _request(line: bytes) -> dict[str, Any]:
    """The request of a line; what is wrong with it stands under "bad"."""
    try:
        request = json.loads(line, parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        return {"bad": BadInput(f"This is no JSON: {error}.", remedy="Send one JSON object a line.")}
    if not isinstance(request, dict):
        return {"bad": BadInput("A request is a JSON object.", remedy="Send one with id, verb and arguments.")}
    request.pop("bad", None)
    return request


def _no_constant(word: str) -> NoReturn:
    raise ValueError(f"{word} is no number")


def _entry(entry: Entry) -> dict[str, Any]:
    fact = entry.fact
    return {
        "seq": entry.seq,
        "kind": type(fact).__name__,
        "wall": entry.wall,
        "exercise": getattr(fact, "exercise", None),
        "target": getattr(fact, "target", None),
    }


def _failed(number: Any, error: FieldctlError) -> dict[str, Any]:
    return {"id": number, "ok": False, "error": {**error.as_json(), "exit": error.exit_code}}


def _send(writer: asyncio.StreamWriter, row: Mapping[str, Any]) -> None:
    writer.write(json.dumps(row).encode() + b"\n")


def _peer(connected: sockets.socket) -> int:
    """The process at the other end."""
    pid: int = struct.unpack("3i", connected.getsockopt(sockets.SOL_SOCKET, sockets.SO_PEERCRED, 12))[0]
    return pid


# ---- the other end ---------------------------------------------------------------------------------------------


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
    """Ask the serving controller of a site; Unreachable where none serves, TimedOut, `Said` for what it refuses."""
    with contextlib.closing(_connected(folder)) as line, line.makefile("rb") as answers:
        try:
            line.sendall(json.dumps({"id": 1, "verb": verb, "arguments": arguments}).encode() + b"\n")
            text = answers.readline(ANSWER_MAX)
        except TimeoutError:
            raise TimedOut(
                f"The controller did not answer within {ANSWER_WITHIN_S:g} s.",
                remedy="Look whether it still lives: fieldctl doctor. Whether the order was carried out is not known.",
            ) from None
        except OSError as error:
            raise _closed(str(error)) from None
    return _result(text)


def watch(folder: Path) -> Iterator[dict[str, Any]]:
    """Each entry that is committed from now on ({"entry": …}), or how many were missed; ends when the serve does."""
    with contextlib.closing(_connected(folder)) as line, line.makefile("rb") as answers:
        line.sendall(b'{"id": 1, "verb": "watch"}\n')
        _result(answers.readline(ANSWER_MAX))
        line.settimeout(None)
        for text in answers:
            row = json.loads(text)
            yield {key: row[key] for key in ("entry", "missed") if key in row}


def _connected(folder: Path) -> sockets.socket:
    path = socket_path(folder)
    line = sockets.socket(sockets.AF_UNIX)
    line.settimeout(ANSWER_WITHIN_S)
    try:
        with _address(path) as address:
            line.connect(address)
    except PermissionError:
        line.close()
        raise Unreachable(
            f"The socket {path} is not yours.", remedy="Use the account that runs `fieldctl serve`."
        ) from None
    except OSError:
        line.close()
        raise Unreachable(
            f"No fieldctl serves the site in {folder.resolve()}.",
            remedy=f"Start it: fieldctl serve --site {folder}",
        ) from None
    return line


def _closed(why: str = "") -> Unreachable:
    return Unreachable(
        "The controller closed the connection" + (f" ({why})." if why else "."),
        remedy="Look at its output, and try again.",
    )


def _result(text: bytes) -> dict[str, Any]:
    if not text.endswith(b"\n"):
        raise _closed()
    answer = json.loads(text)
    if not answer["ok"]:
        error = answer["error"]
        raise FileFaults([Fault(**row) for row in error["faults"]]) if "faults" in error else Said(error)
    result: dict[str, Any] = answer["result"]
    return result

"""The control socket by itself: junk, crowds, long paths, dead and living holders, and who watches."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import socket as sockets
import stat
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from fieldctl.controller import socket
from fieldctl.controller.socket import ControlServer
from fieldctl.errors import Fault, FileFaults, InUse, Refused, Unreachable
from fieldctl.events import SurfaceRenewed
from fieldctl.units import HostTime, PersonId


class Desk:
    """Answers a few verbs."""

    def __init__(self) -> None:
        self.asked: list[str] = []
        self.go_on = asyncio.Event()

    async def ask(self, name: str, arguments: dict[str, Any]) -> dict[str, Any]:
        self.asked.append(name)
        match name:
            case "slow":
                await self.go_on.wait()
                self.asked.append("slow done")
            case "faults":
                raise FileFaults([Fault("drills/a.toml", 3, "title", "it is empty", "a text", "Give one.")])
            case "bug":
                raise KeyError("nobody foresaw this")
            case "big":
                return {"text": "x" * (socket.REQUEST_MAX * 8)}
        return {"verb": name, **arguments}


@contextlib.asynccontextmanager
async def serving(path: Path, watchers: list[Callable[..., None]] | None = None) -> AsyncIterator[ControlServer]:
    server = ControlServer(Desk(), path, watchers)  # type: ignore[arg-type]
    ready = asyncio.Event()
    task = asyncio.create_task(server.run(ready))
    waiting = asyncio.create_task(ready.wait())
    await asyncio.wait([task, waiting], return_when=asyncio.FIRST_COMPLETED)
    if task.done():
        waiting.cancel()
        task.result()
    try:
        yield server
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


async def ask(folder: Path, verb: str, **arguments: Any) -> dict[str, Any]:
    return await asyncio.to_thread(socket.ask, folder, verb, arguments)


async def said(path: Path, raw: bytes) -> dict[str, Any]:
    reader, writer = await asyncio.open_unix_connection(str(path), limit=socket.ANSWER_MAX)
    writer.write(raw)
    answer: dict[str, Any] = json.loads(await reader.readline())
    writer.close()
    return answer


async def test_asked_and_answered_by_its_owner_alone(tmp_path: Path) -> None:
    path = socket.socket_path(tmp_path)
    async with serving(path):
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert await ask(tmp_path, "status", a=1) == {"verb": "status", "a": 1}
        assert len((await ask(tmp_path, "big"))["text"]) == socket.REQUEST_MAX * 8
    assert not path.exists()


@pytest.mark.parametrize(
    ("raw", "wrong"),
    [
        (b"\xff\xfe\n", "no JSON"),
        (b"{\n", "no JSON"),
        (b"[1]\n", "JSON object"),
        (b'{"id": 3, "verb": "status", "arguments": [1]}\n', "JSON object"),
        (b'{"id": 3, "verb": "status", "arguments": {"n": NaN}}\n', "no JSON"),
        (b"[" * 20_000 + b"\n", "no JSON"),
        (b'{"verb": "' + b"x" * socket.REQUEST_MAX + b'"}\n', "too long"),
    ],
)
async def test_junk_is_answered_in_words_and_the_next_one_is_served(tmp_path: Path, raw: bytes, wrong: str) -> None:
    path = socket.socket_path(tmp_path)
    async with serving(path) as server:
        answer = await said(path, raw)
        assert not answer["ok"]
        assert wrong in answer["error"]["what"]
        assert (await ask(tmp_path, "status"))["verb"] == "status"
        assert server.counts["too_long"] == (wrong == "too long")


async def test_a_fault_of_ours_is_said_and_counted_and_the_field_goes_on(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    async with serving(socket.socket_path(tmp_path)) as server:
        with pytest.raises(socket.Said, match="A fault of fieldctl itself: KeyError"):
            await ask(tmp_path, "bug")
        assert server.counts["faults"] == 1
        assert (await ask(tmp_path, "status"))["verb"] == "status"
    assert "the verb 'bug' failed" in caplog.text


async def test_faults_of_files_come_with_every_line(tmp_path: Path) -> None:
    async with serving(socket.socket_path(tmp_path)):
        with pytest.raises(FileFaults) as caught:
            await ask(tmp_path, "faults")
    assert caught.value.faults[0].line == 3
    assert "drills/a.toml:3" in str(caught.value)


async def test_a_path_longer_than_the_system_takes(tmp_path: Path) -> None:
    folder = tmp_path / ("long" * 25) / ("longer" * 20)
    folder.mkdir(parents=True)
    path = socket.socket_path(folder)
    assert len(os.fsencode(path)) > 200
    async with serving(path):
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert await ask(folder, "status") == {"verb": "status"}
        with pytest.raises(InUse, match=f"process {os.getpid()}"):
            async with serving(path):
                pass
    assert not path.exists()


async def test_a_dead_socket_is_replaced_and_another_file_is_not(tmp_path: Path) -> None:
    path = socket.socket_path(tmp_path)
    with contextlib.closing(sockets.socket(sockets.AF_UNIX)) as dead:
        dead.bind(str(path))
    with pytest.raises(Unreachable, match="No fieldctl serves"):
        await ask(tmp_path, "status")
    async with serving(path):
        assert (await ask(tmp_path, "status"))["verb"] == "status"
    path.write_text("a note of somebody")
    with pytest.raises(Refused, match="is no socket"):
        async with serving(path):
            pass
    assert path.read_text() == "a note of somebody"


async def test_who_went_away_does_not_take_the_verb_with_him(tmp_path: Path) -> None:
    path = socket.socket_path(tmp_path)
    async with serving(path) as server:
        desk: Any = server._desk
        _, writer = await asyncio.open_unix_connection(str(path))
        writer.write(b'{"id": 1, "verb": "slow"}\n')
        await writer.drain()
        while "slow" not in desk.asked:
            await asyncio.sleep(0)
        writer.close()
        assert (await ask(tmp_path, "all-off"))["verb"] == "all-off"  # and nobody waits for it
        desk.go_on.set()
        while "slow done" not in desk.asked:
            await asyncio.sleep(0)


async def test_a_crowd_of_idle_clients_keeps_nobody_out(tmp_path: Path) -> None:
    path = socket.socket_path(tmp_path)
    async with serving(path) as server:
        crowd = [await asyncio.open_unix_connection(str(path)) for _ in range(socket.CLIENTS_MAX + 5)]
        assert (await ask(tmp_path, "all-off"))["verb"] == "all-off"
        assert server.counts["evicted"] == 6
        assert await crowd[0][0].read() == b""
        for _, writer in crowd:
            writer.close()


def entry(seq: int) -> Any:
    at = HostTime("b", seq)
    return SimpleNamespace(seq=seq, wall=None, fact=SurfaceRenewed(None, "tilled", PersonId("p"), at))


async def test_who_watches_is_told_each_entry_and_what_was_left_out(tmp_path: Path) -> None:
    path = socket.socket_path(tmp_path)
    watchers: list[Callable[..., None]] = []
    async with serving(path, watchers):
        reader, writer = await asyncio.open_unix_connection(str(path))
        writer.write(b'{"id": 7, "verb": "watch"}\n')
        assert json.loads(await reader.readline())["result"] == {"watching": True}
        watchers[0]((entry(1), entry(2)))
        rows = [json.loads(await reader.readline()) for _ in range(2)]
        assert [r["entry"]["seq"] for r in rows] == [1, 2]
        assert rows[0]["entry"]["kind"] == "SurfaceRenewed"
        watchers[0](tuple(entry(n) for n in range(socket.WATCH_MAX + 3)))
        rows = [json.loads(await reader.readline()) for _ in range(socket.WATCH_MAX + 1)]
        assert rows[-1] == {"id": 7, "ok": True, "missed": 3}
        writer.close()
        while watchers:
            await asyncio.sleep(0)
    assert watchers == []


async def test_it_ends_at_once_though_clients_stay(tmp_path: Path) -> None:
    path = socket.socket_path(tmp_path)
    async with serving(path):
        idle = await asyncio.open_unix_connection(str(path))
        watching = await asyncio.open_unix_connection(str(path))
        watching[1].write(b'{"verb": "watch"}\n')
        await watching[0].readline()
    for reader, writer in (idle, watching):
        assert await asyncio.wait_for(reader.read(), 1) == b""
        writer.close()

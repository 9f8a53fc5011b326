"""A broker of one's own, on loopback: Mosquitto as a child process where the machine has it, else amqtt.

Mosquitto runs with the very configuration that a park runs (`fieldctl.links.mosquitto`), in a folder of its
own that goes with it, and ends with the process that started it. amqtt runs inside this process: MQTT 3.1.1
only, and it passes retained messages round its access list, so it is for a demo on loopback and for
nothing else. `lacks` says what is then missing; `start_broker` logs it.
"""

from __future__ import annotations

import asyncio
import contextlib
import getpass
import logging
import secrets
import shutil
import signal
import socket
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Protocol

from fieldctl.errors import Unreachable
from fieldctl.links.broker_at import BrokerAt
from fieldctl.links.mosquitto import Listen, broker_files, broker_users, write_broker_files
from fieldctl.units import TargetId

LOOPBACK = "127.0.0.1"
READY_S = 5.0  # Mosquitto takes 6 to 14 ms on an idle machine
READY_STEP_S = 0.002
PORT_TRIES = 5  # a port that was free a moment ago may be taken by somebody else
STOP_S = 3.0

_log = logging.getLogger(__name__)


class Broker(Protocol):
    """A running broker."""

    port: int
    lacks: tuple[str, ...]
    """What it cannot do, in words for people; empty for Mosquitto."""

    def login(self, user: str) -> BrokerAt:
        """Where to go as `user`: "controller", a target id, or "bridge-" and its name."""

    async def stop(self) -> None:
        """End it and leave nothing behind. May be called twice."""


def find_mosquitto() -> str | None:
    """The program, also where Debian puts it and an ordinary user's PATH does not lead."""
    return shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")


async def start_broker(
    site: str, targets: Sequence[TargetId], *, bridges: Mapping[str, Sequence[TargetId]] | None = None
) -> Broker:
    """A broker for `site` with a user for each target, bridge and the controller."""
    behind = bridges or {}
    passwords = {user: secrets.token_urlsafe(18) for user in broker_users(targets, behind)}
    program = find_mosquitto()
    if program is not None:
        return await Mosquitto.start(program, site, targets, behind, passwords)
    from sims.broker_amqtt import Amqtt  # 80 ms to import, and only here

    broker = await Amqtt.start(site, free_port(), behind, passwords)
    for lack in broker.lacks:
        _log.warning("No mosquitto on this machine, so a small broker runs inside this process: %s", lack)
    return broker


class Mosquitto:
    """The real one, as a child."""

    lacks: tuple[str, ...] = ()

    def __init__(self, port: int, folder: Path, passwords: Mapping[str, str]) -> None:
        self.port = port
        self.folder = folder
        self.passwords = passwords
        self._child: asyncio.subprocess.Process | None = None

    @classmethod
    async def start(
        cls,
        program: str,
        site: str,
        targets: Sequence[TargetId],
        bridges: Mapping[str, Sequence[TargetId]],
        passwords: Mapping[str, str],
        tls: tuple[str, str] | None = None,
    ) -> Mosquitto:
        """Start and wait until it listens; `tls` is certificate and key. Unreachable with its last words otherwise."""
        folder = Path(tempfile.mkdtemp(prefix="fieldctl-broker-"))
        try:
            for _ in range(PORT_TRIES):
                broker = cls(free_port(), folder, passwords)
                listen = Listen(broker.port, LOOPBACK, *(tls or ()))
                files = broker_files(
                    site,
                    targets,
                    passwords=passwords,
                    salt=lambda: secrets.token_bytes(12),
                    folder=str(folder),
                    listen=listen,
                    bridges=bridges,
                    run_as=getpass.getuser(),
                )
                write_broker_files(files, folder)
                if await broker._run(program):
                    return broker
            said = (folder / "log").read_text(errors="replace").strip()
        except BaseException:
            shutil.rmtree(folder, ignore_errors=True)
            raise
        shutil.rmtree(folder, ignore_errors=True)
        raise Unreachable(
            f"Mosquitto ({program}) did not start: {said}",
            expected="Mosquitto 2.0 or later",
            remedy="Read its words above; on Debian: apt install mosquitto.",
        )

    @property
    def pid(self) -> int:
        """The child's process number."""
        assert self._child is not None, "not started"
        return self._child.pid

    def login(self, user: str) -> BrokerAt:
        """Where to go as `user`."""
        return BrokerAt(LOOPBACK, self.port, user, self.passwords[user])

    def log(self) -> str:
        """What it said so far."""
        return (self.folder / "log").read_text(errors="replace")

    def kill(self) -> None:
        """Let it die without a word, as in a power cut."""
        assert self._child is not None, "not started"
        self._child.kill()

    def reload(self) -> None:
        """Read users and access list anew."""
        assert self._child is not None, "not started"
        self._child.send_signal(signal.SIGHUP)

    async def stop(self) -> None:
        """End the child and remove its folder."""
        child = self._child
        if child is not None and child.returncode is None:
            with contextlib.suppress(ProcessLookupError):
                child.terminate()
            try:
                async with asyncio.timeout(STOP_S):
                    await child.wait()
            except TimeoutError:
                child.kill()
                await child.wait()
        shutil.rmtree(self.folder, ignore_errors=True)

    async def _run(self, program: str) -> bool:
        """Start the child; whether it came to listen."""
        command = [program, "-c", str(self.folder / "mosquitto.conf")]
        with_parent = shutil.which("setpriv")
        if with_parent:  # a parent that is killed takes its broker with it
            command = [with_parent, "--pdeathsig", "TERM", "--", *command]
        with (self.folder / "log").open("wb") as log:
            self._child = await asyncio.create_subprocess_exec(
                *command,
                stdin=asyncio.subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                process_group=0,  # no Ctrl-C of ours
            )
        try:
            async with asyncio.timeout(READY_S):
                while self._child.returncode is None:
                    if await self._listens():
                        return True
                    await asyncio.sleep(READY_STEP_S)
        except TimeoutError:
            self._child.kill()
        await self._child.wait()
        return False

    async def _listens(self) -> bool:
        """Whether this very child took a connection: another program may have the port."""
        try:
            _, writer = await asyncio.open_connection(LOOPBACK, self.port)
        except OSError:
            return False
        ours = f"New connection from {LOOPBACK}:{writer.get_extra_info('sockname')[1]} "
        writer.close()
        with contextlib.suppress(OSError):
            await writer.wait_closed()
        return ours in self.log()


def free_port() -> int:
    """A loopback port that nobody listens on at this moment."""
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        return int(probe.getsockname()[1])

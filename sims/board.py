"""An emulated board: compiled firmware on QEMU's mps2-an385 (Cortex-M3), its UART on a unix socket of ours.

    image = build_image()
    async with Board(folder, Label(hardware, secret), image) as board:
        board.on_bytes = print
        await board.power_on()
        board.write(frames.encode(payload))
        board.power_cut()                       the emulator is killed; the file (`board.bench`) has what was written
        await board.power_on()

    python -m sims.board --serve 7000           one board behind a TCP port on loopback: see `sims.board_serve`

The emulator connects to a socket of ours and to nothing else; it ends with the process that started it. In real time
its clock is the host's CLOCK_MONOTONIC; with `virtual=True` time is counted in instructions and waiting costs none, so
that minutes of keying take a second: then nothing outside may answer in real time.
"""

from __future__ import annotations

import asyncio
import contextlib
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Self

from fieldctl.errors import TimedOut, Unreachable
from sims.board_bench import MAGIC, Bench, Label

QEMU = "qemu-system-arm"
COMPILER = "arm-none-eabi-gcc"
SOURCES = Path(__file__).resolve().parent.parent / "firmware_stubs"
MAKEFILES = ("-f", "Makefile", "-f", "port/mps2_an385/board.mk")
IMAGE = "build/mps2_an385/target.elf"
BUILD_WITHIN_S = 120.0
BEGINS_WITHIN_S = 10.0
LOOKS_EVERY_S = 0.002
WITH_PARENT = ("setpriv", "--pdeathsig", "KILL", "--")


async def build_image(goal: str = "board", image: str = IMAGE) -> Path:
    """Compile a board's program if it is older than its sources; Unreachable without what boards need on a machine."""
    if not (SOURCES / "Makefile").is_file():
        raise Unreachable(
            "The firmware's sources are not here.",
            expected=f"firmware_stubs beside {Path(__file__).parent.name}, as in a checkout of the project",
            remedy="Run this from a checkout (pip install -e .), or use --targets python.",
        )
    _need(QEMU, "qemu-system-arm")
    _need("make", "make")
    _need(COMPILER, "gcc-arm-none-eabi libnewlib-arm-none-eabi")
    child = await asyncio.create_subprocess_exec(
        "make",
        "-s",
        "-C",
        str(SOURCES),
        *MAKEFILES,
        goal,
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.STDOUT,
    )
    try:
        said, _ = await asyncio.wait_for(child.communicate(), BUILD_WITHIN_S)
    except TimeoutError:
        child.kill()
        await child.wait()
        raise TimedOut(
            "Compiling the firmware took too long.", remedy=f"Run make -C {SOURCES} {goal} yourself."
        ) from None
    if child.returncode != 0:
        raise Unreachable(
            f"The firmware did not compile: {said.decode(errors='replace').strip()[-2000:]}",
            expected=f"a cross compiler that makes {goal} of what is in {SOURCES}",
            remedy="Read its words; on Debian: apt-get install gcc-arm-none-eabi libnewlib-arm-none-eabi.",
        )
    return SOURCES / image


def _need(program: str, packages: str) -> str:
    found = shutil.which(program)
    if found is None:
        raise Unreachable(
            f"{program} is not on this machine.",
            expected="QEMU for Arm and a cross compiler, for emulated boards",
            remedy=f"On Debian: apt-get install {packages}. Or use --targets python, which needs neither.",
        )
    return found


class _Wire(asyncio.Protocol):
    """The socket that the emulator's UART is connected to."""

    def __init__(self, board: Board) -> None:
        self._board = board

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._board._wire = transport  # type: ignore[assignment]

    def data_received(self, data: bytes) -> None:
        self._board.on_bytes(data)

    def connection_lost(self, exc: Exception | None) -> None:  # noqa: ARG002
        self._board._wire = None


class Board:
    """One board; `bench` is its file, `said` what it wrote on its second UART."""

    def __init__(
        self, folder: Path, label: Label | None, image: Path, *, virtual: bool = False, noise: int = 48
    ) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder
        self.image = image
        self.virtual = virtual
        self.bench = Bench(folder / "memory", label, noise=noise)
        self.on_bytes: Callable[[bytes], object] = lambda _data: None
        self._wire: asyncio.Transport | None = None
        self._server: asyncio.Server | None = None
        self._child: asyncio.subprocess.Process | None = None
        self._sockets = tempfile.mkdtemp(prefix="fieldctl-board-")  # a unix socket's path may have 107 characters

    async def __aenter__(self) -> Self:
        path = f"{self._sockets}/uart"
        self._server = await asyncio.get_running_loop().create_unix_server(lambda: _Wire(self), path)
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self.power_off()
        if self._server is not None:
            self._server.close()
        self.bench.close()
        shutil.rmtree(self._sockets, ignore_errors=True)

    @property
    def on(self) -> bool:
        """Whether the emulator runs."""
        return self._child is not None and self._child.returncode is None

    @property
    def pid(self) -> int:
        """The emulator's process number."""
        assert self._child is not None, "never powered on"
        return self._child.pid

    @property
    def said(self) -> str:
        """The text that it wrote for people, of its last start."""
        with contextlib.suppress(OSError):
            return (self.folder / "said").read_text(errors="replace")
        return ""

    async def power_on(self) -> None:
        """Start the emulator on its file and wait until the program has begun."""
        assert self._wire is None, "it is on"
        self.bench.wake()
        command = [
            _need(QEMU, "qemu-system-arm"),
            *("-M", "mps2-an385,memory-backend=outside"),
            *("-object", f"memory-backend-file,id=outside,size=16M,share=on,mem-path={self.bench.path}"),
            *("-nodefaults", "-no-user-config", "-display", "none", "-monitor", "none"),
            *("-chardev", f"socket,id=bus,path={self._sockets}/uart", "-serial", "chardev:bus"),
            *("-chardev", f"file,id=text,path={self.folder / 'said'}", "-serial", "chardev:text"),
            *("-kernel", str(self.image)),
        ]
        if self.virtual:
            command += ["-icount", "shift=6,sleep=off"]  # 64 ns an instruction: 15 million a second
        if shutil.which(WITH_PARENT[0]):
            command = [*WITH_PARENT, *command]
        with (self.folder / "emulator.log").open("wb") as log:
            self._child = await asyncio.create_subprocess_exec(
                *command, stdin=asyncio.subprocess.DEVNULL, stdout=log, stderr=log, process_group=0
            )
        with contextlib.suppress(TimedOut):
            await self.stands(lambda bench: not self.on or (self._wire is not None and bench["magic"] == MAGIC))
            if self.on:
                return
        await self.power_off()
        words = (self.folder / "emulator.log").read_text(errors="replace").strip()
        raise Unreachable(
            f"The emulated board did not begin: {words or 'it said nothing'}",
            expected=f"{QEMU} 7.2 or later with mps2-an385",
            remedy="Read its words; on Debian: apt-get install qemu-system-arm.",
        )

    def power_cut(self) -> None:
        """The power goes, in the middle of whatever it is doing."""
        if self._child is not None and self._child.returncode is None:
            self._child.kill()

    async def power_off(self) -> None:
        """Cut the power and wait until the emulator is gone."""
        self.power_cut()
        if self._child is not None:
            await self._child.wait()
        while self._wire is not None:
            self._wire.abort()
            await asyncio.sleep(0)

    def write(self, data: bytes) -> bool:
        """Bytes for its UART; False when nobody is there to take them."""
        if self._wire is None:
            return False
        self._wire.write(data)
        return True

    async def stands(self, holds: Callable[[Bench], bool], within_s: float = BEGINS_WITHIN_S) -> None:
        """Wait until something holds of its bench; TimedOut otherwise."""
        try:
            async with asyncio.timeout(within_s):
                while not holds(self.bench):
                    await asyncio.sleep(LOOKS_EVERY_S)
        except TimeoutError:
            raise TimedOut(
                f"What was waited for at an emulated board did not come within {within_s:g} s.",
                remedy="Look at its text and its emulator's words in its folder.",
            ) from None


if __name__ == "__main__":
    from sims.board_serve import main

    raise SystemExit(main())

"""A serial bus: pyserial finds, opens and sets up the port, the loop reads and writes its descriptor.

pyserial's own write is never used: with no timeout it spins while the device does not drain, and freezes
the loop. Here a burst goes straight to `os.write`; what the system does not take waits in a bounded buffer
and goes when the descriptor is writable. One read for each turn of the loop, so that a babbling adapter
cannot starve the other links. POSIX only: elsewhere the loop cannot watch a port.

A second opener meets `InUse`. The lock is `flock`, not TIOCEXCL: the latter outlives a killed holder
for as long as the other end of a pseudo-terminal lives, and does not stop root.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import fcntl
import os
import struct
import termios
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import serial
from serial.tools import list_ports as pyserial_ports

from fieldctl.errors import InUse, LinkDown, NotFound, Unreachable
from fieldctl.links.link import Now, OneLife, Receiver
from fieldctl.links.port_notes import Holder, PortNote, holder_of, notes_folder
from fieldctl.units import HostUs, TargetId

BAUD = 115_200  # 8N1; the bit rate has its spectral zero near 457 kHz (design, section 5: quiet bus)
READ_MAX = 4096  # a full line buffer of the system; at 115 200 baud a third of a second
UNSENT_MAX = 2048  # 16 of the longest frames, 178 ms on the wire: more waiting than that is a device that hangs
CLOSE_GRACE_S = 0.25  # the last bytes (an all off) get this long to leave; UNSENT_MAX takes 178 ms
CLOSE_STEP_S = 0.005


@dataclass(frozen=True, slots=True)
class PortInfo:
    """A serial port that this machine has; `held_by` is None when nobody known has it open."""

    port: str
    description: str
    hardware: str
    held_by: Holder | None


def list_ports(folder: Path | None = None) -> Sequence[PortInfo]:
    """All serial ports of this machine, sorted by name, with who holds each."""
    notes = folder or notes_folder()
    found = sorted(pyserial_ports.comports(), key=lambda p: p.device)
    return [PortInfo(p.device, p.description or "", p.hwid or "", holder_of(p.device, notes)) for p in found]


class SerialBus(OneLife):
    """A stream link over one port. Counts: bytes_in, reads, bytes_out, sends, full, sent_when_dead, overtaken."""

    kind = "serial"

    def __init__(self, port: serial.Serial, note: PortNote, receiver: Receiver, now: Now) -> None:
        self._loop = asyncio.get_running_loop()
        super().__init__(str(port.port), receiver, self._loop.call_soon)
        self._port = port
        self._fd: int = port.fileno()
        self._note = note
        self._now = now
        self._unsent = bytearray()
        self.low_latency = _ask_low_latency(port)
        """Whether the driver passes bytes on at once; many USB adapters otherwise sit on them for 16 ms."""
        self._loop.add_reader(self._fd, self._readable)

    def send(self, data: bytes, topic_target: TargetId | None = None) -> HostUs | None:  # noqa: ARG002
        """Write now or queue, all or nothing; gives a moment not later than the first byte's leaving."""
        if not self._alive:
            self._counts["sent_when_dead"] += 1
            return None
        if len(self._unsent) + len(data) > UNSENT_MAX:
            self._counts["full"] += 1
            return None
        before = self._now()
        self._counts["sends"] += 1
        if self._unsent:
            self._unsent += data
            return before
        taken = self._write(data)
        if taken < len(data) and self._alive:
            self._unsent += data[taken:]
            self._loop.add_writer(self._fd, self._writable)
        return before if self._alive else None

    def clear_unsent(self) -> int:
        """Throw away what waits here and in the system's buffer; gives the bytes that waited here.

        A frame may be cut in its middle: every burst begins with the byte that ends a frame.
        """
        waiting = len(self._unsent)
        if self._alive and waiting:
            self._counts["overtaken"] += waiting
            self._unsent.clear()
            self._loop.remove_writer(self._fd)
            with contextlib.suppress(termios.error):
                termios.tcflush(self._fd, termios.TCOFLUSH)
        return waiting

    async def close(self) -> None:
        """End this life; bytes still waiting get a short grace, then are thrown away (counted `overtaken`)."""
        self._closed = True
        if self._alive:
            self._loop.remove_reader(self._fd)
            await self._drain()
            self._end()

    async def _drain(self) -> None:
        for _ in range(round(CLOSE_GRACE_S / CLOSE_STEP_S)):
            if not self._alive or not (self._unsent or _system_holds(self._fd)):
                break
            await asyncio.sleep(CLOSE_STEP_S)

    def _end(self) -> None:
        if not self._alive:
            return  # closed twice at once, or lost while draining
        if self._unsent or _system_holds(self._fd):
            self._counts["overtaken"] += len(self._unsent)
            with contextlib.suppress(termios.error):  # closing would wait for the device to drain, up to 30 s
                termios.tcflush(self._fd, termios.TCOFLUSH)
        self._alive = False
        self._let_go()

    def _readable(self) -> None:
        try:
            data = os.read(self._fd, READ_MAX)
        except (BlockingIOError, InterruptedError):
            return
        except OSError as why:
            self._lose(self._unplugged(os.strerror(why.errno or 0)))
            return
        at = self._now()
        if not data:
            self._lose(self._unplugged("end of data"))
            return
        self._counts["reads"] += 1
        self._counts["bytes_in"] += len(data)
        self._receiver.bytes_arrived(self, data, at)

    def _write(self, data: bytes | bytearray) -> int:
        try:
            taken = os.write(self._fd, data)
        except (BlockingIOError, InterruptedError):
            return 0
        except OSError as why:
            self._lose(self._unplugged(os.strerror(why.errno or 0)))
            return 0
        self._counts["bytes_out"] += taken
        return taken

    def _writable(self) -> None:
        del self._unsent[: self._write(self._unsent)]
        if self._alive and not self._unsent:
            self._loop.remove_writer(self._fd)

    def _unplugged(self, detail: str) -> LinkDown:
        return LinkDown(
            f"The serial port {self.name} was lost ({detail}).",
            expected="the adapter to stay plugged in and powered",
            remedy="Plug the adapter in again or switch the hub on; the bus comes back by itself.",
        )

    def _let_go(self) -> None:
        self._loop.remove_reader(self._fd)
        self._loop.remove_writer(self._fd)
        self._unsent.clear()
        self._note.remove()
        self._port.close()


async def open_serial_bus(
    port: str, receiver: Receiver, *, now: Now, site: str, notes: Path | None = None
) -> SerialBus:
    """Open `port` at 115 200 baud, 8N1, for `site` alone.

    NotFound names the ports there are, InUse who has it, Unreachable what else stands in the way.
    """
    folder = notes or notes_folder()
    try:
        opened = serial.Serial(port, BAUD, timeout=0, exclusive=True)
    except serial.SerialException as why:
        raise _cannot_open(port, why, folder) from why
    try:
        _end_of_data_is_hangup(opened.fileno())
        note = PortNote(os.fstat(opened.fileno()).st_rdev, site, folder)
        bus = SerialBus(opened, note, receiver, now)
    except BaseException:
        opened.close()
        raise
    if not note.written:
        bus._counts["note_not_written"] += 1
    return bus


def _end_of_data_is_hangup(fd: int) -> None:
    """Set VMIN to 1: an empty read then means a hang-up, where pyserial's VMIN 0 also gives it for 'nothing yet'."""
    settings = termios.tcgetattr(fd)
    settings[6][termios.VMIN] = 1
    settings[6][termios.VTIME] = 0
    termios.tcsetattr(fd, termios.TCSANOW, settings)


def _ask_low_latency(port: serial.Serial) -> bool:
    try:
        port.set_low_latency_mode(True)
    except (ValueError, OSError, AttributeError):
        return False  # a pseudo-terminal, or a driver without it
    return True


def _system_holds(fd: int) -> int:
    """Bytes that the system still has to send; 0 where the driver does not say."""
    try:
        return int(struct.unpack("i", fcntl.ioctl(fd, termios.TIOCOUTQ, b"\0\0\0\0"))[0])
    except OSError:
        return 0


def _cannot_open(port: str, why: serial.SerialException, folder: Path) -> InUse | NotFound | Unreachable:
    if why.errno in (errno.EWOULDBLOCK, errno.EBUSY):
        holder = holder_of(port, folder)
        return InUse(
            f"The serial port {port} is in use by {holder or 'another program'}.",
            expected="one master on a bus",
            remedy="Stop that one first, or give this site a port of its own.",
        )
    if why.errno in (errno.ENOENT, errno.ENODEV, errno.ENXIO):
        there = ", ".join(p.device for p in pyserial_ports.comports()) or "none"
        return NotFound(
            f"There is no serial port {port}.",
            expected=f"one of the ports of this machine ({there})",
            remedy="Plug the adapter in, or name its port in site.toml.",
        )
    if why.errno in (errno.EACCES, errno.EPERM):
        return Unreachable(
            f"The serial port {port} may not be opened by this user.",
            expected="membership in the group that owns the port",
            remedy="Join the group (on Debian: sudo adduser NAME dialout) and log in again.",
        )
    return Unreachable(
        f"The serial port {port} could not be opened: {why}",
        expected="a serial port",
        remedy="Name the adapter's port in site.toml; fieldctl doctor lists the ports there are.",
    )

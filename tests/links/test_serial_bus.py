from __future__ import annotations

import asyncio
import contextlib
import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from listening import Listening, now

from fieldctl.errors import InUse, NotFound, Unreachable
from fieldctl.links import port_notes, serial_bus
from fieldctl.links.link import Link
from fieldctl.links.serial_bus import UNSENT_MAX, SerialBus, open_serial_bus

FRAME = bytes(range(1, 33)) + b"\0"


@pytest.fixture
def ear() -> Listening:
    return Listening()


async def opened(device, ear: Listening, tmp_path: Path) -> SerialBus:
    return await open_serial_bus(device.port, ear, now=now, site="larch", notes=tmp_path)


async def test_there_and_back_with_honest_times(device, ear, tmp_path, nothing_left):
    bus = await opened(device, ear, tmp_path)
    assert isinstance(bus, Link)
    assert (bus.kind, bus.name, bus.alive) == ("serial", device.port, True)
    before = now()
    sent = bus.send(FRAME)
    assert sent is not None
    assert before <= sent <= now()
    assert device.read() == FRAME
    wrote = now()
    os.write(device.master, FRAME)
    await ear.until(lambda: ear.data == FRAME)
    assert wrote <= ear.reads[-1][1] <= now()
    assert bus.counts() == {"sends": 1, "bytes_out": 33, "reads": 1, "bytes_in": 33}
    await bus.close()
    assert not bus.alive


async def test_every_byte_value_passes_unchanged(device, ear, tmp_path):
    bus = await opened(device, ear, tmp_path)
    everything = bytes(range(256))
    bus.send(everything)
    assert device.read() == everything
    os.write(device.master, everything)
    await ear.until(lambda: len(ear.data) >= 256)
    assert ear.data == everything
    await bus.close()


async def test_byte_by_byte(device, ear, tmp_path):
    bus = await opened(device, ear, tmp_path)
    for i in range(len(FRAME)):
        os.write(device.master, FRAME[i : i + 1])
        await ear.until(lambda i=i: len(ear.data) == i + 1)
    assert ear.data == FRAME
    assert [at for _, at in ear.reads] == sorted(at for _, at in ear.reads)
    await bus.close()


async def test_three_frames_in_one_read_are_all_given_on(device, ear, tmp_path):
    bus = await opened(device, ear, tmp_path)
    os.write(device.master, FRAME * 3)
    await ear.until(lambda: len(ear.data) == 3 * len(FRAME))
    assert ear.data == FRAME * 3
    assert len(ear.reads) == 1
    await bus.close()


async def test_a_device_that_does_not_drain_neither_blocks_nor_loses_in_silence(device, ear, tmp_path, nothing_left):
    bus = await opened(device, ear, tmp_path)
    taken = 0
    longest = 0.0
    for _ in range(2000):  # 66 kB: more than any pseudo-terminal holds
        began = time.perf_counter()
        taken += bus.send(FRAME) is not None
        longest = max(longest, time.perf_counter() - began)
        await asyncio.sleep(0)
    counts = bus.counts()
    assert longest < 1.0  # the device never drains here: a call that waited for it would not come back at all
    assert counts["full"] == 2000 - taken > 0
    assert counts["sends"] == taken
    assert taken * len(FRAME) - counts["bytes_out"] <= UNSENT_MAX
    # The device wakes up: all that was taken arrives whole and in order, nothing that was refused.
    seen = bytearray()
    while len(seen) < taken * len(FRAME):
        seen += device.read()
        await asyncio.sleep(0)
    assert bytes(seen) == FRAME * taken
    assert bus.send(FRAME) is not None
    await bus.close()


async def test_an_all_off_overtakes_what_waits(device, ear, tmp_path):
    bus = await opened(device, ear, tmp_path)
    while bus.send(FRAME) is not None:
        pass
    waiting = bus.clear_unsent()
    assert waiting > 0
    assert bus.counts()["overtaken"] == waiting
    assert bus.send(b"\0ALL OFF\0") is not None
    arrived = bytearray()
    async with asyncio.timeout(2):
        while not arrived.endswith(b"\0ALL OFF\0"):
            await asyncio.sleep(0)
            arrived += device.read()
    assert (
        len(arrived) < 8192 < bus.counts()["bytes_out"]
    )  # what the system held is gone too, not only what waited here
    assert bus.clear_unsent() == 0
    await bus.close()


async def test_a_backlog_at_closing_is_given_up_after_its_grace(device, ear, tmp_path, nothing_left):
    bus = await opened(device, ear, tmp_path)
    while bus.send(FRAME) is not None:
        pass
    began = time.perf_counter()
    await bus.close()
    assert time.perf_counter() - began < 1.0
    assert bus.counts()["overtaken"] > 0
    assert ear.lost == []


async def test_a_burst_never_overtakes_those_that_wait(device, ear, tmp_path):
    bus = await opened(device, ear, tmp_path)
    taken = 0
    while bus.send(FRAME) is not None:
        taken += 1
    seen = bytearray()
    while len(seen) < 4096:  # the system has room again before the loop hears of it
        seen += device.read()
    assert bus.send(b"\0\1\0") is not None  # still fits beside what waits: 33 does not divide 2048
    async with asyncio.timeout(2):
        while len(seen) < taken * len(FRAME) + 3:
            seen += device.read()
            await asyncio.sleep(0)
    assert bytes(seen) == FRAME * taken + b"\0\1\0"
    await bus.close()


async def test_a_backlog_at_closing_still_leaves_if_the_device_wakes_up(device, ear, tmp_path, nothing_left):
    bus = await opened(device, ear, tmp_path)
    taken = 0
    while bus.send(FRAME) is not None:
        taken += 1
    closing = asyncio.create_task(bus.close())
    seen = bytearray()
    while not closing.done():
        seen += device.read()
        await asyncio.sleep(0)
    seen += device.read()
    assert bytes(seen) == FRAME * taken
    assert "overtaken" not in bus.counts()


async def test_woken_for_nothing_is_no_hangup(device, ear, tmp_path):
    bus = await opened(device, ear, tmp_path)
    bus._readable()
    await asyncio.sleep(0)
    assert bus.alive
    assert ear.reads == []
    await bus.close()


async def test_the_last_burst_before_closing_arrives(device, ear, tmp_path):
    bus = await opened(device, ear, tmp_path)
    bus.send(FRAME)
    await bus.close()
    assert device.read() == FRAME


@pytest.mark.parametrize("sending", [False, True])
async def test_unplugged_is_told_once_with_its_remedy(device, ear, tmp_path, sending, nothing_left):
    bus = await opened(device, ear, tmp_path)
    device.unplug()
    if sending:
        assert bus.send(FRAME) is None
        assert ear.lost == []  # never from inside the owner's own call
    await ear.until(lambda: bool(ear.lost))
    assert bus.send(FRAME) is None
    assert bus.counts()["sent_when_dead"] == 1
    await asyncio.sleep(0.02)
    assert len(ear.lost) == 1
    assert device.port in ear.lost[0].what
    assert "Plug the adapter in" in ear.lost[0].remedy
    await bus.close()
    assert list(tmp_path.iterdir()) == []


async def test_closing_tells_nobody_and_may_be_repeated(device, ear, tmp_path, nothing_left):
    bus = await opened(device, ear, tmp_path)
    await asyncio.gather(bus.close(), bus.close())
    await bus.close()
    device.unplug()
    await asyncio.sleep(0.01)
    assert ear.lost == []
    assert list(tmp_path.iterdir()) == []


async def test_lost_and_closed_in_one_breath_tells_nobody(device, ear, tmp_path, nothing_left):
    bus = await opened(device, ear, tmp_path)
    device.unplug()
    assert bus.send(FRAME) is None
    await bus.close()
    await asyncio.sleep(0.01)
    assert ear.lost == []


async def test_the_second_opener_hears_who_has_it(device, ear, tmp_path, nothing_left):
    bus = await opened(device, ear, tmp_path)
    with pytest.raises(InUse, match=rf"process {os.getpid()}, site larch") as caught:
        await open_serial_bus(device.port, ear, now=now, site="other", notes=tmp_path)
    assert device.port in caught.value.what
    assert bus.send(FRAME) is not None  # the first is not disturbed
    await bus.close()
    again = await open_serial_bus(device.port, ear, now=now, site="other", notes=tmp_path)
    await again.close()


HOLD = """
import asyncio, sys, pathlib
sys.path.insert(0, sys.argv[3])
from listening import Listening, now
from fieldctl.links.serial_bus import open_serial_bus
async def main():
    await open_serial_bus(sys.argv[1], Listening(), now=now, site="upper field", notes=pathlib.Path(sys.argv[2]))
    print("held", flush=True)
    await asyncio.sleep(60)
asyncio.run(main())
"""


async def test_another_process_is_named_and_its_note_is_stale_once_it_is_killed(device, ear, tmp_path):
    here = str(Path(__file__).parent)
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, device.port, str(tmp_path), here], stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "held\n"
        with pytest.raises(InUse, match=rf"process {other.pid}, site upper field"):
            await opened(device, ear, tmp_path)
        other.kill()
    notes = list(tmp_path.iterdir())
    assert [json.loads(n.read_text())["site"] for n in notes] == ["upper field"]  # left behind, and believed no more
    assert port_notes.holder_of(device.port, tmp_path) != port_notes.Holder(other.pid, "upper field")
    bus = await opened(device, ear, tmp_path)
    await bus.close()


async def test_a_holder_without_a_note_is_looked_up(device, ear, tmp_path):
    import fcntl

    strange = os.open(device.port, os.O_RDWR | os.O_NOCTTY)
    fcntl.flock(strange, fcntl.LOCK_EX)
    try:
        with pytest.raises(InUse, match=rf"in use by process {os.getpid()} \("):
            await opened(device, ear, tmp_path)
    finally:
        os.close(strange)


@pytest.mark.parametrize("text", ["", "{", "[]", '{"pid": "x", "site": 1}', "\udc80" * 3000])
async def test_a_note_with_nonsense_is_no_obstacle(device, ear, tmp_path, text):
    bus = await opened(device, ear, tmp_path)
    (note,) = tmp_path.iterdir()
    note.write_text(text, errors="surrogateescape")
    with pytest.raises(InUse, match="in use by"):
        await opened(device, ear, tmp_path)
    await bus.close()


async def test_a_folder_that_takes_no_note_is_counted(device, ear, tmp_path, nothing_left):
    bus = await open_serial_bus(device.port, ear, now=now, site="larch", notes=tmp_path / "absent")
    assert bus.counts()["note_not_written"] == 1
    await bus.close()


async def test_a_port_that_is_not_there(ear, tmp_path, nothing_left):
    with pytest.raises(NotFound, match="no serial port /dev/ttyNONE") as caught:
        await open_serial_bus("/dev/ttyNONE", ear, now=now, site="larch", notes=tmp_path)
    assert "site.toml" in caught.value.remedy


async def test_a_file_that_is_no_port(ear, tmp_path, nothing_left):
    plain = tmp_path / "plain"
    plain.touch()
    with pytest.raises(Unreachable, match="could not be opened"):
        await open_serial_bus(str(plain), ear, now=now, site="larch", notes=tmp_path)


async def test_a_port_of_another_group_says_what_to_do(ear, tmp_path, monkeypatch):
    def refuse(*args: object, **kwargs: object) -> None:
        raise serial_bus.serial.SerialException(13, "could not open port")

    monkeypatch.setattr(serial_bus.serial, "Serial", refuse)
    with pytest.raises(Unreachable, match="dialout"):
        await open_serial_bus("/dev/ttyUSB9", ear, now=now, site="larch", notes=tmp_path)


async def test_a_megabyte_of_junk_passes_in_under_a_second_and_leaves_room_for_others(device, ear, tmp_path):
    bus = await opened(device, ear, tmp_path)
    junk = os.urandom(1 << 20)
    turns = 0
    left = memoryview(junk)
    began = time.perf_counter()
    while left or len(ear.data) < len(junk):
        with contextlib.suppress(BlockingIOError):
            left = left[os.write(device.master, left[:4096]) :]
        await asyncio.sleep(0)
        turns += 1
        assert time.perf_counter() - began < 1.0
    assert ear.data == junk
    assert max(len(d) for d, _ in ear.reads) <= serial_bus.READ_MAX
    assert turns >= len(junk) / serial_bus.READ_MAX
    await bus.close()


def test_the_ports_of_this_machine_with_their_holders(tmp_path, monkeypatch, device):
    class Found:
        device, description, hwid = "", "usb serial", "USB VID:PID=0000:0000"

    found = Found()
    found.device = device.port
    monkeypatch.setattr(serial_bus.pyserial_ports, "comports", lambda: [found])
    note = port_notes.PortNote(os.stat(device.port).st_rdev, "larch", tmp_path)
    (port,) = serial_bus.list_ports(tmp_path)
    assert (port.port, port.description) == (device.port, "usb serial")
    assert str(port.held_by) == f"fieldctl, process {os.getpid()}, site larch"
    note.remove()
    (port,) = serial_bus.list_ports(tmp_path)
    assert port.held_by is None or port.held_by.site == ""

"""What `serve` and `bridge` run until told to stop: the controller with its socket, or a far zone's bus master."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import socket as sockets
from collections.abc import Callable
from pathlib import Path

from fieldctl.cli.outside import SystemClock, ledger_path, outside
from fieldctl.errors import FieldctlError
from fieldctl.links.link import Link
from fieldctl.site.model import MqttLink, Site
from fieldctl.units import TargetId

WATCHDOG_EVERY_S = 5.0
REOPEN_AFTER_S = 2.0


async def run_controller(folder: Path, site: Site, ready: Callable[[str], None]) -> None:
    """Serve a site until SIGTERM or SIGINT: switch off first, then leave."""
    from fieldctl.controller.controller import Controller
    from fieldctl.controller.socket import ControlServer, socket_path
    from fieldctl.controller.verbs import Desk
    from fieldctl.ledger.store import Ledger

    world = outside(folder, site)
    with Ledger.open(ledger_path(folder), inline=False, who=f"fieldctl serve {folder}") as ledger:
        controller = Controller(world, ledger)
        server = ControlServer(Desk(controller), socket_path(folder))
        listening, told = asyncio.Event(), asyncio.Event()
        loop = asyncio.get_running_loop()
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(number, told.set)
        async with asyncio.TaskGroup() as group:
            tasks = [
                group.create_task(controller.run(), name="controller"),
                group.create_task(server.run(listening), name="control socket"),
                group.create_task(_watchdog(controller), name="watchdog"),
            ]
            await controller.ready.wait()
            await listening.wait()
            _notify("READY=1")
            state = "all off in force" if controller.all_off.state.in_force else "all off is not in force"
            ready(f"Serving {site.title}: {len(controller.known)} targets, socket {server.path}, {state}.")
            await told.wait()
            _notify("STOPPING=1")
            await controller.stop("serve was told to stop")
            for task in tasks:
                task.cancel()


async def _watchdog(controller: object) -> None:
    """Tell systemd that the loop turns and the ledger takes entries."""
    while True:
        await asyncio.sleep(WATCHDOG_EVERY_S)
        if getattr(controller, "failed", None) is None:
            _notify("WATCHDOG=1")


def _notify(word: str) -> None:
    """One datagram to systemd, where it listens (sd_notify's protocol)."""
    address = os.environ.get("NOTIFY_SOCKET")
    if not address:
        return
    with contextlib.suppress(OSError), contextlib.closing(sockets.socket(sockets.AF_UNIX, sockets.SOCK_DGRAM)) as out:
        out.sendto(word.encode(), "\0" + address[1:] if address.startswith("@") else address)


async def run_bridge(
    site: Site, broker: MqttLink, port: str, targets: tuple[TargetId, ...], password: str, say: Callable[[str], None]
) -> None:
    """Bridge a far zone until SIGTERM or SIGINT; both links are opened anew when one is lost."""
    from fieldctl.controller.bridge import Bridge
    from fieldctl.links.broker_at import BrokerAt
    from fieldctl.links.mqtt import open_mqtt
    from fieldctl.links.serial_bus import open_serial_bus

    clock = SystemClock()
    told = asyncio.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        asyncio.get_running_loop().add_signal_handler(number, told.set)
    at = BrokerAt(broker.host, broker.port, broker.user, password)
    while not told.is_set():
        bridge = Bridge(clock, targets)
        links: list[Link] = []
        try:
            links.append(await open_serial_bus(port, bridge, now=clock.now, site=site.name))
            links.append(await open_mqtt(site.name, at, bridge, now=clock.now, role="bridge", targets=targets))
            bridge.use(links[0], links[1])
            say(f"Bridging {len(targets)} targets between {port} and {broker.host}:{broker.port}.")
            waiting = [asyncio.create_task(told.wait()), asyncio.create_task(bridge.lost.wait())]
            await asyncio.wait(waiting, return_when=asyncio.FIRST_COMPLETED)
            for task in waiting:
                task.cancel()
            if bridge.why is not None:
                say(str(bridge.why))
        except FieldctlError as error:
            say(str(error))
        finally:
            bridge.end()
            for link in links:
                await link.close()
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(told.wait(), REOPEN_AFTER_S)

"""What `serve` and `bridge` run until told to stop: the controller with its socket, or a far zone's bus master."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import socket as sockets
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldctl.cli.cautions import CAUTIONS
from fieldctl.cli.outside import SystemClock, ledger_path, outside
from fieldctl.cli.serving_account import run_account
from fieldctl.cli.serving_pages import run_pages
from fieldctl.errors import FieldctlError
from fieldctl.links.link import Link
from fieldctl.site.model import Site
from fieldctl.units import TargetId

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller
    from fieldctl.ledger.store import Ledger
    from fieldctl.links.broker_at import BrokerAt

WATCHDOG_EVERY_S = 5.0
LEDGER_FRESH_US = 15_000_000  # the controller touches it every 4 s
CAUTIONS_SHOWN = "cautions shown"  # a setting of the site's ledger
REOPEN_AFTER_S = 2.0

Row = dict[str, Any]


async def run_controller(folder: Path, site: Site, ready: Callable[[Row], None], say: Callable[[str], None]) -> None:
    """Serve a site until SIGTERM or SIGINT: switch off first, then leave; LedgerFailed when it could not be closed."""
    from fieldctl.controller.controller import Controller
    from fieldctl.controller.socket import ControlServer, socket_path
    from fieldctl.controller.verbs import Desk
    from fieldctl.ledger.store import Ledger
    from fieldctl.links.webhook import post_json
    from fieldctl.web.listening import address, listen

    world = outside(folder, site)
    with (
        Ledger.open(ledger_path(folder), inline=False, who=f"fieldctl serve {folder}") as ledger,
        listen(site.pages) as listener,
    ):
        controller = Controller(world, ledger)
        desk = Desk(controller)
        server = ControlServer(desk, socket_path(folder), controller.watchers)
        listening, told = asyncio.Event(), asyncio.Event()
        loop = asyncio.get_running_loop()
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(number, told.set)
        try:
            async with asyncio.TaskGroup() as group:
                tasks = [group.create_task(controller.run(), name="controller")]
                await controller.ready.wait()
                tasks.append(group.create_task(server.run(listening), name="control socket"))
                tasks.append(group.create_task(_watchdog(controller, ledger), name="watchdog"))
                await listening.wait()
                if not ledger.setting(CAUTIONS_SHOWN):
                    for line in CAUTIONS:
                        say(line)
                    with contextlib.suppress(FieldctlError):  # shown once more, then
                        await ledger.commit_settings({CAUTIONS_SHOWN: True})
                _notify("READY=1")
                ready({**_ready_row(controller, site, server.path), "pages": address(listener, site.pages)})
                pages = run_pages(controller, desk, folder, site.pages, listener, say)
                tasks.append(group.create_task(pages, name="pages"))
                tasks.append(group.create_task(controller.hook.run(post_json), name="webhook"))
                tasks.append(group.create_task(run_account(controller, folder), name="upkeep account"))
                await told.wait()
                _notify("STOPPING=1")
                await controller.stop("serve was told to stop")
                for task in tasks:
                    task.cancel()
        except BaseExceptionGroup as errors:
            raise _first(errors) from None
        if controller.failed is not None:
            raise controller.failed


def _ready_row(controller: Controller, site: Site, path: Path) -> Row:
    from fieldctl.controller.snapshot import steers

    return {
        "site": site.name,
        "title": site.title,
        "pid": os.getpid(),
        "targets": len(controller.known),
        "links": [config.name for config in controller.outside.links],
        "steers": steers(controller),
        "all_off": {"in_force": controller.all_off.state.in_force, "epoch": controller.all_off.state.epoch},
        "socket": str(path),
    }


def _first(errors: BaseExceptionGroup[BaseException]) -> BaseException:
    """The error that ended the group: the first of ours, for people, else the first of all."""
    ours = errors.subgroup(FieldctlError)
    found: BaseException = ours or errors
    while isinstance(found, BaseExceptionGroup):
        found = found.exceptions[0]
    return found


async def _watchdog(controller: Controller, ledger: Ledger) -> None:
    """Tell systemd that the loop turns and the ledger takes entries; a failed ledger lets it start serve anew."""
    while True:
        await asyncio.sleep(WATCHDOG_EVERY_S)
        last = ledger.last_commit_us
        fresh = last is not None and controller.outside.clock.now() - last < LEDGER_FRESH_US
        if controller.failed is None and fresh:
            _notify("WATCHDOG=1")


def _notify(word: str) -> None:
    """One datagram to systemd, where it listens (sd_notify's protocol)."""
    address = os.environ.get("NOTIFY_SOCKET")
    if not address:
        return
    with contextlib.suppress(OSError), contextlib.closing(sockets.socket(sockets.AF_UNIX, sockets.SOCK_DGRAM)) as out:
        out.sendto(word.encode(), "\0" + address[1:] if address.startswith("@") else address)


async def run_bridge(
    site: Site,
    at: BrokerAt,
    port: str,
    targets: tuple[TargetId, ...],
    ready: Callable[[Row], None],
    say: Callable[[str], None],
) -> None:
    """Bridge a far zone until SIGTERM or SIGINT; both links are opened anew when one is lost."""
    from fieldctl.controller.bridge import Bridge
    from fieldctl.links.mqtt import open_mqtt
    from fieldctl.links.serial_bus import open_serial_bus

    clock = SystemClock()
    told = asyncio.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        asyncio.get_running_loop().add_signal_handler(number, told.set)
    said = ""
    while not told.is_set():
        bridge = Bridge(clock, targets)
        links: list[Link] = []
        try:
            links.append(await open_serial_bus(port, bridge, now=clock.now, site=site.name))
            links.append(await open_mqtt(site.name, at, bridge, now=clock.now, role="bridge", targets=targets))
            bridge.use(links[0], links[1])
            said = ""
            ready({"site": site.name, "port": port, "broker": f"{at.host}:{at.port}", "targets": list(targets)})
            await _first_of(told, bridge.lost)
            if bridge.why is not None:
                raise bridge.why
        except FieldctlError as error:
            if str(error) != said:  # the same fault every two seconds is one fault
                said = str(error)
                say(said)
        finally:
            bridge.end()
            for link in links:
                await link.close()
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(told.wait(), REOPEN_AFTER_S)


async def _first_of(*events: asyncio.Event) -> None:
    """Wait until one of these is set."""
    waiting = [asyncio.create_task(event.wait()) for event in events]
    try:
        await asyncio.wait(waiting, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in waiting:
            task.cancel()

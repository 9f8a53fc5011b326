"""What the world outside gives a controller: the host's clocks, entropy, the site's key, and how links are opened."""

from __future__ import annotations

import datetime
import os
import secrets
import stat
import time
from pathlib import Path
from typing import TYPE_CHECKING

from fieldctl.errors import FieldctlError, NotFound, Refused
from fieldctl.units import HostUs

if TYPE_CHECKING:
    from fieldctl.controller.ports import LinkConfig, Outside
    from fieldctl.links.link import Link, Receiver
    from fieldctl.site.model import Site

KEY_BYTES = 16
BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
LEDGER = "ledger.sqlite"


class SystemClock:
    """This machine's clocks."""

    def __init__(self) -> None:
        try:
            self.boot = BOOT_ID.read_text(encoding="ascii").strip().replace("-", "")
        except OSError:  # not Linux: a boot is then told by when it began, to the minute
            self.boot = f"since-{round((time.time() - time.monotonic()) / 60)}"

    def now(self) -> HostUs:
        """See `HostClock`."""
        return HostUs(time.clock_gettime_ns(time.CLOCK_MONOTONIC_RAW) // 1000)

    def wall(self) -> str | None:
        """See `HostClock`."""
        now = datetime.datetime.now(datetime.UTC)
        return now.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def make_key(folder: Path) -> Path:
    """Make a site's key, once: private/site.key, readable by its owner alone; never over an existing one."""
    private = folder / "private"
    private.mkdir(mode=0o700, exist_ok=True)
    path = private / "site.key"
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(secrets.token_hex(KEY_BYTES) + "\n")
    return path


def read_key(folder: Path) -> bytes:
    """The site's key; NotFound without one, Refused when others can read it."""
    path = folder / "private" / "site.key"
    try:
        mode = path.stat().st_mode
        text = path.read_text(encoding="ascii").strip()
    except FileNotFoundError:
        raise NotFound(
            f"There is no key at {path}.",
            remedy="Put the site's key back from its backup. A new site makes one: fieldctl site new DIR",
        ) from None
    if stat.S_IMODE(mode) & 0o077:
        raise Refused(
            f"Others can read the site's key ({path}, mode {stat.S_IMODE(mode):04o}).",
            expected="mode 0600",
            remedy=f"chmod 600 {path}; if somebody may have read it, rotate every target's keys.",
        )
    try:
        key = bytes.fromhex(text)
    except ValueError:
        key = b""
    if len(key) != KEY_BYTES:
        raise Refused(
            f"{path} holds no key.", expected=f"{2 * KEY_BYTES} hexadecimal digits", remedy="Take it from the backup."
        )
    return key


def outside(folder: Path, site: Site) -> Outside:
    """What a controller of this site is given."""
    from fieldctl.controller.ports import Keys, Outside

    clock = SystemClock()

    async def open_link(config: LinkConfig, receiver: Receiver) -> Link:
        return await _open(config, receiver, folder, site, clock)

    return Outside(site, folder, clock, Keys(read_key(folder)), lambda: secrets.token_bytes(8), open_link)


async def _open(config: LinkConfig, receiver: Receiver, folder: Path, site: Site, clock: SystemClock) -> Link:
    from fieldctl.site.model import SerialLink

    if isinstance(config, SerialLink):
        from fieldctl.links.serial_bus import open_serial_bus

        return await open_serial_bus(config.port, receiver, now=clock.now, site=site.name)
    from fieldctl.links.broker_at import BrokerAt, Tls
    from fieldctl.links.mqtt import open_mqtt

    password = ""
    if config.password_file:
        try:
            password = (folder / config.password_file).read_text(encoding="utf-8").strip()
        except OSError as error:
            raise NotFound(
                f"The password file {config.password_file} cannot be read: {error.strerror}.",
                remedy="Make it, mode 0600, or take password_file out of site.toml.",
            ) from None
    tls = Tls(str(folder / config.ca_file) if config.ca_file else None) if config.tls else None
    at = BrokerAt(config.host, config.port, config.user, password, tls)
    return await open_mqtt(site.name, at, receiver, now=clock.now)


def ledger_path(folder: Path) -> Path:
    """Where a site's ledger lies."""
    return folder / LEDGER


def exit_code(error: FieldctlError) -> int:
    """The exit code of an error, also of one that the controller answered with."""
    return int(getattr(error, "said_exit", error.exit_code))

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
    from fieldctl.links.broker_at import BrokerAt
    from fieldctl.links.link import Link, Receiver
    from fieldctl.site.model import MqttLink, Site

KEY_BYTES = 16
YEAR_LEAST = 2025  # a wall clock that says less was never set: a base station may boot without one
BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
LEDGER = "ledger.sqlite"


class SystemClock:
    """This machine's clocks."""

    def __init__(self) -> None:
        try:
            self.boot = BOOT_ID.read_text(encoding="ascii").strip().replace("-", "")
        except OSError:  # not Linux: each start then counts as a boot of its own, which claims too little, never more
            self.boot = f"start-{secrets.token_hex(8)}"

    def now(self) -> HostUs:
        """See `HostClock`."""
        return HostUs(time.clock_gettime_ns(time.CLOCK_MONOTONIC_RAW) // 1000)

    def wall(self) -> str | None:
        """See `HostClock`."""
        now = datetime.datetime.now(datetime.UTC)
        if now.year < YEAR_LEAST:
            return None
        return now.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def make_key(folder: Path) -> Path:
    """Make a site's key, once: private/site.key, readable by its owner alone; never over an existing one."""
    private = folder / "private"
    path = private / "site.key"
    try:
        private.mkdir(mode=0o700, exist_ok=True)
        if path.exists():
            return path
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(secrets.token_hex(KEY_BYTES) + "\n")
            file.flush()
            os.fsync(file.fileno())  # a target that was added with a key that a power cut took is lost
    except OSError as error:
        raise Refused(
            f"The site's key cannot be written: {error.filename}: {error.strerror}.",
            expected="a folder private/ of this account",
            remedy="Mend that, and try again.",
        ) from None
    return path


def read_key(folder: Path) -> bytes:
    """The site's key; NotFound without one, Refused when others can read it."""
    path = folder / "private" / "site.key"
    try:
        mode = path.stat().st_mode
        text = path.read_bytes().decode("ascii", "replace").strip()
    except FileNotFoundError:
        raise NotFound(
            f"There is no key at {path}.",
            remedy="Put the site's key back from its backup. A new site makes one: fieldctl site new DIR",
        ) from None
    except OSError as error:
        raise Refused(
            f"The site's key cannot be read: {path}: {error.strerror}.",
            expected="a file of this account, mode 0600",
            remedy="Use the account that owns it.",
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
    from fieldctl.links.mosquitto import CONTROLLER
    from fieldctl.links.mqtt import open_mqtt

    at = broker_at(folder, config, config.user or CONTROLLER, config.password_file)
    return await open_mqtt(site.name, at, receiver, now=clock.now)


def broker_at(folder: Path, link: MqttLink, user: str, password_file: str) -> BrokerAt:
    """Where a link's broker is and as whom to go there; NotFound or Refused for its password as for the site's key."""
    from fieldctl.links.broker_at import BrokerAt, Tls

    password = read_password(folder / password_file) if password_file else ""
    tls = Tls(str(folder / link.ca_file) if link.ca_file else None) if link.tls else None
    return BrokerAt(link.host, link.port, user, password, tls)


def read_password(path: Path) -> str:
    """A password for a broker; NotFound or Refused as for the site's key."""
    try:
        mode = stat.S_IMODE(path.stat().st_mode)
        text = path.read_bytes().decode("utf-8", "replace").strip()
    except OSError as error:
        raise NotFound(
            f"The password file {path} cannot be read: {error.strerror}.",
            remedy="Make it, mode 0600, with the password that the broker knows.",
        ) from None
    if mode & 0o077:
        raise Refused(
            f"Others can read the broker's password ({path}, mode {mode:04o}).",
            expected="mode 0600",
            remedy=f"chmod 600 {path}; if somebody may have read it, give the broker another one.",
        )
    return text


def ledger_path(folder: Path) -> Path:
    """Where a site's ledger lies."""
    return folder / LEDGER


def exit_code(error: FieldctlError) -> int:
    """The exit code of an error, also of one that the controller answered with."""
    return int(getattr(error, "said_exit", error.exit_code))

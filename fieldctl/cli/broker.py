"""Writing the broker's files, with passwords made here."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fieldctl.errors import Refused

if TYPE_CHECKING:
    from fieldctl.site.model import Site
    from fieldctl.units import TargetId

PASSWORD_BYTES = 16
TLS_PORT = 8883
PLAIN_PORT = 1883
CLEAR = "clear-passwords.txt"


@dataclass(frozen=True, slots=True)
class Written:
    """What was written, for whom, and which files the broker still needs."""

    users: list[str]
    files: list[str]
    put: list[str]

    def lines(self) -> Iterator[str]:
        """For people."""
        yield from (f"wrote {file}" for file in self.files)
        yield f"{len(self.users)} users. {self.files[-1]} (mode 0600) holds their passwords in the clear: put each"
        yield "where it belongs, then delete that file"
        yield from (f"put the broker's own file there: {file}" for file in self.put)


def write_config(
    folder: Path, site: Site, bridges: Mapping[str, Sequence[TargetId]], *, tls: bool, anew: bool
) -> Written:
    """Write mosquitto.conf, acl and passwords into `folder`; Refused over passwords that are there, unless `anew`."""
    from fieldctl.links.mosquitto import Listen, broker_files, broker_users, write_broker_files

    if not anew and (folder / "passwords").exists():
        raise Refused(
            f"{folder} holds a broker's passwords already, and every unit there is knows its own.",
            expected="an empty folder",
            remedy="Name another folder; or --anew, and then give every unit its new one.",
        )
    names = {m.name for m in site.mqtt}
    targets = [p.target for p in site.places if p.link in names]
    users = broker_users(targets, bridges)
    passwords = {user: secrets.token_urlsafe(PASSWORD_BYTES) for user in users}
    where = str(folder.resolve())
    own = [f"{where}/server.crt", f"{where}/server.key"] if tls else []
    listen = Listen(TLS_PORT, None, *own) if tls else Listen(PLAIN_PORT, "127.0.0.1")
    files = broker_files(
        site.name,
        targets,
        passwords=passwords,
        salt=lambda: secrets.token_bytes(12),
        folder=where,
        listen=listen,
        bridges=bridges,
    )
    folder.mkdir(parents=True, exist_ok=True)
    write_broker_files(files, folder)
    clear = folder / CLEAR
    clear.unlink(missing_ok=True)
    handle = os.open(clear, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.writelines(f"{user} {password}\n" for user, password in passwords.items())
    return Written(users, [str(folder / name) for name in ("mosquitto.conf", "acl", "passwords", CLEAR)], own)

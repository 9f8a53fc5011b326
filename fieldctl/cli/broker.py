"""Writing the broker's files, with passwords made here."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

PASSWORD_BYTES = 16
TLS_PORT = 8883
PLAIN_PORT = 1883


def write_config(folder: Path, site_folder: Path, *, tls: bool) -> list[str]:
    """Write mosquitto.conf, acl and passwords into `folder`, the clear passwords into clear-passwords.txt."""
    from fieldctl.links.mosquitto import Listen, broker_files, broker_users, write_broker_files
    from fieldctl.site.files import load_site

    site = load_site(site_folder)
    names = {m.name for m in site.mqtt}
    targets = [p.target for p in site.places if p.link in names]
    users = broker_users(targets)
    passwords = {user: secrets.token_urlsafe(PASSWORD_BYTES) for user in users}
    folder.mkdir(parents=True, exist_ok=True)
    where = str(folder.resolve())
    listen = (
        Listen(TLS_PORT, None, f"{where}/server.crt", f"{where}/server.key") if tls else Listen(PLAIN_PORT, "127.0.0.1")
    )
    files = broker_files(
        site.name, targets, passwords=passwords, salt=lambda: secrets.token_bytes(12), folder=where, listen=listen
    )
    write_broker_files(files, folder)
    clear = folder / "clear-passwords.txt"
    clear.unlink(missing_ok=True)
    handle = os.open(clear, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.writelines(f"{user} {password}\n" for user, password in passwords.items())
    lines = [f"wrote {folder}/mosquitto.conf, acl, passwords for {len(users)} users"]
    lines.append(f"wrote {clear} (mode 0600): put each password where it belongs, then delete this file")
    if tls:
        lines.append(f"put the broker's certificate and key at {where}/server.crt and {where}/server.key")
    return lines

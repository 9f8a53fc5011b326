"""The Mosquitto configuration that a park runs: three texts from the site's word and its target ids.

A user for each target, whose name is its id: the access list then lets it write its own `up` and read its
own `down`, all off and the controller's status, and nothing else. A bridge gets the targets behind it by
name. Nothing is kept on disk: an order must not come back from there, and the status is written anew at
every connect. Mosquitto's defaults drop messages for a slow reader without a word; here a queue holds far
more than can gather before whoever stalls is thrown out by its keep-alive.

Written for Mosquitto 2.0 (Debian 12 and 13). The tests let each role try every forbidden topic.
"""

from __future__ import annotations

import base64
import hashlib
import ipaddress
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from fieldctl.errors import BadInput
from fieldctl.links import topics
from fieldctl.units import TargetId

CONTROLLER = "controller"
BRIDGE_PREFIX = "bridge-"

MAX_PACKET_BYTES = 1024  # a sealed message (128), its topic (about 60), properties; a will fits too
MAX_KEEPALIVE_S = 60  # a client that stalls is thrown out after one and a half times this
QUEUE_MESSAGES = 100_000  # no client gathers that many before its keep-alive ends it. Never 0, "no limit":
# Mosquitto 2.0.11 then ends the connection of whoever publishes what the access list refuses
MEMORY_LIMIT_BYTES = 64 * 1024 * 1024  # seven times what 256 connected targets take
SPARE_CONNECTIONS = 16  # a person with a listening tool, reconnects that overlap their old connection
HASH_ROUNDS = 101  # Mosquitto's own count; enough, because passwords are made by machine and not by people


@dataclass(frozen=True, slots=True)
class Listen:
    """Where the broker listens; off the loopback only with TLS: the paths are those on the broker's machine."""

    port: int
    address: str | None = None
    certificate: str | None = None
    key: str | None = None


@dataclass(frozen=True, slots=True)
class BrokerFiles:
    """The texts of mosquitto.conf, of its access list and of its password file."""

    conf: str
    acl: str
    passwords: str


def broker_users(targets: Sequence[TargetId], bridges: Mapping[str, Sequence[TargetId]] | None = None) -> list[str]:
    """All users of the broker; each needs a password."""
    return [CONTROLLER, *sorted(targets), *(BRIDGE_PREFIX + name for name in sorted(bridges or {}))]


def broker_files(
    site: str,
    targets: Sequence[TargetId],
    *,
    passwords: Mapping[str, str],
    salt: Callable[[], bytes],
    folder: str,
    listen: Listen,
    bridges: Mapping[str, Sequence[TargetId]] | None = None,
    run_as: str = "mosquitto",
) -> BrokerFiles:
    """The three texts, to lie in `folder` on the broker's machine as mosquitto.conf, acl and passwords.

    `passwords` holds one for each of `broker_users`, made by machine; `salt` gives 12 random bytes a call.
    BadInput when a user has none, and for a plain listener that others can reach.
    """
    topics.site_word(site)
    behind = bridges or {}
    for name in behind:
        topics.site_word(name)
    users = broker_users(targets, behind)
    without = [user for user in users if not passwords.get(user)]
    if without:
        raise BadInput(
            f"These users of the broker have no password: {', '.join(without)}.",
            expected="one for each target, each bridge and the controller",
            remedy="Make one of at least 16 random bytes for each.",
        )
    return BrokerFiles(
        conf=_conf(folder, listen, len(users) + SPARE_CONNECTIONS, run_as),
        acl=_acl(site, targets, behind),
        passwords="".join(f"{user}:{_hashed(passwords[user], salt())}\n" for user in users),
    )


def write_broker_files(files: BrokerFiles, folder: Path) -> None:
    """Put the three texts into `folder`, readable by their owner alone; what lay there before is replaced."""
    for name, text in (("mosquitto.conf", files.conf), ("acl", files.acl), ("passwords", files.passwords)):
        fresh = folder / f"{name}.new"
        fresh.unlink(missing_ok=True)
        fresh.touch(mode=0o600, exist_ok=False)
        fresh.write_text(text)
        fresh.replace(folder / name)


def _conf(folder: str, listen: Listen, connections: int, run_as: str) -> str:
    lines = [
        "# Written by fieldctl: the broker of one practice field. Changes by hand are lost when it is written again.",
        f"# These files belong to the user {run_as} alone (chown {run_as}, mode 600); SIGHUP after a change.",
        f"user {run_as}",
        "per_listener_settings false",
        "",
        "# Nothing is kept on disk: no order may come back from there.",
        "persistence false",
        "",
        "# Nothing is dropped without a word: the keep-alive ends a client that stalls long before its queue is full.",
        f"max_queued_messages {QUEUE_MESSAGES}",
        "max_queued_bytes 0",
        "max_inflight_messages 0",
        f"memory_limit {MEMORY_LIMIT_BYTES}",
        f"max_packet_size {MAX_PACKET_BYTES}",
        f"max_keepalive {MAX_KEEPALIVE_S}",
        "",
        "# Small messages leave at once instead of waiting for company.",
        "set_tcp_nodelay true",
        "sys_interval 0",
        "",
        "allow_anonymous false",
        f"password_file {folder}/passwords",
        f"acl_file {folder}/acl",
        "",
        *_listener(listen),
        "# One connection a user: a target cannot throw out another by taking its client id.",
        "use_username_as_clientid true",
        f"max_connections {connections}",
        "",
        "log_dest stderr",
        "log_type error",
        "log_type warning",
        "log_type notice",
    ]
    return "\n".join(lines) + "\n"


def _listener(listen: Listen) -> list[str]:
    first = f"listener {listen.port}" + (f" {listen.address}" if listen.address else "")
    if listen.certificate and listen.key:
        return [first, f"certfile {listen.certificate}", f"keyfile {listen.key}", "tls_version tlsv1.2"]
    if listen.address is None or not ipaddress.ip_address(listen.address).is_loopback:
        raise BadInput(
            "The broker would take passwords over an open network.",
            expected="a certificate and its key, or a loopback address",
            remedy="Give the broker a certificate that the targets trust.",
        )
    return [first]


def _acl(site: str, targets: Sequence[TargetId], bridges: Mapping[str, Sequence[TargetId]]) -> str:
    own = f"{topics.ROOT}/{site}/t/%u"
    for_all = [f"topic read {topics.down(site, None)}", f"topic read {topics.status(site)}"]
    lines = [
        "# Every target is a user named by its id; to any other user these two patterns mean nothing.",
        f"pattern write {own}/up",
        f"pattern read {own}/down",
        "",
        f"user {CONTROLLER}",
        f"topic read {topics.every_up(site)}",
        f"topic write {topics.ROOT}/{site}/t/+/down",
        f"topic write {topics.down(site, None)}",
        f"topic readwrite {topics.status(site)}",
    ]
    for target in sorted(targets):
        lines += ["", f"user {target}", *for_all]
    for name, behind in sorted(bridges.items()):
        lines += ["", f"user {BRIDGE_PREFIX}{name}", *for_all]
        for target in sorted(behind):
            lines += [f"topic write {topics.up(site, target)}", f"topic read {topics.down(site, target)}"]
    return "\n".join(lines) + "\n"


def _hashed(password: str, salt: bytes) -> str:
    """Mosquitto's format 7: PBKDF2 with HMAC-SHA-512."""
    digest = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, HASH_ROUNDS)
    return f"$7${HASH_ROUNDS}${base64.b64encode(salt).decode()}${base64.b64encode(digest).decode()}"

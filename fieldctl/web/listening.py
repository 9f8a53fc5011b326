"""Where the pages are served: the socket, the addresses that people type, the host names that count."""

from __future__ import annotations

import errno
import socket

from fieldctl.errors import InUse, Refused
from fieldctl.site.model import Pages

EVERYWHERE = ("0.0.0.0", "::")
SOMEWHERE_ELSE = ("192.0.2.1", 9)  # RFC 5737: nothing is sent to it, but the way there names our own address


def listen(config: Pages) -> socket.socket:
    """The socket that the pages are served on; InUse or Refused say why there can be none."""
    family = socket.AF_INET6 if ":" in config.listen else socket.AF_INET
    # named as TCP, else asyncio does not set TCP_NODELAY on what it accepts: 40 ms more for each answer
    listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((config.listen, config.port))
        listener.listen(128)
        listener.setblocking(False)
    except OSError as error:
        listener.close()
        where = f"{config.listen}, port {config.port}"
        if error.errno == errno.EADDRINUSE:
            raise InUse(
                f"Another program listens on {where} already.",
                remedy="Stop it, or name another port under [pages] in site.toml (0 takes any free one).",
            ) from None
        raise Refused(
            f"The pages cannot be served on {where}: {error.strerror or error}.",
            expected="an address of this machine and a port from 1024 on",
            remedy="Name such under [pages] in site.toml.",
        ) from None
    return listener


def address(listener: socket.socket, config: Pages) -> str:
    """The address that a phone on the same network opens."""
    host, port = listener.getsockname()[:2]
    if host in EVERYWHERE:
        host = config.names[0] if config.names else own_address()
    scheme = "https" if config.certificate else "http"
    return f"{scheme}://[{host}]:{port}" if ":" in host else f"{scheme}://{host}:{port}"


def own_address() -> str:
    """This machine's address on the network that it would leave by, else its name."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(SOMEWHERE_ELSE)
            found: str = probe.getsockname()[0]
        except OSError:
            return socket.gethostname()
    return found


def hosts(config: Pages) -> frozenset[str]:
    """The host names that count: the site's, this machine's, and the loopback's."""
    own = socket.gethostname().lower()
    return frozenset({"localhost", own, f"{own}.local", *config.names})

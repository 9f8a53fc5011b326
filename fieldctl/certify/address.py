"""Where a socket is, as a person writes it."""

from __future__ import annotations

from urllib.parse import urlsplit


def host_and_port(text: str) -> tuple[str, int]:
    """Both, of HOST:PORT or [ADDRESS OF IPV6]:PORT; ValueError for anything else, and for ports beyond 1 to 65535."""
    parts = urlsplit(f"//{text}")
    if not parts.hostname or not parts.port or parts.netloc != text or parts.username is not None:
        raise ValueError(f"{text!r} is no HOST:PORT")
    return parts.hostname, parts.port

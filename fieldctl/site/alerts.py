"""Which address alarms may be sent to: over TLS, or plainly where nobody outside the site's network can read along."""

from __future__ import annotations

import ipaddress
from urllib.parse import urlsplit

NEAR = (".local", ".lan", ".home.arpa", ".internal")  # names that are no one's outside (RFC 6762, RFC 8375)


def wrong_webhook(url: str) -> str:
    """What is wrong with an address for alarms; "" where it will do."""
    try:
        parts = urlsplit(url)
        host, _ = parts.hostname or "", parts.port
    except ValueError:
        return "it is no address"
    if parts.scheme not in ("https", "http") or not host or any(letter <= " " or letter > "~" for letter in url):
        return "it is no address of a web server"
    if parts.username is not None or parts.password is not None:
        return "a password stands in this file, which people copy and print"
    if parts.fragment:
        return "what follows # is never sent"
    return "" if parts.scheme == "https" or _near(host) else "plain http leaves the site's own network"


def _near(host: str) -> bool:
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        low = host.lower().rstrip(".")
        return "." not in low or low.endswith(NEAR)
    return address.is_private or address.is_link_local

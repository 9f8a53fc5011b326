"""One POST of JSON to an address that the site names: in a thread of its own, within a time, without following anybody.

The thread is given up when the time is over: its socket is shut, and should it still hang (a resolver that does not
answer), it holds nothing up, neither the loop nor the program's end.
"""

from __future__ import annotations

import asyncio
import contextlib
import http.client
import socket
import ssl
import threading
from urllib.parse import urlsplit

from fieldctl.errors import FieldctlError, Unreachable

WITHIN_S = 10.0
HEADERS = {"Content-Type": "application/json", "User-Agent": "fieldctl", "Connection": "close"}
REMEDY = "Look at the address under [alerts] in site.toml, and at this machine's way to it."


async def post_json(url: str, body: bytes, within_s: float = WITHIN_S) -> None:
    """Deliver a body; Unreachable where nobody took it (2xx) within the time. A redirection is not followed."""
    loop = asyncio.get_running_loop()
    outcome: asyncio.Future[int] = loop.create_future()
    attempt = _Attempt(url, body, within_s)

    def tell(result: int | Exception) -> None:
        if not outcome.done():
            if isinstance(result, int):
                outcome.set_result(result)
            else:
                outcome.set_exception(result)

    def work() -> None:
        result: int | Exception
        try:
            result = attempt.carry_out()
        except (OSError, http.client.HTTPException, ValueError) as error:
            result = error
        with contextlib.suppress(RuntimeError):  # the loop is gone: nobody waits any more
            loop.call_soon_threadsafe(tell, result)

    threading.Thread(target=work, name="webhook", daemon=True).start()
    try:
        async with asyncio.timeout(within_s):
            status = await outcome
    except TimeoutError:
        raise _unreachable(f"it did not answer within {within_s:g} s") from None
    except ssl.SSLError as error:
        raise _unreachable(
            f"its certificate or its TLS is not accepted ({error.reason or 'no reason given'})"
        ) from None
    except OSError as error:
        raise _unreachable(error.strerror or "it cannot be reached") from None
    except (http.client.HTTPException, ValueError):
        raise _unreachable("what it answers is not HTTP") from None
    finally:
        attempt.give_up()
    if not 200 <= status < 300:
        raise _unreachable(f"it answered {status}")


def _unreachable(why: str) -> FieldctlError:
    return Unreachable(f"The webhook took nothing: {why}.", remedy=REMEDY)


class _Attempt:
    """One connection; `give_up` may be called from another thread at any moment."""

    def __init__(self, url: str, body: bytes, within_s: float) -> None:
        self._parts = urlsplit(url)
        self._body = body
        self._within_s = within_s
        self._line: http.client.HTTPConnection | None = None
        self._given_up = False

    def carry_out(self) -> int:
        """The status that came back; OSError, HTTPException or ValueError."""
        parts = self._parts
        host = parts.hostname or ""
        if parts.scheme == "https":
            context = ssl.create_default_context()
            self._line = http.client.HTTPSConnection(host, parts.port, timeout=self._within_s, context=context)
        else:
            self._line = http.client.HTTPConnection(host, parts.port, timeout=self._within_s)
        path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
        try:
            if self._given_up:
                raise TimeoutError
            self._line.request("POST", path, body=self._body, headers=HEADERS)
            return self._line.getresponse().status
        finally:
            self._line.close()

    def give_up(self) -> None:
        """Shut what is open, so that a thread that waits for it ends."""
        self._given_up = True
        open_socket = None if self._line is None else self._line.sock
        if open_socket is not None:
            with contextlib.suppress(OSError):
                open_socket.shutdown(socket.SHUT_RDWR)

"""The air between a phone and the field: bytes go through it, or nothing does and nobody is told: a phone gone dark."""

from __future__ import annotations

import contextlib
import socket
import threading
from urllib.parse import urlsplit

LOOPBACK = "127.0.0.1"


class Air:
    def __init__(self, field: str) -> None:
        self._to = (LOOPBACK, urlsplit(field).port)
        self._clear = threading.Event()
        self._clear.set()
        self._listener = socket.create_server((LOOPBACK, 0))
        self._sockets: list[socket.socket] = []
        threading.Thread(target=self._accept, daemon=True).start()
        self.url = f"http://{LOOPBACK}:{self._listener.getsockname()[1]}"

    def dark(self) -> None:
        self._clear.clear()

    def back(self) -> None:
        self._clear.set()

    def end(self) -> None:
        self._clear.set()
        self._listener.close()
        for one in self._sockets:
            with contextlib.suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)

    def _accept(self) -> None:
        while True:
            try:
                phone, _ = self._listener.accept()
                self._clear.wait()
                field = socket.create_connection(self._to)
            except OSError:
                return
            self._sockets += [phone, field]
            for source, sink in ((phone, field), (field, phone)):
                threading.Thread(target=self._pump, args=(source, sink), daemon=True).start()

    def _pump(self, source: socket.socket, sink: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(1 << 16):
                self._clear.wait()
                sink.sendall(data)
        for one in (source, sink):
            with contextlib.suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()

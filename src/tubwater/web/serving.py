"""Serves the application: takes the ports, says where, opens the browser."""

from __future__ import annotations

import socket
import ssl
import threading
import webbrowser
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

import uvicorn
from fastapi import FastAPI

from tubwater.errors import InputError
from tubwater.reports.text import text_of
from tubwater.web.network import Home, is_here

if TYPE_CHECKING:
    from tubwater.web.certificates import Certificates

__all__ = ["Secure", "listen", "listen_everywhere", "serve"]

_ASKED_AGAIN = 1.0  # s
_LOOKED_AT = 6 * 3600.0  # s between two looks at the certificates


def listen(host: str, port: int) -> socket.socket:
    """Takes the address; port 0 is a free one.

    Raises:
        InputError: it cannot be had, and why.
    """
    if not 0 <= port <= 65535:
        raise InputError.one("--port", port, "a number from 0 to 65535")
    try:
        return _bound(host, port)
    except OSError as error:
        given = f"{host} {port} ({error.strerror or 'an error'})"
        raise InputError.one("--port", given, "an address that is free, such as --port 0") from None


def listen_everywhere(port: int) -> tuple[socket.socket, ...]:
    """Takes a port on every address of this computer, by IPv4 and, where that can be had too, by IPv6.

    Raises:
        InputError: it cannot be had, and why.
    """
    found = listen("0.0.0.0", port)
    with suppress(OSError):
        return found, _bound("::", int(found.getsockname()[1]), apart=True)
    return (found,)


def _bound(host: str, port: int, apart: bool = False) -> socket.socket:
    """A socket at an address; ``apart``: it leaves IPv4 to another."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # Only where the protocol is named, each answer is sent at once instead of waiting for the other side (TCP_NODELAY).
    found = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if apart:
            found.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
        found.bind((host.strip("[]"), port))
    except OSError:
        found.close()
        raise
    return found


class Secure:
    """HTTPS beside the pages on this computer: its own port, certificates that are looked after while it runs.

    Nobody is answered before it is ``allowed``, which is looked at again every second until it is.
    """

    def __init__(
        self,
        listeners: Sequence[socket.socket],
        renew: Callable[[], Certificates],
        allowed: Callable[[], bool] = lambda: True,
    ) -> None:
        self.listeners = list(listeners)
        self._renew, self._allowed = renew, allowed
        self._found = renew()
        self._over = threading.Event()

    @property
    def home(self) -> Home:
        """How phones reach it."""
        return Home("https", int(self.listeners[0].getsockname()[1]), self._found.authority)

    @property
    def open(self) -> bool:
        """Whether phones are answered already."""
        return self._allowed()

    @contextmanager
    def serving(self, app: FastAPI) -> Iterator[None]:
        """Answers in threads of its own as long as it is held."""
        config = _config(app, ssl_certfile=str(self._found.chain), ssl_keyfile=str(self._found.key))
        config.load()
        server = uvicorn.Server(config)
        threads = [
            threading.Thread(target=self._answer, args=(server,), daemon=True),
            threading.Thread(target=self._look_after, args=(config.ssl,), daemon=True),
        ]
        for thread in threads:
            thread.start()
        try:
            yield
        finally:
            server.should_exit = True
            self._over.set()
            for thread in threads:
                thread.join(5)
            for listener in self.listeners:
                listener.close()

    def _answer(self, server: uvicorn.Server) -> None:
        while not self._allowed():
            if self._over.wait(_ASKED_AGAIN):
                return
        server.run(sockets=self.listeners)

    def _look_after(self, context: ssl.SSLContext) -> None:
        """A certificate that was renewed counts from the next connection on."""
        while not self._over.wait(_LOOKED_AT):
            with suppress(OSError):  # a folder that cannot be written today may be at the next look
                found = self._renew()
                context.load_cert_chain(found.chain, found.key)


def serve(app: FastAPI, listener: socket.socket, browser: bool = True, secure: Secure | None = None) -> None:
    """Answers until it is stopped (Ctrl+C)."""
    host, port = listener.getsockname()[:2]
    address = f"http://{'localhost' if is_here(host) else host}:{port}/"
    print(text_of("cli", "at", {"address": address}), flush=True)
    if secure:
        others = " ".join(secure.home.addresses())
        kind = "for-phones" if secure.open else "for-phones-later"
        print(text_of("cli", kind, {"address": address, "others": others}), flush=True)
    if browser:
        threading.Timer(1.0, webbrowser.open, (address,)).start()
    server = uvicorn.Server(_config(app))
    if secure is None:
        server.run(sockets=[listener])
        return
    with secure.serving(app):
        server.run(sockets=[listener])


def _config(app: FastAPI, ssl_certfile: str | None = None, ssl_keyfile: str | None = None) -> uvicorn.Config:
    return uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        timeout_graceful_shutdown=3,
        ssl_certfile=ssl_certfile,
        ssl_keyfile=ssl_keyfile,
    )

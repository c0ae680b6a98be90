"""Serves the application: takes the port, says where, opens the browser."""

from __future__ import annotations

import ipaddress
import socket
import threading
import webbrowser

import uvicorn
from fastapi import FastAPI

from tubwater.errors import InputError

__all__ = ["is_here", "listen", "serve"]


def is_here(host: str) -> bool:
    """Whether an address can be reached from this computer only."""
    try:
        return host == "localhost" or ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def listen(host: str, port: int) -> socket.socket:
    """Takes the address; port 0 is a free one.

    Raises:
        InputError: it cannot be had, and why.
    """
    if not 0 <= port <= 65535:
        raise InputError.one("--port", port, "a number from 0 to 65535")
    try:
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        found = socket.socket(family, socket.SOCK_STREAM)
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        found.bind((host.strip("[]"), port))
    except OSError as error:
        reason = error.strerror or "an error"
        raise InputError.one(
            "--port", f"{host} {port} ({reason})", "an address that is free, such as --port 0"
        ) from None
    return found


def serve(app: FastAPI, listener: socket.socket, browser: bool = True) -> None:
    """Answers until it is stopped (Ctrl+C)."""
    host, port = listener.getsockname()[:2]
    address = f"http://{'localhost' if is_here(host) else host}:{port}/"
    print(f"Tubwater is at {address}  (Ctrl+C stops it; the logbook is kept)", flush=True)
    if browser:
        threading.Timer(1.0, webbrowser.open, (address,)).start()
    config = uvicorn.Config(app, log_level="warning", access_log=False, timeout_graceful_shutdown=3)
    uvicorn.Server(config).run(sockets=[listener])

"""What the tests of the pages share: sizes, a clock, a running application, an engine that judges accessibility."""

from __future__ import annotations

import itertools
import random
import socket
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.request import urlopen
from zoneinfo import ZoneInfo

import uvicorn
from fastapi import FastAPI
from playwright.sync_api import Page

ZONE = ZoneInfo("Europe/London")
WORDS = "larch spoon kettle river"  # a password
START = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
AXE = Path(__file__).parent / "vendor" / "axe.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
MOST = 180_000  # ms, for anything that a browser waits for, however busy the machine is
PHONE: dict[str, Any] = {
    "viewport": {"width": 390, "height": 844},
    "device_scale_factor": 2,
    "is_mobile": True,
    "has_touch": True,
}
DESK: dict[str, Any] = {"viewport": {"width": 1280, "height": 900}}
BODY: dict[str, Any] = {
    "tub": {"name": "Larch", "volume": "1300 L", "sanitizer": "bromine"},
    "product": [
        {"name": "oxidizer", "substance": "potassium monopersulfate", "strength": "43 %", "scoop": "20 g"},
        {"name": "dry acid", "substance": "sodium bisulfate", "strength": "93 %", "spoon": "15 g"},
        {"name": "soda ash", "substance": "soda ash", "strength": "99 %", "spoon": "12 g"},
        {"name": "bicarbonate", "substance": "sodium bicarbonate", "strength": "99 %", "scoop": "30 g"},
        {"name": "tablets", "substance": "bromine tablets", "strength": "96 %", "tablet": "20 g"},
    ],
}


class Clock:
    """A clock that is set by hand; no two looks at it are at the same moment, as with any other clock."""

    def __init__(self, now: datetime) -> None:
        self.time = now
        self._looks = itertools.count()

    def now(self) -> datetime:
        return self.time + timedelta(microseconds=next(self._looks))


class Plain:
    """Keeps passwords readable; the real hash is tested where it lives."""

    def hash(self, password: str) -> str:
        return "plain:" + password

    def verify(self, kept: str, password: str) -> bool:
        return kept == "plain:" + password

    def stale(self, kept: str) -> bool:
        return False


def hold(page: Page, at: datetime) -> None:
    """Lets the clock of a page stand at a time, its timers run; so nothing depends on how fast this machine is."""
    page.clock.set_fixed_time(at)


def serve(app: FastAPI, port: int = 0) -> tuple[str, Callable[[], None]]:
    """Starts an application on a port, 0 for a free one; its address, and how to stop it."""
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listener.bind(("127.0.0.1", port))
    server = uvicorn.Server(uvicorn.Config(app, log_level="critical", lifespan="off", timeout_graceful_shutdown=1))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    address = f"http://127.0.0.1:{listener.getsockname()[1]}"

    def stop() -> None:
        server.should_exit = True
        thread.join(MOST / 1000)
        listener.close()

    _wait_for(address + "/healthz")
    return address, stop


def port_to_keep() -> int:
    """A port that is free, and that nobody gets who asks for any free one, so that it can be taken again later."""
    for port in random.sample(range(20_000, 32_000), 100):  # below what the system gives away by itself
        with socket.socket() as tried:
            try:
                tried.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port
    raise AssertionError("no port is free")


def _wait_for(address: str) -> None:
    until = time.monotonic() + MOST / 1000
    while time.monotonic() < until:
        try:
            with urlopen(address, timeout=MOST / 1000) as answer:
                assert answer.status == 200
            return
        except OSError:
            time.sleep(0.05)
    raise AssertionError(f"nothing answers at {address}")


def violations(page: Page) -> list[str]:
    """What the accessibility engine finds wrong with a page; the size of targets it judges only when it is told to."""
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(AXE.read_text(encoding="utf-8"))
    options = {"runOnly": RULES, "rules": {"target-size": {"enabled": True}}}
    found = page.evaluate("options => axe.run(document, options)", options)["violations"]
    return [f"{one['id']}: {one['help']}: {node['html'][:160]}" for one in found for node in one["nodes"]]

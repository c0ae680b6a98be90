"""How much work each page is, served, beside an empty page of the same framework: without that of the use cases.

The tubs and the addresses are those that the tests of the pages look at. Each page is asked for once, so that what is
computed for a minute is there, and then often; what the use cases (logbook, belief, verdict, plan) still take of it is
measured in the same request and taken off. What is left is to read, render, send and receive the page. Work is seconds
of the processor, which a busy machine does not stretch; on a quiet one it is the time that passes.
"""

from __future__ import annotations

import http.client
import statistics
import sys
import threading
import time
from collections.abc import Callable, Iterable
from functools import wraps
from pathlib import Path
from types import FunctionType
from typing import Any
from urllib.parse import urlsplit

from fastapi import FastAPI
from fastapi.responses import HTMLResponse
from jinja2 import Template

__all__ = ["run"]

sys.path.append(str(Path(__file__).resolve().parent.parent / "tests"))

ROUNDS = 15
LIMIT = 3.0  # times
EMPTY = Template("<!doctype html><html lang=en><title>{{ title }}</title><h1>{{ title }}</h1></html>")


class Inside:
    """Seconds spent in the use cases, the outermost call alone."""

    def __init__(self) -> None:
        self.seconds = 0.0
        self._depth = threading.local()

    def watch(self, services: Iterable[type]) -> None:
        """Measures the methods of these classes, and each function of the use cases that a page calls."""
        for place in services:
            for name, found in list(vars(place).items()):
                if isinstance(found, FunctionType) and not name.startswith("_"):
                    setattr(place, name, self._timed(found))
        for module in [found for name, found in sys.modules.items() if name.startswith("tubwater.web")]:
            for name, found in list(vars(module).items()):
                if isinstance(found, FunctionType) and found.__module__.startswith("tubwater.services"):
                    setattr(module, name, self._timed(found))

    def _timed(self, work: Callable[..., Any]) -> Callable[..., Any]:
        @wraps(work)
        def timed(*given: Any, **named: Any) -> Any:
            if getattr(self._depth, "inside", False):
                return work(*given, **named)
            self._depth.inside, started = True, time.thread_time()
            try:
                return work(*given, **named)
            finally:
                self._depth.inside = False
                self.seconds += time.thread_time() - started

        return timed


def run() -> list[tuple[str, str]]:
    """Each page in turn with the empty one, so that a busy machine hits both alike."""
    from tubwater.services.answers import Answers
    from tubwater.services.keeping import Keeping
    from tubwater.services.visits import Visits
    from web.harness import serve
    from web.world import ADDRESSES, World

    inside, world = Inside(), World()
    inside.watch((Keeping, Answers, Visits))
    (pages, stop_pages), (empty, stop_empty) = serve(world.app), serve(_empty())
    rows = [_ratio(pages, empty, path, inside) for paths in ADDRESSES.values() for path in paths]
    stop_pages()
    stop_empty()
    worst = sorted(rows, reverse=True)
    over = [path for ratio, _, path in rows if ratio > LIMIT]
    told = [(f"{path} to an empty page", f"{ratio:.1f} x, {1000 * took:.1f} ms") for ratio, took, path in worst]
    held = f"OVER the limit of {LIMIT:g} x: {', '.join(over)}" if over else f"all within the limit of {LIMIT:g} x"
    median = statistics.median(ratio for ratio, _, _ in rows)
    return [
        *told,
        (f"all {len(rows)} pages to an empty page, median and worst", f"{median:.1f}, {worst[0][0]:.1f} x; {held}"),
    ]


def _empty() -> FastAPI:
    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)

    @app.get("/")
    def empty() -> HTMLResponse:
        return HTMLResponse(EMPTY.render(title="empty"))

    @app.get("/healthz")
    def healthz() -> HTMLResponse:
        return HTMLResponse("ok")

    return app


def _ratio(pages: str, empty: str, path: str, inside: Inside) -> tuple[float, float, str]:
    here, there = (http.client.HTTPConnection(urlsplit(one).netloc, timeout=600) for one in (pages, empty))
    _seconds(here, path), _seconds(there, "/")
    took, bare = [], []
    for _ in range(ROUNDS):
        before = inside.seconds
        whole = _seconds(here, path)
        took.append(whole - (inside.seconds - before))
        bare.append(_seconds(there, "/"))
    here.close()
    there.close()
    return min(took) / min(bare), min(took), path


def _seconds(line: http.client.HTTPConnection, path: str) -> float:
    started = time.process_time()
    line.request("GET", path)
    line.getresponse().read()
    return time.process_time() - started


if __name__ == "__main__":
    for what, result in run():
        print(f"{what}: {result}")

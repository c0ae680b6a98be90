"""`python3 run.py` without a word serves the pages, and the browser opens on them by itself."""

from __future__ import annotations

import importlib.util
import threading
import webbrowser
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from pathlib import Path
from socket import socket
from urllib.request import urlopen

import pytest
import uvicorn

from tubwater import main as composition

LONGEST = 60.0  # s, then the start is given up
LATER = 2.0  # s after the start, by when a browser would have been opened


class Stoppable(uvicorn.Server):
    """A server that is stopped some time after it has started, so that no test waits for ever."""

    after = LONGEST
    running: list[Stoppable]

    async def startup(self, sockets: list[socket] | None = None) -> None:
        await super().startup(sockets)
        self.running.append(self)
        given_up = threading.Timer(self.after, self.stop)
        given_up.daemon = True
        given_up.start()

    def stop(self) -> None:
        self.should_exit = True


def answered(words: list[str]) -> int:
    """What the command answers, in a thread of its own: another test's browser may hold the event loop of this one."""
    with ThreadPoolExecutor(1) as apart:
        return apart.submit(copy_context().run, composition.main, words).result()


def handed_on(checkout: Path, monkeypatch: pytest.MonkeyPatch, words: list[str]) -> list[str]:
    """What the launcher passes to the command."""
    spec = importlib.util.spec_from_file_location("launcher", checkout / "run.py")
    assert spec is not None and spec.loader is not None
    launcher = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(launcher)
    commands: list[list[str]] = []
    monkeypatch.setattr(launcher, "runtime_python", lambda: Path("python"))
    monkeypatch.setattr(launcher, "run", lambda command, _: commands.append([str(part) for part in command]) or 0)
    assert launcher.main(words) == 0 and commands[0][:3] == ["python", "-m", "tubwater"]
    return commands[0][3:]


@pytest.mark.parametrize(("words", "opens"), [([], True), (["--no-browser"], False)], ids=["plain", "no browser"])
def test_the_browser_opens_on_the_pages_by_itself(
    words: list[str], opens: bool, checkout: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    seen: list[tuple[str, bytes]] = []
    started: list[Stoppable] = []

    def browse(address: str, *_: object) -> bool:
        with urlopen(address) as answer:
            seen.append((address, answer.read()))
        started[0].stop()
        return True

    for name in ("HOME", "USERPROFILE"):
        monkeypatch.setenv(name, str(tmp_path))
    monkeypatch.setattr(webbrowser, "open", browse)
    monkeypatch.setattr(uvicorn, "Server", Stoppable)
    monkeypatch.setattr(Stoppable, "running", started, raising=False)
    monkeypatch.setattr(Stoppable, "after", LONGEST if opens else LATER)
    assert answered([*handed_on(checkout, monkeypatch, words), "--port", "0"]) == 0 and len(started) == 1
    assert [address.startswith("http://localhost:") for address, _ in seen] == [True] * opens
    assert all(b'href="/first"' in shown for _, shown in seen)  # an empty logbook leads to the first tub

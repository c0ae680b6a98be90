"""`python3 run.py` without a word serves the pages, and the browser opens on them by itself."""

from __future__ import annotations

import importlib.util
import threading
import webbrowser
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from pathlib import Path
from urllib.request import urlopen

import pytest
import uvicorn

from tubwater import main as composition

LONGEST = 60.0  # s, then the start is given up


class Stoppable(uvicorn.Server):
    """A server that the test can stop."""

    started_last: Stoppable | None = None

    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        Stoppable.started_last = self


def answered(words: list[str]) -> int:
    """What the command answers, in a thread of its own: another test's browser may hold the event loop of this one."""
    with ThreadPoolExecutor(1) as apart:
        return apart.submit(copy_context().run, composition.main, words).result()


def stop() -> None:
    """Ends the serving."""
    if Stoppable.started_last is not None:
        Stoppable.started_last.should_exit = True


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

    def browse(address: str, *_: object) -> bool:
        with urlopen(address) as answer:
            seen.append((address, answer.read()))
        stop()
        return True

    for name in ("HOME", "USERPROFILE"):
        monkeypatch.setenv(name, str(tmp_path))
    monkeypatch.setattr(webbrowser, "open", browse)
    monkeypatch.setattr(uvicorn, "Server", Stoppable)
    given_up = threading.Timer(LONGEST if opens else 2.5, stop)
    given_up.start()
    try:
        assert answered([*handed_on(checkout, monkeypatch, words), "--port", "0"]) == 0
    finally:
        given_up.cancel()
    assert [address.startswith("http://localhost:") for address, _ in seen] == [True] * opens
    assert all(b'href="/first"' in shown for _, shown in seen)  # an empty logbook leads to the first tub

"""A page is drawn once for the answers it tells; what changes them, or the language, has it drawn anew."""

from __future__ import annotations

import re
from datetime import timedelta

from fastapi.testclient import TestClient

from tubwater.web.drawn import Drawn
from web.harness import Clock


def test_what_was_drawn_stands_for_the_very_answers_it_was_drawn_of() -> None:
    drawn, made = Drawn(), iter(range(10))
    first, same_value = [1.0], [1.0]

    def draw() -> str:
        return f"picture {next(made)}"

    assert drawn.once("page", (first,), draw) == drawn.once("page", (first,), draw) == "picture 0"
    assert drawn.once("page", (same_value,), draw) == "picture 1"
    assert drawn.once("other", (same_value,), draw) == "picture 2"
    assert drawn.once("page", (same_value, first), draw) == "picture 3"


def test_only_so_many_are_kept() -> None:
    drawn = Drawn()
    for key in range(200):
        drawn.once(key, (), lambda: "old")
    assert drawn.once(0, (), lambda: "new") == "new" and drawn.once(199, (), lambda: "new") == "old"


def test_a_page_follows_its_logbook_its_clock_and_its_reader(client: TestClient, clock: Clock, tub: str) -> None:
    path = f"/tubs/{tub}/ledger"
    first = client.get(path).text
    clock.time += timedelta(seconds=30)
    assert _rest(client.get(path).text) == _rest(first)
    assert '<html lang="de"' in client.get(path, headers={"accept-language": "de"}).text
    clock.time += timedelta(seconds=29)
    at = re.search(r"<time datetime=[^>]*>[^<]*12:00</time>", client.get(path).text)
    clock.time += timedelta(seconds=1)
    assert at is not None and "12:01</time>" in client.get(path).text
    client.post(f"/tubs/{tub}/add/filled", data={"volume": "1250 L", "key": "fill"})
    assert _rest(client.get(path).text) != _rest(first)


def _rest(text: str) -> str:
    return re.sub(r"<time .*?</time>", "", text)

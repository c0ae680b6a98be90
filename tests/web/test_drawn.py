"""A page is drawn once for the answers it tells; what changes them, or the language, has it drawn anew."""

from __future__ import annotations

import re
from datetime import timedelta

from fastapi.testclient import TestClient

from tubwater.services.keeping import Keeping
from tubwater.services.ports import Kind
from tubwater.services.visits import Told, Visits, What
from tubwater.web.drawn import Drawn
from web.beside import HIGH_PH
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
    """Without what tells the time of the answer."""
    return re.sub(r"<time .*?</time>|data-now=\"[^\"]*\"", "", text)


def test_a_visit_that_was_drawn_before_reads_as_one_that_is_drawn_anew(
    client: TestClient, keeping: Keeping, clock: Clock, tub: str
) -> None:
    keeping.record(tub, Kind.TEST, HIGH_PH)
    visits = Visits(keeping)
    visit = visits.begin(tub)
    shown: set[str] = set()
    for _ in range(12):
        turn = visits.show(tub, visit).turn
        assert turn is not None
        moments = [timedelta()]
        if turn.due is not None:  # nothing is entered, and the page changes all the same
            moments = [timedelta(seconds=20), turn.due - clock.time - timedelta(seconds=5), timedelta(seconds=10)]
        for passed in moments:
            clock.time += passed
            before, again = drawn_twice(client, f"/tubs/{tub}/visit/{visit}", f"?fresh={clock.now():%H%M%S%f}")
            assert before == again
            shown |= set(re.findall(r'data-screen="(\w+)"', again))
        if turn.due is not None:
            break
        visits.tell(tub, visit, Told(What.DONE, turn.key))
    assert len(shown) > 2


def drawn_twice(client: TestClient, address: str, anew: str) -> tuple[str, str]:
    """A page as it is kept and, under an address of its own, as it is drawn anew; without what each request has."""
    found = [client.get(address).text, client.get(address + anew).text.replace(anew, "")]
    before, again = (re.sub(r'(value|data-now)="[-0-9a-fT:.+]{30,}[-a-z]*"', "", text) for text in found)
    return before, again

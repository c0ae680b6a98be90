"""Of all who would send one letter, one does: in each database, and in the file beside a keeper's file."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from logbook.places import START, minutes
from tubwater.cli.sent import SentFile
from tubwater.errors import InputError
from tubwater.logbook import open_logbook
from tubwater.services.letters import CLAIM, LetterStore
from tubwater.services.reminders import Letter, letters_of_day, send_letters

(LETTER,) = letters_of_day("larch", "due", "the text", ["keeper@example.org"], START.date())


class Clock:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.at = START

    def now(self) -> datetime:
        return self.at


class Post:
    """Takes letters, or fails as it is told to."""

    def __init__(self, during: Callable[[], None] = lambda: None) -> None:
        self.taken: list[Letter] = []
        self._during = during

    def send(self, letter: Letter) -> None:
        self._during()
        self.taken.append(letter)


@pytest.fixture(params=["file", "sqlite", "postgresql"])
def stores(
    request: pytest.FixtureRequest, tmp_path: Path, new_place: Callable[[str], str]
) -> Iterator[tuple[LetterStore, LetterStore]]:
    """One memory as two programs have it open."""
    if request.param == "file":
        yield SentFile(tmp_path / "sent.json"), SentFile(tmp_path / "sent.json")
        return
    place = new_place(request.param)
    logbooks = [open_logbook(place) for _ in range(2)]
    yield logbooks[0].letters, logbooks[1].letters
    for logbook in logbooks:
        logbook.close()


def test_of_two_who_send_at_the_same_moment_one_does(stores: tuple[LetterStore, LetterStore]) -> None:
    both, post = threading.Barrier(2), Post()

    def send(number: int) -> list[tuple[str, ...]]:
        found = []
        for day in range(10):
            letters = letters_of_day("larch", "due", "x", ["a@example.org"], (START + timedelta(days=day)).date())
            both.wait(30)
            found.append(send_letters(letters, post, stores[number], Clock()))
        return found

    with ThreadPoolExecutor(2) as pool:
        found = list(pool.map(send, (0, 1)))
    assert len({letter.id for letter in post.taken}) == len(post.taken) == 10
    assert [len(a) + len(b) for a, b in zip(*found, strict=True)] == [1] * 10


def test_a_letter_that_is_being_sent_is_not_sent_by_another(stores: tuple[LetterStore, LetterStore]) -> None:
    other = Post()
    mine = Post(lambda: assert_nothing(send_letters([LETTER], other, stores[1], Clock(), again=True)))
    assert send_letters([LETTER], mine, stores[0], Clock()) == ("keeper@example.org",)
    assert other.taken == [] and send_letters([LETTER], other, stores[1], Clock()) == ()
    assert send_letters([LETTER], other, stores[1], Clock(), again=True) == ("keeper@example.org",)


def assert_nothing(sent: tuple[str, ...]) -> None:
    assert sent == ()


@pytest.mark.parametrize("error", [InputError.one("--smtp", "x", "y"), KeyboardInterrupt(), RuntimeError("no")])
def test_what_was_not_taken_is_sent_the_next_time(
    stores: tuple[LetterStore, LetterStore], error: BaseException
) -> None:
    def fail() -> None:
        raise error

    with pytest.raises(type(error)):
        send_letters([LETTER], Post(fail), stores[0], Clock())
    assert send_letters([LETTER], Post(), stores[1], Clock()) == ("keeper@example.org",)


def test_what_somebody_claimed_and_never_sent_is_free_after_a_while(stores: tuple[LetterStore, LetterStore]) -> None:
    clock, post = Clock(), Post()
    assert stores[0].claim(LETTER.id, START)
    clock.at = START + CLAIM - timedelta(seconds=1)
    assert send_letters([LETTER], post, stores[1], clock) == ()
    clock.at = START + CLAIM
    assert send_letters([LETTER], post, stores[1], clock) and len(post.taken) == 1


def test_a_claim_of_a_clock_that_was_wrong_holds_nobody_up(stores: tuple[LetterStore, LetterStore]) -> None:
    assert stores[0].claim(LETTER.id, START + timedelta(days=400))
    assert stores[1].claim(LETTER.id, START)


def test_a_claim_that_ran_out_is_not_given_back_from_under_its_next_owner(
    stores: tuple[LetterStore, LetterStore],
) -> None:
    assert stores[0].claim(LETTER.id, START) and stores[1].claim(LETTER.id, minutes(11))
    stores[0].release(LETTER.id, START)
    assert not stores[0].claim(LETTER.id, minutes(12))
    stores[1].release(LETTER.id, minutes(11))
    assert stores[0].claim(LETTER.id, minutes(12))


def test_a_memory_that_is_held_too_long_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tubwater.cli.sent._SECONDS", 0.05)
    store = SentFile(tmp_path / "sent.json")
    with store._alone(), pytest.raises(InputError, match="--state"):
        store.claim("a", START)

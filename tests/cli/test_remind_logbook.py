"""`remind` asked of a tub in the logbook, which remembers by itself who had which letter."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from cli.mail_server import TODAY, TOMORROW, MailServer
from tubwater.logbook import open_logbook
from tubwater.main import main
from tubwater.services.keeping import Keeping
from tubwater.services.memory import RandomNames, SystemClock
from tubwater.services.ports import Kind

TABLES = {"tub": {"name": "Larch", "volume": "1300 L", "sanitizer": "bromine"}, "product": []}


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two tubs of one name, each with a strip of a month ago."""
    path = tmp_path / "logbook.db"
    monkeypatch.setenv("TUBWATER_LOGBOOK", str(path))
    logbook = open_logbook(path)
    keeping = Keeping(logbook.entries, logbook.snapshots, SystemClock(), RandomNames())
    for tub in ("a", "b"):
        keeping.add_tub(TABLES, id=tub)
        read = {"method": "strip", "bromine": 3, "pH": 7.5, "at": "2026-10-25T09:00:00+00:00"}
        keeping.record(tub, Kind.TEST, read)
    logbook.close()
    return path


def remind(server: MailServer, *words: str, tub: str = "a") -> int:
    to = ["--mail-to", "keeper@example.org", "--mail-from", "tub@example.org"]
    return main(["remind", "--tub", tub, "--smtp", server.address, *to, *words])


def test_what_is_due_at_a_tub_of_the_logbook_goes_out_once_a_day(
    place: Path, server: MailServer, capsys: pytest.CaptureFixture[str]
) -> None:
    for words in (TODAY, TODAY, TOMORROW, [*TODAY, "--again"]):
        assert remind(server, *words) == 0
    assert len(server.taken) == 3 and "Larch" in server.taken[0][2]["Subject"]
    said = capsys.readouterr().out
    assert "Sent to keeper@example.org" in said and "today already" in said


def test_two_tubs_of_one_name_have_a_letter_each(place: Path, server: MailServer) -> None:
    assert remind(server, *TODAY) == remind(server, *TODAY, tub="b") == 0
    assert len({message["Message-ID"] for _, _, message in server.taken}) == 2


def test_of_two_runs_at_the_same_moment_one_sends(
    place: Path, server: MailServer, capsys: pytest.CaptureFixture[str]
) -> None:
    server.meanwhile = lambda: remind(server, *TODAY)
    assert remind(server, *TODAY) == 0 and server.answered == [0]
    assert len(server.taken) == 1 and "another run" in capsys.readouterr().out


def test_a_letter_that_was_refused_goes_out_the_next_time(place: Path, server: MailServer) -> None:
    server.refuses = {"keeper@example.org"}
    assert remind(server, *TODAY) == 2 and server.taken == []
    server.refuses = set()
    assert remind(server, *TODAY) == 0 and len(server.taken) == 1


def test_no_letter_goes_out_that_the_logbook_cannot_remember(
    place: Path, server: MailServer, capsys: pytest.CaptureFixture[str]
) -> None:
    connection = sqlite3.connect(place)
    connection.execute("CREATE TRIGGER full BEFORE INSERT ON letter BEGIN SELECT RAISE(ABORT, 'no room'); END")
    connection.commit()
    connection.close()
    assert remind(server, *TODAY) == 2 and not server.taken
    assert len(capsys.readouterr().err.splitlines()) == 1


def test_what_only_a_file_takes_is_refused(place: Path, server: MailServer, capsys: pytest.CaptureFixture[str]) -> None:
    assert remind(server, "--state", "x.json", *TODAY) == 2
    assert "FILE with it" in capsys.readouterr().err

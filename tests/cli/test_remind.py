"""The command `remind`, against a small mail server of these tests: once a day to each, and never silently lost."""

from __future__ import annotations

import json
from contextvars import copy_context
from datetime import UTC, datetime
from pathlib import Path

import pytest

from cli.mail_server import TODAY, TOMORROW, MailServer
from tubwater.cli.app import run
from tubwater.cli.mail import letter_text
from tubwater.services.due import Due, DueKind
from tubwater.services.reminders import due_today
from tubwater.services.tubfile import example_text
from tubwater.tub import Reason

FROM = ["--mail-from", "tub@example.org"]


@pytest.fixture
def file(tmp_path: Path) -> str:
    path = tmp_path / "tub.toml"
    path.write_text(example_text(), encoding="utf-8")
    return str(path)


def remind(file: str, server: MailServer, *words: str, to: tuple[str, ...] = ("keeper@example.org",)) -> int:
    return run(["remind", file, "--smtp", server.address, *FROM, *(w for a in to for w in ("--mail-to", a)), *words])


def test_what_is_due_goes_out_once_a_day(file: str, server: MailServer, capsys: pytest.CaptureFixture[str]) -> None:
    assert remind(file, server, *TODAY) == 0 and remind(file, server, *TODAY) == 0
    ((sender, to, message),) = server.taken
    assert (sender, to, message["To"]) == ("tub@example.org", "keeper@example.org", "keeper@example.org")
    text = message.get_content()  # type: ignore[attr-defined]
    assert "Rinse the filter" in text and "do not say that the water is fit" in text
    assert message["Auto-Submitted"] == "auto-generated" and "The tub behind the house" in message["Subject"]
    said = capsys.readouterr().out
    assert "Sent to keeper@example.org" in said and "today already" in said


def test_the_next_day_and_when_asked_for_it_goes_out_again(file: str, server: MailServer) -> None:
    assert remind(file, server, *TODAY) == 0 and remind(file, server, *TODAY, "--again") == 0
    assert remind(file, server, *TOMORROW) == 0
    first, again, next_day = (message["Message-ID"] for _, _, message in server.taken)
    assert first == again != next_day


def test_each_address_has_its_own_letter_and_its_own_memory(file: str, server: MailServer) -> None:
    assert remind(file, server, *TODAY) == 0
    assert remind(file, server, *TODAY, to=("keeper@example.org", "owner@example.org")) == 0
    assert [to for _, to, _ in server.taken] == ["keeper@example.org", "owner@example.org"]


def test_a_letter_that_was_refused_is_told_and_goes_out_the_next_time(
    file: str, server: MailServer, capsys: pytest.CaptureFixture[str]
) -> None:
    server.refuses = {"keeper@example.org"}
    assert remind(file, server, *TODAY) == 2
    assert "--smtp" in capsys.readouterr().err and server.taken == []
    server.refuses = set()
    assert remind(file, server, *TODAY) == 0 and len(server.taken) == 1


def test_who_refuses_a_letter_keeps_nobody_else_from_having_one(
    file: str, server: MailServer, capsys: pytest.CaptureFixture[str]
) -> None:
    server.refuses = {"keeper@example.org"}
    assert remind(file, server, *TODAY, to=("keeper@example.org", "owner@example.org")) == 2
    assert [to for _, to, _ in server.taken] == ["owner@example.org"]
    assert "keeper@example.org" in capsys.readouterr().err


def test_of_two_runs_at_the_same_moment_one_sends(
    file: str, server: MailServer, capsys: pytest.CaptureFixture[str]
) -> None:
    server.meanwhile = lambda: remind(file, server, *TODAY)
    assert remind(file, server, *TODAY) == 0 and server.answered == [0]
    assert len(server.taken) == 1 and "another run" in capsys.readouterr().out


def test_what_went_out_is_kept_in_the_form_of_earlier_versions(file: str, server: MailServer) -> None:
    assert remind(file, server, *TODAY) == 0
    state = Path(file).with_suffix(".reminded.json")
    assert all(datetime.fromisoformat(at) for at in json.loads(state.read_text(encoding="utf-8")).values())


def test_where_nothing_is_due_nothing_goes_out(
    file: str, server: MailServer, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tubwater.cli.mail.due_of_file", lambda *_: ())
    assert remind(file, server, *TODAY) == 0 and server.taken == []
    assert "Nothing is due today" in capsys.readouterr().out


def test_settings_may_stand_in_the_environment(
    file: str, server: MailServer, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("TUBWATER_SMTP", server.address)
    monkeypatch.setenv("TUBWATER_MAIL_FROM", "tub@example.org")
    monkeypatch.setenv("TUBWATER_MAIL_TO", "keeper@example.org, owner@example.org")
    assert run(["remind", file, "--json", *TODAY]) == 0
    assert json.loads(capsys.readouterr().out)["sent"] == ["keeper@example.org", "owner@example.org"]


@pytest.mark.parametrize(
    ("words", "field"),
    [
        (["--mail-to", "keeper"], "--mail-to"),
        (["--mail-to", "a@example.org\nBcc: b@example.org"], "--mail-to"),
        ([], "--mail-to"),
        (["--mail-to", "keeper@example.org", "--mail-from", "nobody"], "--mail-from"),
        (["--mail-to", "keeper@example.org", "--smtp", "mail.example.org:many"], "--smtp"),
        (["--mail-to", "keeper@example.org", "--smtp", ""], "--smtp"),
    ],
)
def test_what_cannot_be_meant_is_refused(
    file: str, words: list[str], field: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["remind", file, "--smtp", "127.0.0.1:1", *FROM, *words, *TODAY]) == 2
    assert field in capsys.readouterr().err


def test_a_password_never_goes_in_the_clear_to_another_computer(
    file: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("TUBWATER_SMTP_USER", "tub@example.org")
    words = ["--smtp", "mail.example.org:25", "--smtp-security", "none", "--mail-to", "keeper@example.org"]
    assert run(["remind", file, *words, *TODAY]) == 2
    assert "--smtp-security" in capsys.readouterr().err


def test_a_server_that_offers_no_security_where_it_was_asked_for_gets_nothing(
    file: str, server: MailServer, capsys: pytest.CaptureFixture[str]
) -> None:
    assert remind(file, server, "--smtp-security", "starttls", *TODAY) == 2
    assert server.taken == [] and "--smtp" in capsys.readouterr().err


def test_a_memory_that_is_not_one_is_left_alone(
    file: str, server: MailServer, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = tmp_path / "mine.txt"
    for content in ("not of this command", "[]", '{"a": 1}', '{"a": "soon"}', '{"a": "2026-11-25T09:00"}'):
        other.write_text(content, encoding="utf-8")
        assert remind(file, server, "--state", str(other), *TODAY) == 2
        assert "--state" in capsys.readouterr().err and other.read_text(encoding="utf-8") == content
    assert not server.taken


def test_no_letter_goes_out_that_could_not_be_remembered(
    file: str, server: MailServer, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert remind(file, server, "--state", str(tmp_path / "nowhere" / "sent.json"), *TODAY) == 2
    assert "--state" in capsys.readouterr().err and not server.taken


def test_a_letter_tells_the_hours_of_the_keepers_zone_however_they_were_stored() -> None:
    now = datetime.fromisoformat("2026-11-25T21:00:00+05:30")
    reason = Reason("clock-behind", {"time": "2026-11-25T17:15+00:00"})
    times = (datetime(2026, 11, 25, 17, 0, tzinfo=UTC), datetime(2026, 11, 25, 20, 0, tzinfo=UTC))
    last = datetime(2026, 11, 24, 20, 0, tzinfo=UTC)  # the 25th in India
    dues = [Due(DueKind.TEST, "pH", at, False, 0.0, reason, last, whole_day=False) for at in times]
    today = due_today(dues, now)
    assert [due.at.isoformat() for due in today] == ["2026-11-25T22:30:00+05:30"]  # the other is tomorrow there
    said = " ".join(copy_context().run(letter_text, "Larch", today, now).split())
    assert "22:30" in said and "22:45" in said and "17:" not in said and "24 Nov" not in said

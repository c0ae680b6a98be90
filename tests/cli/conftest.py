"""A mail server of the tests, and nothing of a real one in the environment."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from cli.mail_server import MailServer, serving


@pytest.fixture(autouse=True)
def no_settings_of_mail(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever is set where the tests run, they see nothing of it."""
    for name in ("TUBWATER_SMTP", "TUBWATER_MAIL_TO", "TUBWATER_MAIL_FROM", "TUBWATER_SMTP_USER"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture
def server() -> Iterator[MailServer]:
    """A mail server on this computer."""
    with serving() as found:
        yield found

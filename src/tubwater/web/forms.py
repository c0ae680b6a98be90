"""What a form sent, as the bodies of entries: the tables of a keeper's file."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Annotated, Any

from fastapi import Depends, Request
from starlette.datastructures import FormData, UploadFile

from tubwater.errors import InputError
from tubwater.services.looks import SEEN_AT_EACH_TEST, look_body
from tubwater.services.tubfile import TubFile
from tubwater.tub import Answer, Clarity, OxidantScale, Quantity, Sign
from tubwater.web.desk import Desk

__all__ = [
    "Sent",
    "SentForm",
    "asked_of_page",
    "look_of",
    "moment_of",
    "number_in",
    "reading_key",
    "share_in",
    "test_of",
    "twice",
]


class Sent:
    """The fields of a form; a field that was left empty is absent."""

    def __init__(self, data: FormData) -> None:
        self._data = data

    def text(self, name: str, default: str = "") -> str:
        """A field without blanks around it."""
        value = self._data.get(name)
        return value.strip() or default if isinstance(value, str) else default

    def all(self, name: str) -> list[str]:
        """Every value of a field that may be sent more than once."""
        return [value.strip() for value in self._data.getlist(name) if isinstance(value, str) and value.strip()]

    def number(self, name: str, default: float | None = None) -> float | None:
        """A number in a field.

        Raises:
            InputError: there is something else in it.
        """
        value = self.text(name)
        if not value:
            return default
        try:
            return float(value.replace(",", ".") if value.count(",") == 1 and "." not in value else value)
        except ValueError:
            raise InputError.one(name, value, "a number") from None

    def typed(self, name: str) -> float | str | None:
        """A number, or the text as it stands, to be refused where bodies are read, with all else that is wrong."""
        try:
            return self.number(name)
        except InputError:
            return self.text(name)

    def word(self, name: str, words: Iterable[str], default: str) -> str:
        """One of a closed list of words.

        Raises:
            InputError: it is another.
        """
        value, known = self.text(name, default), tuple(words)
        if value not in known:
            raise InputError.one(name, value, f"one of {', '.join(known)}")
        return value

    def names(self) -> list[str]:
        """The names of all fields."""
        return list(self._data)


async def _sent(request: Request) -> Sent:
    return Sent(await request.form(max_files=0, max_fields=400))


SentForm = Annotated[Sent, Depends(_sent)]


def asked_of_page(request: Request) -> Sent:
    """What the address of a page asks, as the fields of a form."""
    fields: list[tuple[str, str | UploadFile]] = [(name, text) for name, text in request.query_params.multi_items()]
    return Sent(FormData(fields))


def moment_of(desk: Desk, sent: Sent, name: str = "at") -> dict[str, str]:
    """{"at": a time} where one was given; a time without a zone is in the keeper's.

    Raises:
        InputError: it is no time.
    """
    text = sent.text(name)
    if not text:
        return {}
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise InputError.one(name, text, "a day and time, such as 2026-11-20T09:00") from None
    if found.tzinfo is None:
        found = found.replace(tzinfo=desk.zone) if desk.zone else found.astimezone()
    return {"at": found.isoformat()}


def reading_key(quantity: Quantity) -> str:
    """The name of a quantity in a test's body and in a form."""
    return quantity.value.replace(" ", "_")


def test_of(desk: Desk, sent: Sent) -> dict[str, Any]:
    """The body of a test."""
    body: dict[str, Any] = {"method": sent.text("method"), **moment_of(desk, sent)}
    if sent.text("scale"):
        body["scale"] = sent.word("scale", OxidantScale, "")
    if sent.text("jets", Answer.UNKNOWN) != Answer.UNKNOWN:
        body["jets"] = sent.word("jets", Answer, "")
    if sent.text("bathers"):
        body["bathers"] = sent.number("bathers")
    if sent.text("guest") == Answer.YES:
        body["guest"] = True
    for quantity in Quantity:
        value = sent.text(reading_key(quantity))
        if value:
            body[reading_key(quantity)] = _reading(value)
    return body


def _reading(value: str) -> Any:
    """ "1:2" is between two pads; "<6.8", ">10" and typed numbers are read where bodies are read."""
    low, colon, high = value.partition(":")
    return [low, high] if colon else value


def look_of(desk: Desk, sent: Sent, file: TubFile) -> dict[str, Any] | None:
    """The body of a look, None where nothing of it was answered."""
    clarity = Clarity(sent.word("clarity", Clarity, Clarity.UNKNOWN))
    seen = frozenset(Sign(word) for word in sent.all("sign") if word in {str(s) for s in SEEN_AT_EACH_TEST})
    unlogged = sent.text("soak_not_noted")
    if clarity is Clarity.UNKNOWN and not seen and unlogged in ("", "no"):
        return None
    answers = {"soak_not_noted": unlogged} if unlogged else {}
    return look_body(file.events, clarity, seen, {**answers, **moment_of(desk, sent)})


def share_in(field: str, text: str) -> float | None:
    """A share (0 to 1) from a percentage such as "40" or "40 %"; None where it is empty.

    Up to one without its sign might be a share as well, as files write it: that is asked about.

    Raises:
        InputError: it is no percentage, or might be two.
    """
    plain = text.strip().removesuffix("%")
    value = number_in(field, plain)
    if value is None:
        return None
    if not 0.0 <= value <= 100.0:
        raise InputError.one(field, text, "0 to 100")
    if 0.0 < value <= 1.0 and plain == text.strip():
        raise InputError.one(field, text, f"{100.0 * value:g} % or {value:g} %, whichever is meant")
    return value / 100.0


def twice(sent: Sent) -> str:
    """A password that was typed twice.

    Raises:
        InputError: the two differ.
    """
    password = sent.text("password")
    if password != sent.text("again"):
        raise InputError.one("password", "two that differ", "the same password twice")
    return password


def number_in(field: str, text: str) -> float | None:
    """A number in a text; None where it is empty.

    Raises:
        InputError: there is something else in it.
    """
    return Sent(FormData({field: text})).number(field)

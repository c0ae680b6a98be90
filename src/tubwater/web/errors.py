"""What cannot be done is said in the form it was asked in: as a page, or as JSON under /api/."""

from __future__ import annotations

import logging
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException

from tubwater.errors import (
    Conflict,
    InputError,
    NotAllowed,
    Problem,
    StoreUnavailable,
    TooManyAttempts,
    TubwaterError,
    UnknownEntry,
    UnknownKey,
    WrongCredentials,
)
from tubwater.reports.language import speaking
from tubwater.reports.refusals import refusal
from tubwater.tub.data import as_data
from tubwater.web.languages import language_of
from tubwater.web.show import page, say

__all__ = ["API", "answer_errors"]

API = "/api/"
_LOG = logging.getLogger(__name__)
_STATUS: dict[type[TubwaterError], int] = {
    InputError: 422,
    UnknownEntry: 404,
    UnknownKey: 404,
    Conflict: 409,
    StoreUnavailable: 503,
    NotAllowed: 403,
    WrongCredentials: 401,
    TooManyAttempts: 429,
}


def answer_errors(app: FastAPI) -> None:
    """Gives the application its answers to everything that goes wrong."""
    app.add_exception_handler(TubwaterError, _refused)
    app.add_exception_handler(RequestValidationError, _misread)
    app.add_exception_handler(HTTPException, _no_such_thing)
    app.add_exception_handler(Exception, _failed)


def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, TubwaterError)
    status = next((code for kind, code in _STATUS.items() if isinstance(error, kind)), 422)
    problems = error.problems if isinstance(error, InputError) else ()
    return _told(request, status, refusal(str(error)), problems, getattr(error, "stands", ""))


def _misread(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    found = error.errors()
    status = 400 if any(one["type"] == "json_invalid" for one in found) else 422
    problems = [Problem(_where(one["loc"]), _given(one.get("input")), str(one["msg"])) for one in found]
    return _told(request, status, say("error.misread"), problems)


def _where(place: tuple[Any, ...]) -> str:
    return ".".join(str(part) for part in place[1:]) or str(place[0])


def _given(value: object) -> str:
    text = str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _no_such_thing(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    plain = str(error.detail) == HTTPStatus(error.status_code).phrase
    text = say(_kind(error.status_code)) if plain else refusal(str(error.detail))
    response = _told(request, error.status_code, text)
    response.headers.update(error.headers or {})
    return response


def _failed(request: Request, error: Exception) -> Response:
    _LOG.error("%s %s failed", request.method, request.url.path, exc_info=error)
    with speaking(language_of(request.headers)):  # this comes from outside of what chose the language
        return _told(request, 500, say("error.failed"))


def _told(request: Request, status: int, text: str, problems: Any = (), stands: str = "") -> Response:
    if request.url.path.startswith(API):
        told = [Problem(one.field, refusal(one.given), refusal(one.expected)) for one in problems]
        body = {"error": text, "problems": as_data(told)} | ({"stands": stands} if stands else {})
        return JSONResponse(body, status)
    phrase = HTTPStatus(status).phrase
    shown = {"status": status, "phrase": phrase, "kind": _kind(status), "text": text, "problems": problems}
    return page(request, "error.html", shown, status)


def _kind(status: int) -> str:
    return f"error.{status}" if status in (403, 404, 409, 422, 500, 503) else "error.other"

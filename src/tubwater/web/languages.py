"""In which language a request is answered: what this browser chose, else what it prefers."""

from __future__ import annotations

from datetime import tzinfo
from http.cookies import CookieError, SimpleCookie

from fastapi import APIRouter
from fastapi.responses import RedirectResponse
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from tubwater.reports.language import Language, choose, preferred
from tubwater.reports.zone import tell_times_in
from tubwater.web.forms import SentForm

__all__ = ["COOKIE", "Speaking", "language_of", "router", "speak"]

COOKIE = "language"
router = APIRouter(include_in_schema=False)
_A_YEAR = 365 * 86400
_FIXED = "/static/"  # the same for everybody


class Speaking:
    """Wraps the application; what is said in a request is said in its language, and the answer names it.

    The times in its sentences are those of ``zone``, None for this machine's own.
    """

    def __init__(self, app: ASGIApp, zone: tzinfo | None = None) -> None:
        self._app = app
        self._zone = zone

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http" or scope["path"].startswith(_FIXED):
            await self._app(scope, receive, send)
            return
        chosen = language_of(Headers(scope=scope))
        choose(chosen)
        tell_times_in(self._zone)

        async def named(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.setdefault("Content-Language", chosen.value)
                headers.add_vary_header("Cookie")
                headers.add_vary_header("Accept-Language")
            await send(message)

        await self._app(scope, receive, named)


def language_of(headers: Headers) -> Language:
    """The language of a request: of its cookie, else of what the browser or the program prefers."""
    known = {one.value: one for one in Language}
    try:
        morsel = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        morsel = None
    return known.get(morsel.value if morsel else "") or preferred(headers.get("accept-language", ""))


@router.post("/language")
def speak(sent: SentForm) -> RedirectResponse:
    """This browser's language from now on; back to the page where it was chosen."""
    target = sent.text("to", "/")
    inside = target.startswith("/") and not target.startswith("//") and "\\" not in target
    chosen = sent.word("language", Language, Language.ENGLISH)
    answer = RedirectResponse(target if inside else "/", 303)
    answer.set_cookie(COOKIE, chosen, max_age=_A_YEAR, httponly=True, samesite="lax")
    return answer

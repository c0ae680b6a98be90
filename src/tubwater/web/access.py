"""Who asks: a session in a cookie, a token of a program, or whoever sits at this computer while there is no account.

What may be done is decided by the address and the method, in one place: reading a tub, entering what happened to it,
changing it or its shelf, describing a new one.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from http.cookies import CookieError, SimpleCookie
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.responses import JSONResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from tubwater.errors import InputError, NotAllowed, TooManyAttempts, WrongCredentials
from tubwater.services.accounts import Accounts, Opened
from tubwater.services.people import ALL_TUBS, Caller, Deed
from tubwater.web.desk import desk_of
from tubwater.web.errors import API
from tubwater.web.forms import SentForm
from tubwater.web.show import page, say

__all__ = [
    "COOKIE",
    "Access",
    "caller_of",
    "log_in",
    "log_in_form",
    "log_out",
    "may_see",
    "pair",
    "pair_form",
    "router",
    "the_accounts",
]

COOKIE = "tubwater"
router = APIRouter(include_in_schema=False)
_OPEN = re.compile(
    r"/(login|language|pair(/.*)?|trust(/.*)?|healthz|static/.*|sw\.js|manifest\.webmanifest|offline(/words)?)"
)
_SECRET = re.compile(r"/tubs/[^/]+/calendar\.ics")  # looks at the secret in its address itself
_OWN = re.compile(r"/(logout|phones(/.*)?)")  # one's own session and phones
_PEOPLE = re.compile(r"/people(/.*)?")  # what others may do
_TUB = re.compile(r"/(?:api/)?tubs/(?P<tub>[^/]+)(?P<rest>/.*)?")
_KEEPS = re.compile(r"/(settings|shelf|shelf/.*|stock/.*|tub)")
_HARMLESS = frozenset({"GET", "HEAD", "OPTIONS"})


class Access:
    """Wraps the application; sets ``request.state.caller`` and its ``actor`` and ``device``."""

    def __init__(self, app: ASGIApp, accounts: Accounts | None) -> None:
        self._app = app
        self._accounts = accounts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http" or self._accounts is None:
            await self._app(scope, receive, send)
            return
        if _OPEN.fullmatch(scope["path"]):
            await self._app(scope, receive, send)
            return
        caller = await run_in_threadpool(_caller, self._accounts, Headers(scope=scope))
        refusal = _refusal(scope, caller)
        if refusal is not None:
            await refusal(scope, receive, send)
            return
        if caller is not None:
            state = scope.setdefault("state", {})
            state.update(caller=caller, actor=caller.account, device=caller.device)
        await self._app(scope, receive, send)


def may_see(request: Request, tub: str) -> None:
    """Nothing, or NotAllowed; for a page that names a tub elsewhere than in its path."""
    caller = caller_of(request)
    if caller is not None:
        caller.demand(Deed.READ, tub)


def caller_of(request: Request) -> Caller | None:
    """Who asks; None where there are no accounts at all."""
    found: Caller | None = getattr(request.state, "caller", None)
    return found


def _caller(accounts: Accounts, headers: Headers) -> Caller | None:
    secret = _secret(headers)
    try:
        if secret:
            return accounts.who(secret)
    except WrongCredentials:
        return None
    return None if accounts.exist() else accounts.here()


def _secret(headers: Headers) -> str:
    scheme, _, token = headers.get("authorization", "").partition(" ")
    if scheme.lower() == "bearer":
        return token.strip()
    try:
        morsel = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return ""
    return morsel.value if morsel else ""


def _refusal(scope: Scope, caller: Caller | None) -> Response | None:
    path, method = scope["path"], scope["method"]
    if method in _HARMLESS and _SECRET.fullmatch(path):
        return None
    if caller is None:
        if path.startswith(API) or "x-sequence" in Headers(scope=scope):  # a phone's queue keeps what is refused so
            return JSONResponse({"error": say("login.first")}, 401, {"WWW-Authenticate": "Bearer"})
        return RedirectResponse(f"/login?next={quote(path)}", 303)
    return None if _may(caller, path, method) else JSONResponse({"error": say("error.403")}, 403)


def _may(caller: Caller, path: str, method: str) -> bool:
    found = _TUB.fullmatch(path)
    if _PEOPLE.fullmatch(path):
        return caller.owner
    if found:
        return caller.may(_deed(found.groupdict(), method), found["tub"])
    return method in _HARMLESS or bool(_OWN.fullmatch(path)) or caller.may(Deed.KEEP, ALL_TUBS)


def _deed(found: Mapping[str, str | None], method: str) -> Deed:
    if method in _HARMLESS:
        return Deed.READ
    rest = found["rest"] or ""
    return Deed.KEEP if not rest or _KEEPS.fullmatch(rest) else Deed.VISIT


@router.get("/login")
def log_in_form(request: Request, next: str = "/") -> HTMLResponse:
    """Name and password."""
    return page(request, "login.html", {"next": _inside(next), "problem": ""})


@router.post("/login", response_model=None)
def log_in(request: Request, sent: SentForm) -> HTMLResponse | RedirectResponse:
    """Opens a session."""
    target = _inside(sent.text("next", "/"))
    address = request.client.host if request.client else ""
    try:
        opened = the_accounts(request).log_in(sent.text("name"), sent.text("password"), address)
    except (WrongCredentials, TooManyAttempts) as error:
        status = 429 if isinstance(error, TooManyAttempts) else 401
        problem = say("login.often") if status == 429 else say("login.wrong")
        return page(request, "login.html", {"next": target, "problem": problem}, status)
    return _opened(request, opened, target)


@router.post("/logout")
def log_out(request: Request) -> RedirectResponse:
    """Ends the session."""
    the_accounts(request).log_out(_secret(request.headers))
    answer = RedirectResponse("/login", 303)
    answer.delete_cookie(COOKIE)
    return answer


@router.get("/pair/{secret}")
def pair_form(request: Request, secret: str) -> HTMLResponse:
    """A phone that came by the code on the screen says its name."""
    return page(request, "pair.html", {"secret": secret, "problem": ""})


@router.post("/pair/{secret}", response_model=None)
def pair(request: Request, secret: str, sent: SentForm) -> HTMLResponse | RedirectResponse:
    """The phone joins, once."""
    try:
        opened = the_accounts(request).pair(secret, sent.text("device", "a phone"))
    except (WrongCredentials, InputError):
        return page(request, "pair.html", {"secret": secret, "problem": say("pair.over")}, 401)
    return _opened(request, opened, "/")


def _opened(request: Request, opened: Opened, target: str) -> RedirectResponse:
    answer = RedirectResponse(target, 303)
    secure, days = request.url.scheme == "https", 400 if opened.token.device else 30
    answer.set_cookie(COOKIE, opened.secret, max_age=days * 86400, httponly=True, samesite="strict", secure=secure)
    return answer


def the_accounts(request: Request) -> Accounts:
    """The accounts of the application.

    Raises:
        NotAllowed: it has none.
    """
    found = desk_of(request).accounts
    if found is None:
        raise NotAllowed("accounts")
    return found


def _inside(target: str) -> str:
    """Only a path of this application."""
    return target if re.fullmatch(r"/(?![/\\])[\w\-./~%]*", target) else "/"

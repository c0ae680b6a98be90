"""Phones that join by a code on the screen, and the authority that they are asked to trust for HTTPS at home."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from markupsafe import Markup

from tubwater.errors import InputError, NotAllowed, Problem, UnknownEntry
from tubwater.services.accounts import SHORTEST_PASSWORD, Opened
from tubwater.services.people import Device, Role
from tubwater.web.access import caller_of, log_in, the_accounts
from tubwater.web.forms import SentForm, twice
from tubwater.web.network import Home, is_here
from tubwater.web.show import page

__all__ = [
    "authority",
    "begin_account",
    "make_token",
    "offer",
    "phones",
    "router",
    "trust",
    "withdraw",
    "withdraw_token",
]

router = APIRouter(include_in_schema=False)


@router.get("/phones")
def phones(request: Request) -> HTMLResponse:
    """The phones that have joined, and how another one does."""
    return _page(request)


@router.post("/phones")
def offer(request: Request, sent: SentForm) -> HTMLResponse:
    """A code with which one phone joins, once."""
    caller, addresses = caller_of(request), _addresses(request)
    if caller is None or not addresses:
        return _page(request)
    chosen = sent.word("address", addresses, addresses[0])
    return _page(request, the_accounts(request).offer_pairing(caller), chosen)


@router.post("/phones/account", response_model=None)
def begin_account(request: Request, sent: SentForm) -> HTMLResponse | RedirectResponse:
    """The first account, made at this computer while nobody else can ask; from then on everybody logs in.

    Raises:
        NotAllowed: there is one already, or it is asked for from elsewhere.
    """
    if request.client is None or not is_here(request.client.host):
        raise NotAllowed("accounts")
    try:
        the_accounts(request).add(sent.text("name"), twice(sent))
    except InputError as error:
        return _page(request, problems=error.problems, name=sent.text("name"))
    return log_in(request, sent)


@router.post("/phones/programs")
def make_token(request: Request, sent: SentForm) -> HTMLResponse:
    """A token with which a program asks in the name of this account, shown once.

    Raises:
        NotAllowed: there is no account yet, or it is a program that asks.
    """
    caller, accounts = caller_of(request), the_accounts(request)
    if caller is None or not accounts.exist() or caller.token in {one.id for one in accounts.tokens(caller)}:
        raise NotAllowed("programs")
    try:
        most = Role(sent.word("most", Role, Role.READER))
        return _page(request, token=accounts.make_token(sent.text("name"), caller, most))
    except InputError as error:
        return _page(request, problems=error.problems)


@router.post("/phones/programs/{token}/withdraw")
def withdraw_token(request: Request, token: str) -> RedirectResponse:
    """That token opens nothing any more."""
    caller = caller_of(request)
    if caller is None or token not in {one.id for one in the_accounts(request).tokens(caller)}:
        raise UnknownEntry("token", token)
    the_accounts(request).withdraw_token(token, caller)
    return RedirectResponse("/phones", 303)


@router.post("/phones/{device}/withdraw")
def withdraw(request: Request, device: str) -> RedirectResponse:
    """A lost phone gets in no more."""
    caller = caller_of(request)
    if caller is not None:
        the_accounts(request).withdraw_device(device, caller)
    return RedirectResponse("/phones", 303)


@router.get("/trust")
def trust(request: Request) -> HTMLResponse:
    """The certificate of this computer's authority, and what to do with it on a phone."""
    return page(request, "trust.html", {"fingerprint": _fingerprint(_home(request))})


@router.get("/trust/authority.crt")
def authority(request: Request) -> Response:
    """The certificate itself."""
    home = _home(request)
    if home is None or home.authority is None:
        raise UnknownEntry("certificate", "authority.crt")
    headers = {"Content-Disposition": 'attachment; filename="tubwater-authority.crt"'}
    return Response(home.authority.read_bytes(), media_type="application/x-x509-ca-cert", headers=headers)


def _page(
    request: Request,
    made: Opened | None = None,
    address: str = "",
    problems: Sequence[Problem] = (),
    name: str = "",
    token: Opened | None = None,
) -> HTMLResponse:
    home, addresses, joined = _home(request), _addresses(request), _joined(request)
    caller = caller_of(request)
    link = f"{address}/pair/{made.secret}" if made else ""
    values: dict[str, Any] = {
        "account": caller is not None and the_accounts(request).exist(),
        "addresses": addresses,
        "secure": home is not None and home.scheme == "https",
        "trust": _picture(f"{addresses[0]}/trust") if home and home.authority and addresses else "",
        "link": link,
        "code": _picture(link) if link else "",
        "until": _until(made),
        "joined": joined,
        "problems": problems,
        "name": name,
        "least": SHORTEST_PASSWORD,
        "token": token.secret if token else "",
        "programs": the_accounts(request).tokens(caller) if caller else [],
        "most": list(Role),
    }
    return page(request, "phones.html", values, 422 if problems else 200)


def _until(made: Opened | None) -> datetime | None:
    return made.token.expires if made else None


def _joined(request: Request) -> list[Device]:
    caller = caller_of(request)
    return the_accounts(request).devices(caller) if caller else []


def _home(request: Request) -> Home | None:
    found: Home | None = request.app.state.home
    return found


def _addresses(request: Request) -> tuple[str, ...]:
    home = _home(request)
    return home.addresses() if home else ()


def _fingerprint(home: Home | None) -> str:
    if home is None or home.authority is None:
        return ""
    from tubwater.web.certificates import fingerprint

    return fingerprint(home.authority)


def _picture(text: str) -> Markup:
    """A QR code (ISO/IEC 18004) that keeps its dark on light in the dark as well."""
    import segno

    made = segno.make(text, error="m", micro=False)
    return Markup(made.svg_inline(border=4, dark="#231e17", light="#fffbf2", omitsize=True))

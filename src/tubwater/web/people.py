"""Who else may use the logbook: further accounts, their roles on tubs, new passwords, their end. For owners only."""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse

from tubwater.errors import Conflict, InputError, NotAllowed, Problem, UnknownEntry, WrongCredentials
from tubwater.services.accounts import SHORTEST_PASSWORD, Accounts
from tubwater.services.people import ALL_TUBS, Account, Caller, Role
from tubwater.web.access import caller_of, the_accounts
from tubwater.web.desk import Here
from tubwater.web.forms import SentForm, twice
from tubwater.web.show import page, say

__all__ = ["add", "close", "give", "one_person", "people", "router", "set_password"]

router = APIRouter(include_in_schema=False)
_NONE = "none"


@router.get("/people")
def people(request: Request) -> HTMLResponse:
    """Everybody with an account, and a form for one more."""
    return _list(request)


@router.post("/people", response_model=None)
def add(request: Request, desk: Here, sent: SentForm) -> HTMLResponse | RedirectResponse:
    """Makes an account; at first it may see what it is given on the page that follows."""
    accounts, caller = _owned(request)
    if not accounts.exist():
        raise NotAllowed("accounts")  # the first one is made on the page of phones, at this computer
    try:
        made = accounts.add(sent.text("name"), twice(sent), caller, owner=sent.text("owner") == "yes")
    except (InputError, Conflict) as error:
        return _list(request, _problems(error, sent.text("name")), sent.text("name"))
    return RedirectResponse(f"/people/{quote(made.id)}", 303)


@router.get("/people/{account}")
def one_person(request: Request, desk: Here, account: str) -> HTMLResponse:
    """What one of them may do, tub by tub."""
    return _one(request, desk, account)


@router.post("/people/{account}/roles")
def give(request: Request, desk: Here, account: str, sent: SentForm) -> RedirectResponse:
    """Gives and takes roles; a tub that the form does not name stays as it is."""
    accounts, caller = _owned(request)
    person = _person(accounts, caller, account)
    before = accounts.roles_of(person.id, caller)
    for tub in (ALL_TUBS, *desk.keeping.store.tubs()):
        role = _role(sent.word(f"role_{tub}", (_NONE, *Role), before.get(tub, _NONE)))
        if role is not before.get(tub):
            accounts.grant(person.id, tub, role, caller)
    return RedirectResponse(f"/people/{quote(account)}?kept=1", 303)


@router.post("/people/{account}/password", response_model=None)
def set_password(request: Request, desk: Here, account: str, sent: SentForm) -> HTMLResponse | RedirectResponse:
    """A new password for one of them; whoever sets the own one tells the old one too."""
    accounts, caller = _owned(request)
    person = _person(accounts, caller, account)
    try:
        accounts.set_password(person.id, twice(sent), caller, sent.text("old"))
    except InputError as error:
        return _one(request, desk, account, error.problems)
    except WrongCredentials:
        return _one(request, desk, account, [Problem("password", say("people.old-wrong"), say("people.old"))])
    return RedirectResponse(f"/people/{quote(account)}?kept=1", 303)


@router.post("/people/{account}/close", response_model=None)
def close(request: Request, desk: Here, account: str) -> HTMLResponse | RedirectResponse:
    """Withdraws one of them; what they entered stays. The last owner stays as well."""
    accounts, caller = _owned(request)
    person = _person(accounts, caller, account)
    try:
        accounts.close(person.id, caller)
    except InputError as error:
        return _one(request, desk, account, error.problems)
    return RedirectResponse("/people", 303)


def _owned(request: Request) -> tuple[Accounts, Caller]:
    """The accounts and who asks.

    Raises:
        NotAllowed: it is not an owner.
    """
    accounts, caller = the_accounts(request), caller_of(request)
    if caller is None or not caller.owner:
        raise NotAllowed("accounts")
    return accounts, caller


def _person(accounts: Accounts, caller: Caller, id: str) -> Account:
    found = next((one for one in accounts.persons(caller) if one.id == id), None)
    if found is None:
        raise UnknownEntry("account", id)
    return found


def _role(word: str) -> Role | None:
    return None if word == _NONE else Role(word)


def _problems(error: InputError | Conflict, name: str) -> Sequence[Problem]:
    if isinstance(error, InputError):
        return error.problems
    return [Problem("name", name, say("people.another-name"))]


def _list(request: Request, problems: Sequence[Problem] = (), name: str = "") -> HTMLResponse:
    accounts, caller = _owned(request)
    values = {
        "people": [(one, accounts.roles_of(one.id, caller)) for one in accounts.persons(caller)],
        "everywhere": ALL_TUBS,
        "may_add": accounts.exist(),
        "least": SHORTEST_PASSWORD,
        "name": name,
        "problems": problems,
    }
    return page(request, "people.html", values, 422 if problems else 200)


def _one(request: Request, desk: Here, account: str, problems: Sequence[Problem] = ()) -> HTMLResponse:
    accounts, caller = _owned(request)
    person = _person(accounts, caller, account)
    roles = accounts.roles_of(person.id, caller)
    tubs = [(ALL_TUBS, say("people.all-tubs")), *((tub, file.tub.name) for tub, file in desk.keeping.tubs())]
    values = {
        "person": person,
        "own": person.id == caller.account,
        "rows": [(tub, name, str(roles.get(tub, _NONE))) for tub, name in tubs],
        "choices": (_NONE, *(str(role) for role in Role)),
        "kept": request.query_params.get("kept") == "1" and not problems,
        "least": SHORTEST_PASSWORD,
        "problems": problems,
    }
    return page(request, "person.html", values, 422 if problems else 200)

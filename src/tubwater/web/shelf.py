"""The shelf: the products in hand, called by their active ingredients."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse

from tubwater.errors import InputError
from tubwater.reports.text import text_of
from tubwater.services.lookup import all_substances
from tubwater.services.ports import Kind, Stored
from tubwater.services.safety import never_mix
from tubwater.web.desk import Desk, Here
from tubwater.web.forms import Sent, SentForm
from tubwater.web.show import kept_page

__all__ = ["MEASURES", "PACKAGE", "change", "product_form", "product_of", "router", "shelf"]

router = APIRouter(include_in_schema=False)
PACKAGE = ("size", "price", "opened", "expires")
MEASURES = ("scoop", "cap", "spoon", "tablet")
_NEW = "new"


@router.get("/tubs/{tub}/shelf")
def shelf(request: Request, desk: Here, tub: str) -> HTMLResponse:
    """Everything on the shelf, and what of it never meets."""
    file = desk.file(tub)

    def values() -> dict[str, Any]:
        return {
            "tub": tub,
            "file": file,
            "units": file.units,
            "names": {s.key: text_of("substance", s.key) for s in all_substances()},
            "refusals": {s.key: s.refusal(file.tub.sanitizer) for s in all_substances()},
            "never": never_mix(file.shelf),
            "questions": file.questions,
        }

    return kept_page(request, "shelf.html", (file,), values)


@router.get("/tubs/{tub}/shelf/{number}")
def product_form(request: Request, desk: Here, tub: str, number: str) -> HTMLResponse:
    """One product, or a new one."""
    return _form(request, desk, tub, number)


@router.post("/tubs/{tub}/shelf/{number}", response_model=None)
def change(request: Request, desk: Here, tub: str, number: str, sent: SentForm) -> HTMLResponse | RedirectResponse:
    """Keeps the shelf with this product changed, added or taken away."""
    products = _products(desk, tub)
    place = _place(number, products)
    rest = [p for i, p in enumerate(products) if i != place]
    if not sent.text("remove"):
        rest.insert(place, {**_kept(products, place, sent), **product_of(sent), **_counted(desk, sent)})
    try:
        newest = desk.keeping.newest(tub, Kind.SHELF)
        body = {**(newest.entry.body if newest else {}), "product": rest}
        desk.keeping.describe(tub, Kind.SHELF, body, sent.text("after"), desk.source(request), sent.text("key"))
    except InputError as error:
        return _form(request, desk, tub, number, sent, error)
    return RedirectResponse(f"/tubs/{tub}/shelf", 303)


def product_of(sent: Sent, prefix: str = "") -> dict[str, Any]:
    """A product of a form as a table of a keeper's file."""
    found: dict[str, Any] = {"substance": sent.text(f"{prefix}substance")}
    for key in ("name", "stock", *PACKAGE):
        if sent.text(prefix + key):
            found[key] = sent.text(prefix + key)
    strength = sent.text(f"{prefix}strength")
    if strength:
        found["strength"] = strength if "%" in strength else f"{strength} %"
    measure, grams = sent.text(f"{prefix}measure"), sent.text(f"{prefix}grams")
    if measure in MEASURES and grams:
        found[measure] = grams if grams[-1:].isalpha() else f"{grams} g"
        found["weighed"] = bool(sent.text(f"{prefix}weighed"))
    if measure == "scales":
        found["scales"] = True
    return found


def _kept(products: list[dict[str, Any]], place: int, sent: Sent) -> dict[str, Any]:
    """What the form does not ask for; a stock that was changed was counted now, not when the one before was."""
    known = products[place] if place < len(products) else {}
    same = sent.text("stock") == known.get("stock", "")
    return {key: known[key] for key in ("parts", "counted") if key in known and (key == "parts" or same)}


def _counted(desk: Desk, sent: Sent) -> dict[str, str]:
    now = desk.now().isoformat(timespec="minutes")
    return {"counted": now} if sent.text("counted_now") and sent.text("stock") else {}


def _products(desk: Desk, tub: str) -> list[dict[str, Any]]:
    return _listed(desk.keeping.newest(tub, Kind.SHELF))


def _listed(newest: Stored | None) -> list[dict[str, Any]]:
    return [dict(product) for product in newest.entry.body.get("product", [])] if newest else []


def _place(number: str, products: list[dict[str, Any]]) -> int:
    if number == _NEW:
        return len(products)
    if number.isdecimal() and len(number) < 6 and int(number) < len(products):
        return int(number)
    raise InputError.one("product", number, "a product of this shelf")


def _form(
    request: Request, desk: Desk, tub: str, number: str, sent: Sent | None = None, error: InputError | None = None
) -> HTMLResponse:
    file, newest = desk.file(tub), desk.keeping.newest(tub, Kind.SHELF)
    products = _listed(newest)
    place = _place(number, products)
    after = newest.entry.id if newest else ""

    def values() -> dict[str, Any]:
        shown: Mapping[str, Any] = product_of(sent) if sent else products[place] if place < len(products) else {}
        return {
            "tub": tub,
            "file": file,
            "number": number,
            "product": defaultdict(str, shown),
            "measure": "scales" if shown.get("scales") else next((m for m in MEASURES if m in shown), "scoop"),
            "substances": [(s.key, text_of("substance", s.key)) for s in all_substances()],
            "after": after,
            "key": (sent.text("key") if sent else "") or desk.keeping.names.fresh(),
        }

    return kept_page(request, "product.html", (file,), values, after, error.problems if error else ())

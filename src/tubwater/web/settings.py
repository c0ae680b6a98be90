"""The tub as its keeper knows it, the fill water, and a helper for the litres."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Collection, Mapping
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.datastructures import FormData

from tubwater.errors import InputError, Problem
from tubwater.reports.text import text_of
from tubwater.services.lookup import all_guidelines
from tubwater.services.ports import Kind
from tubwater.services.tubfile import TubFile, UnitSystem
from tubwater.services.volume import Litres, by_hose, by_meter, by_plate, by_rectangle, by_round
from tubwater.tub import Reason, Sanitizer, Setting, TubKind, VolumeBasis
from tubwater.web.desk import Desk, Here
from tubwater.web.forms import Sent, SentForm
from tubwater.web.show import explain, kept_page

__all__ = ["FILL", "HARDNESS_UNITS", "litres_by", "router", "save", "settings", "volume"]

router = APIRouter(include_in_schema=False)
FILL = ("total_alkalinity", "calcium_hardness", "total_hardness", "sulfate", "chloride", "magnesium", "sodium")
HARDNESS_UNITS = ("mg/L", "mmol/L", "°dH", "°fH", "°e", "gpg", "ppm")
_EQUIPMENT = ("pump", "water_jets", "air_jets", "cover", "ozone_or_uv")
_NAMED = ("name", "volume_from", "sanitizer", "kind", "setting", "guideline")
_TABLES: Mapping[str, tuple[str, ...]] = {  # of the description, with what the form asks of each
    "equipment": (*_EQUIPMENT, "heater"),
    "use": ("soaks_per_week", "people", "minutes"),
    "fill_water": ("pH", "source", *FILL),
}
_CONTACT = ("name", "phone")
_WAYS = ("plate", "meter", "hose", "round", "rectangle")


@router.get("/tubs/{tub}/settings")
def settings(request: Request, desk: Here, tub: str, litres: str = "", volume_from: str = "") -> HTMLResponse:
    """What is known of the tub; litres may come from the helper."""
    body = _body(desk, tub)
    if litres:
        body["tub"] = {**body["tub"], "volume": f"{litres} L", "volume_from": volume_from}
    return _form(request, desk, tub, body)


@router.post("/tubs/{tub}/settings", response_model=None)
def save(request: Request, desk: Here, tub: str, sent: SentForm) -> HTMLResponse | RedirectResponse:
    """Keeps the tub as it is described now."""
    body = _described_by(sent, _body(desk, tub))
    try:
        desk.keeping.describe(tub, Kind.TUB, body, sent.text("after"), desk.source(request), sent.text("key"))
    except InputError as error:
        return _form(request, desk, tub, body, error, sent)
    return RedirectResponse(f"/tubs/{tub}", 303)


@router.get("/tubs/{tub}/volume")
def volume(request: Request, desk: Here, tub: str) -> HTMLResponse:
    """Litres from a meter, a hose and a bucket, the shape, or the plate."""
    sent = Sent(FormData(dict(request.query_params)))
    found: Litres | None = None
    problems: tuple[Problem, ...] = ()
    way = sent.text("way", "meter")
    try:
        only_chosen = way in _WAYS and set(sent.names()) <= {"way"}  # nothing of its form is filled in yet
        found = None if only_chosen else litres_by(way, sent)
    except InputError as error:
        problems = error.problems
    file = desk.file(tub)

    def values() -> dict[str, Any]:
        return {
            "tub": tub,
            "file": file,
            "way": way if way in _WAYS else "meter",
            "ways": _WAYS,
            "found": found,
            "why": explain(Reason("", basis=found.why)) if found else "",
            "given": {name: sent.text(name) for name in sent.names()},
        }

    return kept_page(request, "volume.html", (file,), values, problems=problems)


def litres_by(way: str, sent: Sent) -> Litres:
    """Litres by one of the ways of the helper; a meter in m³, a tub in cm, seats in %.

    Raises:
        InputError: there is no such way, or a number of it is missing or cannot be meant.
    """

    def of(name: str, scale: float = 1.0) -> float:
        value = sent.number(name)
        if value is None or not math.isfinite(value):
            raise InputError.one(name, sent.text(name) or "nothing", "a number")
        return value * scale

    if way not in _WAYS:
        raise InputError.one("way", way, f"one of {', '.join(_WAYS)}")
    if way == "meter":
        return by_meter(of("before", 1000.0), of("after", 1000.0))
    if way == "hose":
        return by_hose(of("bucket"), of("seconds"), of("minutes"))
    if way == "round":
        return by_round(of("diameter", 0.01), of("depth", 0.01), (sent.number("seats") or 0.0) / 100.0)
    if way == "rectangle":
        seats = (sent.number("seats") or 0.0) / 100.0
        return by_rectangle(of("length", 0.01), of("width", 0.01), of("depth", 0.01), seats)
    return by_plate(of("litres"))


def _body(desk: Desk, tub: str) -> dict[str, Any]:
    newest = desk.keeping.newest(tub, Kind.TUB)
    return dict(newest.entry.body) if newest else {"tub": {}}


def _described_by(sent: Sent, before: Mapping[str, Any]) -> dict[str, Any]:
    """The description of a form, with what no field of it asks for kept as it was."""
    tub, old = _tub_of(sent), before["tub"]
    for name, asked in _TABLES.items():
        tub[name] = _rest(old.get(name, {}), asked) | tub[name]
    contact = _rest(before.get("contact", {}), _CONTACT) | _contact(sent)
    units = {"units": sent.word("units", UnitSystem, UnitSystem.METRIC)}
    said = {"tub": _rest(old, (*_NAMED, "volume", "temperature", *_TABLES)) | tub, **units}
    return _rest(before, ("tub", "units", "contact")) | said | ({"contact": contact} if contact else {})


def _rest(old: Mapping[str, Any], asked: Collection[str]) -> dict[str, Any]:
    return {key: value for key, value in old.items() if key not in asked}


def _contact(sent: Sent) -> dict[str, str]:
    """Whom to ask, for the sheets that hang beside the tub."""
    found = {key: sent.text(f"contact_{key}") for key in _CONTACT}
    return {key: text for key, text in found.items() if text}


def _tub_of(sent: Sent) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key in _NAMED:
        if sent.text(key):
            found[key] = sent.text(key)
    for key, unit in (("volume", "L"), ("temperature", "°C")):
        text = sent.text(key)
        if text:
            found[key] = text if text[-1:].isalpha() else f"{text} {unit}"
    found["equipment"] = {key: bool(sent.text(key)) for key in _EQUIPMENT}
    if sent.text("heater"):
        found["equipment"]["heater"] = f"{sent.text('heater')} kW"
    found["use"] = _use(sent)
    found["fill_water"] = _fill(sent)
    return found


def _use(sent: Sent) -> dict[str, Any]:
    found: dict[str, Any] = {key: sent.typed(key) for key in ("soaks_per_week", "people") if sent.text(key)}
    if sent.text("soak_minutes"):
        found["minutes"] = f"{sent.text('soak_minutes')} min"
    return found


def _fill(sent: Sent) -> dict[str, Any]:
    found: dict[str, Any] = {}
    if sent.text("fill_pH"):
        found["pH"] = sent.typed("fill_pH")
    for key in FILL:
        text = sent.text(f"fill_{key}")
        if text:
            found[key] = f"{text} {sent.text(f'unit_{key}', 'mg/L')}"
    if found:
        found["source"] = sent.text("fill_source", "measured")
    return found


def _form(
    request: Request,
    desk: Desk,
    tub: str,
    body: Mapping[str, Any],
    error: InputError | None = None,
    sent: Sent | None = None,
) -> HTMLResponse:
    file, newest = desk.file(tub), desk.keeping.newest(tub, Kind.TUB)

    def values() -> dict[str, Any]:
        return {
            "tub": tub,
            "file": file,
            **_described(file, body),
            "guidelines": [(g.key, f"{text_of('guideline', g.key)}, {g.edition}") for g in all_guidelines()],
            "after": sent.text("after") if sent else newest.entry.id if newest else "",
            "key": (sent.text("key") if sent else "") or desk.keeping.names.fresh(),
        }

    return kept_page(request, "settings.html", (file,), values, problems=error.problems if error else ())


def _described(file: TubFile, body: Mapping[str, Any]) -> dict[str, Any]:
    """What stands in each field, and what can be chosen."""
    described = body["tub"]
    equipment = described.get("equipment", {})
    return {
        "d": defaultdict(str, described),
        "units_now": body.get("units", "metric"),
        "equipment": {key: equipment.get(key, getattr(file.tub.equipment, key)) for key in _EQUIPMENT},
        "heater": str(equipment.get("heater", "")).removesuffix(" kW"),
        "use": defaultdict(str, described.get("use", {})),
        "contact": defaultdict(str, body.get("contact", {})),
        "fill": {key: _split(described.get("fill_water", {}).get(key, "")) for key in FILL},
        "fill_water": defaultdict(str, described.get("fill_water", {})),
        "hardness_units": HARDNESS_UNITS,
        "choices": {
            "volume_from": [str(v) for v in VolumeBasis],
            "sanitizer": [str(v) for v in Sanitizer],
            "kind": [str(v) for v in TubKind],
            "setting": [str(v) for v in Setting],
            "units": [str(v) for v in UnitSystem],
        },
    }


def _split(text: str) -> tuple[str, str]:
    """ "14 °dH" as number and unit."""
    number, _, unit = str(text).partition(" ")
    return number, unit or "mg/L"

"""The JSON interface of what the answers rest on: substances, methods and guidelines with their sources, and litres."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query
from starlette.datastructures import FormData

from tubwater.services.lookup import all_guidelines, all_methods, all_references, all_substances
from tubwater.services.safety import safety_sheet
from tubwater.tub.data import as_data
from tubwater.web.api import REFUSALS
from tubwater.web.forms import Sent
from tubwater.web.settings import litres_by

__all__ = ["guidelines", "methods", "router", "safety", "substances", "volume"]

router = APIRouter(prefix="/api", tags=["facts"], responses=REFUSALS)
Text = Annotated[str, Query(max_length=30)]


@router.get("/facts/substances")
def substances() -> dict[str, Any]:
    """Every substance, and the sources that their numbers name."""
    return _with_sources("substances", all_substances())


@router.get("/facts/methods")
def methods() -> dict[str, Any]:
    """Every test method with what it reads and how well, and the sources."""
    return _with_sources("methods", all_methods())


@router.get("/facts/guidelines")
def guidelines() -> dict[str, Any]:
    """Every guideline with its limits (null for none), and the sources."""
    return _with_sources("guidelines", all_guidelines())


@router.get("/facts/safety")
def safety() -> dict[str, Any]:
    """What never to mix, storage, spills and first steps; the same to print is at ``pdf``."""
    return {**as_data(safety_sheet()), "pdf": "/facts/safety.pdf"}


@router.get("/volume")
def volume(
    way: Text,
    before: Text = "",
    after: Text = "",
    bucket: Text = "",
    seconds: Text = "",
    minutes: Text = "",
    diameter: Text = "",
    length: Text = "",
    width: Text = "",
    depth: Text = "",
    seats: Text = "",
    litres: Text = "",
) -> dict[str, Any]:
    """Litres and the spread that the data earn.

    ``way`` is "meter" (before and after the fill, m³), "hose" (a bucket in L, the seconds it takes, the minutes that
    the tub takes), "round" (diameter and depth in cm, seats in % of it), "rectangle" (length, width and depth in cm,
    seats in %) or "plate" (litres as it states them).
    """
    given = {"before": before, "after": after, "bucket": bucket, "seconds": seconds, "minutes": minutes}
    given |= {"diameter": diameter, "length": length, "width": width, "depth": depth, "seats": seats, "litres": litres}
    found: dict[str, Any] = as_data(litres_by(way, Sent(FormData(given))))
    return found


def _with_sources(name: str, found: tuple[object, ...]) -> dict[str, Any]:
    told = as_data(found)
    named = set(_sources_in(told))
    return {name: told, "sources": {key: as_data(one) for key, one in all_references().items() if key in named}}


def _sources_in(told: Any) -> list[str]:
    """The keys of all sources that some data name."""
    if isinstance(told, dict):
        own = [str(key) for key in told.get("sources") or ()]
        return own + [key for value in told.values() for key in _sources_in(value)]
    return [key for value in told for key in _sources_in(value)] if isinstance(told, list) else []

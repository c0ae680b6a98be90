"""A plan for something else than the usual visit: what can be asked for, and how an address or a form asks it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from tubwater.errors import InputError
from tubwater.services.about import About, about_of, purposes_for
from tubwater.web.desk import Here
from tubwater.web.forms import Sent
from tubwater.web.refused import ABOUT
from tubwater.web.show import kept_page

__all__ = ["Asked", "about_in", "about_page", "asked_in", "router"]

router = APIRouter(include_in_schema=False)
_SAID = "say_"


@dataclass(frozen=True)
class Asked:
    """What a page was asked about, as it was written; ``key`` is empty for the usual visit."""

    key: str
    said: Mapping[str, str]

    @property
    def fields(self) -> Mapping[str, str]:
        """The fields of a form that asks the same again."""
        return {"about": self.key, **{f"{_SAID}{name}": text for name, text in self.said.items()}} if self.key else {}


def asked_in(sent: Sent) -> Asked:
    """What a form or an address asks about."""
    names = [name for name in sent.names() if name.startswith(_SAID) and sent.text(name)]
    return Asked(sent.text("about"), {name.removeprefix(_SAID): sent.text(name) for name in names})


def about_in(sent: Sent) -> About | None:
    """The same as what the planner is asked; None for the usual visit.

    Raises:
        UnknownKey: nobody knows what is asked for. InputError: a number of it, "about.NAME", cannot be meant.
    """
    asked = asked_in(sent)
    try:
        return about_of(asked.key, asked.said) if asked.key else None
    except InputError as error:
        raise InputError([replace(one, field=f"{ABOUT}{one.field}") for one in error.problems]) from None


@router.get("/tubs/{tub}/about")
def about_page(request: Request, desk: Here, tub: str) -> HTMLResponse:
    """Everything that a plan of this tub can be asked for, each with the numbers that it asks."""
    file = desk.file(tub)

    def values() -> dict[str, Any]:
        return {"tub": tub, "file": file, "units": file.units, "purposes": purposes_for(file.tub)}

    return kept_page(request, "about.html", (file,), values)

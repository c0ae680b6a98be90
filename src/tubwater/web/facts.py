"""What the answers rest on: substances, test methods and guidelines with their sources, and the safety sheet."""

from __future__ import annotations

import math
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from markupsafe import Markup

from tubwater.reports.handout_words import handout_words
from tubwater.reports.printed import Paper, handout_pdf, label_pdf, paper_of, safety_pdf
from tubwater.reports.safety_words import safety_words
from tubwater.services.handout import Contact
from tubwater.services.lookup import all_guidelines, all_methods, all_substances
from tubwater.services.safety import safety_sheet
from tubwater.services.tubfile import TubFile, UnitSystem
from tubwater.tub import Basis, Reason
from tubwater.web.access import may_see
from tubwater.web.desk import Desk, Here
from tubwater.web.network import Home
from tubwater.web.show import explain, kept_page, page

__all__ = [
    "facts",
    "guideline_list",
    "handout",
    "label",
    "method_list",
    "router",
    "safety",
    "safety_print",
    "substance_list",
]

router = APIRouter(include_in_schema=False)


@router.get("/facts")
def facts(request: Request) -> HTMLResponse:
    """The ways in."""
    counts = {"substances": len(all_substances()), "methods": len(all_methods()), "guidelines": len(all_guidelines())}
    return page(request, "facts.html", {"counts": counts})


@router.get("/facts/substances")
def substance_list(request: Request) -> HTMLResponse:
    """Every substance by its active ingredient."""
    return kept_page(request, "substances.html", (), lambda: {"substances": all_substances(), "why": _why})


@router.get("/facts/methods")
def method_list(request: Request) -> HTMLResponse:
    """Every test method, how well it reads, and how sure that is."""
    return kept_page(request, "methods.html", (), lambda: {"methods": all_methods(), "why": _why})


@router.get("/facts/guidelines")
def guideline_list(request: Request) -> HTMLResponse:
    """Every guideline, limit by limit, with its source."""
    values = {"guidelines": all_guidelines(), "why": _why, "no_limit": math.inf}
    return kept_page(request, "guidelines.html", (), lambda: values)


@router.get("/facts/safety")
def safety(request: Request, desk: Here, tub: str = "") -> HTMLResponse:
    """What never to mix, and what to do; with a tub, what stands on its shelf."""
    file, today = _file(request, desk, tub), desk.now().date()

    def values() -> dict[str, Any]:
        words = safety_words(safety_sheet(file.shelf if file else None), today)
        return {"words": words, "tub": tub, "file": file}

    return kept_page(request, "safety.html", (), values, (today, desk.answers.mark(tub) if tub else ""))


@router.get("/facts/safety.pdf")
def safety_print(request: Request, desk: Here, tub: str = "", paper: Paper | None = None) -> Response:
    """The safety sheet to print."""
    file = _file(request, desk, tub)
    sheet = safety_sheet(file.shelf if file else None)
    chosen = paper_of(paper, file.units if file else UnitSystem.METRIC)
    return Response(safety_pdf(safety_words(sheet, desk.now().date()), chosen), media_type="application/pdf")


@router.get("/tubs/{tub}/handout.pdf")
def handout(request: Request, desk: Here, tub: str, paper: Paper | None = None) -> Response:
    """One page for the owner of this tub."""
    words, chosen = _owner_words(request, desk, tub), paper_of(paper, desk.file(tub).units)
    return Response(handout_pdf(words, chosen), media_type="application/pdf")


@router.get("/tubs/{tub}/label.pdf")
def label(request: Request, desk: Here, tub: str, paper: Paper | None = None) -> Response:
    """A label for the cabinet, to be cut out."""
    words, chosen = _owner_words(request, desk, tub), paper_of(paper, desk.file(tub).units)
    return Response(label_pdf(words, chosen), media_type="application/pdf")


def _owner_words(request: Request, desk: Desk, tub: str) -> dict[str, Any]:
    """The words of the sheets for the owner; where phones reach this computer, with the code that leads to the tub."""
    home: Home | None = request.app.state.home
    file, addresses = desk.keeping.file(tub), home.addresses() if home else ()
    contact = Contact(address=f"{addresses[0]}/tubs/{tub}" if addresses else "").over(file.contact)
    return handout_words(desk.answers.handout(tub), contact, file.units)


def _file(request: Request, desk: Desk, tub: str) -> TubFile | None:
    """The tub that a sheet is for, None for any; only for whoever may see it."""
    if not tub:
        return None
    may_see(request, tub)
    return desk.keeping.file(tub)


def _why(basis: Basis) -> Markup:
    return explain(Reason("", basis=basis))

"""What may be behind cloudy water, foam or a smell, and the check that tells; complaints of people get fixed advice."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from tubwater.reports.text import kinds
from tubwater.services.troubles import checks_known, complaints_known, signs_known
from tubwater.web.desk import Here
from tubwater.web.forms import asked_of_page
from tubwater.web.show import kept_page

__all__ = ["router", "troubles_page"]

router = APIRouter(include_in_schema=False)
_MOST_SIGNS = 8


@router.get("/tubs/{tub}/troubles")
def troubles_page(request: Request, desk: Here, tub: str) -> HTMLResponse:
    """Asks what is seen; then ranks what may be behind it."""
    sent = asked_of_page(request)
    present = [sign for sign in signs_known() if sign in sent.all("sign")][:_MOST_SIGNS]
    answers = {check: sent.text(check) == "yes" for check in checks_known() if sent.text(check) in ("yes", "no")}
    file, unwell = desk.keeping.file(tub), complaints_known()
    ranking = desk.answers.troubles(tub, present, answers) if present else None

    def values() -> dict[str, Any]:
        return {
            "tub": tub,
            "file": file,
            "units": file.units,
            "signs": [sign for sign in signs_known() if sign not in unwell],
            "unwell": unwell,
            "present": present,
            "answers": answers,
            "ranking": ranking,
            "advice": kinds("complaint"),
        }

    return kept_page(request, "troubles.html", (ranking,), values, desk.answers.mark(tub))

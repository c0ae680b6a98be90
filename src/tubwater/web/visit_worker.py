"""What makes the pages work without a network: worker, manifest, the page for what is not there, and the tub card."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from tubwater.services.card import card_of
from tubwater.web.desk import Here
from tubwater.web.show import kept_page, page, say
from tubwater.web.static import FOLDER, address_of, version
from tubwater.web.visit_view import visit_words, words_for_phone

__all__ = ["card", "manifest", "offline", "router", "words", "worker"]

router = APIRouter(include_in_schema=False)
_PRECACHED = (".css", ".js", ".svg", ".woff2")


@router.get("/sw.js")
def worker() -> Response:
    """The service worker; it changes whenever a static file does, and is never kept by the browser's own cache."""
    files = sorted(p.relative_to(FOLDER).as_posix() for p in FOLDER.rglob("*") if p.suffix in _PRECACHED)
    wanted = [address_of(name) for name in files if name != "sw.js"]
    text = (FOLDER / "sw.js").read_text(encoding="utf-8")
    text = text.replace("%VERSION%", version()).replace('"%FILES%"', ", ".join(f'"{name}"' for name in wanted))
    return Response(text, media_type="text/javascript", headers={"Cache-Control": "no-cache"})


@router.get("/manifest.webmanifest")
def manifest() -> Response:
    """What a phone needs to install the pages."""
    body: dict[str, Any] = {
        "name": say("brand"),
        "short_name": say("brand"),
        "start_url": "/",
        "scope": "/",
        "lang": say("lang"),
        "display": "standalone",
        "background_color": "#f8f2e5",
        "theme_color": "#f8f2e5",
        "icons": [{"src": address_of("icon.svg"), "sizes": "any", "type": "image/svg+xml", "purpose": "any"}],
    }
    return JSONResponse(body, media_type="application/manifest+json", headers={"Cache-Control": "no-cache"})


@router.get("/offline")
def offline(request: Request) -> HTMLResponse:
    """Shown in the place of a page that this phone never opened."""
    return page(request, "visit_offline.html", {"words": visit_words})


@router.get("/offline/words")
def words() -> dict[str, str]:
    """The texts that the browser fills itself."""
    return words_for_phone()


@router.get("/tubs/{tub}/card")
def card(request: Request, desk: Here, tub: str) -> HTMLResponse:
    """What a pair of readings means at this tub, for the next two weeks without a network."""
    found = card_of(desk.keeping, tub)
    file = desk.keeping.file(tub)

    def values() -> dict[str, Any]:
        groups = [(value, list(rows)) for value, rows in groupby(found.rows, key=lambda row: row.sanitizer)]
        return {"tub": tub, "file": file, "card": found, "groups": groups, "words": visit_words}

    return kept_page(request, "visit_card.html", (), values, (found.made, desk.answers.mark(tub)))

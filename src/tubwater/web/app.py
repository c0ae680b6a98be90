"""The application: its routes, its guard, its answers to what goes wrong."""

from __future__ import annotations

from collections.abc import Container
from datetime import tzinfo

from fastapi import FastAPI

from tubwater import __version__
from tubwater.services.accounts import Accounts
from tubwater.services.answers import Answers
from tubwater.services.keeping import Keeping
from tubwater.services.memory_kits import MemoryKits
from tubwater.services.storage import KitStore
from tubwater.web import (
    about,
    access,
    ahead,
    amiss,
    api,
    beside_api,
    facts,
    facts_api,
    first,
    happened,
    keep_api,
    languages,
    logbook,
    people,
    phones,
    plans,
    readings,
    record,
    record_api,
    settings,
    shelf,
    since,
    soaks,
    tub,
    tub_api,
    tubs,
    upkeep,
    visit,
    visit_api,
    visit_worker,
)
from tubwater.web.access import Access
from tubwater.web.desk import Desk
from tubwater.web.errors import answer_errors
from tubwater.web.guard import HERE_ONLY, Guard
from tubwater.web.languages import Speaking
from tubwater.web.network import Home
from tubwater.web.static import FOLDER, FixedFiles, version

__all__ = ["create_app"]

_PARTS = (  # in the order in which a request looks for its route: what is asked for most comes first
    *(tubs, tub, readings, plans, visit, soaks, happened, about, ahead, amiss, since, logbook, record, shelf, settings),
    *(facts, upkeep, first, visit_worker, phones, people, access, languages),
    *(visit_api, api, tub_api, beside_api, keep_api, record_api, facts_api),
)


def create_app(
    services: Keeping,
    zone: tzinfo | None = None,
    hosts: Container[str] | None = HERE_ONLY,
    kits: KitStore | None = None,
    accounts: Accounts | None = None,
    home: Home | None = None,
) -> FastAPI:
    """The application over the use cases.

    Args:
        services: the use cases over a store.
        zone: the zone in which times are shown and read; None is this machine's own.
        hosts: names under which it may be asked; None allows any.
        accounts: who may do what; while there is none with a password, whoever sits here may do everything.
        home: how phones reach the pages; None where only this computer does.
        kits: where it is kept which kit a tub is tested with; None is in memory.
    """
    app = FastAPI(title="Tubwater", version=__version__, docs_url=None, redoc_url=None, openapi_url="/api/openapi.json")
    app.state.desk = Desk(services, Answers(services), kits or MemoryKits(), zone, accounts)
    app.state.home = home
    app.add_middleware(Access, accounts=accounts)
    app.add_middleware(Guard, hosts=hosts)
    app.add_middleware(Speaking, zone=zone)
    app.mount(f"/static/{version()}", FixedFiles(directory=FOLDER), name="static")
    for part in _PARTS:  # as one table: a router inside another would be asked twice for every request
        app.router.routes.extend(part.router.routes)
    answer_errors(app)
    return app

"""A keeping in which every page has something to show, and where each page is."""

from __future__ import annotations

from datetime import timedelta

from fastapi import FastAPI
from fastapi.routing import APIRoute

from tubwater.services.accounts import Accounts
from tubwater.services.keeping import Keeping
from tubwater.services.memory import MemoryEntries, MemorySnapshots, RandomNames
from tubwater.services.memory_accounts import MemoryAccounts
from tubwater.services.people import Account
from tubwater.services.ports import Kind
from tubwater.services.visits import Told, Visits, What
from tubwater.web import create_app
from web.beside import HIGH_PH
from web.harness import BODY, START, ZONE, Clock, Plain

__all__ = ["ADDRESSES", "NOT_PAGES", "World", "routes"]

# Of each page (by its route) the addresses at which it is looked at.
ADDRESSES: dict[str, tuple[str, ...]] = {
    "/": ("/",),
    "/first": ("/first",),
    "/login": ("/login",),
    "/pair/{secret}": ("/pair/a-code",),
    "/phones": ("/phones",),
    "/people": ("/people",),
    "/people/{account}": ("/people/neighbour",),
    "/trust": ("/trust",),
    "/offline": ("/offline",),
    "/facts": ("/facts",),
    "/facts/substances": ("/facts/substances",),
    "/facts/methods": ("/facts/methods",),
    "/facts/guidelines": ("/facts/guidelines",),
    "/facts/safety": ("/facts/safety", "/facts/safety?tub=larch"),
    "/tubs/{tub}": ("/tubs/larch", "/tubs/rowan", "/tubs/alder"),
    "/tubs/{tub}/test": ("/tubs/larch/test", "/tubs/rowan/test?method=photometer"),
    "/tubs/{tub}/before": ("/tubs/larch/before",),
    "/tubs/{tub}/tested/{entry}": ("/tubs/larch/tested/read",),
    "/tubs/{tub}/plan": ("/tubs/larch/plan", "/tubs/alder/plan", "/tubs/larch/plan?about=winter"),
    "/tubs/{tub}/about": ("/tubs/larch/about",),
    "/tubs/{tub}/out": ("/tubs/larch/out",),
    "/tubs/{tub}/out/{entry}": ("/tubs/larch/out/soak",),
    "/tubs/{tub}/happened": ("/tubs/alder/happened",),
    "/tubs/{tub}/happened/{what}": ("/tubs/alder/happened/faeces", "/tubs/larch/happened/cloudy"),
    "/tubs/{tub}/logbook": ("/tubs/larch/logbook",),
    "/tubs/{tub}/logbook/{entry}": ("/tubs/larch/logbook/read",),
    "/tubs/{tub}/add/{kind}": tuple(
        f"/tubs/larch/add/{kind}" for kind in ("dosed", "feeder", "filled", "cared", "sampled", "source_water")
    ),
    "/tubs/{tub}/record": ("/tubs/larch/record", "/tubs/rowan/record"),
    "/tubs/{tub}/shelf": ("/tubs/larch/shelf",),
    "/tubs/{tub}/shelf/{number}": ("/tubs/larch/shelf/0", "/tubs/larch/shelf/new"),
    "/tubs/{tub}/due": ("/tubs/larch/due",),
    "/tubs/{tub}/stock": ("/tubs/larch/stock",),
    "/tubs/{tub}/settings": ("/tubs/larch/settings",),
    "/tubs/{tub}/volume": ("/tubs/larch/volume", "/tubs/larch/volume?way=meter&before=1.1&after=2.4"),
    "/tubs/{tub}/visit": ("/tubs/rowan/visit",),
    "/tubs/{tub}/visit/{visit}": ("/tubs/larch/visit/begun", "/tubs/birch/visit/left", "/tubs/ash/visit/waits"),
    "/tubs/{tub}/outlook": ("/tubs/larch/outlook", "/tubs/larch/outlook?party_people=6&party_at=2026-11-28T20:00"),
    "/tubs/{tub}/ledger": ("/tubs/larch/ledger?change=400+L",),
    "/tubs/{tub}/learned": ("/tubs/larch/learned",),
    "/tubs/{tub}/troubles": (
        "/tubs/larch/troubles",
        "/tubs/larch/troubles?sign=foam",
        "/tubs/larch/troubles?sign=skin",
    ),
    "/tubs/{tub}/card": ("/tubs/larch/card",),
}
# What answers with something else than a page.
NOT_PAGES = frozenset(
    (
        "/healthz",
        "/sw.js",
        "/manifest.webmanifest",
        "/offline/words",
        "/facts/safety.pdf",
        "/trust/authority.crt",
        "/tubs/{tub}/handout.pdf",
        "/tubs/{tub}/label.pdf",
        "/tubs/{tub}/record.pdf",
        "/tubs/{tub}/record.xlsx",
        "/tubs/{tub}/calendar.ics",
    )
)


class Rewound(MemoryEntries):
    """Entries that can be brought back to where they were."""

    def remember(self) -> None:
        self._then = dict(self._kept)

    def rewind(self) -> None:
        self._kept = dict(self._then)


class World:
    """Five tubs: one with a visit under way, a fit one, one that is kept out, one left to somebody, one that waits."""

    def __init__(self) -> None:
        self.clock = Clock(START)
        self.entries = Rewound()
        self.keeping = Keeping(self.entries, MemorySnapshots(), self.clock, RandomNames())
        accounts = Accounts(MemoryAccounts(), Plain(), self.clock, RandomNames())
        accounts.store.keep(Account("neighbour", "the neighbour", "", owner=False, created=START))
        self.app: FastAPI = create_app(self.keeping, zone=ZONE, hosts=None, accounts=accounts)
        for tub in ("larch", "rowan", "alder", "birch", "ash"):
            self.keeping.add_tub({**BODY, "tub": {**BODY["tub"], "name": tub.capitalize()}}, id=tub)
        self._past()
        for tub in ("larch", "birch", "ash"):
            Visits(self.keeping).begin(tub, id={"larch": "begun", "birch": "left", "ash": "waits"}[tub])
        self._on("birch", "left", Told(What.LEFT, to="the neighbour"))
        self._until_it_waits("ash", "waits")

    def _past(self) -> None:
        for tub in ("larch", "birch", "ash"):
            self._note(tub, Kind.FILLED, 400, {"volume": "1250 L"})
            self._note(tub, Kind.SOAKED, 20, {"people": 2, "lasted": "30 min"}, "soak")
            self._note(tub, Kind.DOSED, 19, {"product": "oxidizer", "measures": 1})
            self._note(tub, Kind.FEEDER, 18, {"product": "tablets", "tablets": 3, "opening": 0.5})
            self._note(tub, Kind.CARED, 17, {"task": "rinse-filter"})
            self._note(tub, Kind.TEST, 0.1, HIGH_PH, "read")
            self._note(tub, Kind.NOTICED, 0.1, {"clarity": "clear"})
        self._note("rowan", Kind.TEST, 0.1, {"method": "photometer", "bromine": 4.5, "pH": 7.5})
        self._note("rowan", Kind.NOTICED, 0.1, {"clarity": "clear"})
        self._note("alder", Kind.TEST, 2, {"method": "strip", "bromine": 0.5, "pH": [7.5, 7.8]})
        self._note("alder", Kind.NOTICED, 1, {"clarity": "cloudy", "signs": ["formed stool"]})

    def _note(self, tub: str, kind: Kind, hours: float, body: dict[str, object], id: str = "") -> None:
        at = self.clock.time - timedelta(hours=hours)
        self.keeping.record(tub, kind, {**body, "at": at.isoformat()}, id=id if tub == "larch" else "")

    def _on(self, tub: str, visit: str, told: Told) -> None:
        Visits(self.keeping).tell(tub, visit, told)

    def _until_it_waits(self, tub: str, visit: str) -> None:
        visits = Visits(self.keeping)
        while (turn := visits.show(tub, visit).turn) and turn.step.kind.value != "wait":
            self._on(tub, visit, Told(What.DONE, turn.key))


def routes(app: FastAPI, method: str) -> set[str]:
    """The paths of all routes of a method, by the application's own table."""
    parts = [getattr(found, "original_router", found) for found in app.routes]
    found = [route for part in parts for route in getattr(part, "routes", [part])]
    return {route.path for route in found if isinstance(route, APIRoute) and method in route.methods}

"""What the pages do, programs can do as well: the two route tables side by side, each gap with its reason."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from web.world import World, routes

NOT_A_PROGRAMS = "who may do what is looked after by a person who logs in; a program's token never opens it"
BROWSER = "a matter of this browser alone; a program sends Accept-Language, and keeps nothing offline"
SAME = "the file itself: a program asks for it at this address with its token"
HERE = "/api/tubs/{tub}"
# Of each page what a program asks instead, or why there is nothing.
INSTEAD: dict[str, tuple[str, ...] | str] = {
    "/": ("GET /api/tubs",),
    "/first": (f"PUT {HERE}", f"PUT {HERE}/kit", "GET /api/facts/substances"),
    "/login": NOT_A_PROGRAMS,
    "/logout": NOT_A_PROGRAMS,
    "/language": BROWSER,
    "/pair/{secret}": NOT_A_PROGRAMS,
    "/phones": NOT_A_PROGRAMS,
    "/phones/account": NOT_A_PROGRAMS,
    "/phones/programs": NOT_A_PROGRAMS,
    "/phones/programs/{token}/withdraw": NOT_A_PROGRAMS,
    "/phones/{device}/withdraw": NOT_A_PROGRAMS,
    "/people": NOT_A_PROGRAMS,
    "/people/{account}": NOT_A_PROGRAMS,
    "/people/{account}/roles": NOT_A_PROGRAMS,
    "/people/{account}/password": NOT_A_PROGRAMS,
    "/people/{account}/close": NOT_A_PROGRAMS,
    "/trust": BROWSER,
    "/trust/authority.crt": SAME,
    "/offline": BROWSER,
    "/offline/words": BROWSER,
    "/sw.js": BROWSER,
    "/manifest.webmanifest": BROWSER,
    "/healthz": SAME,
    "/facts": ("GET /api/facts/substances", "GET /api/facts/methods", "GET /api/facts/guidelines"),
    "/facts/substances": ("GET /api/facts/substances",),
    "/facts/methods": ("GET /api/facts/methods",),
    "/facts/guidelines": ("GET /api/facts/guidelines",),
    "/facts/safety": ("GET /api/facts/safety", f"GET {HERE}/safety"),
    "/facts/safety.pdf": SAME,
    "/tubs/{tub}": (f"GET {HERE}/verdict", f"GET {HERE}/next", f"GET {HERE}/water", f"GET {HERE}/history"),
    "/tubs/{tub}/test": (f"GET {HERE}/kit", f"PUT {HERE}/entries/{{id}}"),
    "/tubs/{tub}/before": (f"GET {HERE}/kit", f"PUT {HERE}/entries/{{id}}"),
    "/tubs/{tub}/tested/{entry}": (f"GET {HERE}/tested/{{entry}}",),
    "/tubs/{tub}/plan": (f"GET {HERE}/plan",),
    "/tubs/{tub}/about": (f"GET {HERE}/purposes", f"GET {HERE}/plan"),
    "/tubs/{tub}/out": (f"PUT {HERE}/entries/{{id}}",),
    "/tubs/{tub}/out/{entry}": (f"GET {HERE}/soaks/{{entry}}",),
    "/tubs/{tub}/out/{entry}/dosed": (f"PUT {HERE}/entries/{{id}}",),
    "/tubs/{tub}/happened": (f"GET {HERE}/happened", f"PUT {HERE}/happened/{{id}}"),
    "/tubs/{tub}/happened/{what}": (f"GET {HERE}/happened",),
    "/tubs/{tub}/settled": (f"PUT {HERE}/settled/{{id}}",),
    "/tubs/{tub}/logbook": (f"GET {HERE}/history",),
    "/tubs/{tub}/logbook/{entry}": (f"GET {HERE}/history",),
    "/tubs/{tub}/logbook/{entry}/correct": (f"PUT {HERE}/corrections/{{id}}",),
    "/tubs/{tub}/logbook/{entry}/withdraw": (f"PUT {HERE}/withdrawals/{{id}}",),
    "/tubs/{tub}/add/{kind}": (f"PUT {HERE}/entries/{{id}}",),
    "/tubs/{tub}/record": (f"GET {HERE}/record",),
    "/tubs/{tub}/record/sign": (f"PUT {HERE}/signatures/{{id}}",),
    "/tubs/{tub}/record.pdf": SAME,
    "/tubs/{tub}/record.xlsx": SAME,
    "/tubs/{tub}/shelf": (f"GET {HERE}/shelf", f"GET {HERE}/safety"),
    "/tubs/{tub}/shelf/{number}": (f"PUT {HERE}/shelf",),
    "/tubs/{tub}/due": (f"GET {HERE}/due",),
    "/tubs/{tub}/due/done": (f"PUT {HERE}/entries/{{id}}",),
    "/tubs/{tub}/due/calendar": NOT_A_PROGRAMS,
    "/tubs/{tub}/due/calendar/{token}/withdraw": NOT_A_PROGRAMS,
    "/tubs/{tub}/calendar.ics": SAME,
    "/tubs/{tub}/stock": (f"GET {HERE}/stock",),
    "/tubs/{tub}/stock/reagents": (f"PUT {HERE}/shelf",),
    "/tubs/{tub}/settings": (f"GET {HERE}/tub", f"PUT {HERE}/tub"),
    "/tubs/{tub}/volume": ("GET /api/volume",),
    "/tubs/{tub}/visit": (f"GET {HERE}/visit", f"PUT {HERE}/visits/{{visit}}"),
    "/tubs/{tub}/visit/{visit}": (
        f"GET {HERE}/visits/{{visit}}",
        f"PUT {HERE}/visits/{{visit}}/told/{{id}}",
        f"GET {HERE}/visits/{{visit}}/packet",
    ),
    "/tubs/{tub}/outlook": (f"GET {HERE}/outlook",),
    "/tubs/{tub}/ledger": (f"GET {HERE}/ledger",),
    "/tubs/{tub}/learned": (f"GET {HERE}/learned",),
    "/tubs/{tub}/troubles": (f"GET {HERE}/troubles",),
    "/tubs/{tub}/card": (f"GET {HERE}/card",),
    "/tubs/{tub}/handout.pdf": (f"GET {HERE}/handout",),
    "/tubs/{tub}/label.pdf": (f"GET {HERE}/handout",),
}


@pytest.fixture(scope="module")
def world() -> World:
    return World()


@pytest.fixture(scope="module")
def asking(world: World) -> Iterator[TestClient]:
    with TestClient(world.app, raise_server_exceptions=False) as found:
        yield found


def test_every_page_has_its_counterpart_or_a_reason(world: World, asking: TestClient) -> None:
    pages = {path for method in ("GET", "POST") for path in routes(world.app, method) if not path.startswith("/api/")}
    assert pages == set(INSTEAD)
    described = asking.get("/api/openapi.json").json()["paths"]
    there = {f"{method.upper()} {path}" for path, methods in described.items() for method in methods}
    named = {one for found in INSTEAD.values() if not isinstance(found, str) for one in found}
    assert named <= there
    assert there - named == {"GET /api/clock"}  # for a phone whose own clock may be wrong


@pytest.mark.parametrize("name", ["substances", "methods", "guidelines"])
def test_facts_come_with_the_sources_that_they_name(asking: TestClient, name: str) -> None:
    told = asking.get(f"/api/facts/{name}").json()
    assert len(told[name]) > 3 and told["sources"]
    assert all({"title", "publisher"} <= set(source) for source in told["sources"].values())


def test_a_volume_is_the_one_of_the_page(asking: TestClient) -> None:
    found = asking.get("/api/volume?way=meter&before=1.1&after=2.4").json()
    assert found["litres"] == pytest.approx(1300.0) and found["low"] < 1300.0 < found["high"]
    assert "1300 L" in asking.get("/tubs/larch/volume?way=meter&before=1.1&after=2.4").text.replace("&nbsp;", " ")
    for wrong in ("way=meter", "way=guess", "way=meter&before=nan&after=2", "way=plate&litres=-4"):
        assert asking.get(f"/api/volume?{wrong}").status_code == 422


@pytest.mark.parametrize("way", ["plate", "meter", "hose", "round", "rectangle"])
def test_a_way_that_was_only_chosen_is_not_refused_yet(asking: TestClient, way: str) -> None:
    chosen = asking.get("/tubs/larch/volume", params={"way": way})
    assert chosen.status_code == 200 and "Expected:" not in chosen.text
    sent = asking.get("/tubs/larch/volume", params={"way": way, "depth": ""})
    assert sent.status_code == 422 and "Expected:" in sent.text


def test_a_kit_is_told_with_what_it_reads_and_can_be_changed(asking: TestClient) -> None:
    asks = {one["quantity"] for one in asking.get("/api/tubs/rowan/kit").json()["asks"]}
    assert {"bromine", "pH"} <= asks
    assert asking.put("/api/tubs/rowan/kit", json={"method": "photometer"}).json()["method"] == "photometer"
    assert asking.get("/api/tubs/rowan/kit").json()["method"] == "photometer"
    assert asking.put("/api/tubs/rowan/kit", json={"method": "crystal ball"}).status_code == 422
    assert asking.put("/api/tubs/nowhere/kit", json={"method": "strip"}).status_code == 404


def test_sheets_come_as_data_and_to_print(asking: TestClient) -> None:
    handout = asking.get("/api/tubs/larch/handout").json()
    assert handout["bands"] and handout["weekly"] and handout["tub"]["name"] == "Larch"
    for address in ("/api/tubs/larch/safety", "/api/facts/safety"):
        sheet = asking.get(address).json()
        assert sheet["rules"] and asking.get(sheet["pdf"]).content.startswith(b"%PDF")
    assert asking.get("/api/tubs/larch/safety").json()["on_shelf"]
    assert asking.get(handout["pdf"]).content.startswith(b"%PDF")


def test_what_a_test_and_a_soak_lead_to(asking: TestClient) -> None:
    tested = asking.get("/api/tubs/larch/tested/read").json()
    assert {one["quantity"] for one in tested["readings"]} >= {"pH"} and len(tested["before"]) == len(tested["after"])
    soak = asking.get("/api/tubs/larch/soaks/soak").json()
    assert (soak["people"], soak["minutes"]) == (2.0, 30.0) and "answer" in soak
    assert asking.get("/api/tubs/larch/soaks/read").status_code == 404
    coming = asking.get("/api/tubs/larch/next").json()
    assert coming["kind"] in ("test", "plan", "due", "nothing")


def test_something_that_happened_keeps_people_out_until_it_is_settled(asking: TestClient, world: World) -> None:
    world.entries.remember()
    known = {one["key"] for one in asking.get("/api/tubs/rowan/happened").json()["kinds"]}
    assert "vomit" in known
    for _ in range(2):
        assert asking.put("/api/tubs/rowan/happened/h", json={"what": "vomit"}).status_code == 200
    (sign,) = asking.get("/api/tubs/rowan/happened").json()["standing"]
    assert asking.get("/api/tubs/rowan/verdict").json()["kind"] == "keep out"
    assert asking.put("/api/tubs/rowan/settled/s", json={"sign": sign}).status_code == 200
    assert asking.get("/api/tubs/rowan/happened").json()["standing"] == []
    assert asking.put("/api/tubs/rowan/settled/t", json={"sign": "nothing of it"}).status_code == 422
    assert asking.put("/api/tubs/rowan/happened/i", json={"what": "comet"}).status_code in (404, 422)
    world.entries.rewind()

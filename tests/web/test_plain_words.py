"""Pages say what their reader has to know: the day of a time, the unit of a number, what a pot is for."""

from __future__ import annotations

import re
from datetime import timedelta
from html import unescape

from fastapi.testclient import TestClient

from tubwater.services.keeping import Keeping
from tubwater.services.ports import Kind
from tubwater.services.visits import Told, Visits, What
from web.beside import HIGH_PH
from web.harness import BODY, Clock


def words_of(markup: str) -> str:
    """What a page says, without its marks."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", markup)).replace("\xa0", " ").split())


def after_an_oxidizer(keeping: Keeping, clock: Clock, tub: str) -> None:
    """Fresh water, its first oxidizer, and a test while that is still at work: the plan waits until the next day."""
    keeping.record(tub, Kind.FILLED, {"volume": "1250 L", "at": (clock.time - timedelta(hours=400)).isoformat()})
    dosed = {"product": "oxidizer", "measures": 1, "at": (clock.time - timedelta(hours=1)).isoformat()}
    keeping.record(tub, Kind.DOSED, dosed)
    keeping.record(tub, Kind.TEST, HIGH_PH)


def test_a_wait_until_another_day_names_that_day(client: TestClient, keeping: Keeping, clock: Clock, tub: str) -> None:
    after_an_oxidizer(keeping, clock, tub)
    visits, visit = Visits(keeping), Visits(keeping).begin(tub)
    while (turn := visits.show(tub, visit).turn) and turn.step.kind.value != "wait":
        visits.tell(tub, visit, Told(What.DONE, turn.key))
    assert turn and turn.due and turn.due - clock.time > timedelta(hours=13)
    assert re.search(r"until Thu 26 Nov, \d\d:\d\d\.", words_of(client.get(f"/tubs/{tub}/visit/{visit}").text))


def test_the_steps_of_another_day_name_it(client: TestClient, keeping: Keeping, clock: Clock, tub: str) -> None:
    after_an_oxidizer(keeping, clock, tub)
    page = client.get(f"/tubs/{tub}/plan").text
    assert re.search(r'<span class="on">26 Nov</span> \d\d:\d\d', page)
    assert re.search(r'text-anchor="end">26 Nov, \d\d:\d\d</text>', page)


def test_what_was_never_measured_is_not_called_good(client: TestClient, keeping: Keeping, tub: str) -> None:
    assert words_of(client.get(f"/tubs/{tub}").text).count("Not measured yet.") == 4
    keeping.record(tub, Kind.TEST, {"method": "strip", "bromine": 4, "pH": 7.4})
    assert words_of(client.get(f"/tubs/{tub}").text).count("Not measured yet.") == 2


def test_numbers_wear_their_unit(client: TestClient, keeping: Keeping, tub: str) -> None:
    keeping.record(tub, Kind.TEST, {"method": "strip", "bromine": 1, "pH": 7.8, "total_alkalinity": 80}, id="read")
    changed = words_of(client.get(f"/tubs/{tub}/tested/read").text)
    assert "Bromine mg/L" in changed and "Total alkalinity mg/L" in changed and "pH mg/L" not in changed
    plan = words_of(client.get(f"/tubs/{tub}/plan").text)
    assert re.search(r"At the end of this visit: bromine [\d.]+ \([^)]+\) mg/L, pH [\d.]+ \([^)]+\)[,.]", plan)


def test_a_new_product_is_none_before_it_was_chosen(client: TestClient, tub: str) -> None:
    assert '<option value="">Choose one</option>' in client.get(f"/tubs/{tub}/shelf/new").text
    assert "Choose one" not in client.get(f"/tubs/{tub}/shelf/0").text
    sent = client.post(f"/tubs/{tub}/shelf/new", data={"substance": "", "measure": "scales"})
    assert sent.status_code == 422


def test_the_method_of_a_test_is_corrected_by_its_name(client: TestClient, keeping: Keeping, tub: str) -> None:
    keeping.record(tub, Kind.TEST, HIGH_PH, id="read")
    page = client.get(f"/tubs/{tub}/logbook/read").text
    assert '<option value="strip" selected>A test strip</option>' in page and ">A photometer</option>" in page


def test_the_first_page_says_what_each_pot_is_for(client: TestClient) -> None:
    page = words_of(client.get("/first").text)
    assert "Sodium bisulfate (dry acid) lowers pH and alkalinity" in page
    assert "It may stay empty." in page


def test_the_same_times_can_be_asked_of_a_plan_and_of_a_visit(client: TestClient, tub: str) -> None:
    asked = [
        re.findall(r'name="minutes" value="(\d*)"', client.get(f"/tubs/{tub}/{page}").text)
        for page in ("plan", "visit")
    ]
    assert asked[0] == asked[1] != []


def test_all_tubs_is_about_the_tubs(client: TestClient, keeping: Keeping) -> None:
    assert 'class="act"' in client.get("/").text
    keeping.add_tub(BODY)
    page = client.get("/").text
    assert "Describe another tub" in page and 'class="act"' not in page  # it does not stand over the list


def test_what_never_meets_reads_the_same_on_the_shelf_and_beside_the_money(client: TestClient, tub: str) -> None:
    pair = "Oxidizer and tablets: gas, bursting."
    assert all(pair in words_of(client.get(f"/tubs/{tub}/{page}").text) for page in ("shelf", "stock"))


def test_the_day_of_a_sample_is_picked_and_not_typed(client: TestClient, keeping: Keeping, tub: str) -> None:
    assert re.search(r'name="taken" type="datetime-local"', client.get(f"/tubs/{tub}/add/sampled").text)
    sent = {"laboratory": "Ash", "taken": "2026-11-24T09:00", "legionella": "<10", "key": "sample"}
    client.post(f"/tubs/{tub}/add/sampled", data=sent)
    assert keeping.line(tub, "sample").body["taken"].startswith("2026-11-24T09:00")

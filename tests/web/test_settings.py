"""The description of a tub on its page: nothing that the form does not ask for is lost; whom to ask, and the paper."""

from __future__ import annotations

from collections.abc import Mapping
from html.parser import HTMLParser
from typing import Any

import pytest
from fastapi.testclient import TestClient

from tubwater.reports.printed import Paper
from tubwater.services.contact import Contact
from tubwater.services.keeping import Keeping
from tubwater.services.ports import Kind
from tubwater.tub import Quantity
from tubwater.web import facts
from web.harness import BODY

FULL: Mapping[str, Any] = {
    "tub": {
        **BODY["tub"],
        "equipment": {"heater": "2 kW"},
        "use": {"soaks_per_week": 3.0, "people": 2.0},
        "fill_water": {"pH": 7.6, "calcium_hardness": "8 °dH", "temperature": "9 °C", "source": "utility report"},
    },
    "units": "metric",
    "contact": {"name": "the neighbour", "phone": "12 34", "address": "tub.example"},
}


class _Fields(HTMLParser):
    """What the forms of a page would send as they stand."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: dict[str, str] = {}
        self._select, self._first = "", False
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in attrs}
        if tag == "input" and (said.get("type") != "checkbox" or "checked" in said) and "name" in said:
            self.found[said["name"]] = said.get("value", "")
        if tag == "select":
            self._select, self._first = said.get("name", ""), True
        if tag == "option" and self._select and (self._first or "selected" in said):
            self.found[self._select], self._first = said.get("value", ""), False

    def handle_data(self, data: str) -> None:
        if self._select and data.strip() and not self.found.get(self._select):
            self.found[self._select] = data.strip()

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self._select = ""


def _saved(client: TestClient, tub: str, **changed: str) -> None:
    fields = _Fields(client.get(f"/tubs/{tub}/settings").text).found
    answer = client.post(f"/tubs/{tub}/settings", data={**fields, **changed}, follow_redirects=False)
    assert answer.status_code == 303, answer.text


def test_a_form_that_is_saved_keeps_what_it_does_not_ask_for(client: TestClient, keeping: Keeping) -> None:
    tub = keeping.add_tub({**FULL, "product": BODY["product"]}, id="full")
    before = keeping.file(tub)
    _saved(client, tub, name="Larch by the shed")
    after = keeping.file(tub)
    assert after.tub.name == "Larch by the shed" and after.contact == before.contact
    assert after.tub.fill.values == before.tub.fill.values and Quantity.TEMPERATURE in after.tub.fill.values
    assert after.tub.equipment.heater_kw == 2.0 and after.tub.soaks_per_week == before.tub.soaks_per_week


def test_what_is_emptied_in_the_form_is_gone(client: TestClient, keeping: Keeping) -> None:
    tub = keeping.add_tub(FULL, id="full")
    _saved(client, tub, contact_phone="", heater="", fill_pH="")
    newest = keeping.newest(tub, Kind.TUB)
    assert newest is not None and newest.entry.body["contact"] == {"name": "the neighbour", "address": "tub.example"}
    assert "heater" not in newest.entry.body["tub"]["equipment"]
    assert "pH" not in newest.entry.body["tub"]["fill_water"]


@pytest.mark.parametrize(("units", "paper"), [("metric", Paper.A4), ("us", Paper.LETTER)])
@pytest.mark.parametrize("sheet", ["handout", "label"])
def test_the_sheets_name_whom_to_ask_on_the_paper_of_the_units(
    client: TestClient, keeping: Keeping, monkeypatch: pytest.MonkeyPatch, units: str, paper: Paper, sheet: str
) -> None:
    tub, printed = keeping.add_tub({**FULL, "units": units}, id="full"), []

    def caught(words: Mapping[str, Any], paper: Paper) -> bytes:
        printed.append((str(words), paper))
        return b""

    monkeypatch.setattr(facts, f"{sheet}_pdf", caught)
    assert client.get(f"/tubs/{tub}/{sheet}.pdf").status_code == 200
    assert client.get(f"/tubs/{tub}/{sheet}.pdf?paper=us-letter").status_code == 200
    assert [one for _, one in printed] == [paper, Paper.LETTER]
    assert "the neighbour" in printed[0][0]


def test_the_interface_takes_whom_to_ask(client: TestClient, keeping: Keeping) -> None:
    tub = keeping.add_tub(FULL, id="full")
    known = client.get(f"/api/tubs/{tub}/tub").json()
    body = {**FULL, "contact": {"name": "the caretaker"}}
    sent = {"body": body, "after": known["entry"], "id": "anew"}
    assert client.put(f"/api/tubs/{tub}/tub", json=sent).status_code == 200
    assert keeping.file(tub).contact == Contact("the caretaker")


def test_a_trouble_leads_to_its_plan(client: TestClient, tub: str) -> None:
    page = client.get(f"/tubs/{tub}/troubles?sign=foam").text
    assert f'href="/tubs/{tub}/plan?about=' in page and "Show the plan: " in page

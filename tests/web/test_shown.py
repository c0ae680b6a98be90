"""What was shown is kept as it was seen; what looks odd is asked about and kept all the same."""

from __future__ import annotations

import json
from typing import Any

from fastapi.testclient import TestClient

from tubwater.reports.scale import span_words
from tubwater.services.keeping import MODEL, Keeping
from tubwater.services.ports import Kind
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import Quantity
from tubwater.web.show import say
from web.harness import Clock


def shown(keeping: Keeping, tub: str, what: str) -> list[Any]:
    said = (s.entry.body for s in keeping.entries(tub) if s.entry.kind is Kind.SHOWN)
    return [body for body in said if body["what"] == what]


def test_a_verdict_and_a_plan_that_were_shown_are_entries_with_their_model_and_stay(
    client: TestClient, keeping: Keeping, tub: str
) -> None:
    keeping.record(tub, Kind.TEST, {"method": "strip", "bromine": 2, "pH": 7.8}, id="read")
    for _ in range(2):  # seen again is not kept again
        client.get(f"/tubs/{tub}")
        client.get(f"/tubs/{tub}/plan")
    (verdict,), (plan,) = shown(keeping, tub, "verdict"), shown(keeping, tub, "plan")
    assert verdict["model"] == plan["model"] == MODEL
    before = json.dumps([verdict, plan])
    keeping.correct(tub, "read", {"method": "strip", "bromine": 5, "pH": 7.5})
    client.get(f"/tubs/{tub}")
    assert json.dumps([shown(keeping, tub, "verdict")[0], shown(keeping, tub, "plan")[0]]) == before


def test_a_reading_that_is_hardly_possible_is_kept_and_asked_about(
    client: TestClient, keeping: Keeping, clock: Clock, tub: str
) -> None:
    for reading in (7.4, 7.4):
        keeping.record(tub, Kind.TEST, {"method": "electrode", "pH": reading})
    sent = {"key": "odd", "method": "electrode", "pH": "9.6"}
    said = client.post(f"/tubs/{tub}/test", data=sent, follow_redirects=True).text.replace("&nbsp;", " ")
    assert say("tested.odd", Name="pH", value=span_words(9.6, 9.6, Quantity.PH, UnitSystem.METRIC)) in said
    assert float(keeping.line(tub, "odd").body["pH"]) == 9.6
    assert say("tested.right") not in client.get(f"/tubs/{tub}/tested/odd?checked=true").text


def test_what_is_left_of_the_tablets_is_asked_beside_a_test_once_some_were_put_in(
    client: TestClient, keeping: Keeping, clock: Clock, tub: str
) -> None:
    field = 'name="tablets_left"'
    assert field not in client.get(f"/tubs/{tub}/test").text
    keeping.record(tub, Kind.FEEDER, {"product": "tablets", "tablets": 2, "opening": 0.5})
    assert field in client.get(f"/tubs/{tub}/test").text
    assert field not in client.get(f"/tubs/{tub}/before").text
    sent = {"key": "looked", "method": "strip", "bromine": "3", "tablets_left": "50:75"}
    client.post(f"/tubs/{tub}/test", data=sent, follow_redirects=True)
    assert keeping.line(tub, "looked").body["tablets_left"] == ["50", "75"]
    keeping.record(tub, Kind.FEEDER, {"product": "tablets", "tablets": 0})
    assert field not in client.get(f"/tubs/{tub}/test").text

"""How far a feeder is open is told and asked in per cent; what could be two openings is asked about."""

from __future__ import annotations

import pytest
from fastapi.testclient import TestClient

from tubwater.errors import InputError
from tubwater.services.keeping import Keeping
from tubwater.services.ports import Kind
from tubwater.web.forms import share_in
from web.harness import BODY


@pytest.mark.parametrize(
    ("text", "share"),
    [("40", 0.4), ("40 %", 0.4), ("0", 0.0), ("100%", 1.0), ("0,5 %", 0.005), ("1 %", 0.01), ("", None)],
)
def test_a_percentage_is_read_as_one(text: str, share: float | None) -> None:
    assert share_in("opening", text) == pytest.approx(share)


@pytest.mark.parametrize("text", ["0.4", "1", "0,25"])
def test_what_may_be_a_share_or_a_percentage_is_asked_about(text: str) -> None:
    with pytest.raises(InputError, match="whichever is meant"):
        share_in("opening", text)


@pytest.mark.parametrize("text", ["-1", "140", "half", "nan"])
def test_what_is_no_percentage_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        share_in("opening", text)


def test_an_entry_by_hand_and_its_correction_are_in_per_cent(client: TestClient, keeping: Keeping, tub: str) -> None:
    form = {"product": "tablets", "tablets": "3", "opening": "40", "key": "set"}
    client.post(f"/tubs/{tub}/add/feeder", data=form)
    assert keeping.line(tub, "set").body["opening"] == 0.4
    page = client.get(f"/tubs/{tub}/logbook/set").text
    assert 'value="40 %"' in page and "40&nbsp;%" in page
    asked = client.post(f"/tubs/{tub}/logbook/set/correct", data={**form, "opening": "0.5", "key": "right"})
    assert asked.status_code == 422 and "50 % or 0.5 %" in asked.text
    client.post(f"/tubs/{tub}/logbook/set/correct", data={**form, "opening": "50 %", "key": "right"})
    assert keeping.line(tub, "set").body["opening"] == 0.5
    assert [s.entry.kind for s in keeping.entries(tub)][-1] is Kind.CORRECTED


def test_a_plan_names_the_tablets_as_their_keeper_does(client: TestClient, keeping: Keeping) -> None:
    own = [{**one, "name": "the blue bucket"} if "tablet" in one else one for one in BODY["product"]]
    keeping.add_tub({**BODY, "product": own}, id="ash")
    read = {"method": "photometer", "bromine": 3.5, "pH": 7.5}
    keeping.record("ash", Kind.TEST, read)
    keeping.record("ash", Kind.NOTICED, {"clarity": "clear"})
    text = client.get("/tubs/ash/plan").text
    assert "Set the feeder" in text and "The blue bucket" in text


def test_the_outlook_asks_in_the_same_way(client: TestClient, tub: str) -> None:
    assert client.get(f"/tubs/{tub}/outlook", params={"opening": "0.5", "days": "2"}).status_code == 422
    assert client.get(f"/api/tubs/{tub}/outlook", params={"opening": "0.5 %", "days": "2"}).status_code == 200

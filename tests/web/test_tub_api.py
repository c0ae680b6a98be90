"""The JSON interface of one tub says what its pages say, and takes what happened."""

from __future__ import annotations

import pytest
from fastapi.testclient import TestClient

from tubwater.services.keeping import Keeping
from tubwater.services.ports import Kind
from web.harness import BODY

READ = {"kind": "test", "body": {"method": "strip", "bromine": 2, "pH": 7.5}}


@pytest.mark.parametrize(
    ("path", "keys"),
    [
        ("verdict", {"kind", "as_of", "good_until", "reasons"}),
        ("plan?minutes=45", {"steps", "next_visit"}),
        ("water", {"quantities", "litres"}),
        ("outlook?days=3&opening=50", {"times", "bands", "next_test"}),
        ("ledger?change=300%20L", {"ledger", "change"}),
        ("learned", {"learned", "changes"}),
        ("troubles?sign=foam&no=jar-shake", {"causes", "next_check"}),
        ("stock?weeks=2", {"pots", "money"}),
        ("card", {"made", "void", "rows"}),
    ],
)
def test_each_answer_of_the_pages_is_there(client: TestClient, tub: str, path: str, keys: set[str]) -> None:
    answer = client.get(f"/api/tubs/{tub}/{path}")
    assert answer.status_code == 200 and keys <= set(answer.json())
    described = client.get("/api/openapi.json").json()["paths"]
    assert f"/api/tubs/{{tub}}/{path.partition('?')[0]}" in described


def test_an_entry_is_kept_once_and_can_be_corrected_and_withdrawn(
    client: TestClient, keeping: Keeping, tub: str
) -> None:
    for _ in range(2):
        assert client.put(f"/api/tubs/{tub}/entries/mine", json=READ).status_code == 200
    right = {"entry": "mine", "body": {"method": "strip", "bromine": 3, "pH": 7.5}}
    assert client.put(f"/api/tubs/{tub}/corrections/right", json=right).status_code == 200
    (line,) = keeping.history(tub)
    assert line.body["bromine"] == 3
    assert client.put(f"/api/tubs/{tub}/withdrawals/out", json={"entry": "mine"}).status_code == 200
    assert not any(line.stands for line in keeping.history(tub))
    assert [s.entry.id for s in keeping.entries(tub) if s.entry.kind is Kind.TEST] == ["mine"]
    assert client.get(f"/api/tubs/{tub}/history").json()[0]["stored"]["entry"]["id"] == "mine"


def test_a_tub_is_described_and_its_shelf_changed_from_what_stands_there(client: TestClient) -> None:
    new = {"body": {"tub": BODY["tub"], "product": BODY["product"][:1]}}
    for _ in range(2):
        assert client.put("/api/tubs/cedar", json=new).json() == {"tub": "cedar"}
    assert client.get("/api/tubs/cedar/tub").json()["body"] == {"tub": BODY["tub"]}
    stands = client.get("/api/tubs/cedar/shelf").json()
    change = {"id": "more", "after": stands["entry"], "body": {"product": BODY["product"]}}
    assert client.put("/api/tubs/cedar/shelf", json=change).status_code == 200
    assert client.get("/api/tubs/cedar/shelf").json() == {"entry": "more", "body": {"product": BODY["product"]}}
    late = {"id": "late", "after": stands["entry"], "body": {"product": []}}
    answer = client.put("/api/tubs/cedar/shelf", json=late)
    assert (answer.status_code, answer.json()["stands"]) == (409, "more")
    assert client.put("/api/tubs/cedar/tub", json={**late, "body": {"tub": {"volume": "9 L"}}}).status_code == 422


@pytest.mark.parametrize("body", [{}, {"product": []}, {"tub": {"name": "x"}, "test": []}, {"tub": 3}, {"tub": []}])
def test_no_description_is_taken_that_is_none(client: TestClient, keeping: Keeping, body: dict[str, object]) -> None:
    assert client.put("/api/tubs/cedar", json={"body": body}).status_code == 422
    assert keeping.tubs() == ()


def test_what_is_due_is_said(client: TestClient, tub: str) -> None:
    assert {"test", "care"} <= {one["kind"] for one in client.get(f"/api/tubs/{tub}/due?days=30").json()}


@pytest.mark.parametrize(
    "said",
    [
        {"kind": "tub", "body": {}},
        {"kind": "test", "body": {"method": "strip", "bromine": "blue"}},
        {"kind": "test", "body": {"method": {"a": 1}, "pH": [1, 2, 3]}},
        {"kind": "dosed", "body": {"product": "tea", "amount": "5 g"}},
        {"kind": "soaked", "body": {"at": "soon", "people": 2}},
    ],
)
def test_what_cannot_be_meant_is_refused_with_its_problems(client: TestClient, tub: str, said: object) -> None:
    answer = client.put(f"/api/tubs/{tub}/entries/mine", json=said)
    assert answer.status_code == 422 and answer.json()["problems"]


@pytest.mark.parametrize("path", ["outlook?days=nan", "ledger?change=much", "plan?minutes=0", "troubles"])
def test_a_question_that_cannot_be_meant_is_refused(client: TestClient, tub: str, path: str) -> None:
    assert client.get(f"/api/tubs/{tub}/{path}").status_code == 422


def test_a_sign_that_nobody_knows_and_a_tub_that_is_not_there(client: TestClient, tub: str) -> None:
    assert client.get(f"/api/tubs/{tub}/troubles?sign=blue").status_code == 404
    assert client.get("/api/tubs/nowhere/verdict").status_code == 404


def test_the_sheet_for_the_owner_hears_no_logbook_a_second_time(
    client: TestClient, tub: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def again(*_: object) -> None:
        raise AssertionError("the whole logbook was heard again")

    monkeypatch.setattr("tubwater.services.handout.case_of", again)
    assert client.get(f"/tubs/{tub}/handout.pdf").status_code == 200
    assert client.get(f"/api/tubs/{tub}/handout").status_code == 200

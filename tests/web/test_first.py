"""The first page: what it takes, and what it stored shown in the other language."""

from __future__ import annotations

import html
import re

import pytest
from fastapi.testclient import TestClient

from tubwater.reports.language import Language, speaking
from tubwater.reports.text import named, tub_named
from tubwater.services.keeping import Keeping
from tubwater.tub import Sanitizer
from tubwater.web.first import POTS
from tubwater.web.show import say

OTHER = {Language.ENGLISH: Language.GERMAN, Language.GERMAN: Language.ENGLISH}


def begun(client: TestClient, spoken: Language = Language.ENGLISH, **fields: object) -> str:
    """Describes a tub with every pot of the page; its address."""
    data = {"sanitizer": "bromine", "litres": "1300", "method": "strip", "pot": list(POTS), "key": "larch", **fields}
    answer = client.post("/first", data=data, headers={"Accept-Language": spoken}, follow_redirects=False)
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def read(client: TestClient, path: str, spoken: Language) -> str:
    """What a page says in a language, without its markup."""
    text = client.get(path, headers={"Accept-Language": spoken}).text
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text.replace("&nbsp;", " "))).split())


@pytest.mark.parametrize("made", Language)
def test_every_pot_of_the_page_is_named_in_the_language_of_whoever_looks(
    client: TestClient, keeping: Keeping, made: Language
) -> None:
    tub, shown = begun(client, made), OTHER[made]
    stored = [product.name for product in keeping.file("larch").shelf.products]
    with speaking(made):
        assert stored == [say(f"pot.{key}") for key in POTS]
    with speaking(shown):
        wanted = [say(f"pot.{key}") for key in POTS]
        assert [named(name) for name in stored] == wanted
    shelf = read(client, f"{tub}/shelf", shown)
    assert [name for name in wanted if name not in shelf] == []
    foreign = [name for name, own in zip(stored, wanted, strict=True) if name.lower() not in own.lower()]
    assert foreign and [name for name in foreign if re.search(rf"\b{re.escape(name)}\b", shelf)] == []


@pytest.mark.parametrize("sanitizer", Sanitizer)
@pytest.mark.parametrize("made", Language)
def test_the_plan_of_a_tub_made_in_another_language_names_no_product_in_it(
    client: TestClient, keeping: Keeping, made: Language, sanitizer: Sanitizer
) -> None:
    tub = begun(client, made, sanitizer=sanitizer)
    keeping.record("larch", "test", {"method": "strip", "pH": 8.2, "total_alkalinity": 40})  # type: ignore[arg-type]
    with speaking(OTHER[made]):
        own = " ".join(say(f"pot.{key}") for key in POTS)
    plan = read(client, f"{tub}/plan", OTHER[made])
    for product in keeping.file("larch").shelf.products:
        if product.name.lower() not in own.lower():
            assert not re.search(rf"\b{re.escape(product.name)}\b", plan), product.name


def test_a_tub_without_a_name_is_called_in_the_language_and_the_form_that_its_sentence_asks_for(
    client: TestClient,
) -> None:
    tub = begun(client)
    assert "The tub" in read(client, "/", Language.ENGLISH) and "Der Whirlpool" in read(client, "/", Language.GERMAN)
    german = read(client, tub, Language.GERMAN)
    assert "Mehr über den Whirlpool" in german and "the tub" not in german.lower()
    assert "Der Plan für den Whirlpool" in read(client, f"{tub}/plan", Language.GERMAN)
    english = read(client, f"{tub}/plan", Language.ENGLISH)
    assert "The plan for the tub" in english and "The plan for The tub" not in english


def test_a_name_of_the_keepers_own_stays_as_it_is() -> None:
    with speaking(Language.GERMAN):
        assert (tub_named("Larch"), tub_named("The tub", "dative")) == ("Larch", "dem Whirlpool")


@pytest.mark.parametrize("litres", ["5", "99", "40000", "20 US gal"])
def test_what_no_tub_holds_is_refused(client: TestClient, litres: str) -> None:
    answer = client.post("/first", data={"sanitizer": "bromine", "litres": litres})
    assert answer.status_code == 422 and "Expected: 100 to 30000 L" in answer.text


def test_litres_that_cannot_be_read_are_told_that_a_number_alone_will_do(client: TestClient) -> None:
    for spoken, told in ((Language.ENGLISH, "litres, such as 1300, or"), (Language.GERMAN, "Liter, etwa 1300, oder")):
        data = {"sanitizer": "bromine", "litres": "abc"}
        answer = client.post("/first", data=data, headers={"Accept-Language": spoken})
        assert answer.status_code == 422 and told in answer.text


def test_the_page_asks_as_many_questions_as_it_says(client: TestClient) -> None:
    page = client.get("/first").text
    assert say("first.standfirst").startswith("Five questions")
    assert len(re.findall(r'class="ask"', page)) == 5

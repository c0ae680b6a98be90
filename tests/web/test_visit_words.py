"""What the pages of a visit say: one time at its end, one numbering, every wait handed over, amounts asked back."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient

from tubwater.services.keeping import Keeping
from tubwater.services.ports import Kind
from tubwater.services.visits import Running, Told, Visits, What
from tubwater.tub import StepKind
from web.beside import HIGH_PH
from web.harness import Clock


@pytest.fixture
def larch(keeping: Keeping, tub: str, clock: Clock) -> str:
    """A tub whose plan is acid, its test, and the oxidizer."""
    keeping.record(tub, Kind.TEST, HIGH_PH)
    keeping.record(tub, Kind.NOTICED, {"clarity": "clear"})
    clock.time += timedelta(minutes=5)
    return tub


def until(keeping: Keeping, clock: Clock, tub: str, visit: str, kind: StepKind | None, pause: float = 1.0) -> Running:
    """Does every step, each so many minutes after the one before, up to the first of a kind."""
    visits = Visits(keeping)
    while (turn := visits.show(tub, visit).turn) and turn.step.kind is not kind:
        clock.time = turn.due or clock.time + timedelta(minutes=pause)
        if turn.step.kind is StepKind.TEST:
            visits.tell(tub, visit, Told(What.RETEST, turn.key, test={"method": "strip", "bromine": 3, "pH": 7.5}))
        elif turn.due is None:
            visits.tell(tub, visit, Told(What.DONE, turn.key))
    return visits.show(tub, visit)


def shown(client: TestClient, path: str, language: str = "en") -> str:
    text = client.get(path, headers={"accept-language": language}).text
    return text.replace("&nbsp;", " ").replace("\xa0", " ")


def page_of(client: TestClient, tub: str, visit: str, language: str = "en") -> str:
    return shown(client, f"/tubs/{tub}/visit/{visit}", language)


def listed(page: str) -> str:
    """The list of all steps."""
    return page.partition("All steps</summary>")[2].partition("</details>")[0]


def test_the_end_of_a_visit_and_the_page_of_the_tub_name_the_same_time(
    client: TestClient, keeping: Keeping, clock: Clock, larch: str
) -> None:
    visit = Visits(keeping).begin(larch)
    until(keeping, clock, larch, visit, None, pause=4.0)
    end, tub = page_of(client, larch, visit), shown(client, f"/tubs/{larch}")
    counts = re.search(r"Test the water, from (.*?) on:", tub)
    assert counts and keeping.case(larch).in_monopersulfate_window
    assert f"tested {counts[1]} or later" in end and f"Come back {counts[1]}." in end


@pytest.mark.parametrize("what", ["not in hand", "skipped"])
def test_nothing_is_waited_for_nor_corrected_where_a_dose_is_not_in(
    client: TestClient, keeping: Keeping, clock: Clock, larch: str, what: str
) -> None:
    visit = Visits(keeping).begin(larch)
    state = until(keeping, clock, larch, visit, StepKind.DOSE)
    assert state.turn is not None
    client.post(f"/tubs/{larch}/visit/{visit}", data={"what": what, "step": state.turn.key, "key": "k"})
    page = page_of(client, larch, visit)
    assert 'data-screen="wait"' not in page and "It was another amount" not in page


def test_the_list_of_all_steps_has_the_numbers_of_the_head_and_marks_the_step_whose_turn_it_is(
    client: TestClient, keeping: Keeping, clock: Clock, larch: str
) -> None:
    visit = Visits(keeping).begin(larch)
    state, seen = until(keeping, clock, larch, visit, StepKind.DOSE), 0
    while state.turn is not None and seen < 5:
        page = page_of(client, larch, visit)
        head = re.search(r"Step (\d+) of (\d+)", page)
        numbers = re.findall(r'<li value="(\d+)"', listed(page))
        assert head and numbers == [str(n + 1) for n in range(int(head[2]))]
        (current,) = re.findall(r'<li(?: value="(\d+)")? aria-current="step"', listed(page))
        assert current == ("" if state.turn.step.kind is StepKind.WAIT else head[1])
        clock.time = state.turn.due or clock.time
        if state.turn.due is None:
            what = What.SKIPPED if state.turn.step.kind is StepKind.TEST else What.DONE
            Visits(keeping).tell(larch, visit, Told(what, state.turn.key))
        state, seen = Visits(keeping).show(larch, visit), seen + 1


def test_checks_that_nobody_made_are_marked_as_left_out_at_the_end(
    client: TestClient, keeping: Keeping, clock: Clock, larch: str
) -> None:
    visit = Visits(keeping).begin(larch)
    state = until(keeping, clock, larch, visit, StepKind.COVER)
    assert "Not checked yet" in page_of(client, larch, visit) and state.beside
    state = until(keeping, clock, larch, visit, None)
    marked = listed(page_of(client, larch, visit)).count('<span class="second">left out</span>')
    assert marked == sum(s.beside and not s.answered for s in state.steps) > 0


def test_who_takes_over_reads_the_waits_and_the_round_says_who_it_is(
    client: TestClient, keeping: Keeping, clock: Clock, larch: str
) -> None:
    visit = Visits(keeping).begin(larch)
    until(keeping, clock, larch, visit, StepKind.WAIT)
    assert "A visit is under way, begun 12:05" in shown(client, "/")
    Visits(keeping).tell(larch, visit, Told(What.LEFT, to="Ben"))
    page = page_of(client, larch, visit).partition("What is left")[2].partition("Take it up")[0]
    assert "Wait 20 minutes" in page and "(until 12:" in page and "suction covers" in page.lower()
    assert "Handed over to Ben, begun 12:05" in shown(client, "/")
    assert "Übergeben an Ben, begonnen 12:05" in shown(client, "/", "de")
    assert "Handed over to Ben" in shown(client, f"/tubs/{larch}")
    Visits(keeping).tell(larch, visit, Told(What.TAKEN_UP))
    assert "A visit is under way" in shown(client, "/")


@pytest.mark.parametrize(
    ("language", "only", "also"),
    [("en", "Weighed, with its unit", "or weighed"), ("de", "Gewogen, mit Einheit", "oder gewogen")],
)
def test_what_is_weighed_alone_is_not_asked_for_with_or(
    client: TestClient, keeping: Keeping, clock: Clock, larch: str, language: str, only: str, also: str
) -> None:
    acid, shelf = (
        {"name": "acid", "substance": "sodium bisulfate", "strength": "93 %"},
        keeping.newest(larch, Kind.SHELF),
    )
    assert shelf is not None
    keeping.describe(larch, Kind.SHELF, {"product": [acid]}, shelf.entry.id)
    visit = Visits(keeping).begin(larch)
    state = until(keeping, clock, larch, visit, StepKind.DOSE)
    assert state.turn is not None and state.turn.step.amount is not None
    page = page_of(client, larch, visit, language)
    assert only in page and also not in page
    told = {"what": "other amount", "step": state.turn.key, "amount": "a handful", "key": "k"}
    wrong = client.post(f"/tubs/{larch}/visit/{visit}", data=told, headers={"accept-language": language})
    assert wrong.status_code == 422 and f"<b>{only}" in wrong.text and "a handful" in wrong.text


def test_an_amount_that_is_far_off_is_kept_and_asked_back_once(
    client: TestClient, keeping: Keeping, clock: Clock, larch: str
) -> None:
    visit = Visits(keeping).begin(larch)
    state = until(keeping, clock, larch, visit, StepKind.DOSE)
    assert state.turn is not None
    address, step = f"/tubs/{larch}/visit/{visit}", state.turn.key
    client.post(address, data={"what": "other amount", "step": step, "amount": "8000 g", "key": "a"})
    page = page_of(client, larch, visit)
    assert "You entered 8 kg; the step says" in page and "Is that right?" in page
    assert page.count(f'id="amount-{step}"') == 1
    assert "Eingetragen sind 8 kg" in page_of(client, larch, visit, "de")
    client.post(address, data={"what": "answered", "step": step, "key": "b"})
    assert "Is that right?" not in page_of(client, larch, visit)
    assert [a.grams for a in Visits(keeping).show(larch, visit).added] == [8000.0]
    client.post(address, data={"what": "other amount", "step": step, "amount": "20 g", "key": "c"})
    assert [a.grams for a in Visits(keeping).show(larch, visit).added] == [20.0]

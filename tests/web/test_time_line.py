"""The time line at the head of a plan: each mark has the time at which its first step begins, and none is covered."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise

import pytest
from fastapi.testclient import TestClient

from tubwater.web.plans import Row, Stop, rows_of, stops_of
from web.world import World


@pytest.fixture(scope="module")
def world() -> World:
    return World()


def line(world: World, tub: str) -> tuple[list[Row], list[Stop], Stop]:
    desk = world.app.state.desk
    plan = desk.answers.plan(tub)
    rows = rows_of(desk, plan)
    return (rows, *stops_of(desk, plan, rows))


@pytest.mark.parametrize("tub", ["larch", "rowan", "alder"])
def test_a_mark_has_the_time_of_its_first_step(world: World, tub: str) -> None:
    rows, stops, _ = line(world, tub)
    begins = {row.number: row.at for row in rows if row.number}
    assert stops and all(stop.at == begins[int(stop.numbers.split("–")[0])] for stop in stops)


@pytest.mark.parametrize("tub", ["larch", "rowan", "alder"])
def test_every_mark_shows_its_time_and_no_two_times_cover_each_other(world: World, tub: str) -> None:
    _, stops, end = line(world, tub)
    told = [*stops, end]
    for place, one in enumerate(told):
        for other in told[place + 1 :]:
            apart = one.span[1] < other.span[0] or other.span[1] < one.span[0]
            assert apart or one.line != other.line
    assert all(stop.span[0] >= 0.0 and stop.span[1] <= 100.0 for stop in told)


def test_the_day_is_told_where_it_is_another(world: World) -> None:
    _, stops, end = line(world, "alder")
    days: list[datetime] = [stop.at for stop in (*stops, end)]
    assert days[-1] - days[0] > timedelta(days=1)
    changed = [False, *(one.date() != before.date() for before, one in pairwise(days))]
    assert [stop.dated for stop in (*stops, end)] == changed


def test_the_page_draws_each_time(world: World) -> None:
    _, stops, end = line(world, "rowan")
    page = TestClient(world.app).get("/tubs/rowan/plan").text
    drawn = page[page.index('class="tl"') : page.index("</svg>", page.index('class="tl"'))]
    assert all(f">{stop.at:%H:%M}<" in drawn for stop in (*stops, end))

"""The trial itself: its hidden tubs keep their books, luck is shared, and the guide doses as a label would."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from trial.keeping import Choices, Kept, Moment, Scene, keep, scene_of
from trial.luck import draw_soaks
from trial.oracle import Oracle
from trial.orders import Orders
from trial.policies import Guide
from trial.score import score
from trial.tank import ROWS, Tank

from tubwater.tub import Dosed, Event, FeederSet, Soaked
from tubwater.tub import Tested as Readings

CHOICES = Choices(weeks=2)
ROW = {name: i for i, name in enumerate(ROWS)}
CHARGE = {"Ca": 2, "Mg": 2, "Na": 1, "K": 1, "Cl": -1, "SO4": -2, "Br": -1, "MPS": -1}


class Nothing:
    """A keeper who only looks."""

    def visit(self, moment: Moment) -> Orders:
        return Orders()

    def entry(self, moment: Moment, extra: Sequence[Event]) -> bool | None:
        return None

    def covers(self, moment: Moment, test: Readings) -> dict[str, bool]:
        return {}


@pytest.fixture(scope="module")
def scene() -> Scene:
    return scene_of(1, CHOICES)


@pytest.fixture
def tank(scene: Scene) -> Tank:
    return Tank.filled(scene.nature, scene.start, scene.start_ph, Oracle())


def total(tank: Tank, *names: str) -> float:
    """Mol of some rows in the whole tub."""
    return float(sum(tank.x[ROW[name], 0] for name in names) * tank.litres[0])


def test_a_filled_tub_has_the_ph_that_it_was_brought_to(scene: Scene, tank: Tank) -> None:
    assert tank.ph[0] == pytest.approx(scene.start_ph, abs=0.01)


def test_covered_and_unfed_only_what_reacts_or_leaves_changes(tank: Tank) -> None:
    tank.grams = np.zeros(1)
    tank.dose("monopersulfate", 20.0)
    kept = [("Na",), ("K",), ("Mg",), ("Cl",), ("DMH",), ("SO4", "MPS"), ("Br", "OX"), ("Ca", "SCALE")]
    before = [total(tank, *names) for names in kept]
    for hour in range(72):
        tank.step(float(hour), 1.0, tank.covered)
    after = [total(tank, *names) for names in kept]
    assert after == pytest.approx(before, rel=1e-9)


def test_demand_and_halogen_are_used_up_mol_by_mol(tank: Tank) -> None:
    tank.nature = replace(tank.nature, decay=0.0, growth=0.0)
    tank.grams = np.zeros(1)
    tank.bathe(1.0, 0, 0.0)
    before = total(tank, "OX") - total(tank, "FAST", "LAG")
    for hour in range(48):
        tank.step(float(hour), 1.0, tank.covered)
    assert total(tank, "OX") - total(tank, "FAST", "LAG") == pytest.approx(before, abs=1e-9)


def test_one_acid_is_left_for_each_halogen_used(tank: Tank) -> None:
    tank.grams = np.zeros(1)
    tank.nature = replace(tank.nature, evaporation=0.0)

    def alkalinity() -> float:
        return float(sum(z * tank.x[ROW[n], 0] for n, z in CHARGE.items()))

    before, had, scale = alkalinity(), float(tank.x[ROW["OX"], 0]), float(tank.x[ROW["SCALE"], 0])
    for hour in range(48):
        tank.step(float(hour), 1.0, tank.covered)
    used = had - float(tank.x[ROW["OX"], 0])
    precipitated = float(tank.x[ROW["SCALE"], 0]) - scale
    assert used > 0.0
    assert before - alkalinity() == pytest.approx(used + 2.0 * precipitated, rel=1e-6)


def test_tablets_give_two_oxidizing_equivalents_and_one_bromine(tank: Tank) -> None:
    tank.dose("bcdmh", 0.0)
    ox, bromine = total(tank, "OX"), total(tank, "OX", "Br")
    tank.dose("bcdmh", 24.1472)
    assert (total(tank, "OX") - ox) * 0.993 == pytest.approx(0.2, rel=1e-3)
    assert (total(tank, "OX", "Br") - bromine) * 0.993 == pytest.approx(0.1, rel=1e-3)


def test_the_frozen_batch_follows_the_reference_code_through_a_dose_and_a_day(tank: Tank) -> None:
    batch = tank.batch(3)
    for each in (tank, batch):
        each.dose("sodium-bisulfate", 20.0)
        each.refresh(0.0)
        for hour in range(24):
            each.step(float(hour), 1.0, each.covered)
    assert batch.ph == pytest.approx(np.repeat(tank.ph, 3), abs=0.02)
    assert batch.bromine == pytest.approx(np.repeat(tank.bromine, 3), rel=1e-3)
    assert batch.index == pytest.approx(np.repeat(tank.index, 3), abs=0.03)


def test_scale_grows_only_out_of_oversaturated_water(tank: Tank) -> None:
    hard = replace(tank, x=tank.x.copy())
    hard.x[ROW["Ca"]] *= 4.0
    hard.x[ROW["Cl"]] += 2.0 * 0.75 * hard.x[ROW["Ca"]]
    for each in (tank, hard):
        each.refresh(0.0)
        for hour in range(48):
            each.step(float(hour), 1.0, 0.5)
    grown = [float(each.x[ROW["SCALE"], 0]) for each in (tank, hard)]
    assert grown[1] > grown[0]
    assert grown[1] > 1e-6


def test_every_policy_meets_the_same_luck(scene: Scene) -> None:
    idle, guided = keep(scene, Nothing(), CHOICES), keep(scene, Guide(), CHOICES)
    assert soaks(idle) == soaks(guided)
    first = [next(e for e in kept.events if isinstance(e, Readings)) for kept in (idle, guided)]
    assert first[0] == first[1]


def soaks(kept: Kept) -> list[Event]:
    """When people were in, as logged."""
    return [e for e in kept.events if isinstance(e, Soaked)]


def test_the_same_seed_gives_the_same_life(scene: Scene) -> None:
    assert keep(scene, Guide(), CHOICES).hours == keep(scene, Guide(), CHOICES).hours


def test_a_longer_trial_begins_like_a_shorter_one() -> None:
    short, long = scene_of(3, CHOICES), scene_of(3, replace(CHOICES, weeks=5))
    assert short.nature.bather == long.nature.bather
    assert short.soaks == tuple(s for s in long.soaks if s.hour < 24.0 * 14)


def test_the_guide_doses_by_the_plate_and_the_label(scene: Scene) -> None:
    kept = keep(scene, Guide(), CHOICES)
    per = scene.tub.litres / 1000.0
    tests = [e for e in kept.events if isinstance(e, Readings)]
    for test in tests:
        read = {str(r.quantity): r.value for r in test.readings}
        at_visit = [e for e in kept.events if isinstance(e, Dosed) and 0 <= (e.at - test.at).total_seconds() < 7200]
        grams = {e.product: e.grams for e in at_visit}
        low = read["total alkalinity"] < 80.0
        assert grams.get("bicarbonate", 0.0) == pytest.approx(
            1.7 * (100.0 - read["total alkalinity"]) * per if low else 0.0
        )
        assert grams.get("oxidizer", 0.0) == pytest.approx(0.0 if read["bromine"] >= 10.0 else 30.0 * per)
    assert sum(isinstance(e, FeederSet) for e in kept.events) == len(tests)


def test_a_soak_that_nobody_notes_is_in_no_logbook(scene: Scene) -> None:
    silent = replace(scene, soaks=tuple(replace(s, logged=False) for s in scene.soaks))
    kept = keep(silent, Guide(), CHOICES)
    assert soaks(kept) == []
    assert len(kept.soaks) == len(scene.soaks) > 0


def test_shares_of_hours_are_shares_and_the_whole_is_the_least(scene: Scene) -> None:
    shares = score(keep(scene, Guide(), CHOICES), CHOICES).shares["all"]
    assert all(0.0 <= share <= 1.0 for share in shares.values())
    assert shares["in band"] <= min(shares[name] for name in ("bromine", "pH", "alkalinity", "index"))


def test_households_bathe_as_often_as_they_are_drawn_to(scene: Scene) -> None:
    drawn = draw_soaks(scene.house, np.random.default_rng(1), 0, 700)
    assert len(drawn) / 100.0 == pytest.approx(scene.house.per_week, rel=0.15)


class Anxious(Nothing):
    """A keeper whose plans ask for a look the next day, always."""

    def visit(self, moment: Moment) -> Orders:
        return Orders(back_after=22.0)


@pytest.mark.parametrize(("returns", "most", "visits"), [(0.0, 2, 2), (1.0, 2, 6), (1.0, 1, 4)])
def test_the_looks_that_a_plan_asks_for_are_made_up_to_so_many_between_two_visits(
    returns: float, most: int, visits: int
) -> None:
    choices = replace(CHOICES, returns=returns, looks=most)
    assert keep(scene_of(1, choices), Anxious(), choices).visits == visits

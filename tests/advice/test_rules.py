"""Rules that nothing may break, over wide random tubs, shelves and readings."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tubwater.advice import Wishes, judge
from tubwater.advice.safety import cap_grams
from tubwater.facts import Quantity, incompatible
from tubwater.facts.quantity import OxidantScale
from tubwater.services import case_of, plan_for
from tubwater.tub import (
    Answer,
    Clarity,
    Dosed,
    Equipment,
    Measure,
    MeasureKind,
    Noticed,
    Plan,
    Product,
    Reading,
    Sanitizer,
    Shelf,
    Sign,
    Soaked,
    StepKind,
    Tub,
    VerdictKind,
)
from tubwater.tub import Tested as Readings

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
MEMBERS = 64
POTS = (
    ("sodium-bisulfate", 0.93),
    ("hydrochloric-acid", 0.3),
    ("sodium-bicarbonate", 0.99),
    ("sodium-carbonate", 0.99),
    ("monopersulfate", 0.88),
    ("sodium-hypochlorite", 0.1),
    ("bcdmh", 0.96),
    ("trichlor", 0.9),
    ("hydrogen-peroxide", 0.1),
)


@st.composite
def shelves(draw: st.DrawFn) -> Shelf:
    chosen = draw(st.lists(st.sampled_from(POTS), unique=True))
    grams = draw(st.sampled_from([1.0, 5.0, 10.0, 30.0]))
    kind = draw(st.sampled_from([MeasureKind.SCOOP, MeasureKind.SCALE]))
    measure = (
        Measure(kind, grams if kind is MeasureKind.SCOOP else 1.0, step=0.5 if kind is MeasureKind.SCOOP else 1.0),
    )
    return Shelf(tuple(Product(key, key, strength, measure) for key, strength in chosen))


@st.composite
def tubs(draw: st.DrawFn) -> Tub:
    pump = draw(st.booleans())
    return Tub(
        "any",
        draw(st.floats(400.0, 6000.0)),
        draw(st.sampled_from([Sanitizer.BROMINE, Sanitizer.BROMINE, Sanitizer.CHLORINE])),
        equipment=Equipment(pump=pump, water_jets=pump, air_jets=pump),
        temperature=draw(st.sampled_from([20.0, 36.0, 38.0, 40.0, 41.0])),
    )


@st.composite
def logbooks(draw: st.DrawFn, tub: Tub, shelf: Shelf) -> list[object]:
    at = NOW - timedelta(hours=draw(st.sampled_from([0.0, 0.5, 3.0, 20.0, 40.0])))
    method = draw(st.sampled_from(["strip", "photometer"]))
    strip = method == "strip"
    active = draw(st.sampled_from([0.0, 1.0, 2.0, 3.0, 5.0, 10.0] if strip else [0.5, 2.2, 3.4, 4.8, 7.9]))
    ph = draw(st.sampled_from([6.8, 7.2, 7.5, 7.8, 8.4] if strip else [6.9, 7.1, 7.5, 7.9, 8.15]))
    bromine = tub.sanitizer is Sanitizer.BROMINE
    quantity = Quantity.BROMINE if bromine else Quantity.FREE_CHLORINE
    active = active if bromine or not strip else min(active, 10.0)
    active = 1.0 if not bromine and strip and active == 2.0 else min(active, 4.9 if not bromine and not strip else 10.0)
    scale = OxidantScale.AS_BR2 if bromine else OxidantScale.AS_CL2
    rows = [
        Reading(quantity, active, active, "mg/L", method, at, scale),
        Reading(Quantity.PH, ph, ph, "pH", method, at),
    ]
    if draw(st.booleans()):
        alkalinity = draw(st.sampled_from([0.0, 40.0, 80.0, 120.0, 180.0, 240.0]))
        rows.append(Reading(Quantity.TOTAL_ALKALINITY, alkalinity, alkalinity, "mg/L", "strip", at))
    events: list[object] = [Readings(at, tuple(rows))]
    events.append(
        Noticed(
            NOW,
            draw(st.sampled_from(list(Clarity))),
            draw(st.sampled_from([frozenset(), frozenset(), frozenset({Sign.SLIME}), frozenset({Sign.CONTAMINATION})])),
            draw(st.sampled_from([None, None, 30.0, 200.0])),
            draw(st.sampled_from([Answer.NO, Answer.NO, Answer.UNKNOWN])),
        )
    )
    oxidizers = [p for p in shelf.products if p.substance in ("monopersulfate", "sodium-hypochlorite")]
    if oxidizers and draw(st.booleans()):
        ago = timedelta(minutes=draw(st.sampled_from([5.0, 40.0, 300.0])))
        events.append(Dosed(NOW - ago, oxidizers[0].name, draw(st.floats(1.0, 80.0))))
    if draw(st.booleans()):
        events.append(Soaked(NOW - timedelta(hours=2), draw(st.integers(1, 4)), 30.0))
    return events


@st.composite
def cases(draw: st.DrawFn) -> tuple[Tub, Shelf, list[object], int]:
    tub, shelf = draw(tubs()), draw(shelves())
    return tub, shelf, draw(logbooks(tub, shelf)), draw(st.integers(0, 5))


@settings(suppress_health_check=list(HealthCheck), deadline=None)
@given(cases())
def test_no_plan_and_no_verdict_breaks_a_rule(drawn: tuple[Tub, Shelf, list[object], int]) -> None:
    tub, shelf, events, seed = drawn
    case = case_of(tub, shelf, events, NOW, seed, MEMBERS)  # type: ignore[arg-type]
    plan = plan_for(tub, shelf, events, NOW, Wishes(days=2.0), seed, MEMBERS)  # type: ignore[arg-type]
    verdict = judge(case)
    assert plan.verdict == verdict
    _fit_only_with_both_locks(tub, events, plan)
    _steps_keep_the_rules(tub, shelf, plan, float(np.median(case.rates.litres)))
    assert plan.fit_when


def _fit_only_with_both_locks(tub: Tub, events: list[object], plan: Plan) -> None:
    verdict = plan.verdict
    if verdict.kind is not VerdictKind.FIT:
        assert verdict.good_until == verdict.as_of
        assert verdict.people == 0
        return
    noticed = next(e for e in events if isinstance(e, Noticed))
    test = next(e for e in events if isinstance(e, Readings))
    assert tub.temperature <= 40.0
    assert noticed.clarity is Clarity.CLEAR
    assert not noticed.signs
    assert noticed.unlogged_soak is Answer.NO
    assert (noticed.lapse_hours or 0.0) <= 24.0
    assert NOW - test.at <= timedelta(hours=24)
    assert 3.0 <= test.readings[0].value <= 10.0
    assert 7.0 <= test.readings[1].value <= 8.0
    assert verdict.probability_sanitizer >= 0.95
    assert verdict.probability_ph >= 0.90
    assert NOW < verdict.good_until <= test.at + timedelta(hours=24)


def _steps_keep_the_rules(tub: Tub, shelf: Shelf, plan: Plan, litres: float) -> None:
    pots = {p.name: p for p in shelf.products}
    added = [s for s in plan.steps if s.kind is StepKind.DOSE]
    for step in added:
        assert step.amount is not None
        pot = pots[step.amount.product]
        assert 0.0 < step.amount.grams <= cap_grams(pot, litres) * (1.0 + 1e-9)
        assert step.expected
        assert step.cautions
        assert step.amount.substance not in ("trichlor", "hydrogen-peroxide")
    starts = [s.starts_at for s in added]
    assert all(later - earlier >= 20.0 for earlier, later in pairwise(starts))
    used = {s.amount.substance for s in added if s.amount}
    acids, bases = {"sodium-bisulfate", "hydrochloric-acid"}, {"sodium-bicarbonate", "sodium-carbonate"}
    assert not (used & acids and used & bases)
    assert incompatible("bcdmh", "trichlor") is not None
    if tub.sanitizer is Sanitizer.CHLORINE:
        assert not any(s.kind is StepKind.SET_FEEDER for s in plan.steps)

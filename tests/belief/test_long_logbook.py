"""The belief over a long logbook: checkpoints, late entries, refills, years, what was learned and what changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from tubwater.belief import Belief, ChangeKind, Observer, Products, believe, changes, foretell, happenings, learned
from tubwater.belief.readings import own_rows
from tubwater.facts import Quantity, substances
from tubwater.facts.quantity import OxidantScale
from tubwater.tub import Answer, Dosed, Drained, Event, FeederSet, Filled, Noticed, Reading, Sanitizer, Soaked, Tub
from tubwater.tub import Tested as Readings

START = datetime(2026, 1, 5, 9, 0, tzinfo=UTC)
TUB = Tub("cabin", 1300.0, Sanitizer.BROMINE)
OXIDIZER = substances()["monopersulfate"].composition.scaled(0.88)
TABLET = substances()["bcdmh"].composition.scaled(0.96)
PRODUCTS = Products({"oxidizer": OXIDIZER, "tablets": TABLET}, TABLET, 20.0)
MEMBERS = 120


class Kept(dict[str, bytes]):
    """A place for checkpoints that counts what is put into it."""

    def put(self, key: str, value: bytes) -> None:
        self[key] = value


def day(number: float) -> datetime:
    return START + timedelta(days=number)


def a_test(at: datetime, bromine: float, ph: float = 7.5, method: str = "strip", alkalinity: float = 80.0) -> Readings:
    return Readings(
        at,
        (
            Reading(Quantity.BROMINE, bromine, bromine, "mg/L", method, at, OxidantScale.AS_BR2),
            Reading(Quantity.PH, ph, ph, "pH", method, at),
            Reading(Quantity.TOTAL_ALKALINITY, alkalinity, alkalinity, "mg/L", "strip", at),
        ),
    )


def a_week(number: int, bromine: float = 3.0) -> list[Event]:
    start = 7.0 * number
    return [
        a_test(day(start), bromine),
        Dosed(day(start + 0.02), "oxidizer", 20.0, spread=0.2),
        FeederSet(day(start + 0.03), "tablets", 3, 0.5),
        Soaked(day(start + 2.5), 2, 30.0),
        Soaked(day(start + 4.5), 2, 30.0),
    ]


def weeks(count: int) -> list[Event]:
    return [event for number in range(count) for event in a_week(number, (3.0, 1.0, 5.0)[number % 3])]


def held(
    events: Sequence[Event], until: datetime, kept: Kept | None = None, members: int = MEMBERS, tub: Tub = TUB
) -> Belief:
    return believe(tub, PRODUCTS, events, until, seed=5, members=members, checkpoints=kept)


def same(first: Belief, second: Belief) -> bool:
    arrays = [(b.latent, b.state.water.totals, b.state.ph, b.noise, b.rates.litres) for b in (first, second)]
    return all(np.array_equal(x, y) for x, y in zip(*arrays, strict=True))


def test_entry_by_entry_from_checkpoints_equals_the_whole_replay_to_the_bit() -> None:
    events, kept = weeks(6), Kept()
    for event in events:
        stepwise = held([e for e in events if e.at <= event.at], event.at, kept)
    assert same(stepwise, held(events, events[-1].at))
    assert stepwise.suspects == held(events, events[-1].at).suspects


def test_a_new_test_starts_at_the_last_checkpoint_and_not_at_the_beginning() -> None:
    events, kept = weeks(3), Kept()
    held(events, day(20.9), kept)
    asked: list[str] = []

    class Watched(Kept):
        def get(self, key: str, default: bytes | None = None) -> bytes | None:  # type: ignore[override]
            asked.append(key)
            return kept.get(key, default)

    watched = Watched()
    held([*events, a_test(day(21.0), 3.0)], day(21.0), watched)
    assert len(asked) == 2  # the key after the new test is not there, the one before it is
    assert len(watched) == 1  # and one update was made


def test_a_late_entry_changes_the_belief_and_equals_the_replay() -> None:
    events, kept = weeks(4), Kept()
    before = held(events, day(27.5), kept)
    late = [*events, Soaked(day(17.5), 6, 90.0)]
    after = held(late, day(27.5), kept)
    assert same(after, held(late, day(27.5)))
    assert not same(after, before)


def test_a_corrected_reading_equals_the_replay_of_the_corrected_past() -> None:
    events, kept = weeks(3), Kept()
    held(events, day(20.0), kept)
    right = [a_test(e.at, 10.0) if isinstance(e, Readings) and e.at == day(7.0) else e for e in events]
    assert same(held(right, day(20.0), kept), held(right, day(20.0)))


def test_the_order_in_which_entries_are_handed_over_does_not_matter() -> None:
    events = weeks(2)
    assert same(held(events, day(13.0)), held(events[::-1], day(13.0)))


def test_what_stands_in_another_tub_or_is_damaged_is_not_used() -> None:
    events, kept = weeks(2), Kept()
    held(events, day(13.0), kept)
    bigger = replace(TUB, litres=2000.0)
    assert same(held(events, day(13.0), kept, tub=bigger), held(events, day(13.0), tub=bigger))
    spoiled = Kept({key: value[: len(value) // 2] for key, value in kept.items()})
    assert same(held(events, day(13.0), spoiled), held(events, day(13.0)))
    nonsense = Kept({key: b"nonsense" for key in kept})
    assert same(held(events, day(13.0), nonsense), held(events, day(13.0)))


def test_asking_in_between_leaves_later_answers_alone() -> None:
    events, kept = weeks(3), Kept()
    for hour in (1.0, 8.3, 13.9):
        held(events, day(hour), kept)
    assert same(held(events, day(20.0), kept), held(events, day(20.0)))


def test_a_year_is_survived_with_members_that_differ() -> None:
    events = weeks(52)
    belief = held(events, events[-1].at, members=150)
    assert belief.info is not None
    assert belief.info.distinct > 0.3
    assert np.isfinite(belief.state.water.totals).all()
    assert np.std(np.log(belief.rates.litres)) > 0.01
    assert 6.0 < np.median(belief.state.ph) < 9.0


def test_drift_brings_an_unwatched_tub_back_to_the_ordinary_one() -> None:
    sure = held(weeks(4), day(28.0), members=300)
    later = held(weeks(4), day(28.0 + 700.0), members=300)
    names = ("idle_decay_per_day", "kla_covered_per_h")
    for name in names:
        row = sure.prior.names.index(name)
        assert np.std(later.latent[row]) > np.std(sure.latent[row]) - 0.1
        assert np.std(later.latent[row]) == pytest.approx(1.0, abs=0.35)
    row = sure.prior.names.index("volume_factor")
    assert np.array_equal(sure.latent[row], later.latent[row])


def test_a_refill_brings_fresh_water_and_keeps_what_is_known_of_the_tub() -> None:
    metered = Filled(day(1.0), litres=1150.0)
    before = held([*weeks(1)[:1], metered], day(1.0), members=300)
    low, median, high = np.quantile(before.rates.litres, (0.05, 0.5, 0.95))
    assert median == pytest.approx(1150.0, rel=0.03)
    assert high / low < 1.15
    assert (Observer(before.state).read(Quantity.BROMINE) < 0.01).all()
    after = held([*weeks(1)[:1], metered, Filled(day(30.0))], day(31.0), members=300)
    assert np.median(after.rates.litres) == pytest.approx(median, rel=0.02)
    assert (after.state.water.bromide < 1e-6).all()


def test_a_drain_dilutes_the_bank() -> None:
    events: list[Event] = [a_test(day(0.0), 3.0), Drained(day(0.5), 400.0)]
    with_drain, without = held(events, day(1.0)), held(events[:1], day(1.0))
    share = np.median(with_drain.state.water.bromide) / np.median(without.state.water.bromide)
    assert share == pytest.approx(1.0 - 400.0 / np.median(without.rates.litres), abs=0.05)


def test_a_dose_that_nobody_is_sure_of_stays_both_in_the_belief_until_a_test() -> None:
    maybe = Dosed(day(0.1), "oxidizer", 60.0, spread=0.05, certain=False)
    open_question = held([a_test(day(0.0), 3.0), maybe], day(0.9), members=400)
    spread = np.std(Observer(open_question.state).read(Quantity.BROMINE))
    assert spread > np.std(Observer(held([a_test(day(0.0), 3.0)], day(0.9), members=400).state).read(Quantity.BROMINE))
    told = [a_test(day(0.0), 3.0), maybe, a_test(day(0.9), 10.0, method="photometer")]
    assert np.median(Observer(held(told, day(0.9), members=400).state).read(Quantity.BROMINE)) > 7.0


def test_a_soak_that_nobody_noted_is_believed_more_where_somebody_says_so() -> None:
    base: list[Event] = [a_test(day(0.0), 5.0, method="photometer")]
    owed = {}
    for answer in Answer:
        belief = held([*base, Noticed(day(0.4), unlogged_soak=answer)], day(0.5), members=400)
        owed[answer] = float(np.mean(Observer(belief.state).read(Quantity.BROMINE)))
    assert owed[Answer.YES] < owed[Answer.UNKNOWN] < owed[Answer.NO]


def test_a_blunder_moves_the_belief_little_and_is_told() -> None:
    good: list[Event] = [a_test(day(d), 4.0, method="photometer") for d in (0.0, 0.2, 0.4)]
    odd = a_test(day(0.5), 0.1, method="photometer")
    belief = held([*good, odd], day(0.5), members=400)
    assert "bromine" in belief.suspects
    assert np.median(Observer(belief.state).read(Quantity.BROMINE)) > 2.5


def test_the_line_holds_two_slots_for_drift_each_week_and_names_do_not_depend_on_what_is_late() -> None:
    line = happenings(weeks(8), day(56.0))
    drift = [h for h in line if h.what == "drift"]
    assert len(drift) == 16
    more = happenings([*weeks(8), Soaked(day(3.0), 1, 10.0)], day(56.0))
    assert {h.identity for h in line} < {h.identity for h in more}
    assert [h.at for h in more] == sorted(h.at for h in more)


def test_two_entries_that_are_alike_have_different_names() -> None:
    twice = [Soaked(day(0.0), 2, 30.0), Soaked(day(0.0), 2, 30.0)]
    assert len({h.identity for h in happenings(twice, day(0.1))}) == 2


def test_volume_is_learned_from_doses_that_were_weighed() -> None:
    """A weighed dose of alkalinity read by titration before and after tells the litres."""
    bicarbonate = substances()["sodium-bicarbonate"].composition
    products = replace(PRODUCTS, compositions={**PRODUCTS.compositions, "bicarbonate": bicarbonate})
    litres, grams = 1050.0, 150.0
    rise = grams * bicarbonate.alkalinity * 50.044e3 / litres
    events: list[Event] = []
    level = 60.0
    for step in range(3):
        events.append(_titrated(day(step), level))
        level += rise
        events.append(Dosed(day(step + 0.1), "bicarbonate", grams, spread=0.02))
        events.append(_titrated(day(step + 0.3), level))
    belief = believe(TUB, products, events, day(3.0), seed=1, members=500)
    found = learned(belief).of("litres")
    assert found.low < litres < found.high
    assert abs(found.median - litres) < abs(found.prior_median - litres)
    assert found.known > 0.15


def _titrated(at: datetime, alkalinity: float) -> Readings:
    value = 10.0 * round(alkalinity / 10.0)
    return Readings(at, (Reading(Quantity.TOTAL_ALKALINITY, value, value, "mg/L", "drop-titration", at),))


def test_what_was_learned_is_ordered_and_stands_beside_what_was_assumed() -> None:
    found = learned(held(weeks(3), day(20.0)))
    assert found.litres_stated == 1300.0
    for value in found.values:
        assert 0.0 < value.low <= value.median <= value.high
        assert value.prior_low < value.prior_median < value.prior_high
        assert 0.0 <= value.known <= 1.0
    assert 0.0 < found.feeder_now[0] < found.feeder_now[1] < found.feeder_now[2]
    assert learned(held([], day(0.0))).feeder_now == (0.0, 0.0, 0.0)


def test_nothing_is_told_of_a_tub_that_goes_on_as_ever() -> None:
    assert changes(held(weeks(8), day(56.0), members=300)) == ()


def idle(until: float, changed_at: float, before: float, after: float, litres: float = 1190.0) -> list[Event]:
    """A closed tub, read by photometer, that loses a share of its bromine a day; 30 g twice a week if it needs them."""
    rise = 30.0 * OXIDIZER.oxidant * 159.808e3 / litres
    level, at, events = 2.0, 0.0, [_photometer(day(0.0), 2.0)]
    while at < until:
        if level < 6.0:
            events.append(Dosed(day(at + 0.02), "oxidizer", 30.0, spread=0.03))
            level += rise
        for step in (1.0, 1.5, 1.0):
            level *= np.exp(-step * (before if at < changed_at else after))
            at += step
            events.append(_photometer(day(at - 0.01), level))
    return events


def _photometer(at: datetime, bromine: float) -> Readings:
    value = round(bromine, 1)
    reading = Reading(Quantity.BROMINE, value, value, "mg/L", "photometer", at, OxidantScale.AS_BR2)
    return Readings(at, (reading,))


def test_a_tub_that_suddenly_holds_its_bromine_is_noticed_and_told_after_the_window_has_closed() -> None:
    events = idle(until=41.0, changed_at=24.6, before=0.6, after=0.12)
    kept = Kept()
    known = held([e for e in events if e.at <= day(24.4)], day(24.4), kept, members=600)
    assert changes(known) == ()
    assert np.median(known.value("idle_decay_per_day")) == pytest.approx(0.6, rel=0.2)
    told = held(events, day(41.0), kept, members=600)
    assert (ChangeKind.IDLE_LOSS, -1) in {(change.kind, change.direction) for change in changes(told)}
    assert np.median(told.value("idle_decay_per_day")) == pytest.approx(0.12, rel=0.4)


def test_the_same_tub_without_a_change_is_not_said_to_have_changed() -> None:
    events = idle(until=34.0, changed_at=99.0, before=0.3, after=0.3)
    belief = held(events, day(34.0), members=300)
    assert changes(belief) == ()
    assert np.median(belief.value("idle_decay_per_day")) == pytest.approx(0.3, rel=0.2)


def test_foretelling_hears_nothing() -> None:
    events = weeks(2)
    other = [a_test(e.at, 10.0, 8.4) if isinstance(e, Readings) else e for e in events]
    first, second = (foretell(TUB, PRODUCTS, e, day(13.0), seed=2, members=30) for e in (events, other))
    assert np.array_equal(first.latent, second.latent)
    assert len(first.tests) == 2
    assert own_rows(first.tests[0][1]).shape == (3, 30)

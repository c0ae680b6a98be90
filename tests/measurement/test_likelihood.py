"""A reading becomes a likelihood: rounded, binned, censored, and spoiled by what spoils its method."""

from __future__ import annotations

import dataclasses
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from tubwater.errors import InputError
from tubwater.facts import defaults, methods
from tubwater.measurement import (
    CL2_TO_BR2,
    ReadingContext,
    blunder_probability,
    distinguishes,
    log_likelihood,
    reading_problem,
    sd_of,
    standard_value,
    suffers,
)
from tubwater.tub import OxidantScale, Quantity, Reading

AT = datetime(2026, 3, 1, 12, tzinfo=UTC)
INF = float("inf")
READS = [(m.key, q) for m in methods().values() for q in m.quantities]
IDS = [f"{method} {quantity}" for method, quantity in READS]


def reading(quantity: Quantity, low: float, method: str, high: float | None = None, **more: object) -> Reading:
    """A reading of one value, or of what lies between two."""
    whole = Reading(quantity, low, low if high is None else high, "", method, AT)
    return dataclasses.replace(whole, **more)  # type: ignore[arg-type]


def likelihood(read: Reading, truth: float | np.ndarray, **context: float) -> np.ndarray:
    """The probability of a reading at a true value."""
    arrays = {name: np.atleast_1d(np.asarray(value, float)) for name, value in context.items() if name != "kit_share"}
    whole = ReadingContext(**arrays, kit_share=context.get("kit_share", 0.0))  # type: ignore[arg-type]
    return np.exp(log_likelihood(read, np.atleast_1d(np.asarray(truth, float)), whole))


def shown(method: str, quantity: Quantity) -> np.ndarray:
    """Every value that a kit can show."""
    row = methods()[method].quantities[quantity]
    count = round((row.high - row.low) / row.resolution) + 1
    return np.array(row.steps) if row.steps else row.low + row.resolution * np.arange(count)


@pytest.mark.parametrize(("method", "quantity"), READS, ids=IDS)
@pytest.mark.parametrize("place", [0.0, 0.3, 0.8, 1.4])
@pytest.mark.parametrize("context", [{}, {"bromine": 11.0}, {"bromine": 30.0, "monopersulfate": 6.0}], ids=str)
def test_the_likelihoods_of_all_that_a_kit_can_show_add_up_to_one(
    method: str, quantity: Quantity, place: float, context: dict[str, float]
) -> None:
    row = methods()[method].quantities[quantity]
    truth = row.low + place * (row.high - row.low)
    whole = sum(float(likelihood(reading(quantity, v, method), truth, **context)[0]) for v in shown(method, quantity))
    assert whole == pytest.approx(1.0, abs=2e-3)


@pytest.mark.parametrize(("method", "quantity"), READS, ids=IDS)
def test_a_bin_is_the_integral_of_the_error_over_it(method: str, quantity: Quantity) -> None:
    row = methods()[method].quantities[quantity]
    values = shown(method, quantity)
    read = float(values[values.size // 2])
    truth = read + 0.7 * float(sd_of(row, np.array(read)))
    around = np.concatenate([[-INF], 0.5 * (values[1:] + values[:-1]), [INF]])
    low, high = around[values.size // 2], around[values.size // 2 + 1]
    error = stats.logistic(loc=truth, scale=float(sd_of(row, np.array(truth))) * np.sqrt(3.0) / np.pi)
    good, _ = integrate.quad(error.pdf, low, high, epsabs=1e-12)
    share = defaults()["blunder_share"].value
    blunder = (min(high, row.high) - max(low, row.low)) / (row.high - row.low)
    # even without bromine the smooth onset of purple and bleaching spoils one reading in twenty thousand
    assert likelihood(reading(quantity, read, method), truth)[0] == pytest.approx(
        (1 - share) * good + share * blunder, abs=5e-5
    )


def test_the_error_has_the_one_sigma_that_the_method_states() -> None:
    row = methods()["photometer"].quantities[Quantity.BROMINE]
    values = shown("photometer", Quantity.BROMINE)
    share = defaults()["blunder_share"].value
    weights = np.array([float(likelihood(reading(Quantity.BROMINE, v, "photometer"), 4.0)[0]) for v in values])
    flat = np.gradient(values) / (row.high - row.low)
    flat[[0, -1]] *= 0.5
    good = (weights - share * flat) / (1.0 - share)
    mean = float(good @ values)
    spread = float(np.sqrt(good @ (values - mean) ** 2 - row.resolution**2 / 12.0))
    assert mean == pytest.approx(4.0, abs=0.01)
    assert spread == pytest.approx(0.32, rel=0.01)  # 8 % of 4


@pytest.mark.parametrize(
    ("method", "value", "combined"),
    [("strip", 2.0, 1.0), ("strip", 6.0, 1.8), ("photometer", 0.5, 0.1), ("fas-dpd-drops", 10.0, np.hypot(0.23, 0.4))],
)
def test_absolute_and_relative_parts_combine_as_the_method_says(method: str, value: float, combined: float) -> None:
    row = methods()[method].quantities[Quantity.BROMINE]
    assert float(sd_of(row, np.array(value))) == pytest.approx(combined)


@pytest.mark.parametrize(("method", "quantity"), READS, ids=IDS)
def test_the_likelihood_is_highest_near_what_was_read(method: str, quantity: Quantity) -> None:
    row = methods()[method].quantities[quantity]
    values = shown(method, quantity)
    read = float(values[values.size // 2])
    grid = np.linspace(row.low, row.high, 801)
    best = float(grid[np.argmax(likelihood(reading(quantity, read, method), grid))])
    gap = float(np.max(np.abs(np.diff(values))))
    assert abs(best - read) <= 1.5 * float(sd_of(row, np.array(read))) + gap


def test_a_reading_at_the_top_of_the_range_says_at_least_that_much() -> None:
    grid = np.linspace(0.0, 60.0, 241)
    top = likelihood(reading(Quantity.BROMINE, 45.0, "fas-dpd-drops"), grid)
    assert np.all(np.diff(top) >= -1e-12)
    above = likelihood(reading(Quantity.BROMINE, 10.0, "strip", INF), grid)
    assert np.all(np.diff(above[grid < 14.0]) >= -1e-12)


def test_a_reading_of_zero_says_at_most_so_little() -> None:
    grid = np.linspace(0.0, 12.0, 241)
    zero = likelihood(reading(Quantity.BROMINE, 0.0, "fas-dpd-drops"), grid)
    assert np.all(np.diff(zero) <= 1e-12)
    below = likelihood(reading(Quantity.PH, -INF, "strip", 6.8), np.linspace(5.0, 8.5, 100))
    assert np.all(np.diff(below) <= 1e-12)


def test_between_two_steps_is_the_span_between_them() -> None:
    between = likelihood(reading(Quantity.BROMINE, 3.0, "strip", 5.0), np.array([1.0, 4.0, 9.0]))
    assert between[1] > 5.0 * between[0]
    assert between[1] > 5.0 * between[2]
    first = likelihood(reading(Quantity.BROMINE, 0.0, "strip", 1.0), np.array([0.0, 0.5]))
    assert first[1] > first[0], "between the first two steps is not below the first"


def test_a_value_that_is_no_printed_step_narrows_to_its_neighbours() -> None:
    truth = np.array([2.0, 4.0, 8.0])
    off_step = likelihood(reading(Quantity.BROMINE, 4.0, "strip"), truth)
    assert int(np.argmax(off_step)) == 1


@given(
    st.sampled_from(READS),
    st.floats(0.0, 1.0),
    st.floats(-2.0, 3.0),
    st.floats(0.0, 60.0),
    st.floats(0.0, 30.0),
    st.floats(-3.0, 3.0),
)
def test_a_likelihood_is_a_probability_and_never_rules_a_water_out(
    what: tuple[str, Quantity], place: float, off: float, bromine: float, extra: float, bias: float
) -> None:
    row = methods()[what[0]].quantities[what[1]]
    span = row.high - row.low
    read = reading(what[1], row.low + place * span, what[0])
    value = likelihood(read, row.low + off * span, bromine=bromine, monopersulfate=extra, kit_bias=bias, kit_share=0.6)
    assert 0.0 < value[0] <= 1.0 + 1e-12


def test_a_blunder_explains_what_the_water_cannot() -> None:
    context = ReadingContext()
    read = reading(Quantity.TOTAL_ALKALINITY, 10.0, "drop-titration")
    near, far = blunder_probability(read, np.array([12.0, 200.0]), context)
    assert near < 0.05
    assert far > 0.99


def test_an_ensemble_reads_as_its_members_do_one_by_one() -> None:
    truth = np.linspace(0.0, 20.0, 17)
    read = reading(Quantity.BROMINE, 3.0, "strip")
    together = log_likelihood(read, truth, ReadingContext(bromine=truth, monopersulfate=0.1 * truth))
    for i, value in enumerate(truth):
        one = ReadingContext(bromine=truth[i : i + 1], monopersulfate=0.1 * truth[i : i + 1])
        assert log_likelihood(read, np.array([value]), one)[0] == pytest.approx(together[i], abs=1e-12)


def test_a_kit_that_reads_high_moves_the_likelihood_down_by_its_offset() -> None:
    grid = np.linspace(2.0, 8.0, 601)
    read = reading(Quantity.PH, 7.6, "visual-comparator")
    straight = grid[np.argmax(likelihood(read, grid, kit_bias=0.0, kit_share=0.6))]
    high = grid[np.argmax(likelihood(read, grid, kit_bias=1.0, kit_share=0.6))]
    assert straight - high == pytest.approx(0.15, abs=0.02)  # one sigma of the method


def test_monopersulfate_reads_as_sanitizer_in_a_total_test_and_on_a_strip_but_not_in_the_free_step() -> None:
    total = reading(Quantity.TOTAL_CHLORINE, 3.0, "photometer")
    assert likelihood(total, 0.5, monopersulfate=2.5 * CL2_TO_BR2)[0] > 5.0 * likelihood(total, 0.5)[0]
    strip = reading(Quantity.FREE_CHLORINE, 3.0, "strip")
    assert likelihood(strip, 0.5, monopersulfate=2.5 * CL2_TO_BR2)[0] > 5.0 * likelihood(strip, 0.5)[0]
    bromine = reading(Quantity.BROMINE, 6.0, "fas-dpd-drops")
    assert likelihood(bromine, 1.0, monopersulfate=5.0)[0] > 5.0 * likelihood(bromine, 1.0)[0]
    free = reading(Quantity.FREE_CHLORINE, 3.0, "photometer")
    assert likelihood(free, 0.5, monopersulfate=2.5 * CL2_TO_BR2) == pytest.approx(likelihood(free, 0.5))


def test_a_zero_does_not_rule_out_thirty_where_the_colour_bleaches_and_does_where_drops_are_counted() -> None:
    for method in ("strip", "visual-comparator", "photometer"):
        zero = reading(Quantity.BROMINE, 0.0, method)
        assert likelihood(zero, 30.0, bromine=30.0)[0] > 10.0 * likelihood(zero, 12.0, bromine=12.0)[0]
    drops = reading(Quantity.BROMINE, 0.0, "fas-dpd-drops")
    assert likelihood(drops, 30.0, bromine=30.0)[0] < 0.01


def test_at_high_bromine_a_dye_reads_too_high_and_an_electrode_does_not() -> None:
    purple = reading(Quantity.PH, 8.0, "visual-comparator")
    assert likelihood(purple, 7.3, bromine=25.0)[0] > 5.0 * likelihood(purple, 7.3, bromine=3.0)[0]
    electrode = reading(Quantity.PH, 8.2, "electrode")
    assert likelihood(electrode, 7.3, bromine=25.0) == pytest.approx(likelihood(electrode, 7.3, bromine=3.0))


def test_a_dye_for_ph_counts_chlorine_as_chlorine() -> None:
    purple = reading(Quantity.PH, 8.0, "visual-comparator")
    as_bromine = CL2_TO_BR2 * 8.0
    assert likelihood(purple, 7.3, bromine=as_bromine, chlorine=as_bromine) == pytest.approx(
        likelihood(purple, 7.3, bromine=8.0)
    )


@pytest.mark.parametrize("method", [m.key for m in methods().values() if Quantity.PH in m.quantities])
def test_all_dyes_for_ph_suffer_from_much_halogen_and_nothing_else_does(method: str) -> None:
    dyed = method in ("strip", "visual-comparator", "photometer")
    assert suffers(reading(Quantity.PH, 7.4, method), "phenol-red-high-halogen") is dyed


def test_purple_never_makes_a_low_colour_of_a_high_ph() -> None:
    low = reading(Quantity.PH, 7.0, "visual-comparator")
    assert likelihood(low, 8.0, bromine=25.0)[0] < 0.02


def test_a_reading_on_the_chlorine_scale_is_worth_two_and_a_quarter_times_as_much_bromine() -> None:
    read = reading(Quantity.BROMINE, 2.0, "photometer", scale=OxidantScale.AS_CL2)
    assert standard_value(read) == pytest.approx((4.508, 4.508), rel=1e-3)
    grid = np.linspace(0.5, 11.0, 1051)
    assert grid[np.argmax(likelihood(read, grid))] == pytest.approx(4.5, abs=0.15)
    other = reading(Quantity.FREE_CHLORINE, 4.508, "photometer", scale=OxidantScale.AS_BR2)
    assert standard_value(other)[0] == pytest.approx(2.0, rel=1e-3)
    plain = reading(Quantity.BROMINE, 2.0, "photometer", scale=OxidantScale.AS_BR2)
    assert standard_value(plain) == (2.0, 2.0)


def test_a_reading_in_degrees_of_hardness_or_fahrenheit_comes_into_the_project_s_unit() -> None:
    german = reading(Quantity.TOTAL_ALKALINITY, 5.0, "drop-titration", unit="°dH")
    assert standard_value(german) == pytest.approx((89.24, 89.24), rel=1e-4)
    hot = reading(Quantity.TEMPERATURE, 104.0, "thermometer", unit="°F")
    assert standard_value(hot) == pytest.approx((40.0, 40.0))
    with pytest.raises(InputError):
        standard_value(reading(Quantity.BROMINE, 3.0, "strip", unit="°dH"))


def test_an_open_reading_keeps_its_open_end() -> None:
    low, high = standard_value(reading(Quantity.BROMINE, 10.0, "strip", INF))
    assert (low, high) == (10.0, INF)


WRONG = [
    (reading(Quantity.PH, 14.0, "strip"), "6.8 to 8.4"),
    (reading(Quantity.PH, 14.0, "photometer"), "6.8 to 8.2"),
    (reading(Quantity.PH, 3.0, "photometer"), "6.8 to 8.2"),
    (reading(Quantity.BROMINE, -1.0, "photometer"), "0 to 11"),
    (reading(Quantity.BROMINE, 40.0, "strip"), "0 to 10"),
    (reading(Quantity.BROMINE, 8.0, "photometer", scale=OxidantScale.AS_CL2), "0 to 5"),
    (reading(Quantity.BROMINE, float("nan"), "strip"), "a number"),
    (reading(Quantity.BROMINE, -INF, "strip", INF), "a number"),
    (reading(Quantity.BROMINE, 5.0, "strip", 3.0), "the lower end first"),
    (reading(Quantity.SULFATE, 40.0, "strip"), "a quantity that the test strip reads"),
    (reading(Quantity.PH, 7.4, "litmus"), "a method out of strip"),
    (reading(Quantity.TEMPERATURE, 38.0, "thermometer", unit="mg/L"), "a unit of temperature"),
    (reading(Quantity.TEMPERATURE, 400.0, "thermometer", unit="°F"), "0 to 60"),
]


@pytest.mark.parametrize(("read", "expected"), WRONG, ids=[str(i) + " " + e for i, (_, e) in enumerate(WRONG)])
def test_an_impossible_reading_is_refused_with_what_was_expected(read: Reading, expected: str) -> None:
    problem = reading_problem(read, "readings[0].value")
    assert problem is not None
    assert problem.field == "readings[0].value"
    assert expected in problem.expected


@pytest.mark.parametrize(("method", "quantity"), READS, ids=IDS)
def test_everything_that_a_kit_can_show_is_accepted(method: str, quantity: Quantity) -> None:
    for value in shown(method, quantity)[[0, -1]]:
        assert reading_problem(reading(quantity, float(value), method), "reading") is None
    assert reading_problem(reading(quantity, -INF, method, float(shown(method, quantity)[0])), "reading") is None
    assert reading_problem(reading(quantity, float(shown(method, quantity)[-1]), method, INF), "reading") is None


def test_a_drop_kit_tells_apart_what_a_strip_cannot() -> None:
    strip, drops = (distinguishes(m, Quantity.BROMINE, 3.0, 5.0) for m in ("strip", "fas-dpd-drops"))
    assert strip < 2.0 < drops
    assert distinguishes("strip", Quantity.BROMINE, 3.0, 3.0) == 0.0
    assert distinguishes("electrode", Quantity.BROMINE, 3.0, 5.0) == 0.0

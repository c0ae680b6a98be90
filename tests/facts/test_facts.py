"""Every fact has a value, a unit and a basis, and nothing from memory passes as published."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator
from importlib import resources

import pytest

from tubwater.chemistry import INDEX
from tubwater.errors import UnknownKey
from tubwater.facts import (
    Basis,
    BasisKind,
    Form,
    Quantity,
    Role,
    care_steps,
    defaults,
    find_substance,
    guidelines,
    incompatible,
    interferences,
    methods,
    references,
    substances,
)
from tubwater.facts.drain import drain_rules
from tubwater.facts.shelf_life import shelf_lives
from tubwater.facts.situations import procedures

NOT_READ = {"memory"}
LIMITS = ("keep_out_low", "bathing_low", "aim_low", "aim_high", "bathing_high", "keep_out_high")
SOURCED = {BasisKind.PUBLISHED, BasisKind.REPORTED}


def bases() -> Iterator[tuple[str, Basis]]:
    """Every basis in the tables, with the entry that states it."""
    for key, substance in substances().items():
        yield f"{key} composition", substance.basis
        yield f"{key} strength", substance.strength_basis
    for table in (methods(), defaults(), interferences(), care_steps(), guidelines()):
        for key, entry in table.items():
            yield key, entry.basis
    for key, guideline in guidelines().items():
        for quantity, limits in guideline.limits.items():
            yield f"{key} {quantity}", limits.basis
    for key, procedure in procedures().items():
        yield key, procedure.basis
        yield from ((f"{key} {n}", deed.basis) for n, deed in enumerate(procedure.steps))
    for key, life in shelf_lives().items():
        yield f"{key} shelf life", life.basis
    for key, rules in drain_rules().items():
        yield from ((f"{key} drain {n}", rule.basis) for n, rule in enumerate(rules))
    pair = incompatible("bcdmh", "trichlor")
    assert pair is not None
    yield "incompatibilities", pair.basis


BASES = list(bases())


@pytest.mark.parametrize(("entry", "basis"), BASES, ids=[entry for entry, _ in BASES])
def test_every_source_of_every_entry_stands_among_the_references(entry: str, basis: Basis) -> None:
    assert set(basis.sources) <= set(references()), entry


@pytest.mark.parametrize(("entry", "basis"), BASES, ids=[entry for entry, _ in BASES])
def test_whatever_counts_as_published_names_a_source_that_was_read(entry: str, basis: Basis) -> None:
    if basis.kind in SOURCED:
        read = [key for key in basis.sources if references()[key].read not in NOT_READ]
        assert read, entry


@pytest.mark.parametrize(("entry", "basis"), BASES, ids=[entry for entry, _ in BASES])
def test_a_number_from_memory_is_never_verified(entry: str, basis: Basis) -> None:
    assert basis.verified is (basis.kind is not BasisKind.FROM_MEMORY), entry


LIMIT_ROWS = [(g.key, q, limits) for g in guidelines().values() for q, limits in g.limits.items()]


@pytest.mark.parametrize(("key", "quantity", "limits"), LIMIT_ROWS, ids=[f"{k} {q}" for k, q, _ in LIMIT_ROWS])
def test_a_limit_whose_note_says_from_memory_has_numbers_marked_as_unverified(key, quantity, limits) -> None:  # type: ignore[no-untyped-def]
    assert limits.unverified <= set(LIMITS)
    marked = [name for name in LIMITS if not limits.verified(name)]
    says_so = "from memory" in limits.basis.note and "guidance itself" not in limits.basis.note
    assert bool(marked) is says_so, (key, quantity)


# Numbers whose source was not opened: the ceiling of 8 and the operating pH of the code of the United
# States, the British pH, alkalinity and hardness, and the numbers of the world guideline of 2006.
@pytest.mark.parametrize(
    ("guideline", "quantity", "name"),
    [
        ("us-public", Quantity.BROMINE, "bathing_high"),
        ("us-public", Quantity.PH, "bathing_low"),
        ("us-public", Quantity.TOTAL_ALKALINITY, "aim_high"),
        ("uk-business", Quantity.PH, "aim_high"),
        ("uk-business", Quantity.CALCIUM_HARDNESS, "aim_low"),
        ("who-style", Quantity.BROMINE, "bathing_high"),
        ("who-style", Quantity.FREE_CHLORINE, "bathing_high"),
        ("who-style", Quantity.PH, "bathing_high"),
    ],
)
def test_a_limit_that_was_only_remembered_is_unverified(guideline: str, quantity: Quantity, name: str) -> None:
    assert not guidelines()[guideline].limits[quantity].verified(name)


@pytest.mark.parametrize(
    ("guideline", "quantity", "name", "value"),
    [
        ("us-public", Quantity.BROMINE, "bathing_low", 4.0),  # Model Aquatic Health Code 5.7.3.1.2.2
        ("us-public", Quantity.FREE_CHLORINE, "bathing_high", 10.0),  # closure since the code of 2024
        ("us-public", Quantity.PH, "keep_out_high", 8.0),  # the same code, 6.6.3.1
        ("uk-business", Quantity.BROMINE, "bathing_high", 6.0),  # WHO 2007, chapter 8
        ("household", Quantity.TEMPERATURE, "bathing_high", 40.0),  # Consumer Product Safety Commission
    ],
)
def test_a_limit_that_was_read_is_shown_as_verified(
    guideline: str, quantity: Quantity, name: str, value: float
) -> None:
    limits = guidelines()[guideline].limits[quantity]
    assert getattr(limits, name) == value
    assert limits.verified(name)


@pytest.mark.parametrize(("key", "quantity", "limits"), LIMIT_ROWS, ids=[f"{k} {q}" for k, q, _ in LIMIT_ROWS])
def test_limits_nest_from_keeping_out_over_bathing_to_the_aim(key, quantity, limits) -> None:  # type: ignore[no-untyped-def]
    row = [getattr(limits, name) for name in LIMITS]
    assert row == sorted(row), (key, quantity)
    assert limits.aim_low < limits.aim_high


def test_the_household_guideline_aims_at_three_to_five_and_keeps_out_below_two_and_above_ten() -> None:
    household = guidelines()["household"]
    bromine = household.limits[Quantity.BROMINE]
    assert [getattr(bromine, name) for name in LIMITS] == [2.0, 3.0, 3.0, 5.0, 10.0, 10.0]
    assert bromine.caution == (4.0, 6.0)
    assert (household.max_test_age_hours, household.longest_test_age_hours) == (24.0, 72.0)


def test_a_reading_counts_no_longer_in_business_than_the_required_interval() -> None:
    for key in ("us-public", "uk-business", "who-style"):
        guideline = guidelines()[key]
        assert guideline.max_test_age_hours <= guideline.test_interval_hours
        assert guideline.longest_test_age_hours <= guideline.test_interval_hours


def test_every_guideline_limits_the_same_quantities_and_no_temperature_above_forty() -> None:
    first = set(guidelines()["household"].limits)
    for guideline in guidelines().values():
        assert set(guideline.limits) == first
        assert guideline.limits[Quantity.TEMPERATURE].bathing_high <= 40.0


@pytest.mark.parametrize("key", sorted(defaults()))
def test_a_default_lies_inside_its_range_and_has_a_unit_and_a_spread_that_fits_its_kind(key: str) -> None:
    default = defaults()[key]
    assert default.low <= default.value <= default.high
    assert default.kind in {"lognormal", "normal", "constant"}
    assert (default.spread == 0.0) is (default.kind == "constant")
    assert default.low > 0.0 or default.kind != "lognormal"
    assert isinstance(default.unit, str)
    assert default.basis.note or default.basis.sources, "a number without a word on where it comes from"


def test_the_bars_for_getting_in_can_only_be_raised() -> None:
    for key in ("sure_sanitizer", "sure_ph"):
        assert defaults()[key].low == defaults()[key].value


def test_two_people_for_half_an_hour_take_five_to_seven_milligrams_from_thirteen_hundred_litres() -> None:
    demand = defaults()["bather_demand_g_br2_per_hour"].value
    assert 5.0 < 2 * 0.5 * demand * 1000.0 / 1300.0 < 7.0


@pytest.mark.parametrize("key", sorted(methods()))
def test_a_method_reads_rising_steps_inside_its_range_and_knows_its_interferences(key: str) -> None:
    method = methods()[key]
    assert set(method.interferences) <= set(interferences())
    for row in method.quantities.values():
        assert row.low < row.high
        assert row.absolute > 0.0 and row.relative >= 0.0 and row.resolution > 0.0
        assert row.combine in {"max", "quadrature"}
        assert list(row.steps) == sorted(set(row.steps))
        assert not row.steps or (row.steps[0] == row.low and row.steps[-1] == row.high)


def test_every_sanitizer_reading_can_be_zero() -> None:
    for method in methods().values():
        for quantity in (Quantity.BROMINE, Quantity.FREE_CHLORINE, Quantity.TOTAL_CHLORINE):
            if quantity in method.quantities:
                assert method.quantities[quantity].low == 0.0


@pytest.mark.parametrize("key", sorted(care_steps()))
def test_a_care_step_has_an_interval_minutes_and_a_known_condition(key: str) -> None:
    step = care_steps()[key]
    assert step.interval_days > 0.0 and step.minutes > 0.0
    assert step.condition in {"always", "pump", "electric", "cover", "feeder"}


def test_the_texts_of_a_substance_exist() -> None:
    text = resources.files("tubwater.reports").joinpath("catalogue/en.toml").read_text(encoding="utf-8")
    known = set(tomllib.loads(text)["caution"])
    for substance in substances().values():
        assert set(substance.cautions) <= known, substance.key


def test_unknown_names_come_with_the_nearest_known_ones() -> None:
    with pytest.raises(UnknownKey) as error:
        find_substance("sodium bicarbonat")
    assert "sodium bicarbonate" in error.value.nearest


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("dry acid", "sodium-bisulfate"),
        ("Soda Ash", "sodium-carbonate"),
        ("baking soda", "sodium-bicarbonate"),
        ("bromine tablets (BCDMH)", "bcdmh"),
        ("bromine tablets (DBDMH)", "dbdmh"),
        ("non-chlorine shock (monopersulfate)", "monopersulfate"),
        ("chlorine granules (trichlor)", "trichlor"),
        ("muriatic acid", "hydrochloric-acid"),
        ("sodium bromide", "sodium-bromide"),
        ("calcium chloride, flake", "calcium-chloride-dihydrate"),
    ],
)
def test_a_keeper_s_word_finds_the_substance(text: str, key: str) -> None:
    assert find_substance(text).key == key


def test_no_name_belongs_to_two_substances() -> None:
    owners: dict[str, set[str]] = {}
    for key, substance in substances().items():
        for name in (key.replace("-", " "), substance.name, *substance.aliases):
            owners.setdefault(name.lower().replace("-", " "), set()).add(key)
    assert [name for name, keys in owners.items() if len(keys) > 1] == []


@pytest.mark.parametrize("key", sorted(substances()))
def test_a_substance_is_complete(key: str) -> None:
    substance = substances()[key]
    low, typical, high = substance.strength
    assert 0.0 < low <= typical <= high <= 1.02
    assert (substance.form is Form.LIQUID) is (substance.density_kg_per_l is not None)
    assert (substance.form is Form.LIQUID) is (substance.bulk_density is None)
    assert "one-container" in substance.cautions
    assert math.isfinite(substance.composition.alkalinity)
    assert set(substance.refused) <= {"bromine", "chlorine"}


def test_what_makes_bromine_last_is_refused_in_a_chlorine_tub_and_isocyanurates_in_a_bromine_tub() -> None:
    for substance in substances().values():
        if substance.family == "isocyanurate":
            assert substance.refusal("bromine"), substance.key
        if substance.roles & {Role.SLOW_BROMINE, Role.BROMIDE_BANK}:
            assert substance.refusal("chlorine"), substance.key
    assert substances()["trichlor"].refusal("chlorine")
    assert substances()["hydrogen-peroxide"].refusal("bromine")
    assert not substances()["monopersulfate"].refusal("bromine")


def test_feeder_tablets_carry_the_caution_of_one_family() -> None:
    for substance in substances().values():
        slow = substance.roles & {Role.SLOW_BROMINE, Role.SLOW_CHLORINE}
        assert bool(slow) is ("one-family-in-feeder" in substance.cautions)


def test_caps_of_an_addition_are_those_of_the_plan_s_rules() -> None:
    # engineering judgement for 1,300 L: mg/L of alkalinity, of alkalinity, of hardness, of product
    caps = {"sodium-bisulfate": 20.0, "sodium-carbonate": 10.0, "sodium-bicarbonate": 50.0, "calcium-chloride": 100.0}
    for key, cap in {**caps, "monopersulfate": 25.0}.items():
        assert substances()[key].cap_mg_per_l == cap


def test_no_substance_brings_a_metal_or_halogen_that_it_does_not_hold() -> None:
    for key, names in {"sodium-bromide": {"sodium", "bromide"}, "bcdmh": {"bromine", "chlorine", "hydantoin"}}.items():
        per_gram = substances()[key].composition.per_gram
        assert {name for name, i in INDEX.items() if per_gram[i] > 0.0} == names

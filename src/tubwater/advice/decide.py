"""What to add: products behind the levers, the room each has, the search, and rounding to what can be measured."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tubwater.advice.evenings import evenings, taken_share
from tubwater.advice.measures import grams_floor, measure_spread, smallest
from tubwater.advice.now import Situation, substance_of
from tubwater.advice.rollout import Bands, Future, Lived, Recipes
from tubwater.advice.safety import cap_grams
from tubwater.advice.search import Problem, search, spread_out, utility
from tubwater.advice.settle import settled
from tubwater.advice.wishes import Wishes
from tubwater.belief import mapped
from tubwater.chemistry import INDEX, KG_PER_LITRE, MG_PER_MOL, Composition, bromide_bank, freeze
from tubwater.facts import Role, defaults
from tubwater.facts.quantity import Quantity
from tubwater.tub import Filled, Product, Sanitizer

__all__ = [
    "Decision",
    "Kit",
    "Trials",
    "acid_beside",
    "bank_is_thin",
    "bromide_to",
    "calcium_to",
    "decide",
    "kit_of",
    "oxidizer_to",
]

Array = NDArray[np.float64]
_MEMBERS = 64
_CHECK_MEMBERS = 256
_SHOWN_MEMBERS = 1024  # two candidates only: what a plan is expected to bring is told to a percent or two
_TRIALS = 40
_MOST_PARTS = 2
_SHOCK_HOURS = 2.0  # in which a shock is meant to reach its goal (judgement)
_LOW_AFTER_READING = 0.12  # probability of low alkalinity at which a low reading holds acid back (judgement)
_LOW_FOR_SURE = 0.8  # probability of low alkalinity from which bicarbonate goes in alone (judgement)
_CALCIUM_PLACE = 0.2  # within the aim; a little above its lower end, for what the next top-up thins out (judgement)
_SURE_SOFT = 0.8  # probability below the lower aim before calcium is added (judgement)


@dataclass(frozen=True)
class Kit:
    """The product in hand behind each lever, None where nothing fits."""

    acid: Product | None
    bicarbonate: Product | None
    soda_ash: Product | None
    oxidizer: Product | None
    tablet: Product | None
    calcium: Product | None
    bromide: Product | None

    @property
    def tablet_grams(self) -> float:
        """Mass of one tablet, g."""
        return (self.tablet.tablet_grams if self.tablet else None) or defaults()["tablet_grams"].value


@dataclass(frozen=True, eq=False)
class Trials:
    """Other plans tried on other members: what each is worth and its share of hours in band, both [plan, member], and
    the indices of the members."""

    utility: np.ndarray
    in_band: np.ndarray
    members: np.ndarray


@dataclass(frozen=True, eq=False)
class Decision:
    """Grams of each lever, rounded to what can be measured, with what they bring.

    Attributes:
        levers: by name. lived, without: hours with the plan and with nothing done, on members not searched on.
        trials: what a better test is judged by.
    """

    levers: dict[str, float]
    lived: Lived
    without: Lived
    trials: Trials | None = None


def kit_of(case: Situation) -> Kit:
    """The products in hand by what they are for; monopersulfate before hypochlorite in a bromine tub."""
    bromine = case.tub.sanitizer is Sanitizer.BROMINE
    oxidizers = [p for p in case.shelf.products if _fits(case, p, Role.OXIDIZER if bromine else Role.CHLORINE_DOSE)]
    plenty = not bromine and _cyanurate_is_plenty(case)
    oxidizers.sort(key=lambda p: (p.substance != "monopersulfate", plenty and _brings_cyanurate(case, p)))
    return Kit(
        acid=case.best_product(Role.LOWER_PH),
        bicarbonate=case.best_product(Role.RAISE_ALKALINITY),
        soda_ash=case.best_product(Role.RAISE_PH),
        oxidizer=oxidizers[0] if oxidizers else None,
        tablet=case.best_product(Role.SLOW_BROMINE) if bromine else None,
        calcium=case.best_product(Role.RAISE_CALCIUM),
        bromide=case.best_product(Role.BROMIDE_BANK) if bromine else None,
    )


def _cyanurate_is_plenty(case: Situation) -> bool:
    """Whether the middle of what is believed is at the upper aim of cyanuric acid, or above."""
    aim = case.limits(Quantity.CYANURIC_ACID).aim_high
    return float(np.median(case.observer.read(Quantity.CYANURIC_ACID))) >= aim


def _brings_cyanurate(case: Situation, product: Product) -> bool:
    return float(case.products.compositions[product.name].per_gram[INDEX["cyanurate"]]) > 0.0


def _fits(case: Situation, product: Product, role: Role) -> bool:
    substance = substance_of(product)
    return role in substance.roles and bool(product.strength) and not substance.refusal(case.tub.sanitizer)


def decide(case: Situation, kit: Kit, wishes: Wishes, rng: np.random.Generator, fixed: dict[str, float]) -> Decision:
    """Search the levers; ``fixed`` holds those already decided (g), for a recovery or a closed feeder."""
    bounds = _bounds(case, kit, fixed)
    problem = _problem(case, kit, wishes, rng, 0, _MEMBERS, bounds)
    choice = search(problem, rng, rounds=3)
    lives = min(_CHECK_MEMBERS, max(2 * case.belief.size, _MEMBERS))  # a few lives each, where the members are few
    check = _problem(case, kit, wishes, rng, _MEMBERS, lives, bounds)
    levers = _rounded(check, kit, dict(choice.levers), bounds)
    shown = _problem(case, kit, wishes, rng, _MEMBERS + lives, min(_SHOWN_MEMBERS, 4 * lives), bounds)
    trial = spread_out(check, choice.levers, rng, _TRIALS)
    lived, members = check.run(trial), np.arange(_MEMBERS, _MEMBERS + lives) % case.belief.size
    return _expected(shown, levers, Trials(utility(lived, trial), lived.in_band, members))


def oxidizer_to(case: Situation, kit: Kit, goal: float, hours: float = _SHOCK_HOURS) -> float:
    """Grams of the oxidizer in hand that bring the sanitizer to ``goal`` (mg/L, own scale), with what is owed within
    some hours."""
    if kit.oxidizer is None:
        return 0.0
    oxidant = case.products.compositions[kit.oxidizer.name].oxidant * case.grams_per_mol
    present = np.median(case.sanitizer_of(case.state))
    soon = -np.expm1(-hours * case.rates.slow_rate)  # of what is not ripe; the rest is met over the day
    owed = np.median(case.owed(case.state, soon))
    litres = np.median(case.rates.litres)
    return float(max(goal - present + owed, 0.0) * litres / 1000.0 / oxidant)


def bromide_to(case: Situation, kit: Kit) -> float:
    """Grams of sodium bromide that fill up a thin bank; 0 where it is not thin or was dosed since the fill."""
    if kit.bromide is None or not bank_is_thin(case) or _bank_was_dosed(case, kit.bromide):
        return 0.0
    missing = defaults()["bank_target_mg"].value - float(np.median(bromide_bank(case.state.water)))
    per_gram = case.products.compositions[kit.bromide.name].per_gram[INDEX["bromide"]] * MG_PER_MOL["bromide"]
    grams = missing * float(np.median(case.rates.litres)) / 1000.0 / per_gram
    return grams_floor(kit.bromide, grams)


def bank_is_thin(case: Situation) -> bool:
    """Whether a bromine tub very likely holds less than half the bromide that it should."""
    if case.tub.sanitizer is not Sanitizer.BROMINE:
        return False
    return float(np.mean(bromide_bank(case.state.water) < 0.5 * defaults()["bank_target_mg"].value)) >= _SURE_SOFT


def _bank_was_dosed(case: Situation, product: Product) -> bool:
    """Sodium bromide goes in once per fill."""
    fills = [e.at for e in case.belief.events if isinstance(e, Filled)]
    return any(d.product == product.name and (not fills or d.at >= max(fills)) for d in case.doses())


def calcium_to(case: Situation, kit: Kit) -> float:
    """Grams of calcium product that bring soft water well inside its aim; 0 where it was not read as soft."""
    limits = case.limits(Quantity.CALCIUM_HARDNESS)
    low, goal = limits.aim_low, limits.aim_low + _CALCIUM_PLACE * (limits.aim_high - limits.aim_low)
    present = case.observer.read(Quantity.CALCIUM_HARDNESS)
    known = case.last_valid(Quantity.CALCIUM_HARDNESS) is not None or bool(case.tub.fill.values)
    if kit.calcium is None or not known or float(np.mean(present < low)) < _SURE_SOFT:
        return 0.0
    per_gram = case.products.compositions[kit.calcium.name].per_gram[INDEX["calcium"]] * MG_PER_MOL["calcium hardness"]
    grams = (goal - float(np.median(present))) * float(np.median(case.rates.litres)) / 1000.0 / per_gram
    return grams_floor(kit.calcium, grams + 0.5 * smallest(kit.calcium))


def _bounds(case: Situation, kit: Kit, fixed: dict[str, float]) -> dict[str, tuple[float, float]]:
    litres = float(np.median(case.rates.litres))
    room = {name: _room(getattr(kit, name), litres) for name in ("acid", "bicarbonate", "soda_ash", "oxidizer")}
    if case.last_valid(Quantity.PH) is None:
        room["acid"] = room["soda_ash"] = 0.0
    if case.last_valid(Quantity.PH) is None and case.last_valid(Quantity.TOTAL_ALKALINITY) is None:
        room["bicarbonate"] = 0.0
    for lever in _against_the_reading(case):
        room[lever] = 0.0  # whatever is believed: no acid into water that read low, no base into water that read high
    if acid_beside(case, kit) <= 0.0:
        room["acid"] = 0.0  # alkalinity first: acid would take what steadies the pH (common practice)
    bounds = {name: (0.0, most) for name, most in room.items()}
    bounds["tablet_grams"] = (0.0, _feeder_room(kit, litres))
    bounds["opening"] = (0.1, 1.0) if kit.tablet else (0.0, 0.0)
    bounds["after_soak"] = (0.0, _most_after_soak(case, kit))
    return bounds | {name: (value, value) for name, value in fixed.items()}


def _against_the_reading(case: Situation) -> tuple[str, ...]:
    """Levers that would push the pH further from its aim than it read."""
    reading, limits = case.last_valid(Quantity.PH), case.limits(Quantity.PH)
    if reading is None:
        return ()
    low = ("acid",) if case.middle(reading) < limits.aim_low else ()
    return low or (("soda_ash",) if case.middle(reading) > limits.aim_high else ())


def acid_beside(case: Situation, kit: Kit) -> float:
    """Most acid for each gram of bicarbonate at the same visit, g: no limit where the alkalinity is enough, half of
    what the bicarbonate brings where it may well be low or the pH was read high, nothing where it surely is low."""
    low, ph = case.limits(Quantity.TOTAL_ALKALINITY).aim_low, case.last_valid(Quantity.PH)
    read = case.last_valid(Quantity.TOTAL_ALKALINITY)
    probability = float(np.mean(case.observer.read(Quantity.TOTAL_ALKALINITY) < low))
    if probability <= (_LOW_AFTER_READING if read is not None and read.value < low else 0.5):
        return float("inf")
    high = ph is not None and case.middle(ph) > case.limits(Quantity.PH).aim_high
    if (probability > _LOW_FOR_SURE and not high) or kit.acid is None or kit.bicarbonate is None:
        return 0.0
    recipes = case.products.compositions
    return -0.5 * recipes[kit.bicarbonate.name].alkalinity / recipes[kit.acid.name].alkalinity


def _room(product: Product | None, litres: float) -> float:
    if product is None:
        return 0.0
    cap = cap_grams(product, litres)
    return _MOST_PARTS * cap if np.isfinite(cap) else 0.0


def _feeder_room(kit: Kit, litres: float) -> float:
    """Grams of whole tablets that the feeder takes; a larger water has more than one."""
    if kit.tablet is None:
        return 0.0
    feeders = max(1, round(litres / defaults()["litres_per_feeder"].value))
    return max(1.0, feeders * defaults()["feeder_grams_most"].value // kit.tablet_grams) * kit.tablet_grams


def _most_after_soak(case: Situation, kit: Kit) -> float:
    """Oxidizer per person-half-hour: at most what the hungriest likely bather uses, g."""
    if kit.oxidizer is None:
        return 0.0
    mol = float(np.quantile(case.rates.demand, 0.95)) * 0.5
    wanted = max(mol / case.products.compositions[kit.oxidizer.name].oxidant, smallest(kit.oxidizer))
    return grams_floor(kit.oxidizer, min(wanted, cap_grams(kit.oxidizer, float(np.median(case.rates.litres)))))


def _problem(
    case: Situation,
    kit: Kit,
    wishes: Wishes,
    rng: np.random.Generator,
    first: int,
    members: int,
    bounds: dict[str, tuple[float, float]],
) -> Problem:
    size = case.belief.size
    cut = np.arange(first, first + members) % size
    state = case.state[cut]
    names = ("acid", "bicarbonate", "soda_ash", "oxidizer", "tablet")
    recipes = Recipes(**{name: _recipe(case, getattr(kit, name)) for name in names})
    spread = measure_spread(kit.oxidizer) if kit.oxidizer else 0.1
    future = _future(case, wishes, rng, members, spread)
    bands = Bands(
        case.limits(case.sanitizer_quantity), case.limits(Quantity.PH), case.limits(Quantity.TOTAL_ALKALINITY)
    )
    bands = replace(bands, per_mg=case.grams_per_mol * 1000.0 * KG_PER_LITRE)
    buffer, beside = freeze(state.water), acid_beside(case, kit)
    found: Problem = mapped(_single, Problem(state, case.rates[cut], buffer, recipes, future, bands, bounds, beside))
    return found


def _single(value: Array) -> Array:
    """In single precision, which takes half as long; the pH of a roll-out moves by less than a thousandth."""
    return value.astype(np.float32)


def _recipe(case: Situation, product: Product | None) -> Composition | None:
    return None if product is None else case.products.compositions[product.name]


def _future(case: Situation, wishes: Wishes, rng: np.random.Generator, members: int, spread: float) -> Future:
    """Each member's evenings, whether the dose after the soak is given, and how far the measure is out."""
    coming = evenings(case, max(1, round(wishes.days)), members, rng)
    dosed = (rng.random(coming.noted.shape) < taken_share(case)) * coming.noted
    error = np.exp(spread * rng.standard_normal(members))
    return Future(coming.bather_hours, coming.people, dosed, error, visit_hours=1.0)


def _rounded(
    problem: Problem, kit: Kit, levers: dict[str, float], bounds: dict[str, tuple[float, float]]
) -> dict[str, float]:
    """In whole measures on fresh members, each the least that is as good as the best."""
    products = {name: getattr(kit, name) for name in ("acid", "bicarbonate", "soda_ash", "oxidizer")}
    products["after_soak"] = kit.oxidizer
    return settled(problem, products, kit.tablet_grams, levers, bounds)


def _expected(problem: Problem, levers: dict[str, float], trials: Trials) -> Decision:
    """What the levers bring, and doing nothing, on members that neither was chosen with."""
    lived = problem.run({name: np.array([value, 0.0]) for name, value in levers.items()})
    return Decision(levers, _row(lived, 0), _row(lived, 1), trials)


def _row(lived: Lived, index: int) -> Lived:
    return Lived(**{name: getattr(lived, name)[index] for name in lived.__dataclass_fields__})

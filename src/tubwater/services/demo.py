"""An invented scenario: a home tub with half a year of history, a let one with some weeks, and a new chlorine tub."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from random import Random
from typing import Any

from tubwater.services.keeping import Keeping
from tubwater.services.ports import Kind, Source

__all__ = ["fill_demo"]

_Told = tuple[datetime, Kind, dict[str, Any]]
_DEVICE = Source(device="demo")
_POTS = [
    {
        "name": "oxidizer",
        "substance": "monopersulfate",
        "strength": "88 %",
        "scoop": "10 g",
        "stock": "900 g",
        "size": "1 kg",
        "price": "14.50 EUR",
    },
    {
        "name": "bromine tablets",
        "substance": "bcdmh",
        "strength": "96 %",
        "tablet": "20 g",
        "stock": "600 g",
        "size": "1 kg",
        "price": "24 EUR",
    },
    {
        "name": "sodium bromide",
        "substance": "sodium-bromide",
        "strength": "99 %",
        "scales": True,
        "stock": "400 g",
        "size": "500 g",
        "price": "11 EUR",
    },
    {
        "name": "dry acid",
        "substance": "sodium-bisulfate",
        "strength": "93 %",
        "spoon": "15 g",
        "stock": "1 kg",
        "size": "1 kg",
        "price": "6.20 EUR",
    },
    {"name": "soda ash", "substance": "sodium-carbonate", "strength": "99 %", "spoon": "12 g", "stock": "800 g"},
    {"name": "bicarbonate", "substance": "sodium-bicarbonate", "strength": "99 %", "scoop": "30 g", "weighed": True},
]
_LARCH: Mapping[str, Any] = {
    "tub": {
        "name": "Larch",
        "volume": "1300 L",
        "sanitizer": "bromine",
        "temperature": "38 °C",
        "use": {"soaks_per_week": 3, "people": 2, "minutes": "30 min"},
        "fill_water": {
            "source": "utility report",
            "pH": 7.6,
            "total_alkalinity": "110 mg/L",
            "calcium_hardness": "8 °dH",
        },
    },
    "product": _POTS,
}
_ROWAN: Mapping[str, Any] = {
    "tub": {
        "name": "Rowan, Hazelwade Lodges",
        "volume": "1100 L",
        "sanitizer": "bromine",
        "setting": "let",
        "guideline": "uk-business",
        "use": {"soaks_per_week": 6, "people": 3, "minutes": "40 min"},
    },
    "product": _POTS,
}
# How many days ago: days before each has its sheet, a repair, a sample, and since when a thermometer is used.
_WEEKS_AGO, _RECORD_DAYS, _REPAIR, _SAMPLED, _WITH_THERMOMETER = (20, 13), 6, 4, 3, 2
_ROUND = ("inspect-suction-covers", "wipe-waterline", "check-level", "air-cover", "weigh-feeder")  # without a test
_FILLED = (26, 18, 9)  # weeks ago
_MONTHLY: Mapping[int, tuple[str, ...]] = {  # by weeks ago, of every four
    2: ("deep-clean-filter",),
    3: ("test-protective-device", "check-temperature"),
}
_REAGENTS_SORTED = (17, 5)
_SAMPLE: Mapping[str, Any] = {
    "laboratory": "an invented laboratory",
    "report": "H-113",
    "point": "elbow deep, away from returns",
    "colony_count": 14,
    "coliforms": "not found",
    "e_coli": "not found",
    "pseudomonas_aeruginosa": "<1",
    "legionella": "not found",
    "sanitizer": 4.6,
    "pH": 7.4,
}
_ALDER: Mapping[str, Any] = {
    "tub": {"name": "Alder", "volume": "900 L", "sanitizer": "chlorine", "kind": "inflatable"},
    "product": [
        {"name": "chlorine granules", "substance": "dichlor-dihydrate", "strength": "99 %", "spoon": "10 g"},
        {"name": "dry acid", "substance": "sodium-bisulfate", "strength": "93 %", "spoon": "15 g"},
    ],
}


@dataclass(frozen=True)
class _At:
    """A clock that stands: what happened was entered then."""

    time: datetime

    def now(self) -> datetime:
        """That time."""
        return self.time


def fill_demo(keeping: Keeping) -> tuple[str, ...]:
    """Enters the scenario as of now; the ids of its tubs."""
    now = keeping.clock.now().replace(second=0, microsecond=0)
    luck = Random(20)
    for tub, described, told in (
        ("larch", _LARCH, _half_a_year(now, luck)),
        ("rowan", _ROWAN, _some_weeks(now, luck)),
        ("alder", _ALDER, iter(())),
    ):
        rows = sorted(told, key=lambda row: row[0])
        began = min([now, *(at for at, _, _ in rows)])
        replace(keeping, clock=_At(began)).add_tub(described, _DEVICE, tub)
        for number, (at, kind, body) in enumerate(rows):
            then = replace(keeping, clock=_At(at))
            then.record(tub, kind, {**body, "at": at.isoformat()}, _DEVICE, f"{tub}-{number}")
    return ("larch", "rowan", "alder")


def _half_a_year(now: datetime, luck: Random) -> Iterator[_Told]:
    """Weekly strips, soaks between them, a refill every two months, the care; the last test is fresh and low."""
    for week in range(26, 0, -1):
        at = _at(now - timedelta(weeks=week), 10, luck)
        if week in _FILLED:
            yield at - timedelta(hours=33), Kind.CARED, {"task": "purge-pipes"}
            yield at - timedelta(hours=30), Kind.FILLED, {"volume": "1230 L"}
            yield at - timedelta(hours=26), Kind.DOSED, {"product": "sodium bromide", "amount": "55 g"}
            yield at - timedelta(hours=25), Kind.DOSED, {"product": "oxidizer", "measures": 2}
        yield from _visit(at, luck, luck.choice([2, 3, 3, [3, 5]]), luck.choice([7.2, 7.5, [7.5, 7.8]]), week % 4 == 0)
        yield from _care(at, week)
        for day in luck.sample(range(1, 7), luck.choice([1, 2, 2])):
            evening = _at(at + timedelta(days=day), 19, luck)
            if evening < now - timedelta(hours=14):
                yield from _soak(evening, luck)
    yield now - timedelta(minutes=40), Kind.TEST, {"method": "strip", "bromine": 2, "pH": 7.8, "total_alkalinity": 80}
    yield now - timedelta(minutes=40), Kind.NOTICED, {"clarity": "clear"}


def _at(day: datetime, hour: int, luck: Random) -> datetime:
    """A time of a day, some minutes after the hour."""
    return day.replace(hour=hour, minute=luck.randrange(50))


def _visit(at: datetime, luck: Random, bromine: Any, ph: Any, calcium: bool) -> Iterator[_Told]:
    """Test, look, oxidizer, feeder, and now and then some acid."""
    test: dict[str, Any] = {"method": "strip", "bromine": bromine, "pH": ph, "total_alkalinity": luck.choice([80, 120])}
    yield at, Kind.TEST, test
    yield at, Kind.NOTICED, {"clarity": "clear"}
    if calcium:
        yield at + timedelta(minutes=4), Kind.TEST, {"method": "drop-titration", "calcium_hardness": 150}
    if ph != 7.2:
        yield at + timedelta(minutes=10), Kind.DOSED, {"product": "dry acid", "measures": 0.5}
    yield at + timedelta(minutes=35), Kind.DOSED, {"product": "oxidizer", "measures": luck.choice([1, 1.5])}
    yield at + timedelta(minutes=45), Kind.FEEDER, {"product": "bromine tablets", "tablets": 3, "opening": 0.5}
    yield at + timedelta(minutes=50), Kind.CARED, {"task": "rinse-filter"}


def _care(at: datetime, week: int) -> Iterator[_Told]:
    """A round between two visits, and what is rarer when the week comes."""
    yield from _cared(at + timedelta(days=4, hours=7), _ROUND)
    yield from _cared(at + timedelta(minutes=60), _MONTHLY.get(week % 4, ()))
    if week in _REAGENTS_SORTED:
        yield from _cared(at + timedelta(minutes=70), ("discard-old-reagents",))


def _cared(at: datetime, tasks: Sequence[str]) -> Iterator[_Told]:
    for number, task in enumerate(tasks):
        yield at + timedelta(minutes=2 * number), Kind.CARED, {"task": task}


def _soak(at: datetime, luck: Random) -> Iterator[_Told]:
    people = luck.choice([1, 2, 2, 2, 3])
    yield at, Kind.SOAKED, {"people": people, "lasted": f"{luck.choice([20, 30, 30, 45])} min"}
    yield at + timedelta(minutes=50), Kind.DOSED, {"product": "oxidizer", "measures": 0.5 * people}


def _some_weeks(now: datetime, luck: Random) -> Iterator[_Told]:
    """A let tub in Britain with its record: who answers, samples, a repair; tested an hour ago, and good."""
    began = now - timedelta(days=_WEEKS_AGO[0], hours=2)
    yield began, Kind.APPOINTED, {"name": "Robin Hazelwade", "qualification": "course for keepers of hot tubs"}
    yield began, Kind.OPENING_HOURS, {"opens": "09:00", "closes": "21:00"}
    yield began, Kind.SOURCE_WATER, {"total_alkalinity": "90 mg/L", "total_hardness": "7 °dH", "iron": "0.02 mg/L"}
    for day in (*_WEEKS_AGO, *range(_RECORD_DAYS, 0, -1)):
        yield from _day_of_record(now, day, luck)
    body = {"method": "drop-titration", "total_alkalinity": 80, "calcium_hardness": 160}
    yield now - timedelta(minutes=70), Kind.TEST, body
    yield now - timedelta(minutes=60), Kind.TEST, {**_photometer(luck), "bromine": 4.7, "pH": 7.42}
    yield now - timedelta(minutes=60), Kind.NOTICED, {"clarity": "clear"}


def _day_of_record(now: datetime, day: int, luck: Random) -> Iterator[_Told]:
    """A test in the morning and one in the evening; among the days a repair, a sample and a reading of a guest."""
    morning, evening = (_at(now - timedelta(days=day), hour, luck) for hour in (8, 18))
    if day == _REPAIR:
        yield morning, Kind.CLOSED, {"why": "repair", "by": "the trade", "reason": "the heater trips"}
        yield evening, Kind.REOPENED, {"reason": "heating element replaced and tested"}
        evening += timedelta(hours=1)
    else:
        yield morning, Kind.TEST, _photometer(luck)
        yield morning, Kind.NOTICED, {"clarity": "clear"}
    if day == _SAMPLED:
        yield morning + timedelta(hours=3), Kind.SAMPLED, dict(_SAMPLE)
    if day == 1:
        yield evening - timedelta(hours=4), Kind.TEST, {"method": "strip", "bromine": 5, "pH": 7.5, "guest": True}
    yield evening, Kind.TEST, _photometer(luck)
    yield evening, Kind.NOTICED, {"clarity": "clear"}
    if day <= _WITH_THERMOMETER:
        yield evening + timedelta(minutes=2), Kind.TEST, {"method": "thermometer", "temperature": 38}
    if day % 7 == 2:
        feeder = {"product": "bromine tablets", "tablets": 4, "opening": 0.6}
        yield evening + timedelta(minutes=10), Kind.FEEDER, feeder
        yield from _cared(evening + timedelta(minutes=12), ("rinse-filter", *_ROUND))
        yield from _soak(evening + timedelta(minutes=30), luck)
    if day > 1:
        signed = {"day": f"{evening:%Y-%m-%d}", "name": "Robin Hazelwade", "bathers": 2 if day % 7 == 2 else 0}
        yield evening + timedelta(hours=3), Kind.SIGNED, signed


def _photometer(luck: Random) -> dict[str, Any]:
    """A good reading, and how the water was sampled."""
    read = {"bromine": round(luck.uniform(4.1, 5.4), 1), "pH": round(luck.uniform(7.3, 7.5), 2)}
    return {"method": "photometer", "scale": "as Br2", **read, "jets": False, "bathers": 0}

"""The handout in words: headings, lines and tables as plain data, for the printed page and for any other."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from itertools import groupby
from typing import Any

from tubwater.facts import Limits
from tubwater.reports import units as show
from tubwater.reports.language import language
from tubwater.reports.plain import measures_text
from tubwater.reports.rangeline import axis_drawing
from tubwater.reports.scale import limit_words, shown
from tubwater.reports.text import named, quantity_unit, text_of, tub_named, upper_first
from tubwater.services.contact import Contact
from tubwater.services.handout import Does, DoseRow, Handout, SoakDose
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import Amount, Quantity

__all__ = ["handout_words", "measured"]

_METRIC = UnitSystem.METRIC
_MOST_PAIRS = 3
_MARK = "\u00a0*"  # a number from memory
_OF_A_PUMP = frozenset({"enter-see", "week-look", "week-start", "doses-do", "stop-dirt"})  # said otherwise without one
_LIMITS = ("keep_out_low", "bathing_low", "aim_low", "aim_high", "bathing_high", "keep_out_high")
_BETWEEN = {Quantity.TOTAL_ALKALINITY: "week-alkalinity", Quantity.PH: "week-ph"}


def handout_words(handout: Handout, contact: Contact | None = None, units: UnitSystem = _METRIC) -> dict[str, Any]:
    """Everything on the sheet as texts, lists and tables; no figure is rounded further by whoever shows it."""
    say = _Say(handout, units)
    return {
        "lang": language().value,
        "date": handout.as_of.date().isoformat(),
        "title": text_of("handout", "title", {"name": upper_first(tub_named(handout.tub.name))}),
        "name": upper_first(tub_named(handout.tub.name)),
        "subtitle": say(
            "subtitle", litres=round(handout.litres, -1), guideline=text_of("guideline", handout.guideline.key)
        ),
        "made": say("made", date=show.dated(handout.as_of, "long")),
        "enter": {"head": say("enter"), "lines": list(_enter(say))},
        "bands": {"head": say("bands"), "key": say("band-key"), "rows": list(_bands(say))},
        "week": {"head": say("week"), "steps": list(_week(say))},
        "doses": _doses(say),
        "soak": _soak(say),
        "stop": {"head": say("stop"), "lines": list(_stop(say))},
        "never": {"head": say("never"), "lines": list(_never(say))},
        "ask": _ask(contact or Contact()),
        "unverified": _unverified(say),
        "foot": f"{_unverified(say)} {say('foot')}".strip(),
    }


def measured(amount: Amount, units: UnitSystem = _METRIC) -> str:
    """An amount in the product's own measure with its weight: "2 level scoops (60 g)"."""
    weight = show.grams(amount.grams, units)
    if amount.millilitres:
        weight = f"{show.millilitres(amount.millilitres, units)}, {weight}"
    if not amount.count or amount.measure in ("", "scale"):
        return weight
    return f"{measures_text(amount)} ({weight})"


class _Say:
    """Fills the texts of one handout."""

    def __init__(self, handout: Handout, units: UnitSystem) -> None:
        self.handout, self.units = handout, units
        self.limits = dict(handout.bands)
        name = text_of("quantity", handout.sanitizer.value)
        self.moved = handout.tub.equipment.pump
        moving = text_of("handout", "moving" if self.moved else "moving-still")
        kept = text_of("web", f"sanitizer.{handout.tub.sanitizer.value}")
        self._always = {"sanitizer": name, "Sanitizer": upper_first(name), "kept": kept, "moving": moving}

    def __call__(self, kind: str, **values: object) -> str:
        kind = f"{kind}-still" if kind in _OF_A_PUMP and not self.moved else kind
        return text_of("handout", kind, {**self._always, **values}, self.units)

    def value(self, number: float, quantity: Quantity) -> str:
        """A number of a quantity."""
        return shown(number, quantity, self.units)

    def out(self, quantity: Quantity) -> str:
        """Where people are kept out."""
        return limit_words(self.limits[quantity], "out", quantity, self.units)

    def mark(self, quantity: Quantity, names: Iterable[str] = _LIMITS) -> str:
        """A mark where one of these limits is from memory and bounds anything; "" otherwise."""
        limits = self.limits[quantity]
        bounding = (name for name in names if 0.0 < getattr(limits, name) < math.inf)
        return "" if all(map(limits.verified, bounding)) else _MARK

    @property
    def hottest(self) -> str:
        """The warmest water that anybody may be in."""
        warmest = show.temperature(self.limits[Quantity.TEMPERATURE].bathing_high, self.units)
        return warmest + self.mark(Quantity.TEMPERATURE, ("bathing_high",))


def _enter(say: _Say) -> Iterator[str]:
    handout, ph = say.handout, say.limits[Quantity.PH]
    limits = say.limits[handout.sanitizer]
    marks = {q: say.mark(q, ("bathing_low", "bathing_high")) for q in (handout.sanitizer, Quantity.PH)}
    values = {"low": say.value(limits.bathing_low, handout.sanitizer)}
    values |= {"high": say.value(limits.bathing_high, handout.sanitizer) + marks[handout.sanitizer]}
    values |= {"ph_low": say.value(ph.bathing_low, Quantity.PH)}
    values |= {"ph_high": say.value(ph.bathing_high, Quantity.PH) + marks[Quantity.PH]}
    yield say("enter-test", hours=handout.max_age_hours, **values)
    yield say("enter-fit")
    yield say("enter-see")
    yield say("enter-wait")
    yield say(
        "enter-people", people=handout.most_people, minutes=handout.guideline.session_minutes, hottest=say.hottest
    )
    yield say("enter-who")


def _unverified(say: _Say) -> str:
    """What the mark means, where it stands anywhere."""
    lines = (*_enter(say), *_stop(say), *(row["aim"] for row in _bands(say)))
    return say("unverified") if any(_MARK in line for line in lines) else ""


def _bands(say: _Say) -> Iterator[dict[str, Any]]:
    """The sanitizer, pH and what else the keeper's test can read."""
    tabled = {row.quantity for row in say.handout.doses}
    for quantity, limits in say.handout.bands:
        if quantity in tabled or quantity in (say.handout.sanitizer, Quantity.PH):
            yield _band(say, quantity, limits)


def _band(say: _Say, quantity: Quantity, limits: Limits) -> dict[str, Any]:
    aim, bathing, out = (limit_words(limits, which, quantity, say.units) for which in ("aim", "bathing", "out"))
    unit = quantity_unit(quantity, say.units)
    alt = say("band-alt", quantity=quantity.value, aim=aim, bathing=bathing, out=out, unit=unit)
    name = upper_first(text_of("quantity", quantity.value))
    return {
        "name": name,
        "aim": say("band", aim=aim, unit=unit) + say.mark(quantity),
        "alt": alt,
        **axis_drawing(limits, quantity, say.units),
    }


def _week(say: _Say) -> Iterator[dict[str, str]]:
    """The steps of a week with the time each takes or has to be left, empty where it takes none."""
    handout = say.handout
    care = {task.key: task for task in handout.weekly}
    yield _step(say("week-look"), 0.0)
    if "rinse-filter" in care:
        yield _step(say("week-filter"), care["rinse-filter"].minutes)
    yield _step(say("week-test"), 0.0)
    yield _step(say("week-start"), 0.0)
    kinds = {row.quantity for row in handout.doses if row.does is Does.ADD}
    for quantity, kind in _BETWEEN.items():
        if quantity in kinds:
            yield _step(say(kind), handout.mix_minutes)
    if handout.oxidizer:
        yield _step(say("week-oxidizer", Product=upper_first(named(handout.oxidizer))), handout.oxidizer_minutes)
    if "wipe-waterline" in care:
        yield _step(say("week-wipe"), 0.0)
    if handout.feeder:
        yield _step(_feeder(say), 0.0)
    yield _step(say("week-vent"), 10.0)
    yield _step(say("week-again"), 0.0)
    dates = ", ".join(_dates(say))
    if dates:
        yield _step(say("week-dates", list=dates), 0.0)


def _dates(say: _Say) -> Iterator[str]:
    """Rarer care and the change of the water, each with its day."""
    handout = say.handout
    known = [(text_of("care-short", found.task.key), found.due) for found in handout.dates]
    known += [(text_of("care-short", "water"), handout.drain_by)] if handout.drain_by else []
    for what, due in known:
        kind = "week-date-now" if due <= handout.as_of else "week-date"
        yield say(kind, what=what, day=show.dated(due, "day-month"))


def _feeder(say: _Say) -> str:
    feeder = say.handout.feeder
    assert feeder is not None
    if feeder.tablets <= 0.0 or feeder.opening <= 0.0:
        return say("week-feeder-none")
    opening = text_of("opening", "open")
    if feeder.opening < 1.0:
        opening = text_of("opening", "part", {"percent": show.percent(feeder.opening)})
    return say("week-feeder", tablets=feeder.tablets, product=feeder.product, opening=opening)


def _up(minutes: float) -> float:
    """A wait rounded up to five minutes."""
    return 5.0 * math.ceil(minutes / 5.0 - 1e-9)


def _time(minutes: float) -> str:
    return text_of("handout", "time", {"minutes": _up(minutes)}) if minutes else ""


def _step(text: str, minutes: float) -> dict[str, str]:
    return {"text": text, "time": _time(minutes)}


def _doses(say: _Say) -> dict[str, Any]:
    groups = []
    for quantity, rows in groupby(say.handout.doses, key=lambda row: row.quantity):
        wanted = say.limits[quantity]
        said = [_dose(say, row) for row in rows if not _is_wanted(row, wanted)]
        unit = quantity_unit(quantity, say.units)
        name = upper_first(text_of("quantity", quantity.value))
        groups += [{"name": f"{name}, {unit}" if unit else name, "rows": said}] if said else []
    far = say.value(say.limits[say.handout.sanitizer].keep_out_high, say.handout.sanitizer)
    columns = [say("doses-reads"), say("doses-do"), say("doses-then")]
    return {"head": say("doses"), "columns": columns, "groups": groups, "note": say("doses-one", far=far)}


def _is_wanted(row: DoseRow, limits: Limits) -> bool:
    """A reading inside what is wanted, at which nothing is done."""
    return row.does is Does.LEAVE and limits.aim_low <= row.low and row.high <= limits.aim_high


def _dose(say: _Say, row: DoseRow) -> dict[str, Any]:
    does = f"does-{row.does.value}"
    if row.does is Does.ASK and not row.keep_out:
        does = "does-ask-only"
    if row.does is Does.CLOSE_FEEDER and say.handout.feeder is None:
        does = "does-open-cover"
    if row.amount is not None:
        do = say(does, amount=measured(row.amount, say.units), product=row.amount.product)
    else:
        do = say(does)
    return {"reads": _reads(say, row), "do": do, "then": _time(row.minutes)}


def _reads(say: _Say, row: DoseRow) -> str:
    low, high = say.value(row.low, row.quantity), say.value(row.high, row.quantity)
    rows = [r for r in say.handout.doses if r.quantity is row.quantity]
    if row is rows[0] and 0.0 < row.high < say.limits[row.quantity].aim_low:
        return say("reads-down", high=high)
    if row is rows[-1] and row.low > say.limits[row.quantity].aim_high:
        return say("reads-up", low=low)
    return say("reads-one" if low == high else "reads", low=low, high=high)


def _soak(say: _Say) -> dict[str, Any]:
    handout = say.handout
    found: dict[str, Any] = {"head": say("soak"), "columns": [], "rows": [], "note": say("soak-none")}
    if handout.situation in ("keep-out", "test-first") and handout.after_soak is None:
        return {**found, "note": say("soak-unknown")}
    if handout.after_soak is None and not handout.oxidizer:
        return {**found, "note": say("soak-no-product")}
    if handout.after_soak is None or not handout.soaks:
        return found
    rows = [[_soak_who(say, dose), _soak_amount(say, dose)] for dose in handout.soaks]
    columns = [say("soak-who"), say("soak-add", product=handout.after_soak.amount.product)]
    note = say("soak-wait", wait=_up(handout.after_soak.wait_minutes))
    return {**found, "columns": columns, "rows": rows, "note": note}


def _soak_who(say: _Say, dose: SoakDose) -> str:
    return say("soak-row-one" if dose.people == 1 else "soak-row", people=dose.people, minutes=dose.minutes)


def _soak_amount(say: _Say, dose: SoakDose) -> str:
    amount = measured(dose.amount, say.units)
    return say("soak-most", amount=amount) if dose.capped else amount


def _stop(say: _Say) -> Iterator[str]:
    out = {q: say.out(q) + say.mark(q, ("keep_out_low", "keep_out_high")) for q in (say.handout.sanitizer, Quantity.PH)}
    yield say("stop-reads", out=out[say.handout.sanitizer], ph_out=out[Quantity.PH])
    for kind in ("stop-untested", "stop-zero", "stop-clear"):
        yield say(kind)
    yield say("stop-hot", hottest=say.hottest)
    for kind in ("stop-parts", "stop-dirt", "stop-ill") if say.moved else ("stop-dirt", "stop-ill"):
        yield say(kind)


def _never(say: _Say) -> Iterator[str]:
    for pair in say.handout.never[:_MOST_PAIRS]:
        yield say(
            "never-pair",
            first=upper_first(named(pair.first)),
            second=named(pair.second),
            effect=text_of("effect", pair.effect),
        )
    yield say("never-more" if say.handout.never else "never-any")
    yield say("never-water")
    if say.handout.feeder:
        yield say("never-feeder", product=say.handout.feeder.product)
    yield say("never-wear")


def _ask(contact: Contact) -> dict[str, Any]:
    said = (("ask-name", "name", contact.name), ("ask-phone", "phone", contact.phone))
    return {
        "head": text_of("handout", "ask"),
        "who": [text_of("handout", kind, {key: value}) for kind, key, value in said if value],
        "blanks": []
        if contact.name or contact.phone
        else [text_of("handout", "blank-name"), text_of("handout", "blank-phone")],
        "lines": [text_of("handout", kind) for kind in ("ask-fire", "ask-poison")],
        "qr": contact.address,
        "under": text_of("handout", "ask-qr"),
        "alt": text_of("handout", "ask-qr-alt", {"address": contact.address}),
    }

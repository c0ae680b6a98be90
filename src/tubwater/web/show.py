"""Turns a template and values into a page. Every sentence of a template comes from the catalogue."""

from __future__ import annotations

import re
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from datetime import datetime
from functools import cache, lru_cache
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from tubwater import __version__
from tubwater.errors import Problem
from tubwater.reports import units as numbers
from tubwater.reports.due import due_words
from tubwater.reports.language import Language, language
from tubwater.reports.plain import amount_text, measures_text, moment, step_text
from tubwater.reports.scale import shown, span_words
from tubwater.reports.text import (
    explained,
    field_words,
    marked,
    named,
    quantity_unit,
    sentence,
    text_of,
    tub_named,
    unnamed,
    upper_first,
)
from tubwater.reports.zone import placed
from tubwater.services.due import Due, DueKind
from tubwater.services.tested import LastReading
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import Amount, Expectation, Quantity, Reason, Verdict, VerdictKind
from tubwater.web.desk import desk_of
from tubwater.web.next import Next
from tubwater.web.refused import PLACE, said_beside
from tubwater.web.static import address_of
from tubwater.web.today import Row

__all__ = ["around", "explain", "foreign", "kept_page", "markup", "page", "say"]

_STAMP = Markup("<!--stamp-->")  # where the time stands in a page that was drawn before
_KEY = Markup("<!--key-->")  # where a form's own key stands in it
_NOW = Markup("<!--now-->")  # where the very moment stands in it, for timers
_LATEST = Markup("<!--latest-->")  # where the minute stands in it, the latest at which something can have happened
_GAP = re.compile(
    r"(?:(?<=[\d¼½¾])|(?<=\d h)|(?<=\d Std\.)|(?<=\bpH)|(?<=\babout)|(?<=\betwa)|(?<=\bSteps:)|(?<=\bSchritte:))"
    r" (?=[\d%a-zA-Z°µ¼½¾])"
)


def say(kind: str, units: UnitSystem = UnitSystem.METRIC, **values: Any) -> str:
    """A text of the pages, from the section "web" of the catalogue."""
    return text_of("web", kind, values, units)


def page(request: Request, template: str, values: Mapping[str, Any] | None = None, status: int = 200) -> HTMLResponse:
    """A page. ``now`` (in the keeper's zone), ``local`` and ``units`` are there for every template.

    So are the ``language`` it is in, the ``languages`` there are, and the address ``here`` to come back to.
    """
    return HTMLResponse(markup(request, template, values), status)


def markup(request: Request, template: str, values: Mapping[str, Any] | None = None) -> str:
    """A page or a part of one, as it is sent; ``problems`` among the values are said beside the fields of its form."""
    desk = desk_of(request)
    now = desk.now()
    common = {"now": now, "local": desk.local, "units": UnitSystem.METRIC, "path": request.url.path}
    common |= {"language": language(), "languages": tuple(Language), "here": _here(request), "stamp": _stamp(now)}
    common |= {"instant": now.isoformat(), "latest": _minute(now)}
    text = _templates().get_template(template).render({**common, **(values or {})})
    problems = (values or {}).get("problems")
    return said_beside(text, problems, _parts().listed, _parts().beside) if problems else text


def kept_page(
    request: Request,
    template: str,
    of: tuple[object, ...],
    values: Callable[[], Mapping[str, Any]],
    also: Hashable = None,
    problems: Sequence[Problem] = (),
) -> HTMLResponse:
    """A page that says nothing but what its address asks of the answers ``of``: it is drawn once for them.

    ``also`` is what it depends on beside them; the time at its head, the ``instant`` of its timers, the ``latest`` time
    and the ``key`` of its forms are always those of the request. With ``problems`` of what was entered it is drawn for
    this request alone, and refuses.
    """
    if problems:
        return page(request, template, {**values(), "problems": problems}, 422)
    desk = desk_of(request)
    named = (template, _here(request), language(), also)
    fresh = {"stamp": _STAMP, "instant": _NOW, "latest": _LATEST, "key": _KEY, "problems": ()}
    text = desk.drawn.once(named, of, lambda: markup(request, template, {**values(), **fresh}))
    now = desk.now()
    text = text.replace(_STAMP, _stamp(now), 1).replace(_NOW, now.isoformat()).replace(_LATEST, _minute(now))
    return HTMLResponse(text.replace(_KEY, desk.keeping.names.fresh()))


def _stamp(now: datetime) -> Markup:
    """The time at the head of a page."""
    return Markup(f'<time datetime="{now.isoformat(timespec="minutes")}">{escape(moment(now))}</time>')


def _minute(now: datetime) -> str:
    """A time as a field of a form has it."""
    return f"{now:%Y-%m-%dT%H:%M}"


def _here(request: Request) -> str:
    """The address of a page; the first page for what was not asked for by an address alone."""
    query = f"?{request.url.query}" if request.url.query else ""
    return request.url.path + query if request.method == "GET" else "/"


def explain(reason: Reason) -> Markup:
    """How sure a reason's numbers are and where they come from, with the words of the facts marked as English."""
    kind, rest = explained(reason)
    if not rest:
        return escape(kind)
    return Markup("{}: {}").format(kind, foreign(rest))


def _sourced(text: str) -> Markup:
    """The same where both parts were joined already: "how sure: where from"."""
    kind, colon, rest = text.partition(": ")
    return escape(kind) + escape(colon) + (foreign(rest) if rest else Markup(""))


def foreign(text: str) -> Markup:
    """Words of the facts, which are English whatever the page is in: marked so for whom a page is read aloud."""
    return escape(text) if language() is Language.ENGLISH else Markup('<span lang="en">{}</span>').format(text)


def around(kind: str, **marked: Markup) -> Markup:
    """A text of the pages around parts that are markup already."""
    gaps = {name: f"\x00{name}\x00" for name in marked}
    text = str(escape(text_of("web", kind, gaps)))
    for name, gap in gaps.items():
        text = text.replace(gap, marked[name])
    return Markup(text)


@cache
def _parts() -> Any:
    """The macros that several pages share."""
    return _templates().get_template("parts.html").module


@lru_cache(4096, typed=True)  # markup is another thing than the same letters
def _nonbreaking(text: str) -> Markup:
    """Numbers stay with their units: "1,300 L" is not torn apart at a line's end."""
    return Markup(_GAP.sub("&nbsp;", str(escape(text))))


@cache
def _templates() -> Environment:
    made = Environment(
        loader=PackageLoader("tubwater.web", "templates"),
        autoescape=True,
        auto_reload=False,  # a page would look at every file that it is made of
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_alone,
    )
    made.globals.update(
        say=say,
        text_of=text_of,
        sentence=sentence,
        marked=marked,
        explain=explain,
        around=around,
        foreign=foreign,
        quantity_unit=quantity_unit,
        unit_after=_unit_after,
        amount_text=amount_text,
        step_text=step_text,
        static=address_of,
        tubs_sentence=_tubs_sentence,
        verdict_sentence=_verdict_sentence,
        next_sentence=_next_sentence,
        span=_span,
        middle=_middle,
        weight=_weight,
        measure=_measure,
        field_name=field_words,
        place_of_refused=Markup(PLACE),
        named=named,
        measure_name=_measure_name,
        substance_name=_substance_name,
        role_names=_role_names,
        version=__version__,
    )
    made.filters.update(
        number=numbers.number,
        percent=numbers.percent,
        minutes=numbers.minutes,
        lasting=numbers.lasting,
        hours=numbers.hours,
        litres=numbers.litres,
        grams=numbers.grams,
        temperature=numbers.temperature,
        fraction=numbers.fraction,
        moment=moment,
        day=_day,
        clock=_clock,
        short=_short,
        daymonth=_daymonth,
        capital=upper_first,
        bound=_nonbreaking,
        sourced=_sourced,
    )
    return made


def _alone(value: Any) -> Any:
    """What stands for itself in a page: a tub that its keeper gave no name is called in the page's language."""
    return upper_first(tub_named(value)) if type(value) is str and unnamed(value) else value


def _verdict_sentence(verdict: Verdict, units: UnitSystem = UnitSystem.METRIC) -> str:
    """The verdict as one sentence."""
    if verdict.kind is not VerdictKind.FIT:
        return say(f"verdict.{verdict.kind.value}", units)
    kind = "verdict.fit.one" if verdict.people == 1 else "verdict.fit.more"
    return say(kind, units, people=verdict.people, minutes=verdict.minutes)


def _next_sentence(found: Next, units: UnitSystem = UnitSystem.METRIC) -> str:
    """The next thing to do as one sentence."""
    if found.step is None:
        return _due_sentence(found.due) if found.due else say("next.nothing", at=moment(found.plan.next_visit))
    if found.kind == "test":
        return say("next.test-from", at=found.waits_until) if found.waits_until else say("next.test")
    return say("next.plan", step=step_text(found.step, units))


def _due_sentence(due: Due) -> str:
    """What is due first, where the plan has no work."""
    if due.kind is DueKind.TEST and not due.every:
        return say("next.test") if due.now else say("next.test-by", at=moment(due.at))
    if due.now:
        return say("next.due", what=due_words(due))
    at = numbers.dated(placed(due.at), "weekday") if due.whole_day else moment(due.at)
    return say("next.nothing", at=at) if due.kind is DueKind.VISIT else say("next.later", at=at, what=due_words(due))


def _span(found: Expectation | LastReading, units: UnitSystem = UnitSystem.METRIC) -> str:
    """An interval of a quantity in words."""
    return span_words(found.low, found.high, found.quantity, units)


def _middle(found: Expectation, units: UnitSystem = UnitSystem.METRIC) -> str:
    return shown(found.median, found.quantity, units)


def _unit_after(quantity: Quantity, units: UnitSystem = UnitSystem.METRIC) -> Markup:
    """The unit behind a number, not torn from it; nothing where there is none."""
    unit = quantity_unit(quantity, units)
    return Markup("&nbsp;{}").format(unit) if unit else Markup("")


def _weight(amount: Amount, units: UnitSystem = UnitSystem.METRIC) -> str:
    """How much of a product by weight, or by volume for a liquid."""
    if amount.millilitres:
        return numbers.millilitres(amount.millilitres, units)
    return numbers.grams(amount.grams, units)


def _measure(amount: Amount) -> str:
    """How much of a product in its own measure; empty where it is weighed."""
    if not amount.count or amount.measure in ("", "scale", "jug"):
        return ""
    return measures_text(amount)


def _measure_name(kind: str, many: bool = False) -> str:
    """What a measure is called, one of it or several."""
    return text_of("measure-name", f"{kind}-many" if many else kind)


def _substance_name(key: str) -> str:
    return text_of("substance", key)


def _role_names(roles: Iterable[str]) -> str:
    return ", ".join(text_of("role", str(role)) for role in sorted(roles))


def _tubs_sentence(rows: Sequence[Row]) -> str:
    """How many tubs want something."""
    wanting = sum(row.verdict.kind is not VerdictKind.FIT for row in rows)
    if len(rows) == 1:
        return say("tubs.one-not" if wanting else "tubs.one-fit")
    return say("tubs.some", count=wanting, all=len(rows)) if wanting else say("tubs.all-fit")


def _day(at: datetime) -> str:
    return numbers.dated(at, "weekday")


def _clock(at: datetime) -> str:
    return f"{at:%H:%M}"


def _daymonth(at: datetime) -> str:
    return numbers.dated(at, "day-month")


def _short(at: datetime) -> str:
    return numbers.dated(at, "short")

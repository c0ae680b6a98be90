"""What is refused is said twice on the page of a form: in a list at its head, and beside the field that it is about.

The page itself says what each field is called and where it stands, so that no form has to say it once more.
"""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from html.parser import HTMLParser

from tubwater.errors import Problem
from tubwater.reports.refusals import refusal
from tubwater.reports.text import field_words, text_of, upper_first

__all__ = ["ABOUT", "PLACE", "Refused", "said_beside"]

ABOUT = "about."  # before the name of what a plan for something else was asked with, in its address alone
PLACE = "<!--refused-->"  # where the list stands in a page
_NOTHING = "nothing"  # what a problem says was given where a field was left empty
_CONTROLS = ("input", "select", "textarea")
_CHOICES = ("radio", "checkbox")
_AROUND = ("label", "legend", "fieldset", "details", "h2", *_CONTROLS[1:])
_UNSAID = re.compile(r'<span class="second">.*?</span>|<[^>]*>', re.DOTALL)
# What a logbook calls a thing, and how a form asks for it where that is another name.
_ASKED_AS: Mapping[str, tuple[str, ...]] = {
    "volume": ("litres",),
    "people": ("other_people",),
    "lasted": ("other_minutes",),
    "minutes": ("soak_minutes",),
    **dict.fromkeys(("scoop", "cap", "spoon", "tablet"), ("grams",)),
}


@dataclass(frozen=True)
class Refused:
    """One line of the list: the id of the field, "" where the form has none, what it is called, and what is said."""

    id: str
    name: str
    text: str


@dataclass(frozen=True, eq=False)
class _Part:
    """An element of the page: where it starts, where its inside does, where that ends, and where the element ends."""

    tag: str
    attributes: Mapping[str, str]
    start: int
    inside: int
    until: int
    end: int

    def holds(self, other: _Part) -> bool:
        return self.inside <= other.start < self.until


class _Parts(HTMLParser):
    """The elements of a page that a form is made of, in the order of their ends."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self._lines = [0, *(found.end() for found in re.finditer("\n", page))]
        self._page, self._open, self.found = page, list[_Part](), list[_Part]()
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        start = self._place()
        end = start + len(self.get_starttag_text() or "")
        part = _Part(tag, {name: value or "" for name, value in attrs}, start, end, end, end)
        if tag in _AROUND:
            self._open.append(part)
        else:
            self.found.append(part)

    def handle_endtag(self, tag: str) -> None:
        if tag in _AROUND and self._open:
            part, until = self._open.pop(), self._place()
            self.found.append(
                _Part(part.tag, part.attributes, part.start, part.inside, until, self._page.index(">", until) + 1)
            )

    def _place(self) -> int:
        line, column = self.getpos()
        return self._lines[line - 1] + column


class _Form:
    """A page with its fields."""

    def __init__(self, page: str) -> None:
        self._page, self._parts = page, _Parts(page).found

    def field(self, problem: Problem) -> _Part | None:
        """The first field that asks for what a problem is about; None where nothing does."""
        name = _asked(problem)
        if problem.field.startswith(ABOUT):  # its days are not those until the next visit
            return None
        fields = [p for p in self._parts if p.tag in _CONTROLS and p.attributes.get("type") != "hidden"]
        named = {p.attributes.get("name", ""): p for p in reversed(fields)}
        return next((named[n] for n in (*_ASKED_AS.get(name, ()), name, f"fill_{name}") if n in named), None)

    def place(self, problem: Problem) -> str:
        """The id of the part of the page that a problem with no field of its own is about; "" where there is none."""
        name = _asked(problem)
        return name if any(p.attributes.get("id") == name for p in self._parts) else ""

    def caption(self, field: _Part) -> _Part | None:
        """What a field is called by: the legend around its answers, its label, or a heading that is one."""
        if field.attributes.get("type") in _CHOICES and (group := self.group(field)):
            return next((p for p in self._parts if p.tag == "legend" and group.holds(p)), None)
        labels = [p for p in self._parts if p.tag == "label"]
        own = next((p for p in labels if p.attributes.get("for") == field.attributes.get("id", "-")), None)
        return own or next((p for p in labels if p.holds(field)), None)

    def called(self, field: _Part, caption: _Part) -> str:
        """The words of a caption, behind those of the legend that it stands under."""
        around = next((p for p in self._parts if p.tag == "fieldset" and p.holds(field)), None)
        legend = next((p for p in self._parts if p.tag == "legend" and around and around.holds(p)), None)
        own = self.words(caption)
        return own if legend in (None, caption) else f"{self.words(legend)}: {own}"

    def group(self, field: _Part) -> _Part | None:
        """The fieldset around the answers that one is chosen of."""
        around = [p for p in self._parts if p.tag == "fieldset" and p.holds(field)]
        return around[0] if around and field.attributes.get("type") in _CHOICES else None

    def closed(self, field: _Part) -> list[_Part]:
        """What is folded up around a field."""
        return [p for p in self._parts if p.tag == "details" and p.holds(field) and "open" not in p.attributes]

    def words(self, part: _Part) -> str:
        """What stands in a caption, without what is said beside."""
        return " ".join(html.unescape(_UNSAID.sub("", self._page[part.inside : part.until])).split())

    def after(self, field: _Part) -> int:
        """Where the sentence of a field stands: behind its caption."""
        caption = self.caption(field)
        if caption is None:
            return field.start
        return next((p.end for p in self._parts if p.tag == "h2" and p.holds(caption)), caption.end)

    def within(self, part: _Part, **attributes: str) -> tuple[int, int, str]:
        """The start of an element with attributes added; an id that describes it joins those that do already."""
        tag = self._page[part.start : part.inside]
        for name, value in attributes.items():
            key = name.replace("_", "-")
            if key == "aria-describedby" and key in part.attributes:
                tag = tag.replace(f'{key}="', f'{key}="{value} ', 1)
            elif key not in part.attributes:
                tag = f'{tag[:-1]} {key}="{html.escape(value)}">'
        return part.start, part.inside, tag


def said_beside(
    page: str,
    problems: Sequence[Problem],
    listed: Callable[[Sequence[Refused]], str],
    beside: Callable[[str, str], str],
) -> str:
    """A page with what is refused of its form: ``listed`` draws the list, ``beside`` a sentence under its own id."""
    form = _Form(page)
    found = [(problem, form.field(problem)) for problem in problems]
    rows = [_row(form, problem, field) for problem, field in found]
    changes: list[tuple[int, int, str]] = []
    for field in dict.fromkeys(field for _, field in found if field):
        said = " ".join(row.text for row, (_, own) in zip(rows, found, strict=True) if own is field)
        changes += _changes(form, field, str(beside(f"{_id(field)}-e", said)))
    return _changed(page, changes).replace(PLACE, str(listed(rows)), 1)


def _row(form: _Form, problem: Problem, field: _Part | None) -> Refused:
    if field is None:
        return Refused(form.place(problem), upper_first(field_words(problem.field)), _said(problem))
    caption = form.caption(field)
    name = form.called(field, caption) if caption else field.attributes.get("aria-label", "")
    return Refused(_id(field), name or upper_first(field_words(problem.field)), _said(problem, field))


def _asked(problem: Problem) -> str:
    """The last name of what a problem is about: "tub.use.minutes" asks for minutes."""
    return problem.field.rpartition(".")[2].partition("[")[0]


def _said(problem: Problem, field: _Part | None = None) -> str:
    """What was entered and what was expected; a field that knows what it takes says that itself."""
    taken = field.attributes.get("data-takes", "") if field else ""
    if field and (field.tag == "select" or field.attributes.get("type") in _CHOICES):
        taken = text_of("web", "error.choose")
    if not taken:
        taken = text_of("web", "error.expected", {"expected": refusal(problem.expected)})
    if problem.given == _NOTHING:
        return text_of("web", "error.nothing", {"taken": taken})
    return text_of("web", "error.given", {"given": refusal(problem.given), "taken": taken})


def _id(field: _Part) -> str:
    return field.attributes.get("id") or f"f-{field.attributes['name']}"


def _changes(form: _Form, field: _Part, sentence: str) -> Iterable[tuple[int, int, str]]:
    """The field marked and described, its sentence, and all that is folded up around it opened."""
    place, told = form.after(field), f"{_id(field)}-e"
    yield place, place, sentence
    group = form.group(field)
    if group is not None:
        yield form.within(group, role="radiogroup", aria_invalid="true", aria_describedby=told)
        yield form.within(field, id=_id(field))
    else:
        yield form.within(field, id=_id(field), aria_invalid="true", aria_describedby=told)
    for part in form.closed(field):
        yield form.within(part, open="")


def _changed(page: str, changes: Iterable[tuple[int, int, str]]) -> str:
    for start, end, text in sorted(set(changes), reverse=True):
        page = page[:start] + text + page[end:]
    return page

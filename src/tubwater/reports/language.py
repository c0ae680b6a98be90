"""The language in which a reader is told something: chosen once at a face, it holds for a whole request or command."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from enum import StrEnum
from functools import cache
from importlib import resources

__all__ = ["Language", "choose", "language", "preferred", "section", "speaking", "texts"]


class Language(StrEnum):
    """The languages that the catalogue is complete in."""

    ENGLISH = "en"
    GERMAN = "de"


# Each thread, task and request has its own: what one reader chose never shows to another.
_CHOSEN: ContextVar[Language] = ContextVar("language", default=Language.ENGLISH)


def language() -> Language:
    """The language chosen; English where none was."""
    return _CHOSEN.get()


def choose(chosen: Language) -> None:
    """From here on in this thread, task or request."""
    _CHOSEN.set(chosen)


@contextmanager
def speaking(chosen: Language) -> Iterator[None]:
    """The language as long as it is held."""
    token = _CHOSEN.set(chosen)
    try:
        yield
    finally:
        _CHOSEN.reset(token)


def preferred(accepted: str) -> Language:
    """The best of our languages for an ``Accept-Language`` header (RFC 9110, 12.5.4); English where none fits."""
    known = {one.value: one for one in Language}
    ranked = sorted(filter(None, map(_range, accepted.split(","))), key=lambda found: -found[1])
    return next((known[name] for name, weight in ranked if name in known and weight > 0.0), Language.ENGLISH)


def _range(text: str) -> tuple[str, float] | None:
    """A language range without its region, and its weight."""
    name, _, rest = text.strip().partition(";")
    weight = rest.strip().removeprefix("q=") or "1"
    try:
        return name.strip().partition("-")[0].lower(), float(weight)
    except ValueError:
        return None


@cache
def texts(chosen: Language) -> Mapping[str, Mapping[str, str]]:
    """The texts of a language, section by section: of ``en.toml`` and of every ``*.en.toml`` beside it."""
    found: dict[str, dict[str, str]] = {}
    for written in _written(chosen):
        for name, said in tomllib.loads(written).items():
            found.setdefault(name, {}).update(said)
    return found


def section(chosen: Language, name: str) -> Mapping[str, str]:
    """One section; of a language that is not spoken here, without reading all the others."""
    if chosen is language():
        return texts(chosen)[name]
    parts = [tomllib.loads(written)[name] for written in _written(chosen) if f"[{name}]\n" in written]
    return {key: text for part in parts for key, text in part.items()}


def _written(chosen: Language) -> Iterator[str]:
    """The files of a language as they stand."""
    folder = resources.files("tubwater.reports").joinpath("catalogue")
    for file in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if f".{file.name}".endswith(f".{chosen}.toml"):
            yield file.read_text(encoding="utf-8")

"""In which language a command answers."""

from __future__ import annotations

import argparse
from collections.abc import Mapping

from tubwater.errors import InputError
from tubwater.reports.language import Language

__all__ = ["language_for"]

_VARIABLE = "TUBWATER_LANGUAGE"


def language_for(words: argparse.Namespace, environment: Mapping[str, str]) -> Language:
    """As the option after or before the command says, or else the environment; English where none does.

    Raises:
        InputError: the environment names another language.
    """
    given = getattr(words, "language", None) or words.spoken or environment.get(_VARIABLE, "") or Language.ENGLISH
    try:
        return Language(given)
    except ValueError:
        raise InputError.one(_VARIABLE, given, "en or de") from None

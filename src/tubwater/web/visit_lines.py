"""The steps of a visit as a list, numbered as the head of its screens numbers them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tubwater.services.visits import Phase, Running, Standing
from tubwater.tub import StepKind
from tubwater.web.visit_view import counts

__all__ = ["Line", "Under", "lines_of", "rest_of"]


@dataclass(frozen=True)
class Under:
    """A step of the list: its row, whether it is the one whose turn it is, and the word of what became of it."""

    row: Standing
    current: bool
    word: str


@dataclass(frozen=True)
class Line:
    """A step with its number, and under it the waits and checks that have none; no step where they come first."""

    number: int
    step: Under | None
    under: tuple[Under, ...]


def lines_of(state: Running) -> tuple[Line, ...]:
    """Every step of a visit."""
    return _grouped(state, state.steps)


def rest_of(state: Running) -> tuple[Line, ...]:
    """What was handed over, under the numbers that it has in the whole visit."""
    return _grouped(state, state.handed.rest if state.handed else ())


def _grouped(state: Running, rows: Sequence[Standing]) -> tuple[Line, ...]:
    numbers = {row.key: n for n, row in enumerate((r for r in state.steps if counts(r)), 1)}
    found: list[tuple[Under | None, list[Under]]] = []
    for row in rows:
        one = Under(row, _current(state, row), _word(state, row))
        if row.key in numbers:
            found.append((one, []))
        elif found:
            found[-1][1].append(one)
        else:
            found.append((None, [one]))
    return tuple(Line(numbers[step.row.key] if step else 0, step, tuple(under)) for step, under in found)


def _current(state: Running, row: Standing) -> bool:
    return state.phase is Phase.RUNNING and state.turn is not None and row.key == state.turn.key


def _word(state: Running, row: Standing) -> str:
    """The key of the word; "" where there is nothing to say."""
    if row.answered:
        return f"status.{row.status.value}"
    if _current(state, row):
        return "status.now"
    over = state.phase in (Phase.FINISHED, Phase.CLOSED) and row.step.kind is not StepKind.WAIT
    return "status.skipped" if over else ""

"""Frozen values as plain data (dictionaries, lists, numbers, texts) and back."""

from __future__ import annotations

import dataclasses
import math
import types
import typing
from collections.abc import Mapping
from datetime import date, datetime
from enum import Enum
from functools import cache
from typing import Any, TypeVar

__all__ = ["as_data", "from_data"]

_Value = TypeVar("_Value")


def as_data(value: object) -> Any:
    """The value as plain dictionaries, lists, numbers and texts; what is not finite is None, times are ISO 8601."""
    if isinstance(value, Enum):
        return value.value
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: as_data(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(as_data(key)): as_data(item) for key, item in value.items()}
    if isinstance(value, set | frozenset):
        return sorted((as_data(item) for item in value), key=str)
    if isinstance(value, list | tuple):
        return [as_data(item) for item in value]
    return _scalar(value)


def _scalar(value: object) -> Any:
    if isinstance(value, datetime):
        return value.isoformat()
    if hasattr(value, "tolist"):  # an array or a scalar of numpy
        return as_data(value.tolist())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value if value is None or isinstance(value, bool | int | str) else str(value)


def from_data(kind: type[_Value], data: Any) -> _Value:
    """The value of a type of this package that ``as_data`` made ``data`` of; absent fields keep their defaults."""
    return typing.cast(_Value, _read(kind, data))


def _read(kind: Any, data: Any) -> Any:
    origin, inner = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        return None if data is None else _read(next(k for k in inner if _fits(k, data)), data)
    if origin in (tuple, frozenset, list):
        return origin(_read(inner[0], item) for item in data)
    if origin is not None and issubclass(origin, Mapping):
        pairs = {_read(inner[0], key): _read(inner[1], item) for key, item in data.items()}
        return types.MappingProxyType(pairs)
    return _one(kind, data)


def _one(kind: Any, data: Any) -> Any:
    if isinstance(kind, type) and dataclasses.is_dataclass(kind):
        fields = _types_of(kind)
        return kind(**{name: _read(fields[name], item) for name, item in data.items() if name in fields})
    if isinstance(kind, type) and issubclass(kind, Enum):
        return kind(data)
    if kind in (date, datetime):
        return kind.fromisoformat(data)
    return float(data) if kind is float and data is not None else data


def _fits(kind: Any, data: Any) -> bool:
    if kind is type(None):
        return False
    if kind in (int, float):
        return isinstance(data, int | float)
    return kind is not str or isinstance(data, str)


@cache
def _types_of(kind: Any) -> dict[str, Any]:
    return typing.get_type_hints(kind)

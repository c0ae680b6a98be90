"""Any frozen value as JSON."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping
from datetime import datetime
from enum import Enum
from typing import Any

__all__ = ["as_data", "to_json"]


def to_json(value: object) -> str:
    """The value as JSON text; what is not finite is null, times are ISO 8601."""
    return json.dumps(as_data(value), ensure_ascii=False, indent=2, allow_nan=False)


def as_data(value: object) -> Any:
    """The value as plain dictionaries, lists, numbers and texts."""
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

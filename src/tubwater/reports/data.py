"""Any frozen value as JSON."""

from __future__ import annotations

import json

from tubwater.tub.data import as_data

__all__ = ["as_data", "to_json"]


def to_json(value: object) -> str:
    """The value as JSON text; what is not finite is null, times are ISO 8601."""
    return json.dumps(as_data(value), ensure_ascii=False, indent=2, allow_nan=False)

"""JSON that any reader takes: RFC 8259 has no word for what is not a number, so it becomes null; what people wrote stays text."""

from __future__ import annotations

import json
from math import isfinite
from typing import Any


def valid(value: Any) -> Any:
    """The same with lists for arrays, text for what JSON has no type for, and None for numbers that are none."""
    if hasattr(value, "tolist"):
        value = value.tolist()
    elif hasattr(value, "as_dict"):
        value = value.as_dict()
    if isinstance(value, dict):
        return {name: valid(inner) for name, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [valid(inner) for inner in value]
    if isinstance(value, float):
        return value if isfinite(value) else None
    return value if value is None or isinstance(value, (str, int)) else str(value)


def text(value: Any, indent: int | None = None) -> str:
    return json.dumps(valid(value), ensure_ascii=False, indent=indent, allow_nan=False)

"""Tables of a studio file as text, from plain values.

Flows in: texts, numbers, truths, dates, lists and mappings of these. Flows out: TOML. Must not know: what keys mean.
"""

import json
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from drill.tables import quoted


def table(head: str, values: Mapping[str, Any]) -> str:
    """Return one table, such as ("[[media]]", {...}); a value None leaves its key out."""
    return f"{head}\n" + "".join(f"{_key(k)} = {_value(v)}\n" for k, v in values.items() if v is not None)


def _key(key: str) -> str:
    return key if key.replace("_", "").replace("-", "").isalnum() and key.isascii() else _value(key)


def _value(value: Any) -> str:
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, Sequence) and not isinstance(value, str):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    return quoted(value) if isinstance(value, str) else json.dumps(value)

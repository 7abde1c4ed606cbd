"""Bytes, seconds and rates as people write them. 1 MB is 10^6 bytes, 1 MiB is 2^20, a year 365.25 days.

Flows in: texts from studio and scenario files. Flows out: numbers, and texts for people. Must not know: files.
Errors: ValueError that says what was expected. Prefixes: IEC 80000-13 and the SI, from memory.
"""

import re
from fractions import Fraction
from itertools import pairwise

DAY_S = 86400.0
YEAR_S = 365.25 * DAY_S
_BYTES = {"b": 1, "kb": 10**3, "mb": 10**6, "gb": 10**9, "tb": 10**12, "pb": 10**15}
_BYTES |= {"kib": 2**10, "mib": 2**20, "gib": 2**30, "tib": 2**40, "pib": 2**50, "byte": 1, "bytes": 1}
_SPANS = {"ms": 0.001, "s": 1.0, "sec": 1.0, "second": 1.0, "min": 60.0, "minute": 60.0, "h": 3600.0, "hour": 3600.0}
_SPANS |= {"d": DAY_S, "day": DAY_S, "w": 7 * DAY_S, "week": 7 * DAY_S, "year": YEAR_S}
_SPANS |= {f"{name}s": span for name, span in _SPANS.items() if len(name) > 2 and name != "sec"}
_QUANTITY = re.compile(r"\s*([0-9]+(?:\.[0-9]+)?)\s*([A-Za-zµ]*)\s*")
_PART = re.compile(r"\s*[0-9]+(?:\.[0-9]+)?\s*[A-Za-zµ]+\s*")


def _quantity(text: str, units: dict[str, float], example: str) -> float:
    found = _QUANTITY.fullmatch(text)
    unit = found.group(2).lower() if found else ""
    if found is None or unit not in units:
        raise ValueError(f"{text!r} is not written like {example}")
    amount = float(found.group(1)) * units[unit]
    if amount > 1e18:
        raise ValueError(f"{text!r} is more than can be meant; write it like {example}")
    return amount


def parse_size(text: str) -> int:
    """Read a size such as "700 MB" or "64 KiB" into bytes."""
    return round(_quantity(text, {k: float(v) for k, v in _BYTES.items()}, '"700 MB" or "64 KiB"'))


def parse_span(text: str) -> float:
    """Read a duration such as "48 h", "2 days" or "10 h 45 min" into seconds: the bigger unit first, each once."""
    example = '"48 h", "2 days", "10 h 45 min" or "5 ms"'
    parts = [match.group() for match in _PART.finditer(text)]
    if len(parts) < 2 or "".join(parts) != text:
        return _quantity(text, _SPANS, example)
    units = [_SPANS.get(part.strip().lstrip("0123456789. ").lower(), 0.0) for part in parts]
    if any(bigger <= smaller for bigger, smaller in pairwise(units)):
        raise ValueError(f"{text!r} is not written like {example}")
    return sum(_quantity(part, _SPANS, example) for part in parts)


def parse_rate(text: str) -> float:
    """Read a rate such as "180 MB/s" or "40 Mbit/s" into bytes a second."""
    amount, slash, per = text.partition("/")
    if not slash or per.strip().lower() not in ("s", "sec", "second"):
        raise ValueError(f'{text!r} is not written like "180 MB/s"')
    found = _QUANTITY.fullmatch(amount)
    if found and found.group(2).lower().endswith("bit"):
        prefix = found.group(2)[:-3].lower() + "b"
        return _quantity(f"{found.group(1)} {prefix}", {k: v / 8 for k, v in _BYTES.items()}, '"40 Mbit/s"')
    return _quantity(amount, {k: float(v) for k, v in _BYTES.items()}, '"180 MB/s"')


def parse_part(text: str) -> Fraction:
    """Read a percentage such as "99.5%" into an exact share from 0 to 1."""
    found = re.fullmatch(r"\s*([0-9]+(?:\.[0-9]+)?)\s*%\s*", text)
    if not found or Fraction(found.group(1)) > 100:
        raise ValueError(f'{text!r} is not written like "70%"')
    return Fraction(found.group(1)) / 100


def parse_share(text: str) -> float:
    """Read a percentage such as "70%" into a share from 0 to 1."""
    return float(parse_part(text))


def say_size(size: int) -> str:
    """Write a size for people: "2.40 GB"."""
    amount = float(size)
    for unit in ("B", "kB", "MB", "GB", "TB"):
        if amount < 1000 or unit == "TB":
            return (
                f"{amount:.0f} {unit}"
                if unit == "B"
                else f"{amount:.3g} {unit}"
                if amount < 999.5
                else f"{amount:.0f} {unit}"
            )
        amount /= 1000
    raise AssertionError("unreachable")


def say_span(span_s: float) -> str:
    """Write a duration for people: "2 h 5 min", "41 s", "3 days"."""
    if span_s < 1:
        return "under 1 s"
    if span_s < 60:
        return f"{span_s:.0f} s"
    minutes = round(span_s / 60)
    if minutes < 60:
        return f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {minutes} min" if minutes else f"{hours} h"
    days, hours = divmod(hours, 24)
    return f"{days} days {hours} h" if hours else f"{days} days"


def say_beside(span_s: float, target_s: float | None) -> str:
    """Write a duration beside a target, so that what is over it does not read the same: "2 days and 1 s"."""
    said = say_span(span_s)
    if target_s is None or span_s <= target_s or said != say_span(target_s):
        return said
    over_s = span_s - target_s
    return f"{said} and {say_span(over_s)}" if over_s >= 1 else f"just over {said}"

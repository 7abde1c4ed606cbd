"""What a caller hands over, looked at before it is used: a slip is told in words, and not by an error deep inside.

Flows in: values of any kind. Flows out: these values, or Mistakes that say what to write. Must not know: studios, runs.
"""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, TypeVar

from drill.errors import Mistake, Mistakes

T = TypeVar("T")


def slip(function: str, word: str, what: str, advice: str) -> Mistakes:
    """Return the mistake in one word that a function of drill.testing was given."""
    return Mistakes([Mistake(f"{function}()", word, what, advice)])


def a(kind: type[T] | tuple[type[T], ...], value: Any, *, function: str, word: str, advice: str) -> T:
    """Return a value of a kind. Errors: Mistakes."""
    __tracebackhide__ = True
    if not isinstance(value, kind):
        raise slip(function, word, f"cannot be {value!r:.60}", advice)
    return value


def texts(value: Any, *, function: str, word: str) -> tuple[str, ...]:
    """Return one text or path, or several, as a tuple of texts. Errors: Mistakes."""
    __tracebackhide__ = True
    is_several = isinstance(value, Iterable) and not isinstance(value, str | bytes | Mapping)
    found = [str(one) if isinstance(one, Path) else one for one in (value if is_several else [value])]
    advice = "give a text, or a list of texts"
    return tuple(a(str, one, function=function, word=word, advice=advice) for one in found)


def by_name(value: Any, *, function: str, word: str, advice: str) -> Mapping[str, Any]:
    """Return a mapping from texts. Errors: Mistakes."""
    __tracebackhide__ = True
    found: Mapping[str, Any] = a(Mapping, value, function=function, word=word, advice=advice)
    for key in found:
        a(str, key, function=function, word=word, advice=advice)
    return found


def file_bytes(value: Any, function: str, word: str) -> Mapping[str, bytes]:
    """Return bytes by path. Errors: Mistakes."""
    __tracebackhide__ = True
    advice = 'give bytes by path, such as {"raw/A0001.dng": b"…"}'
    given = by_name(value, function=function, word=word, advice=advice)
    return {path: a(bytes, data, function=function, word=word, advice=advice) for path, data in given.items()}

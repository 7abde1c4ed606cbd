"""Strict reading of TOML tables: every key is asked for by its kind, what was not asked for is a mistake.

Flows in: a TOML file. Flows out: typed values, and every mistake found, each with its file and key.
Must not know: what the keys mean.
"""

import difflib
import json
import os
import re
import tomllib
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, TypeVar

from drill import clock, units
from drill.errors import Mistake, Mistakes
from drill.globs import matcher

T = TypeVar("T")
_MOST = 1e15  # of numbers that nothing else bounds: more is a slip, and what is reckoned from it may have no end
_ID = re.compile(r"[A-Za-z0-9._-]+")
_MOST_NAMED = 5
ID_WORDS = 'use letters, digits, "-", "_" and "."'


def is_id(text: str) -> bool:
    """Say whether a text is an id; one of dots alone would climb where it names a folder."""
    return _ID.fullmatch(text) is not None and text.strip(".") != ""


def quoted(text: str) -> str:
    """Write a text as a basic string of TOML 1.0 (toml.io, "String"): as JSON writes one, save that all that is not
    printable is escaped, so that the file can be looked at in a terminal."""
    return "".join(char if char.isprintable() else _escaped(ord(char)) for char in json.dumps(text, ensure_ascii=False))


def _escaped(code: int) -> str:
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def without_secrets(text: str) -> str:
    """Return a text with what follows the `?` of an address, and a login before its host, left out."""
    return re.sub(r"\?[^\s\"',\]]*", "?…", re.sub(r"//[^/@\s]*@", "//…@", text))


def load_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file. Errors: Mistakes that name the file and the line."""
    text = ""
    try:
        text = path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
        return tomllib.loads(text)
    except FileNotFoundError:
        raise Mistakes([Mistake(str(path), "", "there is no such file", "check the path")]) from None
    except OSError as error:
        if os.path.isdir(path):  # noqa: PTH112 - a Path may raise over a name
            raise Mistakes([is_folder(path)]) from None
        raise Mistakes([Mistake(str(path), "", f"cannot be read: {error.strerror}")]) from None
    except UnicodeDecodeError as error:
        what = f"is not UTF-8 text (byte {error.start})"
        raise Mistakes([Mistake(str(path), "", what, "save it as UTF-8 text")]) from None
    except RecursionError:
        raise Mistakes([Mistake(str(path), "", "is nested too deep to be read")]) from None
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"\(at (line \d+), column \d+\)", str(error))
        what = re.sub(r"\s*\(at .*\)$", "", str(error))
        at = found.group(1) if found else "end of file"
        line = text.splitlines()[int(at.split()[1]) - 1 :][:1] if found else []
        quoted = f": {without_secrets(line[0].strip())}" if line else ""
        raise Mistakes([Mistake(str(path), at, f"is not TOML: {what}{quoted}", "correct that line")]) from None
    except ValueError as error:  # a number of thousands of digits
        raise Mistakes([Mistake(str(path), "", f"cannot be read: {error}")]) from None


def is_folder(path: Path) -> Mistake:
    """Return the mistake of a folder where a file is asked for, with the files in it that may be meant."""
    try:
        inside = sorted(file for file in path.iterdir() if file.suffix.lower() == ".toml" and file.is_file())
    except OSError:
        inside = []
    named = ", ".join(str(file) for file in inside[:_MOST_NAMED])
    more = f" and {len(inside) - _MOST_NAMED} more" if len(inside) > _MOST_NAMED else ""
    advice = f"name the file in it: {named}{more}" if named else "name the file in it"
    return Mistake(str(path), "", "is a folder, not a file", advice)


class Table:
    """One TOML table under reading; mistakes go to the list that all tables of the file share."""

    def __init__(self, values: object, *, where: str, at: str, mistakes: list[Mistake]) -> None:
        self.where, self.at, self.mistakes = where, at, mistakes
        self._asked: set[str] = set()
        self._values: dict[str, Any] = {}
        if isinstance(values, dict):
            self._values = values
        elif values is not None:
            self.wrong("", "must be a table", f"write it as [{at}]")

    def wrong(self, key: str, what: str, advice: str = "") -> None:
        """Note a mistake at `key` of this table."""
        self.mistakes.append(Mistake(self.where, self.name(key), what, advice))

    def name(self, key: str) -> str:
        """Return the full name of a key for messages."""
        return f"{self.at}.{key}" if self.at and key else self.at or key

    def chosen_names(self) -> tuple[str, ...]:
        """Return every key of this table, for tables whose keys are names that people choose."""
        self._asked.update(self._values)
        return tuple(self._values)

    def has(self, key: str) -> bool:
        """Say whether the key is written."""
        return key in self._values

    def raw(self, key: str, *, required: bool = False) -> Any:
        """Return a key's value as it stands, None when it is not written."""
        self._asked.add(key)
        value = self._values.get(key)
        if value is None and required:
            self.wrong(key, "is missing", f"add {key} = …")
        return value

    def finish(self) -> None:
        """Note every key that nobody asked for."""
        for key in self._values:
            if key not in self._asked:
                near = difflib.get_close_matches(key, self._asked, n=1)
                known = f'did you mean "{near[0]}"?' if near else "known here: " + ", ".join(sorted(self._asked))
                self.wrong(key, "is not a key this table has", known)

    def typed(self, key: str, kind: type[T], words: str, *, required: bool = False) -> T | None:
        """Return a value of one type; a bool is never taken for a number."""
        value = self.raw(key, required=required)
        if value is None:
            return None
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            self.wrong(key, f"must be {words}, not {without_secrets(repr(value))}")
            return None
        return value

    def text(self, key: str, *, required: bool = False) -> str | None:
        """Return a text that is not empty."""
        value = self.typed(key, str, "a text in quotes", required=required)
        if value is not None and (not value.strip() or "\0" in value):
            self.wrong(key, "holds a NUL character" if value.strip() else "is empty")
            return None
        return value

    def flag(self, key: str) -> bool | None:
        """Return true or false."""
        return self.typed(key, bool, "true or false")

    def id(self, key: str, *, required: bool = False) -> str | None:
        """Return an id: letters, digits, "-", "_", "."."""
        value = self.text(key, required=required)
        if value is not None and not is_id(value):
            self.wrong(key, f"{value!r} is no id", ID_WORDS)
            return None
        return value

    def choice(self, key: str, choices: Sequence[str], *, required: bool = False) -> str | None:
        """Return one of the given words."""
        value = self.text(key, required=required)
        if value is not None and value not in choices:
            self.wrong(key, f"{value!r} is not one of them", "use one of: " + ", ".join(choices))
            return None
        return value

    def number(self, key: str, *, least: float = 0, most: float = _MOST) -> float | None:
        """Return a number, whole or not, from `least` to `most`."""
        value = self.raw(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not value >= least:
            self.wrong(key, f"must be a number of at least {least:g}, not {value!r}")
            return None
        if value > most:
            self.wrong(key, f"must be a number of at most {most:,.0f}")
            return None
        return float(value)

    def whole(self, key: str, *, least: int = 0, most: int | None = None) -> int | None:
        """Return a whole number of at least `least` and, where there is a `most`, no more than that."""
        value = self.typed(key, int, "a whole number" if most is None else f"a whole number from {least} to {most}")
        if value is not None and most is not None and not least <= value <= most:
            self.wrong(key, f"must be from {least} to {most}, not {value}")
            return None
        if value is not None and value < least:
            self.wrong(key, f"must be at least {least}")
            return None
        return value

    def wholes(self, key: str) -> tuple[int, ...] | None:
        """Return a list of whole numbers from 0."""
        value = self.raw(key)
        if value is None:
            return None
        if isinstance(value, list) and value and all(type(n) is int and n >= 0 for n in value):
            return tuple(value)
        self.wrong(key, "must be a list of whole numbers from 0, such as [0, 17]")
        return None

    def parsed(self, key: str, parse: Callable[[str], T]) -> T | None:
        """Return a text read by `parse`, which raises ValueError."""
        value = self.text(key)
        if value is None:
            return None
        try:
            return parse(value)
        except ValueError as error:
            self.wrong(key, str(error))
            return None

    def span_s(self, key: str) -> float | None:
        """Return a duration such as "48 h" in seconds."""
        return self.parsed(key, units.parse_span)

    def rate_bps(self, key: str) -> float | None:
        """Return a rate such as "180 MB/s" in bytes a second, more than nothing."""
        rate = self.parsed(key, units.parse_rate)
        if rate == 0:
            self.wrong(key, "must be more than 0")
            return None
        return rate

    def texts(self, key: str, *, required: bool = False) -> tuple[str, ...] | None:
        """Return one text or a list of them, as a tuple."""
        value = self.raw(key, required=required)
        if value is None:
            return None
        values = value if isinstance(value, list) else [value]
        if values and all(isinstance(v, str) and v.strip() for v in values):
            return tuple(values)
        if not values:
            self.wrong(key, "is an empty list", "name one at least, or leave it out")
        elif all(isinstance(v, str) for v in values):
            self.wrong(
                key, "has a text that is empty" if isinstance(value, list) else "is empty", "write something in it"
            )
        else:
            self.wrong(key, "must be a text in quotes, or a list of them")
        return None

    def globs(self, key: str) -> tuple[str, ...] | None:
        """Return one glob or a list of them, as a tuple; each is tried."""
        patterns = self.texts(key)
        for pattern in patterns or ():
            try:
                matcher([pattern])
            except ValueError as error:
                self.wrong(key, str(error), "write it like *.dng, deliver/** or IMG_[0-9]*")
                return None
        return patterns

    def time(self, key: str, *, required: bool = False) -> date | datetime | None:
        """Return a date or a time (RFC 3339), as TOML's own kind or as text."""
        value = self.raw(key, required=required)
        if value is None:
            return None
        try:
            if isinstance(value, str):
                value = date.fromisoformat(value) if len(value.strip()) == 10 else clock.parse_time(value)
            if isinstance(value, date | datetime):
                clock.moment(value).astimezone(UTC)  # at the ends of the calendar there is no such moment
                return value
        except (ValueError, OverflowError, OSError):
            pass
        self.wrong(key, f"must be a date or time such as 2026-09-12 or 2026-09-12T19:30:00Z, not {value!r}")
        return None

    def table(self, key: str) -> "Table":
        """Return a table within this one; empty when it is not written."""
        return Table(self.raw(key), where=self.where, at=self.name(key), mistakes=self.mistakes)

    def tables(self, key: str) -> list["Table"]:
        """Return the tables of an array ([[key]]), named by their `id` where they have one."""
        value = self.raw(key)
        if value is not None and not isinstance(value, list):
            self.wrong(key, "must be an array of tables", f"write it as [[{key}]]")
            value = None
        found = []
        for number, item in enumerate(value or [], start=1):
            label = item.get("id") if isinstance(item, dict) else None
            if not isinstance(label, str):
                on = item.get("on") if isinstance(item, dict) else None
                label = f"{number}, on {on}" if isinstance(on, str) else f"{number}"
            at = f"{key}[{label}]"
            found.append(Table(item, where=self.where, at=at, mistakes=self.mistakes))
        return found


def repeated(ids: Iterable[str]) -> list[str]:
    """Return the ids that occur more than once, each once."""
    seen: set[str] = set()
    return list(dict.fromkeys(i for i in ids if i in seen or seen.add(i)))  # type: ignore[func-returns-value]

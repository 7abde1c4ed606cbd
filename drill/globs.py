"""Globs as studio and scenario files use them, and names as they are compared across copies.

Flows in: patterns and paths as text. Flows out: matchers and keys. Must not know: files, copies, promises.
Names are compared in Unicode normal form C (UAX #15) and case-folded, because file systems differ in both:
one stores names decomposed, another ignores case, a third keeps what it was given.
"""

import re
import unicodedata
from collections.abc import Callable, Iterable
from functools import lru_cache


def fold(text: str) -> str:
    """Return `text` as it is compared with other names: NFC, case-folded."""
    if text.isascii():  # most names; the same, found faster
        return text.lower()
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", text).casefold())


def last_part(path: str) -> str:
    """Return the last part of a path; both slashes count, since lists come from every system."""
    path = path.rstrip("/\\")
    return path[max(path.rfind("/"), path.rfind("\\")) + 1 :]


def shared_ending(one: str, other: str) -> int:
    """Return how many parts two paths have in common, counted from the end and compared folded."""
    ours, theirs = (re.split(r"[/\\]+", fold(path)) for path in (one, other))
    count = 0
    for mine, yours in zip(reversed(ours), reversed(theirs), strict=False):
        if mine != yours:
            break
        count += 1
    return count


def matcher(patterns: Iterable[str]) -> Callable[[str], bool]:
    """Return a test of a path against globs.

    Without a slash a glob matches the last part at any depth; with one, the whole path. `*` and `?` stop at a slash,
    `**` does not, `**/` may be empty. Case does not count. Errors: ValueError for a range that runs backwards.
    """
    compiled = [(("/" in pattern), _regex(pattern)) for pattern in patterns]

    def matches(path: str) -> bool:
        whole = fold(path)
        return any(regex.fullmatch(whole if rooted else whole.rpartition("/")[2]) for rooted, regex in compiled)

    return matches


@lru_cache(maxsize=1024)
def _regex(pattern: str) -> re.Pattern[str]:
    text, out, at = fold(pattern.removeprefix("./")), "", 0
    while at < len(text):
        if text.startswith("**/", at) and (at == 0 or text[at - 1] == "/"):
            out, at = out + "(?:.*/)?", at + 3
        elif text.startswith("**", at):
            out, at = out + ".*", at + 2
        elif text[at] == "*":
            out, at = out + "[^/]*", at + 1
        elif text[at] == "?":
            out, at = out + "[^/]", at + 1
        elif text[at] == "[" and (end := text.find("]", at + (3 if text[at + 1 : at + 2] in ("!", "^") else 2))) > 0:
            inner = text[at + 1 : end].replace("\\", "\\\\").replace("[", "\\[").replace("]", "\\]")
            out += "(?!/)[" + ("^" + inner[1:] if inner[0] in "!^" else inner) + "]"
            at = end + 1
        else:
            out, at = out + re.escape(text[at]), at + 1
    try:
        return re.compile(out, re.DOTALL)
    except re.error as error:
        raise ValueError(f"{pattern!r} is no glob: {error}") from None

"""What goes wrong, in words a test can read: each is one hazard of a scenario file, and a `with` block.

    with lost("tablet"), rotten("drive", files="*.dng", count=1):
        run = drilled(studio)

Inside the block every `drilled` of this process has it too, whichever thread asks: a test then fails rather than pass
for want of a fault. Copies are only read; `really`, in `doing`, is for real bytes. Positional words are
ids of media; `hits` are the other selectors of a scenario file (kind, place, account, copy, form, attached, carried,
offsite); all must match, and nothing at all hits everything. Effects and settings: README, "Scenario files"; they are
read by the same rules, and what would be a mistake there is one here.

Flows in: words. Flows out: Mishap values, or Mistakes. Must not know: studios, bytes.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from difflib import get_close_matches
from types import TracebackType
from typing import Any, TypedDict, Unpack

from drill.errors import Mistake, Mistakes
from drill.model import Hazard, Scenario, Selector
from drill.scenario import read_hazard
from drill.testing.asked import a
from drill.testing.unused import Use, check_nothing_unused

Words = str | Sequence[str]
AS_IT_IS = Scenario("as-it-is", "Nothing goes wrong", "Every copy as it is.", (Hazard("slow", Selector(), factor=1.0),))


class Hits(TypedDict, total=False):
    """What is hit, besides media by id: the selectors of a scenario file."""

    kind: Words
    place: Words
    account: Words
    copy: Words
    form: Words
    attached: bool
    carried: bool
    offsite: bool


@dataclass(frozen=True, slots=True)
class Mishap:
    """One thing that goes wrong, while its `with` block runs or in the `drilled` that it is given to.

    Thrown away without either it warns (UnusedWarning), and the next drill is refused.
    """

    hazard: Hazard
    use: Use = field(default_factory=Use, init=False, repr=False, compare=False)

    def __enter__(self) -> "Mishap":
        self.use.happened = True
        _GOING_ON.append(self)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        at = max(number for number, other in enumerate(_GOING_ON) if other is self)
        del _GOING_ON[at]

    def __del__(self) -> None:
        self.use.tell_unused(self.words)

    @property
    def words(self) -> str:
        """Return what goes wrong and to whom, for titles and messages: "lost tablet"."""
        hits = self.hazard.hits
        chosen = [(name, getattr(hits, name)) for name in Selector.__dataclass_fields__]
        said = [_said(name, value) for name, value in chosen if value is not None]
        files = f" ({', '.join(self.hazard.files)})" if self.hazard.files else ""
        return f"{_WORDS.get(self.hazard.effect, self.hazard.effect)} {', '.join(said) or 'everything'}{files}"


_GOING_ON: list[Mishap] = []
_WORDS = {"gone": "lost", "altered": "rotten"}  # where a function here is not named as its effect


def going_on() -> tuple[Mishap, ...]:
    """Return the mishaps whose `with` blocks are running, in the order they were entered."""
    return tuple(_GOING_ON)


def handed(mishaps: Sequence[Mishap], *, function: str) -> None:
    """Note mishaps that a function was given as used; refuse what is none. Errors: Mistakes."""
    __tracebackhide__ = True
    check_nothing_unused()
    for mishap in mishaps:
        advice = 'what goes wrong is written like lost("tablet"); scenarios are named by scenarios='
        a(Mishap, mishap, function=function, word="what goes wrong", advice=advice).use.happened = True


def scenario_of(mishaps: Sequence[Mishap]) -> Scenario:
    """Return mishaps as one scenario; none at all as the one in which nothing goes wrong."""
    if not mishaps:
        return AS_IT_IS
    title = ", ".join(mishap.words for mishap in mishaps)
    return Scenario("mishaps", title, title, tuple(mishap.hazard for mishap in mishaps), "mishaps of this test")


def _said(name: str, value: Any) -> str:
    if isinstance(value, bool):
        return name if value else f"not {name}"
    return " ".join(value) if name == "medium" else f"{name} {' '.join(value)}"


def _mishap(effect: str, media: Sequence[str], hits: Hits, **settings: Any) -> Mishap:
    """Return a mishap, its words read as those of a scenario file are. Errors: Mistakes."""
    name = _WORDS.get(effect, effect)
    where = f"what goes wrong ({name})"
    known = [*Hits.__annotations__, *settings]
    strange = [_strange(where, word, name, known) for word in hits if word not in known]
    advice = f'give the ids of media one after the other: {name}("tablet", "drive")'
    strange += [Mistake(where, "", f"{id_!r:.60} is no id", advice) for id_ in media if not isinstance(id_, str)]
    if strange:
        raise Mistakes(strange)
    chosen = {"medium": list(media) or None, **hits}
    words = {"effect": effect, "hits": _given(chosen), **_given(settings)}
    try:
        return Mishap(read_hazard(words, where=where))
    except Mistakes as error:
        raise Mistakes([replace(one, at=one.at.removeprefix("hits.")) for one in error.mistakes]) from None


def _strange(where: str, word: str, name: str, known: Sequence[str]) -> Mistake:
    near = get_close_matches(word, known, n=1)
    advice = f'did you mean "{near[0]}"?' if near else f"it takes: {', '.join(known)}"
    return Mistake(where, word, f"is nothing that {name} takes", advice)


def _given(words: Mapping[str, Any]) -> dict[str, Any]:
    """Return the words that are given, every sequence as the list that TOML would have."""
    return {
        name: list(value) if isinstance(value, Sequence) and not isinstance(value, str) else value
        for name, value in words.items()
        if value is not None
    }


def _one(count: int | None, other: object) -> int | None:
    """Return how many places are hit: one, unless it is said how many or which."""
    return 1 if count is None and other is None else count


def lost(*media: str, **hits: Unpack[Hits]) -> Mishap:
    """Media are not there: the effect `gone`."""
    return _mishap("gone", media, hits)


def refused(*media: str, **hits: Unpack[Hits]) -> Mishap:
    """A login is refused."""
    return _mishap("refused", media, hits)


def rotten(
    *media: str,
    files: Words | None = None,
    count: int | None = None,
    offsets: Sequence[int] | None = None,
    **hits: Unpack[Hits],
) -> Mishap:
    """Bytes change, no error tells: the effect `altered`. One byte, unless `count` (drawn) or `offsets` say which."""
    return _mishap("altered", media, hits, files=files, count=_one(count, offsets), offsets=offsets)


def unreadable(
    *media: str,
    files: Words | None = None,
    count: int | None = None,
    sectors: Sequence[int] | str | None = None,
    sector_size: int = 4096,
    **hits: Unpack[Hits],
) -> Mishap:
    """Sectors are bad. One, unless `count` (drawn) or `sectors` (numbers, or "worst") say which."""
    places = {"count": _one(count, sectors), "sectors": sectors}
    return _mishap("unreadable", media, hits, files=files, sector_size=sector_size, **places)


def truncated(*media: str, keep: int | str, files: Words | None = None, **hits: Unpack[Hits]) -> Mishap:
    """Files end early: `keep` so many bytes, or a share such as "70%"."""
    return _mishap("truncated", media, hits, files=files, keep=keep)


def deleted(*media: str, files: Words | None = None, **hits: Unpack[Hits]) -> Mishap:
    """Files are missing, on mirrors too."""
    return _mishap("deleted", media, hits, files=files)


def encrypted(*media: str, files: Words | None = None, **hits: Unpack[Hits]) -> Mishap:
    """Every byte is replaced, on mirrors too."""
    return _mishap("encrypted", media, hits, files=files)


def expired(*media: str, status: int = 410, page: bool = False, **hits: Unpack[Hits]) -> Mishap:
    """A link has ended: it answers with `status`, or with a web page. What is no link is gone."""
    return _mishap("expired", media, hits, status=status, page=page)


def stale(*media: str, before: date | str, **hits: Unpack[Hits]) -> Mishap:
    """Only files from before a moment are there; a date is its first moment, local time."""
    return _mishap("stale", media, hits, before=before)


def slow(*media: str, factor: float, **hits: Unpack[Hits]) -> Mishap:
    """The right bytes come, at a share of the rate; nobody waits for them."""
    return _mishap("slow", media, hits, factor=factor)

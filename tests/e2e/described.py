"""The words in which tests describe a studio and what goes wrong: what is really stored, what is listed, what is hit.

Flows in: nothing. Flows out: frozen values for the builder (`studios`) and the judge (`oracle`).
It must not import anything of the program under test. The names are the contract's.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any

MODIFIED = datetime(2026, 9, 1, 12, 0, 0, tzinfo=UTC)  # of files whose time does not matter


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where media are; `offsite` None leaves it to the media's kind."""

    id: str
    carried: bool = False
    offsite: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Medium:
    """A medium; `attached` None is the kind's default. `more` are keys that change no bytes (rates and the like)."""

    id: str
    kind: str = "ssd"
    place: str = "home"
    account: str | None = None
    attached: bool | None = None
    needs: tuple[str, ...] = ()
    mirrors: str | None = None
    keeps_versions: str | None = None
    recognised_by: str | None = None
    more: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Held:
    """One file as a copy really stores it; a plain link does not tell when a file was modified."""

    path: str
    data: bytes
    modified: datetime = MODIFIED


@dataclass(frozen=True, slots=True, kw_only=True)
class Copy:
    """A copy: its form, what it really stores, and what its list says.

    `form`: "folder", an archive's ending, "link" (a base with files), or "link" + an archive's ending.
    `says`: (name, bytes whose digest is listed) or None without a list; `says_in`: the list's digest kinds.
    `out_of_reach`: None, "no at", "missing", "empty", "other drive" or "no server".
    """

    id: str
    on: str
    form: str = "folder"
    holds: tuple[Held, ...] = ()
    says: tuple[tuple[str, bytes], ...] | None = None
    says_in: tuple[str, ...] = ("sha256",)
    out_of_reach: str | None = None
    made: datetime | None = None

    @property
    def is_archive(self) -> bool:
        """Whether the copy is one archive file, behind a link or not."""
        return "." in self.form

    @property
    def selected_form(self) -> str | None:
        """What the selector `form` calls it."""
        if self.out_of_reach == "no at":
            return None
        return "link" if self.form.startswith("link") else "archive" if self.is_archive else "folder"


@dataclass(frozen=True, slots=True, kw_only=True)
class Targets:
    """What a shoot must meet."""

    restore_within: str | None = None
    lose_at_most_h: int | None = None
    further_failures: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Shoot:
    """A shoot and its promise: (path, bytes)."""

    id: str
    date: date
    promise: tuple[tuple[str, bytes], ...]
    promised_in: tuple[str, ...] = ("sha256",)
    targets: Targets = Targets()


@dataclass(frozen=True, slots=True, kw_only=True)
class Studio:
    """A whole studio. Places that are not described are made by naming them."""

    media: tuple[Medium, ...]
    shoots: tuple[Shoot, ...]
    copies: tuple[Copy, ...]
    places: tuple[Place, ...] = ()
    classes: tuple[tuple[str, tuple[str, ...]], ...] = ()
    weights: Mapping[str, float] = field(default_factory=dict)

    def medium(self, name: str) -> Medium:
        """Return the medium of that id."""
        return next(m for m in self.media if m.id == name)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hazard:
    """One thing that goes wrong; the names of the contract. `keep`: bytes, or a share such as "50%"."""

    effect: str
    hits: Mapping[str, Any] = field(default_factory=dict)
    each: str | None = None
    files: tuple[str, ...] | None = None
    offsets: tuple[int, ...] = ()
    keep: int | str | None = None
    sectors: tuple[int, ...] | str = ()
    sector_size: int = 4096
    before: datetime | None = None
    factor: float | None = None
    status: int | None = None
    page: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """What goes wrong together."""

    name: str
    hazards: tuple[Hazard, ...]

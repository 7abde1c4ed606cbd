"""The nouns of the house: frozen values that every room passes on.

Flows in: nothing. Flows out: values. Must not know: files, libraries, any other room.
Paths inside copies and promises always use ``/``. Sizes are bytes, rates bytes a second, spans seconds.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from io import RawIOBase
from pathlib import Path
from typing import NamedTuple, Protocol


class Digest(NamedTuple):
    """A content digest: its kind ("sha256", "xxh128", …) and its lower-case hex."""

    kind: str
    hex: str


@dataclass(frozen=True, slots=True)
class Listed:
    """One name in a manifest, with the digests that manifest (or several together) gives it."""

    path: str
    digests: tuple[Digest, ...]
    size: int | None = None


@dataclass(frozen=True, slots=True)
class Promised:
    """One file that must be recoverable; `kind` is its class ("originals", …, else "other")."""

    path: str
    digests: tuple[Digest, ...]
    size: int | None
    kind: str


@dataclass(frozen=True, slots=True)
class Entry:
    """One file on a copy: its own path there; `index` tells apart members of an archive that share a path."""

    path: str
    size: int | None
    modified: datetime | None = None
    index: int = 0


@dataclass(frozen=True, slots=True)
class Listing:
    """What is in an archive. `damage` says in words why there may have been more; empty where all is well.

    Other programs name only the first `others` of the entries, as a mark of the end stands behind these; None: all.
    """

    entries: Sequence[Entry]
    damage: str = ""
    others: int | None = None


class Trouble(StrEnum):
    """Why a read of a file on a copy did not end well."""

    IO = "i/o error"
    DAMAGED = "damaged"
    CHECK_VALUE = "own check value differs"  # every byte came, only the archive's own check value disagrees
    MISSING = "missing"
    REFUSED = "refused"
    UNREACHABLE = "unreachable"
    UNSUPPORTED = "cannot be read here"


@dataclass(frozen=True, slots=True)
class Problem:
    """What went wrong with one read, in words a photographer understands."""

    trouble: Trouble
    detail: str


class Receiver(Protocol):
    """What takes the bytes that a view delivers. It raises nothing but DrillError."""

    def begin(self, entry: Entry) -> None:
        """Get ready for the bytes of `entry`."""

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        """Take the next bytes; the chunk is only valid during the call."""

    def end(self, entry: Entry, problem: Problem | None) -> None:
        """Close `entry`: without a problem every byte has been delivered."""


class Collector(Receiver, Protocol):
    """A receiver that also takes what is not whole: what a salvage delivers."""

    def hole(self, start: int, end: int) -> None:
        """Note that bytes start to end of the entry at hand are not to be had; zeros were or will be given for them."""


@dataclass(frozen=True, slots=True)
class Store:
    """Named byte streams read-only: the layer that faults lie over (files of a folder, one archive file)."""

    files: Callable[[], Sequence[Entry]]
    open: Callable[[Entry], RawIOBase]


@dataclass(frozen=True, slots=True)
class View:
    """A copy as restore sees it: what is in it, and a way to have it delivered. It has no way to write.

    `entries()` raises CannotReach or CannotRead. `deliver(wanted, receiver)` calls begin … end once for each wanted
    entry, in the copy's own best order, and turns every failure of a read into the Problem given to `end`.
    """

    entries: Callable[[], Sequence[Entry]]
    deliver: Callable[[Sequence[Entry], Receiver], None]


@dataclass(frozen=True, slots=True)
class Taken:
    """When a picture was taken, as the camera's own clock showed it (no zone), and which camera."""

    when: datetime
    camera: str = ""


class Seen(NamedTuple):
    """What one fault-free reading of a file showed.

    `parts` is 16 × 8 bytes: a short digest of each sixteenth of the file (empty under 4 KiB). Two files of one size
    with most parts alike are the same picture, one of them damaged or edited in place. `captured` is false where
    neither parts nor the capture time were asked for. `whole` is false for a picture whose first or last bytes are not
    those of its kind: cut short, or something else under that name; None where that cannot be told by so little.
    (A tuple, as there may be a million of them: made in a third of the time of a frozen dataclass.)
    """

    size: int
    digests: tuple[Digest, ...]
    parts: bytes = b""
    taken: Taken | None = None
    captured: bool = False
    whole: bool | None = None


@dataclass(frozen=True, slots=True)
class OtherBytes:
    """A file that, by its copy's own list, has other bytes than the promised file it stands for."""

    path: str
    promised: str


# --- what earlier readings prove -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ProofAge:
    """How old the proofs are of what one copy is said to hold of a shoot: `held` files, so many of them `proven`, the
    `oldest` proof of these (RFC 3339), `never` verified or not since they changed, and those known to be wrong."""

    copy: str
    held: int
    proven: int
    never: int
    oldest: str | None
    refuted: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ProofAges:
    """The age of a shoot's proofs, copy by copy, and the target for it in seconds."""

    shoot: str
    target_s: float | None
    copies: tuple[ProofAge, ...]


# --- what people write -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Targets:
    """What a shoot must meet; None is no target."""

    restore_within_s: float | None = None
    lose_at_most_s: float | None = None
    further_failures: int | None = None
    verified_within_s: float | None = None


@dataclass(frozen=True, slots=True)
class Place:
    """Where media are; one fire or theft takes a whole place."""

    id: str
    carried: bool = False
    offsite: bool | None = None


@dataclass(frozen=True, slots=True)
class Medium:
    """A card, drive, device or account that copies are on."""

    id: str
    kind: str
    place: str
    attached: bool
    offsite: bool
    carried: bool
    account: str | None = None
    needs: tuple[str, ...] = ()
    mirrors: str | None = None
    keeps_versions_s: float | None = None
    reads_at_bps: float | None = None
    per_file_s: float | None = None
    in_hand_after_s: float = 0.0
    fails_per_year: float | None = None
    bus: str | None = None
    recognised_by: str | None = None
    readers: int | None = None  # how many files at once; None: what its kind bears


@dataclass(frozen=True, slots=True)
class Bus:
    """What several media share on their way into the computer."""

    id: str
    carries_bps: float


@dataclass(frozen=True, slots=True)
class Shoot:
    """One job: its date, its client, its promise (every file that must be recoverable), its targets."""

    id: str
    date: date | datetime
    client: str | None
    promise: Sequence[Promised]
    targets: Targets


@dataclass(frozen=True, slots=True)
class Copy:
    """Files on a medium: where (`at`: a path, or a URL as text, or nothing), and what it is said to hold.

    `form` is "folder", "archive", "link" or None; `archive` its format (".7z", ".tar.gz", …) also behind a link.
    `listed` is None when the copy has no list.
    """

    id: str
    on: str
    at: Path | None
    url: str | None = field(repr=False)  # its query may be a secret
    form: str | None
    archive: str | None
    listed: Sequence[Listed] | None
    made: datetime | None = None
    password: str | None = field(default=None, repr=False)


@dataclass(frozen=True, slots=True)
class Rhythm:
    """When a step comes again: `every` day, week, month, quarter or year, at `at_s` seconds of the local day, `on`
    weekdays (0 is Monday), or days of a month, or of a quarter's or year's first (its last day where it is shorter)."""

    every: str
    on: tuple[int, ...]
    at_s: float


@dataclass(frozen=True, slots=True)
class Step:
    """One thing done with a shoot: "copy", "move", "verify", "erase" or "edit". Media by id; README, "The scheme"."""

    id: str
    do: str
    source: str | None = None  # copy and move: from here; erase: what is erased
    target: str | None = None  # copy and move: to here; verify: what is read and compared; edit: where edits are made
    after_s: float = 0.0  # after the shoot's end, or that of the step it `follows`
    follows: str | None = None
    rhythm: Rhythm | None = None
    only_when: str | None = None  # "away" or "home"
    only_once_on: tuple[str, ...] = ()  # it happens only where all these media are thought to hold the shoot
    takes_s: float | None = None  # None: bytes and files by the rates of the media
    done: float = 1.0  # how likely it is not forgotten, each time anew
    again_s: float | None = None  # a step without rhythm is tried again after so long
    minutes: float = 0.0  # of a person's attention, each time


@dataclass(frozen=True, slots=True)
class Risks:
    """What is likely to happen in a year; None: the default of `odds`. `spread`: low is ÷, high is × this."""

    theft: float | None = None  # of each place that is carried
    fire: float | None = None  # of each other place
    lockout: float | None = None  # of each account
    deletion: float | None = None  # by mistake, on each attached medium
    attack: float | None = None  # malicious encryption of all that is attached
    rot: float | None = None  # bytes of a shoot that change unnoticed, on each medium
    spread: float | None = None


@dataclass(frozen=True, slots=True)
class Costs:
    """What a change costs: money for an hour of one's own, for a medium of a kind once and each year."""

    currency: str = ""
    hour: float = 0.0
    buy: Mapping[str, float] = field(default_factory=dict)
    yearly: Mapping[str, float] = field(default_factory=dict)
    lasts_s: float = 5 * 365.25 * 86400


@dataclass(frozen=True, slots=True)
class Scheme:
    """How a shoot's copies are made, checked and let go over time. Times of day are seconds after local midnight."""

    made_on: tuple[str, ...]  # the media that the camera writes to
    steps: tuple[Step, ...]
    begins_s: float
    ends_s: float
    zone: str | None  # an IANA name; None: this computer's
    away_for_s: float  # how long after the end of a shoot away one is home again
    home: str | None  # the place where what is carried is while not away
    size: int | None  # of a usual shoot, bytes; None: what the studio's shoots promise on average
    files: int | None
    replaced_within_s: float
    risks: Risks
    costs: Costs


@dataclass(frozen=True, slots=True)
class Studio:
    """A whole studio file, checked: what is kept where, and what is promised."""

    file: Path
    name: str
    scratch: Path | None
    ledger: Path
    reports: Path
    weights: Mapping[str, float]
    places: Mapping[str, Place]
    media: Mapping[str, Medium]
    buses: Mapping[str, Bus]
    shoots: tuple[Shoot, ...]
    copies: tuple[Copy, ...]
    manifest_files: tuple[Path, ...] = ()
    warnings: tuple[str, ...] = ()
    scheme: Scheme | None = None
    targets: Targets = field(default_factory=Targets)  # of a shoot that names none


@dataclass(frozen=True, slots=True)
class Selector:
    """What a hazard hits: all keys that are set must match; an empty selector matches everything."""

    medium: tuple[str, ...] | None = None
    kind: tuple[str, ...] | None = None
    place: tuple[str, ...] | None = None
    account: tuple[str, ...] | None = None
    copy: tuple[str, ...] | None = None
    form: tuple[str, ...] | None = None
    attached: bool | None = None
    carried: bool | None = None
    offsite: bool | None = None


@dataclass(frozen=True, slots=True)
class Hazard:
    """One thing that goes wrong: its effect, what it hits, and the effect's own settings."""

    effect: str
    hits: Selector
    each: str | None = None
    sectors: tuple[int, ...] | str | None = None
    sector_size: int = 4096
    offsets: tuple[int, ...] | None = None
    count: int | None = None
    keep: float | int | None = None  # a share as float from 0 to 1, or a byte count as int
    files: tuple[str, ...] | None = None
    status: int = 410
    page: bool = False
    before: datetime | None = None
    factor: float = 1.0


@dataclass(frozen=True, slots=True)
class Scenario:
    """What goes wrong together, with a title and a story for people."""

    name: str
    title: str
    story: str
    hazards: tuple[Hazard, ...]
    file: str = ""

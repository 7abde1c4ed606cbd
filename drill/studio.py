"""The studio file: what is kept where, and what is promised. Read strictly; every mistake is collected and raised once.

Flows in: a TOML file, the manifests it names, the environment (passwords). Flows out: a Studio value.
Must not know: copies' contents, faults, terminals. Keys and meanings: README, "The studio file".
"""

import difflib
import os
import re
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from urllib.parse import urlsplit

from drill import clock
from drill.columns import classes_of, paths_of, promise_of
from drill.copies import ARCHIVES, archive_format, without_detours
from drill.digests import is_kind
from drill.errors import Mistake, Mistakes
from drill.filekind import STUDIO, check_kind
from drill.globs import matcher
from drill.manifests import Same, read_manifest
from drill.model import Bus, Copy, Listed, Medium, Place, Shoot, Studio, Targets
from drill.schemefile import MOST_A_YEAR, read_scheme
from drill.schemeodd import odd_needs
from drill.tables import Table, load_toml, repeated, without_secrets

LEDGER = "ledger.sqlite"
KINDS = ("card", "tablet", "phone", "computer", "ssd", "hard-disk", "network-storage", "optical", "tape", "cloud")
ATTACHED_KINDS = frozenset({"tablet", "phone", "computer", "network-storage"})
_URL = re.compile(r"https?://[^/?#]+", re.IGNORECASE)


def load_studio(path: Path, *, in_columns: bool = False) -> Studio:
    """Read and check a studio file with its manifests, held `in_columns` to save memory. Errors: Mistakes, all."""
    values = load_toml(path)
    check_kind(values, path, STUDIO)
    mistakes: list[Mistake] = []
    top = Table(values, where=str(path), at="", mistakes=mistakes)
    base = path.absolute().parent
    notes = _Notes(path, base, mistakes, in_columns=in_columns)
    head = top.table("studio")
    name = head.text("name", required=True) or ""
    scratch, ledger, reports = (head.text(key) for key in ("scratch", "ledger", "reports"))
    head.finish()
    targets = _targets(top.table("targets"), Targets())
    classes = _classes(top.table("classes"))
    weights = _weights(top.table("weights"), classes)
    places = _places(top.tables("places"))
    buses = _buses(top.tables("buses"))
    declared = tuple(places)
    media = _media(top.tables("media"), places, buses)
    notes.warnings.extend([*_odd_places(declared, tuple(places)), *odd_needs(media)])
    shoots = _shoots(top.tables("shoots"), targets, classes, weights, notes)
    copies = _copies(top.tables("copies"), media, notes)
    scheme, odd_steps = read_scheme(top, media, places, KINDS)
    notes.warnings.extend(odd_steps)
    if not shoots and not top.has("shoots"):
        hint = "add a [[shoots]] table with its manifest; to go without, write shoots = [] as the first line"
        top.wrong("shoots", "nothing is promised", hint)
    top.finish()
    if mistakes:
        raise Mistakes(mistakes)
    return Studio(
        file=path.absolute(),
        name=name,
        scratch=_local(base, scratch) if scratch else None,
        ledger=_local(base, ledger or LEDGER),
        reports=_local(base, reports or "reports"),
        weights=weights,
        places=places,
        media=media,
        buses=buses,
        shoots=shoots,
        copies=copies,
        manifest_files=tuple(dict.fromkeys(notes.files)),
        warnings=tuple(dict.fromkeys(notes.warnings)),
        scheme=scheme,
        targets=targets,
    )


def shoots_named(studio: Studio, ids: Sequence[str]) -> list[Shoot]:
    """Return the shoots of these ids in the studio's order, all where none is named. Errors: Mistakes."""
    known = {shoot.id for shoot in studio.shoots}
    unknown = [
        Mistake(str(studio.file), f"--shoot {id_}", "no shoot has this id", "shoots: " + ", ".join(sorted(known)))
        for id_ in ids
        if id_ not in known
    ]
    if unknown:
        raise Mistakes(unknown)
    return [shoot for shoot in studio.shoots if not ids or shoot.id in ids]


def copies_named(studio: Studio, ids: Sequence[str]) -> list[Copy]:
    """Return the copies of these ids in the studio's order, all where none is named. Errors: Mistakes."""
    known = [copy.id for copy in studio.copies]
    unknown = [
        Mistake(str(studio.file), f"--copy {id_}", "no copy has this id", "copies: " + (", ".join(known) or "none yet"))
        for id_ in ids
        if id_ not in known
    ]
    if unknown:
        raise Mistakes(unknown)
    return [copy for copy in studio.copies if not ids or copy.id in ids]


class _Notes:
    """What the readers of manifests leave behind: where they look, what they warned of, which files they read."""

    def __init__(self, studio_file: Path, base: Path, mistakes: list[Mistake], *, in_columns: bool) -> None:
        self.studio_file, self.base, self.mistakes = studio_file, base, mistakes
        self.warnings: list[str] = []
        self.files: list[Path] = []
        self._same, self._in_columns = Same(), in_columns

    def read(self, table: Table, role: str) -> Sequence[Listed] | None:
        pattern = table.text("manifest", required=role == "promise")
        if pattern is None:
            return None
        reading = read_manifest(
            pattern,
            base=self.base,
            where=str(self.studio_file),
            key=table.name("manifest"),
            role="promise" if role == "promise" else "copy",
            same=self._same,
            in_columns=self._in_columns,
        )
        self.mistakes.extend(reading.mistakes)
        self.warnings.extend(reading.warnings)
        self.files.extend(reading.files)
        return reading.listed


def _local(base: Path, text: str) -> Path:
    try:
        path = base / Path(text).expanduser()
    except RuntimeError:  # there is no such user: a name that begins with ~
        path = base / text
    return without_detours(path)


def _targets(table: Table, default: Targets) -> Targets:
    given = Targets(
        restore_within_s=table.span_s("restore_within"),
        lose_at_most_s=table.span_s("lose_at_most"),
        further_failures=table.whole("further_failures"),
        verified_within_s=table.span_s("verified_within"),
    )
    table.finish()

    def either(ours: float | None, theirs: float | None) -> float | None:
        return theirs if ours is None else ours

    return Targets(
        restore_within_s=either(given.restore_within_s, default.restore_within_s),
        lose_at_most_s=either(given.lose_at_most_s, default.lose_at_most_s),
        further_failures=default.further_failures if given.further_failures is None else given.further_failures,
        verified_within_s=either(given.verified_within_s, default.verified_within_s),
    )


def _classes(table: Table) -> dict[str, tuple[str, ...]]:
    return {name: table.globs(name) or () for name in table.chosen_names()}


def _weights(table: Table, classes: Mapping[str, tuple[str, ...]]) -> dict[str, float]:
    known = (*classes, "other")
    weights = dict.fromkeys(known, 1.0)
    for name in table.chosen_names():
        if name not in known:
            table.wrong(name, "is no class", "the classes are: " + ", ".join(known))
            continue
        weight = table.number(name)
        if weight is not None:
            weights[name] = weight
    if not any(weights.values()):
        table.wrong("", "all weights are 0, so there is nothing to score", "give one class a weight above 0")
    return weights


def _places(tables: list[Table]) -> dict[str, Place]:
    places: dict[str, Place] = {}
    for table in tables:
        id_ = table.id("id", required=True)
        carried, offsite = table.flag("carried") or False, table.flag("offsite")
        table.finish()
        if id_ in places:
            table.wrong("id", f"{id_!r} is there twice", "give each place an id of its own")
        if id_:
            places[id_] = Place(id_, carried=carried, offsite=offsite)
    return places


def _odd_places(declared: Sequence[str], named: Sequence[str]) -> list[str]:
    """Warn of places that are made by naming them and have another one's letters in another order, or one too many."""
    found = []
    for number, place in enumerate(named):
        for other in named[:number]:
            swapped = sorted(place) == sorted(other)
            one_more = abs(len(place) - len(other)) == 1 and difflib.SequenceMatcher(a=place, b=other).ratio() > 0.85
            if place not in declared and (swapped or (one_more and not any(map(str.isdigit, place + other)))):
                found.append(f"the place {place!r} is another than {other!r}; if that is a slip of the pen, mend it")
    return found


def _buses(tables: list[Table]) -> dict[str, Bus]:
    buses: dict[str, Bus] = {}
    for table in tables:
        id_, carries = table.id("id", required=True), table.rate_bps("carries")
        if not table.has("carries"):
            table.wrong("carries", "is missing", 'add carries = "40 MB/s" or whatever it carries')
        table.finish()
        if id_ in buses:
            table.wrong("id", f"{id_!r} is there twice", "give each bus an id of its own")
        if id_:
            buses[id_] = Bus(id_, carries or 1.0)
    return buses


def _media(tables: list[Table], places: dict[str, Place], buses: Mapping[str, Bus]) -> dict[str, Medium]:
    media: dict[str, Medium] = {}
    links: list[tuple[Table, Medium]] = []
    for table in tables:
        medium = _medium(table, places, buses)
        if medium.id in media:
            table.wrong("id", f"{medium.id!r} is there twice", "give each medium an id of its own")
        if medium.id:
            media[medium.id] = medium
            links.append((table, medium))
    for table, medium in links:
        for key, others in (("needs", medium.needs), ("mirrors", (medium.mirrors,) if medium.mirrors else ())):
            for other in others:
                if other == medium.id:
                    table.wrong(key, "names the medium itself")
                elif other not in media:
                    table.wrong(key, f"no medium has the id {other!r}", "media: " + ", ".join(media))
    return media


def _medium(table: Table, places: dict[str, Place], buses: Mapping[str, Bus]) -> Medium:
    id_ = table.id("id", required=True) or ""
    kind = table.choice("kind", KINDS, required=True) or "computer"
    place = table.id("place", required=True) or ""
    if place:
        places.setdefault(place, Place(place))
    where = places.get(place, Place(place))
    attached = table.flag("attached")
    bus = table.text("bus")
    if bus is not None and bus not in buses:
        table.wrong("bus", f"no bus has the id {bus!r}", "add it as [[buses]] with what it carries")
    medium = Medium(
        id=id_,
        kind=kind,
        place=place,
        attached=kind in ATTACHED_KINDS if attached is None else attached,
        offsite=kind == "cloud" if where.offsite is None else where.offsite,
        carried=where.carried,
        account=table.id("account"),
        needs=table.texts("needs") or () if table.raw("needs") != [] else (),
        mirrors=table.text("mirrors"),
        keeps_versions_s=table.span_s("keeps_versions"),
        reads_at_bps=table.rate_bps("reads_at"),
        per_file_s=table.span_s("per_file"),
        in_hand_after_s=table.span_s("in_hand_after") or 0.0,
        fails_per_year=table.number("fails_per_year", most=MOST_A_YEAR),
        bus=bus,
        recognised_by=table.text("recognised_by"),
        readers=table.whole("readers", least=1, most=32),
    )
    table.finish()
    return medium


def _shoots(
    tables: list[Table],
    targets: Targets,
    classes: Mapping[str, tuple[str, ...]],
    weights: Mapping[str, float],
    notes: _Notes,
) -> tuple[Shoot, ...]:
    kinds = [(name, matcher(patterns)) for name, patterns in classes.items()]

    def kind_of(path: str) -> str:
        return next((name for name, matches in kinds if matches(path)), "other")

    shoots: dict[str, Shoot] = {}
    for table in tables:
        id_, when, client = table.id("id", required=True), table.time("date", required=True), table.text("client")
        own = _targets(table.table("targets"), targets)
        listed = notes.read(table, "promise") or ()
        table.finish()
        promise = promise_of(listed, kind_of)
        if promise and not any(weights[kind] for kind in classes_of(promise)):
            table.wrong("manifest", "every class in this shoot has weight 0", "give one of them a weight above 0")
        if id_ in shoots:
            table.wrong("id", f"{id_!r} is there twice", "give each shoot an id of its own")
        shoots[id_ or ""] = Shoot(id_ or "", when or date.min, client, promise, own)
    for table in tables:
        stem, _, kind = str(table.raw("id")).rpartition(".")
        if stem in shoots and is_kind(kind):
            table.wrong("id", f"{table.raw('id')!r} reads like the checksum list of {stem!r}", "choose another id")
    return tuple(shoots.values())


def _copies(tables: list[Table], media: Mapping[str, Medium], notes: _Notes) -> tuple[Copy, ...]:
    written = {id_ for table in tables if isinstance(id_ := table.raw("id"), str)}
    copies: list[Copy] = []
    for table in tables:
        on = table.text("on", required=True) or ""
        if on and on not in media:
            table.wrong("on", f"no medium has the id {on!r}", "media: " + (", ".join(media) or "none yet"))
        id_ = table.id("id") or _default_id(on, {copy.id for copy in copies} | written)
        copies.append(_copy(table, id_, on, notes))
        table.finish()
    for id_ in repeated(copy.id for copy in copies):
        notes.mistakes.append(Mistake(str(notes.studio_file), f"copies[{id_}].id", f"{id_!r} is there twice"))
    return tuple(copies)


def _default_id(on: str, taken: set[str]) -> str:
    number, id_ = 1, on
    while id_ in taken:
        number += 1
        id_ = f"{on}-{number}"
    return id_


def _copy(table: Table, id_: str, on: str, notes: _Notes) -> Copy:
    text, made, variable = table.text("at"), table.time("made"), table.text("password_env")
    listed = notes.read(table, "copy")
    path, url, form, archive = _where(table, text, notes.base)
    if url is not None and archive is None:
        if listed is None:
            table.wrong(
                "manifest", "is missing: a base address cannot be listed", "add the list of names that are there"
            )
        elif any(name.startswith(("/", "\\")) or re.match("[A-Za-z]:", name) for name in paths_of(listed)):
            table.wrong("manifest", "has absolute names, which cannot be appended to an address", "write them relative")
    password = os.environ.get(variable) if variable else None
    if variable and not password:
        table.wrong("password_env", f"the environment variable {variable} is not set", f"set {variable} and run again")
    return Copy(
        id=id_,
        on=on,
        at=path,
        url=url,
        form=form,
        archive=archive,
        listed=listed,
        made=clock.moment(made) if made else None,
        password=password,
    )


def _where(  # noqa: PLR0911  # one return for each kind of place
    table: Table, text: str | None, base: Path
) -> tuple[Path | None, str | None, str | None, str | None]:
    if text is None:
        return None, None, None, None
    if _URL.match(text):
        wrong = _no_address(text)
        if wrong:
            table.wrong("at", f"{without_secrets(text)!r} is no web address: {wrong}", "copy the link again, whole")
            return None, None, None, None
        return None, text, "link", archive_format(urlsplit(text).path)
    if re.match(r"[A-Za-z][A-Za-z0-9+.-]+://", text):
        table.wrong("at", "only http:// and https:// addresses can be read", "use a folder, an archive or a web link")
        return None, None, None, None
    path = _local(base, text)
    if "?" in text and not os.path.exists(path):  # noqa: PTH110  # pathlib raises where a folder is locked
        what = f"{without_secrets(text)!r} is no path that is there, and no web link either"
        table.wrong("at", what, "a link begins with https:// or http://")
        return None, None, None, None
    archive = archive_format(path.name)
    if archive and not os.path.isdir(path):  # noqa: PTH112
        return path, None, "archive", archive
    if os.path.isfile(path):  # noqa: PTH113
        table.wrong(
            "at", f"{text!r} is neither a folder nor an archive that can be read", "kinds: " + " ".join(ARCHIVES)
        )
    return path, None, "folder", None


def _no_address(text: str) -> str | None:
    """Return what keeps a text from being a web address."""
    try:
        parts = urlsplit(text)
        if not parts.hostname or re.search(r"\s", parts.netloc):
            return "its host is missing or holds a space"
        return None if parts.port != 0 else "its port is 0"
    except ValueError as error:
        return str(error)

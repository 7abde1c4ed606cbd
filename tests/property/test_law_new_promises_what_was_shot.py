"""The law of `drill new`: what was shot is promised, once, and nothing else is.

For every picture of which there is an undamaged reading that is listed (and no list says otherwise), or on more media
than any damaged reading of it, or the only one of the most common that opens (of raws: the longest): it is promised
exactly once, under its own digest. Nothing is promised but files that were shot, and readings really there; of each
picture exactly one reading, and where that is a damaged one, or there are several, the proposal says so.

What cannot be known (`unsure`), and is then one picture more, never one less: a damaged reading
- that was cut short and has no time, and has another name, or lies on a copy that has a reading already;
- that has another name than the right reading, where a copy holds two readings under names of their own (they may be
  an original and an edit);
- under 4 KiB, where it was renamed, lies beside another reading, or may have lost its time; or was delivered, and lies
  in a folder of another name.
And one picture less: damaged readings that lost their time, of a picture no list knows, where a list has another
picture of that name which no copy holds any more: they may be what is left of that one.

And then the drill: with nothing gone, every promised file comes back of which a copy has the promised bytes.
The judge below knows only what `piles` did, and imports nothing of the intake's own reasoning.
"""

import io
import os
import tempfile
import unicodedata
import warnings
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import pytest
import xxhash
from hypothesis import HealthCheck, given, note, settings
from PIL import Image
from piles import HOLLOW, Lying, Picture, Pile, lay_out, piles, sha

from drill.intake.draft import first_files
from drill.intake.media import copies_on, medium_for, read_given
from drill.intake.run import Look, look
from drill.ledger import Ledger
from drill.model import Copy, Hazard, Medium, Scenario, Selector
from drill.proposal import Disagreement, Proposal
from drill.rehearse import Options, rehearse
from drill.studio import load_studio

NOW = datetime(2026, 11, 1, tzinfo=UTC)
NOTHING = Scenario("nothing", "Nothing is gone", "A quiet day.", (Hazard("slow", Selector(), factor=1.0),))


# --- the program -------------------------------------------------------------------------------------------------


def propose(folder: Path, media: Sequence[str]) -> tuple[Proposal, Path | None]:
    """Do as `drill new` does: look, and write the studio file; None where there is nothing to promise."""
    known: dict[str, Medium] = {}
    copies: list[Copy] = []
    taken: set[str] = set()
    for one in read_given(media):
        medium, _ = medium_for(one, taken=known, ask=None)
        known[medium.id] = medium
        copies += copies_on(one, medium, taken=taken)
    with Ledger.open(None) as ledger:
        at = Look(
            media=known,
            copies=copies,
            assumed=frozenset(),
            gap_s=6 * 3600,
            digest="xxh128",
            now=NOW,
            scratch=folder,
            ledger=ledger,
            progress=lambda _: None,
        )
        proposal = look(at)
    if not proposal.shoots:
        return proposal, None
    for change in first_files(folder, proposal, name="Pile", media=known, copies=copies):
        change.path.parent.mkdir(parents=True, exist_ok=True)
        change.path.write_bytes(change.content)
    return proposal, folder / "studio.toml"


# --- the judge ---------------------------------------------------------------------------------------------------


@dataclass(eq=False)
class Reading:
    """One reading of a picture: its bytes, and where they lie."""

    content: bytes
    lying: list[Lying]

    @property
    def media(self) -> set[str]:
        return {one.medium for one in self.lying}

    @property
    def copies(self) -> set[str]:
        return {one.copy for one in self.lying}

    @property
    def names(self) -> set[str]:
        return {unicodedata.normalize("NFC", one.path.rpartition("/")[2]).casefold() for one in self.lying}


@dataclass
class Verdict:
    """What may be promised of one picture: for each reading how often, and how many altogether; what must be said."""

    each: dict[bytes, tuple[int, int]]
    total: tuple[int, int]
    differ: bool  # several readings, all of them surely of this picture
    judged: bool | None  # whether the choice must be marked as a judgement; None: not said


def readings_of(pile: Pile) -> dict[int, list[Reading]]:
    found: dict[int, dict[bytes, Reading]] = defaultdict(dict)
    for one in pile.lying:
        if one.content is not None and one.fate not in HOLLOW:
            found[one.picture.number].setdefault(one.content, Reading(one.content, [])).lying.append(one)
    return {number: list(of.values()) for number, of in found.items()}


def opens(content: bytes) -> bool:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(content)) as picture:
                picture.load()
    except Exception:
        return False
    return True


def _head(picture: Picture) -> int:
    """Return how many bytes at the head of a file must be whole for its time to be read."""
    return 16 + picture.content.find(b"2026:") + 20 if picture.when is not None else 0


def _timed(reading: Reading, picture: Picture) -> bool:
    head = _head(picture)
    return picture.when is not None and reading.content[:head] == picture.content[:head]


def _half_alike(one: bytes, other: bytes) -> bool:
    ends = [len(one) * n // 16 for n in range(17)]
    alike = sum(one[a:b] == other[a:b] for a, b in pairwise(ends))
    return len(one) == len(other) >= 4096 and alike >= 8


def _begins(one: Reading, other: Reading, readings: Sequence[Reading]) -> bool:
    """Say whether one reading is the other cut short, and no third one that it may be of is left on its own."""
    short, long = sorted((one.content, other.content), key=len)
    fitting = [reading.content for reading in readings if len(reading.content) > len(short)]
    return long.startswith(short) and all(
        _half_alike(fit, long) or fit.startswith(long) or long.startswith(fit)
        for fit in fitting
        if fit.startswith(short)
    )


def _bytes_say(one: Reading, other: Reading, readings: Sequence[Reading], picture: Picture) -> bool:
    """Say whether the bytes of two readings alone say that they are of one picture."""
    timed = _timed(one, picture) and _timed(other, picture)
    return _half_alike(one.content, other.content) or (timed and _begins(one, other, readings))


def _named_alike(one: Reading, other: Reading) -> bool:
    return not one.names.isdisjoint(other.names)


def _surely_one(one: Reading, other: Reading, readings: Sequence[Reading], picture: Picture) -> bool:
    """Say whether two readings are known to be of one picture, be it by their names as well."""
    if _bytes_say(one, other, readings, picture):
        return True
    apart = all(a.copies.isdisjoint(b.copies) for a in readings for b in readings if a is not b)
    timed = _timed(one, picture) and _timed(other, picture)
    near = not picture.delivery or not _folders(one).isdisjoint(_folders(other))
    return apart and near and _named_alike(one, other) and (timed or _begins(one, other, readings))


def _folders(reading: Reading) -> set[str]:
    """Return where a delivery lies below the folder of deliveries: web and print sizes share all else."""
    return {one.path.rpartition("/")[0].rpartition("deliver")[2] for one in reading.lying}


def unsure(picture: Picture, readings: Sequence[Reading], listed: set[str]) -> list[Reading]:
    """Return the damaged readings that may be taken for pictures of their own; at `listed` the right one should be."""
    right = [reading for reading in readings if reading.content == picture.content]
    right = right or [r for r in readings if any(f"{one.copy}/{one.path}" in listed for one in r.lying)]
    right = right or list(readings[:1])
    sure, left = list(right), [reading for reading in readings if reading not in right]
    while found := [r for r in left if any(_surely_one(r, other, readings, picture) for other in sure)]:
        sure += found
        left = [reading for reading in left if reading not in found]
    if any(a.copies & b.copies and not _named_alike(a, b) for a in sure for b in sure):
        sure = [
            r for r in sure if r in right or (_bytes_say(r, right[0], readings, picture) and _named_alike(r, right[0]))
        ]
    return [reading for reading in readings if reading not in sure]


def _is_settled(picture: Picture, right: Reading, damaged: Sequence[Reading]) -> tuple[bool, bool]:
    """Say without lists: whether the right reading is settled on, and whether that is a judgement."""
    rivals = [reading for reading in damaged if len(reading.media) >= len(right.media)]
    if any(len(reading.media) > len(right.media) for reading in rivals):
        return False, False
    if not rivals:
        return True, False
    if picture.name.endswith(".JPG"):
        return not any(opens(reading.content) for reading in rivals), True
    return picture.name.endswith(".DNG") and all(len(r.content) < len(right.content) for r in rivals), True


def _stated(pile: Pile, picture: Picture) -> dict[str, set[str]]:
    """Return what lists state of a picture: digest → the places where it should lie. Hollow files state nothing."""
    hollow = {sha(one.content or b"") for one in pile.lying if one.fate in HOLLOW}
    found: dict[str, set[str]] = defaultdict(set)
    for one in pile.lying:
        digest = pile.lists.get(one.copy, {}).get(one.path)
        if digest is not None and digest not in hollow and one.picture.number == picture.number:
            found[digest].add(f"{one.copy}/{one.path}")
    return found


def _may_be_another(pile: Pile, picture: Picture, readings: Sequence[Reading]) -> bool:
    """Say whether all that is left of a picture may be taken for another one, which a list names and no copy holds."""
    if _stated(pile, picture) or any(r.content == picture.content or _timed(r, picture) for r in readings):
        return False
    held = {one.picture.number for one in pile.lying if one.content is not None and one.fate not in HOLLOW}
    names = {name for reading in readings for name in reading.names}
    gone = [other for other in pile.pictures if other.number not in held and _stated(pile, other)]
    return any(unicodedata.normalize("NFC", other.name).casefold() in names for other in gone)


def verdict(pile: Pile, picture: Picture, readings: Sequence[Reading]) -> Verdict:
    stated = _stated(pile, picture)
    doubtful = unsure(picture, readings, stated.get(picture.digest, set()))
    right = next((reading for reading in readings if reading.content == picture.content), None)
    damaged = [reading for reading in readings if reading is not right]
    more = len(doubtful)
    if right is not None and not stated:
        settled, judged = _is_settled(picture, right, damaged)
    else:
        settled, judged = bool(stated) and set(stated) == {picture.digest}, False
    if right is None and picture.digest in stated:  # whoever lies elsewhere may be a picture of its own
        at = {f"{one.copy}/{one.path}" for r in readings for one in r.lying}
        more += not (at & stated[picture.digest])
        settled = bool(at & stated[picture.digest]) and settled
    each = {
        reading.content: (0, 0 if settled and all(reading is not d for d in doubtful) else 1) for reading in damaged
    }
    each[picture.content] = (int(settled), int(right is not None or picture.digest in stated))
    exists = bool(readings) and not _may_be_another(pile, picture, readings)
    if not exists:
        each = {content: (0, most) for content, (_, most) in each.items()}
    differ = len(readings) > 1 and not doubtful
    return Verdict(
        each=each,
        total=(int(exists), int(bool(readings) or bool(stated)) + more),
        differ=differ,
        judged=judged if settled and differ and not stated else None,
    )


def check(pile: Pile, promised: Sequence[bytes], said: Mapping[bytes, Disagreement]) -> None:
    """Hold the promised pictures (their bytes) against what the pile's own history says."""
    of = readings_of(pile)
    verdicts = {picture.number: verdict(pile, picture, of.get(picture.number, [])) for picture in pile.pictures}
    count = Counter(promised)
    bounds: dict[bytes, list[int]] = defaultdict(lambda: [0, 0])
    for found in verdicts.values():
        for content, (least, most) in found.each.items():
            bounds[content][0] += least
            bounds[content][1] += most
    for content, times in count.items():
        assert content in bounds, "something is promised that nobody shot, nor lies anywhere"
        assert times <= bounds[content][1], f"{sha(content)} is promised {times} times, at most {bounds[content][1]}"
    for content, (least, _) in bounds.items():
        assert count[content] >= least, f"{sha(content)} is promised {count[content]} times, at least {least}"
    for contents, least, most in _families(verdicts):
        total = sum(count[content] for content in contents)
        assert least <= total <= most, f"{total} readings of one picture are promised, {least} to {most} may be"
    for found in verdicts.values():
        shared = any(other is not found and not other.each.keys().isdisjoint(found.each) for other in verdicts.values())
        for content in found.each if found.differ and not shared else ():
            if count[content]:
                assert content in said, "copies hold different bytes, and nothing says so"
                assert found.judged is None or said[content].judged == found.judged, said[content]


def _families(verdicts: Mapping[int, Verdict]) -> list[tuple[set[bytes], int, int]]:
    """Join the bounds of pictures that share bytes: what was delivered unchanged."""
    families: list[tuple[set[bytes], int, int]] = []
    for found in verdicts.values():
        mine, least, most = set(found.each), *found.total
        for other in [family for family in families if family[0] & mine]:
            families.remove(other)
            mine, least, most = mine | other[0], least + other[1], most + other[2]
        families.append((mine, least, most))
    return families


# --- the law -----------------------------------------------------------------------------------------------------


def obey(pile: Pile) -> None:
    with tempfile.TemporaryDirectory(prefix="drill-pile-") as name:
        folder = Path(name)
        media = lay_out(pile, folder / "media")
        proposal, studio_file = propose(folder / "studio", media)
        by_digest: dict[str, bytes] = {}
        for content in _all_bytes(pile):
            by_digest[xxhash.xxh128_hexdigest(content)] = by_digest[sha(content)] = content
        others = {content for _, _, content in pile.others}
        promised: list[bytes] = []
        said: dict[bytes, Disagreement] = {}
        for shoot in proposal.shoots:
            differing = {one.path: one for one in shoot.disagreements}
            for line in shoot.lines:
                note(f"promised: {shoot.id}: {line.path} {differing.get(line.path)}")
                found = {by_digest.get(digest.hex) for digest in line.digests}
                assert len(found) == 1 and None not in found, f"{line.path}: digests of nothing that is there"
                (content,) = found
                assert content is not None
                if content in others:
                    continue
                promised.append(content)
                if line.path in differing:
                    said[content] = differing[line.path]
        check(pile, promised, said)
        _check_sidecars(pile, proposal)
        if studio_file is not None:
            _check_drill(pile, studio_file)


def _all_bytes(pile: Pile) -> set[bytes]:
    found = {picture.content for picture in pile.pictures} | {content for _, _, content in pile.others}
    return found | {one.content for one in pile.lying if one.content is not None}


def _check_sidecars(pile: Pile, proposal: Proposal) -> None:
    """A sidecar beside its raw, of which there is but one version, is promised."""
    promised = {digest.hex for shoot in proposal.shoots for line in shoot.lines for digest in line.digests}
    versions: dict[str, set[bytes]] = defaultdict(set)
    for _, path, content in pile.others:
        versions[unicodedata.normalize("NFC", path.rpartition("/")[2]).casefold()].add(content)
    there = {(one.copy, one.path[:-4]) for one in pile.lying if one.content is not None and one.fate not in HOLLOW}
    for copy, path, content in pile.others:
        name = unicodedata.normalize("NFC", path.rpartition("/")[2]).casefold()
        if (copy, path[:-4]) in there and len(versions[name]) == 1:
            assert xxhash.xxh128_hexdigest(content) in promised, path


def _check_drill(pile: Pile, studio_file: Path) -> None:
    """With nothing gone, all comes back that any copy has."""
    studio = load_studio(studio_file)
    record = rehearse(studio, [NOTHING], Options(seed=1, now=NOW))
    there = {one.content for one in pile.lying} | {content for _, _, content in pile.others}
    digests = {of(content) for of in (xxhash.xxh128_hexdigest, sha) for content in there if content is not None}
    absent = {
        (shoot.id, file.path)
        for shoot in studio.shoots
        for file in shoot.promise
        if not any(digest.hex in digests for digest in file.digests)
    }
    lost = {(drill.shoot, one.path) for drill in record.drills for one in (*drill.lost_files, *drill.on_paper_files)}
    assert lost == absent
    assert len(record.drills) == len(studio.shoots)


QUICK = settings(max_examples=25, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])


@QUICK
@given(piles())
def test_new_promises_what_was_shot_and_nothing_else(pile: Pile) -> None:
    obey(pile)


@pytest.mark.deep
@settings(  # the same piles each time, unless somebody asks for a number of new ones
    QUICK,
    max_examples=int(os.environ.get("DRILL_DEEP_PILES", "1500")),
    derandomize="DRILL_DEEP_PILES" not in os.environ,
)
@given(piles())
def test_new_promises_what_was_shot_in_many_piles(pile: Pile) -> None:
    obey(pile)

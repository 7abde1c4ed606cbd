"""What earlier readings prove of promised files, what they refute, and what ends a proof."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from pathlib import Path

import pytest

from drill.evidence import Promises, Standing, proof_age, standing
from drill.ledger import Ledger, Root
from drill.model import Digest, Entry, Listed, Problem, Promised, Seen, Shoot, Targets, Trouble

ROOT = Root("/media/reed", "ssd")
DAY = datetime(2026, 9, 1, 12, tzinfo=UTC)
LATER = DAY + timedelta(days=20)
NOW = LATER + timedelta(days=1)


def digest(content: bytes, kind: str = "sha256") -> Digest:
    return Digest(kind, sha256(content).hexdigest())


def shoot(id_: str, *files: tuple[str, bytes], size: bool = True) -> Shoot:
    promise = tuple(Promised(path, (digest(data),), len(data) if size else None, "other") for path, data in files)
    return Shoot(id_, date(2026, 9, 1), None, promise, Targets())


def entry(path: str, content: bytes, modified: datetime = DAY) -> Entry:
    return Entry(path, len(content), modified)


def told(
    ledger: Ledger, shoots: Sequence[Shoot], entries: Sequence[Entry] | None, listed: Sequence[Listed] | None = None
) -> Standing:
    return standing(ledger.each_evidence(ROOT), Promises(shoots), root=ROOT, entries=entries, listed=listed, now=NOW)


def ledger_with(*readings: tuple[str, bytes], at: datetime = LATER) -> Ledger:
    ledger = Ledger.open(None)
    for path, content in readings:
        read(ledger, path, content, at=at)
    return ledger


def read(ledger: Ledger, path: str, content: bytes, *, at: datetime = LATER, modified: datetime = DAY) -> None:
    ledger.put(ROOT, entry(path, content, modified), Seen(len(content), (digest(content),)), read_at=at)


LINK = Root("https://files.example/reed", "cloud")


@pytest.mark.parametrize(
    ("listed_as", "proven"),
    [
        (None, True),
        ([], False),
        ([Entry("r.dng", None, None)], True),
        ([Entry("r.dng", 3, None)], True),
        ([Entry("r.dng", 4, None)], False),
        ([Entry("r.dng", 3, DAY)], True),
    ],
)
def test_behind_a_link_a_proof_says_what_the_server_sent_then(listed_as: list[Entry] | None, proven: bool) -> None:
    """Whatever tells of a change ends it: the file is not listed any more, or is of another size."""
    with Ledger.open(None) as ledger:
        ledger.put(LINK, Entry("r.dng", None, None), Seen(3, (digest(b"one"),)), read_at=LATER)
        known = standing(
            ledger.each_evidence(LINK), Promises([REED]), root=LINK, entries=listed_as, listed=None, now=NOW
        )
        assert known.proven == ({0: LATER} if proven else {}) and not known.refuted
        assert ledger.get(LINK, Entry("r.dng", None, None)) is None, "it is read again all the same"
        assert ledger.get(LINK, Entry("r.dng", 3, None)) is None


@pytest.mark.parametrize(
    ("trouble", "refuted"), [(Trouble.REFUSED, False), (Trouble.DAMAGED, True), (Trouble.CHECK_VALUE, True)]
)
def test_a_later_reading_of_a_link_ends_the_proof(trouble: Trouble, refuted: bool) -> None:
    with Ledger.open(None) as ledger:
        ledger.put(LINK, Entry("R0001.DNG", 3, None), Seen(3, (digest(b"one"),)), read_at=DAY)
        ledger.put_problem(LINK, Entry("R0001.DNG", 3, None), Problem(trouble, "no"), read_at=LATER)
        known = standing(ledger.each_evidence(LINK), Promises([REED]), root=LINK, entries=None, listed=None, now=NOW)
    assert not known.proven and bool(known.refuted) is refuted


def test_other_bytes_behind_a_link_refute_it() -> None:
    with Ledger.open(None) as ledger:
        for content, at in ((b"one", DAY), (b"eno", LATER)):
            ledger.put(LINK, Entry("R0001.DNG", None, None), Seen(3, (digest(content),)), read_at=at)
        known = standing(ledger.each_evidence(LINK), Promises([REED]), root=LINK, entries=None, listed=None, now=NOW)
    assert not known.proven and known.refuted[0].at == LATER


REED = shoot("reed", ("raw/R0001.DNG", b"one"), ("raw/R0002.DNG", b"three"))


def test_a_reading_of_the_promised_bytes_proves_them_under_any_name() -> None:
    known = told(ledger_with(("x/other.dng", b"one")), [REED], [entry("x/other.dng", b"one")])
    assert known.proven == {0: LATER} and not known.refuted and known.sizes == {0: 3}


@pytest.mark.parametrize(
    "now", [entry("r.dng", b"one", DAY + timedelta(seconds=3)), entry("r.dng", b"longer"), entry("s.dng", b"one")]
)
def test_a_file_that_changed_or_is_gone_is_proved_no_more(now: Entry) -> None:
    known = told(ledger_with(("r.dng", b"one")), [REED], [now])
    assert not known.proven and not known.refuted


def test_of_a_copy_that_cannot_be_listed_readings_stand_as_of_their_day() -> None:
    assert told(ledger_with(("r.dng", b"one")), [REED], None).proven == {0: LATER}


def test_a_proof_from_the_future_is_none() -> None:
    """A clock that was years ahead for one audit would make a proof that never ages."""
    assert not told(
        ledger_with(("r.dng", b"one"), at=NOW + timedelta(days=900)), [REED], [entry("r.dng", b"one")]
    ).proven


def test_of_two_proofs_the_later_counts() -> None:
    ledger = ledger_with(("a/r.dng", b"one"), at=DAY + timedelta(days=1))
    read(ledger, "b/r.dng", b"one")
    assert told(ledger, [REED], [entry("a/r.dng", b"one"), entry("b/r.dng", b"one")]).proven == {0: LATER}


def test_other_bytes_under_a_promised_name_refute_it_until_it_is_verified_again() -> None:
    ledger = ledger_with(("raw/R0001.DNG", b"0ne"))
    here = [entry("raw/R0001.DNG", b"0ne")]
    known = told(ledger, [REED], here)
    assert known.refuted[0].path == "raw/R0001.DNG" and "other bytes" in known.refuted[0].why
    changed = [entry("raw/R0001.DNG", b"one", LATER)]  # written anew since, which heals nothing by itself
    assert told(ledger, [REED], changed).refuted.keys() == {0}
    read(ledger, "raw/R0001.DNG", b"one", at=LATER, modified=LATER)
    known = told(ledger, [REED], changed)
    assert known.proven == {0: LATER} and not known.refuted


def test_a_problem_refutes_what_the_name_stands_for() -> None:
    ledger = Ledger.open(None)
    ledger.put_problem(ROOT, entry("raw/R0002.DNG", b"three"), Problem(Trouble.IO, "bytes 0 to 4"), read_at=LATER)
    known = told(ledger, [REED], [entry("raw/R0002.DNG", b"three")])
    assert known.refuted.keys() == {1} and "bytes 0 to 4" in known.refuted[1].why


def test_a_refuted_file_whose_right_bytes_are_proved_elsewhere_on_the_copy_is_not_wrong() -> None:
    ledger = ledger_with(("raw/R0001.DNG", b"0ne"), ("again/R0001.DNG", b"one"))
    known = told(ledger, [REED], [entry("raw/R0001.DNG", b"0ne"), entry("again/R0001.DNG", b"one")])
    assert known.proven == {0: LATER} and not known.refuted


def test_a_copys_own_list_says_which_file_a_wrong_one_is() -> None:
    listed = [Listed("IMG/0007.bin", (digest(b"three"),))]
    ledger = ledger_with(("IMG/0007.bin", b"thrEE"))
    known = told(ledger, [REED], [entry("IMG/0007.bin", b"thrEE")], listed)
    assert known.refuted.keys() == {1} and "its list" in known.refuted[1].why


def test_a_name_that_a_camera_used_again_is_no_damage() -> None:
    """Both shoots have an R0001; the card has the one of `kiln`, which is right; and a third one, in no promise."""
    kiln = shoot("kiln", ("raw/R0001.DNG", b"kiln one"), ("raw/R0009.DNG", b"nine"))
    here = [entry("DCIM/R0001.DNG", b"kiln one"), entry("old/R0002.DNG", b"longer than three")]
    known = told(ledger_with(*((e.path, d) for e, d in zip(here, [b"kiln one", b"longer than three"], strict=True))),
                 [REED, kiln], here)  # fmt: skip
    assert known.proven.keys() == {2} and not known.refuted


def test_a_wrong_file_is_of_the_shoot_whose_files_lie_beside_it() -> None:
    kiln = shoot("kiln", ("raw/R0001.DNG", b"two"), ("raw/R0009.DNG", b"nine"))
    known = told(
        ledger_with(("a/raw/R0001.DNG", b"bad"), ("a/raw/R0009.DNG", b"nine")),
        [REED, kiln],
        [entry("a/raw/R0001.DNG", b"bad"), entry("a/raw/R0009.DNG", b"nine")],
    )
    assert known.refuted.keys() == {2}


def test_a_weak_digest_proves_nothing() -> None:
    weak = Promised("raw/R0001.DNG", (Digest("xxh32", "0a0b0c0d"),), 3, "other")
    ledger = Ledger.open(None)
    ledger.put(ROOT, entry("raw/R0001.DNG", b"one"), Seen(3, (Digest("xxh32", "0a0b0c0d"),)), read_at=LATER)
    known = told(ledger, [replace(REED, promise=(weak,))], [entry("raw/R0001.DNG", b"one")])
    assert not known.proven and not known.refuted


def test_a_reading_in_another_digest_kind_says_nothing() -> None:
    ledger = Ledger.open(None)
    ledger.put(ROOT, entry("raw/R0001.DNG", b"one"), Seen(3, (digest(b"one", "xxh128"),)), read_at=LATER)
    known = told(ledger, [REED], [entry("raw/R0001.DNG", b"one")])
    assert not known.proven and not known.refuted


def test_ages_count_every_held_file_once() -> None:
    known = Standing({0: LATER, 1: DAY}, {2: told(ledger_with(("raw/R0001.DNG", b"0ne")), [REED], None).refuted[0]})
    age = proof_age("x", range(5), known)
    assert (age.held, age.proven, age.never, age.refuted) == (5, 2, 2, ("raw/R0001.DNG",))
    assert age.oldest is not None and datetime.fromisoformat(age.oldest) == DAY


def test_what_was_promised_bytes_and_has_others_is_wrong_whatever_its_name(tmp_path: Path) -> None:
    """Neither size nor folder tells what it stands for; its own first reading does, also after many others."""
    with Ledger.open(tmp_path / "ledger.sqlite") as ledger:
        for content in (b"one", b"bad", b"worse"):
            read(ledger, "DCIM/X0000.DNG", content)
            ledger.flush()
        known = told(ledger, [REED], [entry("DCIM/X0000.DNG", b"worse")])
        assert known.refuted.keys() == {0} and not known.proven
        read(ledger, "DCIM/X0000.DNG", b"one")
        assert told(ledger, [REED], [entry("DCIM/X0000.DNG", b"one")]).proven == {0: LATER}
        ledger.put_problem(ROOT, entry("DCIM/X0000.DNG", b"one"), Problem(Trouble.REFUSED, "not allowed"))
        assert told(ledger, [REED], [entry("DCIM/X0000.DNG", b"one")]).refuted.keys() == {0}


def test_a_reading_in_another_kind_than_the_first_is_no_change() -> None:
    ledger = ledger_with(("X.DNG", b"one"))
    ledger.flush()
    ledger.put(ROOT, entry("X.DNG", b"one"), Seen(3, (digest(b"one", "xxh128"),)), read_at=LATER)
    known = told(ledger, [REED], [entry("X.DNG", b"one")])
    assert not known.refuted and not known.proven

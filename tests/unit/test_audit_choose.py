"""What an audit reads: everything, what a budget buys, a spot check; and in which portions."""

import hashlib
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path

from drill.audit.choose import Choice, Choosing, Limits, choose
from drill.audit.past import Past, Proof, Proofs
from drill.audit.promises import Promises
from drill.audit.scope import Said, Scope
from drill.ledger import Ledger, Root
from drill.model import Copy, Digest, Entry, Listed, Medium, Seen
from drill.shelf import OpenCopy, State

NOW = datetime(2026, 11, 24, 20, tzinfo=UTC)
OLD = datetime(2026, 9, 1, tzinfo=UTC)


def digest(name: str) -> Digest:
    return Digest("md5", hashlib.md5(name.encode()).hexdigest())


def scope_of(id_: str, *names: str, size: int = 1000, archive: str | None = None, bus: str | None = None) -> Scope:
    copy = Copy(id_, id_, Path(id_), None, "archive" if archive else "folder", archive, ())
    medium = Medium(id_, "ssd", "home", False, False, False, per_file_s=0.0, bus=bus)
    entries = [Entry(name, size, OLD) for name in names]
    said = [Said(Listed(entry.path, (digest(entry.path),)), entry) for entry in entries]
    return Scope(OpenCopy(copy, medium, State.HERE, entries=tuple(entries)), said=said)


def past_of(scope: Scope, *, wrong: tuple[str, ...] = (), **read_at: datetime) -> Past:
    """What the ledger knows: name → when its bytes were read, the right ones or wrong ones."""
    root, ledger = Root(scope.found.copy.id, scope.found.copy.id), Ledger.open(None)
    for name, at in read_at.items():
        digests = (digest(name + "!" if name in wrong else name),)
        ledger.put(root, Entry(name, 1000, OLD), Seen(1000, digests), read_at=at)
    return Past(root, ledger)


def chosen(limits: Limits, *scopes: Scope, pasts: dict[str, Past] | None = None, **more: object) -> Choice:
    by = Choosing(
        Promises((), ()),
        more.pop("proofs", Proofs()),  # type: ignore[arg-type]
        pasts or {},
        lambda medium: lambda size: size / 100.0,
        seed=7,
        now=NOW,
    )
    return choose(list(scopes), limits, by, **more)  # type: ignore[arg-type]


def names(choice: Choice) -> list[str]:
    return [pick.entry.path for portion in choice.portions for pick in portion]


def test_without_limits_everything_is_read_but_what_is_done() -> None:
    scope = scope_of("x", "a", "b", "c")
    assert names(chosen(Limits(), scope)) == ["a", "b", "c"]
    assert names(chosen(Limits(), scope, done=frozenset({("x", "b", 0)}))) == ["a", "c"]


def test_a_budget_of_bytes_buys_the_never_verified_then_the_oldest_proofs() -> None:
    scope = scope_of("x", "fresh", "old", "never")
    pasts = {"x": past_of(scope, fresh=NOW - timedelta(days=1), old=NOW - timedelta(days=90))}
    assert names(chosen(Limits(budget_bytes=2000), scope, pasts=pasts)) == ["never", "old"]


def test_a_reading_of_other_bytes_is_no_proof() -> None:
    scope = scope_of("x", "refuted", "proven")
    pasts = {"x": past_of(scope, wrong=("refuted",), proven=NOW, refuted=NOW)}
    assert names(chosen(Limits(budget_bytes=1000), scope, pasts=pasts)) == ["refuted"]


def test_a_file_with_fewer_verified_copies_comes_first() -> None:
    scope, proofs = scope_of("x", "two", "lone"), Proofs()
    proofs.add(Proof("y", "two", NOW), (digest("two"),))
    pasts = {"x": past_of(scope, two=NOW - timedelta(days=50), lone=NOW - timedelta(days=40))}
    assert names(chosen(Limits(budget_bytes=1000), scope, pasts=pasts, proofs=proofs)) == ["lone"]


def test_time_is_given_to_each_medium_and_shared_on_a_bus() -> None:
    # 1000 bytes at 100 bytes a second: 10 s a file
    apart = [scope_of("x", "a", "b"), scope_of("y", "c", "d")]
    assert len(names(chosen(Limits(budget_s=10), *apart))) == 2
    shared = [scope_of("x", "a", "b", bus="hub"), scope_of("y", "c", "d", bus="hub")]
    assert len(names(chosen(Limits(budget_s=10), *shared))) == 1


def test_a_budget_of_time_is_read_in_portions_and_an_archive_in_one_go() -> None:
    many = [f"f{number}" for number in range(30)]
    choice = chosen(Limits(budget_s=200), scope_of("x", *many))
    assert [len(portion) for portion in choice.portions] == [3, 3, 3, 3, 3, 3, 2]
    assert len(chosen(Limits(budget_s=200), scope_of("x", *many, archive=".zip")).portions) == 1


def test_a_spot_check_is_as_large_as_it_must_be_and_can_be_repeated() -> None:
    scope = scope_of("x", *(f"f{number:03}" for number in range(400)))
    limits = Limits(confidence=Fraction(95, 100), at_most=Fraction(1, 100))
    first, again = chosen(limits, scope), chosen(limits, scope)
    assert names(first) == names(again)
    # The smallest n with C(400-5, n) / C(400, n) <= 0.05, computed here by multiplying: at most 4 of 400 are bad.
    chance, n = 1.0, 0
    while chance > 0.05:
        chance *= (395 - n) / (400 - n)
        n += 1
    assert len(names(first)) == n == len(first.drawn["x"])
    assert first.population == {"x": 400}
    done = frozenset(list(first.drawn["x"])[:3])
    assert len(names(chosen(limits, scope, done=done))) == n - 3


def test_limits_in_words() -> None:
    assert Limits().words == ""
    assert Limits(budget_s=7200).words == "what 2 h of reading buy"
    assert Limits(budget_bytes=5 * 10**11).words == "what 500 GB of reading buy"
    words = Limits(confidence=Fraction(995, 1000), at_most=Fraction(1, 100)).words
    assert words == "a spot check at 99.5 % confidence, for at most 1 % bad"

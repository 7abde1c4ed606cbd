"""Reported records held against the judge: every difference, in words.

Flows in: what a run must report (see `oracle`), a record, an exit code. Flows out: texts; none where they agree.
It must not import anything of the program under test. Facts: the contract's JSON.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from oracle import Expected, ExpectedRun


def _sums(drill: Mapping[str, Any]) -> Iterator[str]:
    rows = {"files": drill["files"], "bytes": drill["bytes"], **drill["by_class"]}
    for name, row in rows.items():
        if row["promised"] != row["verified"] + row["on_paper"] + row["lost"]:
            yield f"{name}: promised is not verified + on paper + lost: {row}"
    unchecked = drill["unchecked"]
    if sum(unchecked[key] for key in ("right", "silently_wrong", "failed")) != drill["files"]["promised"]:
        yield f"unchecked does not add up: {unchecked}"


def _bytes(expected: Expected, drill: Mapping[str, Any], verified: set[str]) -> Iterator[str]:
    sizes = {path: len(data) for path, data in expected.shoot.promise}
    row = drill["bytes"]
    if row["verified"] != sum(sizes[path] for path in verified):
        yield f"bytes verified: {row['verified']}, not {sum(sizes[path] for path in verified)}"
    if row["unknown_files"] > len(sizes) - len(verified):
        yield f"more files of unknown size than are not verified: {row}"


def _files(expected: Expected, drill: Mapping[str, Any]) -> Iterator[str]:
    lost = {row["path"] for row in drill["lost_files"]}
    paper = {row["path"] for row in drill["on_paper_files"]}
    verified = {path for path, _ in expected.shoot.promise} - lost - paper
    stitched = verified - set(expected.holders)
    perhaps = stitched - expected.stitched
    if expected.stitched - verified:
        yield f"must be stitched, is not: {sorted(expected.stitched - verified)}"
    if set(expected.holders) - verified:
        yield f"must be verified, is not: {sorted(set(expected.holders) - verified)}"
    if stitched - expected.stitchable:
        yield f"cannot be verified, and is said to be: {sorted(stitched - expected.stitchable)}"
    if len(stitched) != drill["stitched"]:
        yield f"stitched is {drill['stitched']}, and no single copy has {sorted(stitched)}"
    if paper - expected.on_paper or expected.on_paper - paper - perhaps:
        yield f"on paper: {sorted(paper)}, not {sorted(expected.on_paper)}"
    if lost - expected.lost or expected.lost - lost - perhaps:
        yield f"lost: {sorted(lost)}, not {sorted(expected.lost)}"
    if any(not row.get("why") for row in drill["lost_files"]):
        yield f"a lost file without a reason: {drill['lost_files']}"
    yield from _bytes(expected, drill, verified)
    counted = {"promised": len(expected.shoot.promise), "verified": len(verified), "on_paper": len(paper)}
    if drill["files"] != counted | {"lost": len(lost)}:
        yield f"files: {drill['files']} against the lists: {counted}, lost {len(lost)}"
    if not perhaps and drill["by_class"] != expected.by_class:
        yield f"by class: {drill['by_class']}, not {expected.by_class}"
    if not perhaps and (drill["score"], drill["verdict"]) != (expected.score, expected.verdict):
        yield f"score and verdict: {drill['score']} {drill['verdict']}, not {expected.score} {expected.verdict}"
    yield from _sources(expected, drill, len(verified) - len(stitched), len(stitched))


def _sources(expected: Expected, drill: Mapping[str, Any], whole: int, stitched: int) -> Iterator[str]:
    """Each file has one source, or, put together from several copies, each of these."""
    sources = drill["sources"]
    if not whole + 2 * stitched <= sum(sources.values()) <= whole + len(sources) * stitched:
        yield f"sources do not add up to {whole} files and {stitched} stitched: {sources}"
    for copy, count in sources.items():
        if count > sum(copy in who for who in expected.holders.values()) + stitched:
            yield f"{copy} is said to have given {count} files and has fewer intact"


def _weakness(expected: Expected, drill: Mapping[str, Any]) -> Iterator[str]:
    reported = drill["further_failures"]
    least, most = expected.survivable
    if not least <= reported["survivable"] <= most:
        yield f"survivable: {reported['survivable']}, not {least} to {most}"
    sets = {frozenset(one) for one in reported["weakest"]}
    if len(sets) != len(reported["weakest"]):
        yield f"a weakest set twice: {reported['weakest']}"
    if expected.weakest is not None and least == most:
        whole = len(expected.weakest) <= 20
        if sets != expected.weakest if whole else not (len(sets) == 20 and sets <= expected.weakest):
            yield f"weakest: {sorted(map(sorted, sets))}, not {sorted(map(sorted, expected.weakest))}"
    if reported["target"] != expected.shoot.targets.further_failures:
        yield f"target of further failures: {reported['target']}"


def drill_disagreements(expected: Expected, drill: Mapping[str, Any]) -> list[str]:
    """Hold one reported drill against what it must be; return every difference in words."""
    found = [*_sums(drill), *_files(expected, drill)]
    if drill["stitched"] == len(expected.stitched):
        found += _weakness(expected, drill)
        work = drill["lost_work"]
        hours = expected.shoot.targets.lose_at_most_h
        told = (work["oldest_lost"], work["met"], work["target_seconds"])
        if told != (expected.oldest_lost, expected.lost_work_met, None if hours is None else hours * 3600):
            found.append(f"lost work: {work}, not {expected.oldest_lost}, met {expected.lost_work_met}")
    if expected.unchecked is not None and drill["unchecked"] != expected.unchecked:
        found.append(f"unchecked: {drill['unchecked']}, not {expected.unchecked}")
    return [f"{expected.key}: {text}" for text in found]


def disagreements(expected: ExpectedRun, record: Mapping[str, Any], code: int) -> list[str]:
    """Hold a whole run's record and exit code against what they must be; return every difference in words."""
    found: list[str] = []
    reported = {(d["scenario"], d["variant"], d["shoot"]): d for d in record["drills"]}
    wanted = {drill.key: drill for drill in expected.drills}
    if len(reported) != len(record["drills"]) or set(reported) != set(wanted):
        found.append(f"drills: {[*reported]}, not {[*wanted]}")
    if list(record["not_applicable"]) != list(expected.not_applicable):
        found.append(f"not applicable: {record['not_applicable']}, not {expected.not_applicable}")
    for key in set(reported) & set(wanted):
        found += drill_disagreements(wanted[key], reported[key])
    if record["complete"] is not True:
        found.append("the run says that it is not complete")
    if (
        expected.code is not None
        and all(d["stitched"] == len(wanted[key].stitched) for key, d in reported.items() if key in wanted)
        and code != expected.code
    ):
        found.append(f"exit code {code}, not {expected.code}")
    return found

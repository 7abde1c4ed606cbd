"""`drill run` of some of the files: what is read, what the rest counts as, what is said of it, and what is refused."""

from pathlib import Path

import pytest
from census import census
from described import Studio
from hand import SLOW, copy, gone, media, picture, shoot
from runner import run_drills, start
from studios import Built, build

FILES = tuple((f"raw/AAAA{n:04d}.dng", picture(n, 1000)) for n in range(60))


def two_copies(folder: Path, *, rotten: int = 0) -> Built:
    files = (*((path, data[::-1]) for path, data in FILES[:rotten]), *FILES[rotten:])
    studio = Studio(
        media=media("x", "y"), shoots=(shoot(*FILES),), copies=(copy("x", *files, says=True), copy("y", *files))
    )
    return build(folder, studio, [SLOW, gone(medium="x")])


def test_a_sample_is_restored_and_the_rest_stays_on_paper(tmp_path: Path) -> None:
    built = two_copies(tmp_path / "studio")
    before = census(*built.sources)
    outcome = run_drills(built.file, *built.scenarios, more=("--confidence", "95%", "--at-most", "5%"))
    assert outcome.code == 1, outcome.said
    assert census(*built.sources) == before
    for drill in outcome.record["drills"]:
        sample = drill["sample"]
        assert drill["verdict"] == "unproven"
        assert drill["files"] == {
            "promised": 60,
            "verified": sample["chosen"],
            "on_paper": sample["left_out"],
            "lost": 0,
        }
        assert (sample["not_back"], sample["confidence"], sample["not_back_at_most"]) == (0, 0.95, 3)
        assert all("left out of this spot check" in note["why"] for note in drill["on_paper_files"])
        n = sample["chosen"]
        assert _misses(n, 4) <= 0.05 < _misses(n - 1, 4)
    again = run_drills(built.file, *built.scenarios, more=("--confidence", "95%", "--at-most", "5%"))
    assert again.record["drills"][0]["on_paper_files"] == outcome.record["drills"][0]["on_paper_files"]


def _misses(n: int, bad: int, files: int = 60) -> float:
    """Return the chance that n of 60, drawn one after the other without replacement, hold none of the bad ones."""
    chance = 1.0
    for drawn in range(n):
        chance *= (files - bad - drawn) / (files - drawn)
    return chance


def test_damage_in_the_sample_is_found_and_the_text_never_says_all_is_well(tmp_path: Path) -> None:
    built = two_copies(tmp_path / "studio", rotten=30)
    outcome = start(
        *("run", built.file, "--seed", "1", "--no-reports", "--no-ledger", "--confidence", "95%"),
        *(part for name in built.scenarios for part in ("--scenario", name)),
        cwd=tmp_path,
    )
    assert outcome.code == 1, outcome.said
    text = " ".join(outcome.out.split())
    assert "Spot check" in text and "At 95 % confidence" in text and "never means that all is well" in text
    assert (
        "57 of 60" in text
    )  # at the usual 1 % none of 60 may be bad; 57 of 60 hold one bad file with a chance of 0.95


def test_a_budget_reads_no_more_than_it_buys_and_says_nothing_of_the_rest(tmp_path: Path) -> None:
    built = two_copies(tmp_path / "studio")
    outcome = run_drills(built.file, *built.scenarios, more=("--budget", "20 kB"))
    for drill in outcome.record["drills"]:
        assert drill["files"]["verified"] == 10  # each file may be read from both copies
        assert (drill["sample"]["confidence"], drill["sample"]["not_back_at_most"]) == (None, None)
    text = start("run", built.file, "--seed", "1", "--no-reports", "--no-ledger", "--budget", "20 kB", cwd=tmp_path).out
    assert "of the others this shows nothing" in " ".join(text.split())


@pytest.mark.parametrize(
    ("options", "named"),
    [
        (("--budget", "2 h", "--confidence", "95%"), "--confidence"),
        (("--at-most", "1%"), "--at-most"),
        (("--budget", "soon"), "--budget"),
        (("--confidence", "much"), "--confidence"),
        (("--confidence", "95%", "--at-most", "100%"), "--at-most"),
    ],
)
def test_what_makes_no_sense_is_refused(tmp_path: Path, options: tuple[str, ...], named: str) -> None:
    built = two_copies(tmp_path / "studio")
    outcome = start("run", built.file, *options, cwd=tmp_path)
    assert outcome.code == 2 and named in outcome.err, outcome.said
    assert not outcome.out

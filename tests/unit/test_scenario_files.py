"""Scenario files: read strictly, every mistake at once; the shipped ones name no ids and tell a story."""

from pathlib import Path

import pytest

from drill.errors import Mistakes
from drill.scenario import load_scenario, load_scenarios, shipped_folder, shipped_names

NAMED_BY_THE_CONTRACT = {"lost-tablet", "dead-card", "corrupted-archive-sector", "expired-cloud-link"}


def write(folder: Path, text: str, name: str = "mine.toml") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def mistakes_of(path: Path) -> list[str]:
    with pytest.raises(Mistakes) as caught:
        load_scenario(path)
    return [str(mistake) for mistake in caught.value.mistakes]


def test_the_shipped_scenarios_are_there_with_title_and_story() -> None:
    scenarios = load_scenarios([])
    assert len(scenarios) == 13
    assert {scenario.name for scenario in scenarios} >= NAMED_BY_THE_CONTRACT
    assert len({scenario.title for scenario in scenarios}) == len(scenarios)
    assert all(len(scenario.story) > 80 for scenario in scenarios)


def test_the_shipped_scenarios_name_no_ids() -> None:
    for scenario in load_scenarios([]):
        for hazard in scenario.hazards:
            assert hazard.hits.medium is hazard.hits.place is hazard.hits.account is hazard.hits.copy is None


def test_every_effect_but_stale_is_in_a_shipped_scenario() -> None:
    # `stale` needs a date of the user's own, so no shipped scenario can have it.
    effects = {hazard.effect for scenario in load_scenarios([]) for hazard in scenario.hazards}
    assert effects == {
        *("gone", "unreadable", "altered", "truncated", "deleted", "expired", "refused", "encrypted", "slow"),
    }


def test_a_bare_name_is_a_shipped_one_and_a_path_is_a_file(tmp_path: Path) -> None:
    path = write(tmp_path, 'title = "T"\nstory = "S"\n[[hazards]]\neffect = "gone"\n', "own.toml")
    assert [scenario.name for scenario in load_scenarios(["dead-card", str(path)])] == ["dead-card", "own"]
    with pytest.raises(Mistakes, match="no scenario of that name is shipped"):
        load_scenarios(["own"])


def test_two_of_one_name_are_a_mistake(tmp_path: Path) -> None:
    path = write(tmp_path, 'title = "T"\nstory = "S"\n[[hazards]]\neffect = "gone"\n', "dead-card.toml")
    with pytest.raises(Mistakes, match="twice in one run"):
        load_scenarios(["dead-card", str(path)])


def test_every_mistake_is_listed_with_its_key(tmp_path: Path) -> None:
    text = """
    title = ""
    typo = 1
    [[hazards]]
    effect = "vanished"
    [[hazards]]
    effect = "slow"
    sectors = [1]
    hits = { kind = "floppy", colour = "red", attached = "yes" }
    [[hazards]]
    effect = "truncated"
    keep = "some"
    [[hazards]]
    effect = "altered"
    offsets = [1]
    count = 2
    """
    found = "\n".join(mistakes_of(write(tmp_path, text)))
    for expected in (
        "title: is empty",
        "story: is missing",
        "typo: is not a key",
        "hazards[1].effect: 'vanished'",
        "hazards[2].sectors: is no setting of 'slow'",
        "hazards[2].factor: is missing",
        "hazards[2].hits.kind: 'floppy'",
        "hazards[2].hits.colour: is not a key",
        "hazards[2].hits.attached: must be true or false",
        "hazards[3].keep: must be written like",
        "hazards[4].effect: 'altered' needs one of: offsets, count",
    ):
        assert expected in found
    assert all("mine.toml" in line for line in found.splitlines())


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("title = \n", "line 1"),
        ('title = "T"\nstory = "S"\n', "nothing goes wrong here"),
        ('title = "T"\nstory = "S"\n[[hazards]]\neffect = "gone"\neach = "planet"\n', "'planet'"),
        (
            'title = "T"\nstory = "S"\n[[hazards]]\neffect = "gone"\neach = "medium"\n'
            '[[hazards]]\neffect = "slow"\nfactor = 0.5\neach = "copy"\n',
            "more than one hazard has `each`",
        ),
        ('title = "T"\nstory = "S"\n[[hazards]]\neffect = "unreadable"\nsectors = "best"\n', '"worst"'),
        ('title = "T"\nstory = "S"\n[[hazards]]\neffect = "unreadable"\ncount = 0\n', "at least 1"),
        ('title = "T"\nstory = "S"\n[[hazards]]\neffect = "expired"\nstatus = 503\n', "from 400 to 499"),
        ('title = "T"\nstory = "S"\n[[hazards]]\neffect = "slow"\nfactor = 0\n', "more than 0"),
        ('title = "T"\nstory = "S"\n[[hazards]]\neffect = "stale"\nbefore = "soon"\n', "must be a date or time"),
    ],
)
def test_single_mistakes(tmp_path: Path, text: str, said: str) -> None:
    assert said in "\n".join(mistakes_of(write(tmp_path, text)))


def test_a_file_that_is_not_there_is_a_mistake(tmp_path: Path) -> None:
    assert "there is no such file" in mistakes_of(tmp_path / "none.toml")[0]


def test_settings_are_read(tmp_path: Path) -> None:
    text = """
    title = "T"
    story = "S"
    [[hazards]]
    effect = "truncated"
    keep = "70%"
    files = ["*.dng", "deliver/**"]
    [[hazards]]
    effect = "truncated"
    keep = 1234
    [[hazards]]
    effect = "stale"
    before = 2026-08-01T10:00:00Z
    hits = { medium = ["a", "b"], offsite = true }
    """
    share, count, stale = load_scenario(write(tmp_path, text)).hazards
    assert share.keep == pytest.approx(0.7)
    assert share.files == ("*.dng", "deliver/**")
    assert count.keep == 1234
    assert isinstance(count.keep, int)
    assert stale.before is not None
    assert stale.hits.medium == ("a", "b")
    assert stale.hits.offsite is True


def test_the_folder_of_the_shipped_scenarios_is_found() -> None:
    assert (shipped_folder() / "lost-tablet.toml").is_file()
    assert shipped_names() == sorted(shipped_names())

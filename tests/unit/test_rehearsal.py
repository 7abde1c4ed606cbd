"""Which exercises there are is told without opening a copy; a rehearsal that stops leaves nothing in scratch."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from plain_studio import LIST, sha256_list, studio_text

from drill import rehearse as room
from drill.errors import Mistakes, Unfinished
from drill.model import Hazard, Scenario, Selector
from drill.rehearse import Options, Rehearsal, exercises, fitting
from drill.studio import load_studio

NOW = datetime(2026, 10, 1, tzinfo=UTC)
EACH = Scenario("drive-gone", "T", "S", (Hazard("gone", Selector(), each="medium"),))
TAPES = Scenario("tapes", "T", "S", (Hazard("gone", Selector(kind=("tape",))),))
FILES = {"a.dng": b"first picture", "b.dng": b"second picture"}


def two_drives(folder: Path, *, laid: bool = True) -> Path:
    (folder / LIST).write_text(sha256_list(FILES))
    for id_ in ("kiln", "heron") if laid else ():
        (folder / id_).mkdir()
        for name, content in FILES.items():
            (folder / id_ / name).write_bytes(content)
    text = studio_text({"kiln": "ssd", "heron": "ssd"})
    (folder / "studio.toml").write_text(text.replace("[[shoots]]", 'scratch = "scratch"\n[[shoots]]', 1))
    return folder / "studio.toml"


def test_exercises_are_told_by_the_studio_file_and_the_scenarios_alone(tmp_path: Path) -> None:
    studio = load_studio(two_drives(tmp_path, laid=False))
    keys = [one.key for one in exercises(studio, [TAPES, EACH], studio.shoots)]
    assert keys == [("reed", "drive-gone", "kiln"), ("reed", "drive-gone", "heron")]
    assert fitting(studio, [TAPES, EACH]) == [EACH]
    with pytest.raises(Mistakes, match="hits anything"):
        fitting(studio, [TAPES])


def test_reads_are_shared_and_records_come_again_when_the_shoot_is_left(tmp_path: Path) -> None:
    studio = load_studio(two_drives(tmp_path))
    listed = exercises(studio, [EACH], studio.shoots)
    with Rehearsal(studio, [EACH], Options(seed=1, now=NOW), studio.shoots) as rehearsal:
        assert [path.parent.name for path in (tmp_path / "scratch").glob("*/.reading")] == [rehearsal.folder.name]
        found = [rehearsal.drill(exercise) for exercise in listed]
        assert [(one.verdict, dict(one.sources)) for one in found] == [
            ("restored", {"heron": 2}),
            ("restored", {"kiln": 2}),
        ]
        assert [record for _, record in rehearsal.leave()] == found
        assert rehearsal.leave() == []
    assert list((tmp_path / "scratch").iterdir()) == []


def test_without_a_ledger_nothing_is_known_of_proofs(tmp_path: Path) -> None:
    studio = load_studio(two_drives(tmp_path))
    with Rehearsal(studio, [EACH], Options(seed=1, now=NOW), studio.shoots) as rehearsal:
        assert rehearsal.ages(studio.shoots, anew=False) == []


def test_what_stops_the_opening_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    studio = load_studio(two_drives(tmp_path))

    def unplugged(*_: object, **__: object) -> None:
        raise Unfinished("unplugged")

    monkeypatch.setattr(room.rehearsal, "open_studio", unplugged)
    with pytest.raises(Unfinished), Rehearsal(studio, [EACH], Options(seed=1, now=NOW), studio.shoots):
        pass
    assert list((tmp_path / "scratch").iterdir()) == []

"""The wrong kind of file, or a folder, where another is asked for: one line that says what it is and what to type."""

from collections.abc import Callable
from pathlib import Path

import pytest

from drill.errors import Mistakes
from drill.expectations import read_sheet
from drill.scenario import load_scenario, scheme_path, shipped_folder
from drill.studio import load_studio

SCENARIO = (shipped_folder() / "silent-rot.toml").read_text(encoding="utf-8")
STUDIO = (shipped_folder() / "schemes/card-and-tablet.toml").read_text(encoding="utf-8")
EXPECTATIONS = 'studio = "studio.toml"\n[[expect]]\nfurther_failures = 1\n'


@pytest.mark.parametrize(
    ("read", "text", "said"),
    [
        (load_studio, SCENARIO, "is a scenario, not a studio file; .* drill run YOUR-studio.toml --scenario .*kiln"),
        (load_studio, EXPECTATIONS, "is a file of expectations, not a studio file; .*pytest .*kiln"),
        (load_scenario, STUDIO, "is a studio file, not a scenario"),
        (load_scenario, EXPECTATIONS, "is a file of expectations, not a scenario"),
        (read_sheet, STUDIO, "is a studio file, not a file of expectations"),
        (read_sheet, SCENARIO, "is a scenario, not a file of expectations"),
    ],
)
def test_another_kind_of_file_is_one_mistake(
    read: Callable[[Path], object], text: str, said: str, tmp_path: Path
) -> None:
    file = tmp_path / "kiln.drill.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(Mistakes, match=said) as raised:
        read(file)
    assert len(raised.value.mistakes) == 1


def test_what_may_be_any_kind_is_read_as_the_one_asked_for(tmp_path: Path) -> None:
    """With keys of two kinds, or of none, each key is told as ever."""
    file = tmp_path / "kiln.toml"
    for text in ('title = "Reed"\n', STUDIO + "\n[[hazards]]\n", '[hazards]\neffect = "gone"\n'):
        file.write_text(text, encoding="utf-8")
        with pytest.raises(Mistakes) as raised:
            load_studio(file)
        assert "not a studio file" not in str(raised.value)


def test_of_a_folder_the_files_in_it_are_named(tmp_path: Path) -> None:
    for number in range(7):
        (tmp_path / f"reed-{number}.toml").touch()
    (tmp_path / "heron.txt").touch()
    (tmp_path / "marsh.toml").mkdir()
    for read in (load_studio, load_scenario, read_sheet):
        with pytest.raises(Mistakes, match=r"is a folder, not a file; .*reed-0\.toml, .*reed-4\.toml and 2 more$"):
            read(tmp_path)
    with pytest.raises(Mistakes, match=r"is a folder, not a file; name the file in it$"):
        load_studio(tmp_path / "marsh.toml")


def test_a_folder_by_its_bare_name_is_no_scheme(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "studio.toml").touch()
    (tmp_path / "reed").mkdir()
    with pytest.raises(Mistakes, match=r"^\.: is a folder, not a file; name the file in it: studio\.toml$"):
        scheme_path(".")
    with pytest.raises(Mistakes, match=r"^reed: is a folder, not a file"):
        scheme_path("reed")

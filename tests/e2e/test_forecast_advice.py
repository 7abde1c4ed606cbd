"""`drill forecast` as a subprocess: what would help, and another scheme beside it."""

import json
import re
from pathlib import Path

import pytest
from runner import start

from drill.scenario import scheme_path

pytestmark = pytest.mark.deep  # many starts of the program; its rooms have quick tests of their own

NOW = ("--now", "2026-11-24T20:00:00Z")


def test_what_would_help_is_told_and_recorded(tmp_path: Path) -> None:
    said = start("forecast", "card-and-tablet", *NOW, "--json", "f.json", cwd=tmp_path)
    assert said.code == 1, said.said
    assert "What would help most" in said.out and "one more SSD" in " ".join(said.out.split())
    advice = json.loads((tmp_path / "f.json").read_text())["advice"]
    worst = max(
        json.loads((tmp_path / "f.json").read_text())["chances"], key=lambda one: (-one["years"], one["middle"])
    )
    assert (advice["day"], advice["away"], advice["currency"]) == (worst["day"], worst["away"], "EUR")
    first = advice["helps"][0]
    assert first["after"] < first["before"] and first["removes"] > 0.1
    bare = start("forecast", "card-and-tablet", *NOW, "--no-advice", "--json", "-", cwd=tmp_path)
    assert json.loads(bare.out)["advice"] is None


def test_two_schemes_side_by_side(tmp_path: Path) -> None:
    two = ("card-and-tablet", "--compare", "third-copy-in-the-field")
    said = start("forecast", *two, *NOW, "--json", "f.json", cwd=tmp_path)
    assert said.code == 1, said.said
    assert said.out.startswith("A third copy in the field beside Card and tablet only: of ")
    assert "What gets better" in said.out and "What would help" not in said.out
    rows = json.loads((tmp_path / "f.json").read_text())["comparison"]["rows"]
    by = {(row["group"], row["what"]): row for row in rows}
    three = by["from when on", "three copies (away)"]
    assert (three["one"], three["change"]) == (None, "better") and 0 < three["other"] < 86400
    assert {row["change"] for row in rows if row["group"] == "odds"} == {"better"}
    assert sum(row["group"] == "scenarios" for row in rows) >= 20


def test_the_other_studio_file_is_never_written_over(tmp_path: Path) -> None:
    shipped = scheme_path("card-and-tablet").read_bytes()
    (tmp_path / "mine.toml").write_bytes(shipped)
    (tmp_path / "draft.toml").write_bytes(shipped)
    said = start("forecast", "mine.toml", "--compare", "draft.toml", *NOW, "--json", "draft.toml", cwd=tmp_path)
    assert said.code == 2 and "is the studio file" in said.err, said.said
    assert (tmp_path / "draft.toml").read_bytes() == shipped
    same = start("forecast", "mine.toml", "--compare", "draft.toml", *NOW, cwd=tmp_path)
    assert "Card and tablet only (draft.toml) beside Card and tablet only (" in " ".join(same.out.split())


def test_every_key_of_the_record_is_in_the_readme(tmp_path: Path) -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    told = readme.partition("The record, in which spans and moments ending in `_s`")[2].partition("Events are")[0]
    named = {word for quoted in re.findall(r"`([^`]+)`", told) for word in re.findall(r"\w+", quoted)}

    def keys(value: object) -> set[str]:
        if isinstance(value, list):
            return {key for one in value for key in keys(one)}
        if isinstance(value, dict):
            return value.keys() | {key for one in value.values() for key in keys(one)}
        return set()

    (tmp_path / "reed.sha256").write_text(f"{'0' * 64}  reed/R1.DNG\n", encoding="utf-8")
    shoot = '[[shoots]]\nid = "reed"\ndate = 2026-11-20\nmanifest = "reed.sha256"\n'
    text = scheme_path("card-and-tablet").read_text(encoding="utf-8").replace("shoots = []", "")
    (tmp_path / "studio.toml").write_text(text + shoot, encoding="utf-8")
    for more in ((), ("--compare", "third-copy-in-the-field")):
        record = start("forecast", "studio.toml", *more, *NOW, "--json", "-", cwd=tmp_path).record
        assert record["standing"] or record["comparison"]
        assert keys(record) <= named, keys(record) - named


def test_the_other_must_have_a_scheme_and_be_there(tmp_path: Path) -> None:
    bare = tmp_path / "bare.toml"
    bare.write_text('shoots = []\n[studio]\nname = "Reed"\n[[media]]\nid = "card"\nkind = "card"\nplace = "bag"\n')
    for other, words in (("bare.toml", "scheme"), ("nowhere.toml", "nowhere.toml")):
        said = start("forecast", "card-and-tablet", "--compare", other, *NOW, "--json", "f.json", cwd=tmp_path)
        assert said.code == 2 and words in said.err, said.said
        assert not (tmp_path / "f.json").exists()

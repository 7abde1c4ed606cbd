"""`drill forecast` as a subprocess: what would help, and another scheme beside it."""

import json
from pathlib import Path

import pytest
from runner import start

pytestmark = pytest.mark.deep  # many starts of the program; its rooms have quick tests of their own

NOW = ("--now", "2026-11-24T20:00:00Z")


def test_what_would_help_is_told_and_recorded(tmp_path: Path) -> None:
    said = start("forecast", "card-and-tablet", *NOW, "--json", "f.json", cwd=tmp_path)
    assert said.code == 1, said.said
    assert "What would help most" in said.out and "one more SSD" in " ".join(said.out.split())
    advice = json.loads((tmp_path / "f.json").read_text())["advice"]
    worst = json.loads((tmp_path / "f.json").read_text())["chances"][0]
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


def test_the_other_must_have_a_scheme_and_be_there(tmp_path: Path) -> None:
    bare = tmp_path / "bare.toml"
    bare.write_text('shoots = []\n[studio]\nname = "Reed"\n[[media]]\nid = "card"\nkind = "card"\nplace = "bag"\n')
    for other, words in (("bare.toml", "scheme"), ("nowhere.toml", "nowhere.toml")):
        said = start("forecast", "card-and-tablet", "--compare", other, *NOW, "--json", "f.json", cwd=tmp_path)
        assert said.code == 2 and words in said.err, said.said
        assert not (tmp_path / "f.json").exists()

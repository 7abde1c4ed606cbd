"""The studio file: read strictly, defaults as documented, every mistake at once with its file and key."""

import hashlib
from pathlib import Path

import pytest

from drill.errors import Mistakes
from drill.guard import guard_outputs
from drill.model import Studio
from drill.studio import load_studio

SMALL = """
[studio]
name = "Reed Bank Pictures"
[classes]
originals = ["*.dng"]
deliverables = ["deliver/**"]
[[media]]
id = "tablet"
kind = "tablet"
place = "bag"
[[shoots]]
id = "otter"
date = 2026-09-12
manifest = "otter.sha256"
[[copies]]
on = "tablet"
at = "media/tablet"
"""


def sha(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def write(folder: Path, text: str) -> Path:
    (folder / "otter.sha256").write_text(f"{sha('a')}  raw/a.dng\n{sha('b')}  deliver/b.dng\n{sha('c')}  notes.txt\n")
    path = folder / "studio.toml"
    path.write_text(text, encoding="utf-8")
    return path


def load(folder: Path, text: str) -> Studio:
    return load_studio(write(folder, text))


def mistakes_of(folder: Path, text: str) -> str:
    with pytest.raises(Mistakes) as caught:
        load(folder, text)
    return str(caught.value)


def test_defaults(tmp_path: Path) -> None:
    studio = load(tmp_path, SMALL)
    tablet = studio.media["tablet"]
    assert (tablet.attached, tablet.carried, tablet.offsite, tablet.in_hand_after_s) == (True, False, False, 0)
    assert studio.scratch is None
    assert studio.ledger == tmp_path / "ledger.sqlite"
    assert studio.reports == tmp_path / "reports"
    assert studio.places["bag"].id == "bag"
    copy = studio.copies[0]
    assert (copy.id, copy.form, copy.at, copy.listed) == ("tablet", "folder", tmp_path / "media/tablet", None)
    assert [file.kind for file in studio.shoots[0].promise] == ["originals", "originals", "other"]  # first match wins
    assert studio.weights == {"originals": 1, "deliverables": 1, "other": 1}


@pytest.mark.parametrize("kind", ["tablet", "phone", "computer", "network-storage"])
def test_what_runs_is_attached_unless_said_otherwise(tmp_path: Path, kind: str) -> None:
    text = SMALL.replace('kind = "tablet"', f'kind = "{kind}"')
    assert load(tmp_path, text).media["tablet"].attached
    assert not load(tmp_path, text.replace('place = "bag"', 'place = "bag"\nattached = false')).media["tablet"].attached


@pytest.mark.parametrize("kind", ["card", "ssd", "hard-disk", "optical", "tape", "cloud"])
def test_what_only_stores_is_not_attached_unless_said(tmp_path: Path, kind: str) -> None:
    assert not load(tmp_path, SMALL.replace('kind = "tablet"', f'kind = "{kind}"')).media["tablet"].attached


def test_a_cloud_is_offsite_unless_its_place_says_otherwise(tmp_path: Path) -> None:
    cloud = SMALL.replace('kind = "tablet"', 'kind = "cloud"')
    assert load(tmp_path, cloud).media["tablet"].offsite
    assert not load(tmp_path, cloud + '[[places]]\nid = "bag"\noffsite = false\n').media["tablet"].offsite
    assert load(tmp_path, SMALL + '[[places]]\nid = "bag"\noffsite = true\n').media["tablet"].offsite


def test_ids_of_copies_are_made_from_the_medium(tmp_path: Path) -> None:
    more = '[[copies]]\non = "tablet"\nat = "b.7z"\n[[copies]]\nid = "tablet-2"\non = "tablet"\n'
    more += '[[copies]]\non = "tablet"\n'
    assert [copy.id for copy in load(tmp_path, SMALL + more).copies] == ["tablet", "tablet-3", "tablet-2", "tablet-4"]


@pytest.mark.parametrize(
    ("at", "form", "archive"),
    [
        ("x.7z", "archive", ".7z"),
        ("x.ZIP", "archive", ".zip"),
        ("x.tar.gz", "archive", ".tar.gz"),
        ("https://files.example/x.tar.zst?key=1", "link", ".tar.zst"),
        ("folder", "folder", None),
    ],
)
def test_forms(tmp_path: Path, at: str, form: str, archive: str | None) -> None:
    copy = load(tmp_path, SMALL.replace("media/tablet", at)).copies[0]
    assert (copy.form, copy.archive) == (form, archive)


def test_a_path_is_shown_as_people_write_it(tmp_path: Path) -> None:
    home = tmp_path / "studio"
    home.mkdir()
    (tmp_path / "media/tablet").mkdir(parents=True)
    at = load(home, SMALL.replace('"media/tablet"', '"../media/./tablet"')).copies[0].at
    assert at == tmp_path / "media/tablet"
    write(home, SMALL.replace('"media/tablet"', '"../media/tablet"'))
    assert load_studio(home / ".." / "studio" / "studio.toml").copies[0].at == at
    away = load(home, SMALL.replace("media/tablet", "../not-there/tablet")).copies[0].at
    assert away == tmp_path / "not-there/tablet"


def test_a_path_that_climbs_out_of_a_link_stays_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "far/deep").mkdir(parents=True)
    (tmp_path / "far/media/tablet").mkdir(parents=True)
    try:
        (tmp_path / "near").symlink_to(tmp_path / "far/deep", target_is_directory=True)
    except OSError:
        pytest.skip("links may not be made here")
    at = load(tmp_path, SMALL.replace('"media/tablet"', '"near/../media/tablet"')).copies[0].at
    assert at is not None and at.resolve() == (tmp_path / "far/media/tablet").resolve()


def test_a_folder_named_like_an_archive_is_a_folder(tmp_path: Path) -> None:
    (tmp_path / "odd.zip").mkdir()
    assert load(tmp_path, SMALL.replace("media/tablet", "odd.zip")).copies[0].form == "folder"


def test_shoot_targets_override_the_studio_s(tmp_path: Path) -> None:
    text = SMALL.replace("[classes]", '[targets]\nrestore_within = "48 h"\nfurther_failures = 1\n[classes]')
    text = text.replace("[[copies]]", "[shoots.targets]\nfurther_failures = 0\n[[copies]]")
    targets = load(tmp_path, text).shoots[0].targets
    assert (targets.restore_within_s, targets.further_failures, targets.lose_at_most_s) == (172800, 0, None)


def test_every_mistake_is_listed_with_its_key(tmp_path: Path) -> None:
    text = """
    nonsense = 1
    [studio]
    naem = "x"
    [targets]
    restore_within = "soon"
    [weights]
    originals = 0
    other = 0
    [[media]]
    id = "no spaces please"
    kind = "floppy"
    [[media]]
    id = "b"
    kind = "cloud"
    place = "there"
    needs = ["ghost"]
    mirrors = "b"
    bus = "omnibus"
    reads_at = "very fast"
    readers = 33
    [[media]]
    id = "c"
    kind = "ssd"
    place = "here"
    readers = 2.5
    [[media]]
    id = "d"
    kind = "ssd"
    place = "here"
    readers = 0
    [[shoots]]
    id = "s"
    date = "whenever"
    [[copies]]
    on = "ghost"
    [[copies]]
    on = "b"
    at = "https://files.example/base"
    [[copies]]
    on = "b"
    at = "ftp://files.example/base"
    password_env = "SURELY_NOT_SET_ANYWHERE"
    """
    found = mistakes_of(tmp_path, text)
    for expected in (
        "nonsense: is not a key",
        "studio.name: is missing",
        'studio.naem: is not a key this table has; did you mean "name"?',
        "targets.restore_within: 'soon'",
        "weights.originals: is no class",
        "weights: all weights are 0",
        "media[no spaces please].id: 'no spaces please' is no id",
        "media[no spaces please].kind: 'floppy'",
        "media[no spaces please].place: is missing",
        "media[b].needs: no medium has the id 'ghost'",
        "media[b].mirrors: names the medium itself",
        "media[b].bus: no bus has the id 'omnibus'",
        "media[b].reads_at: 'very fast'",
        "media[b].readers: must be from 1 to 32, not 33",
        "media[c].readers: must be a whole number from 1 to 32, not 2.5",
        "media[d].readers: must be from 1 to 32, not 0",
        "shoots[s].date: must be a date",
        "shoots[s].manifest: is missing",
        "copies[1, on ghost].on: no medium has the id 'ghost'",
        "copies[2, on b].manifest: is missing: a base address",
        "copies[3, on b].at: only http:// and https://",
        "copies[3, on b].password_env: the environment variable SURELY_NOT_SET_ANYWHERE is not set",
    ):
        assert expected in found
    assert all("studio.toml" in line for line in found.splitlines())


def test_a_list_with_a_mistake_names_its_line(tmp_path: Path) -> None:
    path = write(tmp_path, SMALL)
    (tmp_path / "otter.sha256").write_text(f"{sha('a')}  ok.dng\n{sha('a')}  ../out.dng\n{sha('b')}  /abs.dng\n")
    with pytest.raises(Mistakes) as caught:
        load_studio(path)
    found = str(caught.value)
    assert "otter.sha256" in found
    assert "line 2" in found
    assert "line 3" in found


@pytest.mark.parametrize("readers", [1, 4, 32])
def test_a_medium_says_how_many_readers_it_bears(tmp_path: Path, readers: int) -> None:
    studio = load(tmp_path, SMALL.replace("[[media]]", f"[[media]]\nreaders = {readers}", 1))
    assert next(iter(studio.media.values())).readers == readers
    assert next(iter(load(tmp_path, SMALL).media.values())).readers is None


def test_a_password_comes_from_the_environment_and_is_never_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("REED_BANK_WORD", "sesame-9931")
    studio = load(tmp_path, SMALL.replace('at = "media/tablet"', 'at = "x.7z"\npassword_env = "REED_BANK_WORD"'))
    assert studio.copies[0].password == "sesame-9931"
    assert "sesame-9931" not in repr(studio)


def test_all_classes_of_a_shoot_at_weight_0_are_a_mistake(tmp_path: Path) -> None:
    text = SMALL.replace("[classes]", "[weights]\noriginals = 0\nother = 0\n[classes]")
    assert "every class in this shoot has weight 0" in mistakes_of(tmp_path, text)


@pytest.mark.parametrize("where", ["media/tablet", "media/tablet/deep/er", "link/in", "MEDIA/../media/tablet/x"])
def test_outputs_inside_a_copy_are_refused(tmp_path: Path, where: str) -> None:
    (tmp_path / "media/tablet/deep").mkdir(parents=True)
    (tmp_path / "MEDIA").mkdir(exist_ok=True)
    (tmp_path / "link").symlink_to(tmp_path / "media/tablet", target_is_directory=True)
    studio = load(tmp_path, SMALL)
    with pytest.raises(Mistakes, match=r"\[studio\] scratch: .* falls inside the copy tablet"):
        guard_outputs(studio, {"[studio] scratch": tmp_path / where})


def test_outputs_beside_a_copy_are_fine(tmp_path: Path) -> None:
    (tmp_path / "media/tablet").mkdir(parents=True)
    guard_outputs(
        load(tmp_path, SMALL), {"[studio] scratch": tmp_path / "media/tablet-scratch", "--json": tmp_path / "x"}
    )


def test_an_output_over_an_archive_or_a_list_is_refused(tmp_path: Path) -> None:
    (tmp_path / "x.7z").write_bytes(b"7z")
    studio = load(tmp_path, SMALL.replace("media/tablet", "x.7z"))
    with pytest.raises(Mistakes, match="--json"):
        guard_outputs(studio, {"--json": tmp_path / "x.7z"})
    with pytest.raises(Mistakes, match=r"the manifest otter\.sha256"):
        guard_outputs(studio, {"--json": tmp_path / "otter.sha256"})


def test_a_place_that_looks_mistyped_is_warned_of(tmp_path: Path) -> None:
    more = '[[media]]\nid = "b"\nkind = "ssd"\nplace = "home"\n[[media]]\nid = "c"\nkind = "ssd"\nplace = "hoem"\n'
    (warning,) = load(tmp_path, SMALL + more).warnings
    assert "'hoem' is another than 'home'" in warning
    assert not load(tmp_path, SMALL + more.replace("hoem", "attic")).warnings


def test_a_line_that_is_no_toml_is_quoted(tmp_path: Path) -> None:
    found = mistakes_of(tmp_path, SMALL.replace('place = "bag"', 'place = "bag"\ncarried = yes'))
    assert "line 11: is not TOML: Invalid value: carried = yes" in found

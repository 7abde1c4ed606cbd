"""The key that seals: made once, for its owner alone, never inside what it seals or a copy."""

import os
import stat
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, generate_private_key
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    NoEncryption,
    PrivateFormat,
)
from plain_studio import LIST, sha256_list, studio_text
from sealed import KEY

from drill.errors import Mistakes, Unfinished
from drill.model import Studio
from drill.seal import fingerprint, grouped, keys_folder, signing_key
from drill.studio import load_studio

needs_rights = pytest.mark.skipif(os.name != "posix", reason="rights are those of the user's profile there")


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    home = tmp_path / "studio"
    (home / "tablet").mkdir(parents=True)
    (tmp_path / "drive").mkdir()
    (home / LIST).write_text(sha256_list({"reed-01.dng": b"reed"}))
    (home / "studio.toml").write_text(studio_text({"tablet": "tablet", "drive": "hard-disk"}, at={"drive": "../drive"}))
    return load_studio(home / "studio.toml")


def key_file(folder: Path, content: bytes, *, mode: int = 0o600) -> Path:
    folder.mkdir(mode=0o700, parents=True)
    file = folder / "signing-key.pem"
    file.write_bytes(content)
    file.chmod(mode)
    return file


def complaint(folder: Path, studio: Studio | None = None) -> str:
    with pytest.raises(Mistakes) as raised:
        signing_key(folder, studio=studio)
    return str(raised.value)


def pem(encryption: NoEncryption | BestAvailableEncryption) -> bytes:
    return KEY.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, encryption)


def test_the_key_is_made_once(tmp_path: Path) -> None:
    folder = tmp_path / "settings" / "keys"
    first = signing_key(folder)
    assert fingerprint(signing_key(folder)) == fingerprint(first)
    assert [file.name for file in folder.iterdir()] == ["signing-key.pem"]


@needs_rights
def test_only_its_owner_can_read_it(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        signing_key(tmp_path / "settings" / "keys")
    finally:
        os.umask(before)
    modes = [
        stat.S_IMODE(p.stat().st_mode) for p in (tmp_path / "settings/keys", tmp_path / "settings/keys/signing-key.pem")
    ]
    assert modes == [0o700, 0o600]


def made(folder: Path) -> str:
    return fingerprint(signing_key(folder))


@pytest.mark.deep
def test_many_that_begin_at_once_have_one_key(tmp_path: Path) -> None:
    with ProcessPoolExecutor(4, mp_context=get_context("spawn")) as pool:
        assert len(set(pool.map(made, [tmp_path / "keys"] * 12))) == 1
    assert [file.name for file in (tmp_path / "keys").iterdir()] == ["signing-key.pem"]


@needs_rights
def test_a_file_system_without_second_names(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuses(*names: object) -> None:
        raise PermissionError(1, "Operation not permitted")  # what Linux says on FAT and exFAT

    monkeypatch.setattr(os, "link", refuses)
    assert fingerprint(signing_key(tmp_path / "keys")) == fingerprint(signing_key(tmp_path / "keys"))
    assert [file.name for file in (tmp_path / "keys").iterdir()] == ["signing-key.pem"]


@needs_rights
@pytest.mark.parametrize("mode", [0o640, 0o604, 0o660, 0o601])
def test_a_key_that_others_can_read_is_refused(tmp_path: Path, mode: int) -> None:
    file = key_file(tmp_path / "keys", pem(NoEncryption()), mode=mode)
    said = complaint(tmp_path / "keys")
    assert str(file) in said
    assert "other users of this computer can read the key" in said
    assert f"chmod 600 '{file}'" in said


@pytest.mark.skipif(getattr(os, "geteuid", lambda: 1)() != 0, reason="only root may give a file away")
def test_a_key_that_somebody_else_owns_is_refused(tmp_path: Path) -> None:
    os.chown(key_file(tmp_path / "keys", pem(NoEncryption())), 12345, -1)
    assert "the key belongs to another user" in complaint(tmp_path / "keys")


@needs_rights
def test_a_folder_in_which_others_can_put_a_key_is_refused(tmp_path: Path) -> None:
    key_file(tmp_path / "keys", pem(NoEncryption()))
    (tmp_path / "keys").chmod(0o777)
    assert f"chmod 700 '{tmp_path / 'keys'}'" in complaint(tmp_path / "keys")


def test_what_is_no_key_of_ours_is_refused_and_kept(tmp_path: Path) -> None:
    other = generate_private_key(SECP256R1()).private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    for name, content, words in (
        ("none", b"", "this is no key"),
        ("cut", pem(NoEncryption())[:60], "this is no key"),
        ("locked", pem(BestAvailableEncryption(b"reed")), "locked with a password"),
        ("other", other, "another kind than Ed25519"),
    ):
        file = key_file(tmp_path / name, content)
        assert words in complaint(tmp_path / name)
        assert file.read_bytes() == content


@needs_rights
def test_a_pipe_in_the_keys_place_is_not_waited_for(tmp_path: Path) -> None:
    (tmp_path / "keys").mkdir(mode=0o700)
    os.mkfifo(tmp_path / "keys" / "signing-key.pem", 0o600)
    assert "the key is no file" in complaint(tmp_path / "keys")


def test_a_place_that_is_a_file_is_said(tmp_path: Path) -> None:
    (tmp_path / "keys").write_text("")
    with pytest.raises(Unfinished, match="cannot be made"):
        signing_key(tmp_path / "keys")


@pytest.mark.parametrize(
    ("place", "words"),
    [("studio/keys", "the studio's folder"), ("drive/deep/keys", "the copy drive"), ("drive", "drive")],
)
def test_no_key_in_the_studios_folder_or_a_copy(tmp_path: Path, studio: Studio, place: str, words: str) -> None:
    said = complaint(tmp_path / place, studio)
    assert words in said
    assert "set DRILL_KEYS" in said
    assert not list(tmp_path.rglob("signing-key.pem"))


def test_no_key_in_a_copy_through_a_link(tmp_path: Path, studio: Studio) -> None:
    try:
        (tmp_path / "harmless").symlink_to(tmp_path / "drive", target_is_directory=True)
    except OSError:
        pytest.skip("links cannot be made here")
    assert "the copy drive" in complaint(tmp_path / "harmless" / "keys", studio)


def test_a_key_beside_all_of_it_is_made(tmp_path: Path, studio: Studio) -> None:
    signing_key(tmp_path / "keys", studio=studio)
    assert (tmp_path / "keys" / "signing-key.pem").is_file()


def test_where_the_key_is_kept(tmp_path: Path) -> None:
    home = Path.home()
    assert keys_folder({}, platform="linux") == home / ".config" / "restore-drill"
    assert keys_folder({"XDG_CONFIG_HOME": str(tmp_path)}, platform="linux") == tmp_path / "restore-drill"
    # XDG Base Directory Specification: a relative path there is invalid and to be ignored.
    assert keys_folder({"XDG_CONFIG_HOME": "here"}, platform="linux") == home / ".config" / "restore-drill"
    assert keys_folder({}, platform="darwin") == home / "Library" / "Application Support" / "restore-drill"
    assert keys_folder({"APPDATA": str(tmp_path)}, platform="win32") == tmp_path / "restore-drill"
    assert keys_folder({"DRILL_KEYS": str(tmp_path), "APPDATA": "elsewhere"}, platform="win32") == tmp_path


def test_a_fingerprint_for_a_letterhead() -> None:
    digits = fingerprint(KEY)
    assert fingerprint(KEY.public_key()) == digits
    assert grouped(digits).replace(" ", "") == digits
    assert [len(group) for group in grouped(digits).split(" ")] == [4] * 16


def test_a_slip_in_the_name_of_its_folder_makes_no_key(tmp_path: Path) -> None:
    with pytest.raises(Mistakes, match="the folder it should be in is not there"):
        keys_folder({"DRILL_KEYS": str(tmp_path / "nowhere" / "keys")})
    assert list(tmp_path.iterdir()) == []
    assert keys_folder({"DRILL_KEYS": str(tmp_path / "keys")}) == tmp_path / "keys"

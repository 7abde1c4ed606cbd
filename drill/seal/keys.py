"""The key that seals: made on first use, kept where only its owner can read it, never beside what it seals.

Flows in: a folder, a studio that it must not lie in. Flows out: the key, its fingerprint. Must not know: what is
sealed.
Facts: RFC 8032 (Ed25519), RFC 8410 (its PKCS #8 and SubjectPublicKeyInfo forms), XDG Base Directory Specification 0.8
(XDG_CONFIG_HOME: absolute, else ~/.config). Where programs keep such files on macOS and Windows is common practice.
On Windows the rights are those of the user's own profile folder, which other users cannot read; nothing is set here.
"""

import hashlib
import os
import stat
import sys
import tempfile
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
)

from drill.errors import Mistake, Mistakes, Unfinished
from drill.guard import falls_in
from drill.model import Studio

SETTING = "DRILL_KEYS"
"""The variable of the environment that names another folder for the key."""

KEY_FILE = "signing-key.pem"
_FOLDER = "restore-drill"
_AWAY = "move it away: a new key is made then, and your letterhead needs its fingerprint"
_MOST_BYTES = 64 * 1024  # a key takes 119
_HAS_RIGHTS = os.name == "posix"
_MAKE = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0)
_READ = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0)  # a pipe is not waited for


def keys_folder(environment: Mapping[str, str] = os.environ, *, platform: str = sys.platform) -> Path:
    """Return the folder that holds the key: the one DRILL_KEYS names, else the user's own for settings.

    Errors: Mistakes where there is no home folder, or where the folder that is named would be in none: a slip in the
    name would make a new key.
    """
    if named := environment.get(SETTING):
        if not Path(named).absolute().parent.is_dir():
            what = f"{named}: the folder it should be in is not there"
            raise _mistake(SETTING, what, "mend the name, or make that folder")
        return Path(named).absolute()
    try:
        home = Path.home()
    except RuntimeError:
        raise _mistake(SETTING, "this account has no home folder", f"set {SETTING} to a folder of your own") from None
    if platform == "win32":
        base = Path(environment.get("APPDATA") or home / "AppData" / "Roaming")
    elif platform == "darwin":
        base = home / "Library" / "Application Support"
    else:
        base = Path(environment.get("XDG_CONFIG_HOME") or "")
        base = base if base.is_absolute() else home / ".config"
    return base / _FOLDER


def signing_key(folder: Path, *, studio: Studio | None = None) -> Ed25519PrivateKey:
    """Return the key in a folder; on first use make both, with rights for their owner alone.

    A folder inside the studio's, or inside a copy, is refused. Errors: Mistakes for a key that others could have read,
    or that is none; Unfinished where it cannot be written.
    """
    if studio is not None:
        _keep_apart(folder, studio)
    file = folder / KEY_FILE
    if not os.path.lexists(file):
        try:
            _make(file)
        except OSError as error:
            raise Unfinished(f"the key {file} cannot be made: {error.strerror or error}") from error
    return _read(file)


def fingerprint(key: Ed25519PrivateKey | Ed25519PublicKey) -> str:
    """Return a key's fingerprint: SHA-256 of its public half as SubjectPublicKeyInfo DER, in 64 hex digits."""
    public = key.public_key() if isinstance(key, Ed25519PrivateKey) else key
    return hashlib.sha256(public.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)).hexdigest()


def grouped(digits: str) -> str:
    """Write a fingerprint for people to compare: groups of four digits."""
    return " ".join(digits[at : at + 4] for at in range(0, len(digits), 4))


def _keep_apart(folder: Path, studio: Studio) -> None:
    kept = {f"the copy {copy.id}": copy.at for copy in studio.copies if copy.at is not None}
    for words, root in {"the studio's folder": studio.file.parent, **kept}.items():
        if falls_in(folder, root):
            what = f"the folder for the key, {folder}, lies inside {words}: whoever gets that could seal in your name"
            raise _mistake(SETTING, what, f"set {SETTING} to a folder outside it")


def _make(file: Path) -> None:
    """Make the key: whole in a file aside, then under its name, unless another run was first. Errors: OSError."""
    file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    content = Ed25519PrivateKey.generate().private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    fd, name = tempfile.mkstemp(prefix=f".{KEY_FILE}-", suffix=".part", dir=file.parent)  # for its owner alone, it says
    aside = Path(name)
    try:
        _write(fd, content)
        with suppress(FileExistsError):
            _take_name(aside, file)
    finally:
        aside.unlink(missing_ok=True)


def _take_name(aside: Path, file: Path) -> None:
    """Give a file its name if nobody has it: rename would replace another run's key. Errors: FileExistsError."""
    if os.name == "nt":
        aside.rename(file)  # refuses a name that is taken
        return
    try:
        os.link(aside, file)
    except FileExistsError:
        raise
    except OSError:  # a file system without second names
        _write(os.open(file, _MAKE, 0o600), aside.read_bytes())  # the rights come before the content


def _write(fd: int, content: bytes) -> None:
    with os.fdopen(fd, "wb") as out:
        out.write(content)
        out.flush()
        os.fsync(out.fileno())


def _read(file: Path) -> Ed25519PrivateKey:
    try:
        fd = os.open(file, _READ)
        with os.fdopen(fd, "rb") as opened:
            _check_rights(file, os.fstat(opened.fileno()))
            content = opened.read(_MOST_BYTES)
    except OSError as error:
        raise _mistake(str(file), f"the key cannot be read: {error.strerror or error}", "see to its rights") from None
    return _parsed(file, content)


def _parsed(file: Path, content: bytes) -> Ed25519PrivateKey:
    try:
        key = load_pem_private_key(content, password=None)
    except TypeError:
        what = "the key is locked with a password, and none is asked for here"
        raise _mistake(str(file), what, "keep it there without one") from None
    except (ValueError, UnsupportedAlgorithm):
        raise _mistake(str(file), "this is no key", f"put the right file back, or {_AWAY}") from None
    if not isinstance(key, Ed25519PrivateKey):
        raise _mistake(str(file), "this is a key of another kind than Ed25519", _AWAY)
    return key


def _check_rights(file: Path, about: os.stat_result) -> None:
    if not stat.S_ISREG(about.st_mode):
        raise _mistake(str(file), "the key is no file", "move it away")
    if not _HAS_RIGHTS:
        return
    if about.st_uid != os.geteuid():  # type: ignore[attr-defined, unused-ignore]  # Windows has none
        raise _mistake(str(file), "the key belongs to another user", f"set {SETTING} to a folder of your own")
    if about.st_mode & 0o077:
        advice = (
            f"if nobody can have read it yet, run: chmod 600 '{file}'; else {_AWAY}; where chmod changes nothing, the "
        )
        advice += f"disk keeps no rights: set {SETTING} to a folder on another"
        raise _mistake(str(file), "other users of this computer can read the key", advice)
    if stat.S_IMODE(file.parent.stat().st_mode) & 0o022:
        what = "other users of this computer can put another key in this one's place"
        raise _mistake(str(file.parent), what, f"run: chmod 700 '{file.parent}'")


def _mistake(where: str, what: str, advice: str) -> Mistakes:
    return Mistakes([Mistake(where, "", what, advice)])

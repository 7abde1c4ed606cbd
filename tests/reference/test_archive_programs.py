"""Archives as people's programs make them, and the same damage given to those programs: the same pictures survive.

Sources: 7-Zip (`7zz`), Info-ZIP (`zip`, `unzip`), GNU tar, gzip, xz, zstd, run here; nginx for an ordinary server.
What a program gets out of a damaged archive is judged by the bytes of the files it leaves, not by what it says.
"""

import os
import random
import shutil
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from io import RawIOBase
from pathlib import Path

import pytest
from gather import Gather

from drill.copies import (
    LinkSession,
    archive_format,
    archive_view,
    fetch_link,
    file_store,
    link_store,
    plain_view,
    probe_link,
)
from drill.copies.raw import FileBytes
from drill.errors import CannotRead
from drill.model import Entry, Store, Trouble, View

pytestmark = pytest.mark.outside

RANDOM = random.Random(811)
FILES = {f"2026/heron/ABCD{n:04}.DNG": RANDOM.randbytes(RANDOM.randrange(60_000, 150_000)) for n in range(12)}
FILES |= {f"2026/heron/ABCD{n:04}.xmp": b"<x:xmpmeta n='%d'/>\n" % n * 60 for n in range(12)}
FILES |= {"2026/scan.tif": b"".join(bytes([n % 7, n % 3]) * 1000 for n in range(300)), "2026/empty.txt": b""}
FILES |= {"Nuñez ünd/é 1.jpg": bytes(range(256)) * 300}
PASSWORD = "pass wörd"
WHEN = 1_789_000_000


def program(name: str) -> str:
    found = shutil.which(name) or (shutil.which("7z") if name == "7zz" else None)
    if found is None:
        pytest.skip(f"the program {name} is not on this machine")
    return found


def right(gather: Gather) -> set[str]:
    """Return the paths whose bytes came whole and right, also where a problem was told after the last byte."""
    return {e.path for e, (data, problem) in gather.got.items() if data == FILES[e.path] and (data or not problem)}


def run(*command: str, cwd: Path, check: bool = True) -> None:
    env = {**os.environ, "LC_ALL": "C.UTF-8"}
    done = subprocess.run(command, cwd=cwd, check=False, capture_output=True, env=env, timeout=60)
    assert not check or done.returncode == 0, done.stderr + done.stdout


@pytest.fixture(scope="module")
def tree(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("tree")
    for name, content in FILES.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_bytes(content)
        os.utime(root / name, (WHEN, WHEN))
    (root / "2026/no files").mkdir()
    return root


Maker = Callable[[Path, Path], None]


def by_7zz(*options: str) -> Maker:
    return lambda tree, to: run(program("7zz"), "a", "-bd", *options, str(to), ".", cwd=tree)


def by_tar(*options: str) -> Maker:
    return lambda tree, to: run(program("tar"), *options, "-cf", str(to), ".", cwd=tree)


def by_pipe(*packer: str) -> Maker:
    def make(tree: Path, to: Path) -> None:
        plain = to.with_suffix(".plain")
        run(program("tar"), "-cf", str(plain), ".", cwd=tree)
        with plain.open("rb") as source, to.open("wb") as target:
            subprocess.run([program(packer[0]), *packer[1:]], stdin=source, stdout=target, check=True, timeout=60)
        plain.unlink()

    return make


MAKERS: dict[str, tuple[str, Maker]] = {
    "solid": ("a.7z", by_7zz("-mx=5")),
    "not solid": ("a.7z", by_7zz("-ms=off")),
    "stored": ("a.7z", by_7zz("-mx=0")),
    "small blocks": ("a.7z", by_7zz("-ms=300k", "-mx=1")),
    "32m blocks": ("a.7z", by_7zz("-ms=32m")),
    "lzma": ("a.7z", by_7zz("-m0=lzma")),
    "bcj and lzma": ("a.7z", by_7zz("-m0=bcj", "-m1=lzma")),
    "deflate64": ("a.7z", by_7zz("-m0=deflate64")),
    "bzip2": ("a.7z", by_7zz("-m0=bzip2")),
    "deflate": ("a.7z", by_7zz("-m0=deflate")),
    "delta": ("a.7z", by_7zz("-m0=delta", "-m1=lzma2")),
    "encrypted": ("a.7z", by_7zz(f"-p{PASSWORD}")),
    "encrypted, stored": ("a.7z", by_7zz(f"-p{PASSWORD}", "-mx=0")),
    "encrypted header": ("a.7z", by_7zz(f"-p{PASSWORD}", "-mhe=on")),
    "zip": ("a.zip", lambda tree, to: run(program("zip"), "-qr", str(to), ".", cwd=tree)),
    "zip stored": ("a.zip", lambda tree, to: run(program("zip"), "-qr0", str(to), ".", cwd=tree)),
    "zip encrypted": ("a.zip", lambda tree, to: run(program("zip"), "-qrP", PASSWORD, str(to), ".", cwd=tree)),
    "zip by 7-Zip": ("a.zip", by_7zz("-tzip")),
    "zip streamed": ("a.zip", lambda tree, to: run("sh", "-c", f"{program('zip')} -qr - . | cat > '{to}'", cwd=tree)),
    "gnu tar": ("a.tar", by_tar("--format=gnu")),
    "pax tar": ("a.tar", by_tar("--format=pax")),
    "ustar": ("a.tar", by_tar("--format=ustar")),
    "tar by 7-Zip": ("a.tar", by_7zz("-ttar")),
    "tar.gz": ("a.tar.gz", by_pipe("gzip", "-c")),
    "tar.xz": ("a.tar.xz", by_pipe("xz", "-1", "-c")),
    "tar.xz, blocks": ("a.tar.xz", by_pipe("xz", "-1", "-c", "--block-size=262144")),
    "tar.zst": ("a.tar.zst", by_pipe("zstd", "-q", "-c")),
    "tar.zst, long": ("a.tar.zst", by_pipe("zstd", "-q", "-c", "--long=31")),
}


@pytest.fixture(scope="module")
def made(tree: Path, tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    folder = tmp_path_factory.mktemp("made")

    def get(name: str) -> Path:
        ending, make = MAKERS[name]
        path = folder / name.replace(" ", "-") / ending
        if not path.exists():
            path.parent.mkdir()
            make(tree, path)
        return path

    return get


def view_of(path: Path, name: str, store: Store | None = None) -> View:
    kind = archive_format(path.name)
    assert kind is not None
    return archive_view(store or file_store(path), kind, PASSWORD if "encrypted" in name else None)


def everything(view: View, wanted: list[Entry]) -> Gather:
    gather = Gather()
    view.deliver(wanted, gather)
    return gather


@pytest.mark.parametrize("name", MAKERS)
def test_what_a_program_packed_comes_out_byte_for_byte(name: str, made: Callable[[str], Path]) -> None:
    path = made(name)
    before = path.stat()
    view = view_of(path, name)
    entries = list(view.entries())
    assert {e.path: e.size for e in entries} == {path: len(content) for path, content in FILES.items()}
    assert everything(view, entries).good() == FILES
    when = datetime.fromtimestamp(WHEN, UTC)
    assert all(e.modified is not None and abs((e.modified - when).total_seconds()) <= 2 for e in entries)
    after = path.stat()
    assert (before.st_mtime_ns, before.st_size) == (after.st_mtime_ns, after.st_size)


@pytest.mark.parametrize("name", ["encrypted", "encrypted, stored", "encrypted header"])
def test_a_wrong_password_is_told(name: str, made: Callable[[str], Path]) -> None:
    for password, words in ((None, "no password"), ("wrong", "password is wrong")):
        with pytest.raises(CannotRead, match=words):
            archive_view(file_store(made(name)), ".7z", password).entries()
    entries = list(view_of(made("zip encrypted"), "encrypted").entries())
    gather = everything(archive_view(file_store(made("zip encrypted")), ".zip", "wrong"), entries)
    full = {e.path for e in entries if e.size}
    assert {e.path for e, (_, problem) in gather.got.items() if problem is not None} >= full


def test_7zips_methods_that_cannot_be_read_here_are_said(tree: Path, tmp_path: Path) -> None:
    for number, methods in enumerate((("-m0=bcj2", "-m1=lzma2"), ("-m0=ppmd",))):
        path = tmp_path / f"{number}.7z"
        by_7zz(*methods)(tree, path)
        gather = everything(view_of(path, ""), list(view_of(path, "").entries()))
        problems = [problem for _, problem in gather.got.values() if problem is not None]
        assert len(problems) == len(FILES) - 1 and {p.trouble for p in problems} == {Trouble.UNSUPPORTED}
    by_7zz("-tzip", "-pASCII", "-mem=AES256")(tree, tmp_path / "a.zip")  # 7-Zip wants no other letters there
    view = view_of(tmp_path / "a.zip", "encrypted")
    problems = [p for e, (_, p) in everything(view, list(view.entries())).got.items() if e.size and p is not None]
    assert len(problems) == len(FILES) - 1 and {p.trouble for p in problems} == {Trouble.UNSUPPORTED}


def test_7zips_links_and_anti_items_hold_nothing(tree: Path, tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "in/1.dng").write_bytes(b"one")
    (tmp_path / "in/2.dng").symlink_to("1.dng")
    run(program("7zz"), "a", "-snl", str(tmp_path / "a.7z"), ".", cwd=tmp_path / "in")
    view = view_of(tmp_path / "a.7z", "")
    assert everything(view, list(view.entries())).good() == {"1.dng": b"one"}


def test_a_sparse_file_and_a_hard_link_of_gnu_tar(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    with (tmp_path / "in/holes.dng").open("wb") as file:
        file.seek(300_000)
        file.write(b"middle")
        file.truncate(700_000)
    (tmp_path / "in/link.dng").hardlink_to(tmp_path / "in/holes.dng")
    content = bytes(300_000) + b"middle" + bytes(399_994)
    for form in ("gnu", "pax"):
        for version in ("0.0", "0.1", "1.0") if form == "pax" else ("1.0",):
            for packer, name in ((), "a.tar"), (("-z",), "a.tar.gz"), (("--zstd",), "a.tar.zst"):
                options = ("-S", f"--format={form}", f"--sparse-version={version}", *packer)
                by_tar(*options)(tmp_path / "in", tmp_path / name)
                view = view_of(tmp_path / name, "")
                entries = list(view.entries())
                assert len(entries) == 2 and entries[0].index == entries[1].index
                assert everything(view, entries).good() == {"holes.dng": content, "link.dng": content}
                assert everything(view, entries[1:]).good() == {entries[1].path: content}


# --- the same damage -------------------------------------------------------------------------------------------


def extracted(archive: Path, name: str, into: Path) -> set[str]:
    """Let the program extract what it can; return the paths whose bytes are right."""
    into.mkdir()
    if archive.name.endswith(".7z"):
        run(program("7zz"), "x", "-y", "-bd", f"-p{PASSWORD}", f"-o{into}", str(archive), cwd=into, check=False)
    elif archive.name.endswith(".zip"):
        run(program("unzip"), "-qo", "-P", PASSWORD, str(archive), cwd=into, check=False)
    else:
        run(program("tar"), "-xf", str(archive), cwd=into, check=False)
    right = {p for p, content in FILES.items() if (into / p).is_file() and (into / p).read_bytes() == content}
    shutil.rmtree(into)
    return right


DAMAGED = ["solid", "not solid", "stored", "small blocks", "lzma", "encrypted", "encrypted, stored", "encrypted header"]
DAMAGED += ["zip", "zip stored", "gnu tar", "pax tar", "tar.gz", "tar.zst"]


@pytest.mark.parametrize("name", DAMAGED)
def test_after_the_same_damage_the_same_files_survive(name: str, made: Callable[[str], Path], tmp_path: Path) -> None:
    """One sector overwritten, as an imaging tool leaves it; away from the directory at a 7z's or a zip's end."""
    intact = made(name)
    content = intact.read_bytes()
    wanted = list(view_of(intact, name).entries())
    rng = random.Random(name)
    end = len(content) - (4096 if not name.endswith("tar") else 20_000)
    for number in range(4):
        damaged = bytearray(content)
        at = rng.randrange(32, end) // 512 * 512 or 32
        fill = bytes(512) if number % 2 else rng.randbytes(512)
        damaged[at : at + 512] = fill
        path = tmp_path / intact.name
        path.write_bytes(damaged)
        theirs = extracted(path, name, tmp_path / f"out{number}")
        gather = everything(view_of(path, name), wanted)
        ours = right(gather)
        assert len(gather.got) == len(FILES)
        if archive_format(path.name) in (".7z", ".zip"):
            assert set(gather.good()) <= ours  # what has a check value of its own is never wrong without a word
        if name == "tar.zst" or ("tar" in name and number % 2):
            assert ours >= theirs  # GNU tar ends at zeros where a header was, and zstd holds back its last blocks
        else:
            assert ours == theirs


@pytest.mark.parametrize("name", DAMAGED)
@pytest.mark.parametrize("share", [0.35, 0.8])
def test_after_the_same_truncation_the_same_files_survive(
    name: str, share: float, made: Callable[[str], Path], tmp_path: Path
) -> None:
    intact = made(name)
    wanted = list(view_of(intact, name).entries())
    path = tmp_path / intact.name
    path.write_bytes(intact.read_bytes()[: int(intact.stat().st_size * share)])
    theirs = extracted(path, name, tmp_path / "out")
    ours = right(everything(view_of(path, name), wanted))
    if archive_format(path.name) == ".zip":
        assert ours == set()  # the directory is at the end; unzip looks for the members without it
    else:
        assert ours >= theirs and len(ours - theirs) <= 1  # GNU tar drops a last record that is not full


class BadSector(RawIOBase):
    """A file with one sector that cannot be read."""

    def __init__(self, path: Path, sector: int) -> None:
        super().__init__()
        self._raw, self._start = FileBytes(path), sector * 4096

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = 0) -> int:
        return self._raw.seek(offset, whence)

    def tell(self) -> int:
        return self._raw.tell()

    def readinto(self, buffer: bytearray, /) -> int:  # type: ignore[override]
        at = self._raw.tell()
        if self._start <= at < self._start + 4096:
            raise OSError(5, "Input/output error")
        most = self._start - at if at < self._start else len(buffer)
        return self._raw.readinto(memoryview(buffer)[: min(most, len(buffer))])

    def close(self) -> None:
        self._raw.close()
        super().close()


@pytest.mark.parametrize("name", MAKERS)
def test_with_an_io_error_in_the_middle_nothing_wrong_comes_and_the_rest_is_problems(
    name: str, made: Callable[[str], Path]
) -> None:
    intact = made(name)
    wanted = list(view_of(intact, name).entries())
    middle = intact.stat().st_size // 2 // 4096
    store = Store(file_store(intact).files, lambda entry: BadSector(intact, middle))
    gather = everything(view_of(intact, name, store), wanted)
    assert len(gather.got) == len(FILES)
    assert all(FILES[e.path].startswith(data) for e, (data, _) in gather.got.items())
    assert all(gather.good()[path] == FILES[path] for path in gather.good())
    lost = [problem for _, problem in gather.got.values() if problem is not None]
    assert lost and {problem.trouble for problem in lost} == {Trouble.IO}
    if name in ("not solid", "stored", "encrypted, stored", "zip", "zip stored", "gnu tar", "pax tar", "ustar"):
        assert len(lost) <= 3  # members there do not depend on each other: 4096 bytes touch two or three


# --- an ordinary server ----------------------------------------------------------------------------------------


@contextmanager
def nginx(root: Path, folder: Path) -> Iterator[str]:
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        port = sock.getsockname()[1]
    (folder / "nginx.conf").write_text(
        f"daemon off; master_process off; pid {folder}/pid; error_log {folder}/error.log;"
        f"{'user root;' if os.geteuid() == 0 else ''}"
        "events {} http { access_log off; charset utf-8;"
        + "".join(f"{kind}_temp_path {folder}/{kind};" for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi"))
        + f"server {{ listen 127.0.0.1:{port}; root {root};"
        "location /gone/ { return 410; } location /shut/ { deny all; } } }"
    )
    server = subprocess.Popen(
        [program("nginx"), "-e", f"{folder}/error.log", "-c", f"{folder}/nginx.conf"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        for _ in range(100):
            with socket.socket() as sock:
                if sock.connect_ex(("127.0.0.1", port)) == 0:
                    break
            time.sleep(0.05)
        yield f"http://127.0.0.1:{port}"
    finally:
        server.terminate()
        server.wait(10)


def test_files_and_archives_come_from_an_ordinary_server(
    tree: Path, made: Callable[[str], Path], tmp_path: Path
) -> None:
    shutil.copytree(tree, tmp_path / "www/share")
    shutil.copy(made("solid"), tmp_path / "www/heron.7z")
    with nginx(tmp_path / "www", tmp_path) as base, LinkSession() as session:
        gather = Gather()
        view = plain_view(link_store(f"{base}/share/?sig=x", [*FILES, "2026/nothing.dng"], session=session))
        view.deliver(view.entries(), gather)
        assert gather.good() == FILES
        (missing,) = [problem for _, problem in gather.got.values() if problem is not None]
        assert missing.trouble is Trouble.REFUSED and "404 (Not Found)" in missing.detail
        for path, words in (("gone/x.dng", "410"), ("shut/x.dng", "403")):
            with pytest.raises(CannotRead, match=words):
                probe_link(f"{base}/{path}", session=session)
        probe_link(f"{base}/share/2026/scan.tif", session=session)
        probe_link(f"{base}/share/2026/empty.txt", session=session)
        size = fetch_link(f"{base}/heron.7z", tmp_path / "heron.7z", session=session)
    assert size == made("solid").stat().st_size
    fetched = view_of(tmp_path / "heron.7z", "")
    assert everything(fetched, list(fetched.entries())).good() == FILES

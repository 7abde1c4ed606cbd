"""Builds a described studio on disk: real folders, archives, lists, links, the studio file, scenario files.

Flows in: a description (see `oracle`). Flows out: files below a folder, and a small real web server for links.
It must not import the program under test: its lists and files are written from the contract alone.
Facts: GNU and BSD checksum lines as coreutils and xxhsum print them; TOML basic strings are JSON strings.
"""

import gzip
import hashlib
import io
import json
import os
import re
import tarfile
import tempfile
import threading
import time
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, date, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import parse_qs, quote, unquote, urlsplit

import py7zr
import xxhash
from described import Copy, Hazard, Held, Medium, Scenario, Shoot, Studio

SECRET = "s3cr3t-4711"  # what links carry in their query; must never be shown
_DIGESTS: Mapping[str, Callable[[bytes], str]] = {
    "md5": lambda data: hashlib.md5(data, usedforsecurity=False).hexdigest(),
    "sha1": lambda data: hashlib.sha1(data, usedforsecurity=False).hexdigest(),
    "sha224": lambda data: hashlib.sha224(data).hexdigest(),
    "sha256": lambda data: hashlib.sha256(data).hexdigest(),
    "sha384": lambda data: hashlib.sha384(data).hexdigest(),
    "sha512": lambda data: hashlib.sha512(data).hexdigest(),
    "blake2b": lambda data: hashlib.blake2b(data).hexdigest(),
    "xxh32": xxhash.xxh32_hexdigest,
    "xxh64": xxhash.xxh64_hexdigest,
    "xxh3": xxhash.xxh3_64_hexdigest,
    "xxh128": xxhash.xxh3_128_hexdigest,
}
KINDS = tuple(_DIGESTS)
_TAGGED = {"xxh3": "XXH3", "blake2b": "BLAKE2b"}  # kinds that this builder writes as tag lines


def digest(kind: str, data: bytes) -> str:
    """Return the hex digest of `data`."""
    return _DIGESTS[kind](data)


# --- lists -------------------------------------------------------------------------------------------------------


def list_text(kind: str, files: Iterable[tuple[str, bytes]]) -> bytes:
    """Write a checksum list of (name, bytes), with the escapes of the coreutils programs."""
    lines = []
    for name, data in files:
        escaped = name.replace("\\", "\\\\").replace("\n", "\\n").replace("\r", "\\r")
        mark = "\\" if escaped != name else ""
        hexes = digest(kind, data)
        tag = _TAGGED.get(kind)
        lines.append(f"{mark}{tag} ({escaped}) = {hexes}\n" if tag else f"{mark}{hexes}  {escaped}\n")
    return "".join(lines).encode("utf-8", "surrogateescape")


def _write_lists(folder: Path, name: str, kinds: tuple[str, ...], files: Iterable[tuple[str, bytes]]) -> str:
    """Write a list of each kind; return the path or glob that the studio file gives, relative to `folder`."""
    below = folder / "manifests"
    below.mkdir(exist_ok=True)
    files = list(files)
    for kind in kinds:
        (below / f"{name}.{kind}").write_bytes(list_text(kind, files))
    return f"manifests/{name}.{kinds[0]}" if len(kinds) == 1 else f"manifests/{name}.*"


# --- copies ------------------------------------------------------------------------------------------------------


def _seconds(held: Held) -> float:
    return held.modified.timestamp()


def write_file(root: Path, held: Held) -> Path:
    """Write one file below `root` with its time."""
    path = root.joinpath(*held.path.split("/"))
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(held.data)
    os.utime(path, (_seconds(held), _seconds(held)))
    return path


def _zip(target: Path, files: Iterable[Held]) -> None:
    with zipfile.ZipFile(target, "w") as archive:
        for held in files:
            info = zipfile.ZipInfo(held.path, time.localtime(_seconds(held))[:6])
            info.external_attr = 0o100644 << 16
            archive.writestr(info, held.data, zipfile.ZIP_DEFLATED)


def _sevenzip(target: Path, files: Iterable[Held]) -> None:
    with tempfile.TemporaryDirectory() as aside, py7zr.SevenZipFile(target, "w") as archive:
        for held in files:
            archive.write(write_file(Path(aside), held), held.path)


def _tar_bytes(files: Iterable[Held]) -> bytes:
    buffer = io.BytesIO()
    with tarfile.open(fileobj=buffer, mode="w", format=tarfile.PAX_FORMAT) as archive:
        for held in files:
            info = tarfile.TarInfo(held.path)
            info.size, info.mtime, info.mode = len(held.data), int(_seconds(held)), 0o644
            archive.addfile(info, io.BytesIO(held.data))
    return buffer.getvalue()


def pack(target: Path, form: str, files: Iterable[Held]) -> None:
    """Write an archive of that form (".zip", ".7z", ".tar", ".tar.gz")."""
    match form:
        case ".zip":
            _zip(target, files)
        case ".7z":
            _sevenzip(target, files)
        case ".tar":
            target.write_bytes(_tar_bytes(files))
        case ".tar.gz":
            target.write_bytes(gzip.compress(_tar_bytes(files), mtime=0))
        case _:
            raise ValueError(form)


def _lay_copy(folder: Path, cloud: Path, studio: Studio, copy: Copy) -> None:
    """Write what a copy really stores: below media/ID, or below the cloud's folder for links."""
    root = (cloud if copy.form.startswith("link") else folder / "media") / copy.id
    if copy.out_of_reach in ("no at", "missing", "no server"):
        return
    root.mkdir(parents=True)
    if copy.out_of_reach == "empty":
        return
    if copy.is_archive:
        pack(root / f"pictures{copy.form.removeprefix('link')}", copy.form.removeprefix("link"), copy.holds)
    else:
        for held in copy.holds:
            write_file(root, held)
    mark = studio.medium(copy.on).recognised_by
    if mark is not None and copy.out_of_reach != "other drive":
        write_file(root, Held(mark, b"this is the drive\n"))
    elif not any(root.iterdir()) or copy.is_archive:
        # A folder with nothing in it counts as not plugged in; an archive lies among other things.
        write_file(root, Held("about this drive.txt", f"drive of {copy.id}\n".encode()))


# --- TOML --------------------------------------------------------------------------------------------------------


def toml_value(value: Any) -> str:
    """Write one TOML value."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, datetime):
        return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {toml_value(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(toml_value, value)) + "]"
    return json.dumps(value, ensure_ascii=False)


def _table(head: str, rows: Mapping[str, Any]) -> str:
    lines = [f"{key} = {toml_value(value)}" for key, value in rows.items() if value is not None]
    return "\n".join([head, *lines, ""])


def _medium_rows(medium: Medium) -> dict[str, Any]:
    rows: dict[str, Any] = {"id": medium.id, "kind": medium.kind, "place": medium.place, "account": medium.account}
    rows |= {"attached": medium.attached, "needs": medium.needs or None, "mirrors": medium.mirrors}
    rows |= {"keeps_versions": medium.keeps_versions, "recognised_by": medium.recognised_by}
    return rows | dict(medium.more)


def _at(copy: Copy, base: str | None) -> str | None:
    if copy.out_of_reach == "no at":
        return None
    name = f"{copy.id}/pictures{copy.form.removeprefix('link')}" if copy.is_archive else copy.id
    if not copy.form.startswith("link"):
        return f"media/{name}"
    # Port 9 (discard, from memory) is reserved and nothing listens there: a server that cannot be connected to.
    host = "http://127.0.0.1:9" if copy.out_of_reach == "no server" else base
    assert host is not None, "a studio with links needs a server"
    return f"{host}/{quote(name)}?sig={SECRET}"


def _shoot_text(folder: Path, shoot: Shoot) -> str:
    manifest = _write_lists(folder, f"promise-{shoot.id}", shoot.promised_in, shoot.promise)
    text = _table("[[shoots]]", {"id": shoot.id, "date": shoot.date, "manifest": manifest})
    hours = shoot.targets.lose_at_most_h
    rows = {
        "restore_within": shoot.targets.restore_within,
        "lose_at_most": None if hours is None else f"{hours} h",
        "further_failures": shoot.targets.further_failures,
    }
    return text + _table("[shoots.targets]", rows) if any(v is not None for v in rows.values()) else text


def studio_text(folder: Path, studio: Studio, base: str | None) -> str:
    """Write the lists below `folder`, and return the text of the studio file."""
    parts = [_table("[studio]", {"name": "Oystercatcher Pictures", "scratch": "scratch"})]
    if studio.classes:
        parts.append(_table("[classes]", dict(studio.classes)))
    if studio.weights:
        parts.append(_table("[weights]", studio.weights))
    for place in studio.places:
        facts = {"id": place.id, "carried": place.carried or None, "offsite": place.offsite}
        parts.append(_table("[[places]]", facts))
    parts += [_table("[[media]]", _medium_rows(medium)) for medium in studio.media]
    parts += [_shoot_text(folder, shoot) for shoot in studio.shoots]
    for copy in studio.copies:
        listed = None
        if copy.says is not None:
            listed = _write_lists(folder, f"copy-{copy.id}", copy.says_in, copy.says)
        rows: dict[str, Any] = {
            "id": copy.id,
            "on": copy.on,
            "at": _at(copy, base),
            "manifest": listed,
            "made": copy.made,
        }
        parts.append(_table("[[copies]]", rows))
    return "\n".join(parts)


def _hazard_rows(hazard: Hazard) -> dict[str, Any]:
    rows: dict[str, Any] = {"effect": hazard.effect, "hits": hazard.hits or None, "each": hazard.each}
    rows |= {"files": hazard.files, "offsets": hazard.offsets or None, "keep": hazard.keep}
    rows |= {"sectors": hazard.sectors or None, "before": hazard.before, "factor": hazard.factor}
    if hazard.sectors and hazard.sector_size != 4096:
        rows["sector_size"] = hazard.sector_size
    return rows | {"status": hazard.status, "page": hazard.page or None}


def scenario_text(scenario: Scenario) -> str:
    """Return the text of a scenario file."""
    head = _table("", {"title": f"The story of {scenario.name}", "story": "Invented for a test."})
    return head + "\n".join(_table("[[hazards]]", _hazard_rows(hazard)) for hazard in scenario.hazards)


class Built(NamedTuple):
    """A studio on disk: its file, its scenario files in order, and the roots that must never change."""

    file: Path
    scenarios: tuple[Path, ...]
    sources: tuple[Path, ...]


def build(folder: Path, studio: Studio, scenarios: Iterable[Scenario] = (), *, base: str | None = None) -> Built:
    """Build a studio below a new `folder`; links are served from `folder/cloud` at `base`."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in ("media", "cloud", "scenarios"):
        (folder / name).mkdir()
    for copy in studio.copies:
        _lay_copy(folder, folder / "cloud", studio, copy)
    file = folder / "studio.toml"
    file.write_text(studio_text(folder, studio, base), encoding="utf-8")
    paths = []
    for scenario in scenarios:
        paths.append(folder / "scenarios" / f"{scenario.name}.toml")
        paths[-1].write_text(scenario_text(scenario), encoding="utf-8")
    roots = (folder / "media", folder / "cloud", folder / "manifests", folder / "scenarios", file)
    return Built(file, tuple(paths), roots)


# --- links -------------------------------------------------------------------------------------------------------


class Served:
    """What a link server has given away so far, and how to make it answer otherwise."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.requests: list[tuple[str, str]] = []  # method, path without its query
        self.body_bytes = 0
        self.answer: dict[str, tuple[int, bytes]] = {}  # path → status and body in place of the file
        self.stuck: set[str] = set()  # paths that are not answered until `release` is set
        self.arrived, self.release = threading.Event(), threading.Event()

    def clear(self) -> None:
        """Forget the counts."""
        with self.lock:
            self.requests, self.body_bytes = [], 0


def _handler(root: Path, served: Served) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def _found(self) -> tuple[int, bytes]:
            parts = urlsplit(self.path)
            path = unquote(parts.path, errors="surrogateescape")
            if path in served.stuck:
                served.arrived.set()
                served.release.wait(30)
            if path in served.answer:
                return served.answer[path]
            if parse_qs(parts.query).get("sig") != [SECRET]:
                return 403, b"no"
            inside = root.joinpath(*[part for part in path.split("/") if part not in ("", ".", "..")])
            return (200, inside.read_bytes()) if inside.is_file() else (404, b"not here")

        def _reply(self, *, body: bool) -> None:
            status, data = self._found()
            span = re.fullmatch(r"bytes=(\d+)-(\d*)", self.headers.get("Range", ""))
            extra: list[tuple[str, str]] = []
            if span and status == 200 and int(span[1]) < len(data):
                last = min(int(span[2] or len(data) - 1), len(data) - 1)
                extra = [("Content-Range", f"bytes {span[1]}-{last}/{len(data)}")]
                status, data = 206, data[int(span[1]) : last + 1]
            self.send_response(status)
            for name, value in [("Content-Length", str(len(data))), *extra]:
                self.send_header(name, value)
            self.end_headers()
            with served.lock:
                served.requests.append((self.command, unquote(urlsplit(self.path).path, errors="surrogateescape")))
                served.body_bytes += len(data) if body else 0
            if body:
                self.wfile.write(data)

        def do_GET(self) -> None:
            self._reply(body=True)

        def do_HEAD(self) -> None:
            self._reply(body=False)

        def log_message(self, format: str, *args: object) -> None:
            """Stay quiet."""

    return Handler


class _Server(ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, request: object, client_address: object) -> None:
        """A client that hangs up early is no error of the test."""


@contextmanager
def link_server(root: Path) -> Iterator[tuple[str, Served]]:
    """Serve the files below `root` on this machine; give its base address and what it served."""
    served = Served()
    server = _Server(("127.0.0.1", 0), _handler(root, served))
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_address[1]}", served
    finally:
        server.shutdown()
        thread.join()
        server.server_close()

"""A real link server on this machine: the demo's clouds, with links that really expire.

Flows in: a folder, and requests whose links carry `token` and `Expires` (Unix seconds; they end before that
second). Flows out: the folder's files over HTTP, or a refusal. A token is good for one file or for everything below
one folder, until its own time; who changes the time breaks the token. Must not know: studios, drills. It serves
invented pictures to this machine only; the key is no secret and protects nothing but the example. Facts: RFC 9110
(HEAD, Range with one range, Content-Range, 403, 404, 410, 416). An expired link is answered in the three ways met
in the field: 410; 403 with a body that says so; 200 with a web page.
"""

import hashlib
import hmac
import os
import re
import socketserver
import threading
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from email.utils import formatdate
from http.server import BaseHTTPRequestHandler
from pathlib import Path
from types import TracebackType
from typing import BinaryIO
from urllib.parse import parse_qs, quote, unquote, urlsplit

from drill import clock

_KEY = b"an example key for invented pictures"
_BLOCK = 1 << 18
_IDLE_S = 10.0  # a connection that says nothing is let go
_RANGE = re.compile(r"bytes=(\d*)-(\d*)")
_EXPIRED_TEXT = b"<Error><Message>Request has expired</Message></Error>\n"
_EXPIRED_PAGE = b"""<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>This gallery has closed</title></head>
<body><h1>This gallery has closed</h1><p>Ask your photographer for a new link.</p></body></html>
"""

EXPIRED_ANSWERS: Mapping[str, int] = {"gallery": 200, "cloud/archives": 403}
"""How links below a path answer once they have expired; 200 stands for a web page. Everything else: 410."""


def signed_query(scope: str, expires: datetime) -> str:
    """Return the query of a link that opens `scope` (a file, or a folder and all below it) until `expires`."""
    until = int(expires.timestamp())
    return f"token={_token(scope, until)}&Expires={until}"


def link(base: str, scope: str, expires: datetime) -> str:
    """Return a link to `scope` on the server at `base` that ends at `expires`."""
    return f"{base}/{quote(scope)}?{signed_query(scope, expires)}"


def _token(scope: str, until: int) -> str:
    return hmac.new(_KEY, f"{scope.strip('/')}\n{until}".encode("utf-8", "surrogatepass"), hashlib.sha256).hexdigest()[
        :32
    ]


def _scopes(path: str) -> Iterator[str]:
    while path:
        yield path
        path = path.rpartition("/")[0]


def _moment_of(path: str, query: str) -> int | None:
    """Return the Unix second at which a link ends, or None when its token is not one of ours for this path."""
    fields = parse_qs(query)
    token, until = fields.get("token", [""])[0], fields.get("Expires", [""])[0]
    if not (until.isascii() and until.isdigit() and len(until) <= 12 and token.isascii()):
        return None
    good = any(hmac.compare_digest(token, _token(scope, int(until))) for scope in _scopes(path))
    return int(until) if good else None


def _span(header: str | None, size: int) -> tuple[int, int] | None:
    """Return first and past-the-end byte that a Range header asks for; None: the whole. ValueError: not satisfiable."""
    found = _RANGE.fullmatch(header.strip()) if header else None
    if found is None or found.group() == "bytes=-":
        return None  # several ranges, other units, nonsense: a server may ignore them (RFC 9110, section 14.2)
    first, last = found.groups()
    if not first:
        start, end = max(0, size - int(last)), size
    else:
        start, end = int(first), min(size, int(last) + 1) if last else size
        if last and int(last) < int(first):
            return None
    if start >= size or start >= end:
        raise ValueError(header)
    return start, end


class _Handler(BaseHTTPRequestHandler):
    server: "_Server"
    protocol_version = "HTTP/1.1"
    timeout = _IDLE_S
    server_version = "demo"
    sys_version = ""

    def do_GET(self) -> None:
        self._serve()

    def do_HEAD(self) -> None:
        self._serve()

    def log_message(self, format: str, *args: object) -> None:
        """Say nothing: only the command line prints."""

    def _serve(self) -> None:
        parts = urlsplit(self.path)
        path = unquote(parts.path, errors="surrogateescape").strip("/")
        until = _moment_of(path, parts.query)
        if until is None:
            self._answer(403, b"This link is not valid.\n", "text/plain; charset=utf-8")
        elif self.server.clock().timestamp() >= until:
            self._refuse_expired(path)
        else:
            self._send_file(path)

    def _refuse_expired(self, path: str) -> None:
        status = next((EXPIRED_ANSWERS[scope] for scope in _scopes(path) if scope in EXPIRED_ANSWERS), 410)
        if status == 200:
            self._answer(200, _EXPIRED_PAGE, "text/html; charset=utf-8")
        else:
            self._answer(status, _EXPIRED_TEXT, "application/xml")

    def _send_file(self, path: str) -> None:
        found = _inside(self.server.root, path)
        if found is None:
            self._answer(404, b"Not here.\n", "text/plain; charset=utf-8")
            return
        with found.open("rb") as file:
            about = os.fstat(file.fileno())
            try:
                span = _span(self.headers.get("Range"), about.st_size)
            except ValueError:
                unsatisfied = {"Content-Range": f"bytes */{about.st_size}"}
                self._answer(416, b"", "application/octet-stream", unsatisfied)
                return
            start, end = span or (0, about.st_size)
            headers = {"Accept-Ranges": "bytes", "Last-Modified": formatdate(about.st_mtime, usegmt=True)}
            if span:
                headers["Content-Range"] = f"bytes {start}-{end - 1}/{about.st_size}"
            self._head(206 if span else 200, end - start, "application/octet-stream", headers)
            if self.command != "HEAD":
                self._send(file, start, end)

    def _send(self, file: BinaryIO, start: int, end: int) -> None:
        file.seek(start)
        while start < end and (block := file.read(min(_BLOCK, end - start))):
            self.wfile.write(block)
            start += len(block)

    def _answer(self, status: int, body: bytes, kind: str, more: Mapping[str, str] | None = None) -> None:
        self._head(status, len(body), kind, more or {})
        if self.command != "HEAD":
            self.wfile.write(body)

    def _head(self, status: int, length: int, kind: str, more: Mapping[str, str]) -> None:
        self.send_response(status)
        for name, value in {"Content-Type": kind, "Content-Length": str(length), **more}.items():
            self.send_header(name, value)
        self.send_header("Connection", "close")
        self.end_headers()


def _inside(root: Path, path: str) -> Path | None:
    """Return the file that `path` names below `root`, or None: no such file, or it would lead out."""
    try:
        found = (root / path).resolve()
        return found if found.is_relative_to(root.resolve()) and found.is_file() else None
    except (OSError, ValueError):  # a name with NUL, a loop of links
        return None


class _Server(socketserver.ThreadingTCPServer):
    # Not HTTPServer: it looks its own name up on binding, which waits for a name server where there is none.
    allow_reuse_address = os.name != "nt"  # on Windows two servers could then share a port
    daemon_threads = True
    request_queue_size = 64

    def __init__(self, root: Path, *, port: int, clock: Callable[[], datetime]) -> None:
        self.root = root
        self.clock = clock
        super().__init__(("127.0.0.1", port), _Handler)

    def handle_error(self, request: object, client_address: object) -> None:
        """Say nothing: a client that went away is its own business."""


class LinkServer:
    """Serve the files below `root` on 127.0.0.1 while the `with` block runs; port 0 takes a free one.

    The folder need not exist yet. `clock` tells the time that links are held against.
    Errors: OSError when the port is taken.
    """

    def __init__(self, root: Path, *, port: int = 0, clock: Callable[[], datetime] = clock.now) -> None:
        self._server = _Server(root, port=port, clock=clock)
        self._thread = threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.05}, name="demo links", daemon=True
        )

    @property
    def port(self) -> int:
        """Return the port it listens on."""
        return int(self._server.server_address[1])

    @property
    def base(self) -> str:
        """Return what its links begin with, without a slash at the end."""
        return f"http://127.0.0.1:{self.port}"

    def __enter__(self) -> "LinkServer":
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()

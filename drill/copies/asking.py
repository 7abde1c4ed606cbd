"""How a server is asked for a file, and what its answer means.

Flows in: URLs, a session. Flows out: raw streams, answers; CannotReach (nobody answers, or not now), CannotRead
(refused, gone, expired). Must not know: stores, where a file goes. It is loaded by the first link that a run meets,
with the library behind it. Texts made here hold no secret of a URL. Facts: RFC 9110 and RFC 6585.
"""

import email.utils
from http import HTTPStatus
from io import RawIOBase
from urllib.parse import urljoin, urlunsplit

import urllib3
from urllib3.exceptions import (
    ConnectTimeoutError,
    HTTPError,
    LocationValueError,
    NameResolutionError,
    SSLError,
    TimeoutError,
)

from drill.clock import now, pause, rfc3339
from drill.copies.address import link_expiry, login_of, server_of, shown_url, split_url
from drill.copies.raw import BLOCK, BrokenOff
from drill.copies.session import LinkSession
from drill.errors import CannotReach, CannotRead

_LONGEST_PAUSE_S = 5.0  # what a Retry-After may ask of a drill
_LONGEST_REASON = 16 * 1024  # how much of a refusal's body is looked at
_REDIRECTS = (301, 302, 303, 307, 308)
_NOT_NOW = (408, 425, 429)


class _Again(Exception):
    """This try came to nothing; the next may not. `pause_s` is what the server asked for."""

    def __init__(self, why: str, server: str, *, pause_s: float = 0.0, whole_server: bool) -> None:
        super().__init__(why)
        self.why, self.server, self.pause_s, self.whole_server = why, server, pause_s, whole_server


class LinkBytes(RawIOBase):
    """The bytes of one file as a server sends them: forwards only.

    Errors: BrokenOff when fewer bytes come than were declared; CannotReach when they stop coming and no other try
    brings them.
    """

    def __init__(self, url: str, session: LinkSession) -> None:
        super().__init__()
        self._url, self._session = url, session
        self._given = 0
        self._left_tries = max(1, session.policy.tries) - 1
        self._response = ask(url, session)
        self.declared = _declared(self._response)

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview | bytearray, /) -> int:  # type: ignore[override]
        while True:
            try:
                chunk = self._read(len(buffer))
                break
            except TimeoutError:
                self._start_over()
        buffer[: len(chunk)] = chunk
        self._given += len(chunk)
        return len(chunk)

    def _read(self, size: int) -> bytes:
        left = None if self.declared is None else self.declared - self._given
        if left == 0:
            return b""
        broken: BrokenOff | None = None
        try:
            chunk = self._response.read1(size if left is None else min(size, left), decode_content=False)
        except TimeoutError:
            raise
        except (HTTPError, OSError):
            chunk, broken = b"", self._broken_off()
        if broken is not None or (not chunk and left):
            raise broken or self._broken_off() from None
        return chunk

    def _broken_off(self) -> BrokenOff:
        of = "" if self.declared is None else f" of {self.declared}"
        return BrokenOff(f"the server sent {self._given}{of} bytes")

    def _start_over(self) -> None:
        """Ask for the whole file again and skip what was given already; the check of its content is not done here."""
        self._response.close()
        if self._left_tries <= 0:
            self._session.silent[server_of(self._url)] = why = f"its server stopped sending after {self._given} bytes"
            raise CannotReach(f"{shown_url(self._url)}: {why}")
        self._left_tries -= 1
        pause(self._session.policy.backoff_s)
        self._response = ask(self._url, self._session)
        if _declared(self._response) != self.declared:
            raise BrokenOff(f"the server sent {self._given} bytes, and then another file") from None
        skip, self._given = self._given, 0
        while self._given < skip:
            try:
                chunk = self._read(min(BLOCK, skip - self._given))
            except TimeoutError:
                self._given = skip
                self._start_over()
                return
            if not chunk:
                raise self._broken_off()
            self._given += len(chunk)

    def close(self) -> None:
        if not self.closed and hasattr(self, "_response"):
            self._response.close()  # a connection with bytes still to come is of no use to the next file
        super().close()


def _declared(response: urllib3.BaseHTTPResponse) -> int | None:
    text = response.headers.get("Content-Length", "")
    chunked = "Transfer-Encoding" in response.headers
    return int(text) if text.isascii() and text.isdigit() and not chunked else None


def ask(url: str, session: LinkSession, *, first_byte: bool = False, method: str = "GET") -> urllib3.BaseHTTPResponse:
    """Return the server's 200 (or, for the first byte, 206 or 416), with a bounded number of tries."""
    policy = session.policy
    for number in range(max(1, policy.tries)):
        try:
            return _follow(url, session, first_byte=first_byte, method=method)
        except _Again as error:
            again = error
        if number + 1 < policy.tries:
            pause(max(policy.backoff_s * 2**number, min(again.pause_s, _LONGEST_PAUSE_S)))
    if again.whole_server:
        session.silent[again.server] = again.why
    raise CannotReach(f"{shown_url(url)}: {again.why}")


def _follow(url: str, session: LinkSession, *, first_byte: bool, method: str) -> urllib3.BaseHTTPResponse:
    """Ask once, along redirects. Errors: _Again, CannotReach, CannotRead."""
    asked, login = url, login_of(url)
    for _ in range(session.policy.redirects + 1):
        response = _ask(asked, login, session, first_byte=first_byte, method=method)
        if response.status not in _REDIRECTS or "Location" not in response.headers:
            _judge(response, url, server_of(asked), first_byte=first_byte, head_only=method == "HEAD")
            return response
        response.close()
        try:
            target = urljoin(asked, response.headers["Location"])
            server_of(target)
        except ValueError:
            raise CannotRead(f"{shown_url(url)}: the server redirects to what is no address") from None
        if server_of(target) != server_of(asked):
            login = None  # a login is for the server it was written for
        asked = target
    raise CannotRead(f"{shown_url(url)}: the server redirects more than {session.policy.redirects} times")


def _ask(
    url: str, login: str | None, session: LinkSession, *, first_byte: bool, method: str
) -> urllib3.BaseHTTPResponse:
    """Send one request and return the head of the answer, whatever it is. Errors: _Again, CannotReach, CannotRead."""
    parts, server = split_url(url), server_of(url)
    if server in session.silent:
        raise CannotReach(f"{shown_url(url)}: {session.silent[server]} (not asked again)")
    headers = {"Accept-Encoding": "identity", "User-Agent": "restore-drill"}
    headers |= {"Authorization": login} if login else {}
    headers |= {"Range": "bytes=0-0"} if first_byte else {}
    bare = urlunsplit((parts.scheme, parts.netloc.rpartition("@")[2], parts.path or "/", parts.query, ""))
    patience = urllib3.Timeout(connect=session.policy.connect_s, read=session.policy.read_s)
    try:
        return _pool(session).request(
            method,
            bare,
            headers=headers,
            redirect=False,
            retries=False,
            timeout=patience,
            preload_content=False,
            decode_content=False,
        )
    except LocationValueError:
        raise CannotRead(f"{shown_url(url)}: no address of http or https") from None
    except (HTTPError, OSError) as error:
        raise _Again(_silence(error), server, whole_server=True) from None


def _pool(session: LinkSession) -> urllib3.PoolManager:
    with session.lock:
        if session.pool is None:
            session.pool = urllib3.PoolManager(maxsize=4)
        return session.pool


def _silence(error: Exception) -> str:
    match error:
        case NameResolutionError():
            return "its server's name is not known here; is there a network?"
        case ConnectTimeoutError():
            return "its server cannot be connected to"  # refused, no route, or no answer
        case SSLError():
            return "no secure connection to its server can be made"
        case TimeoutError():
            return "its server does not answer"
    return "its server broke the connection off before it answered"


def _judge(response: urllib3.BaseHTTPResponse, url: str, server: str, *, first_byte: bool, head_only: bool) -> None:
    """Raise unless the answer brings the file. Errors: _Again, CannotRead."""
    status = response.status
    if status == 200 or (first_byte and status in (206, 416)):
        return
    says = f"the server answers {status}{_phrase(status)}"
    if status == 501 and head_only:  # it does not know the method: no reason to come back later
        response.close()
        raise CannotRead(f"{shown_url(url)}: {says}")
    if status in _NOT_NOW or status >= 500:
        wait = _retry_after(response.headers.get("Retry-After", ""))
        response.close()
        raise _Again(says, server, pause_s=wait, whole_server=status in (429, 503))
    expired = status in (400, 401, 403, 404, 410) and _body_says_expired(response)
    response.close()
    end = link_expiry(url)
    if end is not None and end <= now():
        says += f"; the link says it expired {rfc3339(end)}"
    elif expired:
        says += "; it says that the link has expired"
    raise CannotRead(f"{shown_url(url)}: {says}")


def _phrase(status: int) -> str:
    try:
        return f" ({HTTPStatus(status).phrase})"
    except ValueError:
        return ""


def _retry_after(text: str) -> float:
    """Return the seconds that a Retry-After asks for: delay-seconds or HTTP-date (RFC 9110, section 10.2.3)."""
    if text.strip().isascii() and text.strip().isdigit():
        return float(text)
    try:
        return max(0.0, (email.utils.parsedate_to_datetime(text) - now()).total_seconds())
    except (ValueError, TypeError):
        return 0.0


def _body_says_expired(response: urllib3.BaseHTTPResponse) -> bool:
    try:
        body = response.read(_LONGEST_REASON, decode_content=False)
    except (HTTPError, OSError):
        return False
    return b"expired" in body.lower()

"""What a URL says: where to ask, what to show of it, when it says that it expires.

Flows in: URLs, names of files. Flows out: URLs, texts for people, moments; CannotRead for what is no URL. Must not
know: servers and their answers. User info, queries and fragments are secrets (a signature is one): no text made
here for people holds them. Facts: RFC 3986, RFC 7617, section 10 of the references for expiry times.
"""

from base64 import b64encode
from datetime import UTC, datetime, timedelta
from urllib.parse import SplitResult, parse_qsl, quote, unquote_to_bytes, urlsplit, urlunsplit

from drill.clock import parse_time
from drill.errors import CannotRead


def link_url(base: str, name: str) -> str:
    """Append `name` to `base`, before its query, as percent-encoded UTF-8 (a surrogate as the byte it stands for).

    The base may end in a slash or not; a fragment is dropped. Segments "." and ".." are encoded too, for a server
    or a library would resolve them.
    """
    parts = urlsplit(base)
    segments = [_segment(segment) for segment in name.split("/")]
    path = parts.path.rstrip("/") + "/" + "/".join(segments)
    return urlunsplit((parts.scheme, parts.netloc, path, parts.query, ""))


def _segment(segment: str) -> str:
    if segment in (".", ".."):
        return segment.replace(".", "%2E")
    return quote(segment.encode("utf-8", "surrogateescape"), safe="")


def shown_url(url: str) -> str:
    """Write a URL for people: scheme, host and the last part of the path; never user info, query or fragment."""
    try:
        parts = urlsplit(url)
        host = _host(parts)
    except ValueError:
        return "a link that is no URL"
    last = unquote_to_bytes(parts.path.rstrip("/").rpartition("/")[2]).decode("utf-8", "replace")
    last = "".join(sign if sign.isprintable() else "?" for sign in last)
    above = "…/" if parts.path.rstrip("/").count("/") > 1 else ""
    return f"{parts.scheme}://{host}/{above}{last}"


def plain_url(url: str) -> str:
    """Write a URL without what is secret in it: scheme, host and path; never user info, query or fragment.

    Errors: CannotRead.
    """
    parts = split_url(url)
    return f"{parts.scheme}://{_host(parts)}{parts.path.rstrip('/')}"


def _host(parts: SplitResult) -> str:
    host = parts.hostname or ""
    host = f"[{host}]" if ":" in host else host
    return host if parts.port is None else f"{host}:{parts.port}"


def link_expiry(url: str) -> datetime | None:
    """Return when the link itself says that it expires, or None. Source: section 10 of the references."""
    try:
        given = {key.lower(): value for key, value in parse_qsl(urlsplit(url).query)}
        for name in ("x-amz", "x-goog"):
            if f"{name}-date" in given and f"{name}-expires" in given:
                signed = datetime.strptime(given[f"{name}-date"], "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
                return signed + timedelta(seconds=_number(given[f"{name}-expires"]))
        if "expires" in given:
            return datetime.fromtimestamp(_number(given["expires"]), UTC)
        if "se" in given:
            return _stated(given["se"])
    except (ValueError, OverflowError, OSError):
        return None
    return None


def _number(text: str) -> int:
    if not (text.isascii() and text.isdigit()):
        raise ValueError("no whole number")
    return int(text)


def _stated(text: str) -> datetime:
    """Read a time as an access signature states it: in UTC, a date alone or without its seconds allowed."""
    if len(text) == 10:
        text += "T00:00:00Z"
    elif len(text) == 17 and text.endswith("Z"):
        text = text[:-1] + ":00Z"
    return parse_time(text).astimezone(UTC)


def split_url(url: str) -> SplitResult:
    """Take a URL of http or https apart. Errors: CannotRead."""
    try:
        parts = urlsplit(url)
        if parts.scheme in ("http", "https") and parts.hostname and (parts.port is None or parts.port >= 0):
            return parts
    except ValueError:
        pass
    raise CannotRead(f"{shown_url(url)}: no address of http or https")


def server_of(url: str) -> str:
    """Return "host:port". Errors: CannotRead."""
    parts = split_url(url)
    return f"{parts.hostname}:{parts.port or (443 if parts.scheme == 'https' else 80)}"


def login_of(url: str) -> str | None:
    """Return the Basic credentials in the URL's user info (RFC 7617)."""
    user, at, _ = split_url(url).netloc.rpartition("@")
    if not at:
        return None
    name, _, word = user.partition(":")
    return "Basic " + b64encode(unquote_to_bytes(name) + b":" + unquote_to_bytes(word)).decode("ascii")

"""Asking a web server as a program would, without any of the code under test."""

import http.client
from urllib.parse import quote, urlsplit


def ask(url: str, method: str = "GET", **headers: str) -> tuple[int, http.client.HTTPMessage, bytes]:
    """Send one request; return status, headers and body."""
    parts = urlsplit(url)
    line = http.client.HTTPConnection(parts.hostname or "", parts.port, timeout=5)
    try:
        line.request(method, f"{parts.path}?{parts.query}", headers=headers)
        answer = line.getresponse()
        return answer.status, answer.headers, answer.read()
    finally:
        line.close()


def below(base: str, name: str) -> str:
    """Append a name to a base link, before its query, as the contract says."""
    parts = urlsplit(base)
    return parts._replace(path=f"{parts.path}/{quote(name)}").geturl()

"""The demo's link server: links end on their second, ranges are exact, nothing leaks, and it stops."""

import http.client
import os
from datetime import UTC, datetime, timedelta
from urllib.parse import quote, urlsplit

import pytest
from asking import ask, below

from drill.demo import LinkServer
from drill.demo.links import link


class Clock:
    def __init__(self, moment: datetime) -> None:
        self.moment = moment

    def __call__(self) -> datetime:
        return self.moment


BODY = bytes(i % 251 for i in range(10_000))
ENDS = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


@pytest.fixture
def served(tmp_path):
    root = tmp_path / "root"
    for name in ("cloud/a b ü.bin", "cloud/archives/x.zip", "gallery/x.jpg"):
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_bytes(BODY)
    (tmp_path / "secret.txt").write_bytes(b"outside")
    clock = Clock(ENDS - timedelta(seconds=1))
    with LinkServer(root, clock=clock) as server:
        yield server, clock, root


def test_a_link_is_good_until_its_second_and_never_after(served):
    server, clock, _ = served
    ways = {"cloud/a b ü.bin": 410, "cloud/archives/x.zip": 403, "gallery/x.jpg": 200}
    for name, answer in ways.items():
        url = link(server.base, name, ENDS)
        clock.moment = ENDS - timedelta(seconds=1)
        assert ask(url)[::2] == (200, BODY)
        for late in (0, 1, 10**6):
            clock.moment = ENDS + timedelta(seconds=late)
            status, _, body = ask(url)
            assert (status, body == BODY) == (answer, False)
            assert ask(url, Range="bytes=0-0")[0] == answer


def test_a_link_whose_time_or_path_was_changed_is_not_valid(served):
    server, _, _ = served
    url = link(server.base, "cloud/archives", ENDS)
    assert ask(below(url, "x.zip"))[0] == 200
    seconds = int(ENDS.timestamp())
    for bad in (
        below(url, "x.zip").replace(str(seconds), str(seconds + 1)),
        below(url, "x.zip").partition("?")[0],
        below(url, "x.zip").replace("token=", "token=%C3%BC"),
        below(url, "x.zip").replace(f"Expires={seconds}", "Expires=soon"),
        url.replace("cloud/archives", quote("cloud/a b ü.bin")),
        link(server.base, "cloud/archives/x", ENDS).replace("archives/x", "archives/x.zip"),
    ):
        assert ask(bad)[0] == 403, bad


def test_head_tells_what_get_would_bring(served):
    server, _, _ = served
    url = link(server.base, "cloud/a b ü.bin", ENDS)
    status, headers, body = ask(url, "HEAD")
    assert (status, headers["Content-Length"], headers["Accept-Ranges"], body) == (200, "10000", "bytes", b"")
    assert ask(url, "POST")[0] == 501


# RFC 9110, section 14.1.2: a representation of 10000 bytes and its ranges (references.md section 10.4).
@pytest.mark.parametrize(
    ("asked", "first", "last"),
    [
        ("bytes=0-499", 0, 499),
        ("bytes=500-999", 500, 999),
        ("bytes=-500", 9500, 9999),
        ("bytes=9500-", 9500, 9999),
        ("bytes=0-0", 0, 0),
        ("bytes=9999-20000", 9999, 9999),
        ("bytes=-20000", 0, 9999),
    ],
)
def test_a_range_brings_just_those_bytes(served, asked, first, last):
    url = link(served[0].base, "cloud/a b ü.bin", ENDS)
    status, headers, body = ask(url, Range=asked)
    assert (status, headers["Content-Range"]) == (206, f"bytes {first}-{last}/10000")
    assert body == BODY[first : last + 1]
    assert headers["Content-Length"] == str(len(body))


@pytest.mark.parametrize("asked", ["bytes=0-0,-1", "lines=1-2", "bytes=-", "bytes=9-3", "bytes"])
def test_a_range_that_is_not_understood_brings_the_whole(served, asked):
    status, headers, body = ask(link(served[0].base, "cloud/a b ü.bin", ENDS), Range=asked)
    assert (status, body, "Content-Range" in headers) == (200, BODY, False)


@pytest.mark.parametrize("asked", ["bytes=10000-", "bytes=-0", "bytes=20000-30000"])
def test_a_range_outside_the_file_is_refused_with_its_size(served, asked):
    status, headers, body = ask(link(served[0].base, "cloud/a b ü.bin", ENDS), Range=asked)
    assert (status, headers["Content-Range"], body) == (416, "bytes */10000", b"")


def test_nothing_outside_the_served_folder_is_given(served):
    server, _, root = served
    for name in ("../secret.txt", "cloud/../../secret.txt", "cloud/%00", "cloud"):
        assert ask(link(server.base, name, ENDS))[0] == 404, name
    encoded = link(server.base, "../secret.txt", ENDS).replace("..", "%2e%2e")
    assert ask(encoded)[0] == 404
    try:
        (root / "cloud" / "way-out.txt").symlink_to(root.parent / "secret.txt")
    except OSError as error:
        pytest.skip(f"no symbolic links here: {error}")
    assert ask(link(server.base, "cloud/way-out.txt", ENDS))[0] == 404


def test_it_is_quiet_and_survives_a_client_that_goes_away(served, capfd):
    server, _, root = served
    (root / "cloud" / "big.bin").write_bytes(os.urandom(16_000_000))
    url = link(server.base, "cloud/big.bin", ENDS)
    parts = urlsplit(url)
    line = http.client.HTTPConnection(parts.hostname or "", parts.port, timeout=5)
    line.request("GET", f"{parts.path}?{parts.query}")
    answer = line.getresponse()
    assert len(answer.read(1000)) == 1000
    answer.close()
    line.close()
    assert ask(url, Range="bytes=5-5")[0] == 206
    assert ask(server.base + "/nothing")[0] == 403
    assert capfd.readouterr() == ("", "")


def test_it_stops_and_lets_its_port_go(tmp_path):
    with LinkServer(tmp_path / "not-there-yet") as server:
        url, port = link(server.base, "x", ENDS), server.port
        assert ask(url)[0] == 410
    with pytest.raises(ConnectionError):
        ask(url)
    with LinkServer(tmp_path, port=port) as again:  # the port can be had again
        assert again.port == port
        assert ask(url)[0] == 410

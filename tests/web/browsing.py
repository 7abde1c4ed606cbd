"""A page in a real browser, with the network off, and what it did there.

Flows in: a running browser, files. Flows out: the page as it is shown, and whatever it asked for, said or opened that
a page of ours must not. Must not know: what is on the page.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from playwright.sync_api import Browser, ConsoleMessage, Dialog, Page, Request

FLAGS = (  # what a browser asks for by itself is no request of the page, and there is no sandbox for root
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync"),
    *("--disable-background-networking", "--disable-component-update"),
)
SCHEMES = ("light", "dark")
TABLET = (768, 1024)
PHONE = (360, 740)


@dataclass(slots=True)
class Opened:
    """A page, and what it did that a page of ours must not: ask for anything but itself, complain, open boxes."""

    page: Page
    misdeeds: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Windows:
    """Two windows, offline, in which all pages are opened one after the other: a process for each page would take most
    of the time. `strict` keeps a page's own rules about scripts; in `lax` a judge can be put into it."""

    strict: Page
    lax: Page


def windows(browser: Browser) -> Windows:
    """Open the two windows."""
    strict, lax = (
        browser.new_context(offline=True, bypass_csp=bypass, reduced_motion="reduce").new_page()
        for bypass in (False, True)
    )
    return Windows(strict, lax)


@contextmanager
def opened(
    window: Windows, file: Path, *, size: tuple[int, int] = TABLET, scheme: str = "light", strict: bool = True
) -> Iterator[Opened]:
    """Open a file in one of the windows, as it looks on a screen of that size."""
    page = window.strict if strict else window.lax
    found = Opened(page)
    address = file.as_uri()

    def asked(request: Request) -> None:
        if request.url.split("#")[0] != address:
            found.misdeeds.append(f"asked for {request.url[:200]}")

    def said(message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            found.misdeeds.append(f"{message.type}: {message.text}")

    def boxed(box: Dialog) -> None:
        found.misdeeds.append(f"box: {box.message}")
        box.dismiss()

    heard: dict[str, Callable[..., None]] = {
        "request": asked,
        "console": said,
        "pageerror": lambda error: found.misdeeds.append(f"error: {error}"),
        "dialog": boxed,
        "popup": lambda other: found.misdeeds.append(f"opened {other.url}"),
    }
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.emulate_media(media="screen", color_scheme=scheme)  # type: ignore[arg-type]
    for event, listener in heard.items():
        page.on(event, listener)  # type: ignore[call-overload]
    try:
        page.goto(address, wait_until="load")
        yield found
    finally:
        for event, listener in heard.items():
            page.remove_listener(event, listener)
        page.goto("about:blank")


def unfold(page: Page) -> None:
    """Open all that can be opened, as somebody does who reads everything: what is folded, and what a link shows."""
    page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true })")
    page.evaluate("if (document.querySelector('a[href=\"#all\"]')) location.hash = '#all'")

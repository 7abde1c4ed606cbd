"""A page in a real browser, with the network off, and what it did there.

Flows in: a running browser, a file. Flows out: the page as it is shown, and whatever it asked for, said or opened that
a page of ours must not. Must not know: what is on the page.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from playwright.sync_api import Browser, Page

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


@contextmanager
def opened(
    browser: Browser, file: Path, *, size: tuple[int, int] = TABLET, scheme: str = "light", strict: bool = True
) -> Iterator[Opened]:
    """Open a file, offline. `strict` keeps the page's own rules about scripts; without it a judge can be put in."""
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]},
        color_scheme=scheme,  # type: ignore[arg-type]
        offline=True,
        bypass_csp=not strict,
        reduced_motion="reduce",
    )
    try:
        page = context.new_page()
        found = Opened(page)
        address = file.as_uri()
        page.on(
            "request",
            lambda asked: None if asked.url == address else found.misdeeds.append(f"asked for {asked.url[:200]}"),
        )
        page.on(
            "console",
            lambda said: found.misdeeds.append(f"{said.type}: {said.text}") if said.type in ("error", "warning") else 0,
        )
        page.on("pageerror", lambda error: found.misdeeds.append(f"error: {error}"))
        page.on("dialog", lambda box: (found.misdeeds.append(f"box: {box.message}"), box.dismiss()))
        context.on("page", lambda other: found.misdeeds.append(f"opened {other.url}"))
        page.goto(address, wait_until="load")
        yield found
    finally:
        context.close()


def unfold(page: Page) -> None:
    """Open all that can be opened, as somebody does who reads everything: what is folded, and what a link shows."""
    page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true })")
    page.evaluate("if (document.querySelector('a[href=\"#all\"]')) location.hash = '#all'")

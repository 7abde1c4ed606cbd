"""What is wrong with a page, as it is shown: each check returns complaints, none where all is well.

Flows in: an opened page, or its print. Flows out: lines that say where and what. Must not know: which page it is.
Published: the numbers in brackets are success criteria of the W3C's Web Content Accessibility Guidelines 2.2.
"""

import re
import shutil
import subprocess
from html import unescape
from pathlib import Path
from typing import Any
from unicodedata import bidirectional, category, east_asian_width, normalize

import pytest
from playwright.sync_api import Page

CONFORMING = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]  # axe-core's own tags
COLOURS = ["color-contrast", "link-in-text-block"]
# Unicode's control and format characters that move, hide or turn round what follows (UAX #9, section 2; C0 and C1).
UNSEEN = "[\\u0000-\\u0008\\u000b-\\u001f\\u007f-\\u009f\\u200b-\\u200f\\u2028-\\u202e\\u2060-\\u2069\\ufeff]"
ANSWER = ".verdict, .short h2"  # the one sentence of a page; a letter says whether something falls short
PAPERS = {"A4": (595.3, 841.9), "Letter": (612.0, 792.0)}  # points: ISO 216, ANSI/ASME Y14.1
MARGINS = dict.fromkeys(("top", "right", "bottom", "left"), "10mm")  # what Chromium itself proposes, 0.4 in
EDGE_PT = 14.0  # most printers leave 3 to 5 mm at the edge white; common practice, no source

_OUTSIDE = """paper => {
  const width = document.documentElement.clientWidth, found = [];
  if (document.documentElement.scrollWidth > width)
    found.push(`the page is ${document.documentElement.scrollWidth} px wide in ${width}`);
  const name = e => e.tagName.toLowerCase() + (e.id ? '#' + e.id : '') + ' ' + e.textContent.trim().slice(0, 50);
  const scrolls = e => !paper && e && (/auto|scroll/.test(getComputedStyle(e).overflowX) || scrolls(e.parentElement));
  const hides = e => e && e.getBoundingClientRect().width <= 1 && e.getBoundingClientRect().height <= 1;
  for (const e of document.body.querySelectorAll('*')) {
    if (!e.checkVisibility() || e.closest('svg') && e.tagName !== 'svg' || hides(e)) continue;
    const box = e.getBoundingClientRect(), style = getComputedStyle(e);
    if (box.width && (box.right > width + 1 || box.left < -1) && !scrolls(e.parentElement) && box.right > 0)
      found.push(`${name(e)}: from ${Math.round(box.left)} to ${Math.round(box.right)} in ${width}`);
    const cuts = paper ? /hidden|clip|auto|scroll/ : /hidden|clip/;
    if (cuts.test(style.overflowX + style.overflowY) && e.tagName !== 'svg'
        && (e.scrollWidth > e.clientWidth + 1 || e.scrollHeight > e.clientHeight + 1))
      found.push(`${name(e)}: cut off`);
    if (!paper && /auto|scroll/.test(style.overflowX) && e.scrollWidth > e.clientWidth + 1
        && !(e.tabIndex >= 0 && (e.getAttribute('aria-label') || e.getAttribute('aria-labelledby'))))
      found.push(`${name(e)}: scrolls, and cannot be reached by keyboard or has no name`);
  }
  return found.slice(0, 12);
}"""

_MADE = """() => {
  const found = [], wrong = 'script, iframe, object, embed, link, base, form, frame, audio, video, mischief, #mischief,'
    + ' [mischief], [src*=mischief], animate, set, foreignObject';
  for (const e of document.querySelectorAll(wrong)) found.push('made: ' + e.outerHTML.slice(0, 80));
  for (const e of document.querySelectorAll('*'))
    for (const a of e.attributes) {
      if (/^on/i.test(a.name)) found.push('acts: ' + e.outerHTML.slice(0, 80));
      if (/^(href|src|xlink:href|action)$/i.test(a.name) && !/^(#|data:image)/.test(a.value))
        found.push('leads away: ' + a.value.slice(0, 80));
    }
  return found;
}"""

_STOPS = """() => [...document.querySelectorAll('a[href], summary, button, input, select, textarea, [tabindex]')]
  .filter(e => e.tabIndex >= 0 && e.checkVisibility({ visibilityProperty: true }))
  .map((e, n) => { e.dataset.stop = n; return e.textContent.trim().slice(0, 40) })"""

_AT = """() => {
  const e = document.activeElement, box = e.getBoundingClientRect(), style = getComputedStyle(e);
  const ring = style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2 || style.boxShadow !== 'none';
  const seen = box.bottom > 0 && box.right > 0 && box.top < innerHeight && box.left < innerWidth;
  return [e.dataset.stop ?? '', ring, seen];
}"""

_DEAD_ENDS = """() => {
  const found = [];
  for (const e of document.querySelectorAll('a[href]')) {
    location.hash = e.getAttribute('href');
    const to = document.getElementById(decodeURIComponent(location.hash.slice(1)));
    if (!to?.checkVisibility() || !to.getBoundingClientRect().height)
      found.push(`${e.textContent.trim().slice(0, 40)}: ${e.getAttribute('href')} shows nothing`);
  }
  return found.slice(0, 12);
}"""

_TARGETS = """least => [...document.querySelectorAll('a[href], summary, button')].filter(e => e.checkVisibility())
  .filter(e => !e.parentElement.closest('p, caption, figcaption') && getComputedStyle(e).position !== 'absolute')
  .map(e => [e.getBoundingClientRect(), e.textContent.trim().slice(0, 40)])
  .filter(([box]) => box.width < least - .5 || box.height < least - .5)
  .map(([box, text]) => `${text}: ${Math.round(box.width)} by ${Math.round(box.height)} px`).slice(0, 12)"""

_CELLS = """() => [...document.querySelectorAll('h1, h2, h3, h4, p, li, td, th, caption, summary, dt, dd, pre')]
  .filter(e => e.checkVisibility({ visibilityProperty: true }) && !e.querySelector('td, th, li, p, dd'))
  .map(e => e.innerText).filter(text => text.trim())"""

_UNTOLD = """() => {
  const found = [], start = e => e.outerHTML.replace(/\\s+/g, ' ').slice(0, 90);
  const named = e => e.getAttribute('aria-label') || e.getAttribute('aria-labelledby');
  const alone = e => {  // the only table under a name of its own
    const around = e.closest('details, [role=group][aria-label]');
    return around && around.querySelectorAll('table').length === 1;
  };
  for (const e of document.querySelectorAll('table'))
    if (!e.caption?.textContent.trim() && !named(e) && !alone(e)) found.push('a table without a name: ' + start(e));
  const sides = new Map();  // whether a table's first column is heads alone: HTML itself makes them the rows' heads
  const aside = table => sides.get(table) ?? sides.set(table,
    [...table.rows].every(row => row.cells[0]?.tagName === 'TH')).get(table);
  for (const e of document.querySelectorAll('th'))
    if (!/^(col|row|colgroup|rowgroup)$/.test(e.scope) && !(e.cellIndex === 0 && aside(e.closest('table'))))
      found.push('of what is it the head: ' + start(e));
  for (const e of document.querySelectorAll('table'))
    if (!e.querySelector('th')) found.push('a table without heads: ' + start(e));
  const worded = e => e.alt || e.getAttribute('role') === 'img' && (named(e) || e.querySelector('title'));
  for (const e of document.querySelectorAll('svg:not(svg svg), img'))
    if (e.ariaHidden !== 'true' && !worded(e))
      found.push('a picture without words: ' + start(e));
  return found.slice(0, 12);
}"""

_GROUND = """() => {
  const [r, g, b] = getComputedStyle(document.body).backgroundColor.match(/[\\d.]+/g).map(Number);
  return (0.2126 * r + 0.7152 * g + 0.0722 * b) / 255;
}"""

_SPACED = """* { line-height: 1.5 !important; letter-spacing: .12em !important; word-spacing: .16em !important }
p { margin-bottom: 2em !important }"""


def below_the_first_screen(page: Page, *sizes: tuple[int, int]) -> list[str]:
    """Tell in which sizes of screen one has to scroll to read the answer to its end."""
    found = []
    for width, height in sizes:
        page.set_viewport_size({"width": width, "height": height})
        box = page.locator(ANSWER).first.bounding_box(timeout=3000)
        if box is None or box["y"] < 0 or box["y"] + box["height"] > height:
            found.append(f"{width} by {height}: {box}")
    return found


def outside(page: Page) -> list[str]:
    """Tell what is cut off or makes the page scroll sideways."""
    found: list[str] = page.evaluate(_OUTSIDE, False)
    return found


def spread(page: Page) -> None:
    """Space the text as a reader may (1.4.12); needs a page that is not opened strictly."""
    page.add_style_tag(content=_SPACED)


def made(page: Page) -> list[str]:
    """Tell which elements and attributes are there that no page of ours has, and which characters act unseen."""
    found: list[str] = page.evaluate(_MADE)
    seen: list[str] = page.evaluate(f"document.documentElement.textContent.match(/{UNSEEN}/g) ?? []")
    return [*found, *(f"unseen: U+{ord(char):04X}" for char in sorted(set(seen)))]


def against_guidelines(page: Page, judge: str, *, colours_only: bool = False) -> list[str]:
    """Tell what axe-core finds: `judge` is its source; `colours_only` where all else has been judged."""
    page.evaluate(judge)
    asked = {"type": "rule", "values": COLOURS} if colours_only else {"type": "tag", "values": CONFORMING}
    rules = {"runOnly": asked, "resultTypes": ["violations"]}
    found: dict[str, Any] = page.evaluate("rules => axe.run(document, rules)", rules)
    assert found["testEngine"]["name"] == "axe-core" and found["passes"], "it judged nothing"
    return [
        f"{wrong['id']}: {node['html'][:120]}: {node['failureSummary']}"
        for wrong in found["violations"]
        for node in wrong["nodes"][:4]
    ]


def untold(page: Page) -> list[str]:
    """Tell which tables, heads and pictures say nothing to somebody who hears the page (1.1.1, 1.3.1)."""
    found: list[str] = page.evaluate(_UNTOLD)
    return found


def brightness(page: Page) -> float:
    """Return how bright the ground of the page is, 0 to 1 (not linear: light and dark are far apart)."""
    found: float = page.evaluate(_GROUND)
    return found


def unreached(page: Page, *, at_most: int) -> list[str]:
    """Tell what the tabulator key does not reach in the order it is written (2.1.1, 2.4.3), and where one cannot see
    that it has (2.4.7, 2.4.11); of `at_most` stops, as one press takes some milliseconds."""
    stops: list[str] = page.evaluate(_STOPS)
    found = []
    for number, text in enumerate(stops[:at_most]):
        page.keyboard.press("Tab")
        at, ring, seen = page.evaluate(_AT)
        if at != str(number):
            return [*found, f"stop {number} ({text}): the key leads to {at or 'nothing'}"]
        found += [] if ring else [f"stop {number} ({text}): nothing shows that it is chosen"]
        found += [] if seen else [f"stop {number} ({text}): not in sight when it is chosen"]
    return found[:12]


def dead_ends(page: Page) -> list[str]:
    """Follow every link; tell which lead to nothing that is then shown."""
    found: list[str] = page.evaluate(_DEAD_ENDS)
    return found


def small_targets(page: Page, least_px: int) -> list[str]:
    """Tell which things to press, outside running text, are too small for a finger (2.5.5 asks for 44 px)."""
    found: list[str] = page.evaluate(_TARGETS, least_px)
    return found


def cut_in_print(page: Page, file: Path, paper: str) -> list[str]:
    """Print the page to `file`; tell what is wider than the paper, cut, not on it or too near its edge.

    What is too wide Chromium prints smaller, so it is looked for on a screen as wide as the paper between its margins.
    """
    if shutil.which("pdftotext") is None:
        pytest.skip("poppler-utils are not installed")
    width, height = PAPERS[paper]
    page.emulate_media(media="print")
    page.set_viewport_size({"width": int((width / 72 - 2 * 10 / 25.4) * 96), "height": 1000})
    wide: list[str] = page.evaluate(_OUTSIDE, True)
    cells: list[str] = page.evaluate(_CELLS)
    page.pdf(path=file, format=paper, margin=MARGINS)
    printed = _squeezed(_pdftotext(file, "-raw"))
    words = _words(_pdftotext(file, "-bbox"))
    found = [f"{text[:40]}: at {box}" for text, box in words if not _inside(box, width, height)]
    lost = [cell for cell in cells if not _is_in(cell, printed)]
    assert cells and words, "nothing was printed"
    return [*wide, *found[:6], *(f"not on paper: {cell[:80]!r}" for cell in lost[:6])]


def _is_in(text: str, printed: str) -> bool:
    """Say whether a cell was printed, in one piece or, over the end of a page, word by word."""
    return _squeezed(text) in printed or all(_squeezed(word) in printed for word in text.split())


def _squeezed(text: str) -> str:
    """Return the letters to compare: not those that run from right to left, which come out of a print in another order
    and between marks, nor wide ones, for which a bare system has no font."""
    kept = (char for char in normalize("NFKC", text) if bidirectional(char) not in ("R", "AL"))
    return "".join(
        char for char in kept if not char.isspace() and category(char) != "Cf" and east_asian_width(char) != "W"
    )


def _pdftotext(file: Path, how: str) -> str:
    return subprocess.run(
        ["pdftotext", how, "-enc", "UTF-8", file, "-"], capture_output=True, check=True, encoding="utf-8"
    ).stdout


def _words(boxes: str) -> list[tuple[str, tuple[float, ...]]]:
    word = r'<word xMin="(-?[\d.]+)" yMin="(-?[\d.]+)" xMax="(-?[\d.]+)" yMax="(-?[\d.]+)">(.*?)</word>'
    return [(unescape(text), tuple(map(float, box))) for *box, text in re.findall(word, boxes)]


def _inside(box: tuple[float, ...], width: float, height: float) -> bool:
    left, top, right, bottom = box
    return min(left, top, width - right, height - bottom) >= EDGE_PT

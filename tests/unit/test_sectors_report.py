"""The map of an archive as text, as JSON and as a picture."""

import io
import json
import xml.etree.ElementTree as ET
from fractions import Fraction

import pytest
from PIL import Image

from drill.extents import Anatomy, Extent, Part
from drill.model import Entry
from drill.radius import measure
from drill.report.sectors_picture import sectors_png, sectors_svg
from drill.report.sectors_text import sectors_text
from drill.sectorrecord import SectorMap, dump

SVG = "{http://www.w3.org/2000/svg}"


def reeds(number: int = 40, *, name: str = "reed/R{:04d}.dng", archive: str = "reed.7z") -> SectorMap:
    """Stored pictures of 10,000 bytes, one of which may cost those after it, between two headers."""
    entries = tuple(Entry(name.format(n), 10_000, index=n) for n in range(number))
    data = [Extent(32 + n * 10_000, 10_032 + n * 10_000, Part.STORED, n, (n, n + 1), (n, n + 1)) for n in range(number)]
    if number > 7:
        data[7] = Extent(data[7].start, data[7].end, Part.COMPRESSED, 7, (7, 8), (7, number))
    end = 32 + number * 10_000
    head = Extent(0, 32, Part.HEADERS, 0, (0, 0), (0, 0), "the start header")
    tail = Extent(end, end + 900, Part.HEADERS, 0, (0, number), (0, number), "the end header")
    return measure(
        Anatomy(end + 900, entries, (head, *data, tail), number * 10_000, number * 10_000),
        archive=archive,
        sector_size=4096,
    )


@pytest.mark.parametrize("width", [60, 80, 120])
@pytest.mark.parametrize("number", [0, 1, 2, 40])
def test_the_text_fits_the_terminal_and_says_what_matters(width: int, number: int) -> None:
    text = sectors_text(reeds(number), width=width)
    assert max(len(line) for line in text.splitlines()) <= width
    assert "the end header" in text and f"{number:,} file{'' if number == 1 else 's'}" in text


def test_the_text_tells_the_averages_exactly() -> None:
    found = reeds(2)
    assert found.sectors == 6  # by hand: the first two hold R0, then both, R1, R1 and the end header, the end header
    assert found.runs == ((0, 2, 2, 1, 1), (2, 1, 2, 2, 2), (3, 1, 1, 1, 1), (4, 2, 2, 2, 2))
    assert found.expected() == (Fraction(11, 6), Fraction(9, 6), Fraction(9, 6))
    text = sectors_text(found, width=300)
    assert "on average, 1.83 of 2 files" in text and "where reading goes on behind it, 1.50." in text


def test_a_worst_place_names_its_first_file_how_many_follow_and_how_many_places_are_like_it() -> None:
    text = sectors_text(reeds(), width=200)
    assert "2 files in a row, from reed/R0000.dng on; and" in text and "more places like it" in text
    assert " to reed/R" not in text


def test_of_two_bounds_the_higher_comes_first_and_is_what_to_expect() -> None:
    text = sectors_text(reeds(), width=200)
    assert "where reading goes on behind it, 1.80 to 2.77 (plan for 2.77)" in text
    assert "Files lost  Stops  At best: plan for  No fewer than" in text
    assert "plan for the higher" in text and "plan for the higher" not in sectors_text(reeds(2), width=200)


def test_no_escape_sequence_reaches_a_terminal_or_a_picture() -> None:
    found = reeds(3, name="kiln/\x1b[2J{}\u202e.dng", archive="\x1b]0;kiln\x07 & <b>.7z")
    assert "\x1b" not in sectors_text(found) and "\u202e" not in sectors_text(found)
    assert "\x1b" not in sectors_svg(found).decode()
    assert ET.fromstring(sectors_svg(found)).find(f"{SVG}title") is not None


def test_the_json_is_the_whole_record() -> None:
    found = reeds()
    value = json.loads(dump(found))
    assert value["schema"] == "restore-sectors/1"
    assert (value["sectors"], value["members"], value["size"]) == (found.sectors, 40, found.size)
    stops, least, most = found.expected()
    assert value["expected_lost"] == {"stops": float(stops), "least": float(least), "most": float(most)}
    assert sum(run[1] for run in value["runs"]) == found.sectors
    assert len(value["map"]["most"]) == found.sectors and value["map"]["headers"] == sorted(found.strip.headers)
    assert value["worst"][0]["lost"] == {"stops": 40, "least": 40, "most": 40}


@pytest.mark.parametrize("number", [0, 1, 3, 40, 400])
def test_every_cell_is_drawn_inside_the_picture_with_a_colour_of_the_legend(number: int) -> None:
    found = reeds(number)
    root = ET.fromstring(sectors_svg(found))
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    boxes = root.findall(f"{SVG}rect")[1:]
    places = [tuple(float(box.attrib[key]) for key in ("x", "y", "width", "height")) for box in boxes]
    assert all(min(x, y) >= 0 and x + w <= width and y + h <= height for x, y, w, h in places)
    cells = [box.attrib["fill"] for box in boxes if "stroke" not in box.attrib]
    legend = {box.attrib["fill"] for box in boxes if "stroke" in box.attrib}
    assert len(cells) >= len(found.strip.most) and set(cells) <= legend


def test_the_png_is_the_same_picture_at_twice_the_size() -> None:
    found = reeds()
    root = ET.fromstring(sectors_svg(found))
    with Image.open(io.BytesIO(sectors_png(found))) as image:
        assert image.size == (2 * int(root.attrib["width"]), 2 * int(root.attrib["height"]))
        for box in root.findall(f"{SVG}rect")[1:]:
            x, y, w, h = (float(box.attrib[key]) for key in ("x", "y", "width", "height"))
            if w > 2 and h > 2 and "stroke" not in box.attrib:
                red, green, blue = image.convert("RGB").getpixel((int(2 * (x + w / 4)), int(2 * (y + h / 4))))
                assert f"#{red:02x}{green:02x}{blue:02x}" == box.attrib["fill"]


def test_lines_of_text_do_not_overlap() -> None:
    """Taking 0.55 of its size for the width of a letter (Helvetica's lower case, on average; from memory)."""
    root = ET.fromstring(sectors_svg(reeds(400, archive="saltmarsh-" * 12 + ".7z")))
    boxes = []
    for words in root.findall(f"{SVG}text"):
        size, length = float(words.attrib["font-size"]), len(words.text or "")
        wide, x = 0.55 * size * length, float(words.attrib["x"])
        left = x - wide if words.attrib.get("text-anchor") == "end" else x
        baseline = float(words.attrib["y"])
        boxes.append((left, baseline - size, left + wide, baseline + size * 0.2))
        assert left >= 0 and left + wide <= 1000, words.text
    for number, one in enumerate(boxes):
        for other in boxes[number + 1 :]:
            assert one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]

"""The life of a shoot as a picture: well-formed, inside its frame, and danger drawn wherever it is."""

import io
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from forecasted import DAY, YEAR_S, forecast, life, stages
from PIL import Image

from drill.forecastrecord import Band, Forecast, LifeThen, Stretch
from drill.report.forecast_picture import WIDTH, forecast_png, forecast_svg
from drill.report.forecast_scale import ENDS, MARKS, Scale

SVG = "{http://www.w3.org/2000/svg}"
DANGER = "#b23a00"


def drawn(found: Forecast) -> ET.Element:
    return ET.fromstring(forecast_svg(found))


def texts(found: Forecast) -> list[str]:
    return [text.text or "" for text in drawn(found).iter(f"{SVG}text")]


def test_the_svg_is_well_formed_and_says_what_it_shows() -> None:
    root = drawn(forecast())
    assert root.tag == f"{SVG}svg" and root.get("width") == str(WIDTH)
    said = texts(forecast())
    assert {"card", "tablet", "archive", "cloud", "lost", "held", "failures survived"} <= set(said)
    assert "Heron Field: the first year of a shoot" in said
    assert any("measure changes" in text for text in said)  # the scale is not even, and says so


def test_scenarios_have_their_titles_and_times_their_dates() -> None:
    said = texts(replace(forecast(), zone="Europe/Lisbon"))
    assert {"The tablet is lost", "Tue 31 Mar, 09:00", "7 Apr", "only just"} <= set(said)
    assert "lost-tablet" not in said


def test_what_is_planned_in_vain_has_a_row_and_what_is_lost_says_so() -> None:
    said = texts(replace(forecast(), planned=("card", "tape")))
    assert "tape" in said and said.count("never gets a copy") == 1
    *kept, last = life().stages
    gone = replace(last, copies=(), survivable=-1, distinct=0)
    found = texts(replace(forecast(), lives=(replace(life(), stages=(*kept, gone), bands=()),)))
    assert found.count("lost") == 6 and texts(forecast()).count("never gets a copy") == 0


def test_every_shape_lies_in_the_frame() -> None:
    root = drawn(forecast())
    height = float(root.get("height", "0"))
    for rect in root.iter(f"{SVG}rect"):
        left, top, wide, tall = (float(rect.get(name, "0")) for name in ("x", "y", "width", "height"))
        assert wide > 0 and tall > 0 and left >= 0 and top >= 0
        assert left + wide <= WIDTH and top + tall <= height


def test_danger_of_a_minute_is_still_seen() -> None:
    minute = Band("kiln-fire", None, "The kiln", (Stretch(0, 60, "lost"), Stretch(60, YEAR_S, "held")))
    found = replace(forecast(), lives=(replace(life(), bands=(minute,)),))
    root = drawn(found)
    label = next(text for text in root.iter(f"{SVG}text") if text.text == "The kiln")
    row = float(label.get("y", "0"))
    wide = [
        float(rect.get("width", "0"))
        for rect in root.iter(f"{SVG}rect")
        if rect.get("fill") == DANGER and abs(float(rect.get("y", "0")) + 13 - row) < 2
    ]
    assert wide == [4.0]


def test_a_scenario_that_is_about_nothing_is_left_out_and_no_name_breaks_the_picture() -> None:
    never = Band("comet", None, "A comet", (Stretch(0, YEAR_S, "not about it"),))
    names = Band("<&\x1b\ud800" * 40, None, "Odd", (Stretch(0, YEAR_S, "lost"),))
    found = replace(forecast(), studio="<&\x1b" * 60, lives=(replace(life(), bands=(never, names)),))
    assert "comet" not in texts(found)
    assert forecast_png(found)


@pytest.mark.parametrize("lives", [0, 1, 2])
def test_the_png_opens_at_twice_the_size(lives: int) -> None:
    found = replace(forecast(), lives=(life(),) * lives)
    with Image.open(io.BytesIO(forecast_png(found))) as image:
        image.load()
        assert image.width == 2 * WIDTH and image.height == 2 * int(float(drawn(found).get("height", "0")))


def test_a_proof_is_drawn_as_a_line_through_the_bar() -> None:
    def lines(found: Forecast) -> int:
        return sum(rect.get("height") == "3" for rect in drawn(found).iter(f"{SVG}rect"))

    def unproven(one: LifeThen) -> LifeThen:
        kept = [
            replace(stage, copies=tuple(replace(copy, verified=False) for copy in stage.copies)) for stage in stages()
        ]
        return replace(one, stages=tuple(kept))

    assert lines(forecast()) == 3 and lines(replace(forecast(), lives=(unproven(life()),))) == 1  # one in the legend


def test_the_scale_rises_from_the_first_picture_to_the_end_of_the_year() -> None:
    scale = Scale(100, 800)
    moments = [0, 60, DAY / 2, *ENDS, 400 * DAY]
    places = [scale.x(moment) for moment in sorted(moments)]
    assert places == sorted(places) and (places[0], places[-1]) == (100, 900)
    assert [scale.x(end) for end in ENDS] == [300, 500, 700, 900]
    assert all(100 <= scale.x(after) <= 900 for after, _ in MARKS)

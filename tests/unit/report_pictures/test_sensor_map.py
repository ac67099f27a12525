"""The sensor map: every mark where it lies, true proportions, nothing from a file run as markup."""

from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from PIL import Image

from motemap.coords import FrameGeometry, FramePoint, SensorPoint
from motemap.errors import OutputError
from motemap.place import HOLDS, Hold, held_size, to_hold, to_sensor
from motemap.records import Camera, FrameReport, Sensitivity, Spot
from motemap.report.pictures.palette import LIGHT, Tone, contrast_ratio
from motemap.report.pictures.sensor_map import sensor_map_png, sensor_map_svg
from motemap.settings import WorkSettings
from picturing.bench import (
    FULL_FRAME,
    MEDIUM,
    SMALL,
    Chip,
    dusty,
    mark,
    numbered,
    report,
    sizeless,
    spoiled,
    turned,
    unreadable,
)

SVG = "{http://www.w3.org/2000/svg}"
ROUNDING_UM = 0.051
"""Coordinates in the file have one decimal: half a step, and a trifle for the sum."""


def marks_of(svg: str) -> dict[int, ET.Element]:
    root = ET.fromstring(svg.encode())
    return {
        int(element.attrib["id"].removeprefix("mark-")): element
        for element in root.iter(f"{SVG}g")
        if element.attrib.get("id", "").startswith("mark-")
    }


def place_of(element: ET.Element) -> tuple[float, float]:
    """Return the middle of a mark's own figure: the first circle, else that of its points."""
    circle = element.find(f"{SVG}circle")
    if circle is not None:
        return float(circle.attrib["cx"]), float(circle.attrib["cy"])
    shape = element.find(f"{SVG}polygon")
    assert shape is not None
    points = [tuple(map(float, pair.split(","))) for pair in shape.attrib["points"].split()]
    return (
        (min(p[0] for p in points) + max(p[0] for p in points)) / 2,
        (min(p[1] for p in points) + max(p[1] for p in points)) / 2,
    )


def specks_of(frame: FrameReport) -> list[Spot]:
    return [spot for spot in frame.spots if spot.kind == "speck" and spot.layer == "filter stack"]


def test_the_worked_example_of_the_coordinates_lies_where_it_must() -> None:
    geometry = FrameGeometry(height_px=4000, width_px=6000, pitch_um=6.0)
    there = to_sensor(FramePoint(row_px=500, col_px=1000), geometry)
    frame = report(numbered([mark(there.from_left_mm, there.from_top_mm, 60.0)]))
    (element,) = marks_of(sensor_map_svg(frame)).values()
    assert place_of(element) == (6003.0, 20997.0)


@pytest.mark.parametrize("hold", HOLDS, ids=lambda hold: hold.name)
def test_every_mark_is_drawn_at_its_place_on_the_sensor_as_held(hold: Hold) -> None:
    frame = dusty(60)
    assert frame.sensor is not None
    drawn = marks_of(sensor_map_svg(frame, hold=hold))
    assert drawn.keys() == {spot.id for spot in frame.spots}
    for spot in specks_of(frame):
        assert spot.from_left_mm is not None
        assert spot.from_top_mm is not None
        seen = to_hold(
            SensorPoint(from_left_mm=spot.from_left_mm, from_top_mm=spot.from_top_mm),
            frame.sensor,
            hold,
        )
        wanted_um = (seen.from_left_mm * 1000, seen.from_top_mm * 1000)
        assert place_of(drawn[spot.id]) == pytest.approx(wanted_um, abs=ROUNDING_UM)


@pytest.mark.parametrize("hold", HOLDS, ids=lambda hold: hold.name)
@pytest.mark.parametrize("chip", [FULL_FRAME, MEDIUM, SMALL], ids=lambda chip: chip.name)
def test_the_plate_has_the_true_proportion_of_the_sensor(chip: object, hold: Hold) -> None:
    assert isinstance(chip, type(FULL_FRAME))
    frame = dusty(1, chip=chip)
    assert frame.sensor is not None
    root = ET.fromstring(sensor_map_svg(frame, hold=hold).encode())
    width_mm, height_mm = held_size(frame.sensor, hold)
    plates = [
        element
        for element in root.iter(f"{SVG}rect")
        if (element.attrib["x"], element.attrib["y"]) == ("0", "0")
    ]
    assert plates
    for plate in plates:
        assert float(plate.attrib["width"]) == pytest.approx(width_mm * 1000)
        assert float(plate.attrib["height"]) == pytest.approx(height_mm * 1000)
    left, top, width, height = map(float, root.attrib["viewBox"].split())
    assert left < 0 < left + width - width_mm * 1000
    assert top < 0 < top + height - height_mm * 1000


@pytest.mark.parametrize(
    ("chip", "swab_mm", "n_passes"),
    [(FULL_FRAME, 24, 1), (SMALL, 9, 1), (MEDIUM, 24, 2)],
    ids=["full frame", "1-inch", "44x33"],
)
def test_the_swab_is_drawn_to_the_scale_of_the_sensor(
    chip: object, swab_mm: int, n_passes: int
) -> None:
    assert isinstance(chip, type(FULL_FRAME))
    root = ET.fromstring(sensor_map_svg(dusty(12, chip=chip)).encode())
    heads = [
        element for element in root.iter(f"{SVG}rect") if element.attrib["fill"] == LIGHT[Tone.SWAB]
    ]
    assert [float(head.attrib["height"]) for head in heads] == [swab_mm * 1000] * n_passes
    # Together the passes cover the short side, and none leaves it by more than half a millimetre.
    tops = [float(head.attrib["y"]) for head in heads]
    assert min(tops) <= 100
    assert max(tops) + swab_mm * 1000 >= chip.height_mm * 1000 - 100
    assert max(tops) + swab_mm * 1000 <= chip.height_mm * 1000 + 500


def test_what_was_not_looked_at_is_not_called_clean() -> None:
    unfit = replace(spoiled(dusty(0)), sensitivity=Sensitivity())
    svg = sensor_map_svg(unfit)
    assert "No mark found" not in svg
    assert "Not fit to look for marks in" in svg
    assert "swab" not in svg.lower().replace(LIGHT[Tone.SWAB], "")


def test_a_clean_sensor_needs_no_swab() -> None:
    svg = sensor_map_svg(dusty(0))
    assert "No mark found" in svg
    assert "swab" not in svg.lower().replace(LIGHT[Tone.SWAB], "")


def test_what_shows_differs_in_fill_in_shape_and_in_grey() -> None:
    frame = report(numbered([mark(10, 10, 60), mark(20, 10, 8)]))
    showing, resting = (marks_of(sensor_map_svg(frame))[number] for number in (1, 2))
    one, other = showing.find(f"{SVG}circle"), resting.find(f"{SVG}circle")
    assert one is not None
    assert other is not None
    assert one.attrib["fill"] == LIGHT[Tone.SHOWS]
    assert other.attrib["fill"] == "none"
    # Four ticks and the line to the number, against the line alone.
    assert len(showing.findall(f"{SVG}polyline")) == 5
    assert len(resting.findall(f"{SVG}polyline")) == 1
    assert contrast_ratio(LIGHT[Tone.SHOWS], LIGHT[Tone.PLATE]) > 6
    assert contrast_ratio(LIGHT[Tone.SHOWS], LIGHT[Tone.REST]) > 1.25


def test_the_aperture_decides_what_shows() -> None:
    frame = dusty(60)
    headlines = {
        f_number: re.search(
            r"\d+ of 59 marks would show",
            sensor_map_svg(frame, work=WorkSettings(shoot_at_f=f_number)),
        )
        for f_number in (5.6, 11.0, 22.0)
    }
    counts = [int(found.group().split()[0]) for found in headlines.values() if found]
    assert counts == sorted(counts)
    assert counts[0] < counts[1] < counts[2]


@pytest.mark.parametrize("number", range(1, 7))
def test_numbers_are_those_of_the_table(number: int) -> None:
    frame = dusty(6)
    element = marks_of(sensor_map_svg(frame))[number]
    texts = [text.text for text in element.iter(f"{SVG}text")]
    spot = frame.spots[number - 1]
    assert texts == ([] if spot.layer == "lens side" else [str(number)])
    title = element.find(f"{SVG}title")
    assert title is not None
    assert (title.text or "").startswith(f"Mark {number}: {spot.kind}")


HOSTILE = "\"><script>alert(1)</script><svg onload='x'>&amp;\x00\x1b[31m\u202e\ufffe"


def test_names_from_files_stay_text() -> None:
    frame = dusty(
        12,
        file=f"trip/{HOSTILE}.DNG",
        camera=Camera(maker=HOSTILE, model=HOSTILE, serial=HOSTILE, lens=HOSTILE),
    )
    svg = sensor_map_svg(frame)
    root = ET.fromstring(svg.encode())
    assert {element.tag for element in root.iter()} <= {
        f"{SVG}{name}"
        for name in (
            "svg", "title", "desc", "g", "rect", "circle", "polyline", "polygon", "text",
        )
    }  # fmt: skip
    assert not any(name.startswith("on") for element in root.iter() for name in element.attrib)
    text = "".join(root.itertext())
    assert "<script>alert(1)</script>" in text
    assert r"\x00\x1b[31m\u202e\ufffe" in text
    assert all(letter >= " " or letter == "\n" for letter in svg)


@pytest.mark.parametrize("chip", [FULL_FRAME, MEDIUM, SMALL], ids=lambda chip: chip.name)
def test_the_ruler_says_what_it_counts(chip: Chip) -> None:
    assert re.findall(r">([25] mm)<", sensor_map_svg(dusty(3, chip=chip))) in (["2 mm"], ["5 mm"])
    assert re.findall(r">(\d+ px)<", sensor_map_svg(turned(dusty(3)))) == ["1000 px"]


def test_the_same_report_gives_the_same_bytes() -> None:
    assert sensor_map_svg(dusty(60)) == sensor_map_svg(dusty(60))
    assert sensor_map_png(dusty(12), width_px=600) == sensor_map_png(dusty(12), width_px=600)


def test_a_picture_without_a_place_on_the_sensor_is_drawn_as_stored() -> None:
    frame = turned(dusty(12))
    svg = sensor_map_svg(frame)
    assert "place on the sensor is unknown" in " ".join(
        "".join(ET.fromstring(svg.encode()).itertext()).split()
    )
    assert "top plate" not in svg
    assert "swab" not in svg.lower().replace("clean: wet swab", "")
    drawn = marks_of(svg)
    for spot in specks_of(frame):
        wanted_px = (spot.image_x_px + 0.5, spot.image_y_px + 0.5)
        assert place_of(drawn[spot.id]) == pytest.approx(wanted_px, abs=ROUNDING_UM)


def test_nothing_is_made_up_about_an_unknown_sensor() -> None:
    svg = sensor_map_svg(sizeless(dusty(3)))
    assert "from which aperture they show is unknown" in svg
    assert "times their size" not in svg
    assert " mm" not in re.sub(r'width="[^"]*"|height="[^"]*"', "", svg)


def test_a_spoiled_shot_says_so_first() -> None:
    root = ET.fromstring(sensor_map_svg(spoiled(dusty(3))).encode())
    assert next(root.iter(f"{SVG}text")).text == "Shoot again"


def test_there_is_no_map_of_a_file_that_could_not_be_read() -> None:
    with pytest.raises(OutputError, match="nothing to draw") as caught:
        sensor_map_svg(unreadable())
    assert caught.value.path == "bench/MOTE0413.DNG"


@pytest.mark.parametrize("hold", [HOLDS[0], HOLDS[3], HOLDS[4]], ids=lambda hold: hold.name)
def test_the_pixel_picture_shows_the_same(hold: Hold) -> None:
    frame = report(numbered([mark(9.0, 6.0, 120.0), mark(30.0, 21.0, 8.0)]))
    assert frame.sensor is not None
    width_px = 900
    picture = Image.open(io.BytesIO(sensor_map_png(frame, hold=hold, width_px=width_px)))
    root = ET.fromstring(sensor_map_svg(frame, hold=hold).encode())
    left, top, width, height = map(float, root.attrib["viewBox"].split())
    assert picture.size == (width_px, round(height * width_px / width))
    seen = to_hold(SensorPoint(from_left_mm=9.0, from_top_mm=6.0), frame.sensor, hold)
    place = (
        round((seen.from_left_mm * 1000 - left) * width_px / width),
        round((seen.from_top_mm * 1000 - top) * width_px / width),
    )
    wanted = tuple(int(LIGHT[Tone.SHOWS][at : at + 2], 16) for at in (1, 3, 5))
    assert picture.getpixel(place) == wanted


def test_letters_unknown_to_the_pixel_font_do_no_harm() -> None:
    frame = replace(dusty(1), camera=Camera(maker="Ларкспур", model="型番 µé", serial="№7"))
    assert sensor_map_png(frame, width_px=300).startswith(b"\x89PNG")


def test_the_lead_is_never_cut_short() -> None:
    for frame in (turned(dusty(60)), dusty(60, chip=SMALL)):
        assert re.search(
            r"\d+ of 59 marks would show at f/11; 1 more on the lens<", sensor_map_svg(frame)
        )

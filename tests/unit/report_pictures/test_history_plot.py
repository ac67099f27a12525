"""The course of a body."""

import itertools
import re
import xml.etree.ElementTree as ET

import pytest

from motemap.report.pictures.history_plot import (
    HEIGHT,
    LEAST_GAP_FRAC,
    WIDTH,
    CoursePoint,
    history_plot_svg,
)
from motemap.report.pictures.palette import LIGHT, Tone

SVG = "{http://www.w3.org/2000/svg}"

COURSE = (
    CoursePoint(taken_at="2030-03-01T10:00:00", n_showing=2, n_found=9),
    CoursePoint(taken_at="2030-07-11T10:00:00", n_showing=6, n_found=19),
    CoursePoint(taken_at="2030-11-20T10:00:00", n_showing=17, n_found=41),
    CoursePoint(taken_at="2030-11-20T10:20:00", n_showing=5, n_found=12, done=("blower",)),
    CoursePoint(taken_at="2030-11-20T10:45:00", n_showing=1, n_found=3, done=("wet swab",)),
    CoursePoint(taken_at="2031-05-04T10:20:30+02:00", n_showing=7),
)


def plot(rows: tuple[CoursePoint, ...] = COURSE, body: str = "Larkspur L-2, LK00412") -> ET.Element:
    return ET.fromstring(history_plot_svg(rows, body=body, shoot_at_f=11.0).encode())


def dots(root: ET.Element) -> list[tuple[float, float]]:
    return [
        (float(circle.attrib["cx"]), float(circle.attrib["cy"]))
        for group in root.iter(f"{SVG}g")
        for circle in group.iter(f"{SVG}circle")
        if circle.attrib["fill"] == LIGHT[Tone.SHOWS]
    ]


def test_dots_lie_as_high_as_they_count() -> None:
    root = plot()
    downs = [down for _, down in dots(root)]
    top = next(
        int(text.text or "0")
        for text in root.iter(f"{SVG}text")
        if text.attrib.get("text-anchor") == "end" and float(text.attrib["y"]) < 20
    )
    for row, down in zip(COURSE, downs, strict=True):
        # One decimal in the file.
        assert down == pytest.approx(HEIGHT * (1 - row.n_showing / top), abs=0.06)


def test_time_runs_to_the_right_and_an_evening_is_spread_out() -> None:
    rights = [right for right, _ in dots(plot())]
    gaps = [late - soon for soon, late in itertools.pairwise(rights)]
    assert min(gaps) >= 0.6 * LEAST_GAP_FRAC * WIDTH
    # 132 and 132 days apart, then minutes, then 165 days.
    assert gaps[0] == pytest.approx(gaps[1], rel=0.01)
    assert gaps[4] / gaps[0] == pytest.approx(165 / 132, rel=0.01)
    assert rights[0] > 0
    assert rights[-1] < WIDTH


def test_the_order_of_the_rows_does_not_matter() -> None:
    assert history_plot_svg(COURSE[::-1], body="L-2", shoot_at_f=11.0) == history_plot_svg(
        COURSE, body="L-2", shoot_at_f=11.0
    )


def test_cleanings_are_marked_between_the_shots_round_them() -> None:
    root = plot()
    rights = [right for right, _ in dots(root)]
    lines = [
        float(line.attrib["points"].split(",")[0])
        for line in root.iter(f"{SVG}polyline")
        if "stroke-dasharray" in line.attrib and float(line.attrib["points"].split(",")[-1]) > 0
    ]
    assert len(lines) == 2
    assert rights[2] < lines[0] < rights[3] < lines[1] < rights[4]
    texts = {text.text for text in root.iter(f"{SVG}text")}
    assert {"blower", "wet swab"} <= texts


def test_days_do_not_run_into_each_other() -> None:
    days = [
        float(text.attrib["x"])
        for text in plot().iter(f"{SVG}text")
        if re.fullmatch(r"\d{4}-\d\d-\d\d", text.text or "")
    ]
    assert len(days) >= 3
    assert all(late - soon > 100 for soon, late in itertools.pairwise(days))


def test_a_time_that_cannot_be_read_does_no_harm() -> None:
    odd = CoursePoint(taken_at="2030-05-99 nonsense", n_showing=3)
    assert len(dots(plot((*COURSE, odd)))) == len(COURSE) + 1
    assert len(dots(plot((odd,)))) == 1


@pytest.mark.parametrize("rows", [(), COURSE[:1]], ids=["none", "one"])
def test_short_courses_are_drawn_too(rows: tuple[CoursePoint, ...]) -> None:
    assert len(dots(plot(rows))) == len(rows)


def test_a_bodys_name_stays_text() -> None:
    root = plot(body='<script>"&')
    assert not list(root.iter(f"{SVG}script"))
    assert '<script>"&' in "".join(root.itertext())

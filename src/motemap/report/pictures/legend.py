"""What the signs on a map mean: only those that are on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from motemap.report.pictures import glyphs
from motemap.report.pictures.marks import (
    CURL_HEIGHT_FRAC,
    N_CROWDED,
    SMALLEST_RADIUS_UNITS,
    is_area,
    magnification_for,
)
from motemap.report.pictures.palette import Tone
from motemap.report.pictures.scene import CAP_FRAC, Circle, Paint, Words, words_width
from motemap.report.pictures.words import SEEN_WORDS, length_words
from motemap.showing import aperture_words, is_forecast, is_on_sensor, told_showing

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from motemap.records import FrameReport, Spot
    from motemap.report.pictures.column import Column
    from motemap.report.pictures.plate import Plate
    from motemap.report.pictures.scene import Point, Shape
    from motemap.settings import WorkSettings

    Draw = Callable[[Point], Iterable[Shape]]

SAMPLE_RADIUS_UNITS = 0.8
LENS_HALF_SIZE_UNITS = (2.2, 1.1)
ROOM_UNITS = 6.4
ROW_UNITS = 3.0
TALL_ROW_UNITS = 4.8
SAMPLE_SIZES_UM = (20.0, 50.0, 100.0, 200.0, 500.0)
WIDEST_SAMPLE_UNITS = 3.2
MOST_SAMPLES = 3


def add_signs(column: Column, shown: Iterable[tuple[Draw, str, bool]], unit: float) -> None:
    """Add a row for every sign: how it is drawn, what it means, whether it needs a tall row."""
    for draw, text, is_tall in shown:
        height = (TALL_ROW_UNITS if is_tall else ROW_UNITS) * unit
        column.sample(draw, text, room=ROOM_UNITS * unit, height=height)


def signs(report: FrameReport, unit: float, work: WorkSettings) -> Iterable[tuple[Draw, str, bool]]:
    """Yield for each sign how it is drawn, what it means, and whether it needs a tall row."""
    spots, has_forecast = report.spots, is_forecast(report.spots)
    n_showing = len(told_showing(report, work))
    n_lens = sum(not is_on_sensor(spot) for spot in spots)
    n_rest = len(spots) - n_showing - n_lens
    if n_showing:
        is_short = n_showing > N_CROWDED
        text = f"shows at {aperture_words(work, has_forecast=has_forecast)} ({n_showing})"
        yield showing_sign(unit, is_short=is_short), text, not is_short
    if n_rest:
        told = "found, does not show" if has_forecast else "found"
        hidden = told if report.state == "judged" else SEEN_WORDS
        yield _resting(unit), f"{hidden} ({n_rest})", False
    on_sensor = [spot for spot in spots if is_on_sensor(spot)]
    if any(spot.kind == "fibre" for spot in on_sensor):
        yield _fibre(unit), "fibre, drawn curled", False
    if any(spot.kind == "droplet" for spot in on_sensor):
        yield _droplet(unit), "droplet", False
    if any(spot.layer == "inside" for spot in on_sensor):
        yield _inside(unit), "under the glass: no cleaning reaches it", False
    if any(spot.kind == "smear" for spot in on_sensor):
        yield _smear(unit), "smear, at its own size", False
    if n_lens:
        yield _lens(unit), f"on the lens, not the sensor ({n_lens})", False


def showing_sign(unit: float, *, is_short: bool) -> Draw:
    """Return how to draw the sign of a mark that shows."""
    radius = SAMPLE_RADIUS_UNITS * unit
    return lambda at: (
        glyphs.speck(at, radius, unit, is_shown=True),
        *glyphs.ticks(at, (radius, radius), unit, is_short=is_short),
    )


def _resting(unit: float) -> Draw:
    return lambda at: (glyphs.speck(at, SAMPLE_RADIUS_UNITS * unit, unit, is_shown=False),)


def _fibre(unit: float) -> Draw:
    half_size = (2.0 * unit, 2.0 * unit * CURL_HEIGHT_FRAC)
    return lambda at: (glyphs.fibre(at, half_size, 0.3 * unit, unit, is_shown=False),)


def _droplet(unit: float) -> Draw:
    return lambda at: glyphs.droplet(at, SAMPLE_RADIUS_UNITS * unit, unit, is_shown=False)


def _inside(unit: float) -> Draw:
    return lambda at: (
        glyphs.square(at, SAMPLE_RADIUS_UNITS * unit, glyphs.body_paint(unit, is_shown=False)),
    )


def _smear(unit: float) -> Draw:
    dash = (1.1 * unit, 0.6 * unit)
    paint = Paint(line=Tone.REST, line_width=glyphs.LINE_UNITS * unit, dash=dash)
    return lambda at: (glyphs.oval(at, 2.2 * unit, 1.1 * unit, paint),)


def _lens(unit: float) -> Draw:
    half_size = lens_half_size(unit)
    return lambda at: (glyphs.lens_oval(at, half_size, unit),)


def lens_half_size(unit: float) -> tuple[float, float]:
    """Return half the width and height of the sample of a mark on the lens [scene units]."""
    return LENS_HALF_SIZE_UNITS[0] * unit, LENS_HALF_SIZE_UNITS[1] * unit


def scale_words(
    spots: Sequence[Spot], plate: Plate, *, smallest_units: float = SMALLEST_RADIUS_UNITS
) -> str:
    """Return how large marks are drawn; empty where that is unknown or there is none."""
    if plate.per_um is None or not any(not is_area(spot) for spot in spots):
        return ""
    magnification = magnification_for(spots, plate)
    smallest = length_words(_smallest_um(plate, magnification, smallest_units))
    return f"Marks drawn at {magnification:g} times their size; the smallest is {smallest} or less"


def _smallest_um(
    plate: Plate, magnification: float, smallest_units: float = SMALLEST_RADIUS_UNITS
) -> float:
    """Return the size of what the smallest sign stands for [um]."""
    return 2 * smallest_units * plate.unit / ((plate.per_um or 1.0) * magnification)


def add_scale(
    column: Column,
    spots: Sequence[Spot],
    plate: Plate,
    say: Callable[[Sequence[Spot], Plate], str] = scale_words,
) -> None:
    """Add what the drawn size of a mark means, as `say` puts it, and samples of sizes."""
    said = say(spots, plate)
    if not said or plate.per_um is None:
        return
    magnification = magnification_for(spots, plate)
    per_um = plate.per_um * magnification
    sizes_um = [
        size_um
        for size_um in SAMPLE_SIZES_UM
        if size_um > _smallest_um(plate, magnification)
        and per_um * size_um <= WIDEST_SAMPLE_UNITS * plate.unit
    ]
    column.text(said, tone=Tone.QUIET)
    _add_samples(column, sizes_um[-MOST_SAMPLES:], per_um, plate.unit)


def _add_samples(column: Column, sizes_um: Sequence[float], per_um: float, unit: float) -> None:
    if not sizes_um:
        return
    tall = max(per_um * sizes_um[-1], column.type_height) + 0.8 * unit
    right, middle = column.left, column.down + tall / 2
    for size_um in sizes_um:
        radius, text = per_um * size_um / 2, length_words(size_um)
        paint = Paint(line=Tone.INK, line_width=glyphs.LINE_UNITS * unit)
        column.shapes.append(Circle(centre=(right + radius, middle), radius=radius, paint=paint))
        right += 2 * radius + 0.7 * unit
        at = (right, middle + CAP_FRAC * column.type_height)
        column.shapes.append(Words(at=at, text=text, height=column.type_height, tone=Tone.INK))
        right += words_width(text, column.type_height) + 1.2 * unit
    column.down += tall

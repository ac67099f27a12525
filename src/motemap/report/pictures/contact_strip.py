"""The contact strip as one picture: tiles side by side, each with its scale and its caption."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from motemap.report.pictures.palette import Tone
from motemap.report.pictures.raster import png_bytes
from motemap.report.pictures.scene import Box, Paint, Photo, Sheet, Trace, Words, words_width
from motemap.report.pictures.words import (
    camera_words,
    length_words,
    shorten,
    shot_words,
    shows_from_words,
    what_words,
)
from motemap.report.words import say_percent

if TYPE_CHECKING:
    from collections.abc import Iterable

    from motemap.records import FrameReport
    from motemap.report.pictures.scene import Point, Shape
    from motemap.report.pictures.strip import Strip, Tile

SIDE: Final = 100.0
GAP: Final = 12.0
CAPTION: Final = 36.0
HEAD: Final = 30.0
TYPE: Final = 8.2
"""Measures of the strip, in hundredths of a tile's side."""

FEWEST_COLUMNS: Final = 4
MOST_COLUMNS: Final = 6
PX_PER_TILE: Final = 240
BAR_SHARE: Final = 0.36
"""Longest a scale bar may be, as a share of a tile's side."""

BARS: Final = (5, 10, 20, 50, 100, 200, 500, 1000, 2000)
"""Lengths a scale bar may have, in the unit of the tile."""


def contact_strip_png(report: FrameReport, strip: Strip) -> bytes:
    """Return the worst marks as a PNG file; one empty line says so when there is none."""
    sheet = strip_sheet(report, strip)
    return png_bytes(sheet, width_px=round(sheet.width / SIDE * PX_PER_TILE))


def strip_sheet(report: FrameReport, strip: Strip) -> Sheet:
    """Return the sheet behind the strip."""
    n_columns = min(max(len(strip.tiles), FEWEST_COLUMNS), MOST_COLUMNS)
    n_rows = max(math.ceil(len(strip.tiles) / n_columns), 1)
    shapes: list[Shape] = list(_head(report, strip))
    for count, tile in enumerate(strip.tiles):
        row, column = divmod(count, n_columns)
        corner = (column * (SIDE + GAP), row * (SIDE + CAPTION))
        shapes.extend(tile_shapes(tile, corner))
        shapes.extend(_caption(tile, corner))
    return Sheet(
        left=-GAP,
        top=-HEAD - GAP,
        width=n_columns * (SIDE + GAP) + GAP,
        height=HEAD + GAP + (n_rows * (SIDE + CAPTION) if strip.tiles else GAP),
        title=f"The worst marks of {shot_words(report)}",
        summary=strip_words(strip),
        shapes=tuple(shapes),
    )


def strip_words(strip: Strip) -> str:
    """Return how the tiles are to be read."""
    if not strip.tiles:
        return "No mark found"
    black = say_percent(strip.black_frac)
    return f"Turned as on the map; black is {black} lost; a shadow is wider than its dust"


def _head(report: FrameReport, strip: Strip) -> tuple[Shape, ...]:
    n_columns = max(len(strip.tiles), FEWEST_COLUMNS)
    n_letters = int(min(n_columns, MOST_COLUMNS) * (SIDE + GAP) / words_width("x", TYPE))
    rows = (
        (f"{camera_words(report.camera)}: {shot_words(report)}", Tone.INK),
        (strip_words(strip), Tone.QUIET),
    )
    return _lines(
        ((shorten(text, n_letters), tone) for text, tone in rows), (0.0, -HEAD - 2.0), 1.4
    )


def _caption(tile: Tile, corner: Point) -> tuple[Shape, ...]:
    left, top = corner
    spot = tile.spot
    rows = (
        (f"{spot.id}  {what_words(spot)}", Tone.INK),
        (f"depth {say_percent(spot.depth_frac)}, from {shows_from_words(spot)}", Tone.QUIET),
    )
    return _lines(rows, (left, top + SIDE), 1.35)


def _lines(rows: Iterable[tuple[str, Tone]], corner: Point, line_frac: float) -> tuple[Shape, ...]:
    """Return lines of text below a corner, the first one bold; `line_frac` is their distance."""
    left, top = corner
    return tuple(
        Words(
            at=(left, top + (count + 1) * TYPE * line_frac),
            text=text,
            height=TYPE,
            tone=tone,
            is_bold=count == 0,
        )
        for count, (text, tone) in enumerate(rows)
    )


def tile_shapes(tile: Tile, corner: Point) -> tuple[Shape, ...]:
    """Return a tile with its scale bar."""
    left, top = corner
    length, text = scale_bar(tile)
    bar = length / tile.field * SIDE
    width = max(bar, words_width(text, TYPE)) + 6.0
    height = TYPE + 8.0
    base = top + SIDE - 2.0
    return (
        Photo(left=left, top=top, side=SIDE, grey=tile.grey),
        Box(
            left=left, top=top, width=SIDE, height=SIDE, paint=Paint(line=Tone.INK, line_width=0.7)
        ),
        Box(
            left=left + 2.0,
            top=base - height,
            width=width,
            height=height,
            corner=2.0,
            paint=Paint(fill=Tone.PAPER),
        ),
        Trace(
            points=((left + 5.0, base - 3.0), (left + 5.0 + bar, base - 3.0)),
            paint=Paint(line=Tone.INK, line_width=1.6),
        ),
        Words(at=(left + 5.0, base - 6.0), text=text, height=TYPE, tone=Tone.INK),
    )


def tile_sheet(tile: Tile) -> Sheet:
    """Return one tile as a sheet of its own, for a page that sets the caption itself."""
    words = f"Mark {tile.spot.id}, magnified"
    return Sheet(
        left=0.0,
        top=0.0,
        width=SIDE,
        height=SIDE,
        title=words,
        summary=words,
        shapes=tile_shapes(tile, (0.0, 0.0)),
    )


def scale_bar(tile: Tile) -> tuple[float, str]:
    """Return length and name of a scale bar that fits a tile."""
    fitting = [length for length in BARS if length <= tile.field * BAR_SHARE]
    length = float(fitting[-1] if fitting else BARS[0])
    return length, length_words(length) if tile.is_um else f"{length:.0f} px"

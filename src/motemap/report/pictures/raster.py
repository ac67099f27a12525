"""A sheet drawn in pixels with Pillow."""

from __future__ import annotations

import base64
import io
import itertools
import math
from typing import TYPE_CHECKING

from PIL import Image, ImageDraw, ImageFont

from motemap.report.pictures.palette import LIGHT, Tone
from motemap.report.pictures.scene import Box, Circle, Cluster, Photo, Trace, Words

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import numpy as np
    from numpy.typing import NDArray

    from motemap.report.pictures.scene import Paint, Point, Shape, Sheet

OVERSAMPLING = 2
"""Sheets are drawn this many times larger and then reduced, which smooths every edge."""

CIRCLE_STEPS = 90

STAND_INS = str.maketrans({"µ": "u", "\N{NO-BREAK SPACE}": " "})
"""Pillow's own type face knows basic Latin letters only."""

LAST_BASIC = 0x7E
ANCHORS = {"start": "ls", "middle": "ms", "end": "rs"}
BOLD_FRAC = 0.03
"""The face has no bold cut; setting it twice, this share of the type size apart, makes one."""


def png_bytes(sheet: Sheet, *, width_px: int) -> bytes:
    """Return `sheet` as a PNG file `width_px` wide."""
    scale = width_px * OVERSAMPLING / sheet.width
    height_px = max(round(sheet.height * width_px / sheet.width), 1)
    size = (width_px * OVERSAMPLING, height_px * OVERSAMPLING)
    image = Image.new("RGB", size, LIGHT[Tone.PAPER])
    canvas = _Canvas(image, sheet.left, sheet.top, scale)
    for shape in sheet.shapes:
        canvas.draw(shape)
    small = image.reduce(OVERSAMPLING)
    stream = io.BytesIO()
    dots_per_inch = width_px / sheet.print_width_mm * 25.4
    small.save(stream, format="PNG", dpi=(dots_per_inch, dots_per_inch))
    return stream.getvalue()


def grey_png_uri(grey: NDArray[np.uint8]) -> str:
    """Return a grey picture as a ``data:`` address."""
    stream = io.BytesIO()
    Image.fromarray(grey).save(stream, format="PNG", optimize=True)
    return "data:image/png;base64," + base64.b64encode(stream.getvalue()).decode("ascii")


def basic_latin(text: str) -> str:
    """Return `text` in letters that Pillow's own type face has.

    >>> basic_latin("19 µm é")
    '19 um ?'
    """
    letters = text.translate(STAND_INS)
    return "".join(letter if " " <= letter <= chr(LAST_BASIC) else "?" for letter in letters)


class _Canvas:
    """Draws shapes, given in scene units, on a picture of so many pixels a unit."""

    def __init__(self, image: Image.Image, left: float, top: float, scale: float) -> None:
        self._image = image
        self._draw = ImageDraw.Draw(image)
        self._left = left
        self._top = top
        self._scale = scale

    def draw(self, shape: Shape) -> None:
        match shape:
            case Circle():
                self._outline(_round(shape.centre, shape.radius), shape.paint, is_closed=True)
            case Box():
                self._box(shape)
            case Trace():
                self._outline(shape.points, shape.paint, is_closed=shape.is_closed)
            case Words():
                self._words(shape)
            case Cluster():
                for part in shape.shapes:
                    self.draw(part)
            case Photo():
                self._photo(shape)

    def _pixels(self, points: Sequence[Point]) -> list[Point]:
        return [
            ((right - self._left) * self._scale, (down - self._top) * self._scale)
            for right, down in points
        ]

    def _outline(self, points: Sequence[Point], paint: Paint, *, is_closed: bool) -> None:
        pixels = self._pixels(points)
        if paint.fill and is_closed:
            self._draw.polygon(pixels, fill=LIGHT[paint.fill])
        if paint.line:
            path = [*pixels, pixels[0]] if is_closed else pixels
            self._stroke(path, paint)

    def _stroke(self, path: Sequence[Point], paint: Paint) -> None:
        width = max(round(paint.line_width * self._scale), 1)
        colour = LIGHT[paint.line or Tone.INK]
        dash = [length * self._scale for length in paint.dash]
        for piece in _dashed(path, dash) if dash else [path]:
            self._draw.line(list(piece), fill=colour, width=width, joint="curve")
            self._caps(piece, width / 2, colour)

    def _caps(self, piece: Sequence[Point], radius: float, colour: str) -> None:
        # Round ends, as in the SVG; below two pixels nobody sees them.
        if radius <= 1:
            return
        for right, down in (piece[0], piece[-1]):
            box = (right - radius, down - radius, right + radius, down + radius)
            self._draw.ellipse(box, fill=colour)

    def _box(self, shape: Box) -> None:
        corners = self._pixels(
            ((shape.left, shape.top), (shape.left + shape.width, shape.top + shape.height))
        )
        width = round(shape.paint.line_width * self._scale)
        self._draw.rounded_rectangle(
            (*corners[0], *corners[1]),
            radius=shape.corner * self._scale,
            fill=LIGHT[shape.paint.fill] if shape.paint.fill else None,
            outline=LIGHT[shape.paint.line] if shape.paint.line else None,
            width=max(width, 1) if shape.paint.line else 0,
        )

    def _photo(self, shape: Photo) -> None:
        side_px = max(round(shape.side * self._scale), 1)
        right, down = self._pixels(((shape.left, shape.top),))[0]
        photo = Image.fromarray(shape.grey).resize((side_px, side_px), Image.Resampling.BICUBIC)
        self._image.paste(photo, (round(right), round(down)))

    def _words(self, shape: Words) -> None:
        height_px = shape.height * self._scale
        right, down = self._pixels((shape.at,))[0]
        for aside in (0, max(round(height_px * BOLD_FRAC), 1)) if shape.is_bold else (0,):
            self._draw.text(
                (right + aside, down),
                basic_latin(shape.text),
                fill=LIGHT[shape.tone],
                font=ImageFont.load_default(height_px),
                anchor=ANCHORS[shape.anchor],
            )


def _round(centre: Point, radius: float) -> tuple[Point, ...]:
    turns = (2 * math.pi * step / CIRCLE_STEPS for step in range(CIRCLE_STEPS))
    return tuple(
        (centre[0] + radius * math.cos(turn), centre[1] + radius * math.sin(turn)) for turn in turns
    )


def _dashed(path: Sequence[Point], dash: Sequence[float]) -> Iterator[list[Point]]:
    """Cut a path into the pieces that are drawn."""
    place, left_over = 0, dash[0]
    piece = [path[0]]
    for start, end in itertools.pairwise(path):
        length, done = math.dist(start, end), 0.0
        while length - done > left_over:
            done += left_over
            share = done / length
            cut = (
                start[0] + share * (end[0] - start[0]),
                start[1] + share * (end[1] - start[1]),
            )
            if place % 2 == 0:
                yield [*piece, cut]
            piece, place = [cut], place + 1
            left_over = dash[place % len(dash)]
        left_over -= length - done
        piece.append(end)
    if place % 2 == 0 and len(piece) > 1:
        yield piece

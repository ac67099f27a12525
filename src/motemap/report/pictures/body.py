"""A small outline of the camera body, turned as it is held, so that up cannot be mistaken."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from motemap.report.pictures.palette import Tone
from motemap.report.pictures.scene import CAP_FRAC, Circle, Paint, Trace, Words, words_width

if TYPE_CHECKING:
    from motemap.report.pictures.scene import Anchor, Point, Shape
    from motemap.report.pictures.view import View

WIDTH, HEIGHT = 16.0, 14.0
"""Size of the upright outline with room for a word above the top plate, in steps."""

OUTLINE: tuple[Point, ...] = (
    (0.2, 5.6), (0.6, 5.0), (1.2, 4.9), (1.4, 4.3), (2.9, 4.3), (3.1, 4.9), (5.6, 4.9),
    (6.7, 3.2), (11.1, 3.2), (12.2, 4.9), (15.2, 4.9), (15.8, 5.5), (15.8, 13.2), (15.4, 13.8),
    (0.8, 13.8), (0.2, 13.2),
)  # fmt: skip
"""The body from the front: hump over the mount, release and grip to the left."""

GRIP: tuple[Point, ...] = ((3.6, 4.9), (3.6, 13.8))
TOP_PLATE: tuple[Point, ...] = OUTLINE[1:12]
MOUNT_CENTRE: Point = (8.9, 9.4)
MOUNT_RADIUS = 3.7
SENSOR: tuple[Point, ...] = ((6.8, 8.0), (11.0, 8.0), (11.0, 10.8), (6.8, 10.8))
WORDS_AT: Point = (8.9, 1.6)
WORDS = "top plate"


class Put(Protocol):
    """Carries points of the upright outline over to the sheet."""

    def __call__(self, *points: Point) -> tuple[Point, ...]:
        """Return where each of them goes."""
        ...


def outline(
    view: View, corner: Point, *, step: float, type_height: float
) -> tuple[tuple[Shape, ...], float, float]:
    """Return the body as held, and the width and height it takes up.

    Parameters
    ----------
    corner : (float, float)
        Upper left corner of the drawing.
    step : float
        Length of one step of the outline [scene units].
    """
    width, height = view.size(WIDTH, HEIGHT)
    top_right = view.point(WORDS_AT, WIDTH, HEIGHT)[0] * 2 - width
    # Turned on its side, the word beside the top plate takes more room than above it.
    before = words_width(WORDS, type_height) if view.swaps_sides and top_right < 0 else 0.0
    after = words_width(WORDS, type_height) if view.swaps_sides and top_right > 0 else 0.0

    def put(*points: Point) -> tuple[Point, ...]:
        seen = (view.point(point, WIDTH, HEIGHT) for point in points)
        return tuple(
            (corner[0] + before + right * step, corner[1] + down * step) for right, down in seen
        )

    anchor: Anchor = "end" if before else "start" if after else "middle"
    words = _top_words(put(WORDS_AT)[0], type_height, anchor)
    shapes = (*_drawn(put, view, step), words)
    return shapes, before + width * step + after, height * step


def _top_words(at: Point, type_height: float, anchor: Anchor) -> Shape:
    return Words(
        at=(at[0], at[1] + CAP_FRAC * type_height),
        text=WORDS,
        height=type_height,
        tone=Tone.INK,
        anchor=anchor,
        is_bold=True,
    )


def _drawn(put: Put, view: View, step: float) -> tuple[Shape, ...]:
    hair = 0.16 * step
    dash = (0.5 * step, 0.4 * step) if view.is_mirrored else ()
    centre = put(MOUNT_CENTRE)[0]
    shell = Paint(fill=Tone.PLATE, line=Tone.QUIET, line_width=hair)
    chip = Paint(fill=Tone.SWAB, line=Tone.SWAB_LINE, line_width=hair)
    thin = Paint(line=Tone.QUIET, line_width=hair)
    return (
        Trace(points=put(*OUTLINE), paint=shell, is_closed=True),
        Trace(points=put(*GRIP), paint=thin),
        Trace(points=put(*TOP_PLATE), paint=Paint(line=Tone.INK, line_width=0.55 * step)),
        Circle(
            centre=centre,
            radius=MOUNT_RADIUS * step,
            paint=Paint(fill=Tone.PAPER, line=Tone.QUIET, line_width=hair, dash=dash),
        ),
        Trace(points=put(*SENSOR), paint=chip, is_closed=True),
    )

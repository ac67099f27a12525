"""What the signs on a page's map mean, and how the body is held: small pictures with words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from motemap.report.pictures import legend
from motemap.report.pictures.body import outline
from motemap.report.pictures.markup import escape
from motemap.report.pictures.scene import Sheet
from motemap.report.pictures.svg import svg_element

if TYPE_CHECKING:
    from collections.abc import Iterable

    from motemap.records import FrameReport
    from motemap.report.pictures.plate import Plate
    from motemap.report.pictures.scene import Shape
    from motemap.settings import WorkSettings

SIGN_UNIT = 100.0
SIGN_WIDTH_UNITS, SIGN_HEIGHT_UNITS = 6.4, 5.2
BODY_TYPE = 1.9
BODY_ROOM = 1.0
"""Measures of the small pictures: signs in units of the map, the body in its own steps."""


def sign_list(report: FrameReport, work: WorkSettings, prefix: str) -> str:
    """Return a list of the signs on a map, each with its meaning."""
    items = (
        f"<li>{small_picture(draw((0.0, 0.0)), f'{prefix}s{count}-')}<span>{escape(text)}</span></li>"
        for count, (draw, text, _) in enumerate(legend.signs(report, SIGN_UNIT, work))
    )
    return f'<ul class="signs">{"".join(items)}</ul>'


def small_picture(shapes: Iterable[Shape], prefix: str) -> str:
    """Return shapes round the origin as a picture that only decorates the words beside it."""
    width, height = SIGN_WIDTH_UNITS * SIGN_UNIT, SIGN_HEIGHT_UNITS * SIGN_UNIT
    sheet = Sheet(
        left=-width / 2,
        top=-height / 2,
        width=width,
        height=height,
        title="",
        summary="",
        shapes=tuple(shapes),
    )
    return svg_element(sheet, prefix=prefix, is_decoration=True)


def held_body(plate: Plate, prefix: str) -> str:
    """Return the outline of the body as held, with the words for it."""
    if not plate.is_sensor:
        return f"<p>{escape(plate.view.words)}.</p>"
    shapes, width, height = outline(plate.view, (0.0, 0.0), step=1.0, type_height=BODY_TYPE)
    sheet = Sheet(
        left=-BODY_ROOM,
        top=-BODY_ROOM,
        width=width + 2 * BODY_ROOM,
        height=height + 2 * BODY_ROOM,
        title="",
        summary="",
        shapes=shapes,
    )
    picture = svg_element(sheet, prefix=f"{prefix}body-", is_decoration=True)
    return f'<div class="held">{picture}<p><b>How to hold it.</b> {escape(plate.view.words)}.</p></div>'

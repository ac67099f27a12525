"""A sheet written as SVG by hand: plain elements, presentation attributes, no style sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

from motemap.report.pictures.markup import escape, number
from motemap.report.pictures.palette import LIGHT
from motemap.report.pictures.raster import grey_png_uri
from motemap.report.pictures.scene import Box, Circle, Cluster, Photo, Trace, Words

if TYPE_CHECKING:
    from motemap.report.pictures.palette import Tone
    from motemap.report.pictures.scene import Paint, Shape, Sheet

FONT_FAMILY = "Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif"


def svg_file(sheet: Sheet) -> str:
    """Return `sheet` as an SVG file that stands alone.

    Its ``viewBox`` is in scene units, so coordinates in the file are positions on the sensor.
    """
    height_mm = sheet.print_width_mm * sheet.height / sheet.width
    opening = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{_view_box(sheet)}"'
        f' width="{number(sheet.print_width_mm)}mm" height="{number(height_mm)}mm"'
        f' font-family="{FONT_FAMILY}" role="img" aria-labelledby="title summary">'
    )
    body = "\n".join(_element(shape, is_page=False) for shape in sheet.shapes)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'{opening}\n<title id="title">{escape(sheet.title)}</title>\n'
        f'<desc id="summary">{escape(sheet.summary)}</desc>\n{_paper(sheet)}\n{body}\n</svg>\n'
    )


def svg_element(sheet: Sheet, *, prefix: str, is_decoration: bool = False) -> str:
    """Return `sheet` as an element of a page: colours follow the page, clusters are links.

    Parameters
    ----------
    prefix : str
        Begins every identifier, so that a page can hold several sheets.
    is_decoration : bool
        Whether the picture only repeats words beside it, so that screen readers skip it.
    """
    opening = f'<svg viewBox="{_view_box(sheet)}" font-family="{FONT_FAMILY}"'
    body = "\n".join(_element(shape, is_page=True) for shape in sheet.shapes)
    if is_decoration:
        return f'{opening} aria-hidden="true">{body}</svg>'
    labels = f"{prefix}title {prefix}summary"
    return (
        f'{opening} role="group" aria-labelledby="{labels}">\n'
        f'<title id="{prefix}title">{escape(sheet.title)}</title>\n'
        f'<desc id="{prefix}summary">{escape(sheet.summary)}</desc>\n{body}\n</svg>'
    )


def _view_box(sheet: Sheet) -> str:
    return " ".join(map(number, (sheet.left, sheet.top, sheet.width, sheet.height)))


def _paper(sheet: Sheet) -> str:
    return (
        f'<rect x="{number(sheet.left)}" y="{number(sheet.top)}"'
        f' width="{number(sheet.width)}" height="{number(sheet.height)}" fill="#ffffff"/>'
    )


def _element(shape: Shape, *, is_page: bool) -> str:
    match shape:
        case Circle():
            return _circle(shape, is_page=is_page)
        case Box():
            return _box(shape, is_page=is_page)
        case Trace():
            return _trace(shape, is_page=is_page)
        case Words():
            return _words(shape, is_page=is_page)
        case Cluster():
            return _cluster(shape, is_page=is_page)
        case Photo():
            return _photo(shape)


def _circle(shape: Circle, *, is_page: bool) -> str:
    right, down = shape.centre
    return (
        f'<circle cx="{number(right)}" cy="{number(down)}" r="{number(shape.radius)}"'
        f"{_paint(shape.paint, is_page=is_page)}/>"
    )


def _box(shape: Box, *, is_page: bool) -> str:
    corner = f' rx="{number(shape.corner)}"' if shape.corner else ""
    return (
        f'<rect x="{number(shape.left)}" y="{number(shape.top)}" width="{number(shape.width)}"'
        f' height="{number(shape.height)}"{corner}{_paint(shape.paint, is_page=is_page)}/>'
    )


def _trace(shape: Trace, *, is_page: bool) -> str:
    kind = "polygon" if shape.is_closed else "polyline"
    points = " ".join(f"{number(right)},{number(down)}" for right, down in shape.points)
    joins = ' stroke-linejoin="round" stroke-linecap="round"' if shape.paint.line else ""
    return f'<{kind} points="{points}"{joins}{_paint(shape.paint, is_page=is_page)}/>'


def _words(shape: Words, *, is_page: bool) -> str:
    right, down = shape.at
    anchor = "" if shape.anchor == "start" else f' text-anchor="{shape.anchor}"'
    weight = ' font-weight="700"' if shape.is_bold else ""
    return (
        f'<text x="{number(right)}" y="{number(down)}" font-size="{number(shape.height)}"'
        f'{anchor}{weight} fill="{_colour(shape.tone, is_page=is_page)}">{escape(shape.text)}</text>'
    )


def _cluster(shape: Cluster, *, is_page: bool) -> str:
    inside = "".join(_element(part, is_page=is_page) for part in shape.shapes)
    name = f' id="{shape.name}"' if shape.name else ""
    title = f"<title>{escape(shape.title)}</title>" if shape.title else ""
    if not (is_page and shape.link):
        return f"<g{name}>{title}{inside}</g>"
    stop = "" if shape.is_stop else ' tabindex="-1"'
    label = f' aria-label="{escape(shape.title)}"'
    return f'<a{name} href="#{shape.link}"{stop}{label}>{title}{inside}</a>'


def _photo(shape: Photo) -> str:
    return (
        f'<image x="{number(shape.left)}" y="{number(shape.top)}" width="{number(shape.side)}"'
        f' height="{number(shape.side)}" href="{grey_png_uri(shape.grey)}"/>'
    )


def _paint(paint: Paint, *, is_page: bool) -> str:
    parts = [f' fill="{_colour(paint.fill, is_page=is_page) if paint.fill else "none"}"']
    if paint.line:
        parts.append(f' stroke="{_colour(paint.line, is_page=is_page)}"')
        parts.append(f' stroke-width="{number(paint.line_width)}"')
    if paint.dash:
        parts.append(f' stroke-dasharray="{" ".join(map(number, paint.dash))}"')
    return "".join(parts)


def _colour(tone: Tone, *, is_page: bool) -> str:
    # The fallback keeps a picture that is copied out of the page readable.
    return f"var(--{tone},{LIGHT[tone]})" if is_page else LIGHT[tone]

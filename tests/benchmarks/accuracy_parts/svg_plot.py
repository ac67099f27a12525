"""Plots as hand-written SVG: readable on white and on dark pages, no plotting library."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

WIDTH, ROW_HEIGHT, LABEL_WIDTH, RIGHT = 760, 26, 210, 60
LETTER_WIDTH = 6.9
TOP, BOTTOM = 54, 46
INK, FAINT, PAPER, ACCENT, SECOND = "#1d2733", "#c9d1d9", "#ffffff", "#1f6feb", "#b35900"
HUES = ("#1f6feb", "#b35900", "#1a7f37", "#8250df", "#cf222e", "#57606a", "#0a7d8c")
PLOT_HEIGHT = 300


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """One line of a plot: pairs of horizontal and vertical values."""

    name: str
    points: Sequence[tuple[float, float]]
    has_dots: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """A scale from `low` to `high`, with ticks and their labels."""

    title: str
    low: float
    high: float
    ticks: Sequence[tuple[float, str]]

    def share(self, value: float) -> float:
        """Return where a value lies, 0 at `low` and 1 at `high`; held inside."""
        return min(max((value - self.low) / (self.high - self.low), 0.0), 1.0)


def line_plot(title: str, across: Axis, up: Axis, series: Sequence[Series]) -> str:
    """Return a plot of lines with dots at their points."""
    left, wide = 70, WIDTH - 70 - 150
    body = [_title(title)]
    for value, label in up.ticks:
        y = TOP + PLOT_HEIGHT * (1 - up.share(value))
        body.append(_line(left, y, left + wide, y, FAINT))
        body.append(_text(left - 8, y + 4, label, anchor="end"))
    for value, label in across.ticks:
        x = left + wide * across.share(value)
        body.append(_line(x, TOP + PLOT_HEIGHT, x, TOP + PLOT_HEIGHT + 5, INK))
        body.append(_text(x, TOP + PLOT_HEIGHT + 20, label, anchor="middle"))
    body.append(_text(left + wide / 2, TOP + PLOT_HEIGHT + 40, across.title, anchor="middle"))
    body.append(_text(left, TOP - 12, up.title))
    for number, one in enumerate(series):
        hue = HUES[number % len(HUES)]
        places = [
            (left + wide * across.share(x), TOP + PLOT_HEIGHT * (1 - up.share(y)))
            for x, y in one.points
        ]
        joined = " ".join(f"{x:.1f},{y:.1f}" for x, y in places)
        body.append(f'<polyline points="{joined}" fill="none" stroke="{hue}" stroke-width="2"/>')
        if one.has_dots:
            body.extend(_dot(x, y, hue) for x, y in places)
        body.append(_dot(left + wide + 18, TOP + 14 + 20 * number, hue))
        body.append(_text(left + wide + 28, TOP + 18 + 20 * number, one.name))
    return _sheet(body, TOP + PLOT_HEIGHT + BOTTOM + 10)


def bar_plot(
    title: str,
    across: Axis,
    bars: Sequence[tuple[str, float, str]],
    marks: Sequence[tuple[float, str]] = (),
) -> str:
    """Return level bars, one a row.

    Parameters
    ----------
    title : str
    across : Axis
    bars : sequence of (label, value, value as text)
    marks : sequence of (value, label)
        Upright lines to compare with.
    """
    wide = WIDTH - LABEL_WIDTH - RIGHT
    foot = TOP + ROW_HEIGHT * len(bars)
    body = [_title(title), *_grid(across, foot)]
    for value, label in marks:
        x = LABEL_WIDTH + wide * across.share(value)
        body.append(_line(x, TOP - 6, x, foot, SECOND, dash=True))
        body.append(_text(x, TOP - 10, label, anchor="middle", colour=SECOND))
    for number, (label, value, text) in enumerate(bars):
        y = TOP + ROW_HEIGHT * number
        length = wide * across.share(value)
        body.append(_text(LABEL_WIDTH - 8, y + 17, label, anchor="end"))
        body.append(
            f'<rect x="{LABEL_WIDTH}" y="{y + 5}" width="{length:.1f}" height="16" '
            f'fill="{ACCENT}" fill-opacity="0.85"/>'
        )
        body.append(_text(LABEL_WIDTH + length + 6, y + 17, text, has_halo=True))
    return _sheet(body, foot + BOTTOM)


def dot_plot(
    title: str,
    across: Axis,
    rows: Sequence[tuple[str, Sequence[float | None]]],
    names: Sequence[str],
) -> str:
    """Return one row of dots a label, one hue a name; a missing value has no dot."""
    wide = WIDTH - LABEL_WIDTH - RIGHT
    head = TOP + 22
    foot = head + ROW_HEIGHT * len(rows)
    body = [_title(title), *_grid(across, foot)]
    x = 14.0
    for number, name in enumerate(names):
        body.append(_dot(x, TOP - 10, HUES[number % len(HUES)]))
        body.append(_text(x + 8, TOP - 6, name))
        x += 26 + LETTER_WIDTH * len(name)
    for number, (label, values) in enumerate(rows):
        y = head + ROW_HEIGHT * number + 13
        body.append(_text(LABEL_WIDTH - 8, y + 4, label, anchor="end"))
        body.append(_line(LABEL_WIDTH, y, LABEL_WIDTH + wide, y, FAINT))
        for at in reversed(range(len(values))):
            value = values[at]
            if value is not None:
                x = LABEL_WIDTH + wide * across.share(value)
                # Dots that coincide stay visible: each name has its own height in the row.
                down = 0.0 if at == 0 else 2.6 * (at - 0.5 * len(values))
                radius = 6.5 if at == 0 else 3.5
                body.append(_dot(x, y + down, HUES[at % len(HUES)], radius=radius))
    return _sheet(body, foot + BOTTOM)


def _grid(across: Axis, foot: float) -> list[str]:
    wide = WIDTH - LABEL_WIDTH - RIGHT
    lines = []
    for value, label in across.ticks:
        x = LABEL_WIDTH + wide * across.share(value)
        lines.append(_line(x, TOP, x, foot + 4, FAINT))
        lines.append(_text(x, foot + 18, label, anchor="middle"))
    lines.append(_text(LABEL_WIDTH + wide / 2, foot + 38, across.title, anchor="middle"))
    return lines


def _title(text: str) -> str:
    return _text(14, 22, text, size=15, weight="bold")


def _line(x1: float, y1: float, x2: float, y2: float, colour: str, *, dash: bool = False) -> str:
    dashes = ' stroke-dasharray="5 4"' if dash else ""
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}"{dashes}/>'
    )


def _dot(x: float, y: float, hue: str, radius: float = 4.0) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius}" fill="{hue}"/>'


def _text(
    x: float,
    y: float,
    text: str,
    *,
    anchor: str = "start",
    size: int = 12,
    colour: str = INK,
    weight: str = "normal",
    has_halo: bool = False,
) -> str:
    halo = f' paint-order="stroke" stroke="{PAPER}" stroke-width="4"' if has_halo else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size}" '
        f'font-weight="{weight}" fill="{colour}"{halo}>{escape(text)}</text>'
    )


def _sheet(body: Sequence[str], height: float) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height:.0f}" '
        f'width="{WIDTH}" height="{height:.0f}" '
        'font-family="system-ui, -apple-system, Segoe UI, Helvetica, Arial, sans-serif">\n'
        f'<rect width="100%" height="100%" fill="{PAPER}"/>\n' + "\n".join(body) + "\n</svg>\n"
    )

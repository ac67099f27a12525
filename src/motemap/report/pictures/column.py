"""A column of a sheet that is filled from top to bottom."""

from __future__ import annotations

import re
import textwrap
from typing import TYPE_CHECKING

from motemap.report.pictures.palette import Tone
from motemap.report.pictures.scene import CAP_FRAC, GLYPH_WIDTH_FRAC, Paint, Trace, Words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from motemap.report.pictures.scene import Point, Shape

LINE_FRAC = 1.45
"""Distance of two base lines over the type size."""

NO_BREAK_SPACE = "\N{NO-BREAK SPACE}"


class Column:
    """Shapes set one below the other; `down` is where the next one goes.

    Parameters
    ----------
    left, down : float
        Upper left corner [scene units].
    width : float
        Room for text [scene units].
    type_height : float
        Size of ordinary type [scene units].
    """

    def __init__(self, left: float, down: float, *, width: float, type_height: float) -> None:
        self.left = left
        self.down = down
        self.width = width
        self.type_height = type_height
        self.shapes: list[Shape] = []

    def gap(self, n_lines: float) -> None:
        """Leave room, counted in lines of ordinary type."""
        self.down += n_lines * self.type_height * LINE_FRAC

    def text(self, text: str, *, tone: Tone = Tone.INK, is_bold: bool = False) -> None:
        """Set text in ordinary type, on as many lines as it takes."""
        n_letters = int(self.width / (self.type_height * GLYPH_WIDTH_FRAC))
        for line in textwrap.wrap(with_units_bound(text), n_letters):
            self.line(((0.0, "start", line),), tone=tone, is_bold=is_bold)

    def line(
        self,
        cells: Sequence[tuple[float, str, str]],
        *,
        tone: Tone = Tone.INK,
        is_bold: bool = False,
    ) -> None:
        """Set one line of cells: distance from the column's left, anchor, text."""
        base = self.down + self.type_height
        for aside, anchor, text in cells:
            words = Words(
                at=(self.left + aside, base),
                text=text,
                height=self.type_height,
                tone=tone,
                anchor="end" if anchor == "end" else "start",
                is_bold=is_bold,
            )
            self.shapes.append(words)
        self.gap(1)

    def rule(self) -> None:
        """Draw a thin line across the column."""
        down = self.down + 0.4 * self.type_height
        paint = Paint(line=Tone.GRID, line_width=0.1 * self.type_height)
        ends = ((self.left, down), (self.left + self.width, down))
        self.shapes.append(Trace(points=ends, paint=paint))
        self.gap(0.6)

    def sample(
        self, draw: Callable[[Point], Iterable[Shape]], text: str, *, room: float, height: float
    ) -> None:
        """Set a sign and what it means: `draw` is given the middle of the sign."""
        rows = textwrap.wrap(text, int((self.width - room) / (self.type_height * GLYPH_WIDTH_FRAC)))
        block = len(rows) * self.type_height * LINE_FRAC
        tall = max(height, block)
        self.shapes.extend(draw((self.left + room / 2, self.down + tall / 2)))
        first = self.down + (tall - block) / 2 + self.type_height * (LINE_FRAC / 2 + CAP_FRAC)
        for count, row in enumerate(rows):
            base = first + count * self.type_height * LINE_FRAC
            at = (self.left + room, base)
            self.shapes.append(Words(at=at, text=row, height=self.type_height, tone=Tone.INK))
        self.down += tall


def with_units_bound(text: str) -> str:
    """Return `text` with numbers and their units kept on one line."""
    return re.sub(r"(?<=\d) (?=(?:µm|mm|%)\b)", NO_BREAK_SPACE, text)

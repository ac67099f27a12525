"""The few colours of all pictures, named for what they are used for.

Dark against light carries the message, so that grey print and colour-blind eyes lose nothing:
what shows is the darkest and filled, the rest is mid-grey and hollow.
"""

import math
from enum import StrEnum

from motemap.facts import srgb


class Tone(StrEnum):
    """What a colour is for; the value names its custom property in the page's style."""

    PAPER = "paper"
    PLATE = "plate"
    INK = "ink"
    QUIET = "quiet"
    GRID = "grid"
    SHOWS = "shows"
    REST = "rest"
    SWAB = "swab"
    SWAB_LINE = "swab-line"


LIGHT = {
    Tone.PAPER: "#ffffff",
    Tone.PLATE: "#f3f5f6",
    Tone.INK: "#182025",
    Tone.QUIET: "#4b565e",
    Tone.GRID: "#d3dade",
    Tone.SHOWS: "#a31f08",
    Tone.REST: "#5b6871",
    Tone.SWAB: "#d3e5ee",
    Tone.SWAB_LINE: "#1f617f",
}
"""For paper and bright rooms; also the colours of every picture file."""

DARK = {
    Tone.PAPER: "#12171a",
    Tone.PLATE: "#1c2429",
    Tone.INK: "#eaeff1",
    Tone.QUIET: "#b3c0c8",
    Tone.GRID: "#36424a",
    Tone.SHOWS: "#ff9d7d",
    Tone.REST: "#94a5b0",
    Tone.SWAB: "#1d3a48",
    Tone.SWAB_LINE: "#85c3e0",
}
"""For dark rooms, on the page only."""


def light_share(colour: str) -> float:
    """Return the relative luminance (0-1) of an sRGB colour written ``#rrggbb``.

    References
    ----------
    W3C, Web Content Accessibility Guidelines 2.2, definition of relative luminance.
    """
    codes = (int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5))
    red, green, blue = (_linear(code) for code in codes)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _linear(code: float) -> float:
    if code <= srgb.TOE_CODE:
        return code / srgb.TOE_SLOPE
    return math.pow((code + srgb.OFFSET) / (1 + srgb.OFFSET), srgb.EXPONENT)


def contrast_ratio(one: str, other: str) -> float:
    """Return how far two colours are apart (1-21), after WCAG 2.2.

    >>> round(contrast_ratio("#000000", "#ffffff"), 2)
    21.0
    """
    brighter, darker = sorted((light_share(one), light_share(other)), reverse=True)
    return (brighter + 0.05) / (darker + 0.05)

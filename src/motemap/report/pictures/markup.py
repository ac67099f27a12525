"""Text made safe for SVG and HTML: whatever a file or a camera calls itself stays text."""

import html

from motemap.report.plain import printable

FIRST_NONCHARACTER = 0xFFFE
"""XML 1.0 allows no character with these two last hexadecimal digits pairs (section 2.2)."""


def escape(text: str) -> str:
    r"""Return `text` fit for element content and for quoted attributes.

    Controls, direction marks and what XML forbids are written out, markup is escaped.

    >>> escape("<b>\x00'a'")
    '&lt;b&gt;\\x00&#x27;a&#x27;'
    """
    shown = printable(text)
    if not shown.isascii():
        shown = "".join(map(_allowed, shown))
    return html.escape(shown, quote=True)


def _allowed(character: str) -> str:
    if ord(character) & 0xFFFF >= FIRST_NONCHARACTER:
        return f"\\u{ord(character):04x}"
    return character


def number(value: float) -> str:
    """Write a length in scene units: one decimal at most, and never a minus zero.

    >>> number(12.0), number(-0.04), number(3.14159)
    ('12', '0', '3.1')
    """
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text

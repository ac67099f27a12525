"""The tone curve of sRGB, from linear light to stored codes and back (IEC 61966-2-1:1999, 5.2).

Both are 0-1. Up to the toe a code is ``TOE_SLOPE`` times the light; above, the light is
``((code + OFFSET) / (1 + OFFSET)) ** EXPONENT``.
"""

from __future__ import annotations

from typing import Final

TOE_CODE: Final = 0.04045
TOE_LIGHT: Final = 0.0031308
TOE_SLOPE: Final = 12.92
OFFSET: Final = 0.055
EXPONENT: Final = 2.4
"""All as in the standard."""

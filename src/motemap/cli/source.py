"""A picture handed over on standard input."""

from __future__ import annotations

import sys
from typing import Final

STANDARD_INPUT: Final = "-"

MOST_INPUT_BYTES: Final = 1_000_000_000
"""Read of standard input: more than any picture; what has no end counts as cut off there."""


def standard_input() -> bytes:
    """Return all of standard input, up to a limit; nothing where there is none."""
    return sys.stdin.buffer.read(MOST_INPUT_BYTES) if sys.stdin is not None else b""

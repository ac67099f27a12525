"""At which stored value a raw picture clips, from what the file says and what it holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

_TOP_FRAC, _BELOW_FRAC = 0.998, 0.99
"""Shares of the largest value: above the first a pile lies, between the two a thin tail."""
_FEWEST_PILED = 30
"""Fewer pixels at the top are hot ones."""
_LOWEST_PILE_FRAC = 0.5
"""A pile below this share of the white level in the file is something bright, not clipped."""
_MANY_OVER_FRAC = 1e-4
"""Share of the pixels above the white level in the file that makes it wrong: hot ones are fewer."""


def find_clip(rows: NDArray[np.uint16], tagged: int, period_px: int) -> int:
    """Return the stored value from which on pixels are clipped.

    The file's own white level can be too high, and then clipped pixels pile up below it, or
    too low, and then many pixels lie above it: both were met in real files.

    Parameters
    ----------
    rows : (n, W) uint16
        Some whole rows of the picture.
    tagged : int
        White level from the file; 0 when it has none.
    period_px : int
        Side of the mosaic's repeat.
    """
    top = int(rows.max())
    piled = _pile_bottom(rows, top, period_px)
    over_frac = np.count_nonzero(rows > tagged) / rows.size
    if tagged <= 0 or over_frac > _MANY_OVER_FRAC:
        return piled or max((1 << top.bit_length()) - 1, 1)
    if piled is not None and _LOWEST_PILE_FRAC * tagged <= piled < tagged:
        return piled
    return tagged


def _pile_bottom(rows: NDArray[np.uint16], top: int, period_px: int) -> int | None:
    """Return where a pile of clipped pixels begins, None when the top is a thin tail.

    Without noise every even patch is a pile; such a picture is drawn, and its white level is
    to be believed.
    """
    upper, lower = int(_TOP_FRAC * top), int(_BELOW_FRAC * top)
    n_top = np.count_nonzero(rows >= upper)
    n_below = np.count_nonzero(rows >= lower) - n_top
    if n_top < _FEWEST_PILED or n_top <= n_below:
        return None
    light = rows.astype(np.int32)
    is_quiet = light[:, period_px:] == light[:, :-period_px]
    is_piled = light[:, period_px:] >= upper
    elsewhere = is_quiet[~is_piled]
    has_noise = elsewhere.size > 0 and np.mean(elsewhere) < 1 / 2
    return upper if has_noise else None

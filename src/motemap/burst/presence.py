"""In how many frames of a burst each mark is really there."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from motemap.coords import px_to_cell

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.burst.light import LightFlat
    from motemap.records import FrameReport, Spot

HALF = 0.5
"""A mark is there when a frame shows at least half of its mean depth."""

SIGMAS_OF_DOUBT = 2.0
"""A frame too noisy to tell counts as showing it."""

LEAST_HALF_CELLS = 1


def times_present(
    flats: Sequence[LightFlat], spots: Sequence[Spot], pitch_um: float | None
) -> tuple[int, ...]:
    """Count the frames that show each spot of their combination.

    Parameters
    ----------
    flats : sequence of FlatFrame
        The burst, aligned.
    spots : sequence of Spot
        Found in its mean.
    pitch_um : float or None
        Distance of stored pixels, for the spots' widths [um].

    Returns
    -------
    tuple of int
        One entry a spot, 0 to the number of frames.
    """
    return tuple(_count(flats, spot, pitch_um) for spot in spots)


def times_on_lens(frames: Sequence[FrameReport], spot: Spot) -> int:
    """Count the frames that list a wide shadow from the lens side where a spot lies.

    Such a shadow is too wide for the flattened frames to keep it whole.
    """
    return sum(
        any(_is_same_shadow(other, spot, frame) for other in frame.spots) for frame in frames
    )


def _is_same_shadow(one: Spot, two: Spot, frame: FrameReport) -> bool:
    if one.layer != "lens side" or frame.sensor is None or not frame.sensor.pitch_um:
        return False
    gap_px = math.hypot(one.image_x_px - two.image_x_px, one.image_y_px - two.image_y_px)
    return gap_px * frame.sensor.pitch_um <= HALF * max(one.width_um or 0.0, two.width_um or 0.0)


def _count(flats: Sequence[LightFlat], spot: Spot, pitch_um: float | None) -> int:
    bin_px = flats[0].bin_px
    row, col = px_to_cell(spot.image_y_px, bin_px), px_to_cell(spot.image_x_px, bin_px)
    width_px = spot.width_um / pitch_um if spot.width_um and pitch_um else 0.0
    reach = max(LEAST_HALF_CELLS, round(width_px / bin_px / 4.0))
    window = _window(flats[0].shape, row, col, reach)
    depths = np.array([-_mean(flat.contrast[window]) for flat in flats])
    doubts = np.array([_doubt(flat.noise_frac[window]) for flat in flats])
    wanted = HALF * float(np.median(depths)) if len(depths) > 1 else 0.0
    wanted = max(wanted, HALF * float(np.mean(depths)))
    return int(np.count_nonzero(depths + SIGMAS_OF_DOUBT * doubts >= wanted))


def _window(shape: tuple[int, int], row: float, col: float, reach: int) -> tuple[slice, slice]:
    height, width = shape
    top = min(max(round(row) - reach, 0), height - 1)
    left = min(max(round(col) - reach, 0), width - 1)
    return slice(top, top + 2 * reach + 1), slice(left, left + 2 * reach + 1)


def _mean(window: NDArray[np.floating]) -> float:
    return float(np.mean(window, dtype=np.float64))


def _doubt(noise: NDArray[np.floating]) -> float:
    return _mean(noise) / math.sqrt(noise.size)

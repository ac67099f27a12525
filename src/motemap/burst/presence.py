"""In how many frames of a burst each mark is really there."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from motemap.burst.scatter import scatter_about_others
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

ONE_IN = 4
"""One frame in so many may lack a mark; a choice."""

LEAST_HALF_CELLS = 1

WINDOWS_AROUND = 4
"""So many windows to each side of a mark's tell by how much frames differ there: eighty in all."""


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


def least_times(n_frames: int) -> int:
    """Return in how many frames of a burst a mark on the sensor has to be, not to count as odd.

    It is in all of them, and a frame too noisy to tell counts as showing it: of marks that the mean of
    three just shows one in ten thousand seems to be missing in a frame (derived: 3.5 standard
    deviations deep in each, half of that and two more are asked for). One frame in four may have gone
    wrong there. More than half is not enough: what the sensor's own pattern lifts near half a step of
    a JPEG's coding appears in every other frame, and so in two of three in three cases of eight.

    Examples
    --------
    >>> [least_times(n_frames) for n_frames in (1, 2, 3, 4, 8)]
    [1, 2, 3, 3, 6]
    """
    return n_frames - n_frames // ONE_IN


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
    if len(flats) > 1:
        doubts = np.maximum(doubts, _scatter_around(flats, window))
    wanted = HALF * float(np.median(depths)) if len(depths) > 1 else 0.0
    wanted = max(wanted, HALF * float(np.mean(depths)))
    return int(np.count_nonzero(depths + SIGMAS_OF_DOUBT * doubts >= wanted))


def _scatter_around(flats: Sequence[LightFlat], window: tuple[slice, slice]) -> NDArray[np.float32]:
    """Return by how much the mean of each frame over windows like this departs from the others', (n,).

    That is more than photosites explain where the screen's texture moves; what all frames show, such
    as other marks, is no part of it.
    """
    height, width = (part.stop - part.start for part in window)
    rows, cols = (
        _whole_windows(part, size) for part, size in zip(window, flats[0].shape, strict=True)
    )
    means = np.stack([_means(flat.contrast[rows, cols], height, width) for flat in flats])
    return scatter_about_others(means)


def _whole_windows(window: slice, size: int) -> slice:
    """Return a row of whole windows with this one among them, as far as the frame reaches."""
    side = window.stop - window.start
    before = min(WINDOWS_AROUND, window.start // side)
    after = min(WINDOWS_AROUND, (size - window.stop) // side)
    return slice(window.start - before * side, window.stop + after * side)


def _window(shape: tuple[int, int], row: float, col: float, reach: int) -> tuple[slice, slice]:
    height, width = shape
    top = min(max(round(row) - reach, 0), height - 1)
    left = min(max(round(col) - reach, 0), width - 1)
    side = 2 * reach + 1
    return slice(top, min(top + side, height)), slice(left, min(left + side, width))


def _means(part: NDArray[np.float32], height: int, width: int) -> NDArray[np.float32]:
    """Average windows of so many cells, laid side by side."""
    down = part.reshape(-1, height, part.shape[1]).mean(axis=1)
    means: NDArray[np.float32] = down.reshape(-1, width).mean(axis=1)
    return means


def _mean(window: NDArray[np.floating]) -> float:
    return float(np.mean(window, dtype=np.float64))


def _doubt(noise: NDArray[np.floating]) -> float:
    return _mean(noise) / math.sqrt(noise.size)

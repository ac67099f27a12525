"""How faint a speck this frame could have shown.

The scatter of every detection filter is measured in the frame itself; the share of a shadow's
depth that each filter passes on follows from their shapes. A speck is found nine times in ten
when its response lies 1.28 standard deviations above the threshold.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from motemap.records import Detection
    from motemap.settings import DetectSettings

NINE_IN_TEN_SIGMAS = 1.2816
"""Normal distribution: 90 % lie above minus this many standard deviations."""
CODED_STRICTNESS = 1.05
"""As in the search: more is asked of a dip between few codes."""
PROMISE_MARGIN = 1.17
"""What uneven scatter over the frame and the judgement of outlines cost, from specks drawn into
frames of all formats: `tests/benchmarks/accuracy.py` measures whether the promise holds."""
WIDTH_OF_BLUR = 0.72
"""Width at half depth of a small speck's shadow over its blur disc, by wave optics."""
FWHM_PER_SIGMA = 2.3548
CELL_VARIANCE = 1 / 12


def smallest_depth(
    detection: Detection, *, blur_cells: float, floor_frac: float, settings: DetectSettings
) -> float:
    """Return the depth from which on nine in ten specks of this frame are found.

    Parameters
    ----------
    detection : Detection
        Its `scale_noise` holds the scatter of every filter.
    blur_cells : float
        Diameter of the blur disc [cells].
    floor_frac : float
        Depth that coarse codes can feign.
    settings : DetectSettings
    """
    own2 = (max(WIDTH_OF_BLUR * blur_cells, 1.0) / FWHM_PER_SIGMA) ** 2
    spread2 = own2 + CELL_VARIANCE
    # A cell averages the dip before any filter sees it, and takes so much of its depth.
    kept = own2 / spread2
    wanted = settings.snr_min * (CODED_STRICTNESS if floor_frac > 0 else 1.0)
    floor = max(settings.depth_min_frac, floor_frac)
    return min(
        # Both bounds are held against what the filter passes on, so both grow by its share.
        (
            max(PROMISE_MARGIN * wanted * scale.scatter_frac, floor)
            + PROMISE_MARGIN * NINE_IN_TEN_SIGMAS * scale.scatter_frac
        )
        / (kept * passed_share(spread2, scale.sigma_cell, scale.surround_cell))
        for scale in detection.scale_noise
    )


def passed_share(spread2_cell2: float, sigma_cell: float, surround_cell: float) -> float:
    """Return the share of a bell-shaped dip's depth that a detection filter passes on.

    For a Gaussian dip of variance s^2 and filter sigmas a and b:
    s^2/(s^2 + a^2) - s^2/(s^2 + b^2) (derived).
    """
    narrow = spread2_cell2 / (spread2_cell2 + sigma_cell**2)
    wide = spread2_cell2 / (spread2_cell2 + surround_cell**2)
    return narrow - wide

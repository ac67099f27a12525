"""A flattened frame, and the marks that were found and measured in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from motemap.coords import FramePoint
    from motemap.records.regions import Regions


class Windows(Protocol):
    """A plane of numbers that is looked at through windows; an array is one, too."""

    @property
    def shape(self) -> tuple[int, ...]:
        """Rows and columns."""
        ...

    def __getitem__(self, window: tuple[slice, slice], /) -> NDArray[np.float32]:
        """Return the values in a window of rows and columns."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FlatFrame:
    """A test shot with the background divided out.

    Planes other than `valid` are to be looked at through windows, ``contrast[rows, cols]``
    with two slices: they may be worked out when they are asked for.

    Parameters
    ----------
    contrast : (H, W) float32
        Light over local background minus 1; negative where darker, 0 where not valid.
    background : (H, W) float32
        The background that was divided out, linear light.
    noise_frac : (H, W) float32
        Local standard deviation of one cell of `contrast` (robust).
    valid : (H, W) bool
        Where a mark could be judged.
    bin_px : int
        Stored pixels along the side of one cell.
    floor_frac : (H, W) float32 or None
        Depth below which contrast may be an artefact of coarse codes; None when codes are
        fine everywhere.
    step_frac : (H, W) float32 or None
        Width of one code as a share of the light; None when codes are fine everywhere.
    stripe_frac : float
        Robust standard deviation of the row or column levels taken out, the larger.
    n_cut_corners : int
        Corners left out because something in front of the lens cuts them off.
    """

    contrast: Windows
    background: Windows
    noise_frac: Windows
    valid: NDArray[np.bool_]
    bin_px: int
    floor_frac: Windows | None = None
    step_frac: Windows | None = None
    stripe_frac: float = 0.0
    n_cut_corners: int = 0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Region:
    """Cells that belong to one mark.

    Parameters
    ----------
    top_cell, left_cell : int
        Upper left corner of `mask` in the flattened plane [cells].
    mask : (h, w) bool
        True for cells of the mark.
    snr : float
        Largest matched-filter signal to noise inside.
    scale_cell : float
        Gaussian sigma of the filter that answered most [cells].
    alone : (h, w) float32 or None
        Contrast with the shadows of others that lie over this one taken off; None where there
        are none.
    """

    top_cell: int
    left_cell: int
    mask: NDArray[np.bool_]
    snr: float
    scale_cell: float
    alone: NDArray[np.float32] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleNoise:
    """Scatter of a detection filter's output in one frame.

    Parameters
    ----------
    sigma_cell : float
        Sigma of the filter's narrow Gaussian [cells].
    surround_cell : float
        Sigma of its wide Gaussian [cells].
    scatter_frac : float
        Median over the frame of the output's local standard deviation.
    uneven_frac : float
        Standard deviation over the frame of that local standard deviation, over its median.
    strictness : float
        How many times the usual significance was asked of its answers.
    """

    sigma_cell: float
    surround_cell: float
    scatter_frac: float
    uneven_frac: float = 0.0
    strictness: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Detection:
    """What was found in one frame, and how much each filter scattered there."""

    found: Regions
    scale_noise: tuple[ScaleNoise, ...]

    @property
    def regions(self) -> tuple[Region, ...]:
        """What was found, each mark by itself."""
        return self.found.singly()


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredSpot:
    """A mark as it lies in the picture, in stored pixels.

    Parameters
    ----------
    depth_frac : float
        Largest share of light lost, free of noise (0-1).
    snr : float
        Matched-filter signal to noise.
    width_px, length_px : float
        Full width at half depth across and along the mark [px].
    lost_area_px2 : float
        Sum of the light lost, bright rim included [px2].
    gain_ratio : float
        Bright light in and round the mark over the light lost (0-1 and more).
    hollow_frac : float
        Depth in the middle over the largest depth round it (1 = no hole).
    hole_frac : float
        Share of the outline's inside that is a hole (0 = none, near 1 = a thin ring).
    hoop_frac : float
        What the middle line of a ring encloses, over what a circle as long would (1 = a round ring,
        near 0 = a loop with long ends); 1 without a hole.
    edge_px : float
        Depth over the steepest slope of the flank: how soft the edge is [px].
    blur_sigma_px : float
        Gaussian sigma of the smoothing under which width and flank were taken, a cell's own
        share included [px].
    seen_depth_frac : float
        Largest depth on the smoothed plane, nothing given back (0-1).
    calm_frac : float
        Upper quartile of the deviation from the median in the ring round the mark.
    significance : float
        Answer of the best detection filter over its local scatter, structure included.
    is_at_border : bool
        Whether the picture's edge cuts the mark.
    has_neighbour : bool
        Whether another mark is so near that the lost area is shared.
    """

    centre: FramePoint
    depth_frac: float
    snr: float
    width_px: float
    length_px: float
    lost_area_px2: float
    gain_ratio: float = 0.0
    hollow_frac: float = 1.0
    hole_frac: float = 0.0
    hoop_frac: float = 1.0
    edge_px: float = 1.0
    blur_sigma_px: float = 0.0
    seen_depth_frac: float = 0.0
    calm_frac: float = 0.0
    significance: float = 0.0
    is_at_border: bool = False
    has_neighbour: bool = False

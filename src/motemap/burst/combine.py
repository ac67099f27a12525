"""The mean of aligned flattened frames, deaf to what only one of them shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.burst.odd import odd_places
from motemap.errors import GeometryError
from motemap.records import FlatFrame

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

STRIP_ROWS = 256
"""Rows worked on at a time, so that memory does not grow with the frames' size."""

HALO_ROWS = 48
"""Rows beyond a strip that its filters reach into: three sigma of the widest, twice over."""

MAD_TO_SIGMA = 1.4826
LOOK_EVERY = 3


def combine_flats(flats: Sequence[FlatFrame]) -> FlatFrame:
    """Average flattened frames of one state.

    Parameters
    ----------
    flats : sequence of FlatFrame
        At least one, all of one shape and bin, with the marks at the same places.

    Returns
    -------
    FlatFrame
        Noise as it is in the mean: what is the same in all frames, such as the sensor's own
        pattern, does not average out and is not claimed to.

    Raises
    ------
    GeometryError
        If the frames differ in shape.
    """
    first = flats[0]
    kinds = {(flat.contrast.shape, flat.bin_px) for flat in flats}
    if len(kinds) > 1:
        raise GeometryError(
            "The frames of the burst differ in size.",
            repair="Combine frames of one body, one image size and one kind of file.",
        )
    if len(flats) == 1:
        return first
    contrast = np.empty_like(first.contrast)
    valid = np.empty_like(first.valid)
    for rows, outer, inner in _strips(len(contrast)):
        mean, is_usable = _robust_mean(flats, outer)
        contrast[rows], valid[rows] = mean[inner], is_usable[inner]
    noise = _mean([flat.noise_frac for flat in flats]) * _noise_factor(contrast, flats)
    return FlatFrame(
        contrast=contrast,
        background=_mean([flat.background for flat in flats]),
        noise_frac=noise.astype(np.float32),
        valid=valid,
        bin_px=first.bin_px,
        floor_frac=_mean_floor(flats),
        stripe_frac=max(flat.stripe_frac for flat in flats),
    )


def _strips(n_rows: int) -> Iterator[tuple[slice, slice, slice]]:
    """Yield rows to fill, rows to look at for them, and where the former lie in the latter."""
    for top in range(0, n_rows, STRIP_ROWS):
        bottom = min(top + STRIP_ROWS, n_rows)
        outer = slice(max(0, top - HALO_ROWS), min(n_rows, bottom + HALO_ROWS))
        yield slice(top, bottom), outer, slice(top - outer.start, bottom - outer.start)


def _robust_mean(
    flats: Sequence[FlatFrame], rows: slice
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Average some rows without the places at which one frame contradicts the others."""
    contrast = np.stack([flat.contrast[rows] for flat in flats])
    valid = np.stack([flat.valid[rows] for flat in flats])
    noise = np.stack([flat.noise_frac[rows] for flat in flats])
    is_used = valid & ~odd_places(contrast, noise, valid)
    n_used = is_used.sum(axis=0)
    total = np.where(is_used, contrast, np.float32(0.0)).sum(axis=0)
    mean = (total / np.maximum(n_used, 1)).astype(np.float32)
    return mean, (n_used > 0) & (2 * valid.sum(axis=0) > len(flats))


def _mean(planes: Sequence[NDArray[np.float32]]) -> NDArray[np.float32]:
    total = planes[0].astype(np.float32)
    for plane in planes[1:]:
        total += plane
    total /= np.float32(len(planes))
    return total


def _mean_floor(flats: Sequence[FlatFrame]) -> NDArray[np.float32] | None:
    """Average the floors only: rings of coarse codes lie where the light is alike."""
    floors = [flat.floor_frac for flat in flats if flat.floor_frac is not None]
    return _mean(floors) if floors else None


def _noise_factor(contrast: NDArray[np.float32], flats: Sequence[FlatFrame]) -> float:
    """Noise of the mean over that of a frame, both from differences of neighbouring cells."""
    single = float(np.median([_neighbour_noise(flat.contrast) for flat in flats]))
    if single <= 0.0:
        return 1.0
    return min(1.0, _neighbour_noise(contrast) / single)


def _neighbour_noise(contrast: NDArray[np.float32]) -> float:
    rows = contrast[::LOOK_EVERY]
    return MAD_TO_SIGMA * float(np.median(np.abs(rows[:, 1:] - rows[:, :-1])))

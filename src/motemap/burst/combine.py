"""The mean of aligned flattened frames, deaf to what only one of them shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.burst.odd import odd_places
from motemap.errors import GeometryError
from motemap.mesh import SIGMA_PER_MAD
from motemap.planes import Contrast, Steps, to_codes
from motemap.records import FlatFrame

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from motemap.burst.light import LightFlat
    from motemap.records import Windows

STRIP_ROWS = 160
"""Rows worked on at a time, so that memory does not grow with the frames' size."""

HALO_ROWS = 48
"""Rows beyond a strip that its filters reach into: three sigma of the widest, twice over."""

LOOK_EVERY = 3
FLOOR_STEP = 8
"""Cells that share one floor of coarse codes: the background hardly changes over so few."""


def combine_flats(flats: Sequence[LightFlat], background: Windows) -> FlatFrame:
    """Average flattened frames of one state.

    Parameters
    ----------
    flats : sequence of LightFlat
        At least one, all of one shape and bin, with the marks at the same places.
    background : (H, W) float32
        That of one of the frames; it is passed on.

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
    if len({(flat.shape, flat.bin_px) for flat in flats}) > 1:
        raise GeometryError(
            "The frames of the burst differ in size.",
            repair="Combine frames of one body, one image size and one kind of file.",
        )
    codes = np.empty(first.shape, dtype=np.int16)
    valid = np.empty(first.shape, dtype=np.bool_)
    for rows, outer, inner in _strips(first.shape[0]):
        mean, is_usable = _robust_mean(flats, outer)
        codes[rows], valid[rows] = to_codes(mean[inner]), is_usable[inner]
    contrast = Contrast(codes=codes)
    return FlatFrame(
        contrast=contrast,
        background=background,
        noise_frac=_mean_noise(flats) * np.float32(noise_factor(contrast, flats)),
        valid=valid,
        bin_px=first.bin_px,
        floor_frac=_mean_floor(flats),
        stripe_frac=max(flat.stripe_frac for flat in flats),
        n_cut_corners=max(flat.n_cut_corners for flat in flats),
    )


def noise_factor(contrast: Windows, flats: Sequence[LightFlat]) -> float:
    """Return the noise of the mean over that of one frame, at most 1.

    Both are taken from differences of neighbouring cells, so that it is the noise that is
    there and not the one that is hoped for.
    """
    single = float(np.median([_neighbour_noise(flat.contrast) for flat in flats]))
    if single <= 0.0:
        return 1.0
    return min(1.0, _neighbour_noise(contrast) / single)


def _strips(n_rows: int) -> Iterator[tuple[slice, slice, slice]]:
    """Yield rows to fill, rows to look at for them, and where the former lie in the latter."""
    for top in range(0, n_rows, STRIP_ROWS):
        bottom = min(top + STRIP_ROWS, n_rows)
        outer = slice(max(0, top - HALO_ROWS), min(n_rows, bottom + HALO_ROWS))
        yield slice(top, bottom), outer, slice(top - outer.start, bottom - outer.start)


def _robust_mean(
    flats: Sequence[LightFlat], rows: slice
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Average some rows without the places at which one frame contradicts the others."""
    contrast = np.stack([flat.contrast[rows, :] for flat in flats])
    valid = np.stack([flat.valid(rows) for flat in flats])
    is_used = valid
    if len(flats) > 1:
        noise = np.stack([flat.noise_frac[rows, :] for flat in flats])
        is_used = valid & ~odd_places(contrast, noise, valid)
    n_used = is_used.sum(axis=0)
    total = np.where(is_used, contrast, np.float32(0.0)).sum(axis=0)
    mean = (total / np.maximum(n_used, 1)).astype(np.float32)
    return mean, (n_used > 0) & (2 * valid.sum(axis=0) > len(flats))


def _mean_noise(flats: Sequence[LightFlat]) -> NDArray[np.float32]:
    noise: NDArray[np.float32] = np.zeros(flats[0].shape, dtype=np.float32)
    for flat in flats:
        noise += flat.noise_frac[:, :]
    noise /= np.float32(len(flats))
    return noise


def _mean_floor(flats: Sequence[LightFlat]) -> Steps | None:
    """Average the floors only: rings of coarse codes lie where the light is alike."""
    floors = [flat.floor_frac for flat in flats if flat.floor_frac is not None]
    if not floors:
        return None
    total = np.mean([floor[::FLOOR_STEP, ::FLOOR_STEP] for floor in floors], axis=0)
    return Steps(values=total.astype(np.float32), side=FLOOR_STEP, shape=flats[0].shape)


def _neighbour_noise(contrast: Windows) -> float:
    rows = contrast[::LOOK_EVERY, :]
    return SIGMA_PER_MAD * float(np.median(np.abs(rows[:, 1:] - rows[:, :-1])))

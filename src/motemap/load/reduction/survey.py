"""What a sparse look at the stored values tells: levels, noise, black, damage.

A few rows in every strip are enough for robust numbers, and cost a thirtieth of the picture.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.errors import UnreadableFile
from motemap.strips import for_each, row_strips

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.load.reduction.samples import StoredSamples

_VALUES_PER_BLOCK = 256
"""Values of one place in the repeat that tell a median and a noise."""
_STRIPS_AT_ONCE = 8
"""Strips that one piece of work looks at."""
_KEPT_FRAC = 0.9
_KEPT_MEAN_PER_SIGMA = 0.6573
"""Share of the smallest absolute values that are kept, and their mean for a normal law
(derived)."""
_COARSE_STEP_SIGMA = 0.6
"""Noise that hides behind codes, in steps of one: less seldom leaves the code it is in."""
_EMPTY_BLACK_FRAC = 0.9
"""Share of pixels at black or below, beyond which a raw file holds no picture."""
_LOST_FRAC = 0.02
"""Share of the picture that has to be missing: fewer strips may be flat by themselves."""
_PICTURE_FRAC = 0.75
_FEWEST_STRIPS = 4
"""A flat end is damage where so many of the strips above it, and no fewer than these, are not
flat."""
_REPAIR = "Copy the file from the card again; if it stays like this, shoot the frame again."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Survey:
    """Levels and noise of K strips, N blocks of columns, and the (p, p) repeat.

    Parameters
    ----------
    strip_px, block_px : int
        Rows of a strip and columns of a block.
    noise : (K, N, p, p) float32
        Standard deviation of single values [codes], never below what coarse codes hide.
    phase_level : (p, p) float32
        Level of each place in the repeat above black [codes].
    black_frac, fine_noise_frac : float
        As in `motemap.records.Plane`.
    """

    strip_px: int
    block_px: int
    noise: NDArray[np.float32]
    phase_level: NDArray[np.float32]
    black_frac: float
    fine_noise_frac: float


def survey(samples: StoredSamples, strip_px: int) -> Survey:
    """Look at one repeat of rows in every strip.

    Raises
    ------
    UnreadableFile
        When the picture is empty or its end is missing.
    """
    period_px = samples.period_px
    starts = range(0, samples.height_px - period_px + 1, strip_px)

    def look(numbers: slice) -> _Look:
        rows = (samples.read_rows(row, row + period_px) for row in starts[numbers])
        return _look(np.stack(list(rows)), samples.black)

    looks = for_each(look, row_strips(len(starts), _STRIPS_AT_ONCE))
    level = np.concatenate([look.median for look in looks]) - samples.black
    is_flat = np.concatenate([look.is_flat for look in looks])
    sigma = np.concatenate([look.sigma for look in looks])
    n_black = sum(look.n_black for look in looks)
    black_frac = n_black / (len(starts) * period_px * samples.width_px)
    _refuse_damage(samples, is_flat=is_flat, level=level, black_frac=black_frac)
    return Survey(
        strip_px=strip_px,
        block_px=_values_per_block(samples.width_px, period_px) * period_px,
        noise=np.maximum(sigma, _hidden_noise(samples, level)),
        phase_level=np.maximum(np.median(level, axis=(0, 1)), 1.0).astype(np.float32),
        black_frac=black_frac,
        fine_noise_frac=_noise_frac(sigma, level),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Look:
    """What some strips tell: medians, noise and flatness (K, N, p, p), and how many are black."""

    median: NDArray[np.float32]
    is_flat: NDArray[np.bool_]
    sigma: NDArray[np.float32]
    n_black: int


def _look(bands: NDArray[np.uint16], black: NDArray[np.float32]) -> _Look:
    """Look at one repeat of rows of each of K strips, (K, p, W)."""
    period_px = len(black)
    parts = _by_phase(bands, period_px)
    is_flat, sigma = _noise(parts, 2 if period_px == 1 else 1)
    n_black = _count_black(bands, black)
    return _Look(median=_median(parts), is_flat=is_flat, sigma=sigma, n_black=n_black)


def _values_per_block(width_px: int, period_px: int) -> int:
    return min(_VALUES_PER_BLOCK, width_px // period_px)


def _by_phase(bands: NDArray[np.uint16], period_px: int) -> NDArray[np.uint16]:
    """Return (K, N, p, p, n): strips, blocks, place in the repeat, values along the row."""
    n_strips, _, width_px = bands.shape
    n_values = _values_per_block(width_px, period_px)
    n_blocks = width_px // (n_values * period_px)
    cut = bands[..., : n_blocks * n_values * period_px]
    split = cut.reshape(n_strips, period_px, n_blocks, n_values, period_px)
    return np.ascontiguousarray(split.transpose(0, 2, 1, 4, 3))


def _median(values: NDArray[np.uint16]) -> NDArray[np.float32]:
    """Return medians along the last axis."""
    half, is_odd = divmod(values.shape[-1], 2)
    ordered = _sorted(values)
    both = ordered[..., half] + ordered[..., half if is_odd else half - 1]
    return np.asarray(both / 2, dtype=np.float32)


def _sorted(values: NDArray[np.uint16]) -> NDArray[np.int32]:
    """Return values in order along the last axis.

    NumPy sorts numbers of 32 bits, a few hundred at a time, four times as fast as it finds one
    place in the order of numbers of 16 bits.
    """
    return np.sort(values.astype(np.int32), axis=-1)


def _noise(parts: NDArray[np.uint16], apart: int) -> tuple[NDArray[np.bool_], NDArray[np.float32]]:
    """Return where all values are equal, and the standard deviation of single values.

    From differences of pixels of one colour at least two apart, so that shading drops out and
    what a camera program does to neighbours does not count. The mean of the smaller nine
    tenths, so that dust and defects do not count either, and coarse codes do not jump as they
    would with a median. For a normal law that mean is 0.6573 sigma.
    """
    ones, others = parts[..., apart:], parts[..., :-apart]
    gaps = np.maximum(ones, others)
    gaps -= np.minimum(ones, others)
    n_kept = max(1, round(gaps.shape[-1] * _KEPT_FRAC))
    ordered = _sorted(gaps)
    mean = ordered[..., :n_kept].sum(axis=-1) / n_kept
    sigma = mean / (_KEPT_MEAN_PER_SIGMA * np.sqrt(2.0))
    return ordered[..., -1] == 0, sigma.astype(np.float32)


def _hidden_noise(samples: StoredSamples, level: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the noise below which single steps of the stored codes would look like defects."""
    if samples.code_light is None:
        return np.full_like(level, _COARSE_STEP_SIGMA)
    steps = np.gradient(samples.code_light)
    light = level / samples.full_scale
    step = np.interp(light, samples.code_light, steps) * samples.full_scale
    return np.asarray(_COARSE_STEP_SIGMA * step, dtype=np.float32)


def _noise_frac(sigma: NDArray[np.float32], level: NDArray[np.float32]) -> float:
    """Return the noise of one pixel of a cell in which all colours are summed."""
    spread = np.sqrt(np.mean(np.square(sigma), axis=(2, 3)))
    light = level.mean(axis=(2, 3))
    lit = light > np.median(light) / 2
    return float(np.median(spread[lit] / light[lit])) if lit.any() else 0.0


def _count_black(bands: NDArray[np.uint16], black: NDArray[np.float32]) -> int:
    period_px = black.shape[0]
    return sum(
        int(np.count_nonzero(bands[:, row, col::period_px] <= black[row, col]))
        for row in range(period_px)
        for col in range(period_px)
    )


def _refuse_damage(
    samples: StoredSamples,
    *,
    is_flat: NDArray[np.bool_],
    level: NDArray[np.float32],
    black_frac: float,
) -> None:
    """Raise when pixels are missing. Clipped parts are flat too, and are no damage."""
    is_clipped = np.all(level + samples.black >= samples.clip_from, axis=(2, 3))
    is_lost: NDArray[np.bool_] = np.all(is_flat, axis=(2, 3)) & ~is_clipped
    if samples.is_raw:
        dark_frac = np.mean(is_lost & (level <= 0).all(axis=(2, 3)))
        if black_frac > _EMPTY_BLACK_FRAC:
            raise UnreadableFile("The file is cut off or empty: it holds no light.", repair=_REPAIR)
        if dark_frac > _LOST_FRAC:
            raise UnreadableFile(
                f"The file is cut off: {100 * dark_frac:.0f} % of the picture is missing.",
                repair=_REPAIR,
            )
    _refuse_flat_end(np.all(is_lost, axis=1))


def _refuse_flat_end(is_lost: NDArray[np.bool_]) -> None:
    """Raise when the last strips are of one value while those above hold a picture."""
    n_strips = len(is_lost)
    whole = np.flatnonzero(~is_lost)
    n_end = n_strips - 1 - int(whole[-1]) if len(whole) else 0
    is_picture_above = len(whole) >= max(_PICTURE_FRAC * (n_strips - n_end), _FEWEST_STRIPS)
    if n_end >= max(1, round(_LOST_FRAC * n_strips)) and is_picture_above:
        raise UnreadableFile(
            f"The file is cut off: the last {100 * n_end / n_strips:.0f} % of the picture is of one value.",
            repair=_REPAIR,
        )

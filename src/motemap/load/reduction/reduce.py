"""Stored values to the plane that everything later works on, in one pass of strips."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.filters import one_filter_thread
from motemap.load.reduction.borders import lit_area
from motemap.load.reduction.cell_planes import CellPlanes
from motemap.load.reduction.defects import CANDIDATE_SIGMA
from motemap.load.reduction.evenly import even_rows
from motemap.load.reduction.samples import strip_height
from motemap.load.reduction.survey import survey
from motemap.records import Plane
from motemap.strips import for_each, row_strips

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.load.reduction.cell_planes import Tally
    from motemap.load.reduction.evenly import EvenRows
    from motemap.load.reduction.samples import StoredSamples
    from motemap.load.reduction.survey import Survey

_STRIP_PX = 64
"""Rows of a strip, about: the noise is surveyed for each, and each stays in the processor's
cache."""
_LARGEST = np.iinfo(np.uint16).max


@one_filter_thread()
def reduce_samples(samples: StoredSamples, bin_px: int) -> Plane:
    """Average `samples` over squares of `bin_px`, without defects, as linear light.

    The values of a cell are summed as they are and divided by the sum of their colours'
    levels. That is the mean of the colours brought to one level, each weighted by its level:
    the weight that photon noise asks for. No grain of the mosaic is left, and the noise stays
    at the photon limit.

    Raises
    ------
    UnreadableFile
        When the picture is empty or its end is missing.
    """
    seen = survey(samples, strip_height(bin_px, samples.period_px, _STRIP_PX))
    even = even_rows(samples, seen.phase_level)
    cells = CellPlanes(samples, even, bin_px, seen.phase_level)

    def add(strip: slice) -> Tally:
        return cells.add_strip(strip, _limits(seen, even, strip, samples.width_px))

    tallies = for_each(add, row_strips(samples.height_px, seen.strip_px))
    _mark_unlit(cells.valid, lit_area(samples, seen.phase_level), bin_px)
    n_pixels = samples.height_px * samples.width_px
    return Plane(
        light=cells.light,
        valid=cells.valid,
        bin_px=bin_px,
        clipped_frac=sum(tally.n_clipped for tally in tallies) / n_pixels,
        black_frac=seen.black_frac,
        defect_count=sum(tally.n_defects for tally in tallies),
        code_step=_code_step(samples),
        block_step_codes=samples.block_step_codes,
        fine_noise_frac=seen.fine_noise_frac,
        has_photosites=samples.has_photosites,
    )


def _limits(seen: Survey, even: EvenRows, strip: slice, width_px: int) -> NDArray[np.uint16]:
    """Return (p, W): how far beyond its neighbours a pixel of that strip is suspect."""
    number = min(strip.start // seen.strip_px, len(seen.noise) - 1)
    sigma = seen.noise[number] * even.gain
    blocks = np.ceil(CANDIDATE_SIGMA * sigma).clip(1, _LARGEST).astype(np.uint16)
    n_blocks, period_px, _ = blocks.shape
    n_repeats = np.full(n_blocks, seen.block_px // period_px)
    n_repeats[-1] += -((n_blocks * seen.block_px - width_px) // period_px)
    by_row = np.ascontiguousarray(blocks.transpose(1, 0, 2))
    rows = np.repeat(by_row, n_repeats, axis=1).reshape(period_px, -1)
    return np.asarray(rows[:, :width_px])


def _mark_unlit(valid: NDArray[np.bool_], area: tuple[slice, slice], bin_px: int) -> None:
    """Mark cells that do not lie in the area as a whole."""
    rows, cols = (slice(-(-side.start // bin_px), side.stop // bin_px) for side in area)
    for is_outside in (np.s_[: rows.start], np.s_[rows.stop :]):
        valid[is_outside] = False
    for is_outside in (np.s_[: cols.start], np.s_[cols.stop :]):
        valid[:, is_outside] = False


def _code_step(samples: StoredSamples) -> NDArray[np.float32] | None:
    if samples.code_light is None:
        return None
    return np.gradient(samples.code_light).astype(np.float32)

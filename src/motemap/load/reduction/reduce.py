"""Stored values to the plane that everything later works on, in one pass of strips."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.load.reduction.binning import sum_cells, sum_repeat
from motemap.load.reduction.borders import lit_area
from motemap.load.reduction.defects import CANDIDATE_SIGMA, MARGIN_PX, find_defects
from motemap.load.reduction.evenly import even_rows
from motemap.load.reduction.samples import padded_rows, strip_height
from motemap.load.reduction.survey import survey
from motemap.records import Plane

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.load.reduction.evenly import EvenRows
    from motemap.load.reduction.samples import StoredSamples
    from motemap.load.reduction.survey import Survey

_STRIP_PX = 64
_LARGEST = np.iinfo(np.uint16).max


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
    cells = _Cells(samples, bin_px)
    even = even_rows(samples, seen.phase_level)
    for number, start in enumerate(range(0, samples.height_px, seen.strip_px)):
        stop = min(start + seen.strip_px, samples.height_px)
        cells.add_strip(even, (start, stop), _limits(seen, even, number, samples.width_px))
    is_lit = _lit_cells(lit_area(samples, seen.phase_level), cells)
    n_pixels = samples.height_px * samples.width_px
    return Plane(
        light=cells.light(seen.phase_level),
        valid=is_lit & ~cells.has_clipped,
        bin_px=bin_px,
        clipped_frac=cells.n_clipped / n_pixels,
        black_frac=seen.black_frac,
        defect_count=cells.n_defects,
        code_step=_code_step(samples),
        fine_noise_frac=seen.fine_noise_frac,
    )


def _limits(seen: Survey, even: EvenRows, number: int, width_px: int) -> NDArray[np.uint16]:
    """Return (p, W): how far beyond its neighbours a pixel of that strip is suspect."""
    sigma = seen.noise[min(number, len(seen.noise) - 1)] * even.gain
    blocks = np.ceil(CANDIDATE_SIGMA * sigma).clip(1, _LARGEST).astype(np.uint16)
    n_repeats = seen.block_px // blocks.shape[-1]
    row = np.concatenate([np.tile(block, n_repeats) for block in blocks], axis=1)
    n_left = width_px - row.shape[1]
    period_px = blocks.shape[-1]
    rest = np.tile(blocks[-1], -(-n_left // period_px))[:, :n_left]
    return np.concatenate([row, rest], axis=1)


class _Cells:
    """What is gathered cell by cell; the one thing here that changes."""

    def __init__(self, samples: StoredSamples, bin_px: int) -> None:
        shape = (samples.height_px // bin_px, samples.width_px // bin_px)
        self.samples = samples
        self.bin_px = bin_px
        self.total = np.zeros(shape, dtype=np.float32)
        self.has_clipped = np.zeros(shape, dtype=bool)
        self.n_clipped = 0
        self.n_defects = 0

    def add_strip(self, even: EvenRows, span: tuple[int, int], limits: NDArray[np.uint16]) -> None:
        """Add the rows of one strip, with repaired values in place of defects."""
        start, stop = span
        padded = padded_rows(even.read_rows, span, self.samples.height_px, MARGIN_PX)
        defects = find_defects(padded, limits)
        stored = padded[MARGIN_PX:-MARGIN_PX, MARGIN_PX:-MARGIN_PX]
        if not even.is_stored:
            stored = self.samples.read_rows(start, stop)
        at = defects.rows, defects.cols
        stored = self._without_clipped(stored, at, start)
        # Against the value that goes into the sum, which may have been cut to full scale.
        change = even.stored(defects.repaired, defects.rows + start, defects.cols) - stored[at]
        self.n_defects += len(change)
        self._sum(stored, start)
        self._correct(change, (defects.rows + start, defects.cols))

    def _without_clipped(
        self, stored: NDArray[np.uint16], defects: tuple[NDArray[np.intp], ...], start: int
    ) -> NDArray[np.uint16]:
        """Note the clipped pixels that are no defects; return values of at most full scale."""
        is_clipped = stored >= self.samples.clip_from
        if not is_clipped.any():
            return stored
        is_clipped[defects] = False
        self.n_clipped += int(np.count_nonzero(is_clipped))
        n_clipped = sum_cells(is_clipped.astype(np.uint16), self.bin_px, 1)
        first = start // self.bin_px
        self.has_clipped[first : first + len(n_clipped)] = n_clipped > 0
        return np.minimum(stored, np.uint16(min(self.samples.full_scale, _LARGEST)))

    def _sum(self, stored: NDArray[np.uint16], start: int) -> None:
        cells = sum_cells(stored, self.bin_px, int(stored.max()))
        first = start // self.bin_px
        self.total[first : first + len(cells)] = cells

    def _correct(
        self, change: NDArray[np.float32], at: tuple[NDArray[np.intp], NDArray[np.intp]]
    ) -> None:
        rows, cols = (line // self.bin_px for line in at)
        is_inside = (rows < self.total.shape[0]) & (cols < self.total.shape[1])
        np.add.at(self.total, (rows[is_inside], cols[is_inside]), change[is_inside])

    def light(self, phase_level: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return the light of each cell; 1 is where the brightest colour clips, and the most."""
        shape = self.total.shape
        black = sum_repeat(self.samples.black, self.bin_px, shape)
        level = sum_repeat(phase_level, self.bin_px, shape)
        brightest = phase_level.max() / (self.samples.full_scale - self.samples.black.mean())
        light = (self.total - black) * (brightest / level)
        return np.asarray(np.minimum(light, 1.0), dtype=np.float32)


def _lit_cells(area: tuple[slice, slice], cells: _Cells) -> NDArray[np.bool_]:
    """Return True for cells that lie in the area as a whole."""
    is_lit = np.zeros(cells.total.shape, dtype=bool)
    rows, cols = (slice(-(-side.start // cells.bin_px), side.stop // cells.bin_px) for side in area)
    is_lit[rows, cols] = True
    return is_lit


def _code_step(samples: StoredSamples) -> NDArray[np.float32] | None:
    if samples.code_light is None:
        return None
    return np.gradient(samples.code_light).astype(np.float32)

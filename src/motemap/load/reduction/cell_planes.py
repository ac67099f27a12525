"""What is gathered cell by cell: light, and which cells can be used."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.load.reduction.binning import any_cells, sum_cells, sum_repeat
from motemap.load.reduction.defects import MARGIN_PX, find_defects
from motemap.load.reduction.padding import PaddedStrips
from motemap.load.reduction.scratch import Scratch

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.load.reduction.defects import Defects
    from motemap.load.reduction.evenly import EvenRows
    from motemap.load.reduction.samples import StoredSamples

_LARGEST = np.iinfo(np.uint16).max


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """How many clipped pixels and defects a strip holds."""

    n_clipped: int
    n_defects: int


class CellPlanes:
    """Planes of cells, filled strip by strip; different strips may be added at the same time.

    Parameters
    ----------
    samples : StoredSamples
    even : EvenRows
        The same picture, for looking at neighbours.
    bin_px : int
        Side of a cell.
    phase_level : (p, p) float32
        Level of each place in the mosaic's repeat above black.
    """

    def __init__(
        self,
        samples: StoredSamples,
        even: EvenRows,
        bin_px: int,
        phase_level: NDArray[np.float32],
    ) -> None:
        shape = (samples.height_px // bin_px, samples.width_px // bin_px)
        self.light = np.empty(shape, dtype=np.float32)
        """Light of each cell; 1 is where the brightest colour clips, and the most."""
        self.valid = np.empty(shape, dtype=bool)
        self._samples, self._even, self._bin_px = samples, even, bin_px
        brightest = phase_level.max() / (samples.full_scale - samples.black.mean())
        self._black = _rows_of(sum_repeat(samples.black, bin_px), shape[1])
        self._gain = brightest / _rows_of(sum_repeat(phase_level, bin_px), shape[1])
        self._padded = PaddedStrips(
            even.read_rows, (samples.height_px, samples.width_px), MARGIN_PX
        )
        self._scratch = Scratch()

    def add_strip(self, strip: slice, limits: NDArray[np.uint16]) -> Tally:
        """Add rows that begin with a cell and a repeat of the mosaic, without their defects."""
        samples, even = self._samples, self._even
        padded = self._padded.strip(strip.start, strip.stop)
        defects = find_defects(
            padded,
            limits,
            even.rows_black,
            self._scratch,
            has_photosites=samples.has_photosites,
        )
        stored = padded[MARGIN_PX:-MARGIN_PX, MARGIN_PX:-MARGIN_PX]
        if not even.is_stored:
            stored = samples.read_rows(strip.start, strip.stop)
        cells = slice(strip.start // self._bin_px, strip.stop // self._bin_px)
        stored, largest, n_clipped = self._without_clipped(stored, defects, cells)
        at = defects.rows, defects.cols
        # Against the value that goes into the sum, which may have been cut to full scale.
        change = even.stored(defects.repaired, at[0] + strip.start, at[1]) - stored[at]
        light = self.light[cells]
        light[...] = sum_cells(stored, self._bin_px, largest)
        self._correct(light, change, at)
        self._scale(light)
        return Tally(n_clipped=n_clipped, n_defects=len(change))

    def _without_clipped(
        self, stored: NDArray[np.uint16], defects: Defects, cells: slice
    ) -> tuple[NDArray[np.uint16], int, int]:
        """Note the clipped pixels that are no defects.

        Returns
        -------
        stored : (R, W) uint16
            Values of at most full scale.
        largest : int
            The largest of them.
        n_clipped : int
        """
        self.valid[cells] = True
        largest = int(stored.max())
        if largest < self._samples.clip_from:
            return stored, largest, 0
        is_clipped = self._scratch.array("is_clipped", stored.shape, np.bool_)
        np.greater_equal(stored, self._samples.clip_from, out=is_clipped)
        is_clipped[defects.rows, defects.cols] = False
        n_clipped = int(np.count_nonzero(is_clipped))
        if n_clipped:
            self.valid[cells] &= ~any_cells(is_clipped, self._bin_px)
        most = int(min(self._samples.full_scale, _LARGEST))
        if largest <= most:
            return stored, largest, n_clipped
        cut = self._scratch.array("cut", stored.shape, np.uint16)
        return np.minimum(stored, np.uint16(most), out=cut), most, n_clipped

    def _correct(
        self,
        total: NDArray[np.float32],
        change: NDArray[np.float32],
        at: tuple[NDArray[np.intp], NDArray[np.intp]],
    ) -> None:
        rows, cols = (line // self._bin_px for line in at)
        is_inside = (rows < total.shape[0]) & (cols < total.shape[1])
        np.add.at(total, (rows[is_inside], cols[is_inside]), change[is_inside])

    def _scale(self, total: NDArray[np.float32]) -> None:
        """Turn sums of stored values into light."""
        n_repeats = len(self._black)
        for row in range(n_repeats):
            part = total[row::n_repeats]
            part -= self._black[row]
            part *= self._gain[row]
        np.minimum(total, np.float32(1), out=total)


def _rows_of(repeat: NDArray[np.float32], width_cells: int) -> NDArray[np.float32]:
    """Return a repeat of (n, n) cells for whole rows, (n, width)."""
    return repeat[:, np.arange(width_cells) % repeat.shape[1]]

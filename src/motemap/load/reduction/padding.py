"""Strips with rows and columns of context, for looking at neighbours."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

import numpy as np

from motemap.load.reduction.scratch import Scratch
from motemap.strips import row_strips

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

_ROWS_AT_ONCE = 16
"""Rows that a reader is asked for: what it makes of them is still in the processor's cache when
it is copied, and its arrays are used again."""


class PaddedStrips(threading.local):
    """Strips of a picture with a margin all round; past the border the picture is mirrored.

    Even and odd lines are mirrored each on the last of their own: so the colours of a 2x2
    mosaic stay in step, and no pixel is its own neighbour two lines away. Each thread has a run
    of strips of its own: one that goes on where that thread's last ended takes over its last rows.

    Parameters
    ----------
    read_rows : callable
        As in `motemap.load.reduction.samples.StoredSamples`.
    size_px : (int, int)
        Height and width of the picture.
    margin_px : int
        Rows and columns of context on every side.
    """

    def __init__(
        self,
        read_rows: Callable[[int, int], NDArray[np.uint16]],
        size_px: tuple[int, int],
        margin_px: int,
    ) -> None:
        self._read_rows, self._size_px, self._margin_px = read_rows, size_px, margin_px
        self._scratch = Scratch()
        self._ending = np.empty((0, size_px[1] + 2 * margin_px), np.uint16)
        self._stop = 0

    def strip(self, start: int, stop: int) -> NDArray[np.uint16]:
        """Return rows with their margin; the thread's next call overwrites them."""
        margin_px, (height_px, width_px) = self._margin_px, self._size_px
        if 0 < start == stop - 1:  # one row is too few to mirror all of the margin on
            return self.strip(start - 1, stop)[1:]
        first, last = max(start - margin_px, 0), min(stop + margin_px, height_px)
        above, below = first - (start - margin_px), (stop + margin_px) - last
        shape = stop - start + 2 * margin_px, width_px + 2 * margin_px
        padded = self._scratch.array("padded", shape, np.uint16)
        body = padded[above : len(padded) - below]
        goes_on = start == self._stop and margin_px <= start <= height_px - margin_px
        n_known = 2 * margin_px if goes_on else 0  # the margins of this strip and that before it
        body[:n_known] = self._ending[len(self._ending) - n_known :]
        self._fill(body[n_known:], first + n_known)
        beyond = self._beyond
        padded[:above] = body[beyond[:above]][::-1]
        padded[len(padded) - below :] = body[-1 - beyond[:below]]
        self._ending, self._stop = padded[-2 * margin_px :], stop
        return padded

    def _fill(self, body: NDArray[np.uint16], first: int) -> None:
        """Read rows from the first one on, and mirror them at both ends."""
        width_px = self._size_px[1]
        inner = body[:, self._margin_px : self._margin_px + width_px]
        for rows in row_strips(len(body), _ROWS_AT_ONCE):
            inner[rows] = self._read_rows(first + rows.start, first + rows.stop)
        beyond = self._beyond
        body[:, self._margin_px - 1 :: -1] = inner[:, beyond]
        body[:, self._margin_px + width_px :] = inner[:, -1 - beyond]

    @property
    def _beyond(self) -> NDArray[np.intp]:
        """How far from the border lies what is seen one, two ... lines beyond it."""
        return np.array([step + 2 * (step % 2) for step in range(1, self._margin_px + 1)])

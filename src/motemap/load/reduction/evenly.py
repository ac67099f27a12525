"""Stored rows with all colours at one level, for looking at neighbours."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.load.reduction.samples import WIDE_MOSAIC_SIDE_PX
from motemap.load.reduction.scratch import Scratch

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from motemap.load.reduction.samples import StoredSamples

_LARGEST = np.iinfo(np.uint16).max


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EvenRows:
    """Rows in which a pixel may be compared with those two pixels away.

    Parameters
    ----------
    read_rows : callable
        As in `StoredSamples`.
    gain, black : (p, p) float32
        An even value is ``(stored - black) * gain``.
    rows_black : (p, p) float32
        What the rows themselves hold without light.
    is_stored : bool
        Whether the rows are the stored ones: in a 2x2 mosaic pixels two apart have one colour.
    """

    read_rows: Callable[[int, int], NDArray[np.uint16]]
    gain: NDArray[np.float32]
    black: NDArray[np.float32]
    rows_black: NDArray[np.float32]
    is_stored: bool

    def stored(
        self, values: NDArray[np.float32], rows: NDArray[np.intp], cols: NDArray[np.intp]
    ) -> NDArray[np.float32]:
        """Return even values at rows and columns of the picture as stored values."""
        period_px = self.gain.shape[0]
        at = rows % period_px, cols % period_px
        return np.asarray(values / self.gain[at] + self.black[at], dtype=np.float32)


def even_rows(samples: StoredSamples, phase_level: NDArray[np.float32]) -> EvenRows:
    """Level the colours of a 6x6 mosaic by their levels; leave anything else as it is."""
    if samples.period_px < WIDE_MOSAIC_SIDE_PX:
        return EvenRows(
            read_rows=samples.read_rows,
            gain=np.ones_like(samples.black),
            black=np.zeros_like(samples.black),
            rows_black=samples.black,
            is_stored=True,
        )
    gain = np.asarray(phase_level.max() / phase_level, dtype=np.float32)
    period_px = samples.period_px
    n_repeats = -(-samples.width_px // period_px)
    gains = np.tile(gain, n_repeats)[:, : samples.width_px]
    blacks = np.tile(samples.black, n_repeats)[:, : samples.width_px]
    scratch = Scratch()

    def read_rows(start: int, stop: int) -> NDArray[np.uint16]:
        stored = samples.read_rows(start, stop)
        light = scratch.array("light", stored.shape, np.float32)
        for row in range(min(period_px, stop - start)):
            phase, part = (start + row) % period_px, light[row::period_px]
            np.subtract(stored[row::period_px], blacks[phase], out=part)
            part *= gains[phase]
        np.clip(light, 0, _LARGEST, out=light)
        return light.astype(np.uint16)

    return EvenRows(
        read_rows=read_rows,
        gain=gain,
        black=samples.black,
        rows_black=np.zeros_like(samples.black),
        is_stored=False,
    )

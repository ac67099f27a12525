"""Flattened frames in a quarter of the room, for as long as a burst is gathered."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.planes import Contrast, Steps

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import FlatFrame, Windows

NOISE_STEP = 16
"""Every so manieth cell of the noise is kept: it changes over a hundred cells and more."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LightFlat:
    """What a burst needs of a flattened frame; see `FlatFrame` for the meaning.

    The background is left out: that of one frame stands for all.

    Parameters
    ----------
    contrast : (H, W) Contrast
    noise_frac : (H, W) Steps
        Noise of every sixteenth cell in both directions, the first included.
    packed_valid : (H, W / 8) uint8
        Eight cells of the mask a byte.
    floor_frac : (H, W) float32 or None
    """

    contrast: Windows
    noise_frac: Windows
    packed_valid: NDArray[np.uint8]
    bin_px: int
    floor_frac: Windows | None
    stripe_frac: float
    n_cut_corners: int = 0

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        height, width = self.contrast.shape
        return height, width

    def valid(self, rows: slice) -> NDArray[np.bool_]:
        """Return some rows of the mask."""
        unpacked = np.unpackbits(self.packed_valid[rows], axis=1, count=self.shape[1])
        return unpacked.astype(np.bool_)


def lighten(flat: FlatFrame) -> LightFlat:
    """Keep of a flattened frame what its burst needs."""
    height, width = flat.contrast.shape
    return LightFlat(
        contrast=flat.contrast
        if isinstance(flat.contrast, Contrast)
        else Contrast.of(flat.contrast[:, :]),
        noise_frac=Steps(
            values=np.array(flat.noise_frac[::NOISE_STEP, ::NOISE_STEP]),
            side=NOISE_STEP,
            shape=(height, width),
        ),
        packed_valid=np.packbits(flat.valid, axis=1),
        bin_px=flat.bin_px,
        floor_frac=flat.floor_frac,
        stripe_frac=flat.stripe_frac,
        n_cut_corners=flat.n_cut_corners,
    )

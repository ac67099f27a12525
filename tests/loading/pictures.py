"""Small pictures, and the light their codes stand for."""

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motemap.load import LoadedPicture, load_picture
from motemap.load.readers.curves import srgb_light
from motemap.synth.files import FileTags

SHAPE = (98, 151)
TAGS = FileTags(maker="Norrland Optik", f_number=16.0, orientation=3)
TINT = np.array([0, -9, 6])


def ramp(n_bits: int = 8, n_colours: int = 1) -> NDArray[Any]:
    """Codes that rise from a third to two thirds along the rows, with a tint."""
    codes = np.linspace(85, 170, SHAPE[1]).round()[None] * np.ones((SHAPE[0], 1))
    if n_colours > 1:
        codes = codes[..., None] + TINT[:n_colours]
    return (codes * (257 if n_bits == 16 else 1)).astype(np.uint16 if n_bits == 16 else np.uint8)


def light_of(codes: NDArray[Any]) -> NDArray[np.float64]:
    light = srgb_light(codes / np.iinfo(codes.dtype).max)
    return light if light.ndim == 2 else light.mean(axis=2)


def loaded(path: Path, bin_px: int = 1) -> LoadedPicture:
    return load_picture(path, lambda _info, _metadata: bin_px)

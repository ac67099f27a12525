"""Writes plain pictures with the few tags an old camera leaves."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

EXIF_POINTER = 0x8769
MAKE, MODEL = 0x010F, 0x0110
F_NUMBER, EXPOSURE_TIME, ISO, FOCAL_LENGTH = 0x829D, 0x829A, 0x8827, 0x920A
PLANE_X, PLANE_Y, PLANE_UNIT = 0xA20E, 0xA20F, 0xA210
CENTIMETRES, UM_PER_CM = 3, 1e4


def write_picture(
    path: Path,
    codes: NDArray[np.uint8],
    *,
    f_number: float | None = 16.0,
    pitch_um: float | None = 6.1,
    quality: int = 92,
) -> None:
    """Write codes as JPEG or PNG, by the path's ending.

    Parameters
    ----------
    path : Path
    codes : (H, W) or (H, W, 3) uint8
        Grey codes are stored as three equal colours, as a camera does.
    f_number, pitch_um : float or None
        What the tags tell; None leaves them out.
    quality : int
        Of a JPEG.
    """
    colours = codes if codes.ndim == 3 else np.repeat(codes[:, :, None], 3, axis=2)
    tags = Image.Exif()
    tags[MAKE], tags[MODEL] = "Brackenridge", "B-10"
    inner = tags.get_ifd(EXIF_POINTER)
    inner[ISO], inner[EXPOSURE_TIME], inner[FOCAL_LENGTH] = 100, 0.02, 50.0
    if f_number is not None:
        inner[F_NUMBER] = f_number
    if pitch_um is not None:
        inner[PLANE_X] = inner[PLANE_Y] = UM_PER_CM / pitch_um
        inner[PLANE_UNIT] = CENTIMETRES
    picture = Image.fromarray(colours)
    if path.suffix == ".png":
        picture.save(path, exif=tags)
    else:
        picture.save(path, quality=quality, subsampling=2, exif=tags)

"""Samples of pictures whose codes stand for light by a tone curve."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from importlib import import_module
from typing import TYPE_CHECKING

import numpy as np

from motemap.load.readers.curves import power_light, profile_curve, srgb_light
from motemap.load.reduction.samples import OpenPicture, StoredSamples
from motemap.records import ImageInfo

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from motemap.load.readers.curves import Curve
    from motemap.load.readers.pixels import Codes, ReadCodes
    from motemap.records import ImageKind, Metadata

BYTE_BITS = 8
_GREY_RANK, _COLOUR_RANK = 2, 3
_CLIPPED_CODE, _LAST_CODE = 254, 255
"""From the first on, of 8-bit codes, a pixel counts as clipped: coding takes the last one down."""
_SMALL_SCALE = 16383
"""Light is kept in 14 bits for 8-bit codes, so that four rows can be summed in 16 bits."""

_LARGEST = int(np.iinfo(np.uint16).max)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coding:
    """How codes become light.

    Parameters
    ----------
    bits : int
        8 or 16.
    profile : bytes or None
        Embedded colour profile.
    gamma : float or None
        Exponent that the file states by itself.
    is_inverted : bool
        Whether code 0 is white.
    block_step_codes : (8, 8) float32 or None
        Steps of the cosines of blocks, when the picture was stored as such; see `Plane`.
    """

    bits: int
    profile: bytes | None = None
    gamma: float | None = None
    is_inverted: bool = False
    block_step_codes: NDArray[np.float32] | None = None

    def light(self) -> tuple[Curve, bool]:
        """Return the light of every code, 0-1, and whether the file's own curve was used."""
        codes = np.linspace(0.0, 1.0, 1 << self.bits)
        curve = profile_curve(self.profile)
        if curve is None and self.gamma is not None:
            light = power_light(codes, self.gamma)
        else:
            light = np.asarray(curve(codes) if curve is not None else srgb_light(codes))
        is_own = curve is not None or self.gamma is not None
        light = light.clip(0.0, 1.0)
        return (light[::-1] if self.is_inverted else light), is_own


def coded_picture(
    kind: ImageKind,
    read_codes: ReadCodes,
    shape: tuple[int, ...],
    coding: Coding,
    metadata: Metadata,
) -> OpenPicture:
    """Return a decoded picture whose codes stand for light.

    Parameters
    ----------
    kind : str
        Kind of file.
    read_codes : callable
        ``read_codes(start, stop)`` gives (n, W) or (n, W, 3) codes.
    shape : tuple of int
        Shape of the whole picture.
    coding : Coding
        How codes become light.
    metadata : Metadata
        What the file says about itself.
    """
    light, is_own = coding.light()
    info = ImageInfo(
        kind=kind,
        width_px=shape[1],
        height_px=shape[0],
        exif_orientation=metadata.exif_orientation,
        bits=coding.bits,
        curve="profile" if is_own else "srgb",
    )
    samples = replace(_samples(read_codes, shape, light), block_step_codes=coding.block_step_codes)
    return OpenPicture(samples=samples, info=info, metadata=metadata)


def _samples(read_codes: ReadCodes, shape: tuple[int, ...], light: Curve) -> StoredSamples:
    """Return samples that turn codes into light strip by strip, before anything is averaged.

    Colours of a pixel are added as light. A pixel counts as clipped as soon as one of them is,
    and gets the largest number there is.
    """
    is_small = len(light) == 1 << BYTE_BITS
    n_colours = shape[2] if len(shape) == _COLOUR_RANK else 1
    scale = _SMALL_SCALE if is_small else _LARGEST // n_colours
    table = np.round(light * scale).astype(np.uint16)
    clipped = light >= np.sort(light)[len(light) * _CLIPPED_CODE // (_LAST_CODE + 1)]
    read_rows = (
        _colour_reader(read_codes, table, clipped)
        if n_colours > 1
        else _grey_reader(read_codes, table)
    )
    return StoredSamples(
        read_rows=read_rows,
        height_px=shape[0],
        width_px=shape[1],
        black=np.zeros((1, 1), dtype=np.float32),
        colours=np.zeros((1, 1), dtype=np.uint8),
        clip_from=_LARGEST if n_colours > 1 else int(table[clipped].min()),
        full_scale=float(scale * n_colours),
        code_light=np.sort(light).astype(np.float32) if is_small else None,
    )


def _grey_reader(
    read_codes: ReadCodes, table: NDArray[np.uint16]
) -> Callable[[int, int], NDArray[np.uint16]]:
    look_up = _look_up_in(table)

    def read_rows(start: int, stop: int) -> NDArray[np.uint16]:
        return look_up(read_codes(start, stop))

    return read_rows


def _colour_reader(
    read_codes: ReadCodes, table: NDArray[np.uint16], clipped: NDArray[np.bool_]
) -> Callable[[int, int], NDArray[np.uint16]]:
    """Return what reads rows as the sum of their colours' light, clipped pixels at the most."""
    look_up = _look_up_in(table)
    first_clipped = int(np.argmax(clipped))

    def read_rows(start: int, stop: int) -> NDArray[np.uint16]:
        codes = read_codes(start, stop)
        light = look_up(codes[..., 0])
        for colour in range(1, codes.shape[2]):
            light += look_up(codes[..., colour])
        if int(codes.max()) >= first_clipped:  # most strips have nothing to look for
            light[np.take(clipped, codes).any(axis=2)] = _LARGEST
        return light

    return read_rows


def _look_up_in(table: NDArray[np.uint16]) -> Callable[[Codes], NDArray[np.uint16]]:
    """Return a function that gives the light of codes."""
    if len(table) > 1 << BYTE_BITS:
        return lambda codes: np.asarray(np.take(table, codes))
    # Imported no sooner: by now the picture is decoded.
    return partial(import_module("motemap.filters").look_up, table)

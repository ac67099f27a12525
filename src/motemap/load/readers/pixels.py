"""Codes out of an open Pillow picture, 16-bit colour included."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from motemap.errors import UnsupportedFile

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray
    from PIL import Image
    from PIL.ImageFile import ImageFile

    Codes = NDArray[np.uint8] | NDArray[np.uint16]
    ReadCodes = Callable[[int, int], Codes]

_OPAQUE = 255
_PER_UPPER = np.uint16(256)
_WITH_ALPHA = frozenset(("RGBA", "LA", "PA"))
_WIDE_GREY = frozenset(("I;16", "I;16B", "I;16L", "I;16N"))
_FLAT = "Save it without transparent parts, or give the file from the camera."


def refuse_transparent(lowest_alpha: int, opaque: int = _OPAQUE) -> None:
    """Raise when a picture has parts that let a background through."""
    if lowest_alpha < opaque:
        raise UnsupportedFile("The picture has transparent parts.", repair=_FLAT)


def as_grey(picture: Image.Image) -> Image.Image:
    """Return the brightness of a picture, itself where it is nothing else."""
    return picture if picture.mode == "L" else picture.convert("L")


def narrow_codes(picture: Image.Image) -> tuple[ReadCodes, tuple[int, ...], int]:
    """Return a reader, shape and bits of a picture of 8 bits a sample, or of 16-bit grey."""
    if picture.mode in _WIDE_GREY:
        return _reader(picture, 1), (picture.height, picture.width), 16
    if picture.mode == "P":
        picture = picture.convert("RGBA" if "transparency" in picture.info else "RGB")
    if picture.mode in _WITH_ALPHA:
        refuse_transparent(_lowest_alpha(picture))
    if picture.mode in {"1", "L", "LA"}:
        return _reader(as_grey(picture), 1), (picture.height, picture.width), 8
    if picture.mode in {"RGB", "RGBA"}:
        return _reader(picture, 3), (picture.height, picture.width, 3), 8
    raise UnsupportedFile(
        f"Pictures with pixels of the kind {picture.mode!r} are not read.",
        repair="Save it as 8- or 16-bit grey or RGB, or give the file from the camera.",
    )


def _lowest_alpha(picture: Image.Image) -> int:
    opacity = np.asarray(picture.getchannel("A"))
    return int(opacity.min())


def _reader(picture: Image.Image, n_samples: int) -> ReadCodes:
    """Copy strips out of the picture: a whole copy would double the memory."""

    def read_codes(start: int, stop: int) -> Codes:
        strip: NDArray[Any] = np.asarray(picture.crop((0, start, picture.width, stop)))
        if strip.dtype.itemsize > 1:
            return strip.astype(np.uint16)
        return strip[..., :n_samples] if n_samples > 1 else strip

    return read_codes


def wide_codes(
    open_picture: Callable[[], ImageFile], layouts: tuple[str, str]
) -> tuple[ReadCodes, tuple[int, ...], int]:
    """Return a reader, shape and bits of a picture with 16-bit colour.

    Pillow keeps 8 bits of such pictures, those that the raw layout names. So it is asked
    twice: once for the upper bytes and once for the lower ones.

    Parameters
    ----------
    open_picture : callable
        Opens the picture; nothing is decoded yet.
    layouts : (str, str)
        Pillow's names of the layouts that give upper and lower bytes.
    """
    halves = []
    for layout in layouts:
        picture = open_picture()
        picture.tile = [_with_layout(tile, layout) for tile in picture.tile]
        picture.load()
        halves.append(picture)
    upper, lower = halves
    if upper.mode == "RGBA":
        refuse_transparent(min(_lowest_alpha(half) for half in halves))
    read_upper, read_lower = _reader(upper, 3), _reader(lower, 3)

    def read_codes(start: int, stop: int) -> Codes:
        codes = read_upper(start, stop).astype(np.uint16)
        codes *= _PER_UPPER
        codes += read_lower(start, stop)
        return codes

    return read_codes, (upper.height, upper.width, 3), 16


def _with_layout(tile: Any, layout: str) -> Any:
    """Return a tile of the picture that is unpacked by another layout.

    The layout is the decoder's one argument, or the first of several.
    """
    args = layout if isinstance(tile[3], str) else (layout, *tile[3][1:])
    return tile._replace(args=args) if hasattr(tile, "_replace") else (*tile[:3], args)

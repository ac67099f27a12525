"""Raw files: stored sensor values, black and white levels, and the mosaic."""

from __future__ import annotations

import unicodedata
from contextlib import ExitStack, closing, contextmanager
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import rawpy

from motemap.errors import UnsupportedFile
from motemap.load.boundary import reading
from motemap.load.kinds import has_all_colours
from motemap.load.readers.clipping import find_clip
from motemap.load.readers.decoder_tags import with_decoder_tags
from motemap.load.readers.limits import MOST_BYTES, refuse_size
from motemap.load.reduction.samples import (
    MOSAIC_SIDE_PX,
    WIDE_MOSAIC_SIDE_PX,
    OpenPicture,
    StoredSamples,
)
from motemap.records import ImageInfo

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from motemap.load.source import Source
    from motemap.records import Metadata

_STORED_BYTES = 2
_STACK_BYTES = 4 * _STORED_BYTES
"""What the decoder holds of a pixel with all its colours, whatever their number."""

_STACK_RANK = 3
_MOST_COLOURS = 3
_LOOK_EVERY_PX = 31
"""Every so many-th row is looked at for levels; a prime, so that rows of all colours are among
them."""
_FEWEST_MASKED_PX = 8
_MOST_BLACK_FRAC = 0.3
"""A masked margin tells the black level if it is so wide, and so much darker than the picture."""
_LARGEST = np.iinfo(np.uint16).max
_SAVE = (
    "If the camera can, shoot it again as raw with lossless or no compression, or as JPEG; "
    "or convert the file to DNG, uncompressed if it is one already."
)


@contextmanager
def open_raw(source: Source, metadata: Metadata) -> Iterator[OpenPicture]:
    """Decode a raw file; its samples live until the context ends.

    Raises
    ------
    UnsupportedFile
        When the decoder does not know this camera's files.
    UnreadableFile
        When the file is damaged, cut off or empty.
    """
    with ExitStack() as stack:
        with reading("raw file", str(source.path)):
            raw = stack.enter_context(closing(_opened(source)))
            _refuse_large(raw, source)
            with _knowing():
                raw.unpack()
            opened = _described(raw, metadata)
        yield opened


def visible_size(source: Source) -> tuple[int, int] | None:
    """Return (height, width) [px] without decoding; None when the decoder cannot tell."""
    try:
        with closing(_opened(source)) as raw:
            return raw.sizes.height, raw.sizes.width
    except (rawpy.LibRawError, UnsupportedFile, OSError, ValueError):
        return None


@contextmanager
def _knowing() -> Iterator[None]:
    """Tell what the decoder does not know from what is damaged.

    It looks at some tags when it opens a file, and at the compression of most only when it
    decodes.
    """
    try:
        yield
    except (rawpy.LibRawFileUnsupportedError, rawpy.LibRawNotImplementedError) as fault:
        raise UnsupportedFile(
            "The raw decoder does not know this kind of file.", repair=_SAVE
        ) from fault


def _opened(source: Source) -> Any:
    """Open by name where the decoder can take the name: it then reads what it needs only."""
    with _knowing():
        if source.content is None and _is_plain(str(source.path)):
            return rawpy.imread(str(source.path))
        with source.open() as stream:
            return rawpy.imread(stream)


def _is_plain(name: str) -> bool:
    """Whether a name is text through and through, as the decoder wants it."""
    return not any(unicodedata.category(letter) == "Cs" for letter in name)


def _refuse_large(raw: Any, source: Source) -> None:
    """Refuse, before anything is decoded, what would not fit into memory."""
    height_px, width_px = raw.sizes.raw_height, raw.sizes.raw_width
    refuse_size(height_px, width_px, _STORED_BYTES)
    if height_px * width_px * _STACK_BYTES > MOST_BYTES:  # seldom: most files need no look
        with source.open() as stream:
            is_stack = has_all_colours(stream)
        refuse_size(height_px, width_px, _STACK_BYTES if is_stack else _STORED_BYTES)


def _described(raw: Any, metadata: Metadata) -> OpenPicture:
    """Return the samples of an unpacked raw file, and what is known about it."""
    visible = raw.raw_image_visible
    refuse_size(visible.shape[0], visible.shape[1], _STORED_BYTES)
    filled = with_decoder_tags(metadata, raw)
    samples = _stack_samples(raw) if visible.ndim == _STACK_RANK else _mosaic_samples(raw)
    mosaics: dict[int, Literal["none", "2x2", "6x6"]] = {
        1: "none",
        MOSAIC_SIDE_PX: "2x2",
        WIDE_MOSAIC_SIDE_PX: "6x6",
    }
    info = ImageInfo(
        kind="raw",
        width_px=samples.width_px,
        height_px=samples.height_px,
        exif_orientation=filled.exif_orientation,
        bits=int(raw.white_level or samples.clip_from).bit_length(),
        mosaic="linear" if visible.ndim == _STACK_RANK else mosaics[samples.period_px],
    )
    return OpenPicture(samples=samples, info=info, metadata=filled)


def _mosaic_samples(raw: Any) -> StoredSamples:
    """Return the samples of a file with one value a photosite."""
    visible: NDArray[np.uint16] = raw.raw_image_visible
    colours = _colours(raw)
    black = np.array(raw.black_level_per_channel, dtype=np.float32)[colours]
    if not black.any():
        black = np.full_like(black, _masked_level(raw))
    looked = visible[::_LOOK_EVERY_PX]
    clip = find_clip(looked, int(raw.white_level or 0), len(colours))
    return StoredSamples(
        read_rows=lambda start, stop: visible[start:stop],
        height_px=visible.shape[0],
        width_px=visible.shape[1],
        black=black,
        colours=colours,
        clip_from=clip,
        full_scale=float(clip),
        is_raw=True,
        has_photosites=True,
    )


def _colours(raw: Any) -> NDArray[np.uint8]:
    """Return the repeat of the mosaic from the visible corner on.

    Asked pixel by pixel, counted from the full frame's corner: the decoder's own summary of a
    6x6 repeat is wrong when the masked margin is wide. Monochrome files name colours that do
    not exist.
    """
    pattern = raw.raw_pattern
    if pattern is None or raw.num_colors == 1:
        return np.zeros((1, 1), dtype=np.uint8)
    side_px = len(pattern)
    if side_px not in {MOSAIC_SIDE_PX, WIDE_MOSAIC_SIDE_PX}:
        raise UnsupportedFile(
            f"The colour mosaic repeats every {side_px} pixels, which is not read.", repair=_SAVE
        )
    top, left = raw.sizes.top_margin, raw.sizes.left_margin
    span = range(side_px)
    codes = [[raw.raw_color(top + row, left + col) for col in span] for row in span]
    return np.array(codes, dtype=np.uint8)


def _masked_level(raw: Any) -> float:
    """Return the level of the masked columns on the left, where a file states no black level."""
    left = raw.sizes.left_margin
    if left < _FEWEST_MASKED_PX:
        return 0.0
    masked = float(np.median(raw.raw_image[::_LOOK_EVERY_PX, 2 : left - 2]))
    level = float(np.median(raw.raw_image_visible[::_LOOK_EVERY_PX]))
    return masked if masked < _MOST_BLACK_FRAC * level else 0.0


def _stack_samples(raw: Any) -> StoredSamples:
    """Return samples of a file with all colours at each pixel: their mean.

    A pixel counts as clipped as soon as one colour is, and gets the largest number there is.
    """
    n_colours = min(raw.num_colors, _MOST_COLOURS, raw.raw_image_visible.shape[2])
    stack: NDArray[np.uint16] = raw.raw_image_visible[..., :n_colours]
    looked = stack[::_LOOK_EVERY_PX].reshape(-1, stack.shape[1] * n_colours)
    clip = find_clip(looked, int(raw.white_level or 0), n_colours)
    black = np.mean(raw.black_level_per_channel[:n_colours], dtype=np.float32)

    def read_rows(start: int, stop: int) -> NDArray[np.uint16]:
        rows = stack[start:stop]
        total = rows[..., 0].astype(np.uint32)
        highest: NDArray[np.uint16] = rows[..., 0]
        for colour in range(1, n_colours):
            total += rows[..., colour]
            highest = np.maximum(highest, rows[..., colour])
        total //= n_colours
        mean: NDArray[np.uint16] = total.astype(np.uint16)
        mean[highest >= clip] = _LARGEST
        return mean

    return StoredSamples(
        read_rows=read_rows,
        height_px=stack.shape[0],
        width_px=stack.shape[1],
        black=np.full((1, 1), black, dtype=np.float32),
        colours=np.zeros((1, 1), dtype=np.uint8),
        clip_from=_LARGEST,
        full_scale=float(min(clip, _LARGEST - 1)),
        is_raw=True,
    )

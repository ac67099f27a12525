"""From a path to a picture: which reader, and what comes back."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Any, BinaryIO, cast

from motemap.load.boundary import naming, reading
from motemap.load.exif.blocks import jpeg_size, png_size
from motemap.load.exif.directory import read_header, read_numbers
from motemap.load.exif.metadata import exif_metadata
from motemap.load.kinds import readable_kind
from motemap.load.reduction.samples import allowed_bin
from motemap.load.source import Source

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from contextlib import AbstractContextManager
    from pathlib import Path

    from motemap.load.reduction.samples import OpenPicture
    from motemap.records import ImageInfo, ImageKind, Metadata, Plane

_WIDTH, _HEIGHT = 0x0100, 0x0101
_DECODED_IN_ONE_GO = frozenset(("raw", "jpeg"))
"""Kinds whose decoder does not come back to the interpreter before the end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureHead:
    """What is known about a picture without decoding it.

    Parameters
    ----------
    kind : str
        Kind of file.
    height_px, width_px : int or None
        Stored size; None when it cannot be told without decoding.
    metadata : Metadata
        Camera, exposure and sensor.
    """

    kind: ImageKind
    height_px: int | None
    width_px: int | None
    metadata: Metadata


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LoadedPicture:
    """A picture in linear light, and what is known about it."""

    info: ImageInfo
    metadata: Metadata
    plane: Plane


def read_metadata(path: Path, *, content: bytes | None = None) -> PictureHead:
    """Read what a file says about itself, without decoding pixels.

    Parameters
    ----------
    path : Path
        The file, or a name for `content`.
    content : bytes or None
        The file's bytes, when they have been read already.

    Raises
    ------
    LoadError
        When there is no file, or it is no picture of a kind that is read here.
    """
    source = Source(path=path, content=content)
    kind, metadata = _head(source)
    height_px, width_px = _size(source, kind) or (None, None)
    return PictureHead(kind=kind, height_px=height_px, width_px=width_px, metadata=metadata)


def load_picture(
    path: Path,
    choose_bin: Callable[[ImageInfo, Metadata], int],
    *,
    content: bytes | None = None,
    meanwhile: Callable[[], object] | None = None,
) -> LoadedPicture:
    """Read a picture as one plane of linear light.

    Parameters
    ----------
    path : Path
        The file, or a name for `content`.
    choose_bin : callable
        Gives the wished side of a cell in stored pixels; rounded down to what the mosaic
        allows: even numbers for 2x2, multiples of 3 for 6x6.
    content : bytes or None
        The file's bytes, when they have been read already.
    meanwhile : callable, optional
        Done once before `choose_bin` is asked: imports of what comes next, for one. In a second
        thread while the file is decoded, where the decoder lets go of the interpreter for all of
        its time; others keep coming back to it, and would wait.

    Returns
    -------
    LoadedPicture
        Its metadata has gaps filled from the decoder.

    Raises
    ------
    UnreadableFile
        When the file is missing, damaged, cut off or empty.
    UnsupportedFile
        When it is of a kind that is not read here.
    """
    source = Source(path=path, content=content)
    kind, metadata = _head(source)
    reader = _reader(kind)
    with ExitStack() as stack:
        with _alongside(meanwhile, in_thread=kind in _DECODED_IN_ONE_GO):
            opened = stack.enter_context(reader(source, metadata))
        wished_px = choose_bin(opened.info, opened.metadata)
        with naming(str(path)):
            bin_px = allowed_bin(wished_px, opened.samples)
            plane: Plane = _reduction().reduce_samples(opened.samples, bin_px)
    return LoadedPicture(info=opened.info, metadata=opened.metadata, plane=plane)


@contextmanager
def _alongside(task: Callable[[], object] | None, *, in_thread: bool) -> Iterator[None]:
    """Do a task while, or after, what is inside is done; raise what it raised.

    The second thread then imports what reduces, too.
    """
    if task is None or not in_thread:
        yield
        if task is not None:
            task()
        return
    with ThreadPoolExecutor(1, thread_name_prefix="motemap-meanwhile") as worker:
        doing = worker.submit(task)
        worker.submit(_reduction)
        yield
    doing.result()


def _head(source: Source) -> tuple[ImageKind, Metadata]:
    source.check()
    with reading("file", str(source.path)), source.open() as stream:
        kind = readable_kind(stream, source.path.name)
        return kind, exif_metadata(stream)


def _size(source: Source, kind: ImageKind) -> tuple[int, int] | None:
    if kind == "raw":
        decoder = import_module("motemap.load.readers.raw")
        return cast("tuple[int, int] | None", decoder.visible_size(source))
    sizes = {"jpeg": jpeg_size, "png": png_size, "tiff": _tiff_size}
    with reading("file", str(source.path)), source.open() as stream:
        return sizes[kind](stream)


def _tiff_size(stream: BinaryIO) -> tuple[int, int] | None:
    opened = read_header(stream, 0)
    if opened is None:
        return None
    place, first = opened
    sides = [read_numbers(stream, place, first, tag)[:1] for tag in (_HEIGHT, _WIDTH)]
    return (int(sides[0][0]), int(sides[1][0])) if all(sides) else None


def _reader(
    kind: ImageKind,
) -> Callable[[Source, Metadata], AbstractContextManager[OpenPicture]]:
    """Import no more than the kind needs: the libraries take longer to load than to work."""
    reader = getattr(import_module(f"motemap.load.readers.{kind}"), f"open_{kind}")
    return cast("Callable[[Source, Metadata], AbstractContextManager[OpenPicture]]", reader)


def _reduction() -> Any:
    """Return the module that reduces, imported no sooner than decoding: it needs the filters."""
    return import_module("motemap.load.reduction.reduce")

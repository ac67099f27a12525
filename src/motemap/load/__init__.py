"""Reads test shots: raw, JPEG, TIFF and PNG to one plane of linear light, and their metadata.

The only place that knows the reading libraries. Each is imported when a file needs it.
"""

from motemap.load.entry import (
    LoadedPicture,
    PictureHead,
    load_picture,
    read_metadata,
)
from motemap.load.kinds import RAW_SUFFIXES, identify, is_picture
from motemap.load.quiet import quiet_decoders
from motemap.load.source import HEAD_BYTES

__all__ = [
    "HEAD_BYTES",
    "RAW_SUFFIXES",
    "LoadedPicture",
    "PictureHead",
    "identify",
    "is_picture",
    "load_picture",
    "quiet_decoders",
    "read_metadata",
]

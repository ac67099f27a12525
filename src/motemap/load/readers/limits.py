"""How large and how small a picture may be."""

from motemap.errors import UnsupportedFile

MOST_PIXELS = 400_000_000
"""More than any camera's; what claims more is damaged or meant to do harm."""

MOST_BYTES = 1_200_000_000
"""Decoded samples that may be held at once."""

FEWEST_SIDE_PX = 16
"""Smaller pictures are icons; the mosaics' repeats and the blocks of JPEGs fit into this one."""
_PX_PER_MP = 1_000_000


def refuse_size(height_px: int, width_px: int, bytes_per_px: int) -> None:
    """Refuse, before anything is decoded, what no test shot can be.

    Raises
    ------
    UnsupportedFile
        When the picture is tiny, or so large that it would not fit into memory.
    """
    if min(height_px, width_px) < FEWEST_SIDE_PX:
        raise UnsupportedFile(
            f"The picture is only {width_px} x {height_px} pixels.",
            repair="Give the full-size picture from the camera.",
        )
    n_pixels = height_px * width_px
    if n_pixels > MOST_PIXELS or n_pixels * bytes_per_px > MOST_BYTES:
        raise UnsupportedFile(
            f"The picture claims {width_px} x {height_px} pixels "
            f"({n_pixels // _PX_PER_MP} megapixels), which is more than is read here.",
            repair="Give the picture as the camera wrote it.",
        )

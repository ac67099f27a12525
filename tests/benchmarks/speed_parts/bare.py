"""A process that only decodes a file, as short as one can write it: ``bare.py raw FILE``."""

import sys


def raw(path: str) -> int:
    """Decode the photosites of a raw."""
    import rawpy

    with rawpy.imread(path) as opened:
        return int(opened.raw_image_visible.copy().shape[0])


def colours(path: str) -> int:
    """Decode a JPEG to an array of red, green and blue."""
    import numpy as np
    from PIL import Image

    with Image.open(path) as picture:
        return int(np.asarray(picture).shape[0])


def brightness(path: str) -> int:
    """Decode the brightness of a JPEG to an array."""
    import numpy as np
    from PIL import Image

    with Image.open(path) as picture:
        picture.draft("L", picture.size)
        return int(np.asarray(picture).shape[0])


WAYS = {"raw": raw, "colours": colours, "brightness": brightness}

if __name__ == "__main__":
    assert WAYS[sys.argv[1]](sys.argv[2]) > 0

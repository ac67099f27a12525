"""General-purpose detectors of other projects, each set up as well as we could.

All look at the same pixels: the linear plane that this tool's own loader made, so mosaic grain
and single defects are out already. Parameters were tuned on seeds that the grid does not use,
see `accuracy_parts.others.tune`.
"""

from accuracy_parts.others.detector import Detector, Scene
from accuracy_parts.others.opencv import OpenCvBlobs
from accuracy_parts.others.photutils_sources import PhotutilsSources
from accuracy_parts.others.sep_objects import SepObjects
from accuracy_parts.others.skimage_blobs import SkimageBlobs

__all__ = ["Detector", "OpenCvBlobs", "PhotutilsSources", "Scene", "SepObjects", "SkimageBlobs"]


def all_detectors() -> tuple[Detector, ...]:
    """Return every detector with its tuned parameters."""
    return (
        SepObjects(),
        PhotutilsSources(),
        SkimageBlobs(method="log"),
        SkimageBlobs(method="dog"),
        SkimageBlobs(method="doh"),
        OpenCvBlobs(),
    )

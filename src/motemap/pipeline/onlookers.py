"""Who looks at the finished picture, as the settings say."""

from __future__ import annotations

from typing import TYPE_CHECKING

from motemap.optics.vision import Viewing
from motemap.particle import Onlooker

if TYPE_CHECKING:
    from motemap.records import ImageInfo
    from motemap.settings import WorkSettings


def onlooker_for(image: ImageInfo, work: WorkSettings) -> Onlooker | None:
    """Return the eye that decides what shows; None when the depth alone does.

    Raises
    ------
    SettingsError
        If the way of looking at the picture is unknown.
    """
    if work.view is None:
        return None
    long_side_px = max(image.width_px, image.height_px)
    return Onlooker(viewing=Viewing.parse(work.view), picture_px=float(long_side_px))

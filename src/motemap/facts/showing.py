"""How it is said when a mark shows: by the light it takes, or by what an eye can see."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from motemap.settings import WorkSettings

PERCENT = 100
"""Per cent in the whole."""

EYE_SOURCE = "contrast sensitivity after Barten"
"""What tells whether an eye sees a mark: `motemap.optics.vision`."""


def showing_words(work: WorkSettings) -> str:
    """Return what is true of a mark that shows, as a clause after it.

    >>> from motemap.settings import WorkSettings
    >>> showing_words(WorkSettings())
    'taking 2 % of the light or more'
    >>> showing_words(WorkSettings(view="screen at 100 %"))
    'seen on a screen at 100 %'
    """
    if work.view is None:
        return f"taking {work.show_depth_frac * PERCENT:.3g} % of the light or more"
    where = "on a" if work.view.startswith("screen") else "in a"
    return f"seen {where} {work.view}"

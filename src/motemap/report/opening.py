"""What every JSON report begins with."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from motemap import __version__

if TYPE_CHECKING:
    from motemap.settings import Settings


def opening(name: str, version: int, settings: Settings) -> dict[str, Any]:
    """Return which report this is, who wrote it, and by which settings.

    >>> from motemap.settings import Settings
    >>> list(opening("motemap.check", 1, Settings()))
    ['report', 'report_version', 'tool_version', 'settings']
    """
    return {
        "report": name,
        "report_version": version,
        "tool_version": __version__,
        "settings": settings.to_dict(),
    }

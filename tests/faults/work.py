"""Work that another process can be handed: importable there by name."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from motemap.records import FrameReport

if TYPE_CHECKING:
    from pathlib import Path

    from motemap.settings import Settings


def deadly_analyse(path: Path, _settings: Settings) -> FrameReport:
    """Say nothing much of a frame; end the process, as a decoder might, at the one named cut."""
    if path.name == "cut.dng":
        os._exit(70)
    return FrameReport(file=str(path), state="judged")

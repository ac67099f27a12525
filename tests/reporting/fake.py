"""A stand-in for the judging of one frame, told by the file's name what to report."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from reporting import builders

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from motemap.records import FrameReport
    from motemap.settings import Settings

MAKERS: dict[str, Callable[..., FrameReport]] = {
    "dusty": builders.frame,
    "ready": builders.ready,
    "spoilt": builders.reshoot,
    "cut": builders.unreadable,
}


def analyse(path: Path, settings: Settings, *, content: bytes | None = None) -> FrameReport:
    """Return the report that the first word of the name asks for."""
    del settings
    word = path.name.split("-")[0].split(".")[0]
    if word == "crash":
        raise RuntimeError("out of luck \x1b[2J")
    if word == "interrupt":
        raise KeyboardInterrupt
    if word == "slow":
        path.with_suffix(".begun").touch()
        time.sleep(30)
    if content is not None:
        return builders.ready(file=str(path), notes=(f"{len(content)} bytes",))
    make = MAKERS.get(word, MAKERS["ready"])
    return make(file=str(path))

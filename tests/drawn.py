"""Small test frames of known dust, written as files: for bursts, comparisons and trips."""

from __future__ import annotations

import math
from contextlib import contextmanager
from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from motemap.pipeline import again, bursts, frame
from motemap.pipeline.frame import look_at as frame_look_at
from motemap.synth.frame import draw_frame, make_marks
from motemap.synth.marks import Mark, MarkMix
from motemap.synth.scene import SceneSpec
from motemap.synth.spec import FileSpec, FrameSpec
from motemap.synth.store import write_frame

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from motemap.pipeline.judging import Look
    from motemap.records import FrameReport, Stack
    from motemap.settings import Settings

PLAIN = FrameSpec(
    seed=4,
    width_px=1000,
    height_px=700,
    stack_mm=1.2,
    mix=MarkMix(n_specks=14, n_fibres=0, smallest_um=12.0, largest_um=40.0),
)
TAGS = replace(PLAIN.file.tags, maker="Halvern", model="Halvern Q7", serial="K-20418")


def dust(seed: int = 4, **mix: Any) -> tuple[Mark, ...]:
    """Marks of a small frame."""
    wanted = replace(PLAIN.mix, **mix) if mix else PLAIN.mix
    return make_marks(replace(PLAIN, seed=seed, mix=wanted))


def blemishes(seed: int, n_marks: int = 3) -> tuple[Mark, ...]:
    """Marks of one frame only: specks on the screen that look just like dust."""
    return dust(1000 + seed, n_specks=n_marks, smallest_um=20.0)


def shoot(
    path: Path,
    marks: Sequence[Mark],
    *,
    taken_at: str | None = "2031-05-02T10:00:00",
    serial: str | None = "K-20418",
    f_number: float = 22.0,
    seed: int = 1,
    exposure_frac: float = 0.55,
) -> Path:
    """Draw and write one frame; the file's ending says in which format."""
    tags = replace(TAGS, taken_at=taken_at, serial=serial)
    spec = replace(
        PLAIN,
        seed=seed,
        f_number=f_number,
        scene=SceneSpec(exposure_frac=exposure_frac, tilt_deg=40.0 * seed),
        file=FileSpec(format="dng" if path.suffix == ".dng" else "jpeg", tags=tags),
    )
    path.parent.mkdir(parents=True, exist_ok=True)
    write_frame(draw_frame(spec, tuple(marks)), path)
    return path


@contextmanager
def judged_once() -> Iterator[None]:
    """Judge each file once while the block runs, however often it is asked for.

    For tests of what comes after: judging itself is tested elsewhere.
    """

    @lru_cache(maxsize=64)
    def remembered(path: Path, settings: Settings, known_stack: Stack | None) -> Look:
        return frame_look_at(path, settings, known_stack=known_stack)

    def look_at(
        path: Path,
        settings: Settings,
        *,
        content: bytes | None = None,
        known_stack: Stack | None = None,
    ) -> Look:
        if content is None and path.stat().st_size:
            return remembered(path, settings, known_stack)
        return frame_look_at(path, settings, content=content, known_stack=known_stack)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(frame, "look_at", look_at)
        patch.setattr(bursts, "look_at", look_at)
        patch.setattr(again, "look_at", look_at)
        yield


def hits(report: FrameReport, marks: Sequence[Mark]) -> tuple[int, int]:
    """Count the marks found, and the spots that are none of them."""
    found, n_false = set(), 0
    for spot in report.spots:
        gaps = [math.hypot(m.row_px - spot.image_y_px, m.col_px - spot.image_x_px) for m in marks]
        nearest = int(np.argmin(gaps))
        if gaps[nearest] < 6.0:
            found.add(nearest)
        else:
            n_false += 1
    return len(found), n_false

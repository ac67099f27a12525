"""Has rough and odd frames judged, and compares with what should be said."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from accuracy_parts.frames import look_safely
from accuracy_parts.scoring import found_in, match

from rough_parts.not_blank import ODD_PICTURES, Odd
from rough_parts.old_camera import OldFrame, draw_old
from rough_parts.pictures import write_picture

if TYPE_CHECKING:
    from pathlib import Path

    from accuracy_parts.scoring import Found

    from motemap.records import FrameReport


@dataclass(frozen=True, slots=True, kw_only=True)
class RoughFrame:
    """A named rough frame and how it is drawn."""

    name: str
    spec: OldFrame


ROUGH_FRAMES = (
    RoughFrame(name="old camera, dusty", spec=OldFrame()),
    RoughFrame(name="old camera, f/7", spec=OldFrame(f_number=7.1, disc_px=46.0)),
    RoughFrame(name="old camera, noisy", spec=OldFrame(noise_frac=0.0035)),
    RoughFrame(name="old camera, heaped", spec=OldFrame(is_heaped=True)),
    RoughFrame(name="old camera, after a wet clean", spec=OldFrame(n_streaks=6, n_in_clump=0)),
    RoughFrame(
        name="old camera, clean, contour rings",
        spec=OldFrame(n_discs=0, n_hooks=0, noise_frac=0.0012),
    ),
    RoughFrame(
        name="old camera, clean, noisy", spec=OldFrame(n_discs=0, n_hooks=0, noise_frac=0.0035)
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RoughScore:
    """What was found in a rough frame.

    Parameters
    ----------
    n_marks, n_found : int
        Discs and fibres that had to be found - those nearer than 0.6 of a width once - and
        those that were.
    false : tuple of Found
        Reports where no dust is, and second reports of the same.
    """

    name: str
    state: str
    n_marks: int
    n_found: int
    missed_px: tuple[tuple[float, float], ...]
    false: tuple[Found, ...]


def judge_rough(frame: RoughFrame, seed: int, folder: Path) -> RoughScore:
    """Draw a rough frame as a JPEG and score the report."""
    drawn = draw_old(frame.spec, seed)
    path = folder / "rough.jpg"
    write_picture(path, drawn.codes, f_number=frame.spec.f_number)
    report = look_safely(path).report
    path.unlink()
    found = found_in(report)
    result = match(drawn.truths, found)
    counting = [at for at, group in enumerate(result.groups) if group.is_counting]
    missed = [
        drawn.truths[result.groups[at].members[0]] for at in counting if at not in result.taken
    ]
    return RoughScore(
        name=frame.name,
        state=report.state,
        n_marks=len(counting),
        n_found=len(counting) - len(missed),
        missed_px=tuple((truth.row_px, truth.col_px) for truth in missed),
        false=tuple(found[index] for index in result.extra),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class OddScore:
    """What was said of an odd picture."""

    name: str
    state: str
    failed: frozenset[str]
    fault: str | None
    is_right: bool


def judge_odd(odd: Odd, seed: int, folder: Path) -> OddScore:
    """Write an odd picture as a JPEG and hold the outcome against what should be said."""
    path = folder / "odd.jpg"
    write_picture(path, odd.draw(np.random.default_rng([seed, 9])))
    report = look_safely(path).report
    path.unlink()
    failed = failed_checks(report)
    fault = None if report.error is None else report.error.cause
    wanted = "reshoot" if odd.failing else "judged"
    is_right = report.state == wanted and (not odd.failing or bool(failed & odd.failing))
    return OddScore(
        name=odd.name, state=report.state, failed=failed, fault=fault, is_right=is_right
    )


def failed_checks(report: FrameReport) -> frozenset[str]:
    """Return the names of the checks that a frame failed."""
    return frozenset(check.name for check in report.shot_checks if check.outcome == "fail")


def judge_all(seeds: tuple[int, ...], folder: Path) -> tuple[list[RoughScore], list[OddScore]]:
    """Judge every rough frame and every odd picture, once a seed."""
    rough = [judge_rough(frame, seed, folder) for frame in ROUGH_FRAMES for seed in seeds]
    odd = [judge_odd(picture, seed, folder) for picture in ODD_PICTURES for seed in seeds]
    return rough, odd

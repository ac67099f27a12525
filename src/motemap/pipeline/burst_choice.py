"""Which frames of a burst are combined to one, and which are left out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from motemap.burst import LightFlat, are_alike, differences, lighten
from motemap.matching import mark_table, register
from motemap.pipeline.checks import is_line_across
from motemap.pipeline.known_optics import KnownOptics
from motemap.pipeline.lens_dust import is_object

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from motemap.changes import Registration
    from motemap.pipeline.judging import Look
    from motemap.records import Frame, FrameReport, Windows

MOST_FRAMES: Final = 8
"""Frames of one burst that are combined: the gain of more is small, their memory is not."""

ALIGNED_PX: Final = 0.75
"""Frames whose marks lie nearer than this everywhere are averaged as they are [px]."""

LEAST_ERROR_PX: Final = 0.3
"""How well a mark is placed at best [px]."""

WANDER: Final = 4.0
"""By so many errors of one mark's place, over the root of their number, marks that did not move seem to
at the corners: two standard deviations of shift and scale together, for marks spread evenly (derived)."""

AVERAGED_OUT: Final = frozenset({"blank field", "sensitivity"})
"""Checks that the mean of frames may pass where each of them fails: noise averages out, and so does
the texture of a screen before which the camera moved. The mean is asked again; what stays where it is,
as a scene in the picture, stays in it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """What a mean is judged on: a frame of the burst, and its background."""

    frame: Frame
    background: Windows

    @classmethod
    def of(cls, look: Look) -> Ground | None:
        """Return that of a frame; None where there are no planes."""
        if look.frame is None or look.flat is None:
            return None
        return cls(frame=look.frame, background=look.flat.background)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sight:
    """One frame judged by itself, with as much of it as its burst needs.

    `averages_out` tells whether a frame that is not fit to judge fails by nothing but what a mean may
    pass. `ground` is kept of the first frame only: whole frames of a long burst would fill memory.
    """

    path: Path
    report: FrameReport
    flat: LightFlat | None
    averages_out: bool
    ground: Ground | None

    @classmethod
    def of(cls, path: Path, look: Look, *, keeps_ground: bool) -> Sight:
        """Keep of a judged frame what its burst needs."""
        return cls(
            path=path,
            report=look.report,
            flat=None if look.flat is None else lighten(look.flat),
            averages_out=_averages_out(look),
            ground=Ground.of(look) if keeps_ground else None,
        )

    @property
    def is_judged(self) -> bool:
        """Whether the frame is fit to judge from by itself."""
        return self.report.state == "judged"


def _averages_out(look: Look) -> bool:
    """Whether a frame fails by nothing but what averages out; things in the picture do not."""
    if look.report.state != "reshoot" or look.frame is None or look.marks is None:
        return False
    frame, optics = look.frame, KnownOptics.of(look.frame)
    return set(_failed(look.report)) <= AVERAGED_OUT and not any(
        is_object(spot, optics) or is_line_across(spot, frame) for spot in look.marks.spots
    )


def _failed(report: FrameReport) -> tuple[str, ...]:
    return tuple(check.name for check in report.shot_checks if check.outcome == "fail")


def choose(sights: Sequence[Sight]) -> list[Sight]:
    """Choose the frames that are combined.

    Those that are fit to judge from are, and of the others those that average out, as long as they make
    the mean clearer.

    Parameters
    ----------
    sights : sequence of Sight
        All frames of one state.

    Returns
    -------
    list of Sight
        Alike in kind, those fit to judge from first; empty when none can be used.
    """
    judged = [sight for sight in sights if sight.is_judged]
    others = [sight for sight in sights if sight.averages_out]
    home = _largest_alike(judged or others)
    if not home:
        return []
    joined = [sight for sight in home if sight.is_judged]
    alike = [sight for sight in others if are_alike(home[0].report, sight.report)]
    for sight in sorted(alike, key=_limit_frac):
        if joined and _mean_limit_frac([*joined, sight]) >= _mean_limit_frac(joined):
            break
        joined.append(sight)
    return joined


def _largest_alike(sights: Iterable[Sight]) -> list[Sight]:
    """Frames that can be combined: the largest set, of equals the one that shows most."""
    sets: list[list[Sight]] = []
    for sight in sights:
        home = next((each for each in sets if are_alike(each[0].report, sight.report)), None)
        if home is None:
            sets.append([sight])
        else:
            home.append(sight)

    def rank(each: list[Sight]) -> tuple[float, float]:
        return -len(each), smallest_shown(each[0].report)

    return min(sets, key=rank, default=[])


def smallest_shown(report: FrameReport) -> float:
    """Return the smallest particle that a frame could have shown [um]."""
    return report.sensitivity.smallest_particle_um or math.inf


def _limit_frac(sight: Sight) -> float:
    return sight.report.sensitivity.smallest_depth_frac or math.inf


def _mean_limit_frac(sights: Sequence[Sight]) -> float:
    """Return what the mean of frames will show: what hides marks adds up in squares."""
    return math.hypot(*map(_limit_frac, sights)) / len(sights)


def left_out(sights: Iterable[Sight], used: Sequence[Sight]) -> tuple[str, ...]:
    """Say which frames were left out, and why.

    Parameters
    ----------
    sights : iterable of Sight
        All frames of one state.
    used : sequence of Sight
        Those that were combined, with those beyond the most that are.
    """
    notes = []
    if len(used) > MOST_FRAMES:
        notes.append(f"{len(used) - MOST_FRAMES} more frames of the burst were left out.")
    notes += [
        f"{sight.report.file} {_why_not(sight.report, used[0].report)} and was left out."
        for sight in sights
        if sight not in used
    ]
    return tuple(notes)


def _why_not(report: FrameReport, home: FrameReport) -> str:
    if report.state == "judged":
        return f"differs in {', '.join(differences(home, report))}"
    if report.state == "reshoot":
        return f"is not fit to judge ({', '.join(_failed(report))})"
    return "cannot be used"


def are_aligned(frames: Sequence[FrameReport]) -> bool:
    """Tell whether the marks lie at the same places in all frames, as far as marks can tell."""
    first = mark_table(frames[0])
    reach_px = math.hypot(first.half_width_px, first.half_height_px)
    return not any(_is_moved(register(first, mark_table(frame)), reach_px) for frame in frames[1:])


def _is_moved(found: Registration, reach_px: float) -> bool:
    """Whether marks moved by more than noise and texture about them feign."""
    if not found.is_known:
        return False
    shift_px = math.hypot(found.shift_x_px or 0.0, found.shift_y_px or 0.0)
    moved_px = shift_px + abs((found.scale or 1.0) - 1.0) * reach_px
    error_px = max(found.residual_px or 0.0, LEAST_ERROR_PX)
    return moved_px > ALIGNED_PX + WANDER * error_px / math.sqrt(found.n_used)

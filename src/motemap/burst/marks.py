"""Combining the spot lists of a burst: a mark must be in most frames, at the same place.

For bursts whose pixels cannot be averaged, because frames are shifted or only their reports
are left. Averaging pixels shows fainter marks; this only votes on what each frame showed.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, replace
from itertools import takewhile
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import brentq
from scipy.special import bdtrc, ndtri

from motemap.errors import GeometryError
from motemap.matching import carry_back, mark_table, pair_marks, refusal, register
from motemap.optics.apertures import THIRD_STOPS
from motemap.records import Counts, FrameReport, Sensitivity, Spot, Stack
from motemap.showing import depth_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.records import ShotCheck
    from motemap.settings import WorkSettings

FOUND_SHARE = 0.9
"""Share of marks at the limit that `Sensitivity` promises to find."""

SNR_AT_HALF = 6.0
"""Signal to noise at which a frame shows half of the marks."""

OUTCOME_RANK = {"ok": 0, "warn": 1, "fail": 2}


@dataclass(slots=True, kw_only=True)
class _Track:
    """One mark through the frames: places in the first frame's picture, and its spots."""

    places_px: list[tuple[float, float]]
    spots: list[Spot]


def combine_reports(
    frames: Sequence[FrameReport], file: str | None = None, *, work: WorkSettings
) -> FrameReport:
    """Combine frames of one state at the level of marks.

    Parameters
    ----------
    frames : sequence of FrameReport
        At least one; judged, of one body and size.
    file : str, optional
        What the combination is called; by default the first frame's file.
    work : WorkSettings
        From when on a mark shows.

    Returns
    -------
    FrameReport
        Marks present in more than half of the frames, in the first frame's picture and with its
        notes; depth and size averaged. Its verdict is None: what to do is judged from it anew.

    Raises
    ------
    GeometryError
        For frames of different bodies or sizes.
    """
    first = frames[0]
    for other in frames[1:]:
        wrong = refusal(first, other)
        if wrong is not None:
            raise GeometryError(wrong[0], repair=wrong[1], path=other.file)
    tracks = _tracks(frames)
    spots = []
    for track in tracks:
        if 2 * len(track.spots) > len(frames):
            spot = _mean_spot(track, first)
            spots.append(replace(spot, shows_from_f=_shows_from(spot, track.spots, work)))
    spots.sort(key=lambda spot: (-spot.depth_frac, spot.image_y_px, spot.image_x_px))
    numbered = tuple(replace(spot, id=number) for number, spot in enumerate(spots, start=1))
    return replace(
        first,
        file=file or first.file,
        exposure=replace(first.exposure, taken_at=_latest(frames)),
        shot_checks=_worst_checks(frames),
        sensitivity=_sensitivity(frames),
        stack=_stack(frames),
        spots=numbered,
        counts=Counts(found=len(numbered), showing=0),
        verdict=None,
    )


def _tracks(frames: Sequence[FrameReport]) -> list[_Track]:
    first = frames[0]
    tracks = [
        _Track(places_px=[(spot.image_x_px, spot.image_y_px)], spots=[spot]) for spot in first.spots
    ]
    for frame in frames[1:]:
        _follow(tracks, first, frame)
    return tracks


def _follow(tracks: list[_Track], first: FrameReport, frame: FrameReport) -> None:
    """Add a frame's spots to the tracks they belong to, or start new tracks."""
    table = mark_table(frame)
    known = mark_table(replace(first, spots=tuple(_mean_spot(track, first) for track in tracks)))
    registration = register(known, table)
    pairs = pair_marks(known, table, registration)
    middle = (known.half_width_px - 0.5, known.half_height_px - 0.5)
    back = carry_back(table.place_px, registration) + middle
    track_of = dict(zip(pairs.cols.tolist(), pairs.rows.tolist(), strict=True))
    n_known = len(tracks)
    for col, spot in enumerate(frame.spots):
        place = (float(back[col, 0]), float(back[col, 1]))
        row = track_of.get(col, n_known)
        if row < n_known:
            tracks[row].places_px.append(place)
            tracks[row].spots.append(spot)
        else:
            tracks.append(_Track(places_px=[place], spots=[spot]))


def _mean_spot(track: _Track, first: FrameReport) -> Spot:
    """One spot for a track: numbers averaged, words from the clearest sight that agrees with them.

    What a size means depends on the kind, so sizes are those of the sights that name it alike.
    """
    kind, layer = (
        Counter(getattr(spot, name) for spot in track.spots).most_common(1)[0][0]
        for name in ("kind", "layer")
    )
    alike = [spot for spot in track.spots if spot.kind == kind]
    clearest = max(track.spots, key=lambda s: ((s.kind == kind) + (s.layer == layer), s.snr))
    col_px, row_px = (float(value) for value in np.mean(track.places_px, axis=0))
    nearest = min(
        track.spots, key=lambda s: math.hypot(s.image_x_px - col_px, s.image_y_px - row_px)
    )
    pitch_um = first.sensor.pitch_um if first.sensor else None
    placed = clearest.from_left_mm is not None and pitch_um is not None and first.image is not None
    particle_um = _mean([spot.particle_um for spot in alike])
    return replace(
        clearest,
        image_x_px=col_px,
        image_y_px=row_px,
        from_left_mm=_left_mm(col_px, pitch_um) if placed else clearest.from_left_mm,
        from_top_mm=_top_mm(row_px, first) if placed else clearest.from_top_mm,
        place=nearest.place,
        depth_frac=_mean([spot.depth_frac for spot in track.spots]) or clearest.depth_frac,
        snr=math.sqrt(math.fsum(spot.snr**2 for spot in track.spots)),
        width_um=_mean([spot.width_um for spot in alike]),
        length_um=_mean([spot.length_um for spot in alike]),
        lost_area_um2=_mean([spot.lost_area_um2 for spot in alike]),
        particle_um=particle_um,
        particle_um_range=_mean_range(alike, particle_um),
        kind=kind,
        layer=layer,
        depth_at=_mean_depths([spot.depth_at for spot in track.spots]),
    )


def _mean_range(spots: Sequence[Spot], particle_um: float | None) -> tuple[float, float] | None:
    """Average ranges of a size, by their ends: what is in doubt is mostly the same in all frames."""
    ranges = [spot.particle_um_range for spot in spots if spot.particle_um_range is not None]
    if particle_um is None or not ranges:
        return None
    low_um, high_um = (math.fsum(ends) / len(ranges) for ends in zip(*ranges, strict=True))
    return min(low_um, particle_um), max(high_um, particle_um)


def _shows_from(spot: Spot, sights: Sequence[Spot], work: WorkSettings) -> float | None:
    """Return the widest aperture at which a mark shows that has the mean depths of its sights.

    What an eye sees cannot be read off depths alone: there it is the widest aperture at which most of
    the sights show.
    """
    if spot.depth_at is None:
        return None
    if work.view is not None:
        known = sorted(math.inf if s.shows_from_f is None else s.shows_from_f for s in sights)
        most = known[len(known) // 2]
        return most if math.isfinite(most) else None
    told = sorted((float(stop), depth) for stop, depth in spot.depth_at.items())
    n_hidden = sum(1 for _ in takewhile(lambda each: each[1] < work.show_depth_frac, told))
    hidden_to = told[n_hidden - 1][0] if n_hidden else 0.0
    apertures = (f for f in sorted({*THIRD_STOPS, work.shoot_at_f}) if f > hidden_to)
    return next((f for f in apertures if depth_of(spot, f) >= work.show_depth_frac), None)


def _left_mm(col_px: float, pitch_um: float | None) -> float | None:
    return None if pitch_um is None else (col_px + 0.5) * pitch_um / 1000.0


def _top_mm(row_px: float, first: FrameReport) -> float | None:
    if first.sensor is None or first.sensor.pitch_um is None or first.image is None:
        return None
    return (first.image.height_px - row_px - 0.5) * first.sensor.pitch_um / 1000.0


def _mean(values: list[float | None] | list[float]) -> float | None:
    known = [value for value in values if value is not None]
    return math.fsum(known) / len(known) if known else None


def _mean_depths(tables: list[dict[str, float] | None]) -> dict[str, float] | None:
    known = [table for table in tables if table]
    if not known:
        return None
    means = {name: _mean([table[name] for table in known if name in table]) for name in known[0]}
    return {name: mean for name, mean in means.items() if mean is not None}


def _latest(frames: Sequence[FrameReport]) -> str | None:
    return max(
        (frame.exposure.taken_at for frame in frames if frame.exposure.taken_at), default=None
    )


def _worst_checks(frames: Sequence[FrameReport]) -> tuple[ShotCheck, ...]:
    worst: dict[str, ShotCheck] = {}
    for check in (check for frame in frames for check in frame.shot_checks):
        known = worst.get(check.name)
        if known is None or OUTCOME_RANK[check.outcome] > OUTCOME_RANK[known.outcome]:
            worst[check.name] = check
    return tuple(worst.values())


def _sensitivity(frames: Sequence[FrameReport]) -> Sensitivity:
    """Say what a vote of the frames shows, nine in ten as for one frame."""
    factor = _vote_factor(len(frames))
    depth = _mean([frame.sensitivity.smallest_depth_frac for frame in frames])
    size = _mean([frame.sensitivity.smallest_particle_um for frame in frames])
    noise = _mean([frame.sensitivity.noise_frac for frame in frames])
    return Sensitivity(
        noise_frac=None if noise is None else noise / math.sqrt(len(frames)),
        smallest_depth_frac=None if depth is None else depth * factor,
        smallest_particle_um=None if size is None else size * math.sqrt(factor),
    )


def _vote_factor(n_frames: int) -> float:
    """Depth at which a majority of the frames shows nine in ten marks, over that of one frame."""
    needed = n_frames // 2

    def excess(share: float) -> float:
        return float(bdtrc(needed, n_frames, share)) - FOUND_SHARE

    share = float(brentq(excess, 1e-6, 1.0 - 1e-12))
    alone = SNR_AT_HALF + float(ndtri(FOUND_SHARE))
    return (SNR_AT_HALF + float(ndtri(share))) / alone


def _stack(frames: Sequence[FrameReport]) -> Stack:
    """Average the measured distances; without any, keep what the first frame has."""
    measured = [f.stack for f in frames if f.stack.source == "measured" and f.stack.distance_mm]
    if not measured:
        return frames[0].stack
    errors = [stack.uncertainty_mm for stack in measured if stack.uncertainty_mm is not None]
    spread = math.sqrt(math.fsum(e**2 for e in errors)) / len(errors) if errors else None
    return Stack(
        distance_mm=_mean([stack.distance_mm for stack in measured]),
        uncertainty_mm=spread,
        source="measured",
    )

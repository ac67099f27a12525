"""Blank frames as older cameras write them, with dust known to the pixel.

What real ones show: contour rings of quantisation of +-0.4 %, edges that fall by half within
50 px, soft discs that overlap by the dozen at f/7 to f/10, hooked fibres at the border, broad
diagonal shadows, upright streaks after a wet clean.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from accuracy_parts.truths import Truth

from rough_parts import canvas

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.synth.marks import Form

N_HOOK_POINTS = 40
CLUMP_SPACING = 0.62
"""Centres in a clump are 0.62 of a width apart, and more farther out."""
HEAP_SPACING, HEAP_AREAS, N_HEAP_TRIES = 0.7, 0.55, 400
"""In a heap, where nothing is in order, no two are nearer than 0.7 of the usual width, which is
0.63 of the widest; its discs have more than half of the room that they would fill side by side."""
DISC_SNR = 100.0
"""These marks are far above the noise; the number only has to say so."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OldFrame:
    """What an old frame shows.

    Parameters
    ----------
    width_px, height_px : int
        Size of the picture [px].
    n_discs, n_in_clump : int
        Discs of dust, and how many of them lie in one overlapping clump.
    is_heaped : bool
        Whether that clump is a heap without order, closer than the other.
    n_hooks, n_streaks : int
        Hooked fibres at the border, upright streaks of a swab.
    disc_px : float
        Width of the discs [px].
    noise_frac : float
        Noise after the camera's smoothing, before rounding to codes.
    f_number : float
        What the file says.
    """

    width_px: int = 3872
    height_px: int = 2592
    n_discs: int = 30
    n_in_clump: int = 14
    is_heaped: bool = False
    n_hooks: int = 3
    n_streaks: int = 0
    disc_px: float = 40.0
    noise_frac: float = 0.0015
    f_number: float = 9.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrawnOld:
    """The picture's codes, the dust in it, and where residue of a swab may be named."""

    codes: NDArray[np.uint8]
    truths: tuple[Truth, ...]


def draw_old(spec: OldFrame, seed: int) -> DrawnOld:
    """Draw a frame; the same spec and seed give the same codes."""
    rng = np.random.default_rng([seed, 5])
    light = canvas.vignetted(spec.height_px, spec.width_px, 0.45)
    canvas.halve_edges(light)
    for place, loss in ((0.35, 0.06), (0.9, 0.03)):
        canvas.lay_band(light, place * spec.width_px, 0.12 * spec.width_px, loss)
    truths = [*_lay_discs(light, spec, rng), *_lay_hooks(light, spec, rng)]
    truths.extend(_lay_streaks(light, spec, rng))
    canvas.add_noise(light, spec.noise_frac, rng)
    return DrawnOld(codes=canvas.srgb_codes(light), truths=tuple(truths))


def _lay_discs(light: canvas.Light, spec: OldFrame, rng: np.random.Generator) -> list[Truth]:
    """Lay discs: some alone, some in one clump in which each overlaps its neighbour."""
    truths = []
    margin_px = 3.0 * spec.disc_px
    limits = (spec.height_px - margin_px, spec.width_px - margin_px)
    clump = rng.uniform(margin_px * 2, [limit - margin_px for limit in limits])
    offsets_px = _heap(spec, rng) if spec.is_heaped else _spiral(spec)
    for number in range(spec.n_discs):
        place = rng.uniform(margin_px, limits)
        if number < spec.n_in_clump:
            place = clump + offsets_px[number]
        width_px = spec.disc_px * float(rng.uniform(0.95, 1.1))
        # In a clump no disc is drowned by its neighbours: depths within a factor of two.
        low, high = (0.045, 0.09) if number < spec.n_in_clump else (0.02, 0.12)
        depth_frac = float(np.exp(rng.uniform(np.log(low), np.log(high))))
        lost_px2 = canvas.lay_disc(
            light, float(place[0]), float(place[1]), width_px, depth_frac, 0.35 * width_px
        )
        truths.append(_truth("speck", place[None, :], width_px, depth_frac, lost_px2))
    return truths


def _spiral(spec: OldFrame) -> NDArray[np.float64]:
    """Return places of a clump's discs round its middle, (n, 2) [px]: evenly, as seeds sit."""
    number = np.arange(spec.n_in_clump)
    away_px = CLUMP_SPACING * spec.disc_px * np.sqrt(number)
    places: NDArray[np.float64] = np.stack([np.sin(2.4 * number), np.cos(2.4 * number)], axis=1)
    return away_px[:, None] * places


def _heap(spec: OldFrame, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return places of a heap's discs round its middle, (n, 2) [px]: by chance, but not too near."""
    reach_px = 0.5 * spec.disc_px * math.sqrt(HEAP_AREAS * spec.n_in_clump)
    kept = np.empty((0, 2))
    for tries in range(N_HEAP_TRIES):
        # Where no room is left by chance, the heap grows a little.
        wide_px = reach_px * (1.0 + tries / N_HEAP_TRIES)
        place = wide_px * np.sqrt(rng.uniform()) * np.exp(2j * math.pi * rng.uniform())
        point = np.array([[place.real, place.imag]])
        if (np.hypot(*(kept - point).T) > HEAP_SPACING * spec.disc_px).all():
            kept = np.concatenate([kept, point])
        if len(kept) == spec.n_in_clump:
            break
    return kept


def _lay_hooks(light: canvas.Light, spec: OldFrame, rng: np.random.Generator) -> list[Truth]:
    """Lay hooked fibres that begin at the upper or lower border."""
    truths = []
    share = np.linspace(0.0, 1.0, N_HOOK_POINTS)
    for number in range(spec.n_hooks):
        length_px = float(rng.uniform(4.0, 8.0)) * spec.disc_px
        heading = float(rng.uniform(-0.5, 0.5)) + 2.8 * np.clip((share - 0.55) / 0.45, 0.0, 1.0)
        steps = np.stack([np.cos(heading), np.sin(heading)], axis=1) * length_px / N_HOOK_POINTS
        line = np.cumsum(steps, axis=0)
        if number % 2:
            line[:, 0] = spec.height_px - 1 - line[:, 0]
        line[:, 1] += rng.uniform(0.15, 0.85) * spec.width_px
        width_px = 0.8 * spec.disc_px
        canvas.lay_line(light, [(float(row), float(col)) for row, col in line], width_px, 0.1)
        truths.append(_truth("fibre", line, width_px, 0.1, 0.1 * width_px * length_px))
    return truths


def _lay_streaks(light: canvas.Light, spec: OldFrame, rng: np.random.Generator) -> list[Truth]:
    """Lay upright streaks; they are real residue, too faint to have to be found."""
    truths = []
    for _ in range(spec.n_streaks):
        col_px = float(rng.uniform(0.1, 0.9) * spec.width_px)
        top_px = float(rng.uniform(0.05, 0.3) * spec.height_px)
        bottom_px = float(rng.uniform(0.6, 0.95) * spec.height_px)
        width_px = float(rng.uniform(1.0, 2.5)) * spec.disc_px
        canvas.lay_streak(light, col_px, (top_px, bottom_px), width_px)
        rows = np.linspace(top_px, bottom_px, N_HOOK_POINTS)
        line = np.stack([rows, np.full_like(rows, col_px)], axis=1)
        lost_px2 = 0.008 * width_px * (bottom_px - top_px)
        truths.append(_truth("streak", line, width_px, 0.008, lost_px2))
    return truths


def _truth(
    form: Form, line: NDArray[np.float64], width_px: float, depth_frac: float, lost_px2: float
) -> Truth:
    centre = line.mean(axis=0)
    return Truth(
        form=form,
        layer="filter stack",
        row_px=float(centre[0]),
        col_px=float(centre[1]),
        depth_frac=depth_frac,
        snr=DISC_SNR,
        width_px=width_px,
        lost_area_px2=lost_px2,
        line_px=line,
        reach_px=0.6 * width_px,
        centroid_reach_px=0.15 * float(np.hypot(*np.ptp(line, axis=0))),
    )

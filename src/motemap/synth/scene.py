"""The light that would reach the photosites if there were no dust: an uneven blank field.

All strengths are shares of the local light. Nothing here knows of noise, mosaic or marks.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline

from motemap.errors import SettingsError

LightPlane = NDArray[np.float32]
CUBIC = 3
LEAST_SPREAD = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class SceneSpec:
    """What the blank field looks like.

    Parameters
    ----------
    exposure_frac : float
        Light in the middle, as a share of the clipping level.
    vignetting_frac : float
        Light lost in the far corner (0-1).
    vignetting_power : float
        0 for a cos^4 fall; else the loss grows with this power of the distance.
    tilt_frac : float
        Loss of light from one end of the frame to the other (0-1).
    tilt_deg : float
        Direction in which the light falls, from right towards down [deg].
    mottle_frac : float
        Standard deviation of a soft random unevenness.
    mottle_px : float
        Size of its patches [px].
    row_banding_frac, col_banding_frac : float
        Standard deviation of bands that span whole rows or whole columns.
    screen_frac : float
        Standard deviation of a fine regular lattice.
    screen_period_px : float
        Its period [px].
    hand_frac : float
        Light lost under a soft diagonal shadow across one corner (0-1).
    corner_frac : float
        Light lost in mechanically dark corners (0-1).
    circle_frac : float
        Radius of the lens's image circle as a share of the half diagonal; 0 for none.
    edge_fall_frac, edge_fall_px : float
        Share of light lost right at the frame's edge, and how far in it reaches [px].
    """

    exposure_frac: float = 0.6
    vignetting_frac: float = 0.2
    vignetting_power: float = 0.0
    tilt_frac: float = 0.03
    tilt_deg: float = 20.0
    mottle_frac: float = 0.0
    mottle_px: float = 400.0
    row_banding_frac: float = 0.0
    col_banding_frac: float = 0.0
    screen_frac: float = 0.0
    screen_period_px: float = 5.3
    hand_frac: float = 0.0
    corner_frac: float = 0.0
    circle_frac: float = 0.0
    edge_fall_frac: float = 0.0
    edge_fall_px: float = 50.0

    def __post_init__(self) -> None:
        for name in ("vignetting_frac", "tilt_frac", "hand_frac", "corner_frac", "edge_fall_frac"):
            if not 0.0 <= getattr(self, name) < 1.0:
                raise SettingsError(
                    f"{name} = {getattr(self, name)} is out of range.",
                    repair="Give a share from 0 up to, but not including, 1.",
                )


def draw_scene(
    spec: SceneSpec, height_px: int, width_px: int, rng: np.random.Generator
) -> LightPlane:
    """Draw the blank field.

    Parameters
    ----------
    spec : SceneSpec
        What it looks like.
    height_px, width_px : int
        Size [px].
    rng : numpy.random.Generator
        Source of the random patterns.

    Returns
    -------
    (H, W) float32
        Linear light; 1 is the clipping level.
    """
    down, right = _centred(height_px), _centred(width_px)
    half_diagonal_px = 0.5 * math.hypot(height_px, width_px)
    radius = np.sqrt(down[:, None] ** 2 + right[None, :] ** 2) / np.float32(half_diagonal_px)
    light = _vignetting(spec, radius)
    light *= np.float32(spec.exposure_frac)
    if spec.corner_frac > 0.0:
        light *= 1.0 - np.float32(spec.corner_frac) * _smooth_step((radius - 0.86) / 0.1)
    if spec.circle_frac > 0.0:
        light *= 1.0 - np.float32(0.985) * _smooth_step((radius - spec.circle_frac) / 0.06)
    del radius
    _apply_tilt(light, spec, down, right)
    if spec.hand_frac > 0.0:
        light *= _hand(spec, down, right, rng)
    if spec.edge_fall_frac > 0.0:
        light *= _edge_fall(spec, height_px)[:, None]
        light *= _edge_fall(spec, width_px)[None, :]
    _apply_texture(light, spec, rng)
    return light


def _centred(count_px: int) -> LightPlane:
    return np.arange(count_px, dtype=np.float32) - np.float32(0.5 * (count_px - 1))


def _smooth_step(offset: LightPlane) -> LightPlane:
    """0 up to 0, 1 from 1 on, smooth between."""
    ramp = np.clip(offset, 0.0, 1.0)
    soft: LightPlane = ramp * ramp * (3.0 - 2.0 * ramp)
    return soft


def _vignetting(spec: SceneSpec, radius: LightPlane) -> LightPlane:
    """Fall towards the corners; cos^4 is 1 / (1 + (r / E)^2)^2 with the pupil distance E."""
    if spec.vignetting_power > 0.0:
        return 1.0 - np.float32(spec.vignetting_frac) * radius ** np.float32(spec.vignetting_power)
    inverse_squared = 1.0 / math.sqrt(1.0 - spec.vignetting_frac) - 1.0
    return 1.0 / (1.0 + np.float32(inverse_squared) * radius * radius) ** 2


def _apply_tilt(light: LightPlane, spec: SceneSpec, down: LightPlane, right: LightPlane) -> None:
    cosine, sine = math.cos(math.radians(spec.tilt_deg)), math.sin(math.radians(spec.tilt_deg))
    span = abs(cosine) * right.size + abs(sine) * down.size
    slope = np.float32(spec.tilt_frac / span)
    light *= 1.0 - slope * (np.float32(cosine) * right[None, :] + np.float32(sine) * down[:, None])


def _hand(
    spec: SceneSpec, down: LightPlane, right: LightPlane, rng: np.random.Generator
) -> LightPlane:
    """Return a broad soft shadow with a straight edge that cuts one corner off."""
    towards_right, towards_down = rng.choice([-1.0, 1.0], size=2)
    turn = math.radians(rng.uniform(25.0, 65.0))
    distance = (
        np.float32(towards_right * math.cos(turn)) * right[None, :]
        + np.float32(towards_down * math.sin(turn)) * down[:, None]
    )
    half_diagonal_px = 0.5 * math.hypot(down.size, right.size)
    soft = np.float32(rng.uniform(0.1, 0.3) * half_diagonal_px)
    begin = np.float32(0.5 * half_diagonal_px)
    return 1.0 - np.float32(spec.hand_frac) * _smooth_step((distance - begin) / soft)


def _edge_fall(spec: SceneSpec, count_px: int) -> LightPlane:
    from_edge = np.minimum(np.arange(count_px), np.arange(count_px)[::-1]) / spec.edge_fall_px
    return (1.0 - spec.edge_fall_frac * np.exp(-(from_edge**2) * math.log(2.0))).astype(np.float32)


def _apply_texture(light: LightPlane, spec: SceneSpec, rng: np.random.Generator) -> None:
    """Multiply by everything that repeats or wanders, each from its own stream."""
    streams = rng.spawn(4)
    height_px, width_px = light.shape
    if spec.mottle_frac > 0.0:
        light *= 1.0 + _mottle(spec, height_px, width_px, streams[0])
    if spec.row_banding_frac > 0.0:
        light *= 1.0 + spec.row_banding_frac * _bands(height_px, streams[1])[:, None]
    if spec.col_banding_frac > 0.0:
        light *= 1.0 + spec.col_banding_frac * _bands(width_px, streams[2])[None, :]
    if spec.screen_frac > 0.0:
        light *= 1.0 + _screen(spec, height_px, width_px, streams[3])


def _mottle(spec: SceneSpec, height_px: int, width_px: int, rng: np.random.Generator) -> LightPlane:
    """Soft field from a coarse random grid, filled in with cubic splines."""
    rows, cols = (_spline_matrix(count_px, spec.mottle_px) for count_px in (height_px, width_px))
    grid = rng.standard_normal((rows.shape[1], cols.shape[1])).astype(np.float32)
    field: LightPlane = np.asarray(rows @ grid @ cols.T, dtype=np.float32)
    spread = float(field[::7, ::7].std())
    field *= np.float32(spec.mottle_frac / max(spread, LEAST_SPREAD))
    return field


def _spline_matrix(count_px: int, patch_px: float) -> LightPlane:
    """Cubic B-spline values, one row a pixel and one column a knot."""
    knot_px = 0.5 * patch_px
    n_spans = max(1, math.ceil(count_px / knot_px))
    knots = np.arange(-CUBIC, n_spans + CUBIC + 1, dtype=np.float64)
    where = np.arange(count_px) / count_px * n_spans
    return BSpline.design_matrix(where, knots, CUBIC).toarray().astype(np.float32)


def _bands(count_px: int, rng: np.random.Generator) -> LightPlane:
    """Two waves of the mains or of a pulsed lamp and a little row noise; unit deviation."""
    where = np.arange(count_px)
    total = 0.25 * rng.standard_normal(count_px)
    for strength in (1.0, 0.4):
        period_px = math.exp(rng.uniform(math.log(30.0), math.log(400.0)))
        total += strength * np.sin(2.0 * math.pi * (where / period_px + rng.uniform()))
    bands: LightPlane = ((total - total.mean()) / total.std()).astype(np.float32)
    return bands


def _screen(spec: SceneSpec, height_px: int, width_px: int, rng: np.random.Generator) -> LightPlane:
    """Lattice of two crossed waves of equal strength, a few degrees askew."""
    turn = math.radians(rng.uniform(-8.0, 8.0))
    across, along = (
        2.0 * math.pi * factor / spec.screen_period_px
        for factor in (math.cos(turn), math.sin(turn))
    )
    phases = rng.uniform(0.0, 2.0 * math.pi, size=2)
    rows, cols = np.arange(height_px), np.arange(width_px)
    first = np.exp(1j * (across * cols + phases[0])).astype(np.complex64)
    first_rows = np.exp(1j * along * rows).astype(np.complex64)
    second = np.exp(1j * (-along * cols + phases[1])).astype(np.complex64)
    second_rows = np.exp(1j * across * rows).astype(np.complex64)
    lattice = np.empty((height_px, width_px), dtype=np.float32)
    for row in range(height_px):
        lattice[row] = (first * first_rows[row] + second * second_rows[row]).real
    return lattice * np.float32(spec.screen_frac)

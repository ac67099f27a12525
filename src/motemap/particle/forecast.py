"""How deep a mark will be at other apertures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.coords import UM_PER_MM
from motemap.optics.apertures import REPORTED_STOPS, THIRD_STOPS, stop_name
from motemap.optics.depths import depth_curve, depths_on
from motemap.optics.table import sizes_up_to
from motemap.strips import for_each

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.optics.waves import Shape
    from motemap.records import Stack


@dataclass(frozen=True, slots=True, kw_only=True)
class Shadow:
    """All that is needed to draw a mark's shadow at any aperture.

    Parameters
    ----------
    shape : {"speck", "strip"}
        Round speck or long fibre.
    size_um : float
        Diameter or width [um].
    length_um : float or None
        Length of a fibre [um].
    opacity_frac : float
        Share of the light stopped (0-1).
    factor : float
        How much deeper than the model the shadow is, from the measured depth.
    tau_um : float
        Air-equivalent distance to the photosites [um].
    pitch_um : float
        Distance of stored pixels [um].
    """

    shape: Shape
    size_um: float
    length_um: float | None
    opacity_frac: float
    factor: float
    tau_um: float
    pitch_um: float

    def depth_frac(self, f_number: float) -> float:
        """Return the depth at an aperture (0-1)."""
        return float(shadow_depths((self,), f_number)[0])


def shadow_depths(shadows: Sequence[Shadow], f_number: float) -> NDArray[np.float64]:
    """Return the depths of many shadows at one aperture, (n,) (0-1)."""
    depths: NDArray[np.float64] = depth_series(shadows, (f_number,))[0]
    return depths


def depth_series(shadows: Sequence[Shadow], f_numbers: Sequence[float]) -> NDArray[np.float64]:
    """Return the depths of n shadows at m apertures, (m, n) (0-1).

    Notes
    -----
    By wave optics from size and opacity, scaled by each shadow's `factor`; a fibre shorter
    than the blur disc fills only part of the disc's chord.
    """
    depths = np.empty((len(f_numbers), len(shadows)))
    for kind, members in alike(shadows).items():
        depths[:, members] = _depths_alike(kind, [shadows[index] for index in members], f_numbers)
    return np.clip(depths, 0.0, 1.0)


Likeness = tuple[float, float, "Shape"]
"""Distance and pitch [um] and shape: what shadows must share to be reckoned together."""


def alike(shadows: Sequence[Shadow]) -> dict[Likeness, list[int]]:
    """Return the places of the shadows that can be reckoned together."""
    groups: dict[Likeness, list[int]] = {}
    for index, shadow in enumerate(shadows):
        groups.setdefault((shadow.tau_um, shadow.pitch_um, shadow.shape), []).append(index)
    return groups


def _depths_alike(
    kind: Likeness, shadows: Sequence[Shadow], f_numbers: Sequence[float]
) -> NDArray[np.float64]:
    tau_um, pitch_um, shape = kind
    size_um = np.array([shadow.size_um for shadow in shadows])
    opacity = np.array([shadow.opacity_frac for shadow in shadows])
    factor = np.array([shadow.factor for shadow in shadows])
    length_um = np.array([np.inf if s.length_um is None else s.length_um for s in shadows])
    n_sizes = sizes_up_to(float(size_um.max()), tau_um)
    curves = for_each(
        lambda f_number: depth_curve(tau_um, f_number, pitch_um, shape, n_sizes), f_numbers
    )
    filled = np.minimum(length_um * (np.array(f_numbers)[:, None] / tau_um), 1.0)
    depths: NDArray[np.float64] = depths_on(curves, size_um, opacity) * filled * factor
    return depths


@dataclass(frozen=True, slots=True, kw_only=True)
class StopForecast:
    """What the aperture series does to many shadows.

    Parameters
    ----------
    depth_at : tuple of dict
        Depth at the full stops of a report, by engraved number, one a shadow.
    shows_from_f : tuple of float or None
        Widest aperture at which each shows; None if none does up to f/32.
    """

    depth_at: tuple[dict[str, float], ...]
    shows_from_f: tuple[float | None, ...]


def forecast_stops(shadows: Sequence[Shadow], show_depth_frac: float) -> StopForecast:
    """Reckon depths through the whole aperture series.

    Parameters
    ----------
    shadows : sequence of Shadow
        Marks of one frame.
    show_depth_frac : float
        Depth from which on a mark shows (0-1).
    """
    depths = depth_series(shadows, THIRD_STOPS)
    columns = [THIRD_STOPS.index(f_number) for f_number in REPORTED_STOPS]
    names = [stop_name(f_number) for f_number in REPORTED_STOPS]
    reported = [dict(zip(names, row, strict=True)) for row in depths[columns].T.tolist()]
    return StopForecast(
        depth_at=tuple(reported), shows_from_f=first_stops(depths >= show_depth_frac)
    )


def first_stops(is_seen: NDArray[np.bool_]) -> tuple[float | None, ...]:
    """Return the widest aperture of the series at which each of n marks shows.

    Parameters
    ----------
    is_seen : (apertures, n) bool
        At each aperture, whether each mark shows.

    Returns
    -------
    tuple of float or None
        None for a mark that never does.
    """
    first = is_seen.argmax(axis=0)
    is_ever = np.take_along_axis(is_seen, first[None, :], axis=0)[0]
    return tuple(
        THIRD_STOPS[stop] if is_one else None
        for stop, is_one in zip(first.tolist(), is_ever.tolist(), strict=True)
    )


def particle_for_depth(
    depth_frac: float, *, stack: Stack, f_number: float, pitch_um: float
) -> float | None:
    """Return the smallest opaque speck whose shadow reaches a depth [um].

    Returns
    -------
    float or None
        None when no speck reaches it or the distance is unknown.
    """
    if stack.distance_mm is None:
        return None
    curve = depth_curve(stack.distance_mm * UM_PER_MM, f_number, pitch_um)
    size_um = float(curve.size_for(depth_frac))
    return size_um if np.isfinite(size_um) else None

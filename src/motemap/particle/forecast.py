"""How deep marks will be at other apertures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.coords import UM_PER_MM
from motemap.optics.apertures import REPORTED_STOPS, THIRD_STOPS
from motemap.optics.depths import depth_curve, depths_on
from motemap.optics.table import sizes_up_to
from motemap.strips import for_each

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from motemap.optics.waves import Shape
    from motemap.records import Stack


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CastShadows:
    """All that is needed to draw the shadows of n marks at any aperture.

    Parameters
    ----------
    is_strip : (n,) bool
        True for a long fibre, False for a round speck.
    size_um : (n,) float64
        Diameters of specks, widths of fibres [um].
    length_um : (n,) float64
        Lengths, of which only those of fibres count [um].
    opacity_frac : (n,) float64
        Share of the light stopped (0-1).
    factor : (n,) float64
        How much deeper than the model the shadow is, from the measured depth.
    tau_um : (n,) float64
        Air-equivalent distance to the photosites [um].
    pitch_um : float
        Distance of stored pixels [um].
    """

    is_strip: NDArray[np.bool_]
    size_um: NDArray[np.float64]
    length_um: NDArray[np.float64]
    opacity_frac: NDArray[np.float64]
    factor: NDArray[np.float64]
    tau_um: NDArray[np.float64]
    pitch_um: float

    def some(self, members: NDArray[np.intp]) -> CastShadows:
        """Return the shadows of some of the marks, in the order asked for."""
        return CastShadows(
            is_strip=self.is_strip[members],
            size_um=self.size_um[members],
            length_um=self.length_um[members],
            opacity_frac=self.opacity_frac[members],
            factor=self.factor[members],
            tau_um=self.tau_um[members],
            pitch_um=self.pitch_um,
        )

    def depths_frac(self, f_numbers: Sequence[float]) -> NDArray[np.float64]:
        """Return the depths at m apertures, (m, n) (0-1).

        Notes
        -----
        By wave optics from size and opacity, scaled by each shadow's `factor`; a fibre shorter
        than the blur disc fills only part of the disc's chord.
        """
        depths = np.empty((len(f_numbers), self.size_um.size))
        for tau_um, shape, members in self.alike():
            depths[:, members] = self._depths_alike(tau_um, shape, members, f_numbers)
        return np.clip(depths, 0.0, 1.0)

    def alike(self) -> list[tuple[float, Shape, NDArray[np.intp]]]:
        """Return the distances [um] and shapes there are, each with the places of its shadows."""
        order = np.lexsort((self.is_strip, self.tau_um))
        tau_um, is_strip = self.tau_um[order], self.is_strip[order]
        is_other = (tau_um[1:] != tau_um[:-1]) | (is_strip[1:] != is_strip[:-1])
        groups = np.split(order, np.flatnonzero(is_other) + 1)
        return [
            (
                float(self.tau_um[members[0]]),
                "strip" if self.is_strip[members[0]] else "speck",
                members,
            )
            for members in groups
            if members.size
        ]

    def _depths_alike(
        self, tau_um: float, shape: Shape, members: NDArray[np.intp], f_numbers: Sequence[float]
    ) -> NDArray[np.float64]:
        """Return the depths of shadows of one distance and shape, (apertures, members)."""
        size_um = self.size_um[members]
        n_sizes = sizes_up_to(float(size_um.max()), tau_um)
        curves = for_each(
            lambda f_number: depth_curve(tau_um, f_number, self.pitch_um, shape, n_sizes), f_numbers
        )
        depths = depths_on(curves, size_um, self.opacity_frac[members])
        if shape == "strip":
            of_blur = np.array(f_numbers)[:, None] / tau_um
            depths *= np.minimum(self.length_um[members] * of_blur, 1.0)
        depths *= self.factor[members]
        return depths


def apertures_with(asked: Iterable[float]) -> tuple[float, ...]:
    """Return the thirds of a stop and the apertures asked for, widest first."""
    return tuple(sorted({*THIRD_STOPS, *asked}))


def reported_with(asked_f: float) -> tuple[float, ...]:
    """Return the apertures a report forecasts for: the full stops and the one asked for.

    >>> reported_with(9.5)
    (2.8, 4.0, 5.6, 8.0, 9.5, 11.0, 16.0, 22.0)
    """
    return tuple(sorted({*REPORTED_STOPS, asked_f}))


def first_stops(
    is_seen: NDArray[np.bool_], f_numbers: Sequence[float] = THIRD_STOPS
) -> NDArray[np.float64]:
    """Return the widest aperture at which each of n marks shows.

    Parameters
    ----------
    is_seen : (apertures, n) bool
        At each aperture, whether each mark shows.
    f_numbers : sequence of float
        The apertures, widest first.

    Returns
    -------
    (n,) float64
        NaN for a mark that never does.
    """
    first = is_seen.argmax(axis=0)
    return np.where(is_seen.any(axis=0), np.array(f_numbers)[first], np.nan)


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

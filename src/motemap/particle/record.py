"""What is said of the marks of a frame: the light they take, and their particles."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

from motemap.optics.apertures import REPORTED_STOPS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.particle.forecast import CastShadows

TRUSTED_MISFIT = 4.0
"""Mean squared residual up to which a mark has the shadow of a speck, whose fit then tells light, depth
and opacity better than what was measured; 1 is expected, and outlines stray from round ones."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LostLight:
    """The light a mark takes, freed of noise and of what the shadow throws too wide.

    Parameters
    ----------
    area_um2 : float
        Light lost in all, as an area [um2].
    error_frac : float
        Standard error of `area_um2`, as a share of it.
    opacity_frac : float
        Share of the light the particle stops where it lies, as far as one aperture tells;
        1 unless the shape of the shadow speaks against it.
    depth_frac : float
        Depth of the shadow at the pixel scale (0-1).
    misfit : float
        Mean squared residual in units of what is expected (about 1 and less).
    """

    area_um2: float
    error_frac: float
    opacity_frac: float
    depth_frac: float
    misfit: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drafts:
    """Particles of n marks whose shadows are still as deep as the model has them, (n,) each.

    Parameters
    ----------
    particle_um : float64
        As in `Particles`.
    spread : float64
        Standard error of the logarithm of the same.
    lost_area_um2, layer, reason
        As in `Particles`.
    depth_frac : float64
        Depth in the test shot; NaN where the whole shadow is to tell it.
    is_strip, shadow_um, opacity_frac, tau_um
        Shape, size, opacity and distance of the shadows, as in `CastShadows`.
    least_factor, most_factor : float64
        By how much a shadow may be scaled to agree with the depth in the test shot.
    """

    particle_um: NDArray[np.float64]
    spread: NDArray[np.float64]
    lost_area_um2: NDArray[np.float64]
    layer: NDArray[np.object_]
    reason: NDArray[np.object_]
    depth_frac: NDArray[np.float64]
    is_strip: NDArray[np.bool_]
    shadow_um: NDArray[np.float64]
    opacity_frac: NDArray[np.float64]
    tau_um: NDArray[np.float64]
    least_factor: NDArray[np.float64]
    most_factor: NDArray[np.float64]

    @classmethod
    def joined(cls, drafted: Sequence[tuple[NDArray[np.intp], Drafts]]) -> Drafts:
        """Put the drafts of some marks each, with their places among all, together."""
        places = [members for members, _ in drafted]
        order = np.argsort(np.concatenate(places))
        return cls(
            **{
                field.name: np.concatenate([getattr(one, field.name) for _, one in drafted])[order]
                for field in fields(cls)
            }
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Particles:
    """Sizes, places in depth and forecasts of n marks; NaN is unknown.

    Parameters
    ----------
    particle_um : (n,) float64
        Diameter of the opaque disc that takes as much light; width of a fibre [um].
    least_um, most_um : (n,) float64
        Where nine in ten such particles lie [um].
    length_um : (n,) float64
        Length along the mark [um].
    lost_area_um2 : (n,) float64
        Light lost in all, as an area, above 0 [um2].
    depth_frac : (n,) float64
        Depth in the test shot, from the whole shadow where that is known, which has less noise
        than its middle (0-1).
    layer : (n,) object
        Which surface each lies on, a `Layer`.
    reason : (n,) object
        Why, in words for people.
    shadows : CastShadows or None
        What forecasts are made from; None when no forecast is possible.
    depth_at : (stops, n) float64 or None
        Depth at `reported_f` (0-1); None when no forecast is possible.
    shows_from_f : (n,) float64
        Widest aperture at which each shows, of the thirds of a stop and the one asked for; NaN
        where it never does or that cannot be said.
    reported_f : tuple of float
        Apertures of `depth_at`: the full stops and the one asked for, widest first.
    """

    particle_um: NDArray[np.float64]
    least_um: NDArray[np.float64]
    most_um: NDArray[np.float64]
    length_um: NDArray[np.float64]
    lost_area_um2: NDArray[np.float64]
    depth_frac: NDArray[np.float64]
    layer: NDArray[np.object_]
    reason: NDArray[np.object_]
    shadows: CastShadows | None
    depth_at: NDArray[np.float64] | None
    shows_from_f: NDArray[np.float64]
    reported_f: tuple[float, ...] = REPORTED_STOPS

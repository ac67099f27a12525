"""What is said of one mark: the light it takes, and its particle."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from motemap.particle.forecast import Shadow
    from motemap.records import Layer


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """A particle whose shadow is still as deep as the model has it, not as was measured.

    Parameters
    ----------
    particle : Particle
        All but its depths; without `depth_frac` unless that is the measured one.
    shadow : Shadow or None
        What is to be forecast, its factor 1; None when no forecast is possible.
    factors : tuple of float or None
        By how much the shadow may be scaled to agree with the depth in the test shot, at
        least and at most; None if it fits by itself.
    """

    particle: Particle
    shadow: Shadow | None = None
    factors: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Particle:
    """Size, place in depth and forecast of one mark.

    Parameters
    ----------
    particle_um : float or None
        Diameter of the opaque disc that takes as much light; width of a fibre [um].
    particle_um_range : tuple of float or None
        Where nine in ten such particles lie [um].
    length_um : float or None
        Length along the mark [um].
    lost_area_um2 : float or None
        Light lost in all, as an area [um2].
    depth_frac : float or None
        Depth in the test shot, from the whole shadow rather than its middle (0-1).
    layer : str
        Which surface it lies on.
    shows_from_f : float or None
        Widest aperture at which it shows; None if it never does or cannot be said.
    depth_at : dict or None
        Depth at full stops, by engraved number (0-1).
    shadow : Shadow or None
        What the forecast is made from; None when no forecast is possible.
    reasons : tuple of str
        In words, for people.
    """

    particle_um: float | None = None
    particle_um_range: tuple[float, float] | None = None
    length_um: float | None = None
    lost_area_um2: float | None = None
    depth_frac: float | None = None
    layer: Layer = "unsure"
    shows_from_f: float | None = None
    depth_at: dict[str, float] | None = None
    shadow: Shadow | None = None
    reasons: tuple[str, ...] = ()

    def depth_frac_at(self, f_number: float) -> float | None:
        """Return the depth at an aperture (0-1); None when it cannot be forecast."""
        return None if self.shadow is None else self.shadow.depth_frac(f_number)

"""How dirty, in the terms of those who keep records: area covered, and a cleanliness level.

A side figure. The level's law describes precision-cleaned parts; a sensor that was exposed to
air and dust need not follow it, hence "equivalent level at x um".
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from motemap.tallies import Cleanliness

if TYPE_CHECKING:
    from motemap.records import Sensitivity, Sensor, Spot

SLOPE: Final = 0.926
"""Slope of the particle distribution in IEST-STD-CC1246 and MIL-STD-1246C (E. N. Borson,
semiconductor-digest, 2005); later editions write 0.9263."""

REFERENCE_AREA_MM2: Final = 1e5
"""Area the level's counts refer to: 0.1 m2, once one square foot."""

DEFAULT_AT_UM: Final = 20.0

PARTICLE_KINDS: Final = frozenset({"speck", "fibre", "unsure"})
"""Kinds that count as particles; droplets and smears are films, which the level leaves out."""

UM2_PER_MM2: Final = 1e6


def particles_at_level(level: float, at_um: float) -> float:
    """Return the particles of `at_um` and larger that a level allows per 0.1 m2.

    ``log10 N = 0.926 (log10(level)^2 - log10(at_um)^2)``.

    >>> round(particles_at_level(100, 25), 1)
    78.4
    """
    return math.pow(10.0, SLOPE * (math.log10(level) ** 2 - math.log10(at_um) ** 2))


def equivalent_level(n_particles: float, at_um: float, area_mm2: float) -> float:
    """Return the cleanliness level that a count on an area amounts to.

    Parameters
    ----------
    n_particles : float
        Particles of `at_um` or larger on the area; above 0.
    at_um : float
        Smallest particle counted, 1 or more [um].
    area_mm2 : float
        Area they were counted on [mm2].

    Raises
    ------
    ValueError
        If there is no particle: no count has no level, only a bound.

    Notes
    -----
    The law of `particles_at_level` solved for the level. Less than one particle of 1 um per
    0.1 m2 has no level above 1, the lowest there is.

    >>> round(equivalent_level(10, 20, 36 * 24), 1)
    172.3
    """
    if n_particles <= 0:
        raise ValueError("A level needs at least one particle; give a bound instead.")
    per_reference = n_particles * REFERENCE_AREA_MM2 / area_mm2
    squared = math.log10(at_um) ** 2 + math.log10(per_reference) / SLOPE
    return math.pow(10.0, math.sqrt(max(squared, 0.0)))


def cleanliness(
    spots: tuple[Spot, ...],
    sensor: Sensor,
    sensitivity: Sensitivity,
    *,
    at_um: float = DEFAULT_AT_UM,
) -> Cleanliness:
    """Sum up the dirt on the filter stack of one frame.

    Parameters
    ----------
    spots : tuple of Spot
        All marks of the frame.
    sensor : Sensor
        For the area.
    sensitivity : Sensitivity
        The smallest particle the frame could have shown; a smaller `at_um` is raised to it,
        since what could not be seen could not be counted.
    at_um : float
        Particle size from which on to count [um].
    """
    on_stack = tuple(spot for spot in spots if spot.layer in {"filter stack", "unsure"})
    smallest_um = sensitivity.smallest_particle_um
    counted_from_um = max(at_um, smallest_um or at_um)
    n_particles = sum(
        size is not None and size >= counted_from_um for size in map(_longest_um, on_stack)
    )
    area_mm2 = _area(sensor)
    is_known = area_mm2 is not None and (n_particles > 0 or smallest_um is not None)
    return Cleanliness(
        at_um=counted_from_um,
        n_particles=n_particles,
        equivalent_level=(
            equivalent_level(max(n_particles, 1), counted_from_um, area_mm2)
            if area_mm2 is not None and is_known
            else None
        ),
        is_upper_bound=n_particles == 0,
        covered_frac=None if area_mm2 is None else _covered(on_stack, area_mm2),
    )


def _longest_um(spot: Spot) -> float | None:
    """Return the size by which a particle counts: its longest side; None for films.

    The longest dimension is what the standard counts by (from memory).
    """
    if spot.kind not in PARTICLE_KINDS or spot.particle_um is None:
        return None
    if spot.kind == "fibre" and spot.length_um is not None:
        return max(spot.length_um, spot.particle_um)
    return spot.particle_um


def _area(sensor: Sensor) -> float | None:
    """Return the imaging area [mm2]; None when the size is unknown."""
    if sensor.width_mm is None or sensor.height_mm is None:
        return None
    return sensor.width_mm * sensor.height_mm


def _covered(on_stack: tuple[Spot, ...], area_mm2: float) -> float:
    """Return the share of the area that is shaded, by the light lost."""
    lost_um2 = math.fsum(spot.lost_area_um2 or 0.0 for spot in on_stack)
    return max(lost_um2, 0.0) / UM2_PER_MM2 / area_mm2

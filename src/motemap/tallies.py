"""What a frame comes to in numbers: marks that show by aperture, and how dirty that is."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class ApertureTally:
    """What pictures taken at one aperture would show.

    Marks on the lens side are left out: another lens, and they are gone.

    Parameters
    ----------
    f_number : float
        Aperture of the pictures.
    n_showing : int or None
        Marks that show; None where nothing can be forecast.
    n_unknown : int
        Marks that cannot be forecast.
    worst : tuple of int
        Ids of the worst of those that show, deepest first.
    worst_depth_frac : tuple of float
        Their depths at this aperture (0-1).
    """

    f_number: float
    n_showing: int | None
    n_unknown: int = 0
    worst: tuple[int, ...] = ()
    worst_depth_frac: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Cleanliness:
    """Dirt on the filter stack in numbers.

    Parameters
    ----------
    at_um : float
        Particle size from which on particles were counted [um].
    n_particles : int
        Particles of that size or larger on the whole sensor.
    equivalent_level : float or None
        Level with that many particles of `at_um` and more per 0.1 m2; None without a sensor
        size or without knowledge of the smallest particle that could be seen.
    is_upper_bound : bool
        True when no particle was found: the true level lies below the one given.
    covered_frac : float or None
        Share of the imaging area that marks on the stack shade (0-1).
    """

    at_um: float
    n_particles: int
    equivalent_level: float | None
    is_upper_bound: bool
    covered_frac: float | None

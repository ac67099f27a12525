"""How deep a shadow of something on a lens can be.

Dust on the rear of a lens, at a distance ``z`` before the photosites, throws a disc as wide as its
blur disc ``z / N``, as long as it is smaller than that; the disc's depth is the dust's area over
the disc's. Its outline crosses the rim of the blur disc within its own width, so the flank tells
how large it is: for a round one of diameter d, depth over steepest slope is ``pi d / 4``
(derived: the chord of a disc is its slope). A deep disc with a hard rim is nothing on a lens.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

LARGEST_UM = 700.0
"""Between half a millimetre and one: larger things on a lens are seen and wiped off (common
practice, no source)."""
IRREGULAR = 4.0
"""Times the area of a round particle with the same flank that an irregular one may have: measured
is the steepest place of its flank, which may be half as soft as the round one's."""
SOFTEST_OF_WIDTH = 0.6
"""Flank over width of a shadow that still has a core and is a disc."""
DEEPEST_FRAC = (4 * SOFTEST_OF_WIDTH / math.pi) ** 2
"""Depth of a round particle's disc with so soft a flank; a deeper one would be all flank."""
WAVE_UM = 0.55
"""Middle of what is seen, where photosites see best."""
SHARPEST_OF_WAVES = 0.8
"""Share of what diffraction makes of a rim that the steepest places of a faint one may show."""


def deepest_on_lens_frac(
    width_um: ArrayLike, flank_um: ArrayLike, f_number: float
) -> NDArray[np.float64]:
    """Return how deep the shadow of something on a lens can be, given its size (0-1).

    Parameters
    ----------
    width_um : array_like
        Full width at half depth [um].
    flank_um : array_like
        Depth over steepest slope [um].
    f_number : float
        Diffraction softens the flank, too, and says nothing of the particle.

    Examples
    --------
    >>> deepest_on_lens_frac([1000.0, 2000.0], [200.0, 1000.0], 22.0).round(4).tolist()
    [0.2343, 0.1225]
    """
    widths, flanks = (np.asarray(part, dtype=np.float64) for part in (width_um, flank_um))
    by_waves = (SHARPEST_OF_WAVES * waves_flank_um(widths, f_number)) ** 2
    by_flank = IRREGULAR * (4 / (math.pi * widths)) ** 2 * np.maximum(flanks**2 - by_waves, 0)
    by_size = (LARGEST_UM / widths) ** 2
    return np.asarray(np.minimum(np.minimum(by_flank, by_size), DEEPEST_FRAC))


def waves_flank_um(width_um: ArrayLike, f_number: float) -> NDArray[np.float64]:
    """Return how soft diffraction alone makes the rim of a disc of this width [um].

    About ``sqrt(wavelength z / 2)``, the width of the first Fresnel zone of a straight edge, at
    ``z = N width``.
    """
    return np.sqrt(WAVE_UM * f_number / 2 * np.asarray(width_um, dtype=np.float64))


def flank_on_lens_um(width_um: float, depth_frac: float, f_number: float) -> float:
    """Return how soft the flank of a disc of this depth is, thrown by round dust on the lens [um].

    The dust is as large as the depth says, ``d = width sqrt(depth)``, and its flank ``pi d / 4``
    (derived). What diffraction does adds to it as variances do.

    Parameters
    ----------
    width_um : float
        Full width at half depth [um].
    depth_frac : float
        (0-1).
    f_number : float

    Examples
    --------
    >>> round(flank_on_lens_um(900.0, 0.04, 22.0))
    159
    """
    by_dust_um = math.pi / 4 * width_um * math.sqrt(depth_frac)
    return math.hypot(by_dust_um, float(waves_flank_um(width_um, f_number)))


def sharpest_on_lens_um(width_um: float, depth_frac: float, f_number: float) -> float:
    """Return how soft the sharpest place of such a disc's rim is, of whatever form the dust [um].

    See `IRREGULAR` and `SHARPEST_OF_WAVES`.
    """
    by_dust_um = math.pi / 4 * width_um * math.sqrt(depth_frac / IRREGULAR)
    return math.hypot(by_dust_um, SHARPEST_OF_WAVES * float(waves_flank_um(width_um, f_number)))

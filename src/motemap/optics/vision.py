"""What an eye can see: contrast sensitivity, and the depth from which on a spot shows.

The contrast-sensitivity function is that of P. G. J. Barten, "Contrast Sensitivity of the
Human Eye and Its Effects on Image Quality", SPIE 1999.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.errors import SettingsError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

# Barten's constants for an average observer.
EYE_NOISE_RATIO = 3.0
"""Signal to noise at half of the sightings."""
INTEGRATION_S = 0.1
"""Time over which the eye adds up light."""
FIELD_LIMIT_DEG = 12.0
CYCLE_LIMIT = 15.0
"""Largest angle, and most cycles, over which it adds up a pattern."""
QUANTUM_EFFICIENCY = 0.03
"""Share of the photons that are seen."""
PHOTONS = 1.2274e6
"""Photons per second, square degree and troland."""
NEURAL_NOISE = 3e-8
"""Spectral density of the noise of nerves [s deg2]."""
INHIBITION_CYCLES_DEG = 7.0
"""Below this, neighbouring receptors suppress what changes slowly."""
EYE_BLUR_ARCMIN = 0.5
EYE_ABERRATION_ARCMIN_MM = 0.08
"""Spread of the line image with a small pupil, and how it grows with the pupil's diameter."""
FIELD_DEG = 60.0
"""Field that the eye is adapted to where none is given: a wide one, as a room with a picture."""
ARCMIN_PER_DEG = 60.0
"""Minutes of arc in a degree."""

SCREEN_NAME = "screen at 100 %"
SCREEN_DOT_MM = 0.25
SCREEN_DISTANCE_MM = 600.0
SCREEN_CD_M2 = 100.0
"""A desktop monitor of about 100 dots an inch at arm's length (common practice, no source)."""
PRINT_CD_M2 = 160.0
"""White paper under 500 lux, reflectance 1: 500 / pi."""
N_CYCLES = 40
"""Patterns, and widths, tried for the one that is seen best."""
HIGHEST_CYCLES_DEG = 60.0
"""Finest pattern tried: the eye's own blur passes less than a hundredth of it (derived)."""
MM_PER_CM = 10.0
SMALLEST_SPOT_DEG = 1e-3
"""Smaller spots are reckoned as this one: far below what the eye resolves, it only sees their
light."""
RICCO_LIMIT_DEG = 0.5
"""Widest spot that a smaller one may look like; Ricco's law holds far below it."""


def pupil_mm(luminance_cd_m2: float, field_deg: float = FIELD_DEG) -> float:
    """Return the diameter of the eye's pupil in a field of some brightness [mm].

    The logarithm is to base 10, as the colour-science library notes after Watson and Yellott,
    "A unified formula for light-adapted pupil size", Journal of Vision 2012.

    >>> round(pupil_mm(100, 60), 6)
    2.793131
    """
    return 5 - 3 * math.tanh(0.4 * math.log10(luminance_cd_m2 * field_deg**2 / 40**2))


def eye_blur_deg(
    pupil_diameter_mm: float,
    blur_arcmin: float = EYE_BLUR_ARCMIN,
    aberration_arcmin_mm: float = EYE_ABERRATION_ARCMIN_MM,
) -> float:
    """Return the spread of the eye's line image [deg]."""
    spread_arcmin = math.hypot(blur_arcmin, aberration_arcmin_mm * pupil_diameter_mm)
    return spread_arcmin / ARCMIN_PER_DEG


def retinal_troland(luminance_cd_m2: float, pupil_diameter_mm: float) -> float:
    """Return the light on the retina, with the lesser effect of the pupil's rim [troland]."""
    area_mm2 = math.pi * pupil_diameter_mm**2 / 4
    rim = 1 - (pupil_diameter_mm / 9.7) ** 2 + (pupil_diameter_mm / 12.4) ** 4
    return area_mm2 * luminance_cd_m2 * rim


def eye_transfer(cycles_deg: ArrayLike, blur_deg: float) -> NDArray[np.float64]:
    """Return the share of modulation that the eye's optics pass (0-1)."""
    cycles = np.asarray(cycles_deg, dtype=np.float64)
    passed: NDArray[np.float64] = np.exp(-2 * np.pi**2 * blur_deg**2 * cycles**2)
    return passed


def integration_deg(cycles_deg: ArrayLike, field_deg: ArrayLike = FIELD_DEG) -> NDArray[np.float64]:
    """Return the side of the field over which the eye adds up a pattern [deg]."""
    cycles = np.asarray(cycles_deg, dtype=np.float64)
    inverse = (
        np.asarray(field_deg, dtype=np.float64) ** -2.0
        + FIELD_LIMIT_DEG**-2
        + cycles**2 / CYCLE_LIMIT**2
    )
    side: NDArray[np.float64] = inverse**-0.5
    return side


@dataclass(frozen=True, slots=True, kw_only=True)
class Eye:
    """State of the eye in Barten's function.

    Parameters
    ----------
    blur_deg : float
        Spread of the line image [deg].
    troland : float
        Light on the retina.
    photons : float
        Photons per second, square degree and troland.
    """

    blur_deg: float
    troland: float
    photons: float = PHOTONS

    @classmethod
    def adapted(cls, luminance_cd_m2: float) -> Eye:
        """Return the eye of an average observer before a wide field of some brightness."""
        pupil = pupil_mm(luminance_cd_m2)
        return cls(blur_deg=eye_blur_deg(pupil), troland=retinal_troland(luminance_cd_m2, pupil))


def sensitivity(
    cycles_deg: ArrayLike, eye: Eye, field_deg: ArrayLike = FIELD_DEG
) -> NDArray[np.float64]:
    """Return the contrast sensitivity, the inverse of the threshold modulation.

    Parameters
    ----------
    cycles_deg : array_like
        Spatial frequency [cycles per degree].
    eye : Eye
        Who looks, and how bright it is.
    field_deg : array_like
        Side of the square the pattern fills [deg].
    """
    cycles = np.asarray(cycles_deg, dtype=np.float64)
    photon_noise = 1 / (QUANTUM_EFFICIENCY * eye.photons * eye.troland)
    neural = NEURAL_NOISE / (1 - np.exp(-((cycles / INHIBITION_CYCLES_DEG) ** 2)))
    side = integration_deg(cycles, field_deg)
    noise = np.sqrt(2 / INTEGRATION_S / side**2 * (photon_noise + neural))
    sharp = eye_transfer(cycles, eye.blur_deg)
    return np.asarray(sharp / EYE_NOISE_RATIO / noise)


@dataclass(frozen=True, slots=True, kw_only=True)
class Viewing:
    """How the finished picture is looked at.

    Parameters
    ----------
    name : str
        In words, for the report.
    print_width_mm : float or None
        Long side of a print; None for a screen that shows one pixel on one dot.
    distance_mm : float
        From eye to picture.
    luminance_cd_m2 : float
        Brightness of a light part of the picture.
    """

    name: str
    print_width_mm: float | None
    distance_mm: float
    luminance_cd_m2: float

    @classmethod
    def parse(cls, text: str) -> Viewing:
        """Read ``screen`` or ``print 60x40cm at 80cm``, also as ``print:60x40cm@80cm``.

        What a viewing is named is read too.

        Raises
        ------
        SettingsError
            The text says neither.

        Examples
        --------
        >>> Viewing.parse("print 60x40cm at 80cm").print_width_mm
        600.0
        >>> Viewing.parse("print:60x40@80").name
        'print 60 x 40 cm at 80 cm'
        """
        words = " ".join(text.lower().replace(":", " ").replace("@", " at ").split())
        if words in {"screen", SCREEN_NAME}:
            return cls(
                name=SCREEN_NAME,
                print_width_mm=None,
                distance_mm=SCREEN_DISTANCE_MM,
                luminance_cd_m2=SCREEN_CD_M2,
            )
        number, unit = r"(\d+(?:\.\d+)?)", "(?: ?cm)?"
        found = re.fullmatch(rf"print {number}{unit} ?x ?{number}{unit} at {number}{unit}", words)
        sides = [float(part) for part in found.groups()] if found else [0.0]
        if min(sides) <= 0:
            raise SettingsError(
                f"{text!r} is not a way of looking at a picture.",
                repair='Say "screen", or for a print "print:60x40cm@80cm".',
            )
        width_cm, height_cm, distance_cm = sides
        return cls(
            name=f"print {width_cm:g} x {height_cm:g} cm at {distance_cm:g} cm",
            print_width_mm=max(width_cm, height_cm) * MM_PER_CM,
            distance_mm=distance_cm * MM_PER_CM,
            luminance_cd_m2=PRINT_CD_M2,
        )

    def spot_deg(self, width_px: float, picture_px: float) -> float:
        """Return the angle under which a spot is seen [deg].

        Parameters
        ----------
        width_px : float
            Width of the spot in the picture [px].
        picture_px : float
            Long side of the whole picture [px].
        """
        dot_mm = SCREEN_DOT_MM
        if self.print_width_mm is not None:
            dot_mm = self.print_width_mm / picture_px
        return math.degrees(2 * math.atan(width_px * dot_mm / self.distance_mm / 2))


def spot_threshold(spot_deg: ArrayLike, eye: Eye) -> NDArray[np.float64]:
    """Return the depth from which on spots of some angles can be seen, above Ricco's area.

    The spot counts as the dark half of one cycle of a pattern that is two spots wide; a wide
    spot is seen by its rim, so the most visible finer pattern counts if that is easier to
    see. The depth of a spot is twice the modulation of the pattern.
    """
    spots = np.atleast_1d(np.asarray(spot_deg, dtype=np.float64))
    lowest = 1 / (2 * spots)
    cycles = np.geomspace(lowest, np.maximum(lowest, HIGHEST_CYCLES_DEG), N_CYCLES)
    best = sensitivity(cycles, eye, 2 * spots).max(axis=0)
    return np.asarray(2 / np.maximum(best, np.finfo(np.float64).tiny))


def visible_depth(width_px: float, picture_px: float, viewing: Viewing) -> float:
    """Return the depth from which on a dark spot of some width can be seen (0-1).

    A spot too small for the eye to resolve is seen as a wider and fainter one of the same
    light lost (Ricco's law: threshold times area is constant).

    Parameters
    ----------
    width_px : float
        Full width of the spot at half depth [px].
    picture_px : float
        Long side of the whole picture [px].
    viewing : Viewing
        How the picture is looked at.
    """
    spot_deg = max(viewing.spot_deg(width_px, picture_px), SMALLEST_SPOT_DEG)
    wider = np.geomspace(spot_deg, max(spot_deg, RICCO_LIMIT_DEG), N_CYCLES)
    spread = (wider / spot_deg) ** 2
    eye = Eye.adapted(viewing.luminance_cd_m2)
    return float(min(1.0, (spot_threshold(wider, eye) * spread).min()))

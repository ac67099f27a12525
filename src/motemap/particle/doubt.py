"""What is not known of a picture and of the way to its dust, and how far that puts sizes in doubt."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from motemap.particle.shot_optics import NINE_IN_TEN, size_ranges

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.particle.record import Particles
    from motemap.records import ImageInfo, Sensor, Stack

CURVE_ERRORS = (0.13, 0.13, 0.3)
CURVE_LEVELS = (0.0, 0.5, 1.0)
"""Spread of the slopes of cameras' tone curves over that of the curve that was undone, light
against light, by the level of the light: from a tenth flatter to a third steeper in the mid-tones,
less sure towards white, where curves bend into a shoulder. Common practice; no source gives a
distribution."""
COOKING_ERROR = 0.1
"""Light that sharpening, noise reduction and coding take from a mark or give it, as a share of it:
drawn frames."""
SENSOR_ERROR = 0.33
"""Spread of a size in logarithm where the sensor's is assumed: pictures of one shape come from
sensors that are to each other as 1.5 or 1.6 to 1, and the range is to hold either."""
STACK_POWER = 0.5
"""Size goes with this power of the distance to the dust: at one depth of the shadow all lengths go
with the root of it, as the scale of the waves does (drawn frames: 0.2-0.6)."""
TINY = 1e-9
"""Keeps logarithms and divisions from 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """What is left unknown, as standard errors.

    Parameters
    ----------
    light_frac : float
        Of the light that a faint mark takes, as a share of it.
    scale : float
        Of all lengths, in logarithm.
    """

    light_frac: float = 0.0
    scale: float = 0.0

    @classmethod
    def of(cls, image: ImageInfo, sensor: Sensor, stack: Stack, level_frac: float) -> Doubt:
        """Return what is in doubt of a picture.

        Parameters
        ----------
        image : ImageInfo
            Where its numbers are light as it fell, the light itself is in no doubt.
        sensor : Sensor
        stack : Stack
            Distance that sizes were reckoned with.
        level_frac : float
            Light of the empty field, 1 being white.
        """
        curve_error = float(np.interp(level_frac, CURVE_LEVELS, CURVE_ERRORS))
        of_stack = 0.0
        if stack.distance_mm is not None and stack.uncertainty_mm is not None:
            of_stack = STACK_POWER * stack.uncertainty_mm / stack.distance_mm
        of_sensor = SENSOR_ERROR if sensor.source == "assumed" else 0.0
        return cls(
            light_frac=math.hypot(curve_error, COOKING_ERROR) if is_cooked(image) else 0.0,
            scale=math.hypot(of_sensor, of_stack),
        )


def is_cooked(image: ImageInfo) -> bool:
    """Tell whether a program made a picture of the photosites' light, as JPEGs are made."""
    return image.curve != "linear"


def doubted(particles: Particles, is_disc: NDArray[np.bool_], doubt: Doubt) -> Particles:
    """Widen the ranges of sizes by what is in doubt; nothing else changes.

    Parameters
    ----------
    particles : Particles
    is_disc : (n,) bool
        The marks whose sizes are diameters, as given to `sized_as_discs`; the others' are widths.
    doubt : Doubt

    Notes
    -----
    A curve of another slope ``g`` makes light ``1 - d`` to ``(1 - d)^g``: of a faint mark the depth
    is off by the factor `g`, of one that is black not at all. The share of the error that is left
    at a depth ``d`` is ``-(1 - d) ln(1 - d) / d``. A speck's diameter goes with the root of its
    light, the width of a fibre with the light itself.
    """
    if doubt == Doubt():
        return particles
    depth_frac = np.clip(particles.depth_frac, TINY, 1 - TINY)
    left = -(1 - depth_frac) * np.log1p(-depth_frac) / depth_frac
    power = np.where(is_disc, 0.5, 1.0)
    added = np.hypot(power * left * doubt.light_frac, doubt.scale)
    told = np.log(np.maximum(particles.most_um, TINY) / np.maximum(particles.particle_um, TINY))
    told /= NINE_IN_TEN
    least_um, most_um = size_ranges(particles.particle_um, np.hypot(told, added))
    return replace(particles, least_um=least_um, most_um=most_um)

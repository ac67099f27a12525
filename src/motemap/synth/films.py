"""Masks of what liquids and swabs leave: dried rims, smears and streaks."""

import math
from dataclasses import dataclass

import numpy as np

from motemap.synth.masks import Floats, Mask, Outline, Paint, covered_share, film_paint


@dataclass(frozen=True, slots=True, kw_only=True)
class RingMask(Mask):
    """The rim left by a drop that dried, with a thin film inside.

    Parameters
    ----------
    outline : Outline
        Middle line of the rim.
    width_um : float
        Thickness of the rim [um].
    opacity, film_opacity : float
        Share of the light stopped in the rim and in the film (0-1).
    """

    outline: Outline
    width_um: float
    opacity: float
    film_opacity: float = 0.0

    @property
    def reach_um(self) -> tuple[float, float]:
        """Half width and half height of the box that holds the mark [um]."""
        reach_um = self.outline.reach_um + self.width_um
        return (reach_um, reach_um)

    @property
    def scale_um(self) -> float:
        """Thickness of the rim [um]."""
        return self.width_um

    def paint(self, right_um: Floats, down_um: Floats, cell_um: float) -> Paint:
        """Return what passes through cells `cell_um` wide with these centres."""
        inside_um = self.outline.inside_um(right_um, down_um)
        rim = covered_share(0.5 * self.width_um - np.abs(inside_um), cell_um)
        film = covered_share(inside_um, cell_um) * (1.0 - rim)
        rim_paint = film_paint(rim, self.opacity)
        inner_paint = film_paint(film, self.film_opacity)
        return Paint(
            amplitude=rim_paint.amplitude + inner_paint.amplitude - 1.0,
            intensity=rim_paint.intensity + inner_paint.intensity - 1.0,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SmearMask(Mask):
    """A soft film: grease wiped along, or a streak left by a swab.

    Parameters
    ----------
    length_um, width_um : float
        Full size at the film's half thickness, along and across [um].
    turn_deg : float
        Direction of the long side, from right towards down [deg].
    opacity : float
        Share of the light stopped where the film is thickest (0-1).
    ripples : tuple of (float, float, float)
        Waves across the film: cycles over its width, phase [rad], strength (0-1).
    delay_um : float
        Optical path added where the film is thickest [um].
    """

    length_um: float
    width_um: float
    turn_deg: float
    opacity: float
    ripples: tuple[tuple[float, float, float], ...] = ()
    delay_um: float = 0.0

    @property
    def reach_um(self) -> tuple[float, float]:
        """Half width and half height of the box that holds the mark [um]."""
        along, across = 0.75 * self.length_um, 0.75 * self.width_um
        cosine = abs(math.cos(math.radians(self.turn_deg)))
        sine = abs(math.sin(math.radians(self.turn_deg)))
        return (along * cosine + across * sine, along * sine + across * cosine)

    @property
    def scale_um(self) -> float:
        """Width, or the length of its finest ripple [um]."""
        finest = max((cycles for cycles, _, _ in self.ripples), default=1.0)
        return self.width_um / max(finest, 1.0)

    @property
    def is_lens(self) -> bool:
        """Whether the mark bends light."""
        return self.delay_um > 0.0

    @property
    def is_soft(self) -> bool:
        """Whether the mark has no edges, so that it throws no light wide."""
        return True

    def paint(self, right_um: Floats, down_um: Floats, cell_um: float) -> Paint:
        """Return what passes through cells `cell_um` wide with these centres."""
        del cell_um  # no edge is sharper than a cell
        cosine, sine = math.cos(math.radians(self.turn_deg)), math.sin(math.radians(self.turn_deg))
        along = (right_um * cosine + down_um * sine) / self.length_um
        across = (down_um * cosine - right_um * sine) / self.width_um
        film = _soft_step(np.cbrt(np.abs(along) ** 3 + np.abs(across) ** 3))
        for cycles, phase, strength in self.ripples:
            film = film * (
                1.0 - strength * (0.5 + 0.5 * np.cos(2 * math.pi * cycles * across + phase))
            )
        intensity = 1.0 - self.opacity * film
        delay_um = self.delay_um * film if self.delay_um > 0.0 else None
        return Paint(amplitude=np.sqrt(intensity), intensity=intensity, delay_um=delay_um)


def _soft_step(offset: Floats) -> Floats:
    """1 in the middle, 1/2 at +-1/2, 0 from +-3/4 on, smooth between."""
    ramp = np.clip((0.75 - np.abs(offset)) / 0.5, 0.0, 1.0)
    soft: Floats = ramp * ramp * (3.0 - 2.0 * ramp)
    return soft

"""Random shapes of dust, fibres, drops and smears, each with its true size."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from motemap.synth.films import RingMask, SmearMask
from motemap.synth.marks import Form, MarkMix
from motemap.synth.masks import (
    WATER_INDEX_MINUS_1,
    DropMask,
    FibreMask,
    Mask,
    Outline,
    SpeckMask,
)

N_WAVES = 4
FIBRE_STEP_UM = 6.0
ORDINARY_TAU_UM = 1300.0
STEEPEST_DROP_DEG = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """A mask with its true measures; see `Mark` for what they mean."""

    form: Form
    mask: Mask
    size_um: float
    length_um: float


def power_law_um(rng: np.random.Generator, mix: MarkMix) -> float:
    """Draw a diameter: the number above d falls as ``d ** -size_power``."""
    low, high = mix.smallest_um**-mix.size_power, mix.largest_um**-mix.size_power
    share = float(low - rng.uniform() * (low - high))
    return math.pow(share, -1.0 / mix.size_power)


def random_outline(rng: np.random.Generator, diameter_um: float, roughness: float = 0.1) -> Outline:
    """Return a rounded outline: a few waves on a circle, each weaker than the last."""
    strengths = roughness / np.arange(1, N_WAVES + 1) ** 1.3
    waves = rng.standard_normal((N_WAVES, 2)) * strengths[:, None]
    limited = np.clip(waves, -2.0 * strengths[:, None], 2.0 * strengths[:, None])
    return Outline(diameter_um=diameter_um, waves=tuple((float(c), float(s)) for c, s in limited))


def speck(rng: np.random.Generator, mix: MarkMix) -> Shape:
    """Return a grain; two in three are opaque, the others let part of the light pass."""
    diameter_um = power_law_um(rng, mix)
    thin = float(rng.uniform(0.5, 1.0))
    opacity = thin if rng.uniform() < 1.0 / 3.0 else 1.0
    mask = SpeckMask(outline=random_outline(rng, diameter_um), opacity=opacity)
    return Shape(form="speck", mask=mask, size_um=diameter_um, length_um=diameter_um)


def fibre(rng: np.random.Generator, mix: MarkMix) -> Shape:
    """Return a thread 5-20 um thick and 150-1500 um long; one in three is hooked."""
    del mix
    width_um = float(rng.uniform(5.0, 20.0))
    length_um = math.exp(rng.uniform(math.log(150.0), math.log(1500.0)))
    n_steps = max(8, math.ceil(length_um / FIBRE_STEP_UM))
    along = np.linspace(0.0, 1.0, n_steps + 1)
    heading = rng.uniform(0.0, 2.0 * math.pi) + np.zeros_like(along)
    for n_turns in (1, 2, 3):
        strength = rng.normal(0.0, 0.7 / n_turns)
        heading += strength * np.sin(math.pi * n_turns * along + rng.uniform(0.0, 2.0 * math.pi))
    if rng.uniform() < 1.0 / 3.0:
        heading += rng.choice([-1.0, 1.0]) * 2.5 * np.clip((along - 0.7) / 0.3, 0.0, 1.0) ** 1.5
    step_um = length_um / n_steps
    points = np.cumsum(np.stack([np.cos(heading), np.sin(heading)], axis=1) * step_um, axis=0)
    points -= points.mean(axis=0)
    line_um = tuple((float(right), float(down)) for right, down in points)
    mask = FibreMask(line_um=line_um, width_um=width_um, opacity=float(rng.uniform(0.7, 1.0)))
    return Shape(form="fibre", mask=mask, size_um=width_um, length_um=length_um)


def clear_drop(rng: np.random.Generator, mix: MarkMix) -> Shape:
    """Return a clean cap of liquid 40-200 um across, a lens that is well out of focus.

    A drop whose focus falls on the photosites would be a burning point, not a droplet.
    """
    del mix
    diameter_um = math.exp(rng.uniform(math.log(40.0), math.log(200.0)))
    focal_um = ORDINARY_TAU_UM * float(rng.choice([rng.uniform(0.3, 0.6), rng.uniform(1.8, 5.0)]))
    steepness = 0.5 * diameter_um / (focal_um * WATER_INDEX_MINUS_1)
    mask = DropMask(
        outline=random_outline(rng, diameter_um, roughness=0.03),
        contact_deg=min(math.degrees(math.asin(min(steepness, 1.0))), STEEPEST_DROP_DEG),
    )
    return Shape(form="clear drop", mask=mask, size_um=diameter_um, length_um=diameter_um)


def dirty_drop(rng: np.random.Generator, mix: MarkMix) -> Shape:
    """Return a flat grease drop 50-300 um across that takes part of the light."""
    del mix
    diameter_um = math.exp(rng.uniform(math.log(50.0), math.log(300.0)))
    mask = DropMask(
        outline=random_outline(rng, diameter_um, roughness=0.03),
        contact_deg=float(rng.uniform(0.05, 0.6)),
        opacity=float(rng.uniform(0.1, 0.5)),
    )
    return Shape(form="dirty drop", mask=mask, size_um=diameter_um, length_um=diameter_um)


def ring(rng: np.random.Generator, mix: MarkMix) -> Shape:
    """Return the rim of a dried drop, 200-1500 um across."""
    del mix
    diameter_um = math.exp(rng.uniform(math.log(200.0), math.log(1500.0)))
    mask = RingMask(
        outline=random_outline(rng, diameter_um, roughness=0.04),
        width_um=float(rng.uniform(8.0, 25.0)),
        opacity=float(rng.uniform(0.15, 0.5)),
        film_opacity=float(rng.uniform(0.0, 0.01)),
    )
    return Shape(form="ring", mask=mask, size_um=diameter_um, length_um=diameter_um)


def smear(rng: np.random.Generator, mix: MarkMix) -> Shape:
    """Return a wiped film, some tenths of a millimetre wide."""
    del mix
    width_um = float(rng.uniform(150.0, 500.0))
    mask = SmearMask(
        length_um=width_um * float(rng.uniform(1.5, 4.0)),
        width_um=width_um,
        turn_deg=float(rng.uniform(0.0, 180.0)),
        opacity=float(rng.uniform(0.02, 0.10)),
        ripples=((float(rng.uniform(1.0, 3.0)), float(rng.uniform(0.0, 6.28)), 0.3),),
        delay_um=float(rng.uniform(0.0, 0.05)),
    )
    return Shape(form="smear", mask=mask, size_um=width_um, length_um=mask.length_um)


def streak(rng: np.random.Generator, mix: MarkMix) -> Shape:
    """Return a faint long band left by a wet swab, nearly along one side of the frame."""
    del mix
    width_um = float(rng.uniform(300.0, 800.0))
    mask = SmearMask(
        length_um=float(rng.uniform(4000.0, 12000.0)),
        width_um=width_um,
        turn_deg=float(rng.choice([0.0, 90.0]) + rng.uniform(-6.0, 6.0)),
        opacity=float(rng.uniform(0.005, 0.02)),
        ripples=((float(rng.uniform(0.5, 2.0)), float(rng.uniform(0.0, 6.28)), 0.4),),
    )
    return Shape(form="streak", mask=mask, size_um=width_um, length_um=mask.length_um)


Maker = Callable[[np.random.Generator, MarkMix], Shape]

MAKERS: dict[Form, Maker] = {
    "speck": speck,
    "fibre": fibre,
    "clear drop": clear_drop,
    "dirty drop": dirty_drop,
    "ring": ring,
    "smear": smear,
    "streak": streak,
}
"""How each form is made up."""

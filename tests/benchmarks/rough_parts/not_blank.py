"""Pictures that are no test shot, and two that only look a little odd and are one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageDraw
from scipy import ndimage

from rough_parts import canvas

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

WIDTH_PX, HEIGHT_PX = 1500, 1004
NOISE_FRAC = 0.004


@dataclass(frozen=True, slots=True, kw_only=True)
class Odd:
    """A picture and what should be said of it.

    Parameters
    ----------
    name : str
    draw : callable
        Returns 8-bit codes, grey or three colours.
    failing : frozenset of str
        The checks of which at least one must fail; empty for a picture that must be judged.
    """

    name: str
    draw: Callable[[np.random.Generator], NDArray[np.uint8]]
    failing: frozenset[str]


def wall(rng: np.random.Generator) -> NDArray[np.uint8]:
    """Rough plaster in focus: unevenness of all sizes, some 6 % strong."""
    light = canvas.vignetted(HEIGHT_PX, WIDTH_PX, 0.2)
    relief = np.zeros(light.shape)
    for size_px in (1.5, 4.0, 10.0, 25.0):
        relief += size_px * ndimage.gaussian_filter(rng.standard_normal(light.shape), size_px)
    light *= 1.0 + 0.06 * relief / relief.std()
    return _finished(light, rng)


def scene(rng: np.random.Generator) -> NDArray[np.uint8]:
    """A room: forms of every brightness with sharp edges."""
    light = np.full((HEIGHT_PX, WIDTH_PX), 0.2)
    for _ in range(60):
        top, left = int(rng.integers(HEIGHT_PX - 60)), int(rng.integers(WIDTH_PX - 60))
        high, wide = int(rng.integers(30, 400)), int(rng.integers(30, 500))
        light[top : top + high, left : left + wide] = rng.uniform(0.02, 0.9)
    return _finished(ndimage.gaussian_filter(light, 1.0), rng)


def landscape(rng: np.random.Generator) -> NDArray[np.uint8]:
    """An even sky above textured ground."""
    light = np.repeat(np.linspace(0.75, 0.5, HEIGHT_PX)[:, None], WIDTH_PX, axis=1)
    ground = ndimage.gaussian_filter(rng.standard_normal(light.shape), 3.0)
    horizon = int(0.55 * HEIGHT_PX)
    light[horizon:] = np.clip(0.12 * (1.0 + 0.5 * ground / ground.std()), 0.01, 1.0)[horizon:]
    return _finished(light, rng)


def stars(rng: np.random.Generator) -> NDArray[np.uint8]:
    """Points of light on black."""
    light = np.full((HEIGHT_PX, WIDTH_PX), 0.0015)
    rows, cols = rng.integers(HEIGHT_PX, size=900), rng.integers(WIDTH_PX, size=900)
    np.add.at(light, (rows, cols), 10.0 ** rng.uniform(-0.5, 1.5, size=900))
    return _finished(ndimage.gaussian_filter(light, 1.3), rng)


def page(rng: np.random.Generator) -> NDArray[np.uint8]:
    """A page of print."""
    sheet = Image.new("L", (WIDTH_PX, HEIGHT_PX), 225)
    pen = ImageDraw.Draw(sheet)
    letters = np.array(list("abcdefghijklmnoprstuvwxyz     "))
    for row in range(60, HEIGHT_PX - 60, 26):
        pen.text((90, row), "".join(rng.choice(letters, size=130)), fill=30, font_size=20)
    value = np.asarray(sheet, dtype=np.float64) / 255.0
    return _finished(value**2.2, rng)


def lamp(rng: np.random.Generator) -> NDArray[np.uint8]:
    """A bright round thing cut by the frame's edge, on a dim even ground."""
    light = canvas.vignetted(HEIGHT_PX, WIDTH_PX, 0.2) * 0.5
    rows, cols = np.ogrid[:HEIGHT_PX, :WIDTH_PX]
    inside = np.hypot(rows - 0.4 * HEIGHT_PX, cols - 0.05 * WIDTH_PX) < 0.3 * HEIGHT_PX
    light = np.where(inside, 0.95, light)
    return _finished(ndimage.gaussian_filter(light, 1.5), rng)


def uneven(rng: np.random.Generator) -> NDArray[np.uint8]:
    """A blank wall lit a little from one side: innocent."""
    light = canvas.vignetted(HEIGHT_PX, WIDTH_PX, 0.35)
    light *= np.linspace(1.0, 0.82, WIDTH_PX)[None, :]
    return _finished(light, rng)


def warm(rng: np.random.Generator) -> NDArray[np.uint8]:
    """A blank screen of a warm white: innocent."""
    light = canvas.vignetted(HEIGHT_PX, WIDTH_PX, 0.25)
    levels = (1.25, 1.0, 0.55)
    return np.stack([_finished(light * level, rng) for level in levels], axis=2)


def _finished(light: NDArray[np.float64], rng: np.random.Generator) -> NDArray[np.uint8]:
    noisy = np.array(light, dtype=np.float64)
    canvas.add_noise(noisy, NOISE_FRAC, rng)
    return canvas.srgb_codes(noisy)


FIELD = frozenset({"blank field"})
DARK = frozenset({"brightness", "blank field"})
UNEVEN = frozenset({"evenness", "blank field", "clipping"})

ODD_PICTURES = (
    Odd(name="textured wall", draw=wall, failing=FIELD),
    Odd(name="scene", draw=scene, failing=FIELD),
    Odd(name="sky above ground", draw=landscape, failing=FIELD),
    Odd(name="star field", draw=stars, failing=DARK),
    Odd(name="page of text", draw=page, failing=FIELD),
    Odd(name="bright thing at the edge", draw=lamp, failing=UNEVEN),
    Odd(name="slightly uneven", draw=uneven, failing=frozenset()),
    Odd(name="warm screen", draw=warm, failing=frozenset()),
)

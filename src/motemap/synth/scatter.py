"""Strews random marks over a frame."""

import math
from dataclasses import dataclass, replace

import numpy as np

from motemap.synth.marks import Form, Mark, MarkMix
from motemap.synth.masks import SpeckMask
from motemap.synth.shapes import MAKERS, Shape, random_outline

LENS_SPECK_UM = (100.0, 500.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """The area marks are strewn over.

    Parameters
    ----------
    height_px, width_px : int
        Frame size [px].
    tau_um : float
        Distance of the filter stack's outer face [um].
    """

    height_px: int
    width_px: int
    tau_um: float


def scatter_marks(mix: MarkMix, field: Field, rng: np.random.Generator) -> tuple[Mark, ...]:
    """Return random marks, the same for the same generator state.

    Parameters
    ----------
    mix : MarkMix
        How many of which form.
    field : Field
        Where.
    rng : numpy.random.Generator
        Source of shapes and places.
    """
    counts: dict[Form, int] = {
        "speck": mix.n_specks,
        "fibre": mix.n_fibres,
        "clear drop": mix.n_clear_drops,
        "dirty drop": mix.n_dirty_drops,
        "ring": mix.n_rings,
        "smear": mix.n_smears,
        "streak": mix.n_streaks,
    }
    marks = [
        _lay(MAKERS[form](rng, mix), field, rng, mix.border_px)
        for form, count in counts.items()
        for _ in range(count)
    ]
    for _ in range(mix.n_lens):
        low, high = (math.log(limit_um) for limit_um in LENS_SPECK_UM)
        shape = _grain(rng, math.exp(rng.uniform(low, high)))
        mark = _lay(shape, field, rng, 0.0)
        marks.append(replace(mark, tau_um=float(rng.uniform(*mix.lens_tau_um)), layer="lens side"))
    for _ in range(mix.n_inside):
        shape = _grain(rng, float(rng.uniform(5.0, 30.0)))
        mark = _lay(shape, field, rng, 0.0)
        marks.append(replace(mark, tau_um=float(rng.uniform(*mix.inside_tau_um)), layer="inside"))
    return tuple(marks)


def _grain(rng: np.random.Generator, diameter_um: float) -> Shape:
    mask = SpeckMask(outline=random_outline(rng, diameter_um))
    return Shape(form="speck", mask=mask, size_um=diameter_um, length_um=diameter_um)


def _lay(shape: Shape, field: Field, rng: np.random.Generator, border_px: float) -> Mark:
    row_px, col_px = _pick(field, rng, border_px)
    return Mark(
        form=shape.form,
        row_px=row_px,
        col_px=col_px,
        tau_um=field.tau_um,
        mask=shape.mask,
        size_um=shape.size_um,
        length_um=shape.length_um,
    )


def _pick(field: Field, rng: np.random.Generator, border_px: float) -> tuple[float, float]:
    """Return a random row and column, near one of the four sides if a border is given."""
    last_row, last_col = field.height_px - 1.0, field.width_px - 1.0
    row_px, col_px = float(rng.uniform(0.0, last_row)), float(rng.uniform(0.0, last_col))
    if border_px <= 0.0:
        return row_px, col_px
    inset_px = float(rng.uniform(0.0, border_px))
    sides = (
        (inset_px, col_px),
        (last_row - inset_px, col_px),
        (row_px, inset_px),
        (row_px, last_col - inset_px),
    )
    return sides[int(rng.integers(len(sides)))]

"""Dust, fibres, drops and smears with known truth: what they are, and where."""

from dataclasses import dataclass
from typing import Literal

from motemap.records import Layer, SpotKind
from motemap.synth.masks import Mask

Form = Literal["speck", "fibre", "clear drop", "dirty drop", "smear", "ring", "streak"]

KIND_OF_FORM: dict[Form, SpotKind] = {
    "speck": "speck",
    "fibre": "fibre",
    "clear drop": "droplet",
    "dirty drop": "droplet",
    "smear": "smear",
    "ring": "droplet",
    "streak": "smear",
}
"""What the report should call each form; a dried ring is what a drop leaves."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One mark before it is drawn.

    Parameters
    ----------
    form : str
        What it is, finer than the report's kinds.
    row_px, col_px : float
        Centre of its shadow in the stored frame [px].
    tau_um : float
        Air-equivalent distance to the photosites [um].
    mask : Mask
        Its shape and transmission.
    size_um : float
        Diameter of the disc with the area of its outline, or width of a fibre or smear [um].
    length_um : float
        Length along the mark; equals `size_um` for compact ones [um].
    layer : str
        Where it lies.
    """

    form: Form
    row_px: float
    col_px: float
    tau_um: float
    mask: Mask
    size_um: float
    length_um: float
    layer: Layer = "filter stack"

    @property
    def kind(self) -> SpotKind:
        """What the report should call it."""
        return KIND_OF_FORM[self.form]


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkMix:
    """How many marks of which form, and how large.

    Parameters
    ----------
    n_specks, n_fibres, n_clear_drops, n_dirty_drops, n_smears, n_rings, n_streaks : int
        Marks on the filter stack.
    n_lens, n_inside : int
        Specks on the lens's rear element, and under the cover glass.
    smallest_um, largest_um : float
        Range of speck diameters [um].
    size_power : float
        The number of specks larger than d falls as d to minus this power.
    border_px : float
        When above 0, specks lie within this distance of the frame's edge [px].
    lens_tau_um, inside_tau_um : tuple of float
        Range of distances of marks on the lens and under the cover glass [um].
    """

    n_specks: int = 40
    n_fibres: int = 2
    n_clear_drops: int = 0
    n_dirty_drops: int = 0
    n_smears: int = 0
    n_rings: int = 0
    n_streaks: int = 0
    n_lens: int = 0
    n_inside: int = 0
    smallest_um: float = 8.0
    largest_um: float = 120.0
    size_power: float = 1.5
    border_px: float = 0.0
    lens_tau_um: tuple[float, float] = (15000.0, 40000.0)
    inside_tau_um: tuple[float, float] = (40.0, 250.0)

"""Part the connected pieces of a frame into marks."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from motemap.detect.heaps import Shade, take_apart
from motemap.detect.split import part_marks
from motemap.detect.usual import Usual

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.detect.clumps import Clump
    from motemap.records import FlatFrame

TELLING_SNR = 10.0
"""How clear the marks standing alone must be to tell the usual shadow."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Parting:
    """The marks of a clump.

    Parameters
    ----------
    shares : (h, w) int32
        0 outside, numbers from 1 for its marks; as its dips part it.
    n_marks : int
        How many these are.
    shades : tuple of Shade
        Its marks where they lie over one another; these then count instead.
    """

    shares: NDArray[np.int32]
    n_marks: int
    shades: tuple[Shade, ...] = ()


def part_clumps(flat: FlatFrame, clumps: list[Clump]) -> list[Parting]:
    """Part all clumps of a frame into marks.

    First by the dips between marks. The marks that stand alone then tell how the shadow of a
    speck looks in this frame, and what is larger is explained as several of them.

    Returns
    -------
    list of Parting
        One a clump.
    """
    partings = [_parted_by_dips(clump) for clump in clumps]
    lone = [
        clump
        for clump, parting in zip(clumps, partings, strict=True)
        if clump.snr > TELLING_SNR and parting.n_marks == 1
    ]
    usual = Usual.learned(flat, lone)
    if usual is not None:
        shares = [parting.shares for parting in partings]
        n_marks = np.array([parting.n_marks for parting in partings])
        for number, shades in take_apart(flat, clumps, shares, n_marks, usual).items():
            partings[number] = replace(partings[number], shades=shades)
    return partings


def _parted_by_dips(clump: Clump) -> Parting:
    if not clump.has_rivals:
        return Parting(shares=clump.inside.astype(np.int32), n_marks=1)
    shares = part_marks(clump.depth, clump.inside, clump.scatter)
    return Parting(shares=shares, n_marks=int(shares.max()))

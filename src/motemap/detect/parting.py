"""Part the connected pieces of a frame into marks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.detect.heaps import take_apart
from motemap.detect.split import part_marks
from motemap.detect.usual import Usual

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from motemap.detect.clumps import Clumps
    from motemap.detect.heaps import Shade
    from motemap.records import FlatFrame

TELLING_SNR = 10.0
"""How clear the marks standing alone must be to tell the usual shadow."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Partings:
    """The marks of n clumps with k cells.

    Parameters
    ----------
    share : (k,) int
        As the dips of each clump part it: to which of its marks each cell belongs, from 1; 0 for
        none.
    n_marks : (n,) int
        How many these are.
    shades : mapping of int to tuple of Shade
        By number of the clump: its marks where they lie over one another; these then count instead.
    """

    share: NDArray[np.intp]
    n_marks: NDArray[np.intp]
    shades: Mapping[int, tuple[Shade, ...]]


def part_clumps(flat: FlatFrame, clumps: Clumps) -> Partings:
    """Part all clumps of a frame into marks.

    First by the dips between marks. The marks that stand alone then tell how the shadow of a
    speck looks in this frame, and what is larger is explained as several of them.
    """
    share = np.ones(len(clumps.depth), np.intp)
    n_marks = np.ones(len(clumps), np.intp)
    for number in np.flatnonzero(clumps.has_rivals).tolist():
        clump = clumps[number]
        shares = part_marks(clump.depth, clump.inside, clump.scatter)
        share[clumps.own(number)] = shares[clump.inside]
        n_marks[number] = shares.max()
    lone = np.flatnonzero((clumps.snr > TELLING_SNR) & (n_marks == 1))
    usual = Usual.learned(flat, clumps, lone)
    shades = {} if usual is None else take_apart(flat, clumps, share, n_marks, usual)
    return Partings(share=share, n_marks=n_marks, shades=shades)

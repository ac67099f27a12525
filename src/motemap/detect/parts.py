"""The parts of all clumps of a frame, as regions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motemap.distances import thicknesses
from motemap.filters import SQUARE
from motemap.records import Cells, Regions

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.detect.clumps import Clumps
    from motemap.detect.heaps import Shade
    from motemap.detect.levels import Search
    from motemap.detect.parting import Partings


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Parts:
    """Parts of clumps that are marks by themselves.

    Parameters
    ----------
    regions : Regions
    clump : (n,) int
        Number of the clump that each belongs to, rising.
    depth_frac : (n,) float64
        Depth of each.
    """

    regions: Regions
    clump: NDArray[np.intp]
    depth_frac: NDArray[np.float64]

    def only(self, kept: NDArray[np.bool_]) -> Parts:
        """Keep some of them, (n,)."""
        return Parts(
            regions=self.regions.only(kept),
            clump=self.clump[kept],
            depth_frac=self.depth_frac[kept],
        )


def parts_of(search: Search, clumps: Clumps, partings: Partings) -> Parts:
    """Return the parts of all clumps that are not explained as shadows over one another."""
    n_parts = partings.n_marks.copy()
    n_parts[list(partings.shades)] = 0
    clump = np.repeat(np.arange(len(clumps)), n_parts)
    of_clump = clumps.cells.mask
    kept = (partings.share > 0) & (n_parts > 0)[of_clump]
    part = (np.cumsum(n_parts) - n_parts - 1)[of_clump] + partings.share
    cells, order = clumps.cells.only(kept).numbered(part[kept], len(clump))
    start, stop = cells.sides()
    snr = cells.largest(search.snr[cells.row // SQUARE, cells.col // SQUARE])
    regions = Regions(
        cells=cells,
        start=start,
        stop=stop,
        snr=snr.astype(np.float64),
        scale_cell=clumps.sigma_cell[clump],
        thickness_cell=thicknesses(cells, start, stop),
    )
    depth_frac = cells.largest(clumps.depth[kept][order]).astype(np.float64)
    return Parts(regions=regions, clump=clump, depth_frac=depth_frac)


def with_shades(parts: Parts, clumps: Clumps, partings: Partings, snr_min: float) -> Regions:
    """Return parts, and the shadows that lie over one another and are as clear as asked.

    Returns
    -------
    Regions
        Clump by clump.
    """
    shades = [
        (number, shade, snr)
        for number, own in partings.shades.items()
        for shade in own
        if (snr := float(clumps.snr[number]) * shade.share) >= snr_min
    ]
    if not shades:
        return parts.regions
    number = np.array([number for number, _, _ in shades])
    snrs = np.array([snr for _, _, snr in shades])
    regions = _shaded([shade for _, shade, _ in shades], snrs, clumps.sigma_cell[number])
    order = np.argsort(np.concatenate([parts.clump, number]), kind="stable")
    return parts.regions.with_others(regions).chosen(order)


def _shaded(
    shades: list[Shade], snr: NDArray[np.float64], scale_cell: NDArray[np.float64]
) -> Regions:
    """Return shadows that lie over one another as regions."""
    start = np.array([[side.start for side in shade.box] for shade in shades])
    stop = np.array([[side.stop for side in shade.box] for shade in shades])
    cells = Cells.of([shade.mask for shade in shades], start)
    return Regions(
        cells=cells,
        start=start,
        stop=stop,
        snr=snr,
        scale_cell=scale_cell,
        thickness_cell=thicknesses(cells, start, stop),
        alone={place: shade.alone for place, shade in enumerate(shades)},
    )

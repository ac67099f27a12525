"""How much light a mark takes in all: the particle's shadow area, whatever the aperture."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from motemap.coords import UM_PER_MM
from motemap.optics.depths import depth_curve
from motemap.particle.cover import Cover
from motemap.particle.crowd import are_crowded, fit_together
from motemap.particle.fits import SizeFits, fit_sizes, reach_of_fit_cell
from motemap.particle.record import TRUSTED_MISFIT, LostLight
from motemap.particle.shot_optics import MODEL_AREA_ERROR, FrameOptics
from motemap.particle.sites import Sites
from motemap.particle.sums import LEVEL_OF_SUM, Sums, radius_of_sum_um, sum_lights
from motemap.strips import for_each

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from motemap.particle.shade import Shades
    from motemap.records import FlatFrame, MeasuredSpot, Stack

LARGEST_FITTED = 1.2
"""Widest particle, in blur discs, whose shape in detail does not matter."""

Columns = TypeVar("Columns", SizeFits, Sums)


def measure_light(
    flat: FlatFrame,
    spots: Sequence[MeasuredSpot],
    *,
    stack: Stack,
    f_number: float,
    pitch_um: float,
    is_cooked: bool = False,
) -> tuple[LostLight | None, ...]:
    """Measure the light that each mark of a frame takes, as specks on the filter stack.

    Parameters
    ----------
    flat : FlatFrame
        The flattened test shot.
    spots : sequence of MeasuredSpot
        All marks of the frame; those near a mark are left out of its sums.
    stack : Stack
        Distance of the dust.
    f_number : float
        Marked f-number of the shot.
    pitch_um : float
        Distance of stored pixels [um].
    is_cooked : bool
        Whether a program made the picture of the photosites' light, as in `FrameOptics`.

    Returns
    -------
    tuple of LostLight or None
        One a spot; None where nothing can be measured.
    """
    if stack.distance_mm is None or not spots:
        return (None,) * len(spots)
    optics = FrameOptics.of(
        stack.distance_mm * UM_PER_MM, f_number, pitch_um, flat.bin_px, is_cooked=is_cooked
    )
    field = _Field.of(flat, spots, optics)
    lights = _Lights.of_fits(field.fits(spots), optics)
    # Where no fit of a speck's shadow holds, the plain sum is taken. Of marks that lie over one
    # another a sum tells nothing: there is what was measured of them.
    is_odd = ~lights.hold(optics)
    lights = lights.without(is_odd & field.is_crowded)
    odd = np.flatnonzero(is_odd & ~field.is_crowded)
    if odd.size:
        lost_um2 = np.array([spots[index].lost_area_px2 for index in odd.tolist()]) * pitch_um**2
        depth_frac = np.array([spot.depth_frac for spot in spots])
        lights = lights.with_sums(odd, field.sums(odd, lost_um2), depth_frac)
    return lights.records()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Field:
    """All marks of a frame, the plane they lie in, and the optics it was taken through.

    Those that are crowded do not hide each other.
    """

    flat: FlatFrame
    sites: Sites
    cover: Cover
    optics: FrameOptics
    is_crowded: NDArray[np.bool_]

    @classmethod
    def of(cls, flat: FlatFrame, spots: Sequence[MeasuredSpot], optics: FrameOptics) -> _Field:
        """Look at all marks; each hides as much as it is wide, or half as much as it is long."""
        sites = Sites.of(spots, flat.bin_px)
        length_cell = np.array([spot.length_px for spot in spots]) / flat.bin_px
        reach_cell = np.maximum(sites.width, length_cell / 2)
        shape = flat.contrast.shape
        is_crowded = are_crowded(spots, sites, optics, shape)
        cover = Cover.of(sites, reach_cell, shape, is_crowded)
        return cls(flat=flat, sites=sites, cover=cover, optics=optics, is_crowded=is_crowded)

    def only(self, members: NDArray[np.intp]) -> _Field:
        """Return some of the marks."""
        return replace(
            self,
            sites=self.sites.only(members),
            cover=self.cover.only(members),
            is_crowded=self.is_crowded[members],
        )

    def fits(self, spots: Sequence[MeasuredSpot]) -> SizeFits:
        """Fit specks to all marks, of which so much was measured."""
        lone, crowded = np.flatnonzero(~self.is_crowded), np.flatnonzero(self.is_crowded)
        found = [self.only(lone)._fits()] if lone.size else []
        if crowded.size:
            crowd = self.only(crowded)
            own = [spots[index] for index in crowded.tolist()]
            shape = self.flat.contrast.shape
            found.append(fit_together(crowd._fits, crowd.sites, own, self.optics, shape))
        return _put_back(found, np.concatenate([lone, crowded]))

    def _fits(self, shades: Shades | None = None) -> SizeFits:
        """Fit specks to all marks, each freed of the shadows of others."""

        def of_batch(members: NDArray[np.intp]) -> SizeFits:
            some = self.only(members)
            others = None if shades is None else shades.only(members)
            return fit_sizes(self.flat, some.sites, some.cover, self.optics, others)

        return _in_batches(of_batch, self.sites, reach_of_fit_cell(self.sites))

    def sums(self, odd: NDArray[np.intp], lost_um2: NDArray[np.float64]) -> Sums:
        """Sum the light of some marks, of which measuring found so much lost."""
        odd_ones = self.only(odd)
        width_um = odd_ones.sites.width * self.optics.cell_um
        radius_um = radius_of_sum_um(lost_um2, width_um, self.optics.blur_um)

        def of_batch(members: NDArray[np.intp]) -> Sums:
            some = odd_ones.only(members)
            return sum_lights(self.flat, some.sites, radius_um[members], some.cover, self.optics)

        reach_cell = LEVEL_OF_SUM * radius_um / self.optics.cell_um
        return _in_batches(of_batch, odd_ones.sites, reach_cell)


def _in_batches(
    measure: Callable[[NDArray[np.intp]], Columns], sites: Sites, reach_cell: NDArray[np.float64]
) -> Columns:
    """Measure marks batch by batch; return what is found in their own order."""
    batches = list(sites.batches(reach_cell))
    return _put_back(for_each(measure, batches), np.concatenate(batches))


def _put_back(found: Sequence[Columns], order: NDArray[np.intp]) -> Columns:
    """Join what was found of some marks after others, given the places of these among all."""
    back = np.argsort(order)
    return type(found[0])._make(np.concatenate(column)[back] for column in zip(*found, strict=True))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Lights:
    """The light that n marks take, in the columns of `LostLight`; `is_told` where there is any."""

    area_um2: NDArray[np.float64]
    error_frac: NDArray[np.float64]
    opacity_frac: NDArray[np.float64]
    depth_frac: NDArray[np.float64]
    misfit: NDArray[np.float64]
    is_told: NDArray[np.bool_]

    @classmethod
    def of_fits(cls, fits: SizeFits, optics: FrameOptics) -> _Lights:
        """Return what fits of specks say of the light."""
        log_um = np.log(optics.shadows.size_um)
        places = np.arange(log_um.size)
        size_um = np.exp(np.interp(fits.place, places, log_um))
        step = np.interp(fits.place, places[1:], np.diff(log_um))
        curve = depth_curve(optics.tau_um, optics.f_number, optics.pitch_um)
        depth_frac = np.minimum(fits.factor * curve.depth(size_um, fits.opacity_frac), 1.0)
        return cls(
            area_um2=fits.factor * fits.opacity_frac * np.pi * size_um**2 / 4,
            error_frac=np.hypot(2 * step * fits.place_error, MODEL_AREA_ERROR),
            opacity_frac=fits.opacity_frac,
            depth_frac=depth_frac,
            misfit=fits.misfit,
            is_told=np.isfinite(fits.misfit),
        )

    def hold(self, optics: FrameOptics) -> NDArray[np.bool_]:
        """Return where a fit of a speck's shadow is the best measure of a mark's light, (n,)."""
        size_um = np.sqrt(4 * np.maximum(self.area_um2, 0) / self.opacity_frac / np.pi)
        is_small: NDArray[np.bool_] = size_um <= LARGEST_FITTED * optics.blur_um
        return (self.misfit <= TRUSTED_MISFIT) & is_small

    def without(self, untold: NDArray[np.bool_]) -> _Lights:
        """Say nothing of some marks."""
        return replace(self, is_told=self.is_told & ~untold)

    def with_sums(
        self, odd: NDArray[np.intp], sums: Sums, measured_depth_frac: NDArray[np.float64]
    ) -> _Lights:
        """Take the sums of some marks, and of their fits only what holds: opacity and depth."""
        area_um2, error_frac = self.area_um2.copy(), self.error_frac.copy()
        area_um2[odd], error_frac[odd] = sums.area_um2, sums.error_frac
        is_told = self.is_told.copy()
        is_told[odd] = sums.is_told
        is_speck = self.misfit <= TRUSTED_MISFIT
        return _Lights(
            area_um2=area_um2,
            error_frac=error_frac,
            opacity_frac=np.where(is_speck, self.opacity_frac, 1.0),
            depth_frac=np.where(is_speck, self.depth_frac, measured_depth_frac),
            misfit=self.misfit,
            is_told=is_told,
        )

    def records(self) -> tuple[LostLight | None, ...]:
        """Return one record a mark."""
        columns = (
            self.area_um2.tolist(),
            self.error_frac.tolist(),
            self.opacity_frac.tolist(),
            self.depth_frac.tolist(),
            self.misfit.tolist(),
            self.is_told.tolist(),
        )
        return tuple(
            LostLight(
                area_um2=area,
                error_frac=error,
                opacity_frac=opacity,
                depth_frac=depth,
                misfit=misfit,
            )
            if is_told
            else None
            for area, error, opacity, depth, misfit, is_told in zip(*columns, strict=True)
        )

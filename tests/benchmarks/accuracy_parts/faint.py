"""Frames of many faint specks of one shape, to measure how faint a one is still found.

Specks lie on a jittered lattice, so far apart that none disturbs another.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from accuracy_parts.frames import draw_to_file
from accuracy_parts.limit import (
    Distance,
    Efficiency,
    fit_efficiency,
    slope_power_px2,
    threshold_for,
)
from accuracy_parts.rows import Variant, spec_of
from accuracy_parts.scoring import found_in, match
from accuracy_parts.stored_noise import BLOCK_PX, stored_snr
from motemap.coords import UM_PER_MM
from motemap.pipeline.frame import look_at
from motemap.settings import Settings, WorkSettings
from motemap.synth.frame import draw_frame
from motemap.synth.marks import Mark
from motemap.synth.masks import Outline, SpeckMask
from motemap.synth.shadow import ShadowOptics, cast_shadow
from motemap.synth.truth import whiten

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from accuracy_parts.frames import Sitting
    from accuracy_parts.rows import Size
    from motemap.records import FrameReport
    from motemap.synth.spec import FrameSpec

SPECK_UM = 15.0
"""A grain smaller than the blur disc: its shadow has nearly the same shape whatever its size."""
SPACING_BLURS = 5.0
SPACING_MIN_PX = 64.0
MOST_SPECKS = 400
JITTER_OF_SPACING = 0.2
SNR_RANGE = (3.0, 26.0)
FALSE_PER_FRAME = 0.1
TRIAL_SIDES_PX = (420, 300)
TRIAL_OPACITY = 0.05
CLEAR_OF_EDGE_PX = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Promise:
    """What a report says of its own sensitivity, and what came of it.

    Parameters
    ----------
    particle_um, depth_frac : float
        Smallest speck, and smallest depth, that nine in ten times would be found.
    true_depth_frac : float
        Median depth of the specks drawn at that size.
    n_specks, n_found : int
    """

    name: str
    particle_um: float
    depth_frac: float
    true_depth_frac: float
    n_specks: int
    n_found: int

    @property
    def found_frac(self) -> float:
        """Share of the specks of just that size that was found."""
        return self.n_found / self.n_specks if self.n_specks else 0.0


def told(spec: FrameSpec) -> Settings:
    """Return the settings of somebody who knows the camera.

    A frame without dust shows no stack, and a drawn sensor is of no format that a shrunk
    picture's pixels could be reckoned back to.
    """
    sides_mm = (side * spec.pitch_um / UM_PER_MM for side in (spec.width_px, spec.height_px))
    sensor = "x".join(f"{side_mm:.3f}" for side_mm in sides_mm)
    return Settings(work=WorkSettings(sensor=sensor, stack_mm=spec.stack_mm))


def speck_at(
    spec: FrameSpec, place: NDArray[np.float64], diameter_um: float, opacity: float
) -> Mark:
    """Return a round grain on the filter stack."""
    return Mark(
        form="speck",
        row_px=float(place[0]),
        col_px=float(place[1]),
        tau_um=spec.stack_mm * UM_PER_MM,
        mask=SpeckMask(outline=Outline(diameter_um=diameter_um), opacity=opacity),
        size_um=diameter_um,
        length_um=diameter_um,
    )


def lattice(spec: FrameSpec, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return rows and columns of places well apart, jittered, clear of the border [px]."""
    blur_px = spec.stack_mm * UM_PER_MM / spec.f_number / spec.pitch_um
    spacing_px = max(SPACING_MIN_PX * spec.shrink, SPACING_BLURS * blur_px)
    spacing_px = max(spacing_px, (spec.width_px * spec.height_px / MOST_SPECKS) ** 0.5)
    edge_px = CLEAR_OF_EDGE_PX * spec.shrink + 0.5 * spacing_px
    rows = np.arange(edge_px, spec.height_px - edge_px, spacing_px)
    cols = np.arange(edge_px, spec.width_px - edge_px, spacing_px)
    places = np.stack([at.ravel() for at in np.meshgrid(rows, cols, indexing="ij")], axis=1)
    jitter_px = JITTER_OF_SPACING * spacing_px
    moved: NDArray[np.float64] = places + rng.uniform(-jitter_px, jitter_px, size=places.shape)
    return moved


def snr_per_opacity(spec: FrameSpec) -> float:
    """Return the signal to noise of a faint grain of `SPECK_UM` for each unit of opacity."""
    width_px, height_px = (side * spec.shrink for side in TRIAL_SIDES_PX)
    small = replace(spec, width_px=width_px, height_px=height_px)
    middle = np.array([0.5 * height_px, 0.5 * width_px])
    drawn = draw_frame(small, (speck_at(small, middle, SPECK_UM, TRIAL_OPACITY),))
    return drawn.marks[0].snr / TRIAL_OPACITY


def measure_distance(variant: Variant, size: Size, seed: int, folder: Path) -> Distance:
    """Measure how far the tool is from the limit in one kind of frame."""
    spec = spec_of(variant, size, seed)
    rng = np.random.default_rng([seed, 77])
    places = lattice(spec, rng)
    low, high = (float(np.log(limit)) for limit in SNR_RANGE)
    wanted = np.exp(rng.uniform(low, high, size=len(places)))
    opacities = np.clip(wanted / snr_per_opacity(spec), 1e-4, 1.0)
    marks = [
        speck_at(spec, place, SPECK_UM, float(opacity))
        for place, opacity in zip(places, opacities, strict=True)
    ]
    sitting = draw_to_file(spec, folder / "faint", marks)
    report = look_at(sitting.path, told(spec)).report
    sitting.path.unlink()
    is_found, n_false = found_flags(sitting, report)
    snr = np.array([truth.snr for truth in sitting.truths])
    depth = np.array([truth.depth_frac for truth in sitting.truths])
    return Distance(
        name=variant.label,
        n_specks=len(snr),
        tool=fit_efficiency(snr, is_found),
        limit=Efficiency(half_snr=limit_threshold(spec)),
        stored_share=stored_share(spec, folder),
        depth_per_snr=float(np.median(depth / snr)),
        n_false=n_false,
    )


def found_flags(sitting: Sitting, report: FrameReport) -> tuple[NDArray[np.bool_], int]:
    """Return which specks were found, and how many reports belong to none."""
    result = match(sitting.truths, found_in(report))
    flags = np.zeros(len(sitting.truths), dtype=bool)
    for at in result.taken:
        flags[list(result.groups[at].members)] = True
    return flags, len(result.extra)


def limit_threshold(spec: FrameSpec) -> float:
    """Return the matched filter's threshold for `FALSE_PER_FRAME` in such a frame."""
    slope_px2 = slope_power_px2(faint_shadow(spec))
    return threshold_for(FALSE_PER_FRAME, spec.width_px * spec.height_px, slope_px2)


def faint_shadow(spec: FrameSpec) -> NDArray[np.float64]:
    """Return the loss of a faint grain on the photosites."""
    optics = ShadowOptics(
        pitch_um=spec.pitch_um,
        f_number=spec.f_number,
        tau_um=spec.stack_mm * UM_PER_MM,
        pupil=spec.pupil,
    )
    mask = SpeckMask(outline=Outline(diameter_um=SPECK_UM), opacity=TRIAL_OPACITY)
    shadow = cast_shadow(mask, optics, row_px=0.0, col_px=0.0)
    return whiten(shadow.loss).astype(np.float64)


def stored_share(spec: FrameSpec, folder: Path) -> float:
    """Return how much of the photosites' signal to noise the stored file still holds (0-1).

    A raw file holds all of it; only finished pictures are looked at.
    """
    if not spec.is_picture:
        return 1.0
    loss = faint_shadow(spec)
    cut = [max((side - BLOCK_PX * spec.shrink + 1) // 2, 0) for side in loss.shape]
    middle = loss[cut[0] : loss.shape[0] - cut[0], cut[1] : loss.shape[1] - cut[1]]
    return min(stored_snr(spec, middle, folder) / (snr_per_opacity(spec) * TRIAL_OPACITY), 1.0)


def check_promise(variant: Variant, size: Size, seed: int, folder: Path) -> Promise:
    """Draw specks of just the size a report calls findable into the very same frame."""
    spec = spec_of(variant, size, seed)
    bare = draw_to_file(spec, folder / "bare", ())
    sensitivity = look_at(bare.path, told(spec)).report.sensitivity
    bare.path.unlink()
    particle_um = sensitivity.smallest_particle_um or float("nan")
    places = lattice(spec, np.random.default_rng([seed, 78]))
    marks = [speck_at(spec, place, particle_um, 1.0) for place in places]
    sitting = draw_to_file(spec, folder / "promise", marks)
    report = look_at(sitting.path, told(spec)).report
    sitting.path.unlink()
    is_found, _ = found_flags(sitting, report)
    return Promise(
        name=variant.label,
        particle_um=particle_um,
        depth_frac=sensitivity.smallest_depth_frac or float("nan"),
        true_depth_frac=float(np.median([truth.depth_frac for truth in sitting.truths])),
        n_specks=len(places),
        n_found=int(is_found.sum()),
    )

"""From light to contrast, noise and what can be judged."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fields import FIELD, bell, noisy, plane_of, uneven_light
from motemap.flatten import flatten, noise_surface
from motemap.planes import CONTRAST_STEP, Contrast
from motemap.settings import FlattenSettings

if TYPE_CHECKING:
    from motemap.records import FlatFrame, Plane

# Boxes of 16 cells on these small fields.
SETTINGS = FlattenSettings(box_min_px=16.0, box_max_px=16.0)


def flattened(plane: Plane, settings: FlattenSettings = SETTINGS) -> FlatFrame:
    return flatten(plane, blur_px=10.0, settings=settings)


def test_what_is_smooth_goes_and_a_mark_stays() -> None:
    mark = bell(FIELD, 70, 120, 3.0, 0.2)
    flat = flattened(plane_of((uneven_light(FIELD) * (1 + mark)).astype(np.float32)))
    # On so small a field each box spans a tenth of the vignetting.
    assert np.abs(flat.contrast[:, :] - mark).max() < 6e-3
    assert flat.valid.all()
    assert flat.bin_px == 1


def test_contrast_does_not_depend_on_the_exposure() -> None:
    light = (uneven_light(FIELD) * (1 + noisy(FIELD, 0.01, 3))).astype(np.float32)
    bright, dark = flattened(plane_of(light)), flattened(plane_of(light * np.float32(0.25)))
    assert np.abs(bright.contrast[:, :] - dark.contrast[:, :]).max() <= CONTRAST_STEP


def test_a_mark_at_the_border_keeps_its_depth() -> None:
    mark = bell(FIELD, 1, 130, 3.0, 0.1) + bell(FIELD, 100, 258, 3.0, 0.1)
    flat = flattened(plane_of((uneven_light(FIELD) * (1 + mark)).astype(np.float32)))
    # A tenth of the depth: half a mark is cut off here and its box is half as large.
    assert np.abs(flat.contrast[:, :] - mark).max() < 0.01


def test_noise_is_that_of_the_cells() -> None:
    light = (uneven_light(FIELD) * (1 + noisy(FIELD, 0.008, 5))).astype(np.float32)
    flat = flattened(plane_of(light))
    # 176 boxes of 64 looked-at cells; a MAD of n cells is known to 1.17/sqrt(n).
    assert float(np.median(flat.noise_frac[:, :])) == pytest.approx(0.008, rel=0.05)


def test_noise_is_local() -> None:
    shape = (160, 320)
    contrast = noisy(shape, 0.002, 11)
    contrast[:, 160:] *= 5
    noise = noise_surface(Contrast.of(contrast), np.ones(shape, bool), 32)[:, :]
    assert float(np.median(noise[:, :130])) == pytest.approx(0.002, rel=0.1)
    assert float(np.median(noise[:, 190:])) == pytest.approx(0.010, rel=0.1)


def test_noise_is_blind_to_marks() -> None:
    clean = noisy(FIELD, 0.004, 2)
    marked = clean + bell(FIELD, 90, 130, 2.0, 0.1)
    before = noise_surface(Contrast.of(clean), np.ones(FIELD, bool), 32)[:, :]
    after = noise_surface(Contrast.of(marked), np.ones(FIELD, bool), 32)[:, :]
    # The mark stands out of the noise in a twelfth of its box, which moves a MAD by a seventh.
    assert np.abs(after / before - 1).max() < 0.2


@pytest.mark.parametrize("axis", [0, 1])
def test_bands_are_taken_out_and_told(axis: int) -> None:
    bands = 0.01 * np.sin(np.arange(FIELD[axis]) * 0.9)
    pattern = bands[:, None] if axis == 0 else bands[None, :]
    flat = flattened(plane_of((0.5 * (1 + pattern * np.ones(FIELD))).astype(np.float32)))
    assert np.abs(flat.contrast[:, :]).max() < 1e-3
    # Median absolute deviation of a sine: its amplitude over the root of 2.
    assert flat.stripe_frac == pytest.approx(1.4826 * 0.01 / math.sqrt(2), rel=0.06)


def test_a_screen_of_fine_lines_is_taken_out() -> None:
    rows, cols = np.indices(FIELD)
    screen = 0.004 * np.sin(0.8 * cols + 0.5 * rows)
    light = (0.5 * (1 + screen + noisy(FIELD, 0.003, 1))).astype(np.float32)
    contrast = flattened(plane_of(light)).contrast[:, :]
    left = 2 * np.mean(contrast * np.sin(0.8 * cols + 0.5 * rows))
    assert abs(float(left)) < 0.0006


def test_dark_corners_cannot_be_judged() -> None:
    light = np.full(FIELD, 0.5, np.float32)
    light[:60, :100] = 0.01
    flat = flattened(plane_of(light))
    inner = np.s_[12:36, 12:72]
    assert not flat.valid[inner].any()
    assert flat.valid[100:, 140:].all()


def test_clipped_cells_cannot_be_judged() -> None:
    valid = np.ones(FIELD, bool)
    valid[80:100, 30:60] = False
    flat = flattened(plane_of(np.full(FIELD, 0.5, np.float32), valid=valid))
    assert np.array_equal(flat.valid, valid)


def test_a_frame_without_a_usable_cell_has_no_contrast() -> None:
    flat = flattened(plane_of(np.full(FIELD, 1.0, np.float32), valid=np.zeros(FIELD, bool)))
    assert not flat.valid.any()
    assert not flat.contrast[:, :].any()
    assert np.isfinite(flat.noise_frac[:, :]).all()


@pytest.mark.parametrize("shape", [(20, 33), (8, 8 * 5)])
def test_tiny_frames_are_flattened_too(shape: tuple[int, int]) -> None:
    flat = flattened(plane_of(np.full(shape, 0.5, np.float32)))
    assert np.abs(flat.contrast[:, :]).max() < 1e-4
    assert np.isfinite(flat.noise_frac[:, :]).all()


def test_cells_of_several_pixels_get_boxes_of_the_same_size_in_pixels() -> None:
    mark = bell(FIELD, 70, 120, 3.0, 0.2)
    light = (uneven_light(FIELD) * (1 + mark)).astype(np.float32)
    fine = flattened(plane_of(light))
    coarse = flatten(
        plane_of(light, bin_px=3),
        blur_px=30.0,
        settings=FlattenSettings(box_min_px=48.0, box_max_px=48.0),
    )
    assert np.array_equal(fine.contrast[:, :], coarse.contrast[:, :])
    assert coarse.bin_px == 3


def test_results_are_read_only_and_the_picture_is_left_alone() -> None:
    plane = plane_of(uneven_light(FIELD))
    before = plane.light.copy()
    flat = flattened(plane)
    assert np.array_equal(plane.light, before)
    assert isinstance(flat.contrast, Contrast)
    with pytest.raises(ValueError, match="read-only"):
        flat.contrast.codes[0, 0] = 1
    with pytest.raises(ValueError, match="read-only"):
        flat.valid[0, 0] = False

"""The flattened frame as one level sees it: what is cut before filtering, and given back."""

from __future__ import annotations

import numpy as np
import pytest

from fields import bell, noisy
from motemap.detect.dips import find_dips
from motemap.detect.level_plane import KEEP_BRIGHT, KEEP_FLOORS, KEEP_SIGMAS, LevelPlane
from motemap.planes import Steps
from motemap.settings import DetectSettings

SHAPE = (61, 87)
SETTINGS = DetectSettings()


def sloping(first: float, last: float) -> np.ndarray[tuple[int, int], np.dtype[np.float32]]:
    """Return a plane that rises from the upper left to the lower right."""
    down, right = np.ogrid[: SHAPE[0], : SHAPE[1]]
    share = (down + right) / (SHAPE[0] + SHAPE[1] - 2)
    return np.asarray(first + (last - first) * share, dtype=np.float32)


def layer_of(noise_frac: tuple[float, float], floor_frac: Steps | None, seed: int) -> LevelPlane:
    """Return a layer most of whose cells lie near the bounds or beyond them, on both sides."""
    noise = sloping(*noise_frac)
    plane = noisy(SHAPE, 1.0, seed) * KEEP_SIGMAS * noise
    return LevelPlane(plane=plane, noise_frac=noise, floor_frac=floor_frac, valid=None)


def stepped() -> Steps:
    """Return a floor that differs fivefold from step to step."""
    values = np.where(np.indices((8, 11)).sum(axis=0) % 2, 0.004, 0.02).astype(np.float32)
    return Steps(values=values, side=8, shape=SHAPE)


@pytest.mark.parametrize("rows", [slice(0, 24), slice(24, 61)])
@pytest.mark.parametrize("floor_frac", [None, stepped()])
@pytest.mark.parametrize("noise_frac", [(0.002, 0.006), (0.006, 0.002), (0.00005, 0.0001)])
def test_contrast_is_cut_exactly_at_its_bounds(
    noise_frac: tuple[float, float], floor_frac: Steps | None, rows: slice
) -> None:
    layer = layer_of(noise_frac, floor_frac, 1)
    before = layer.plane.copy()
    lowest = np.full(SHAPE, SETTINGS.depth_min_frac, np.float32)
    if floor_frac is not None:
        lowest = np.maximum(lowest, floor_frac[:, :])
    bound = np.maximum(KEEP_SIGMAS * sloping(*noise_frac), KEEP_FLOORS * lowest)
    wanted = before.copy()
    wanted[rows] = np.clip(before, -bound, KEEP_BRIGHT * bound)[rows]
    cut = layer.cut(rows, SETTINGS)
    assert np.array_equal(layer.plane, wanted)
    assert cut.cells.tolist() == np.flatnonzero((wanted != before)[rows]).tolist()


def test_what_was_cut_is_given_back() -> None:
    layer = layer_of((0.002, 0.006), None, 2)
    before, rows = layer.plane.copy(), slice(12, 40)
    cut = layer.cut(rows, SETTINGS)
    assert not np.array_equal(layer.plane, before)
    layer.restore(rows, cut)
    assert np.array_equal(layer.plane, before)


@pytest.mark.parametrize("is_wide", [False, True])
def test_searching_leaves_the_plane_as_it_was(*, is_wide: bool) -> None:
    noise_frac = sloping(0.002, 0.004)
    # 0.3 is far beyond 12 sigmas, so that it was cut; the bright one beyond half of that.
    plane = noise_frac * noisy(SHAPE, 1.0, 3)
    plane += bell(SHAPE, 30, 40, 2.0, 0.3) - bell(SHAPE, 15, 70, 2.0, 0.3)
    layer = LevelPlane(plane=plane.copy(), noise_frac=noise_frac, floor_frac=None, valid=None)
    dips = find_dips(layer, SETTINGS, is_wide=is_wide)
    assert len(dips.rows)
    assert np.array_equal(layer.plane, plane)

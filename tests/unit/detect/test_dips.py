"""The dips of one level: which cells are looked at, and what is asked of them."""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fields import bell, noisy
from motemap.detect import dips
from motemap.detect.dips import BORDER_STRICTNESS, WIDE_STRICTNESS, find_dips
from motemap.detect.fine import pool_squares
from motemap.detect.grow import Candidates, grow
from motemap.detect.level_plane import LevelPlane
from motemap.settings import DetectSettings

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.detect.dips import Answers, Dips

SHAPE = (181, 263)
SETTINGS = DetectSettings()


def waving(shape: tuple[int, int]) -> NDArray[np.float32]:
    """Return noise that falls and rises sixteenfold along the rows, every 60 columns."""
    across = 0.002 * 16.0 ** (np.abs(np.arange(shape[1]) / 60 % 2 - 1))
    return np.tile(across.astype(np.float32), (shape[0], 1))


def layer_of(plane: NDArray[np.float32], noise_frac: NDArray[np.float32]) -> LevelPlane:
    return LevelPlane(plane=plane, noise_frac=noise_frac, floor_frac=None, valid=None)


def speckled(shape: tuple[int, int]) -> NDArray[np.float32]:
    """Return a plane of such noise with a wide dip, a border, and specks that hardly stand out."""
    plane = noisy(shape, 1.0, 5)
    plane[4::9, 4::7] -= np.linspace(10.0, 14.0, plane[4::9, 4::7].size).reshape(
        plane[4::9, 4::7].shape
    )
    plane *= waving(shape)
    plane[:3] *= 6
    return plane + bell(shape, shape[0] / 2, shape[1] - 2, 2.0, 0.2)


def candidates_of(
    monkeypatch: pytest.MonkeyPatch, plane: NDArray[np.float32], *, is_wide: bool, is_fine: bool
) -> Candidates:
    """Return all cells that a level keeps before they are followed."""
    kept: list[Candidates] = []

    def noting(
        candidates: Candidates, shape: tuple[int, ...]
    ) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
        kept.append(candidates)
        return grow(candidates, shape)

    squares = pool_squares(plane) if is_fine else None
    mean = plane.copy() if squares is None else squares.mean
    layer = layer_of(mean, waving((mean.shape[0], mean.shape[1])))
    with monkeypatch.context() as patch:
        patch.setattr(dips, "grow", noting)
        find_dips(layer, SETTINGS, is_wide=is_wide, squares=squares)
    return kept[0]


@pytest.mark.parametrize("shape", [SHAPE, (180, 260), (402, 131)])
@pytest.mark.parametrize(("is_wide", "is_fine"), [(False, False), (True, False), (False, True)])
def test_cells_that_are_not_looked_at_would_not_have_been_kept(
    monkeypatch: pytest.MonkeyPatch, shape: tuple[int, int], *, is_wide: bool, is_fine: bool
) -> None:
    plane = speckled((2 * shape[0], 2 * shape[1]) if is_fine else shape)
    some = candidates_of(monkeypatch, plane, is_wide=is_wide, is_fine=is_fine)
    shares: list[float] = []
    may_stand_out = dips._may_stand_out

    def everywhere(
        answers: Answers, settings: DetectSettings, rows: slice, strict: float
    ) -> NDArray[np.bool_]:
        may = may_stand_out(answers, settings, rows, strict)
        shares.append(float(may.mean()))
        return np.ones_like(may)

    monkeypatch.setattr(dips, "_may_stand_out", everywhere)
    all_of_them = candidates_of(monkeypatch, plane, is_wide=is_wide, is_fine=is_fine)
    for field in fields(Candidates):
        assert np.array_equal(getattr(some, field.name), getattr(all_of_them, field.name))
    # Of use only where most cells are left out.
    assert np.mean(shares) < 0.2


def significance(found: Dips) -> NDArray[np.float32]:
    snr = np.full(SHAPE, np.nan, np.float32)
    snr[found.rows, found.cols] = found.snr
    return snr


def test_more_is_asked_of_wide_dips_and_most_along_the_border() -> None:
    plane = noisy(SHAPE, 0.002, 6)
    for row, col in [(90, 130), (0, 60), (180, 200), (50, 0), (120, 262)]:
        plane += bell(SHAPE, row, col, 2.0, 0.2)
    noise_frac = np.full(SHAPE, 0.002, np.float32)
    usual, wide = (
        significance(find_dips(layer_of(plane.copy(), noise_frac), SETTINGS, is_wide=is_wide))
        for is_wide in (False, True)
    )
    both = ~np.isnan(usual) & ~np.isnan(wide)
    inner = np.zeros(SHAPE, bool)
    inner[2:-2, 2:-2] = True
    assert np.count_nonzero(both & inner) > 50
    assert np.count_nonzero(both & ~inner) > 20
    assert usual[both & inner] / wide[both & inner] == pytest.approx(WIDE_STRICTNESS, rel=1e-5)
    assert usual[both & ~inner] / wide[both & ~inner] == pytest.approx(
        WIDE_STRICTNESS * BORDER_STRICTNESS, rel=1e-5
    )

"""What lies round a mark."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from fields import FIELD, bell, disc, flat_frame, noisy
from motemap.detect import detect, surroundings
from motemap.detect.surroundings import Surroundings, look_around
from motemap.distances import within
from motemap.records import Cells
from motemap.settings import DetectSettings

if TYPE_CHECKING:
    from numpy.typing import NDArray

SHAPE = (41, 51)
ROWS, COLS = np.indices(SHAPE)
DISTANCE = np.hypot(ROWS - 20, COLS - 25)
MARK = DISTANCE <= 5
ALL = np.ones(SHAPE, bool)


def around_mark(contrast: NDArray[np.float32], usable: NDArray[np.bool_]) -> Surroundings:
    """Look round one mark, 0.1 deep, in a ring from 1 to 7 cells away."""
    near, far = within(MARK[None], (1, 7))
    ring = (far & ~near)[0] & usable
    cells = Cells.of([ring], [(0, 0)])
    return look_around(cells, contrast[ring], np.array([[20.0, 25.0]]), np.array([0.1]))


def test_a_mark_alone_is_closed() -> None:
    contrast = np.where(MARK, -0.1, 0).astype(np.float32)
    around = around_mark(contrast, ALL)
    seen = float(around.open_share[0]), float(around.level_frac[0]), int(around.n_sectors[0])
    assert seen == (0, 0, 12)


def test_a_mark_on_a_darker_ground_is_measured_against_that() -> None:
    contrast = np.where(MARK, -0.12, -0.02).astype(np.float32)
    around = around_mark(contrast, ALL)
    assert around.level_frac == pytest.approx(-0.02)
    assert around.open_share == 0


def test_a_stripe_is_open_at_both_ends() -> None:
    contrast = np.where(np.abs(ROWS - 20) <= 5, -0.1, 0).astype(np.float32)
    around = around_mark(contrast, ALL)
    # Six of twelve sectors of 30 degrees lie within 5 cells of the middle row at 7-11 cells away.
    assert around.open_share == pytest.approx(0.5, abs=0.17)


def test_cells_of_other_marks_do_not_count() -> None:
    contrast = np.where(MARK, -0.1, 0).astype(np.float32)
    neighbour = np.s_[12:29, 31:45]
    contrast[neighbour] = -0.3
    usable = ALL.copy()
    assert around_mark(contrast, usable).open_share > 0
    usable[neighbour] = False
    assert around_mark(contrast, usable).open_share == 0


def test_without_a_ring_nothing_can_be_told() -> None:
    around = around_mark(np.zeros(SHAPE, np.float32), np.zeros(SHAPE, bool))
    assert (int(around.n_sectors[0]), float(around.open_share[0])) == (0, 1)


@pytest.mark.parametrize(("depth", "n_marks"), [(0.006, 0), (0.02, 1)])
def test_what_is_as_deep_as_the_field_round_it_is_uneven_is_no_mark(
    depth: float, n_marks: int
) -> None:
    # Alone, both dips are found; four light patches round the fainter one, 0.02 high, say that
    # such things come and go here.
    dip = noisy(FIELD, 0.002, 4) + bell(FIELD, 90, 130, 1.8, depth)
    uneven = dip.copy()
    for angle in np.deg2rad([23.0, 113.0, 203.0, 293.0]):
        uneven -= disc(FIELD, 90 + 9 * np.sin(angle), 130 + 9 * np.cos(angle), 3.0, 0.02)
    found = [
        detect(
            flat_frame(contrast, 0.002), widest_px=20.0, usual_px=10.0, settings=DetectSettings()
        ).regions
        for contrast in (dip, uneven)
    ]
    assert [len(regions) for regions in found] == [1, n_marks]


def test_an_even_ring_is_judged_as_by_its_sectors(monkeypatch: pytest.MonkeyPatch) -> None:
    # Clear marks alone, in pairs and at the end of a dark band: some rings are even, some not.
    contrast = noisy(FIELD, 0.002, 6)
    contrast[100:108, 150:] -= 0.05
    for row in range(20, FIELD[0] - 20, 30):
        contrast += bell(FIELD, row, 30, 2.0, 0.05) + bell(FIELD, row, 30 + row // 4, 1.6, 0.1)
    flat = flat_frame(contrast, 0.002)

    def corners() -> list[tuple[int, int]]:
        found = detect(flat, widest_px=20.0, usual_px=10.0, settings=DetectSettings())
        return [(one.top_cell, one.left_cell) for one in found.regions]

    at_once = corners()
    monkeypatch.setattr(
        surroundings, "_are_even", lambda _flat, ring, _depth: np.zeros(ring.n_masks, np.bool_)
    )
    assert len(at_once) > 5
    assert corners() == at_once

"""Windows cut from arrays, and from planes that reckon them on demand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from motemap.windows import CROWD, TILE_CELLS, Box, cell_values, cut_windows, tile_order

if TYPE_CHECKING:
    from numpy.typing import NDArray

VALUES = np.arange(500 * 700, dtype=np.float32).reshape(500, 700)


class Reckoned:
    """A plane that counts how often it is asked, and for how many cells."""

    def __init__(self) -> None:
        self.asked: list[int] = []

    @property
    def shape(self) -> tuple[int, ...]:
        return VALUES.shape

    def __getitem__(self, window: Box) -> NDArray[np.float32]:
        cells = VALUES[window]
        self.asked.append(cells.size)
        return cells


def box(row: int, col: int, height: int = 7, width: int = 9) -> Box:
    return slice(row, row + height), slice(col, col + width)


CROWDED = [box(10 + 5 * i, 20 + 3 * i) for i in range(CROWD + 3)]
LONELY = [box(300, 650), box(490, 0), box(250, 400)]


def test_windows_are_those_of_the_array_in_the_order_given() -> None:
    boxes = [CROWDED[0], *LONELY, *CROWDED[1:]]
    for plane in (VALUES, Reckoned()):
        windows = cut_windows(plane, boxes)
        assert all(
            np.array_equal(got, VALUES[one]) for got, one in zip(windows, boxes, strict=True)
        )


def test_a_crowd_is_cut_from_one_piece_and_the_lonely_are_asked_for_alone() -> None:
    plane = Reckoned()
    cut_windows(plane, [*CROWDED, *LONELY])
    assert sorted(plane.asked)[:3] == [7 * 9] * 2 + [7 * 9]
    assert len(plane.asked) == 1 + len(LONELY)


def test_values_of_single_cells() -> None:
    rows, cols = np.array([-0.4, 3.6, 499.9, 12.0]), np.array([0.2, 8.4, 720.0, 699.0])
    wanted = [VALUES[0, 0], VALUES[4, 8], VALUES[499, 699], VALUES[12, 699]]
    assert cell_values(VALUES, rows, cols).tolist() == wanted
    assert cell_values(Reckoned(), rows, cols).tolist() == wanted


def test_places_of_one_tile_follow_each_other() -> None:
    rows = np.array([1.0, TILE_CELLS + 5.0, 2.0, TILE_CELLS + 1.0])
    cols = np.array([3.0, 3.0, TILE_CELLS + 9.0, 8.0])
    tiles = [
        (int(rows[i] // TILE_CELLS), int(cols[i] // TILE_CELLS)) for i in tile_order(rows, cols)
    ]
    assert tiles == [(0, 0), (0, 1), (1, 0), (1, 0)]


def test_no_windows_are_no_fault() -> None:
    assert cut_windows(Reckoned(), []) == []
    assert cell_values(Reckoned(), np.zeros(0), np.zeros(0)).shape == (0,)

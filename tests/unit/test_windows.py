"""Values at places, and the order in which places are taken."""

from __future__ import annotations

import numpy as np

from motemap.windows import TILE_CELLS, cell_values, tile_order

VALUES = np.arange(500 * 700, dtype=np.float32).reshape(500, 700)


def test_values_of_single_cells() -> None:
    rows, cols = np.array([-0.4, 3.6, 499.9, 12.0]), np.array([0.2, 8.4, 720.0, 699.0])
    wanted = [VALUES[0, 0], VALUES[4, 8], VALUES[499, 699], VALUES[12, 699]]
    assert cell_values(VALUES, rows, cols).tolist() == wanted


def test_no_places_are_no_fault() -> None:
    assert cell_values(VALUES, np.zeros(0), np.zeros(0)).shape == (0,)


def test_places_of_one_tile_follow_each_other() -> None:
    rows = np.array([1.0, TILE_CELLS + 5.0, 2.0, TILE_CELLS + 1.0])
    cols = np.array([3.0, 3.0, TILE_CELLS + 9.0, 8.0])
    order = tile_order(rows, cols)
    tiles = [(int(rows[i] // TILE_CELLS), int(cols[i] // TILE_CELLS)) for i in order]
    assert tiles == [(0, 0), (0, 1), (1, 0), (1, 0)]

"""What coarse codes can feign at the place of a mark."""

from __future__ import annotations

import numpy as np
import pytest

from motemap.coords import FramePoint
from motemap.pipeline.finding import floors_at
from motemap.records import FlatFrame, MeasuredSpot, MeasuredSpots

BIN_PX = 4


def coded_frame() -> FlatFrame:
    """Give every cell a floor of its own: ten times its row, plus its column, in thousandths."""
    rows, cols = np.indices((5, 7))
    floor = (0.001 * (10 * rows + cols)).astype(np.float32)
    return FlatFrame(
        contrast=np.zeros((5, 7), np.float32),
        background=np.ones((5, 7), np.float32),
        noise_frac=np.full((5, 7), 0.01, np.float32),
        valid=np.ones((5, 7), bool),
        bin_px=BIN_PX,
        floor_frac=floor,
        step_frac=2 * floor,
    )


def spot_at(row_px: float, col_px: float, calm_frac: float = 1.0) -> MeasuredSpot:
    return MeasuredSpot(
        centre=FramePoint(row_px=row_px, col_px=col_px),
        depth_frac=0.05,
        snr=20.0,
        width_px=12.0,
        length_px=12.0,
        lost_area_px2=5.0,
        calm_frac=calm_frac,
    )


@pytest.mark.parametrize(
    ("row_px", "col_px", "row_cell", "col_cell"),
    [
        (0.0, 0.0, 0, 0),
        (3.0, 4.0, 0, 1),
        # Cell 2 covers pixels 8 to 11, whose far edge is at 11.5.
        (11.4, 8.0, 2, 2),
        (7.6, 15.3, 2, 3),
        (19.0, 27.0, 4, 6),
    ],
)
def test_the_floor_is_that_of_the_cell_a_mark_lies_in(
    row_px: float, col_px: float, row_cell: int, col_cell: int
) -> None:
    wanted = 0.001 * (10 * row_cell + col_cell)
    assert floors_at(coded_frame(), MeasuredSpots.of([spot_at(row_px, col_px)])) == pytest.approx(
        wanted, rel=1e-6
    )


def test_on_a_plateau_it_is_a_whole_code() -> None:
    assert floors_at(
        coded_frame(), MeasuredSpots.of([spot_at(9.0, 9.0, calm_frac=0.0)])
    ) == pytest.approx(0.044)

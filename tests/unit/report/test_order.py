import random
from dataclasses import replace

import pytest

from motemap.errors import OutputError
from motemap.records import Spot
from motemap.report.order import require_order
from reporting.builders import in_order, spot


def test_deepest_first_then_row_then_column() -> None:
    spots = [
        spot(9, depth_frac=0.1, image_y_px=700.0, image_x_px=5.0),
        spot(9, depth_frac=0.1, image_y_px=300.0, image_x_px=9.0),
        spot(9, depth_frac=0.3, image_y_px=900.0, image_x_px=1.0),
        spot(9, depth_frac=0.1, image_y_px=300.0, image_x_px=2.0),
    ]
    random.Random(4).shuffle(spots)
    ordered = in_order(spots)
    assert [(each.id, each.depth_frac, each.image_y_px, each.image_x_px) for each in ordered] == [
        (1, 0.3, 900.0, 1.0),
        (2, 0.1, 300.0, 2.0),
        (3, 0.1, 300.0, 9.0),
        (4, 0.1, 700.0, 5.0),
    ]
    require_order(ordered, path="a.dng")


def test_depths_alike_in_the_report_may_stand_either_way() -> None:
    # 0.123449 and 0.12341 are both written as 0.1234.
    deeper_below = spot(1, depth_frac=0.123449, image_y_px=800.0)
    above = spot(2, depth_frac=0.12341, image_y_px=100.0)
    require_order([deeper_below, above], path="a.dng")
    require_order([replace(above, id=1), replace(deeper_below, id=2)], path="a.dng")


@pytest.mark.parametrize(
    "spots",
    [
        (spot(1, depth_frac=0.1), spot(2, depth_frac=0.2)),
        (spot(1, depth_frac=0.2), spot(1, depth_frac=0.1)),
        (spot(2, depth_frac=0.2),),
    ],
)
def test_disorder_is_a_fault_of_the_program(spots: tuple[Spot, ...]) -> None:
    with pytest.raises(OutputError, match=r"a\.dng: The spots are not in the order"):
        require_order(spots, path="a.dng")

import pytest

from motemap.errors import SettingsError
from motemap.pipeline.held import as_held
from reporting.builders import frame, ready, spot, unreadable

# The spot of the builders lies 6.003 mm from the left and 20.997 mm from the top of 36 x 24 mm.


@pytest.mark.parametrize(
    ("hold", "left_mm", "top_mm", "place"),
    [
        ("upright", 6.003, 20.997, "lower left"),
        ("upside-down", 29.997, 3.003, "upper right"),
        ("on-back-top-near", 29.997, 3.003, "upper right"),
        ("from-behind", 29.997, 20.997, "lower right"),
    ],
)
def test_positions_turn_with_the_body(hold: str, left_mm: float, top_mm: float, place: str) -> None:
    (turned,), meaning = as_held([frame()], hold)
    assert turned.spots[0].from_left_mm == pytest.approx(left_mm)
    assert turned.spots[0].from_top_mm == pytest.approx(top_mm)
    assert turned.spots[0].place == place
    assert turned.spots[0].image_x_px == 1000.0
    assert meaning


def test_what_has_no_place_keeps_none() -> None:
    unplaced = frame(spots=(spot(1, from_left_mm=None, from_top_mm=None, place=None),))
    frames = (unplaced, ready(sensor=None), unreadable())
    turned, _ = as_held(frames, "upside-down")
    assert turned == frames


def test_an_unknown_way_of_holding() -> None:
    with pytest.raises(SettingsError, match="'sideways' is no way"):
        as_held([], "sideways")

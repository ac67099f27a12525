from dataclasses import replace

import pytest

from motemap.errors import SettingsError
from motemap.pipeline.again import judge_again
from motemap.pipeline.held import as_held, said_as_held
from motemap.pipeline.retold import retold_as_held
from motemap.pipeline.states import compare_all
from motemap.records import FrameReport
from motemap.settings import Settings, WorkSettings
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


def judged() -> FrameReport:
    return judge_again(frame(), WorkSettings())


def test_sentences_turn_with_the_table() -> None:
    upright = judged()
    assert upright.verdict is not None
    (turned,), _ = as_held([upright], "upside-down")
    (said,) = said_as_held([upright], "upside-down")
    for held in (turned, said):
        assert held.verdict is not None
        words = " ".join(held.verdict.reasons)
        assert "in the upper right, 30.0 mm from the left and 3.0 mm from the top; it sh" in words
        assert len(held.verdict.reasons) == len(upright.verdict.reasons)
    # Pictures turn the positions of spots by themselves.
    assert said.spots == upright.spots
    assert as_held([upright], "upright")[0] == (upright,)


def test_a_comparison_is_retold() -> None:
    states = (judged(), replace(judged(), file="later.dng"))
    known = compare_all(states, Settings())
    told = retold_as_held(known, "upside-down", WorkSettings())
    assert "near the lower left" in known.story
    assert "near the upper right" in told.story
    assert "upper right, 30.0 mm" in " ".join(told.verdict.reasons)
    assert "it shows from f/8 on, is here for the second time" in " ".join(told.verdict.reasons)
    assert [state.spots for state in told.states] == [state.spots for state in known.states]
    assert retold_as_held(known, "upright", WorkSettings()) == known

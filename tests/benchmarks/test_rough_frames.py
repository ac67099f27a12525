"""Frames as rough as older cameras', and pictures that are no test shot, one seed each."""

from pathlib import Path

import pytest
from rough_parts.judging import ROUGH_FRAMES, RoughFrame, judge_odd, judge_rough
from rough_parts.not_blank import ODD_PICTURES, Odd


@pytest.mark.parametrize("frame", ROUGH_FRAMES, ids=lambda frame: frame.name)
def test_what_is_no_dust_is_not_reported(frame: RoughFrame, tmp_path: Path) -> None:
    score = judge_rough(frame, 1, tmp_path)
    assert score.false == ()


@pytest.mark.parametrize("odd", ODD_PICTURES, ids=lambda odd: odd.name)
def test_a_picture_that_is_no_test_shot_is_sent_back_for_the_right_reason(
    odd: Odd, tmp_path: Path
) -> None:
    score = judge_odd(odd, 1, tmp_path)
    assert score.is_right, (score.state, score.failed)

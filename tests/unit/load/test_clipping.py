"""Where a raw picture clips, by what it says and what it holds."""

import numpy as np
import pytest
from numpy.typing import NDArray

from motemap.load.readers.clipping import find_clip


def rows(level: float = 9000, limit: int = 16383) -> NDArray[np.uint16]:
    values = np.random.default_rng(1).normal(level, 90, (40, 1201))
    return values.round().clip(0, limit).astype(np.uint16)


def test_the_tag_is_believed_when_nothing_speaks_against_it() -> None:
    assert find_clip(rows(), 15871, 2) == 15871


def test_hot_pixels_above_do_not_matter() -> None:
    values = rows()
    values[::13, 400] = 16383
    assert find_clip(values, 15871, 2) == 15871


def test_a_pile_below_the_tag_is_the_clipping_level() -> None:
    values = rows()
    values[:, 300:600] = 13000
    # From 0.2 % below the pile on, for it may be a little uneven.
    assert find_clip(values, 16383, 2) == int(13000 * 0.998)


def test_data_far_above_the_tag_are_believed() -> None:
    assert find_clip(rows(level=54000, limit=65535), 255, 2) == 65535


def test_a_pile_far_above_the_tag_is_believed() -> None:
    assert find_clip(rows(level=12000, limit=12000), 4095, 2) == int(12000 * 0.998)


@pytest.mark.parametrize("tagged", [0, -1])
def test_without_a_tag_the_bits_of_the_data_count(tagged: int) -> None:
    assert find_clip(rows(), tagged, 2) == 16383


def test_an_even_picture_without_noise_is_not_clipped() -> None:
    values = np.tile(np.array([[3000, 9000]], np.uint16), (40, 600))
    assert find_clip(values, 16383, 2) == 16383


def test_a_frame_all_clipped_at_the_tag_stays_so() -> None:
    assert find_clip(np.full((40, 1200), 16383, np.uint16), 16383, 2) == 16383

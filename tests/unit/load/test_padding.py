"""Strips with rows and columns of context."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from motemap.load.reduction.padding import PaddedStrips

if TYPE_CHECKING:
    from numpy.typing import NDArray

SIZE_PX = 20, 27
STORED = np.arange(20 * 27, dtype=np.uint16).reshape(SIZE_PX)


def mirrored() -> NDArray[np.uint16]:
    """Return the picture with six lines beyond each border, even and odd ones each by itself."""
    whole = np.empty((32, 39), np.uint16)
    for parity in (0, 1):
        for turn in (0, 1):
            whole[parity::2, turn::2] = np.pad(STORED[parity::2, turn::2], 3, mode="reflect")
    return whole


@pytest.mark.parametrize("span", [(0, 8), (6, 14), (14, 20), (19, 20), (0, 20)])
def test_margins_mirror_the_picture(span: tuple[int, int]) -> None:
    padded = PaddedStrips(lambda start, stop: STORED[start:stop], SIZE_PX, 6).strip(*span)

    np.testing.assert_array_equal(padded, mirrored()[span[0] : span[1] + 12])


@pytest.mark.parametrize(
    "stops", [(8, 16, 20), (4, 8, 12, 16, 20), (14, 20), (6, 7, 8, 19, 20), (16, 18, 19)]
)
def test_strips_that_follow_each_other_are_as_if_read_alone(stops: tuple[int, ...]) -> None:
    strips = PaddedStrips(lambda start, stop: STORED[start:stop], SIZE_PX, 6)
    for start, stop in zip((0, *stops), stops, strict=False):
        np.testing.assert_array_equal(
            strips.strip(start, stop), mirrored()[start : stop + 12], err_msg=f"{start}-{stop}"
        )


def test_a_strip_may_come_before_the_last_one() -> None:
    strips = PaddedStrips(lambda start, stop: STORED[start:stop], SIZE_PX, 6)
    for start, stop in ((8, 14), (6, 8), (8, 14), (0, 8)):
        np.testing.assert_array_equal(strips.strip(start, stop), mirrored()[start : stop + 12])


def test_rows_of_the_strip_before_are_not_read_again() -> None:
    asked: list[int] = []

    def read_rows(start: int, stop: int) -> NDArray[np.uint16]:
        asked.extend(range(start, stop))
        return STORED[start:stop]

    strips = PaddedStrips(read_rows, SIZE_PX, 6)
    for start, stop in ((0, 8), (8, 14), (14, 20)):
        strips.strip(start, stop)

    assert asked == list(range(20))

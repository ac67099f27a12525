import pytest

from motemap.pipeline.summary import RunSummary
from motemap.records import FrameReport
from reporting.builders import frame, ready, reshoot, unreadable


@pytest.mark.parametrize(
    ("frames", "code", "lenient_code"),
    [
        ([ready()], 0, 0),
        ([ready(), frame()], 3, 0),
        ([frame(), reshoot(), ready()], 4, 0),
        ([reshoot()], 4, 0),
        ([unreadable(), reshoot(), frame(), ready()], 1, 1),
        ([unreadable()], 1, 1),
        ([], 1, 1),
    ],
)
def test_the_worst_wins(frames: list[FrameReport], code: int, lenient_code: int) -> None:
    assert RunSummary.of(frames).exit_code == code
    assert RunSummary.of(frames, exit_zero=True).exit_code == lenient_code


def test_counts() -> None:
    summary = RunSummary.of([ready(), ready(), frame(), reshoot(), unreadable()])
    assert (summary.ready, summary.clean, summary.reshoot, summary.unreadable) == (2, 1, 1, 1)

"""Where marks lie, the windows round them, and what others hide in these."""

from __future__ import annotations

import numpy as np

from motemap.particle.cover import Cover
from motemap.particle.sites import WINDOWS_CELLS, SiteBoxes, Sites

SHAPE = (9, 14)


def sites_at(*places: tuple[float, float]) -> Sites:
    """Return marks two cells wide."""
    row, col = np.array(places, np.float64).T
    return Sites(row=row, col=col, width=np.full(len(places), 2.0))


def test_a_box_holds_what_lies_within_reach_and_its_window_stays_in_the_plane() -> None:
    boxes = SiteBoxes.around(sites_at((4.0, 6.0), (0.5, 13.0)), np.array([2.0, 3.0]), SHAPE)
    assert boxes.start.tolist() == [[2, 4], [0, 10]]
    assert boxes.stop.tolist() == [[8, 10], [5, 14]]
    assert boxes.windows.shape == (6, 6)
    assert boxes.windows.left.tolist() == [4, 8]
    held = boxes.hold()
    assert held[0].all()
    assert held[1].sum() == 5 * 4
    down2, across2 = boxes.away2(np.array([4.0, 0.5]), np.array([6.0, 13.0]))
    assert (down2 + across2)[0, 2, 2] == 0
    assert (down2 + across2)[1, 0, 5] == 0.25


def test_batches_take_each_mark_once_the_widest_first() -> None:
    n_marks = 900
    reach = np.linspace(3, 30, n_marks)
    marks = Sites(row=np.arange(900.0), col=np.zeros(n_marks), width=reach)
    batches = list(marks.batches(reach))
    assert sorted(np.concatenate(batches).tolist()) == list(range(n_marks))
    # Those of one whole number of cells are taken row by row.
    widest = [np.ceil(reach[some].max()) for some in batches]
    assert widest == sorted(widest, reverse=True)
    for some, wide in zip(batches, widest, strict=True):
        assert len(some) * (2 * wide + 2) ** 2 <= WINDOWS_CELLS


def test_others_hide_what_they_lie_on() -> None:
    marks = sites_at((4.0, 4.0), (4.0, 7.0), (0.0, 13.0))
    cover = Cover.of(marks, np.array([2.0, 1.0, 1.0]), SHAPE)
    assert cover.owner.tolist()[4] == [0, 0, 1, 1, 1, 1, 4, 2, 2, 0, 0, 0, 0, 0]
    assert cover.owner.tolist()[0] == [0] * 12 + [3, 3]
    one = np.array([1])
    windows = SiteBoxes.around(marks.only(one), np.array([3.0]), SHAPE).windows
    hidden = cover.only(one).hides(windows)
    # Columns 4 to 11: the other mark's own, and the cell that both lie on.
    assert hidden[0, 4 - windows.top[0]].tolist() == [
        True,
        True,
        True,
        False,
        False,
        False,
        False,
        False,
    ]

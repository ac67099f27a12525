"""Registration held against another implementation on the same points.

Authority: scikit-image (its own authors and tests), `skimage.transform.SimilarityTransform`
fitted by `skimage.measure.ransac` (M. A. Fischler, R. C. Bolles, Communications of the ACM
24(6), 1981). It is told which points belong together, some of them wrongly; our own code has
to find that out by itself.
"""

import math
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from skimage.measure import ransac
from skimage.transform import EuclideanTransform, SimilarityTransform

from motemap.matching import carry_over, mark_table, register
from sequences import Cleaning, Sequence, Shot, draw_sequence

pytestmark = pytest.mark.external

consensus: Any = ransac
"""The library's own annotations stop short of this function."""

AGREEMENT_PX = 0.6
"""Two fits of 30 marks of 0.3 px each err by 0.3 x sqrt(4 / 30) = 0.11 px at the corner and
less inside, each; the similarity has a turn to fit besides. Five times that."""

OUTLIERS_FRAC = 0.3


def true_pairs(drawn: Sequence) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Places of particles that both states list, from the middle of the picture."""
    one = {name: number for number, name in drawn.before.names.items()}
    two = {name: number for number, name in drawn.after.names.items()}
    shared = [name for name in one if name in two and drawn.fates[name] == "stayed"]
    before = mark_table(drawn.before.report).place_px
    after = mark_table(drawn.after.report).place_px
    return (
        before[[one[name] - 1 for name in shared]],
        after[[two[name] - 1 for name in shared]],
    )


def with_wrong_pairs(
    rng: np.random.Generator, places: tuple[NDArray[np.float64], NDArray[np.float64]]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    n_wrong = int(OUTLIERS_FRAC * len(places[0]))
    wrong = rng.uniform(-1500.0, 1500.0, (2, n_wrong, 2))
    return np.vstack([places[0], wrong[0]]), np.vstack([places[1], wrong[1]])


@pytest.mark.parametrize("scale", [0.985, 0.9935, 1.0, 1.015])
@pytest.mark.parametrize("shift_px", [(0.0, 0.0), (17.0, -12.5)])
def test_a_similarity_by_consensus_lays_the_points_at_the_same_places(
    scale: float, shift_px: tuple[float, float]
) -> None:
    rng = np.random.default_rng(5)
    shots = (Shot(), Shot(scale=scale, shift_px=shift_px))
    drawn = draw_sequence(rng, 200, Cleaning(stayed=0.2, n_new=150), shots)
    pairs = with_wrong_pairs(rng, true_pairs(drawn))
    theirs, is_inlier = consensus(
        pairs,
        SimilarityTransform,
        min_samples=3,
        residual_threshold=2.0,
        max_trials=2000,
        rng=np.random.default_rng(1),
    )
    ours = register(mark_table(drawn.before.report), mark_table(drawn.after.report))
    assert ours.scale is not None
    assert ours.n_used >= 0.9 * np.count_nonzero(is_inlier)
    corners = np.array([[-3000.0, -2000.0], [3000.0, -2000.0], [0.0, 0.0], [3000.0, 2000.0]])
    gaps_px = np.hypot(*(carry_over(corners, ours) - theirs(corners)).T)
    assert float(np.max(gaps_px)) < AGREEMENT_PX
    assert ours.scale == pytest.approx(theirs.scale, abs=AGREEMENT_PX / math.hypot(3000, 2000))


def test_without_a_scale_a_euclidean_fit_gives_the_same_shift() -> None:
    rng = np.random.default_rng(6)
    drawn = draw_sequence(
        rng, 120, Cleaning(stayed=0.4, n_new=40), (Shot(), Shot(shift_px=(-8.0, 14.0)))
    )
    before, after = true_pairs(drawn)
    theirs = EuclideanTransform.from_estimate(before, after)
    ours = register(mark_table(drawn.before.report), mark_table(drawn.after.report))
    assert (ours.shift_x_px, ours.shift_y_px) == pytest.approx(theirs.translation, abs=0.3)

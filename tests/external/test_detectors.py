"""What is found in one frame, against general-purpose detectors of other projects.

Sources: sep 1.4, photutils 3.0, scikit-image 0.26 (``blob_log``, ``blob_dog``) and OpenCV 5.0
(``SimpleBlobDetector``), installed from PyPI, set up as in `accuracy_parts.others`. The benchmark
compares them over many frames; here they are witnesses: what most of them see has to be there.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from accuracy_parts.frames import score_job
from accuracy_parts.grid import PLAIN
from accuracy_parts.others import (
    Detector,
    OpenCvBlobs,
    PhotutilsSources,
    Scene,
    SepObjects,
    SkimageBlobs,
)
from accuracy_parts.rows import jobs_of
from accuracy_parts.scoring import found_in

if TYPE_CHECKING:
    from accuracy_parts.frames import Seen
    from accuracy_parts.scoring import Found

pytestmark = pytest.mark.external

WITNESSES: tuple[tuple[Detector, float], ...] = (
    (SepObjects(), 5.0),
    (PhotutilsSources(), 9.0),
    (SkimageBlobs(method="log"), 4.0),
    (SkimageBlobs(method="dog"), 4.0),
    (OpenCvBlobs(), 7.0),
)
NEAR_PX = 6.0
MOST = 3
CLEAR_SNR = 30.0


@pytest.fixture(scope="module")
def seen(tmp_path_factory: pytest.TempPathFactory) -> Seen:
    (job,) = jobs_of((PLAIN,), "tiny", (7,))
    return score_job(job, tmp_path_factory.mktemp("frame"))


@pytest.fixture(scope="module")
def testimonies(seen: Seen) -> list[list[Found]]:
    assert seen.look.frame is not None
    scene = Scene.from_plane(seen.look.frame.plane)
    return [detector.find(scene, threshold) for detector, threshold in WITNESSES]


def n_witnesses(row_px: float, col_px: float, testimonies: list[list[Found]]) -> int:
    """Return how many detectors report something at a place."""
    return sum(
        any(np.hypot(one.row_px - row_px, one.col_px - col_px) < NEAR_PX for one in testimony)
        for testimony in testimonies
    )


def test_whatever_most_of_them_see_is_reported(seen: Seen, testimonies: list[list[Found]]) -> None:
    own = found_in(seen.look.report)
    seen_by_most = [
        one
        for testimony in testimonies
        for one in testimony
        if n_witnesses(one.row_px, one.col_px, testimonies) > MOST
    ]
    assert seen_by_most
    for one in seen_by_most:
        assert any(_is_meant(one, mark) for mark in own), (one.row_px, one.col_px)


def _is_meant(one: Found, mark: Found) -> bool:
    """A fibre is one mark here and a string of blobs elsewhere."""
    reach_px = max(NEAR_PX, 0.7 * (mark.length_px or 0.0))
    return bool(np.hypot(one.row_px - mark.row_px, one.col_px - mark.col_px) < reach_px)


def test_whatever_is_clearly_reported_is_seen_by_most_of_them(
    seen: Seen, testimonies: list[list[Found]]
) -> None:
    clear = [spot for spot in seen.look.report.spots if spot.snr > CLEAR_SNR]
    assert len(clear) > 5
    for spot in clear:
        if spot.kind != "fibre":
            assert n_witnesses(spot.image_y_px, spot.image_x_px, testimonies) >= MOST, spot.id


def test_centres_agree_with_those_of_sep(seen: Seen, testimonies: list[list[Found]]) -> None:
    offsets = []
    for spot in seen.look.report.spots:
        if spot.kind == "speck" and spot.snr > CLEAR_SNR:
            away = [
                np.hypot(one.row_px - spot.image_y_px, one.col_px - spot.image_x_px)
                for one in testimonies[0]
            ]
            offsets.append(min(away))
    # sep weighs all light above its threshold, ours the core: a few tenths at most.
    assert np.median(offsets) < 0.3

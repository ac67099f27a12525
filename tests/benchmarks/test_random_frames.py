"""Frames drawn at random are drawn, judged and counted."""

import random_frames

N_FRAMES = 3


def test_dust_is_found_whatever_comes_together() -> None:
    scores = random_frames.measure(200, N_FRAMES)
    marks = [mark for score in scores for mark in score.marks if mark.is_counting]
    assert len(marks) > 40
    assert sum(mark.is_found for mark in marks) >= 0.95 * len(marks)
    assert sum(len(score.false_marks) for score in scores) <= 1
    assert f"in {N_FRAMES} frames" in random_frames.summary(scores)


def test_every_frame_differs() -> None:
    specs = [random_frames.spec_of(seed) for seed in range(30)]
    assert random_frames.spec_of(7) == specs[7]
    assert {spec.file.format for spec in specs} == {"dng", "jpeg", "tiff"}
    assert len({spec.pitch_um for spec in specs}) == len(specs)

"""What follows from marks and checks, the same for frames, bursts, comparisons and the record."""

from __future__ import annotations

from dataclasses import replace

import pytest

from motemap.pipeline.again import judge_again
from motemap.pipeline.conclusion import conclude
from motemap.records import Counts
from motemap.settings import WorkSettings
from reporting.builders import EXPOSURE, faint, frame, ready, reshoot, spot

WORK = WorkSettings()
SPOILT = reshoot().shot_checks


def test_a_frame_to_be_shot_again_is_seen_and_not_judged() -> None:
    for judged_again in (conclude, judge_again):
        report = judged_again(frame(shot_checks=SPOILT), WORK)
        assert (report.state, report.verdict and report.verdict.level) == ("reshoot", "reshoot")
        assert (report.forecast, report.cleanliness) == ((), None)
        assert [(seen.depth_at, seen.shows_from_f) for seen in report.spots] == [(None, None)] * 2
        # What was measured in this very shot stays.
        measured = [(seen.depth_frac, seen.particle_um, seen.place) for seen in report.spots]
        assert measured == [
            (each.depth_frac, each.particle_um, each.place) for each in frame().spots
        ]


def test_what_is_counted_of_it_is_what_shows_in_the_shot_itself() -> None:
    # 5 % at f/11 and 2 % at f/22: by its forecast it would not show.
    hidden = faint(1, depth_frac=0.03)
    report = conclude(frame(spots=(hidden,), shot_checks=SPOILT), WORK)
    assert report.counts == Counts(found=1, showing=1)
    assert conclude(frame(spots=(hidden,)), WORK).counts == Counts(found=1, showing=0)


def test_a_frame_that_is_fit_keeps_its_forecast() -> None:
    report = conclude(frame(), WORK)
    assert report.state == "judged"
    assert report.spots == frame().spots
    assert [tally.n_showing for tally in report.forecast] == [0, 0, 0, 1, 1, 1, 1]
    assert report.cleanliness is not None


@pytest.mark.parametrize(
    "unknown",
    [{"exposure": replace(EXPOSURE, f_number=None)}, {"sensor": None}],
)
def test_no_mark_in_a_shot_of_unknown_aperture_promises_nothing_of_others(
    unknown: dict[str, object],
) -> None:
    report = conclude(ready(**unknown), WORK)
    assert report.verdict is not None
    assert report.verdict.reasons[0] == (
        "No mark was found on the sensor: nothing would show at the aperture of this shot."
    )
    assert [tally.n_showing for tally in report.forecast] == [None] * 7
    assert "f/11" in (judge_again(ready(), WORK).verdict or report.verdict).reasons[0]


def test_lens_dust_alone_is_an_aperture_known_by_its_forecast() -> None:
    report = conclude(frame(spots=(spot(1, layer="lens side"),)), WORK)
    assert [tally.n_showing for tally in report.forecast] == [0] * 7

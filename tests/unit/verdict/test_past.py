"""What a pass did, from the fates of the marks."""

from typing import Any

import pytest

from motemap.verdict import PassOutcome, PastPasses


def wet(**fates: Any) -> PassOutcome:
    return PassOutcome(method="wet swab", **fates)


def test_worse_means_more_came_than_went() -> None:
    assert wet(n_gone=2, n_new=3).is_worse
    assert not wet(n_gone=3, n_new=3).is_worse


@pytest.mark.parametrize("timing", ["days apart", "backwards"])
def test_what_came_over_days_or_in_another_order_is_not_laid_to_the_pass(timing: Any) -> None:
    assert not wet(n_gone=2, n_new=3, timing=timing).is_worse


def test_idle_means_nothing_went_faded_moved_or_came() -> None:
    assert wet(n_stayed=4).is_idle
    assert not wet(n_stayed=4, n_new=1).is_idle
    assert not wet(n_stayed=4, n_gone=1).is_idle
    assert not wet(n_stayed=4, n_moved=1).is_idle
    assert not wet(n_stayed=4, n_weaker=1).is_idle
    assert not wet().is_idle


def test_a_pass_is_never_idle_and_worse() -> None:
    outcome = wet(n_stayed=1, n_new=9)
    assert outcome.is_worse
    assert not outcome.is_idle


def test_outcome_from_counts_by_fate() -> None:
    counts = {"gone": 5, "stayed": 2, "weaker": 1, "moved": 1, "new": 3, "undecided": 4}
    outcome = PassOutcome.from_counts(counts, method="brush", has_streaks=True, timing="days apart")
    assert outcome == PassOutcome(
        method="brush",
        n_gone=5,
        n_stayed=2,
        n_weaker=1,
        n_moved=1,
        n_new=3,
        n_undecided=4,
        has_streaks=True,
        timing="days apart",
    )


def test_stalled_needs_two_idle_wet_passes() -> None:
    idle, busy = wet(n_stayed=1), wet(n_gone=1, n_stayed=1)
    dry = PassOutcome(method="blower", n_stayed=1)
    assert PastPasses(passes=(busy, idle, idle)).is_stalled
    assert not PastPasses(passes=(idle,)).is_stalled
    assert not PastPasses(passes=(idle, busy)).is_stalled
    assert not PastPasses(passes=(dry, idle)).is_stalled
    assert not PastPasses().is_stalled


def test_worsening_needs_two_wet_passes_in_a_row_with_which_more_came_than_went() -> None:
    worse, better = wet(n_gone=1, n_new=2), wet(n_gone=2, n_new=1)
    dry = PassOutcome(method="brush", n_new=2)
    assert PastPasses(passes=(better, worse, worse)).is_worsening
    assert not PastPasses(passes=(worse,)).is_worsening
    assert not PastPasses(passes=(worse, better)).is_worsening
    assert not PastPasses(passes=(worse, better, worse)).is_worsening
    assert not PastPasses(passes=(dry, worse)).is_worsening
    assert not PastPasses().is_worsening


def test_passes_without_a_shot_between_them_are_counted_each() -> None:
    idle, worse = {"n_stayed": 2}, {"n_gone": 1, "n_new": 2}
    for fates in (idle, worse):
        twice = PastPasses(passes=(wet(earlier=("wet swab",), **fates),))
        assert (twice.is_stalled, twice.is_worsening) == (fates is idle, fates is worse)
        then_wet = PastPasses(passes=(wet(earlier=("blower",), **fates),))
        assert not then_wet.is_stalled
        assert not then_wet.is_worsening
        # Two and two passes, with a brush between them.
        brushed = wet(earlier=("brush",), **fates)
        assert not PastPasses(passes=(wet(**fates), brushed)).is_stalled
        assert PastPasses(passes=(brushed, wet(**fates))).is_stalled == (fates is idle)


def test_last_pass() -> None:
    assert PastPasses().last is None
    assert PastPasses(passes=(wet(), wet(n_new=1))).last == wet(n_new=1)

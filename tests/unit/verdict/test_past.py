"""What a pass did, from the fates of the marks."""

from motemap.verdict import PassOutcome, PastPasses


def test_worse_means_more_came_than_went() -> None:
    assert PassOutcome(n_gone=2, n_new=3).is_worse
    assert not PassOutcome(n_gone=3, n_new=3).is_worse


def test_idle_means_nothing_went_faded_or_moved() -> None:
    assert PassOutcome(n_stayed=4).is_idle
    assert PassOutcome(n_stayed=4, n_new=1).is_idle
    assert not PassOutcome(n_stayed=4, n_gone=1).is_idle
    assert not PassOutcome(n_stayed=4, n_moved=1).is_idle
    assert not PassOutcome(n_stayed=4, n_weaker=1).is_idle
    assert not PassOutcome().is_idle


def test_outcome_from_counts_by_fate() -> None:
    counts = {"gone": 5, "stayed": 2, "weaker": 1, "moved": 1, "new": 3, "undecided": 4}
    outcome = PassOutcome.from_counts(counts, method="brush", has_streaks=True)
    assert outcome == PassOutcome(
        method="brush", n_gone=5, n_stayed=2, n_weaker=1, n_moved=1, n_new=3, has_streaks=True
    )


def test_stalled_needs_two_idle_passes_not_known_to_be_dry() -> None:
    idle = PassOutcome(n_stayed=1)
    dry = PassOutcome(method="blower", n_stayed=1)
    busy = PassOutcome(n_gone=1, n_stayed=1)
    assert PastPasses(passes=(busy, idle, idle)).is_stalled
    assert not PastPasses(passes=(idle,)).is_stalled
    assert not PastPasses(passes=(idle, busy)).is_stalled
    assert not PastPasses(passes=(dry, idle)).is_stalled
    assert not PastPasses().is_stalled


def test_last_pass() -> None:
    assert PastPasses().last is None
    assert PastPasses(passes=(PassOutcome(), PassOutcome(n_new=1))).last == PassOutcome(n_new=1)

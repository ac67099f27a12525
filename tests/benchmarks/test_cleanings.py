"""The measurement of comparisons runs, at tiny size, and finds what is promised."""

import cleanings
import pytest


def test_a_few_sequences() -> None:
    tally = cleanings.measure(4, 3, 1200)
    assert sum(tally.told.values()) >= 30
    # Few marks: one in thirty-three may be told wrong or left undecided.
    assert tally.right_share >= 0.95
    assert (tally.n_states, tally.n_states_changed) == (2, 0)


def test_the_table_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    cleanings.main(["--sequences", "1", "--width", "900"])
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].split() == ["truth", "gone", "stayed", "weaker", "moved", "new", "undecided"]
    assert lines[-1] == "states shot twice that changed: 0 of 1"

"""What kept states tell: past of marks, stack distance, how fast dust comes back."""

from dataclasses import replace

import pytest

from kept import report
from motemap.bodies import CourseStep, KeptState
from motemap.compare import compare_states
from motemap.history import comeback, mean_stack, new_methods, past_marks
from motemap.records import FrameReport, Method, Spot, Stack, StackSource
from sequences import Shot, spot

PLAIN = Shot()


def mark(number: int, col_px: float, row_px: float, depth_frac: float = 0.2) -> Spot:
    return spot(number, col_px, row_px, shot=PLAIN, depth_frac=depth_frac)


A, B, C = mark(1, 700, 900), mark(2, 4000, 300), mark(3, 2500, 3100)


def kept(frame: FrameReport, *done: Method) -> KeptState:
    return KeptState(
        report=frame, digest=frame.exposure.taken_at or "", recorded_at="2031-06-01", done=done
    )


def test_a_mark_is_followed_through_all_states() -> None:
    earlier = [
        kept(report("2031-05-02T10:00:00", [A, B, C])),
        kept(report("2031-05-02T11:00:00", [A, B]), "blower"),
        kept(report("2031-05-02T12:00:00", [A]), "wet swab"),
    ]
    now = report("2031-05-02T13:00:00", [A, mark(2, 5000, 2000)])
    first, second = past_marks(now, ("wet swab",), earlier)
    assert first is not None
    assert first.times_seen == 4
    assert first.outlived == ("blower", "wet swab", "wet swab")
    assert second is None


def test_a_frame_too_coarse_to_show_a_mark_does_not_break_its_past() -> None:
    earlier = [
        kept(report("2031-05-02T10:00:00", [A, B])),
        kept(report("2031-05-02T11:00:00", [B]), "blower"),
    ]
    (past,) = past_marks(report("2031-05-02T12:00:00", [A]), ("brush",), earlier)
    assert past is not None
    assert (past.times_seen, past.outlived) == (2, ("blower", "brush"))


def test_states_of_another_size_are_passed_over() -> None:
    small = report("2031-05-02T10:00:00", [A])
    assert small.image is not None
    small = replace(small, image=replace(small.image, width_px=3000, height_px=2000))
    assert past_marks(report("2031-05-02T12:00:00", [A]), (), [kept(small)]) == (None,)


@pytest.mark.parametrize(
    ("given", "before", "expected"),
    [
        (("blower",), (), ("blower",)),
        (("blower", "brush"), ("blower",), ("brush",)),
        (("brush",), ("blower",), ("brush",)),
        (("wet swab", "wet swab"), ("wet swab",), ("wet swab",)),
        ((), ("blower",), ()),
    ],
)
def test_what_was_done_is_given_as_a_step_or_as_all_so_far(
    given: tuple[Method, ...], before: tuple[Method, ...], expected: tuple[Method, ...]
) -> None:
    assert new_methods(given, before) == expected


def stacked(distance_mm: float, error_mm: float | None, source: StackSource = "measured") -> Stack:
    return Stack(distance_mm=distance_mm, uncertainty_mm=error_mm, source=source)


def test_the_surer_stack_distance_counts_more() -> None:
    # Weights 1/0.1^2 = 100 and 1/0.2^2 = 25: (100 x 1.2 + 25 x 1.3) / 125 = 1.22.
    found = mean_stack([stacked(1.2, 0.1), stacked(1.3, 0.2), stacked(9.0, 0.1, "assumed")])
    assert found is not None
    assert found.distance_mm == pytest.approx(1.22)
    assert found.uncertainty_mm == pytest.approx(0.0894, abs=1e-3)


def test_states_that_contradict_each_other_are_not_surer_together() -> None:
    found = mean_stack([stacked(1.0, 0.01), stacked(1.4, 0.01)])
    assert found is not None
    assert found.uncertainty_mm == pytest.approx(0.2 / 2**0.5)


def test_without_a_measurement_there_is_no_stack_distance() -> None:
    assert mean_stack([stacked(1.3, None)]) is None
    assert mean_stack([]) is None


def steps(*states: KeptState) -> list[CourseStep]:
    return [
        CourseStep(
            state=state,
            n_found=len(state.report.spots),
            n_showing=0,
            change=compare_states(states[index - 1].report, state.report) if index else None,
        )
        for index, state in enumerate(states)
    ]


def everything(state: KeptState) -> set[int]:
    return {each.id for each in state.report.spots}


def test_dust_that_comes_back_is_counted_over_the_days_without_cleaning() -> None:
    states = [
        kept(report("2031-05-01T10:00:00", [A])),
        kept(report("2031-05-11T10:00:00", [A, B])),
        kept(report("2031-05-12T10:00:00", [A]), "blower"),
        kept(report("2031-06-11T10:00:00", [A, C])),
    ]
    found = comeback(steps(*states), [everything(state) for state in states])
    assert (found.n_new, found.n_days, found.is_at_least) == (2, 40.0, False)
    assert found.days_to_next == 20.0


def test_newcomers_that_do_not_show_do_not_count() -> None:
    states = [
        kept(report("2031-05-01T10:00:00", [A])),
        kept(report("2031-05-11T10:00:00", [A, B])),
    ]
    found = comeback(steps(*states), [{1}, {1}])
    assert (found.n_new, found.days_to_next, found.is_at_least) == (0, 10.0, True)


@pytest.mark.parametrize(
    "times",
    [
        ("2031-05-01T10:00:00",),
        ("2031-05-01T10:00:00", "2031-05-01T10:20:00"),
        ("2031-05-01T10:00:00", "some day"),
    ],
)
def test_too_little_time_says_nothing(times: tuple[str, ...]) -> None:
    states = [kept(report(time, [A])) for time in times]
    found = comeback(steps(*states), [everything(state) for state in states])
    assert found.days_to_next is None

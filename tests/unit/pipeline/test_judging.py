"""What a report says that it rests on."""

from __future__ import annotations

from dataclasses import replace

import pytest

from motemap.pipeline.judging import stack_remark, with_stack_told
from motemap.records import Stack
from reporting.builders import frame

ASSUMED = Stack(distance_mm=1.3, uncertainty_mm=0.52, source="assumed")
SURE = Stack(distance_mm=1.3, uncertainty_mm=0.05, source="measured")


@pytest.mark.parametrize(
    ("stack", "said"),
    [
        (ASSUMED, "a usual one is assumed, which is right to within 40 %"),
        (
            Stack(distance_mm=0.6, uncertainty_mm=0.24, source="assumed"),
            "It may lie nearer, by 40 %",
        ),
        (Stack(distance_mm=1.3, uncertainty_mm=0.43, source="measured"), "only to within 33 %"),
        (SURE, None),
        (Stack(distance_mm=1.3, uncertainty_mm=0.43, source="given"), None),
    ],
)
def test_a_distance_that_is_hardly_known_is_said_to_be(stack: Stack, said: str | None) -> None:
    remark = stack_remark(stack)
    assert remark is None if said is None else said in (remark or "")


def test_notes_speak_of_the_distance_that_the_report_has() -> None:
    remark = str(stack_remark(ASSUMED))
    report = frame(stack=SURE, notes=("The sensor is assumed.", remark))
    assert with_stack_told(report, ASSUMED).notes == ("The sensor is assumed.",)
    report = frame(stack=ASSUMED, notes=("The sensor is assumed.",))
    assert with_stack_told(report, SURE).notes == ("The sensor is assumed.", remark)
    unknown = replace(report, exposure=replace(report.exposure, f_number=None))
    assert with_stack_told(unknown, SURE).notes == ("The sensor is assumed.",)

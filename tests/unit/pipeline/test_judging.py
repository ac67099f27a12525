"""What a report says that it rests on."""

from __future__ import annotations

import pytest

from motemap.pipeline.judging import stack_remark
from motemap.records import Stack


@pytest.mark.parametrize(
    ("stack", "said"),
    [
        (Stack(distance_mm=1.3, uncertainty_mm=0.52, source="assumed"), "a usual one is assumed"),
        (Stack(distance_mm=1.3, uncertainty_mm=0.43, source="measured"), "only to within 33 %"),
        (Stack(distance_mm=1.3, uncertainty_mm=0.05, source="measured"), None),
        (Stack(distance_mm=1.3, uncertainty_mm=0.43, source="given"), None),
    ],
)
def test_a_distance_that_is_hardly_known_is_said_to_be(stack: Stack, said: str | None) -> None:
    remark = stack_remark(stack)
    assert remark is None if said is None else said in (remark or "")

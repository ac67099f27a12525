"""A picture judged anew by what is known of its body."""

from dataclasses import replace
from pathlib import Path

from drawn import dust, shoot
from motemap.pipeline.again import look_again
from motemap.pipeline.frame import analyse
from motemap.pipeline.judging import stack_remark
from motemap.records import Stack
from motemap.settings import Settings

KNOWN = Stack(distance_mm=1.1, uncertainty_mm=0.1, source="given", is_from_record=True)


def test_the_known_distance_takes_the_place_of_the_assumption(tmp_path: Path) -> None:
    shot = shoot(tmp_path / "clean.dng", dust()[:2])
    plain = analyse(shot, Settings())
    assert (plain.stack.source, plain.notes) == ("assumed", (stack_remark(plain.stack),))
    twin = "clean.jpg is the same shot and was left out."
    look = look_again(replace(plain, notes=(*plain.notes, twin)), KNOWN, Settings())
    assert look is not None
    assert look.report.stack == KNOWN
    assert look.report.notes == (twin,)
    assert look.flat is not None


def test_a_picture_that_is_gone_is_left_as_it_was_judged(tmp_path: Path) -> None:
    shot = shoot(tmp_path / "clean.dng", dust()[:2])
    plain = analyse(shot, Settings())
    shot.unlink()
    assert look_again(plain, KNOWN, Settings()) is None

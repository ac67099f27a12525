"""What is said of wide dark discs: dust on the lens, dirt on the filter stack, or neither."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from drawn import PLAIN
from motemap.pipeline.frame import analyse
from motemap.settings import Settings
from motemap.synth.films import RingMask, SmearMask
from motemap.synth.frame import draw_frame
from motemap.synth.marks import Mark
from motemap.synth.masks import Outline, SpeckMask
from motemap.synth.store import write_frame

if TYPE_CHECKING:
    from pathlib import Path

    from motemap.records import FrameReport

ON_STACK_UM = 1300.0


def disc(row_px: float, col_px: float, size_um: float, tau_um: float) -> Mark:
    """Return an opaque disc at a distance from the photosites."""
    return Mark(
        form="speck",
        row_px=row_px,
        col_px=col_px,
        tau_um=tau_um,
        mask=SpeckMask(outline=Outline(diameter_um=size_um)),
        size_um=size_um,
        length_um=size_um,
    )


def level_of(report: FrameReport) -> str:
    """Return what the verdict comes to."""
    assert report.verdict is not None
    return report.verdict.level


def report_on(folder: Path, *marks: Mark, seed: int = 5) -> FrameReport:
    """Draw a frame with these marks and nothing else, and judge it."""
    spec = replace(PLAIN, seed=seed, width_px=1400, height_px=1000)
    write_frame(draw_frame(spec, marks), folder / "shot.dng")
    return analyse(folder / "shot.dng", Settings())


def test_a_disc_as_deep_as_dust_can_make_it_is_on_the_lens(tmp_path: Path) -> None:
    # 250 um, 20 mm away, at f/22: a disc of 0.9 mm, 7.6 % deep.
    report = report_on(tmp_path, disc(480.0, 700.0, 250.0, 20000.0))
    assert [spot.layer for spot in report.spots] == ["lens side"]
    assert level_of(report) == "ready"


def test_a_large_flake_on_the_filter_stack_is_not_blamed_on_the_lens(tmp_path: Path) -> None:
    report = report_on(tmp_path, disc(480.0, 700.0, 400.0, ON_STACK_UM))
    assert [spot.layer for spot in report.spots] == ["filter stack"]
    assert level_of(report) == "clean"


def test_black_soft_discs_are_objects_in_the_picture(tmp_path: Path) -> None:
    report = report_on(
        tmp_path, disc(480.0, 450.0, 900.0, 6600.0), disc(480.0, 900.0, 900.0, 6600.0)
    )
    assert "lens side" not in {spot.layer for spot in report.spots}
    assert level_of(report) == "reshoot"
    failed = [check.name for check in report.shot_checks if check.outcome == "fail"]
    assert failed == ["blank field"]


def test_discs_that_overlap_are_no_dirt_on_the_sensor(tmp_path: Path) -> None:
    # Their overlap is as deep and as sharp as a film on the filter stack.
    report = report_on(
        tmp_path, disc(480.0, 620.0, 300.0, 20000.0), disc(552.0, 716.0, 300.0, 20500.0), seed=6
    )
    assert [spot.layer for spot in report.spots] == ["lens side"] * 2
    places = sorted((spot.image_y_px, spot.image_x_px) for spot in report.spots)
    assert places == [pytest.approx(place, abs=4.0) for place in ((480.0, 620.0), (552.0, 716.0))]
    assert level_of(report) == "ready"


def test_three_discs_over_one_another_are_named_each(tmp_path: Path) -> None:
    report = report_on(
        tmp_path,
        disc(420.0, 620.0, 260.0, 20000.0),
        disc(500.0, 750.0, 180.0, 21000.0),
        disc(570.0, 630.0, 220.0, 19500.0),
    )
    assert [spot.layer for spot in report.spots] == ["lens side"] * 3
    assert level_of(report) == "ready"


def film(mask: SmearMask | RingMask, width_um: float, length_um: float) -> Mark:
    """Return a film on the filter stack, in the middle of the frame."""
    return Mark(
        form="smear",
        row_px=480.0,
        col_px=700.0,
        tau_um=ON_STACK_UM,
        mask=mask,
        size_um=width_um,
        length_um=length_um,
    )


@pytest.mark.parametrize(
    ("length_um", "width_um"),
    [
        # As long and as soft as discs over one another would be.
        (900.0, 300.0),
        # So wide that the smoothing it is measured under is softer than dust on the stack.
        (1100.0, 420.0),
        # Softer all round than dust on the stack: told by its shape alone.
        (2000.0, 700.0),
    ],
)
def test_a_film_on_the_sensor_is_one(tmp_path: Path, length_um: float, width_um: float) -> None:
    mask = SmearMask(length_um=length_um, width_um=width_um, turn_deg=25.0, opacity=0.1)
    report = report_on(tmp_path, film(mask, width_um, length_um))
    assert [spot.kind for spot in report.spots] == ["smear"]
    assert "lens side" not in {spot.layer for spot in report.spots}
    assert level_of(report) == "clean"


@pytest.mark.parametrize("diameter_um", [500.0, 1000.0])
def test_a_round_film_with_a_sharp_rim_is_not_blamed_on_the_lens(
    tmp_path: Path, diameter_um: float
) -> None:
    # Dust on a lens that takes as much light has a rim several times as soft.
    outline = Outline(diameter_um=diameter_um)
    mask = RingMask(outline=outline, width_um=20.0, opacity=0.25, film_opacity=0.15)
    report = report_on(tmp_path, film(mask, diameter_um, diameter_um))
    assert report.spots
    assert "lens side" not in {spot.layer for spot in report.spots}
    assert level_of(report) == "clean"


def test_dust_on_the_sensor_beneath_an_overlap_is_still_dust(tmp_path: Path) -> None:
    report = report_on(
        tmp_path,
        disc(480.0, 620.0, 300.0, 20000.0),
        disc(552.0, 716.0, 300.0, 20500.0),
        disc(516.0, 668.0, 30.0, 1800.0),
        seed=6,
    )
    assert level_of(report) == "clean"


def test_discs_whose_middles_lie_outside_the_picture_are_not_pointed_to(tmp_path: Path) -> None:
    # The upper one reaches into the picture with its lower rim alone.
    report = report_on(
        tmp_path, disc(-60.0, 620.0, 300.0, 20000.0), disc(40.0, 740.0, 300.0, 20500.0), seed=6
    )
    assert level_of(report) == "ready"
    assert {spot.layer for spot in report.spots} == {"lens side"}
    assert all(-0.5 <= spot.image_y_px < 999.5 for spot in report.spots)

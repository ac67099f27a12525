"""Marks written down by hand become the spots of a report."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fields import flat_frame, plane_of
from motemap.coords import FrameGeometry, FramePoint
from motemap.particle import seen_from as seen_from_f
from motemap.pipeline.finding import FoundMarks
from motemap.pipeline.onlookers import onlooker_for
from motemap.pipeline.spots import LENS_SIDE, Reported, report_spots
from motemap.pipeline.tally import tally_up
from motemap.records import (
    Detection,
    Exposure,
    Frame,
    FrameReport,
    ImageInfo,
    MeasuredSpot,
    Metadata,
    Regions,
    Sensor,
    Spot,
)
from motemap.settings import WorkSettings
from motemap.showing import depth_of, shows
from sized import SPOT, STACK

PITCH_UM = 6.0
MARK = replace(SPOT, centre=FramePoint(row_px=50.0, col_px=100.0))
DEEP = replace(MARK, centre=FramePoint(row_px=350.0, col_px=300.0), depth_frac=0.6)
FIBRE = replace(MARK, centre=FramePoint(row_px=200.0, col_px=590.0), length_px=90.0)
LENS_DUST = replace(
    MARK,
    centre=FramePoint(row_px=390.0, col_px=10.0),
    depth_frac=0.02,
    width_px=250.0,
    length_px=260.0,
)


RAW = ImageInfo(kind="raw", width_px=600, height_px=400, exif_orientation=1, bits=14)


def reported(
    *spots: MeasuredSpot,
    image: ImageInfo = RAW,
    far: tuple[MeasuredSpot, ...] = (),
    f_number: float | None = 22.0,
    pitch_um: float | None = PITCH_UM,
    work: WorkSettings | None = None,
) -> Reported:
    """Report marks of a frame of 600 x 400 pixels in which there is no light to measure."""
    shape = (400, 600)
    frame = Frame(
        path="frame.dng",
        image=image,
        metadata=Metadata(exposure=Exposure(f_number=f_number)),
        sensor=Sensor(
            format=None, width_mm=None, height_mm=None, pitch_um=pitch_um, source="given"
        ),
        geometry=FrameGeometry(width_px=600, height_px=400, pitch_um=pitch_um),
        plane=plane_of(np.ones(shape, np.float32)),
    )
    marks = FoundMarks(
        spots=spots,
        far=far,
        marked=np.zeros((200, 300), np.bool_),
        stack=STACK,
        detection=Detection(found=Regions.none(), scale_noise=()),
    )
    flat = flat_frame(np.zeros(shape, np.float32), 0.01)
    return report_spots(marks, frame, flat, STACK, work or WorkSettings())


def test_spots_are_numbered_deepest_first() -> None:
    spots = reported(MARK, FIBRE, DEEP).spots
    assert [spot.id for spot in spots] == [1, 2, 3]
    depths = [spot.depth_frac for spot in spots]
    assert depths == sorted(depths, reverse=True)
    assert (spots[0].image_x_px, spots[0].image_y_px) == (300.0, 350.0)


def test_each_spot_says_what_its_own_mark_is() -> None:
    spots = {spot.image_x_px: spot for spot in reported(MARK, FIBRE, DEEP).spots}
    speck, fibre = spots[100.0], spots[590.0]
    assert (speck.kind, fibre.kind) == ("speck", "fibre")
    assert (speck.place, fibre.place) == ("lower left", "right edge")
    assert speck.from_left_mm == pytest.approx(100.5 * 0.006)
    assert speck.from_top_mm == pytest.approx((400 - 50.5) * 0.006)
    assert (speck.width_um, speck.length_um) == pytest.approx((54.0, 57.0))
    assert fibre.length_um == pytest.approx(540.0)
    assert fibre.reasons[0] == "10.0 times as long as wide"
    assert len(fibre.reasons) == 2
    assert speck.particle_um is not None
    assert speck.particle_um_range is not None
    assert speck.particle_um_range[0] < speck.particle_um < speck.particle_um_range[1]


def test_forecasts_are_by_engraved_number_and_follow_the_order() -> None:
    seen = reported(MARK, FIBRE, DEEP)
    assert seen.shadows is not None
    depths_frac = seen.shadows.depths_frac((8.0,))[0]
    for spot, depth_frac in zip(seen.spots, depths_frac, strict=True):
        assert spot.depth_at is not None
        assert list(spot.depth_at) == ["2.8", "4", "5.6", "8", "11", "16", "22"]
        assert spot.depth_at["8"] == pytest.approx(depth_frac)


@pytest.mark.parametrize("shoot_at_f", [3.2, 4.8, 9.5, 13.5, 19.0])
@pytest.mark.parametrize("view", [None, "screen"])
def test_what_shows_is_what_a_forecast_for_that_aperture_says(
    shoot_at_f: float, view: str | None
) -> None:
    work = WorkSettings(shoot_at_f=shoot_at_f, view=view)
    # From hardly to well seen, so that some begin to show between two engraved stops.
    depths = np.geomspace(0.005, 0.9, 40)
    marks = [
        replace(SPOT, depth_frac=float(depth), lost_area_px2=float(60 * depth)) for depth in depths
    ]
    seen = reported(*marks, work=work)
    assert seen.shadows is not None
    depths_frac = seen.shadows.depths_frac((shoot_at_f,))
    onlooker = onlooker_for(RAW, work)
    seen_from = (
        np.full(len(marks), np.nan)
        if onlooker is None
        else seen_from_f(onlooker, seen.shadows, [shoot_at_f])
    )
    report = FrameReport(file="a.dng", state="judged", spots=seen.spots)
    (tally,) = tally_up([shoot_at_f], report, depths_frac, seen_from, work)
    assert tally.n_showing == sum(shows(spot, work) for spot in seen.spots)
    assert 0 < tally.n_showing < len(marks)
    for spot, depth_frac in zip(seen.spots, depths_frac[0].tolist(), strict=True):
        assert spot.depth_at is not None
        assert spot.depth_at[f"{shoot_at_f:g}"] == depth_frac
        assert shows(spot, work) == (
            spot.shows_from_f is not None and spot.shows_from_f <= shoot_at_f
        )


def test_depths_read_off_between_the_full_stops_are_close_to_those_reckoned() -> None:
    seen = reported(DEEP, FIBRE, MARK)
    assert seen.shadows is not None
    for f_number in (3.4, 4.8, 6.3, 9.5, 13.5):
        (reckoned,) = seen.shadows.depths_frac((f_number,))
        # The slope changes little within a stop: a record that is asked later needs no more.
        told = [depth_of(spot, f_number) for spot in seen.spots]
        assert told == pytest.approx(reckoned.tolist(), rel=0.02)


def test_lens_dust_is_named_by_who_found_it() -> None:
    near, lens = reported(MARK, far=(LENS_DUST,)).spots
    assert (near.layer, lens.layer) == ("filter stack", "lens side")
    assert lens.kind == "speck"
    assert lens.reasons[0] == LENS_SIDE
    assert LENS_SIDE not in near.reasons


def test_with_a_viewing_the_eye_says_from_where_a_mark_shows() -> None:
    (by_depth,) = reported(MARK, work=WorkSettings(show_depth_frac=0.1)).spots
    eye = WorkSettings(show_depth_frac=0.1, view="screen")
    (by_eye,) = reported(MARK, work=eye).spots
    assert by_eye.shows_from_f != by_depth.shows_from_f
    assert replace(by_eye, shows_from_f=by_depth.shows_from_f) == by_depth


def unknown(spot: Spot, *names: str) -> bool:
    return all(getattr(spot, name) is None for name in names)


def test_without_an_aperture_there_are_sizes_and_no_forecast() -> None:
    seen = reported(MARK, DEEP, f_number=None)
    assert seen.shadows is None
    for spot in seen.spots:
        assert unknown(spot, "depth_at", "shows_from_f")
        assert not unknown(spot, "particle_um")
        assert spot.place is not None


def test_without_a_sensor_nothing_is_said_in_micrometres() -> None:
    seen = reported(MARK, DEEP, pitch_um=None)
    assert [spot.depth_frac for spot in seen.spots] == [0.6, 0.2]
    for spot in seen.spots:
        assert unknown(spot, "from_left_mm", "from_top_mm", "place", "width_um", "length_um")
        assert unknown(spot, "lost_area_um2", "particle_um", "particle_um_range")
        assert unknown(spot, "depth_at", "shows_from_f")


def test_no_marks_are_no_spots() -> None:
    assert reported().spots == ()
    assert reported(f_number=None).spots == ()
    assert reported(pitch_um=None).spots == ()


def test_sizes_from_a_picture_that_a_program_made_are_less_sure() -> None:
    (raw,), (jpeg,) = (
        reported(MARK, image=image).spots
        for image in (RAW, replace(RAW, kind="jpeg", bits=8, curve="srgb"))
    )
    assert raw.particle_um_range is not None
    assert jpeg.particle_um_range is not None
    assert jpeg.particle_um_range[0] < raw.particle_um_range[0]
    assert jpeg.particle_um_range[1] > raw.particle_um_range[1]
    assert replace(jpeg, particle_um_range=raw.particle_um_range) == raw

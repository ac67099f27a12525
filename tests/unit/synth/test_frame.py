"""Whole frames: the truth told is the truth drawn."""

from dataclasses import replace

import numpy as np
import pytest

from motemap.errors import SettingsError
from motemap.synth.camera import PictureSpec, SensorSpec
from motemap.synth.films import RingMask
from motemap.synth.frame import DrawnFrame, draw_frame, make_marks
from motemap.synth.marks import Mark, MarkMix
from motemap.synth.masks import FibreMask, Outline, SpeckMask
from motemap.synth.scene import SceneSpec
from motemap.synth.spec import FileSpec, FrameSpec

QUIET = SensorSpec(full_well_e=1e9, read_noise_e=0.0, prnu_frac=0.0, colour_levels=(1.0, 1.0, 1.0))
EVEN = SceneSpec(exposure_frac=0.6, vignetting_frac=0.0, tilt_frac=0.0)
SPEC = FrameSpec(
    width_px=330, height_px=210, sensor=QUIET, scene=EVEN, mix=MarkMix(n_specks=1, n_fibres=0)
)
MONO = replace(SPEC, file=FileSpec(mosaic="MONO"))


def speck(row_px: float, col_px: float, diameter_um: float = 24.0) -> Mark:
    return Mark(
        form="speck",
        row_px=row_px,
        col_px=col_px,
        tau_um=1300.0,
        mask=SpeckMask(outline=Outline(diameter_um=diameter_um)),
        size_um=diameter_um,
        length_um=diameter_um,
    )


def contrast(drawn: DrawnFrame) -> np.ndarray:
    light = (drawn.codes.astype(np.float64) - 512) / (16383 - 512)
    return 1.0 - light / 0.6


def centroid(loss: np.ndarray, row_px: float, col_px: float) -> tuple[float, float]:
    rows = np.arange(loss.shape[0])[:, None] - row_px
    cols = np.arange(loss.shape[1])[None, :] - col_px
    weight = loss * np.exp(-(rows**2 + cols**2) / (2 * 5.0**2))
    return float((weight * rows).sum() / weight.sum()), float((weight * cols).sum() / weight.sum())


@pytest.mark.parametrize(("row_px", "col_px"), [(70.0, 201.0), (70.29, 200.64), (120.5, 60.5)])
def test_speck_lies_where_the_truth_says(row_px: float, col_px: float) -> None:
    drawn = draw_frame(MONO, (speck(row_px, col_px),))
    mark = drawn.marks[0]
    assert (mark.image_y_px, mark.image_x_px) == (row_px, col_px)
    # 0.02 px: codes of 14 bits round the halo
    assert centroid(contrast(drawn), row_px, col_px) == pytest.approx((0.0, 0.0), abs=0.02)


def test_depth_and_area_are_those_drawn() -> None:
    drawn = draw_frame(MONO, (speck(100.0, 160.0),))
    mark, loss = drawn.marks[0], contrast(drawn)
    # one code is 0.01 % of the light
    assert loss.max() == pytest.approx(mark.depth_frac, abs=2e-4)
    assert mark.particle_um == pytest.approx(24.0, rel=0.002)
    assert mark.lost_area_um2 == pytest.approx(np.pi * 144.0, rel=0.004)
    assert loss.sum() * 36.0 == pytest.approx(mark.lost_area_um2, rel=0.03)


def test_width_is_that_of_the_drawn_shadow() -> None:
    mark = draw_frame(MONO, (speck(100.0, 160.0),)).marks[0]
    # derived: 20 um at f/22, tau 1333, 44.4 um; 50 um, 52.8 um: 24 um lies between
    assert 43.0 < mark.width_um < 50.0


def test_sensor_position_follows_the_contract() -> None:
    # 36 x 24 mm, 6000 x 4000 px, stored (1000, 500): 6.003 mm from the left, 20.997 from the top
    spec = replace(SPEC, width_px=600, height_px=400, pitch_um=60.0)
    mark = draw_frame(spec, (speck(50.0 - 0.45, 100.0 - 0.45),)).marks[0]
    assert mark.from_left_mm == pytest.approx(6.003)
    assert mark.from_top_mm == pytest.approx(20.997)


def test_mosaic_pixels_see_their_own_colour() -> None:
    drawn = draw_frame(SPEC, (speck(100.0, 160.0, 14.0),))
    loss = contrast(drawn)
    red, green, blue = loss[100, 160], loss[100, 161], loss[101, 161]
    assert drawn.spec.file.mosaic == "RGGB"
    assert red > green > 0.6 * red
    assert blue < 0.85 * red


def test_colour_levels_are_those_of_the_mosaic() -> None:
    sensor = replace(QUIET, colour_levels=(0.5, 1.0, 0.8))
    drawn = draw_frame(replace(SPEC, sensor=sensor, file=FileSpec(mosaic="GBRG")), ())
    light = (drawn.codes.astype(np.float64) - 512) / (16383 - 512)
    levels = [light[row, col] for row in (0, 1) for col in (0, 1)]
    assert levels == pytest.approx([0.6, 0.48, 0.3, 0.6], abs=1e-3)


@pytest.mark.parametrize("mosaic", ["RGGB", "XTRANS", "MONO"])
def test_signal_to_noise_is_that_of_the_known_shape(mosaic: str) -> None:
    file = FileSpec(mosaic="MONO" if mosaic == "MONO" else "RGGB")
    if mosaic == "XTRANS":
        file = FileSpec(mosaic="XTRANS")
    sensor = SensorSpec(prnu_frac=0.0, colour_levels=(1.0, 1.0, 1.0))
    spec = replace(SPEC, file=file, sensor=sensor)
    drawn = draw_frame(spec, (speck(100.0, 160.0),))
    quiet = contrast(draw_frame(replace(spec, sensor=QUIET), (speck(100.0, 160.0),)))
    noise_frac = np.sqrt(0.6 * 50000 + 9) / (0.6 * 50000)
    expected = np.sqrt((quiet**2).sum()) / noise_frac
    # 14-bit rounding adds a little to the sum of squares
    assert drawn.marks[0].snr == pytest.approx(expected, rel=0.01)
    assert drawn.noise_frac == pytest.approx(noise_frac, rel=1e-3)


def test_published_signal_to_noise() -> None:
    # derived: C sqrt(e) sqrt(pi D^2 / 4); a flat disc 14.6 px wide and nearly opaque at f/64,
    # where blur is small: 1 - loss must be tiny, so the share of light, not the noise, is tested
    sensor = SensorSpec(full_well_e=50000.0 / 0.6, read_noise_e=0.0, prnu_frac=0.0)
    mark = speck(100.0, 160.0, 300.0)
    mark = replace(
        mark, tau_um=60.0, mask=SpeckMask(outline=Outline(diameter_um=300.0), opacity=0.01)
    )
    drawn = draw_frame(replace(MONO, sensor=sensor), (mark,))
    # fringes at the edge: 5 %
    expected = 0.01 * 50000**0.5 * np.sqrt(np.pi * 50.0**2 / 4)
    assert drawn.marks[0].snr == pytest.approx(expected, rel=0.05)


def test_mark_cut_by_the_edge_counts_only_inside() -> None:
    whole = draw_frame(MONO, (speck(100.0, 160.0),)).marks[0]
    cut = draw_frame(MONO, (speck(-0.5, 160.0),)).marks[0]
    assert cut.depth_frac == pytest.approx(whole.depth_frac, rel=0.01)
    assert cut.snr == pytest.approx(whole.snr / 2**0.5, rel=0.02)


def test_mark_outside_the_frame_leaves_no_trace() -> None:
    drawn = draw_frame(MONO, (speck(-5000.0, 160.0),))
    assert drawn.marks[0].snr == 0.0
    assert np.array_equal(drawn.codes, draw_frame(MONO, ()).codes)


def test_same_record_same_pixels() -> None:
    spec = FrameSpec(seed=7, width_px=200, height_px=130, mix=MarkMix(n_specks=3))
    first, again = draw_frame(spec), draw_frame(spec)
    assert np.array_equal(first.codes, again.codes)
    assert first.marks == again.marks
    assert not np.array_equal(first.codes, draw_frame(replace(spec, seed=8)).codes)


def test_marks_can_be_taken_over_to_another_shot() -> None:
    spec = FrameSpec(seed=7, width_px=200, height_px=130, mix=MarkMix(n_specks=3, n_fibres=0))
    marks = make_marks(spec)
    first, later = draw_frame(spec, marks), draw_frame(replace(spec, seed=8), marks)
    assert [m.image_x_px for m in first.marks] == [m.image_x_px for m in later.marks]
    assert not np.array_equal(first.codes, later.codes)


@pytest.mark.parametrize(
    ("file", "shape", "kind"),
    [
        (FileSpec(format="jpeg"), (210, 330, 3), np.uint8),
        (FileSpec(format="tiff"), (210, 330, 3), np.uint8),
        (FileSpec(format="dng", mosaic="LINEAR"), (210, 330, 3), np.uint16),
        (FileSpec(format="dng"), (210, 330), np.uint16),
        (FileSpec(format="png", is_turned=True), (330, 210, 3), np.uint8),
    ],
)
def test_shape_of_the_stored_picture(file: FileSpec, shape: tuple[int, ...], kind: type) -> None:
    drawn = draw_frame(replace(SPEC, file=file), ())
    assert drawn.codes.shape == shape
    assert drawn.codes.dtype == kind


def test_picture_of_sixteen_bits() -> None:
    spec = replace(SPEC, file=FileSpec(format="tiff"), picture=PictureSpec(bits=16))
    assert draw_frame(spec, ()).codes.dtype == np.uint16


@pytest.mark.parametrize(
    ("picture", "is_turned"),
    [(PictureSpec(shrink=2), False), (PictureSpec(), True), (PictureSpec(shrink=3), True)],
)
def test_truth_follows_shrinking_and_turning(picture: PictureSpec, *, is_turned: bool) -> None:
    file = FileSpec(format="png", is_turned=is_turned)
    spec = replace(SPEC, file=file, picture=replace(picture, bits=16, cast=(1.0, 1.0, 1.0)))
    drawn = draw_frame(spec, (speck(60.4, 210.8, 40.0),))
    mark = drawn.marks[0]
    dark = drawn.codes[:, :, 1].astype(np.float64)
    loss = dark.max() - dark
    # sRGB bends the depth, alike on all sides; pixels of 18 um leave 0.02 px
    assert centroid(loss, mark.image_y_px, mark.image_x_px) == pytest.approx((0.0, 0.0), abs=0.03)
    assert mark.from_left_mm == pytest.approx((210.8 + 0.5) * 0.006)


def test_picture_and_mosaic_tell_nearly_the_same_signal_to_noise() -> None:
    sensor = SensorSpec(prnu_frac=0.0, colour_levels=(1.0, 1.0, 1.0))
    marks = (speck(100.0, 160.0),)
    raw = draw_frame(replace(SPEC, sensor=sensor), marks).marks[0]
    fine = PictureSpec(bits=16)
    tiff = replace(SPEC, sensor=sensor, picture=fine, file=FileSpec(format="tiff"))
    # the picture spreads the same electrons over all pixels; colours differ in depth: 5 %
    assert draw_frame(tiff, marks).marks[0].snr == pytest.approx(raw.snr, rel=0.05)
    jpeg = replace(tiff, picture=PictureSpec())
    assert draw_frame(jpeg, marks).marks[0].snr < raw.snr


def test_clear_frame_has_no_marks() -> None:
    assert draw_frame(replace(SPEC, mix=MarkMix(n_specks=0, n_fibres=0))).marks == ()


def test_refuses_a_frame_without_room() -> None:
    with pytest.raises(SettingsError, match="20 x 400"):
        FrameSpec(width_px=20, height_px=400)


def test_width_of_a_fibre_is_that_across_it() -> None:
    mask = FibreMask(line_um=((-400.0, 0.0), (0.0, 0.0), (400.0, 0.0)), width_um=30.0)
    mark = replace(speck(100.0, 160.0), form="fibre", mask=mask, size_um=30.0, length_um=800.0)
    drawn = draw_frame(MONO, (mark,))
    across = contrast(drawn)[:, 160]
    deep = np.interp(np.arange(0, 210, 0.01), np.arange(210), across) > 0.5 * across.max()
    # the ends are a little narrower than the middle: 5 %
    assert drawn.marks[0].width_um == pytest.approx(deep.sum() * 0.01 * 6.0, rel=0.05)
    assert drawn.marks[0].particle_um == 30.0


def test_ring_is_drawn_round_its_middle() -> None:
    mask = RingMask(outline=Outline(diameter_um=400.0), width_um=15.0, opacity=0.5)
    mark = replace(speck(100.0, 160.0), form="ring", mask=mask, size_um=400.0, length_um=400.0)
    loss = contrast(draw_frame(MONO, (mark,)))
    assert abs(loss[100, 160]) < 0.01
    assert loss[100, 160 + 33] > 0.05
    assert loss[100 - 33, 160] > 0.05


def test_linear_raw_holds_three_colours_of_one_speck() -> None:
    spec = replace(SPEC, file=FileSpec(mosaic="LINEAR"))
    drawn = draw_frame(spec, (speck(100.0, 160.0, 14.0),))
    depths = [contrast(drawn)[:, :, channel].max() for channel in range(3)]
    assert depths[0] > depths[1] > depths[2]
    assert drawn.marks[0].snr > 100


def test_picture_mark_outside_the_frame_has_no_signal() -> None:
    spec = replace(SPEC, file=FileSpec(format="jpeg"))
    assert draw_frame(spec, (speck(100.0, 9000.0),)).marks[0].snr == 0.0

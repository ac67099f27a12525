"""The retouch mask: where, how wide, and which way up."""

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image, ImageOps

from motemap.errors import OutputError
from motemap.records import FrameReport
from motemap.report.pictures.mask import (
    SPARE_FRAC,
    SPARE_PX,
    MaskForm,
    PhotoShape,
    mask_pixels,
    retouch_mask,
)
from motemap.settings import WorkSettings
from picturing.bench import (
    STACK_MM,
    dusty,
    mark,
    numbered,
    report,
    sizeless,
    turned,
    unreadable,
)
from picturing.flat import flat_for

WIDTH_PX, HEIGHT_PX = 6000, 4000
PITCH_UM = 6.0


def lone(particle_um: float = 60.0) -> FrameReport:
    """Return a frame with one mark, off the middle in both directions."""
    return report(numbered([mark(9.003, 20.997, particle_um)]))


def middle_of(mask: np.ndarray) -> tuple[float, float]:
    rows, columns = np.nonzero(mask)
    return float(columns.mean()), float(rows.mean())


def test_the_mark_lies_at_its_pixel() -> None:
    frame = lone()
    mask = mask_pixels(frame, f_number=11)
    assert mask.shape == (HEIGHT_PX, WIDTH_PX)
    assert middle_of(mask) == pytest.approx(
        (frame.spots[0].image_x_px, frame.spots[0].image_y_px), abs=0.01
    )


@pytest.mark.parametrize("f_number", [5.6, 8.0, 11.0, 16.0, 22.0])
def test_it_is_as_wide_as_the_shadow_at_that_aperture(f_number: float) -> None:
    mask = mask_pixels(lone(), f_number=f_number)
    shadow_px = (60.0 + STACK_MM * 1000 / f_number) / PITCH_UM
    diameter_px = shadow_px * (1 + SPARE_FRAC) + 2 * SPARE_PX
    # Area of the white disc; its soft rim is counted by its grey.
    area_px2 = float(mask.sum()) / 255
    assert area_px2 == pytest.approx(np.pi * diameter_px**2 / 4, rel=0.01)


def test_only_what_shows_at_that_aperture_is_masked() -> None:
    frame = report(numbered([mark(10, 10, 60), mark(20, 10, 12)]))
    assert mask_pixels(frame, f_number=22)[:, 3000:].any()
    wide_open = mask_pixels(frame, f_number=4)
    assert wide_open[:, :3000].any()
    assert not wide_open[:, 3000:].any()
    strict = WorkSettings(show_depth_frac=0.3)
    assert not mask_pixels(lone(20.0), f_number=11, work=strict).any()


def test_a_clean_sensor_has_a_black_mask() -> None:
    assert not mask_pixels(dusty(0), f_number=22).any()


def test_dust_on_the_lens_is_left_out() -> None:
    lens = mark(10, 10, 60, layer="lens side", width_um=2400.0)
    assert not mask_pixels(report(numbered([lens])), f_number=22).any()


@pytest.mark.parametrize("orientation", range(1, 9))
def test_it_is_turned_as_the_photograph_is_displayed(orientation: int) -> None:
    """The orientation is held against Pillow's own reading of the same Exif tag."""
    frame = lone()
    photo = PhotoShape(width_px=600, height_px=400, exif_orientation=orientation)
    mask = mask_pixels(frame, f_number=11, photo=photo)
    stored = mask_pixels(frame, f_number=11, photo=replace(photo, exif_orientation=1))
    tagged = Image.fromarray(stored)
    tagged.getexif()[0x0112] = orientation
    stream = io.BytesIO()
    tagged.save(stream, format="PNG", exif=tagged.getexif())
    shown = ImageOps.exif_transpose(Image.open(stream))
    assert np.array_equal(mask, np.asarray(shown))
    assert middle_of(stored) != pytest.approx((299.5, 199.5), abs=20)


def test_the_test_shots_own_orientation_is_the_default() -> None:
    frame = lone()
    assert frame.image is not None
    portrait = replace(frame, image=replace(frame.image, exif_orientation=6))
    assert mask_pixels(portrait, f_number=11).shape == (WIDTH_PX, HEIGHT_PX)


@pytest.mark.parametrize(
    ("photo", "scale"),
    [
        (PhotoShape(width_px=5952, height_px=3968), 1.0),  # the camera's own crop of the raw
        (PhotoShape(width_px=3000, height_px=2000), 0.5),  # reduced
        (PhotoShape(width_px=6000, height_px=3376), 1.0),  # 16:9 in the camera
        (PhotoShape(width_px=4000, height_px=4000), 1.0),  # square in the camera
        (PhotoShape(width_px=3000, height_px=1688), 0.5),  # 16:9 and reduced
    ],
    ids=["crop", "reduced", "16:9", "square", "16:9 reduced"],
)
def test_other_sizes_of_the_same_sensor_keep_their_middle(photo: PhotoShape, scale: float) -> None:
    # Near the middle, so that it is on every crop.
    frame = report(numbered([mark(16.0, 10.0, 60.0)]))
    spot = frame.spots[0]
    mask = mask_pixels(frame, f_number=11, photo=photo)
    wanted = (
        (photo.width_px - 1) / 2 + scale * (spot.image_x_px - (WIDTH_PX - 1) / 2),
        (photo.height_px - 1) / 2 + scale * (spot.image_y_px - (HEIGHT_PX - 1) / 2),
    )
    # A tenth of a pixel: the rim's pixels count alike however grey they are.
    assert middle_of(mask) == pytest.approx(wanted, abs=0.1)


def test_a_picture_turned_by_a_program_is_refused() -> None:
    photo = PhotoShape(width_px=4000, height_px=6000, exif_orientation=1)
    with pytest.raises(OutputError, match="turned by a program"):
        retouch_mask(lone(), f_number=11, photo=photo)
    assert mask_pixels(turned(lone()), f_number=11, photo=photo).any()


def test_without_a_size_there_is_no_forecast_and_no_mask() -> None:
    with pytest.raises(OutputError, match="cannot be forecast"):
        retouch_mask(sizeless(lone()), f_number=11)
    with pytest.raises(OutputError, match="could not be read"):
        retouch_mask(unreadable(), f_number=11)


def test_a_fibre_is_masked_by_its_shape_where_the_plane_is_at_hand() -> None:
    fibre = mark(18, 12, 18, kind="fibre", length_um=900.0)
    frame = report(numbered([fibre]))
    by_disc = mask_pixels(frame, f_number=8)
    by_shape = mask_pixels(frame, f_number=8, flat=flat_for(frame))
    # The bench draws it level: 900 um are 150 px; the shadow at f/8 is 30 px wide.
    rows, columns = np.nonzero(by_shape)
    assert 100 < np.ptp(columns) < 220
    assert np.ptp(rows) < 70
    assert (by_disc[by_shape > 0] > 0).mean() > 0.99
    assert by_shape.sum() < 0.5 * by_disc.sum()


@pytest.mark.parametrize(("form", "name"), [("png", "PNG"), ("tif", "TIFF")])
def test_the_file_holds_the_mask_and_is_the_same_every_time(form: MaskForm, name: str) -> None:
    frame = dusty(12)
    photo = PhotoShape(width_px=600, height_px=400)
    content = retouch_mask(frame, f_number=11, form=form, photo=photo)
    assert content == retouch_mask(frame, f_number=11, form=form, photo=photo)
    picture = Image.open(io.BytesIO(content))
    assert (picture.format, picture.mode) == (name, "L")
    assert np.array_equal(np.asarray(picture), mask_pixels(frame, f_number=11, photo=photo))

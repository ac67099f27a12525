"""Where the sensor's size comes from, and what is not believed."""

from dataclasses import replace

import pytest

from motemap.coords import FrameGeometry
from motemap.errors import SettingsError
from motemap.records import Exposure, ImageInfo, Metadata, SensorHints
from motemap.sensor import geometry_of, parse_wish, resolve_sensor

NOTHING = Metadata()


def picture(width_px: int, height_px: int, tag: int | None = 1) -> ImageInfo:
    return ImageInfo(
        kind="jpeg", width_px=width_px, height_px=height_px, exif_orientation=tag, bits=8
    )


def focal_plane(
    pitch_um: float | None,
    width_px: int | None = None,
    height_px: int | None = None,
    pitch_y_um: float | None = None,
) -> SensorHints:
    return SensorHints(
        focal_plane_pitch_um=pitch_um,
        focal_plane_pitch_y_um=pitch_y_um,
        focal_plane_width_px=width_px,
        focal_plane_height_px=height_px,
    )


def lens(real_mm: float | None, equivalent_mm: float | None) -> Metadata:
    return Metadata(
        exposure=Exposure(focal_length_mm=real_mm),
        hints=SensorHints(focal_length_35mm=equivalent_mm),
    )


# --- given by the user ---------------------------------------------------------------------


def test_the_wish_wins_over_the_metadata() -> None:
    said = Metadata(hints=focal_plane(3.92, 6000, 4000))
    sensor, notes = resolve_sensor(picture(6000, 4000), said, "full frame")
    assert sensor.source == "given"
    assert sensor.format == "full frame"
    assert (sensor.width_mm, sensor.height_mm, sensor.pitch_um) == pytest.approx((36, 24, 6))
    assert notes == ()


@pytest.mark.parametrize(
    ("wish", "width_mm", "height_mm", "name"),
    [
        ("36x24", 36, 24, "full frame"),
        ("24 x 36 mm", 36, 24, "full frame"),
        ("35,9 X 24,0", 35.9, 24, "full frame"),
        ("36mm\u00d724mm", 36, 24, "full frame"),
        ("23.6*15.7", 23.6, 15.7, "APS-C"),
        ("30x20", 30, 20, None),
        ("36x20.25", 36, 20.25, None),
        ("44x33", 43.8, 32.9, "44x33"),
        ("Aps-C", 23.5, 15.6, "APS-C"),
    ],
)
def test_wishes_are_read_as_people_write_them(
    wish: str, width_mm: float, height_mm: float, name: str | None
) -> None:
    size = parse_wish(wish)
    assert (size.width_mm, size.height_mm) == pytest.approx((width_mm, height_mm))
    assert size.format == name


@pytest.mark.parametrize("wish", ["fool frame", "", "36", "36x", "x24", "36x24x3", "-36x24"])
def test_a_senseless_wish_is_quoted(wish: str) -> None:
    with pytest.raises(SettingsError, match="neither a sensor format nor a size") as caught:
        parse_wish(wish)
    assert f"'{wish}'" in caught.value.cause
    assert "full frame" in caught.value.repair


@pytest.mark.parametrize("wish", ["360x240", "3.6x2.4", "36x2", "0x0"])
def test_an_impossible_size_is_refused(wish: str) -> None:
    with pytest.raises(SettingsError, match="out of range"):
        parse_wish(wish)


def test_a_wish_that_does_not_match_the_shape_is_a_crop_and_said_so() -> None:
    sensor, notes = resolve_sensor(picture(6000, 3375), NOTHING, "full frame")
    assert sensor.pitch_um == pytest.approx(6.0)
    assert (sensor.width_mm, sensor.height_mm) == pytest.approx((36.0, 20.25))
    assert "36.0 x 20.2 mm of a sensor of 36.0 x 24.0 mm" in notes[0]


def test_a_narrower_shape_is_cropped_at_the_sides() -> None:
    sensor, _ = resolve_sensor(picture(4800, 3600), NOTHING, "full frame")
    assert (sensor.width_mm, sensor.height_mm) == pytest.approx((32.0, 24.0))


# --- focal-plane resolution ------------------------------------------------------------------


def test_focal_plane_resolution_is_believed_when_it_fits() -> None:
    said = Metadata(hints=focal_plane(5.97, 6000, 4000, 5.97))
    sensor, notes = resolve_sensor(picture(6000, 4000), said)
    assert sensor.source == "metadata"
    assert sensor.format == "full frame"
    assert sensor.pitch_um == 5.97
    assert sensor.width_mm == pytest.approx(35.82)
    assert notes == ()


def test_a_raw_may_show_a_few_pixels_more_than_its_tag_says() -> None:
    said = Metadata(hints=focal_plane(5.97, 6000, 4000))
    sensor, notes = resolve_sensor(picture(6024, 4020), said)
    assert sensor.pitch_um == 5.97
    assert notes == ()


def test_a_resized_picture_keeps_the_size_of_the_sensor() -> None:
    said = Metadata(hints=focal_plane(6.0, 6000, 4000))
    sensor, notes = resolve_sensor(picture(3000, 2000), said)
    assert sensor.pitch_um == pytest.approx(12.0)
    assert sensor.width_mm == pytest.approx(36.0)
    assert "resized to 50 %" in notes[0]


def test_a_resized_picture_with_a_rewritten_pixel_size_is_believed_too() -> None:
    said = Metadata(hints=focal_plane(18.0, 2000, 1333))
    sensor, _ = resolve_sensor(picture(2000, 1333), said)
    assert (sensor.format, sensor.source) == ("full frame", "metadata")


def test_a_cropped_picture_is_not_measured_by_a_stale_tag() -> None:
    said = Metadata(hints=focal_plane(6.0, 6000, 4000))
    sensor, notes = resolve_sensor(picture(3000, 3000), said)
    assert sensor.source == "assumed"
    assert "another shape" in notes[0]


def test_a_crop_made_in_the_camera_keeps_its_format_name() -> None:
    said = Metadata(hints=focal_plane(6.0, 6000, 3376))
    sensor, _ = resolve_sensor(picture(6000, 3376), said)
    assert sensor.format == "full frame"
    assert sensor.height_mm == pytest.approx(20.256)


@pytest.mark.parametrize(
    ("pitch_um", "size", "told", "inside"),
    [
        (6.0, (6000, 3376), "36.0 x 20.3 mm of a sensor of 36.0 x 24.0 mm", "1.9 mm inside"),
        (7.83, (2000, 2000), "15.7 x 15.7 mm of a sensor of 23.5 x 15.6 mm", "3.9 mm inside"),
        (3.3, (5184, 2920), "17.1 x 9.6 mm of a sensor of 17.3 x 13.0 mm", "1.7 mm inside"),
    ],
)
def test_a_crop_made_in_the_camera_is_said_of_a_known_pitch_too(
    pitch_um: float, size: tuple[int, int], told: str, inside: str
) -> None:
    _, notes = resolve_sensor(picture(*size), Metadata(hints=focal_plane(pitch_um, *size)))
    assert told in notes[0]
    assert "from the edges of the picture, not of the sensor" in notes[0]
    assert inside in notes[0]


@pytest.mark.parametrize(
    "hints",
    [
        focal_plane(15.24, 6000, 4000),  # 6 um with inch and centimetre mixed up: 91 mm
        focal_plane(0.6, 6000, 4000),  # 3.6 mm wide
        focal_plane(6.0, 6000, 4000, 11.8),  # pixels that are not square
        focal_plane(None),
    ],
)
def test_an_impossible_focal_plane_is_not_believed(hints: SensorHints) -> None:
    sensor, _ = resolve_sensor(picture(6000, 4000), Metadata(hints=hints))
    assert sensor.source == "assumed"


def test_an_odd_but_possible_size_is_believed_without_a_name() -> None:
    sensor, _ = resolve_sensor(picture(5000, 3334), Metadata(hints=focal_plane(6.0)))
    assert (sensor.format, sensor.source) == (None, "metadata")
    assert sensor.width_mm == pytest.approx(30.0)


def test_a_resized_picture_of_an_odd_size_is_not_believed() -> None:
    said = Metadata(hints=focal_plane(6.0, 5000, 3334))
    sensor, notes = resolve_sensor(picture(2500, 1667), said)
    assert sensor.source == "assumed"
    assert "impossible sensor" in notes[0]


def test_the_35mm_equivalent_overrules_a_stale_focal_plane() -> None:
    # A full-frame picture scaled by two thirds, its counts rewritten, its pitch not: 24 x 16 mm.
    stale = replace(focal_plane(6.0, 4000, 2667), focal_length_35mm=50.0)
    said = Metadata(exposure=Exposure(focal_length_mm=50.0), hints=stale)
    sensor, notes = resolve_sensor(picture(4000, 2667), said)
    assert sensor.format == "full frame"
    assert sensor.pitch_um == pytest.approx(9.0)
    assert "contradicts" in notes[0]


def test_a_square_crop_does_not_contradict_the_35mm_equivalent() -> None:
    square = replace(focal_plane(6.0, 4000, 4000), focal_length_35mm=50.0)
    said = Metadata(exposure=Exposure(focal_length_mm=50.0), hints=square)
    sensor, notes = resolve_sensor(picture(4000, 4000), said)
    assert sensor.pitch_um == 6.0
    (told,) = notes
    assert told.startswith("The picture's shape covers only 24.0 x 24.0 mm")


# --- 35 mm equivalent ------------------------------------------------------------------------


def test_the_35mm_equivalent_names_the_format() -> None:
    sensor, notes = resolve_sensor(picture(6000, 4000), lens(18.0, 28.0))
    assert (sensor.format, sensor.source) == ("APS-C", "metadata")
    assert sensor.width_mm == pytest.approx(23.5)
    assert "35 mm equivalent" in notes[0]


def test_a_diagonal_of_no_format_is_laid_under_the_shape_of_the_picture() -> None:
    # 43.267 mm x 10 / 36 = 12.02 mm, split 4:3.
    sensor, _ = resolve_sensor(picture(4000, 3000), lens(10.0, 36.0))
    assert sensor.format is None
    assert (sensor.width_mm, sensor.height_mm) == pytest.approx((9.615, 7.211), abs=1e-3)


@pytest.mark.parametrize(("real_mm", "equivalent_mm"), [(None, 50.0), (50.0, None), (4.0, 400.0)])
def test_a_useless_equivalent_is_left_out(
    real_mm: float | None, equivalent_mm: float | None
) -> None:
    sensor, _ = resolve_sensor(picture(6000, 4000), lens(real_mm, equivalent_mm))
    assert sensor.source == "assumed"


# --- assumed ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("width_px", "height_px", "name"),
    [
        (6000, 4000, "full frame"),
        (6000, 3376, "full frame"),
        (5184, 3888, "Four Thirds"),
        (8256, 6192, "44x33"),
        (14204, 10652, "54x40"),
    ],
)
def test_the_shape_decides_when_nothing_else_does(width_px: int, height_px: int, name: str) -> None:
    sensor, notes = resolve_sensor(picture(width_px, height_px), NOTHING)
    assert (sensor.format, sensor.source) == (name, "assumed")
    assert "is assumed" in notes[0]
    assert "--sensor" in notes[0]


# --- what holds in all cases -----------------------------------------------------------------


@pytest.mark.parametrize("wish", [None, "full frame", "aps-c", "31x17"])
@pytest.mark.parametrize("size", [(6016, 4011), (4011, 6016), (5001, 5001), (1, 1)])
def test_pixels_times_pitch_is_the_size(size: tuple[int, int], wish: str | None) -> None:
    sensor, _ = resolve_sensor(picture(*size), NOTHING, wish)
    assert sensor.pitch_um is not None
    assert sensor.width_mm == pytest.approx(max(size) * sensor.pitch_um / 1000, rel=1e-12)
    assert sensor.height_mm == pytest.approx(min(size) * sensor.pitch_um / 1000, rel=1e-12)


def test_a_picture_turned_to_portrait_still_has_the_sensor_of_the_camera() -> None:
    said = Metadata(hints=focal_plane(6.0, 6000, 4000))
    sensor, _ = resolve_sensor(picture(4000, 6000), said)
    assert (sensor.width_mm, sensor.height_mm) == pytest.approx((36.0, 24.0))


def test_geometry_carries_size_tag_and_pitch() -> None:
    info = picture(6000, 4000, tag=6)
    sensor, _ = resolve_sensor(info, NOTHING, "36x24")
    assert geometry_of(info, sensor) == FrameGeometry(
        height_px=4000, width_px=6000, exif_orientation=6, pitch_um=sensor.pitch_um
    )

"""Sensor formats against published tables and the arithmetic that ties them together.

Sources: shuttermuse.com "Common Digital Sensor Sizes and Crop Factors"; klecker.de "Film and
sensor formats"; The Online Photographer "Sensor sizes" (Sept 2023). They differ from each
other by 0.1-0.5 mm. Pixel counts of cameras are from memory.
"""

import pytest

from motemap.facts.formats import FULL_FRAME_DIAGONAL_MM, find_format, sensor_formats
from motemap.records import Exposure, ImageInfo, Metadata, SensorHints
from motemap.sensor import resolve_sensor

pytestmark = pytest.mark.external

PUBLISHED = {
    # name: (width mm, height mm, diagonal mm, crop, area mm2)
    "full frame": (36.0, 24.0, 43.27, 1.000, 864.0),
    "APS-H": (27.9, 18.6, 33.53, 1.290, 518.9),
    "APS-C": (23.5, 15.6, 28.21, 1.534, 366.6),
    "APS-C 1.6x": (22.3, 14.9, 26.82, 1.613, 332.3),
    "APS-C 1.7x": (20.7, 13.8, 24.88, 1.739, 285.7),
    "Four Thirds": (17.3, 13.0, 21.64, 2.00, 224.9),
    "1-inch": (13.2, 8.8, 15.86, 2.73, 116.2),
    "44x33": (43.8, 32.9, 54.78, 0.790, 1441.0),
    "54x40": (53.4, 40.0, 66.7, 0.65, 2136.0),
}


@pytest.mark.parametrize("name", PUBLISHED)
def test_format_is_that_of_the_published_tables(name: str) -> None:
    width_mm, height_mm, diagonal_mm, crop, area_mm2 = PUBLISHED[name]
    found = find_format(name)
    assert found is not None
    assert (found.width_mm, found.height_mm) == (width_mm, height_mm)
    # The published figures are rounded to the last digit written.
    assert found.diagonal_mm == pytest.approx(diagonal_mm, abs=0.06)
    assert FULL_FRAME_DIAGONAL_MM / found.diagonal_mm == pytest.approx(crop, abs=0.006)
    assert found.area_mm2 == pytest.approx(area_mm2, abs=0.6)


def test_no_format_is_left_unchecked() -> None:
    assert {each.name for each in sensor_formats()} == set(PUBLISHED)


def test_diagonal_of_35_mm_film() -> None:
    assert pytest.approx(43.267, abs=5e-4) == FULL_FRAME_DIAGONAL_MM


@pytest.mark.parametrize(
    ("name", "width_px", "height_px", "pitch_um"),
    [
        ("full frame", 6016, 4016, 5.98),
        ("full frame", 8256, 5504, 4.36),
        ("full frame", 9568, 6376, 3.76),
        ("APS-C", 6000, 4000, 3.92),
        ("APS-C 1.6x", 6960, 4640, 3.20),
        ("Four Thirds", 5184, 3888, 3.34),
        ("1-inch", 5472, 3648, 2.41),
        ("44x33", 8256, 6192, 5.30),
        ("44x33", 11648, 8736, 3.76),
        ("54x40", 14204, 10652, 3.76),
    ],
)
def test_width_over_pixels_is_the_pitch_that_cameras_state(
    name: str, width_px: int, height_px: int, pitch_um: float
) -> None:
    info = ImageInfo(
        kind="raw", width_px=width_px, height_px=height_px, exif_orientation=1, bits=14
    )
    sensor, _ = resolve_sensor(info, Metadata(), name)
    assert sensor.pitch_um == pytest.approx(pitch_um, abs=0.01)


@pytest.mark.parametrize(("per_unit", "um_per_unit"), [(4233.33, 25_400.0), (1666.67, 10_000.0)])
def test_focal_plane_resolution_gives_the_sensor(per_unit: float, um_per_unit: float) -> None:
    """CIPA DC-008: unit 2 is the inch, 3 the centimetre; 6000 px on 36 mm are 6.000 um."""
    info = ImageInfo(kind="raw", width_px=6000, height_px=4000, exif_orientation=1, bits=14)
    hints = SensorHints(
        focal_plane_pitch_um=um_per_unit / per_unit,
        focal_plane_width_px=6000,
        focal_plane_height_px=4000,
    )
    sensor, _ = resolve_sensor(info, Metadata(hints=hints))
    assert sensor.pitch_um == pytest.approx(6.000, abs=1e-4)
    assert sensor.width_mm == pytest.approx(36.0, abs=1e-3)


def test_35_mm_equivalent_gives_the_format() -> None:
    """CIPA DC-008: an 18 mm lens with a "28 mm" equivalent has a crop factor of 1.556."""
    info = ImageInfo(kind="jpeg", width_px=6000, height_px=4000, exif_orientation=1, bits=8)
    said = Metadata(
        exposure=Exposure(focal_length_mm=18.0), hints=SensorHints(focal_length_35mm=28.0)
    )
    sensor, _ = resolve_sensor(info, said)
    assert sensor.format == "APS-C"

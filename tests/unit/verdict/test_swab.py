"""Which swab is advised for which sensor."""

from motemap.records import Sensor, SensorSource
from motemap.verdict.swab import swab_line


def sensor(
    name: str | None,
    width_mm: float | None = 30.0,
    height_mm: float | None = 20.3,
    source: SensorSource = "metadata",
) -> Sensor:
    return Sensor(format=name, width_mm=width_mm, height_mm=height_mm, pitch_um=5.0, source=source)


def test_listed_format() -> None:
    assert swab_line("wet swab", sensor("APS-C")) == (
        "Swab size: about 16-17 mm wide for APS-C; one swab covers the short side (common "
        "practice)."
    )


def test_a_crop_does_not_shrink_the_swab() -> None:
    assert "here about 19 mm" in swab_line("wet swab", sensor("APS-H", 27.9, 15.7))


def test_unnamed_format_goes_by_its_short_side() -> None:
    line = swab_line("wet swab", sensor(None))
    assert "as wide as the sensor's short side, here about 20 mm" in line


def test_unknown_size_leaves_the_rule() -> None:
    line = swab_line("wet swab", sensor(None, None, None))
    assert line == "Swab size: as wide as the sensor's short side (common practice)."


def test_an_assumed_format_is_called_so() -> None:
    assert "assumed" in swab_line("wet swab", sensor("full frame", source="assumed"))
    assert "assumed" not in swab_line("wet swab", sensor("full frame"))
